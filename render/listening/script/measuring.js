// Levels of a design over the dial, by playing the loop through it at rest.
import { emfNodes, makeStepper, response, tabulate } from "./engine.js";
import { highPass, ordinaryPeak, roughlyDirty } from "./dirt.js";
import { convolved } from "./fourier.js";
import { integratedLoudness, truePeak } from "./loudness.js";

const ROWS = 257;

// The loop through a circuit held at a dial.
export function held(tabulated, nodes, dial) {
  const stepper = makeStepper(tabulated), out = new Float64Array(nodes[0].length);
  for (let n = 0; n < out.length; n += 1) out[n] = stepper.step(dial, nodes, n);
  return out;
}

// Volts of a sample of 1 at the curve: by the loudest second at 10, through the first design.
export function voltsFor(dirt, circuit, { method, rate, nodes }) {
  const emphasis = highPass(dirt.spec.preHz, rate);
  return dirt.driven / Math.max(1e-12, ordinaryPeak(
    held(tabulate(circuit, method, rate, ROWS), nodes, 10).map((x) => emphasis(x)), rate));
}

// Loudness and peak of a design at some dials, through dirt and loudspeaker if they are there.
export function levelsAt(circuit, dials, { method, rate, nodes, dirt, volts, impulse }) {
  const tabulated = tabulate(circuit, method, rate, ROWS);
  return dials.map((dial) => {
    let audio = held(tabulated, nodes, dial);
    if (dirt) audio = roughlyDirty(audio, dirt.spec, volts, rate);
    if (impulse) audio = convolved(audio, impulse);
    return { loudness: integratedLoudness(audio, rate), peak: truePeak(audio) };
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

// What the page asks: the loop's nodes, a table of a circuit, volts of a dirt, or levels, measured
// or in bands.
export function answer({ ask, circuit, rows, dials, with: given }, loop) {
  const all = { ...loop, ...given };
  if (ask === "nodes") return loop.nodes.map((node) => node.slice());
  if (ask === "bands") return inBands(circuit, dials, all.hz, all.power);
  if (ask === "table") return tabulate(circuit, all.method, all.rate, rows);
  return ask === "volts" ? voltsFor(all.dirt, circuit, all) : levelsAt(circuit, dials, all);
}
