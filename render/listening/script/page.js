// The page: what is pressed, chosen and turned, and what plays.
import { makeAnswers } from "./answers.js";
import { makeBlind } from "./blind.js";
import { makeMap } from "./dirtmap.js";
import { byId } from "./elements.js";
import { openInstrument } from "./instrument.js";
import { dialOn, makeHands, makeKnob } from "./knob.js";
import { makeLead } from "./lead.js";
import { bytesOf, makeLive } from "./live.js";
import { makeOwn } from "./own.js";
import { makeParts } from "./parts.js";
import { makePedal } from "./pedal.js";
import { makeRecordings } from "./recordings.js";

const taken = (id) => {
  const holder = byId(id), text = holder.textContent;
  holder.remove(); // names must not be found in the page while listening blind
  return text;
};
const pack = JSON.parse(taken("pack")), sources = {
  thread: taken("thread"), bench: taken("bench") };
document.currentScript.remove();
const count = pack.designs.length;
const state = { design: 0, situation: 0, place: "live", level: "true", voice: "clean",
  playing: false, unlit: false, offset: 0 };
// What was loud before, for whatever plays next.
const heard = { loudness: null };
let context = null, ticket = 0, instrument = null;
const say = (text) => { byId("how").textContent = text; };

const live = makeLive(pack.live, sources, heard, {
  alone: () =>
    say("This browser has no audio thread for pages: the loop is rendered anew when the knob"
      + " rests."),
  measured: showMeasured,
  dead: () => say("So set, the circuit has no working point: try another battery, or bias."),
  chosenQuality: () => pedal.build(),
});
const pedal = makePedal(byId("circuit-side"), live, () => { makeLiveNow(); show(); });
// The chosen design beside the plain pot; a point of theirs is heard by turning both knobs there.
const map = makeMap({ button: byId("draw-map"), maps: byId("maps"), said: byId("map-said") },
  live, {
  designs: () => [...new Set([pack.lead ? pack.lead.bare : 0, state.design])].map(
    (index) => ({ index, name: pack.designs[index].name })),
  picked: () => (live.stage() ? live.feeding.knobs.touch : live.feeding.driveDb),
  async hear(name, dial, picked) {
    makeLiveNow();
    select(pack.designs.findIndex((one) => one.name === name));
    if (live.stage()) live.knob("touch", Math.min(24, Math.max(-24, picked)));
    else live.drive(Math.min(60, Math.max(0, picked)));
    live.turn(dial);
    pedal.build();
    byId("drive").value = String(live.feeding.driveDb);
    showPosition();
    show();
    if (!state.playing) await play();
  },
});
const recordings = makeRecordings(pack.pieces, count, state, heard);
const parts = makeParts(pack, live, { chosen: () => state.design, dial: dialNow,
  changed: makeLiveNow, input: inputNow, copy, save });
const own = makeOwn(pack.live);
const blind = makeBlind(pack, {
  matched: () => pick("level", "matched"),
  blind: showBlind,
  fixed,
  conditions: () => ({ ...(pack.live.situations.length > 1 && { situation: live.situation().name }),
    place: state.place, level: state.level, voice: isLive() ? feedingInWords() : state.voice,
      dial: dialNow() }),
  put(run) {
    const there = pack.live.situations.findIndex(({ name }) => name === run.situation);
    if (there >= 0 && there !== state.situation) pick("situation", String(there));
    if (state.place !== run.place) pick("place", run.place);
    pick("level", run.level);
    if (isLive()) { asAtTen(false); live.turn(run.dial); showPosition(); }
  },
  play(design, unlit) { select(design, unlit); if (!state.playing) play(); },
  stop() { if (state.playing) stop(); state.unlit = false; show(); },
  playing: sounds,
  unmeasured: () => (isLive() && state.level === "matched" ? live.unmeasured() : 0),
  answered: (results) => answers.answered(results),
  copy, save,
});
const lead = makeLead(pack, {
  blind: () => blind.on(),
  choose(design) { choose(design, false); show(); parts.build(); },
  asAtTen,
  async play() { if (!state.playing) await play(); },
});
const answers = makeAnswers(pack, { closer: lead.closer, chosen: () => parts.chosen(), save });
const knob = makeKnob(byId("knob"), { dial: dialNow, turn: turnTo });
const hands = makeHands({
  button: byId, sweep: pack.sweep, dial: dialNow,
  turn(dial) { live.turn(dial); showPosition(); drawSoon(); },
  async begin() { makeLiveNow(); asAtTen(false); if (!state.playing) await play(); },
});

