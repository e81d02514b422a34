// The knob: a finger round its circle, the wheel, the keys; and hands that turn it by a path.
const SWEEP_DEGREES = 280, BOTTOM_DEGREES = -140;

// The dial at an angle from straight up; past either end, that end.
export const dialAtAngle = (degrees) => Math.min(
  10, Math.max(0, ((degrees - BOTTOM_DEGREES) * 10) / SWEEP_DEGREES));
export const angleOf = (dial) => (dial * SWEEP_DEGREES) / 10 + BOTTOM_DEGREES;

// Where a path, straight between its corners, is at a time.
export function dialOn({ times, dials }, t) {
  let i = 1;
  while (i < times.length - 1 && t > times[i]) i += 1;
  const span = times[i] - times[i - 1], share = span > 0
    ? Math.min(1, Math.max(0, (t - times[i - 1]) / span)) : 1;
  return dials[i - 1] + share * (dials[i] - dials[i - 1]);
}

export function makeKnob(knob, { dial, turn }) {
  // A touch moves the knob by as much as the finger goes round, from where it stands: a knob that
  // leapt to the finger would be louder at once.
  function dialAt(e) {
    const box = knob.getBoundingClientRect();
    return dialAtAngle((Math.atan2(e.clientX - box.x - box.width / 2,
      box.y + box.height / 2 - e.clientY) * 180) / Math.PI);
  }
  let drag = null, number = null;
  knob.addEventListener("pointerdown", (e) => {
    knob.setPointerCapture(e.pointerId);
    e.preventDefault();
    knob.focus();
    drag = dialAt(e);
    // Who means a number says so by its mark.
    number = e.target.classList.contains("number") ? Number(e.target.textContent) : null;
  });
  knob.addEventListener("pointermove", (e) => {
    if (drag === null) return;
    const to = dialAt(e);
    // Through the gap between 0 and 10 it stays at the end where it was.
    if (Math.abs(to - drag) > 6) return;
    if (Math.abs(to - drag) < 0.05) return;
    number = null;
    turn(dial() + to - drag);
    drag = to;
  });
  knob.addEventListener("pointerup", () => { if (number !== null) turn(number); });
  for (const name of ["pointerup", "pointercancel"]) knob.addEventListener(
    name, () => { drag = number = null; });
  knob.addEventListener("wheel", (e) => { e.preventDefault();
    turn(dial() - Math.sign(e.deltaY) * 0.2); }, { passive: false });
  knob.addEventListener("keydown", (e) => {
    const step = { ArrowUp: 0.5, ArrowRight: 0.5, ArrowDown: -0.5, ArrowLeft: -0.5, PageUp: 2,
      PageDown: -2 }[e.key];
    const jump = { Home: 0, End: 10 }[e.key];
    if (step === undefined && jump === undefined) return;
    e.preventDefault();
    turn(jump ?? dial() + step);
  });
  return {
    show(at) {
      knob.querySelector(".pointer-side").setAttribute("transform", `rotate(${angleOf(at)})`);
      knob.setAttribute("aria-valuenow", at.toFixed(1));
      knob.setAttribute("aria-valuetext", `dial ${at.toFixed(1)}`);
    },
  };
}

// Hands: the pack's sweep turned slowly, or what was recorded turned again.
export function makeHands({ button, sweep, dial, turn, begin }) {
  let turning = 0, follower = "", gesture = [], growing = [], recordedAt = 0;
  const pressed = (id, on) => button(id).setAttribute("aria-pressed", String(on));
  const seconds = () => (performance.now() - recordedAt) / 1000;
  function release() {
    cancelAnimationFrame(turning);
    turning = 0;
    if (follower) pressed(follower, false);
    follower = "";
  }
  async function follow(id, path) {
    const again = follower === id;
    release();
    if (again) return;
    follower = id;
    pressed(id, true);
    turn(path.dials[0]);
    await begin();
    if (follower !== id) return;
    const began = performance.now(), last = path.times[path.times.length - 1];
    const step = () => {
      const t = (performance.now() - began) / 1000;
      turn(dialOn(path, Math.min(t, last)));
      if (t >= last) release(); else turning = requestAnimationFrame(step);
    };
    turning = requestAnimationFrame(step);
  }
  let recording = false;
  function record() {
    recording = !recording;
    pressed("record", recording);
    button("record").textContent = recording ? "Stop recording the knob" : "Record the knob";
    if (recording) {
      release();
      growing = [[0, dial()]];
      recordedAt = performance.now();
    } else {
      growing.push([seconds(), dial()]);
      // A turn that was none leaves the one before it.
      if (growing.length > 2) gesture = growing;
      button("replay").hidden = gesture.length === 0;
    }
  }
  button("slowly").addEventListener("click", () => follow("slowly", sweep));
  button("record").addEventListener("click", record);
  button("replay").addEventListener("click", () =>
    follow("replay", { times: gesture.map(([t]) => t), dials: gesture.map(([, d]) => d) }));
  return { release, remember: (at) => { if (recording) growing.push([seconds(), at]); } };
}
