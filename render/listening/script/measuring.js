// Levels of a design over the dial, by playing the loop through it at rest.
import { BLOCK, CIRCUIT_LATENCY, makeCircuit, makeGuitar, solveJunctions } from "./core.js";
import { emfNodes, response, restOf, tabulate, tabulateSteps } from "./engine.js";
import { highPass, ordinaryPeak, roughlyDirty } from "./dirt.js";
import { convolved, fft } from "./fourier.js";
import { integratedLoudness, truePeak } from "./loudness.js";

const ROWS = 257, AT_ONCE = 32 * BLOCK;
// A circuit is measured on so much of the loop, and in so many steps a second, that a design takes
// a second or two.
const MEASURED_S = 1.5, MEASURED_STEPS = 96e3;

// The loop through what steps along, held at a dial.
function through(core, stepper, rows, dial, play) {
  const length = rows[0].length, out = new Float64Array(length), size = play ? BLOCK : AT_ONCE;
  const dials = core.put(new Float64Array(size).fill(dial)), emf = core.take(rows.length * size),
    sound = core.take(size);
  for (let n = 0; n < length; n += size) {
    const count = Math.min(size, length - n);
    rows.forEach((row, k) => core.numbers().set(row.subarray(n, n + count), emf + k * size));
    if (play) play(dials, emf, count, sound);
    else stepper.run(dials, emf, size, count, sound);
    out.set(core.numbers().subarray(sound, sound + count), n);
  }
  core.give(dials, size);
  core.give(emf, rows.length * size);
  core.give(sound, size);
  stepper.free();
  return out;
}
export const held = (core, tabulated, nodes, dial) =>
  through(core, makeGuitar(core, tabulated), nodes, dial);
// The same through the circuit that the guitar feeds, late as that is.
export function heldInto(core, tabulated, emf, volts, dial) {
  const stepper = makeCircuit(core, tabulated);
  return through(core, stepper, [emf], dial,
    (dials, from, count, sound) => stepper.run(dials, from, volts, count, sound));
}

// A table of a guitar, or of a guitar and the stage that it feeds; null if that has no working
// point.
export function tableOf(core, circuit, rows, { method, rate, least }) {
  if (!circuit.stage) return tabulate(circuit, method, rate, rows);
  const rest = restOf(circuit.stage, (about) => solveJunctions(core, about));
  return rest && tabulateSteps(circuit, rest, { rate, least }, rows);
}

// Volts of a sample of 1: at the curve by the loudest second at 10, through the first design; of
// EMF, into a circuit, by the loudest second of the loop.
export function voltsFor(dirt, circuit, { core, method, rate, nodes }) {
  if (circuit.stage) return dirt.driven / Math.max(1e-12, ordinaryPeak(nodes[3], rate));
  const emphasis = highPass(dirt.spec.preHz, rate);
  return dirt.driven / Math.max(1e-12, ordinaryPeak(
    held(core, tabulate(circuit, method, rate, ROWS), nodes, 10).map((x) => emphasis(x)), rate));
}

// Where a loop is loudest, so many samples of it.
function loudest(emf, length) {
  if (emf.length <= length) return emf;
  const hop = Math.round(length / 8);
  let best = 0, most = -1;
  for (let from = 0; from + length <= emf.length; from += hop) {
    let energy = 0;
    for (let n = from; n < from + length; n += 1) energy += emf[n] * emf[n];
    if (energy > most) { most = energy; best = from; }
  }
  return emf.subarray(best, best + length);
}

// Loudness and peak of a design at some dials, through dirt and loudspeaker if they are there.
export function levelsAt(circuit, dials, given) {
  const { core, method, rate, nodes, dirt, volts, impulse } = given;
  const tabulated = tableOf(core, circuit, ROWS, { method, rate, least: MEASURED_STEPS });
  const emf = circuit.stage && loudest(nodes[3], Math.round(MEASURED_S * rate));
  return dials.map((dial) => {
    let audio = circuit.stage ? heldInto(core, tabulated, emf, volts, dial)
      : held(core, tabulated, nodes, dial);
    if (dirt && !circuit.stage) audio = roughlyDirty(audio, dirt.spec, volts, rate);
    if (impulse) audio = convolved(audio, impulse);
    return { loudness: integratedLoudness(core, audio, rate), peak: truePeak(audio) };
  });
}

// Loudness of a circuit at some dials from the EMF's K-weighted bands, in decibels of no fixed
// zero.
export const inBands = (circuit, dials, hz, power) => dials.map((dial) => {
  const gains = response(circuit, dial, hz);
  return 10 * Math.log10(gains.reduce((sum, db, i) => sum + power[i] * 10 ** (db / 10), 1e-30));
});