// ---- sound -----------------------------------------------------------------
function isLive() { return state.place === "live"; }
// Whoever listens blind should not be stopped by the end.
const loops = () => state.place !== "sweep" || blind.on();
const lengthS = () => (isLive() ? live.lengthS() : recordings.lengthS());
function positionS() {
  if (isLive()) return live.positionS();
  return state.playing ? recordings.positionS(context, loops()) : state.offset;
}
// Whoever changes a part wants to hear it.
function makeLiveNow() { if (!isLive()) pick("place", "live"); }
// At the take's own rate, so that nothing is resampled here.
function newContext() {
  try { return new AudioContext({ sampleRate: pack.live.rate, latencyHint: "interactive" });
    } catch { return new AudioContext(); }
}
const STOPPED =
  "The browser has stopped the sound: press Play, or choose a design, to go on.";
const goesOn = () => { if (byId("how").textContent === STOPPED) say(""); };
// Whether anything comes out: a browser may stop a page's sound by itself.
function sounds() { return state.playing && context !== null && context.state === "running"; }
function opened() {
  if (context) return context;
  context = newContext();
  context.addEventListener("statechange", () => {
    if (!state.playing || context.state === "running") return;
    say(STOPPED);
  });
  return context;
}
async function play() {
  opened();
  if (isLive() && typeof WebAssembly === "undefined") {
    say("This browser has no WebAssembly, so that the knob does not turn live here"
      + `${pack.pieces.length ? ": choose a recording under \u201cWhat to hear\u201d." : "."}`);
    return;
  }
  const mine = ++ticket, resumed = context.resume();
  try {
    if (isLive()) await live.start(context); else await recordings.load(context);
  } catch (error) {
    if (!(error instanceof DOMException)) throw error;
    say("This browser cannot decode the sound in this page; try another one.");
    return;
  }
  await resumed;
  goesOn();
  if (mine !== ticket) { if (!isLive() || !state.playing) live.stop(); return; }
  if (!isLive()) {
    recordings.silence(context);
    if (state.offset >= lengthS() - 0.01) state.offset = 0;
    recordings.start(context, state.design, state.offset, loops(), () => stop(true));
  }
  state.playing = true;
  show();
  tick();
}
function stop(ended = false) {
  hands.release();
  ticket += 1;
  state.offset = ended ? 0 : positionS();
  live.stop();
  if (context) recordings.silence(context);
  state.playing = false;
  show();
}
const toggle = () => (state.playing ? stop() : play());
function choose(design, unlit) {
  if (state.playing && !sounds()) { context.resume(); goesOn(); }
  state.design = design;
  state.unlit = unlit; // the hidden one must not light up the sample it is
  if (context) recordings.choose(context, design);
  live.choose(design);
}
function select(design, unlit = false) {
  lead.leave();
  choose(design, unlit);
  show();
  if (!blind.on()) parts.build();
}
function change(key, value) {
  if (key === "level") {
    state.level = value;
    live.level(value);
    if (context) recordings.choose(context, state.design);
    show();
    showMeasured();
    return;
  }
  if (key === "situation" && isLive()) { enter(Number(value)); return; }
  const resume = state.playing, at = positionS(),
    sweeping = state.place === "sweep" || value === "sweep";
  if (key === "place") asAtTen(false);
  if (value === "live") live.turn(dialNow());
  stop();
  if (key === "situation") enter(Number(value)); else state[key] = value;
  // The take goes on where it was; a sweep is another recording.
  state.offset = sweeping && key === "place" ? 0 : at;
  if (isLive()) live.seek(state.offset);
  recordings.forget();
  show();
  if (resume) play();
}
// Another situation of the guitar: what it is wired to and feeds, as the workshop has it.
function enter(situation) {
  state.situation = situation;
  document.body.dataset.situation = String(situation);
  live.enter(situation);
  const { dirt, driveDb, speaker } = live.feeding;
  byId("dirt").value = dirt === null ? "" : String(dirt);
  byId("drive").value = String(driveDb);
  byId("speaker").checked = speaker;
  pedal.build();
  if (!blind.on()) parts.resettle();
  show();
}
/** @type {(name: string) => HTMLInputElement[]} */
const inputsOf = (name) => Array.from(document.querySelectorAll(`input[name=${name}]`));
function pick(name, value) {
  inputsOf(name).find((input) => input.value === value).checked = true;
  change(name, value);
}

