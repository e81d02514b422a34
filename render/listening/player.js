"use strict";
(() => {
  const byId = (id) => document.getElementById(id);
  const holder = byId("pack");
  const pack = JSON.parse(holder.textContent);
  holder.remove(); // names must not be found in the page while listening blind
  document.currentScript.remove();
  const count = pack.designs.length;
  const FADE_S = 0.008;
  const state = { design: 0, place: "live", level: "true", voice: "clean", playing: false, unlit: false, offset: 0, startedAt: 0 };
  const decoded = new Map();
  const live = makeLive(pack.live, heardDial);
  const parts = makeParts(pack, live, { chosen: () => state.design, dial: dialNow, changed: makeLiveNow });
  const blind = makeBlind(pack, {
    matched: () => pick("level", "matched"),
    blind: showBlind,
    fixed: (on) => { for (const box of document.querySelectorAll(".controls fieldset")) box.disabled = on; release(); for (const id of ["as-ten", "slowly", "record", "replay"]) byId(id).disabled = on; byId("designs").inert = on; },
    conditions: () => ({ place: state.place, level: state.level, voice: isLive() ? "clean" : state.voice, dial: dialNow() }),
    put: (run) => { if (state.place !== run.place) pick("place", run.place); pick("level", run.level); if (isLive()) { asAtTen(false); live.turn(run.dial); showPosition(); } },
    play: (design, unlit) => { select(design, unlit); if (!state.playing) play(); },
    stop: () => { if (state.playing) stop(); state.unlit = false; show(); },
    playing: () => state.playing,
  });
  let dialHeard = 10;
  let context = null, voices = null, buffers = null, ticket = 0;

  // ---- sound -------------------------------------------------------------
  const pieceOf = (design) => pack.pieces.find((p) => p.design === design && p.voice === state.voice && String(p.dial ?? "sweep") === state.place);
  const gainOf = (design) => 10 ** (pieceOf(design)[state.level === "true" ? "trueDb" : "matchedDb"] / 20);
  async function loadBuffers(ctx) {
    const pieces = [...Array(count).keys()].map(pieceOf);
    return Promise.all(pieces.map(async (piece) => {
      if (!decoded.has(piece)) decoded.set(piece, await ctx.decodeAudioData(bytesOf(piece.audio)));
      return decoded.get(piece);
    }));
  }
  // All designs run side by side from one instant; switching only moves gains.
  function startVoices(ctx, loaded, chosen, when, offset, loop) {
    return loaded.map((buffer, design) => {
      const source = new AudioBufferSourceNode(ctx, { buffer, loop });
      const gain = new GainNode(ctx, { gain: design === chosen ? gainOf(design) : 0 });
      source.connect(gain).connect(ctx.destination);
      source.start(when, offset);
      return { source, gain };
    });
  }
  function fadeTo(running, chosen, when) {
    running.forEach(({ gain }, design) => {
      gain.gain.cancelScheduledValues(when);
      gain.gain.setTargetAtTime(design === chosen ? gainOf(design) : 0, when, FADE_S / 4);
    });
  }
  // Whoever listens blind should not be stopped by the end.
  const loops = () => state.place !== "sweep" || blind.on();
  const isLive = () => state.place === "live";
  const lengthS = () => (isLive() ? live.lengthS() : buffers ? Math.min(...buffers.map((b) => b.duration)) : 0);
  function positionS() {
    if (isLive()) return live.positionS();
    if (!state.playing) return state.offset;
    const passed = Math.max(0, context.currentTime - state.startedAt);
    return loops() ? passed % lengthS() : Math.min(passed, lengthS());
  }
  function silence() {
    if (voices) voices.forEach(({ source }) => { source.onended = null; source.stop(); source.disconnect(); });
    voices = null;
  }
  // Whoever changes a part wants to hear it.
  function makeLiveNow() { if (!isLive()) pick("place", "live"); }
  // At the take's own rate, so that nothing is resampled here.
  function newContext() {
    try { return new AudioContext({ sampleRate: pack.live.rate }); } catch { return new AudioContext(); }
  }
  function heardDial(dial) {
    if (dial === null) byId("how").textContent = "This browser has no audio thread for pages: the loop is rendered anew when the knob rests.";
    else dialHeard = dial;
  }
  async function play() {
    context = context || newContext();
    const mine = ++ticket;
    const resumed = context.resume();
    if (isLive()) {
      try { await live.start(context); } catch { byId("how").textContent = "This browser cannot decode the sound in this page; try another one."; return; }
      await resumed;
      if (mine !== ticket) { if (!isLive() || !state.playing) live.stop(); return; }
      state.playing = true;
      show();
      tick();
      return;
    }
    let loaded;
    try { loaded = await loadBuffers(context); } catch { byId("how").textContent = "This browser cannot decode the recordings in this page; try another one."; return; }
    await resumed;
    if (mine !== ticket) return;
    silence();
    buffers = loaded;
    if (state.offset >= lengthS() - 0.01) state.offset = 0;
    const when = context.currentTime + 0.02;
    voices = startVoices(context, loaded, state.design, when, state.offset, loops());
    state.startedAt = when - state.offset;
    state.playing = true;
    if (!loops()) voices[0].source.onended = () => stop(true);
    show();
    tick();
  }
  function stop(ended = false) {
    release();
    ticket += 1;
    live.stop();
    state.offset = ended || isLive() ? 0 : positionS();
    silence();
    state.playing = false;
    show();
  }
  const toggle = () => (state.playing ? stop() : play());
  function select(design, unlit = false) {
    state.design = design;
    state.unlit = unlit; // the hidden one must not light up the sample it is
    if (voices) fadeTo(voices, design, context.currentTime);
    live.choose(design);
    show();
    if (!blind.on()) parts.build();
  }
  function change(key, value) {
    const resume = state.playing;
    if (key === "place") asAtTen(false);
    const keep = key === "place" ? 0 : positionS();
    if (value === "live") live.turn(dialNow());
    if (key === "level") { state.level = value; live.level(value); if (voices) fadeTo(voices, state.design, context.currentTime); show(); return; }
    stop();
    state[key] = value;
    // Dirt is not worked out here: it is heard in the recordings, the live knob is clean.
    if (isLive() && state.voice !== "clean") {
      const other = key === "voice" ? ["place", "sweep"] : ["voice", "clean"];
      state[other[0]] = other[1];
      document.querySelector(`input[name=${other[0]}][value="${other[1]}"]`).checked = true;
      byId("how").textContent = "Dirt is heard in the recordings; the knob that you turn yourself is clean.";
    }
    state.offset = keep;
    buffers = null;
    show();
    if (resume) play();
  }
  // ---- the knob ----------------------------------------------------------
  function dialNow() {
    if (isLive()) return live.now.target;
    if (state.place !== "sweep") return Number(state.place);
    return dialOn(pack.sweep, positionS());
  }
  function dialOn({ times, dials }, t) {
    let i = 1;
    while (i < times.length - 1 && t > times[i]) i += 1;
    const span = times[i] - times[i - 1], share = span > 0 ? Math.min(1, Math.max(0, (t - times[i - 1]) / span)) : 1;
    return dials[i - 1] + share * (dials[i] - dials[i - 1]);
  }
  // Whoever touches the knob turns it: from then on it is live.
  function turnTo(dial) {
    if (blind.run()) return; // within a run the knob stays
    release();
    const wanted = Math.min(10, Math.max(0, dial));
    if (!isLive()) pick("place", "live");
    asAtTen(false);
    remember(wanted);
    live.turn(wanted);
    showPosition();
    drawSoon();
  }
  const pressed = (id) => byId(id).getAttribute("aria-pressed") === "true";
  // The question that matters: is it here as at 10, only softer?
  function asAtTen(on) {
    if (on) makeLiveNow();
    if (on || pressed("as-ten")) live.asAtTen(on);
    byId("as-ten").setAttribute("aria-pressed", String(on));
  }
  // The knob turned by a path: the pack's sweep, or what a hand did.
  let turning = 0, follower = "", gesture = [], recordedAt = 0;
  function release() {
    cancelAnimationFrame(turning);
    turning = 0;
    if (follower) byId(follower).setAttribute("aria-pressed", "false");
    follower = "";
  }
  function follow(id, path) {
    const again = pressed(id);
    release();
    if (again) return;
    follower = id;
    byId(id).setAttribute("aria-pressed", "true");
    makeLiveNow();
    asAtTen(false);
    if (!state.playing) play();
    const began = performance.now(), last = path.times[path.times.length - 1];
    const step = () => {
      const t = (performance.now() - began) / 1000;
      live.turn(dialOn(path, Math.min(t, last)));
      showPosition();
      drawSoon();
      if (t >= last) release(); else turning = requestAnimationFrame(step);
    };
    turning = requestAnimationFrame(step);
  }
  function record() {
    const on = !pressed("record");
    byId("record").setAttribute("aria-pressed", String(on));
    byId("record").textContent = on ? "Stop recording the knob" : "Record the knob";
    if (on) {
      release();
      gesture = [[0, dialNow()]];
      recordedAt = performance.now();
    } else {
      gesture.push([(performance.now() - recordedAt) / 1000, dialNow()]);
      byId("replay").hidden = gesture.length < 3;
    }
  }
  const remember = (dial) => { if (pressed("record")) gesture.push([(performance.now() - recordedAt) / 1000, dial]); };
  let drawing = false;
  function drawSoon() {
    if (drawing || blind.on()) return;
    drawing = true;
    requestAnimationFrame(() => { drawing = false; parts.draw(); });
  }
  function pick(name, value) {
    document.querySelector(`input[name=${name}][value="${value}"]`).checked = true;
    change(name, value);
  }
  const knob = byId("knob");
  // The dial at the pointer's place on the knob's circle; past either end, that end.
  function dialAt(e) {
    const box = knob.getBoundingClientRect();
    const angle = (Math.atan2(e.clientX - box.x - box.width / 2, box.y + box.height / 2 - e.clientY) * 180) / Math.PI;
    return Math.min(10, Math.max(0, (angle + 140) / 28));
  }
  let drag = null;
  knob.addEventListener("pointerdown", (e) => {
    knob.setPointerCapture(e.pointerId);
    e.preventDefault();
    knob.focus();
    drag = dialAt(e);
    turnTo(drag);
  });
  knob.addEventListener("pointermove", (e) => {
    if (drag === null) return;
    const dial = dialAt(e);
    // Through the gap between 0 and 10 it stays at the end where it was.
    if (Math.abs(dial - drag) > 6) return;
    drag = dial;
    turnTo(dial);
  });
  for (const name of ["pointerup", "pointercancel"]) knob.addEventListener(name, () => { drag = null; });
  knob.addEventListener("wheel", (e) => { e.preventDefault(); turnTo(dialNow() - Math.sign(e.deltaY) * 0.2); }, { passive: false });
  knob.addEventListener("keydown", (e) => {
    const step = { ArrowUp: 0.5, ArrowRight: 0.5, ArrowDown: -0.5, ArrowLeft: -0.5, PageUp: 2, PageDown: -2 }[e.key];
    const jump = { Home: 0, End: 10 }[e.key];
    if (step === undefined && jump === undefined) return;
    e.preventDefault();
    turnTo(jump ?? dialNow() + step);
  });

  // ---- what is shown -----------------------------------------------------
  function buildDesigns() {
    byId("designs").replaceChildren(...blind.shown().map((design, i) => {
      const button = document.createElement("button");
      button.type = "button";
      button.setAttribute("role", "radio");
      button.textContent = blind.on() ? blind.letter(i) : `${i + 1}  ${blind.nameOf(design)}`;
      button.addEventListener("click", () => select(design));
      button.addEventListener("keydown", (e) => {
        const move = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[e.key];
        if (move === undefined) return;
        e.preventDefault();
        const next = (i + move + count) % count;
        select(blind.shown()[next]);
        byId("designs").children[next].focus();
      });
      return button;
    }));
    show();
  }
  function showPosition() {
    const dial = dialNow();
    byId("pointer").setAttribute("transform", `rotate(${dial * 28 - 140})`);
    byId("dial").textContent = dial.toFixed(1);
    byId("time").textContent = positionS().toFixed(1);
    knob.setAttribute("aria-valuenow", dial.toFixed(1));
    knob.setAttribute("aria-valuetext", `dial ${dial.toFixed(1)}`);
  }
  function show() {
    byId("play").textContent = state.playing ? "Stop" : "Play";
    byId("length").textContent = (lengthS() || (pieceOf(0) || { seconds: 0 }).seconds).toFixed(1);
    [...byId("designs").children].forEach((button, i) => {
      const on = blind.shown()[i] === state.design && !state.unlit;
      button.setAttribute("aria-checked", String(on));
      button.tabIndex = on || (state.unlit && i === 0) ? 0 : -1;
    });
    showPosition();
  }
  function tick() {
    if (!state.playing) return;
    showPosition();
    requestAnimationFrame(tick);
  }

  function showBlind(order) {
    state.unlit = false;
    if (order) {
      state.design = order[0];
      live.choose(state.design);
      if (voices) fadeTo(voices, state.design, context.currentTime);
    }
    buildDesigns();
    if (!order) parts.build();
  }
  // ---- the visitor's own recording -------------------------------------------
  const own = makeOwn(pack.live, live.engine);
  async function playOwn(file) {
    const said = byId("own-said");
    if (!file) return;
    said.textContent = "Working on it ...";
    try {
      context = context || newContext();
      const buffer = await context.decodeAudioData(await file.arrayBuffer());
      await live.ready(context);
      const emf = own.emf(buffer, byId("own-jack").checked);
      if (emf.length < context.sampleRate / 2) throw new Error("short");
      live.replaceEmf(emf, own.bandPower(emf, context.sampleRate));
      said.textContent = `You hear ${file.name}${buffer.duration > own.LONGEST_S ? `, its first ${own.LONGEST_S} s` : ""}. It stays on this device.`;
      makeLiveNow();
      if (!state.playing) await play();
      if (!blind.on()) parts.draw();
      show();
    } catch {
      said.textContent = "This browser cannot use that file; give a recording of half a second or more, such as WAV or FLAC.";
    }
  }
  byId("own").addEventListener("change", () => playOwn(byId("own").files[0]));
  document.addEventListener("dragover", (e) => e.preventDefault());
  document.addEventListener("drop", (e) => { e.preventDefault(); playOwn(e.dataTransfer.files[0]); });
  const on = (id, run) => byId(id).addEventListener("click", run);
  on("play", toggle);
  on("slowly", () => follow("slowly", pack.sweep));
  on("record", record);
  on("replay", () => follow("replay", { times: gesture.map(([t]) => t), dials: gesture.map(([, dial]) => dial) }));
  on("as-ten", () => asAtTen(!pressed("as-ten")));
  for (const name of ["place", "level", "voice"]) {
    document.querySelectorAll(`input[name=${name}]`).forEach((input) => input.addEventListener("change", () => change(name, input.value)));
  }
  document.addEventListener("keydown", (e) => {
    if (e.ctrlKey || e.metaKey || e.altKey || !byId("keys").checked || e.target.closest("select, textarea")) return;
    if (e.key === " " && !e.target.closest("button, input, summary, a")) { e.preventDefault(); toggle(); }
    const number = Number(e.key);
    if (e.key >= "1" && e.key <= "9" && number <= count) select(blind.shown()[number - 1]);
  });
  buildDesigns();
  parts.build();
  blind.restore();
  /* probe */
})();