// Another loop, given to `answer` from then on: its EMF at the method's instants.
export const looped = ({ samples, method, rate }) =>
  ({ method, rate, nodes: emfNodes(samples, method.nodes).map((x) => Float32Array.from(x)) });

// The loop as it sounds at a dial, where no audio thread plays it.
function soundAt(circuit, dial, given) {
  const { core, nodes, dirt, volts, rate } = given,
    tabulated = tableOf(core, circuit, ROWS, given);
  if (circuit.stage) return heldInto(core, tabulated, nodes[3], volts, dial);
  const audio = held(core, tabulated, nodes, dial);
  return dirt ? roughlyDirty(audio, dirt.spec, volts, rate) : audio;
}

// Of what comes out, the root of the share of power that is not linearly related to what goes in:
// 1 less the coherence of both (Bendat and Piersol, Random Data, chapter 6), over Hann windows.
const SEGMENT = 4096, PLAYED_S = 0.7, BAND_HZ = [60, 10_000];
function segments(audio) {
  const all = [];
  for (let from = 0; from + SEGMENT <= audio.length; from += SEGMENT / 2) {
    const re = Float64Array.from({ length: SEGMENT }, (_, n) => audio[from + n] * (
      0.5 - 0.5 * Math.cos((2 * Math.PI * n) / SEGMENT))), im = new Float64Array(SEGMENT);
    fft(re, im);
    all.push({ re, im });
  }
  return all;
}
function unrelated(taken, played, rate) {
  let related = 0, whole = 1e-30;
  const [low, high] = BAND_HZ.map((hz) => Math.round((hz * SEGMENT) / rate));
  for (let k = low; k <= high; k += 1) {
    let source = 1e-30, output = 0, re = 0, im = 0;
    taken.forEach((x, s) => {
      const y = played[s];
      source += x.re[k] ** 2 + x.im[k] ** 2;
      output += y.re[k] ** 2 + y.im[k] ** 2;
      re += x.re[k] * y.re[k] + x.im[k] * y.im[k];
      im += x.re[k] * y.im[k] - x.im[k] * y.re[k];
    });
    related += (re * re + im * im) / source;
    whole += output;
  }
  return Math.sqrt(Math.max(0, 1 - related / whole));
}
function dirtinessAt(circuit, dials, given) {
  const { core, method, rate, nodes, dirt, volts, harder } = given;
  const tabulated = tableOf(core, circuit, ROWS, { method, rate, least: MEASURED_STEPS });
  const count = Math.round(PLAYED_S * rate), emf = loudest(nodes[3], count),
    from = emf.byteOffset / emf.BYTES_PER_ELEMENT - nodes[3].byteOffset / 4,
    taken = segments(emf), by = volts * 10 ** (harder / 20);
  return dials.map((dial) => {
    const clean = () => held(core, tabulated,
      nodes.map((row) => row.subarray(from, from + emf.length)), dial);
    const out = circuit.stage ? heldInto(core, tabulated, emf, by, dial).subarray(CIRCUIT_LATENCY)
      : roughlyDirty(clean(), dirt.spec, by, rate);
    const played = segments(out);
    return unrelated(taken.slice(0, played.length), played, rate);
  });
}

// How long a second through a circuit takes here, in seconds: measured for half a second.
function shareOf(circuit, given) {
  const { core, nodes, volts, rate } = given, emf = nodes[3].subarray(0, Math.round(rate / 8)),
    tabulated = tableOf(core, circuit, ROWS, given), began = performance.now();
  let heard = 0;
  while (tabulated && performance.now() - began < 500) {
    heldInto(core, tabulated, emf, volts, 7);
    heard += emf.length / rate;
  }
  return (performance.now() - began) / 1000 / Math.max(heard, 1e-9);
}

// What the page asks: the loop's nodes, a table of a circuit, volts of a dirt, levels, measured or
// in bands, the sound at a dial, or how long it takes.
export function answer({ ask, circuit, rows, dials, with: given }, loop) {
  const all = { ...loop, ...given };
  if (ask === "nodes") return loop.nodes.map((node) => node.slice());
  if (ask === "bands") return inBands(circuit, dials, all.hz, all.power);
  if (ask === "table") return tableOf(all.core, circuit, rows, all);
  if (ask === "dirtiness") return dirtinessAt(circuit, dials, all);
  if (ask === "share") return shareOf(circuit, all);
  if (ask === "sound") return soundAt(circuit, dials[0], all);
  return ask === "volts" ? voltsFor(all.dirt, circuit, all) : levelsAt(circuit, dials, all);
}