// ---- what the guitar feeds ---------------------------------------------------
function inputNow() { return live.feeding.dirt === null ? live.situation().amplifier
  : pack.live.dirts[live.feeding.dirt]; }
function feedingInWords() {
  const { dirt, driveDb, speaker } = live.feeding;
  const set = dirt !== null && (live.stage() ? pedal.words() : `drive ${driveDb} dB`);
  return `${dirt === null ? "clean" : `${pack.live.dirts[
    dirt].words}, ${set}`}${speaker ? ", loudspeaker" : ""}`;
}
function refeed(changed) {
  makeLiveNow();
  live.feed({ cable: parts.cable(), ...changed });
  if ("dirt" in changed) { pedal.build(); map.forget(); }
  if ("dirt" in changed && !blind.on()) { parts.refit(); parts.draw(); }
  show();
}
byId("dirt").addEventListener("change", () =>
  refeed({ dirt: byId("dirt").value === "" ? null : Number(byId("dirt").value) }));
byId("speaker").addEventListener("change", () => refeed({ speaker: byId("speaker").checked }));
byId("drive").addEventListener("input", () => { live.drive(Number(byId("drive").value)); show(); });

// ---- the knob --------------------------------------------------------------
function dialNow() {
  if (isLive()) return live.now.target;
  if (state.place !== "sweep") return Number(state.place);
  return dialOn(pack.sweep, positionS());
}
// Whoever touches the knob turns it: from then on it is live.
function turnTo(dial) {
  if (blind.busy()) return; // within a run the knob stays
  lead.leave();
  hands.release();
  const wanted = Math.min(10, Math.max(0, dial));
  makeLiveNow();
  asAtTen(false);
  hands.remember(wanted);
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
let drawing = false;
function drawSoon() {
  if (drawing || blind.on()) return;
  drawing = true;
  requestAnimationFrame(() => { drawing = false; parts.drawDial(); });
}
function fixed(on) {
  for (const box of document.querySelectorAll(".deck fieldset, .bench fieldset")) {
    box.toggleAttribute("disabled", on); }
  for (const id of ["as-ten", "slowly", "record", "replay"]) byId(id).disabled = on;
  byId("designs").inert = on;
  hands.release();
}

// ---- what is shown -----------------------------------------------------------
function buildDesigns() {
  byId("designs").replaceChildren(...blind.shown().map((design, i) => {
    const button = document.createElement("button");
    button.type = "button";
    button.setAttribute("role", "radio");
    button.textContent = blind.on() ? blind.letter(i) : `${i + 1}  ${blind.nameOf(design)}`;
    const heardAs = blind.on() ? "" : pack.designs[design].heard;
    if (heardAs) button.append(
      Object.assign(document.createElement("small"), { textContent: heardAs }));
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
// Only what has changed: at sixty times a second the rest would keep a core busy.
const shown = new Map();
function showing(what, value, put) {
  if (shown.get(what) === value) return;
  shown.set(what, value);
  put(value);
}
function showPosition() {
  const at = positionS();
  showing("dial", dialNow(), (dial) => {
    knob.show(dial);
    byId("dial").textContent = dial.toFixed(1);
  });
  // Five times a second: each costs a layout.
  showing("time", (Math.round(at * 5) / 5).toFixed(1), (time) => {
    byId("time").textContent = time;
    byId("seek").value = time;
    byId("seek").setAttribute("aria-valuetext", `${time} seconds`);
  });
}
function show() {
  byId("play").textContent = state.playing ? "Stop" : "Play";
  byId("length").textContent = lengthS().toFixed(1);
  byId("seek").max = String(lengthS());
  byId("map-side").hidden = live.feeding.dirt === null || blind.on();
  byId("drive-side").hidden = live.feeding.dirt === null || Boolean(live.stage());
  if (byId("voices")) byId("voices").hidden = !recordings.has("dirt");
  byId("drive-said").textContent = `${live.feeding.driveDb} dB`;
  [...byId("designs").children].forEach((button, i) => {
    const on = blind.shown()[i] === state.design && !state.unlit;
    button.setAttribute("aria-checked", String(on));
    button.tabIndex = on || (state.unlit && i === 0) ? 0 : -1;
  });
  showPosition();
}
// Matched is said to be so when it is.
function showMeasured() {
  const left = live.unmeasured();
  byId("level-said").textContent = state.level !== "matched" || !isLive() ? "" : left === 0
    ? "Measured." : `Being measured: ${left} of ${count} to go; until then roughly.`;
}
function tick() {
  if (!state.playing) return;
  answers.listened(isLive() && sounds() && !lead.on() ? dialNow() : null);
  showPosition();
  requestAnimationFrame(tick);
}
function showBlind(order) {
  choose(order ? order[0] : state.design, false);
  buildDesigns();
  if (!order) parts.build();
}
async function copy(text, said) {
  try { await navigator.clipboard.writeText(text.value); } catch {
    text.select(); document.execCommand("copy"); }
  said.textContent = "Copied.";
}
function save(text, name, type) {
  const url = URL.createObjectURL(new Blob([text], { type }));
  Object.assign(document.createElement("a"), { href: url, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(url), 1000);
}

// ---- where in the take ---------------------------------------------------------
const region = { from: 0, to: null };
function repeat(moved) {
  Object.assign(region, moved);
  makeLiveNow();
  const to = region.to ?? live.lengthS();
  if (to - region.from < 0.3) {
    repeat({ from: 0, to: null });
    byId("region").textContent = "Leave a third of a second at least.";
    return;
  }
  live.region(region.from, to);
  const whole = region.from === 0 && region.to === null;
  byId("region").textContent = whole ? "" : `${region.from.toFixed(1)} to ${to.toFixed(
    1)} s again and again`;
  byId("whole").hidden = whole;
}
byId("seek").addEventListener("input", () => {
  const at = Number(byId("seek").value);
  if (isLive()) live.seek(at);
  else { const resume = state.playing; stop(); state.offset = at; if (resume) play(); }
  showPosition();
});

// ---- the visitor's own playing ---------------------------------------------------
// What is loaded last is heard; what was on its way before is not.
let loads = 0;
async function load(bytes, fromJack, describe) {
  const mine = ++loads, said = byId("own-said");
  let buffer;
  said.textContent = "Working on it ...";
  try { buffer = await opened().decodeAudioData(bytes); } catch { buffer = null; }
  if (mine !== loads) return;
  const flaw = !buffer || buffer.duration < 0.5 ? "unusable" : own.flaw(buffer);
  if (flaw === "unusable" || flaw === "silent") {
    said.textContent = flaw === "silent" ? "That recording is silent; what played before goes on."
      : "This browser cannot use that file; give a recording of half a second or more, such as WAV"
        + " or FLAC.";
    return;
  }
  await live.ready(context.sampleRate);
  const emf = own.emf(buffer, fromJack);
  if (mine !== loads) return;
  repeat({ from: 0, to: null });
  await live.replaceEmf(emf, own.bandPower(emf, context.sampleRate));
  if (mine !== loads) return;
  said.textContent = describe(buffer) + (flaw === "clipped"
    ? " It is clipped: its peaks were cut off when it was recorded, and that is heard." : "");
  makeLiveNow();
  if (!state.playing) await play();
  if (!blind.on()) parts.draw();
  show();
}
async function playOwn(file) {
  if (!file) return;
  if (file.name.endsWith(".json")) { answers.open(await file.text()); return; }
  if (byId("takes")) byId("takes").value = "";
  await load(await file.arrayBuffer(), byId("own-jack").checked, (buffer) =>
    `You hear ${file.name}${buffer.duration > own.LONGEST_S
      ? `, its first ${own.LONGEST_S} s` : ""}. It stays on this device.`);
}
async function playTake() {
  const at = byId("takes").value, taken_ = pack.live.takes[Number(at)];
  const audio = at === "" ? pack.live.emf : taken_.audio;
  await load(bytesOf(audio), false, () =>
    `You hear ${at === "" ? pack.take : taken_.words}.`);
}
if (byId("takes")) byId("takes").addEventListener("change", playTake);
byId("own").addEventListener("change", () => playOwn(byId("own").files[0]));
document.addEventListener("dragover", (e) => e.preventDefault());
document.addEventListener("drop", (e) => { e.preventDefault(); playOwn(e.dataTransfer.files[0]); });

function unplug() {
  if (!instrument) return;
  live.listen(null);
  instrument.close();
  instrument = null;
  byId("plug").textContent = "Plug in";
  byId("plug-said").textContent = "Unplugged: the loop plays again.";
}
async function plug() {
  if (instrument) { unplug(); return; }
  const said = byId("plug-said");
  try {
    makeLiveNow();
    if (!state.playing) await play();
    if (!live.node()) {
      said.textContent = "This browser has no audio thread for pages, so it cannot play live.";
      return; }
    instrument = await openInstrument(context, own.inverse(context.sampleRate));
    live.listen(instrument.chain);
    byId("plug").textContent = "Unplug";
    said.textContent = `You hear ${instrument.name
      || "the input"}, some ${Math.round(1000 * (
        instrument.latencyS + live.latencyS(
          )))} ms late as far as the browser knows.${instrument.filtered
            ? " The browser filters this input, so it will not sound right."
              : ""} Matched loudness is still that of the take.`;
  } catch {
    said.textContent = "The browser gave no input: it may need your permission, or there is none.";
  }
}
byId("headphones").addEventListener("change",
  () => { byId("plug").disabled = !byId("headphones").checked;
    if (!byId("headphones").checked) unplug(); });
byId("plug").disabled = !byId("headphones").checked;
if (!navigator.mediaDevices || !navigator.mediaDevices.getUserMedia) byId("plugging").hidden = true;

const on = (id, run) => byId(id).addEventListener("click", run);
on("play", toggle);
on("plug", plug);
on("as-ten", () => asAtTen(!pressed("as-ten")));
on("from-here", () => repeat({ from: positionS() }));
on("to-here", () => repeat({ to: positionS() }));
on("whole", () => repeat({ from: 0, to: null }));
for (const name of ["situation", "place", "level", "voice"]) {
  for (const input of inputsOf(name)) input.addEventListener("change",
    () => change(name, input.value));
}
document.addEventListener("keydown", (e) => {
  const at = /** @type {Element} */ (e.target);
  if (e.ctrlKey || e.metaKey || e.altKey || !byId("keys").checked
    || at.closest("select, textarea")) return;
  if (e.key === " " && !at.closest("button, input, summary, a")) {
    e.preventDefault(); toggle(); }
  const number = Number(e.key);
  if (e.key >= "1" && e.key <= "9" && number <= count && !blind.busy()) select(
    blind.shown()[number - 1]);
});
// A bench that holds this page beside itself says what to hear, by values.
if (parent !== window) addEventListener("message", ({ origin, data }) => {
  if (origin !== location.origin || !data || typeof data.hear !== "string") return;
  const design = parts.turnTo(data.hear);
  parent.postMessage({ heard: design >= 0 }, location.origin);
  if (design < 0) return;
  makeLiveNow();
  select(design);
  parts.build();
});
buildDesigns();
parts.build();
blind.restore();
// Where this player leaves the knob: at 10 all designs are one circuit.
pedal.build();
if (pack.lead) { live.turn(pack.lead.dial); showPosition(); parts.drawDial(); }
// Everything is made ready before the first click, so that sound comes at once.
setTimeout(() => live.ready(pack.live.rate).catch(() => {}), 50);
/* probe */
