// The core in this thread: models/core as WebAssembly, and what steps along in it, block by block.
import { REACH, STAGES, nodeTaps } from "./engine.js";
import { bandLimit, kaiser } from "./fourier.js";

// Samples that a block has at most.
export const BLOCK = 128;
// Of the low-pass back to the samples, to either side; its window lets -90 dB past.
const LOW_PASS_REACH = 44, LOW_PASS_BETA = 9;
// Samples by which a circuit is late: what lies between samples, and the way back to them.
export const CIRCUIT_LATENCY = REACH - 1 + LOW_PASS_REACH;

// A module's functions, with its memory dealt out in numbers: places are indices of them.
export function makeCore(module) {
  /** @type {Record<string, any>} */
  const { exports } = new WebAssembly.Instance(module);
  const { memory } = exports, spare = new Map();
  let end = memory.buffer.byteLength / 8, all = new Float64Array(memory.buffer);
  const core = {
    take(count) {
      const size = Math.ceil(count / 4) * 4, given = spare.get(size);
      if (given && given.length) return given.pop();
      const at = end;
      end += size;
      if (end > all.length) {
        memory.grow(Math.ceil((end - all.length) / 8192));
        all = new Float64Array(memory.buffer);
      }
      return at;
    },
    put(array) { const at = core.take(array.length); all.set(array, at); return at; },
    give(at, count) {
      const size = Math.ceil(count / 4) * 4;
      if (!spare.has(size)) spare.set(size, []);
      spare.get(size).push(at);
    },
    // Valid until more is taken.
    numbers: () => all,
    call: (name, ...given) => exports[name](...given),
  };
  return core;
}
const bytes = (at) => 8 * at;

// What holds pieces of a core's memory until it is let go.
export function holding(core) {
  const held = [];
  return {
    put(array) { const at = core.put(array); held.push([at, array.length]); return at; },
    room(count) { const at = core.take(count); core.numbers().fill(0, at, at + count);
      held.push([at, count]); return at; },
    free() { for (const [at, count] of held.splice(0)) core.give(at, count); },
  };
}

// A guitar at work: its states, in the order of their names.
export function makeGuitar(core, { dials, table, states, names }) {
  const hold = holding(core), entries = states + STAGES, outs = states + 1;
  const rows = hold.put(table), at = hold.put(dials), now = hold.room(Math.max(1, states)),
    room = hold.room(3 * entries * 4 * Math.ceil(outs / 4));
  return {
    states: () => new Map(names.map((name, i) => [name, [core.numbers()[now + i]]])),
    // From another circuit what both have: coils, tone capacitor, cable.
    adopt(other) {
      const its = other.states();
      names.forEach((name, i) => { const own = its.get(name);
        if (own) [core.numbers()[now + i]] = own; });
    },
    // So many samples: dials, and the EMF at the method's instants in rows that lie apart.
    run(dial, emf, apart, count, out) {
      core.call("linear", bytes(rows), bytes(at), dials.length, outs, entries, bytes(dial),
        bytes(emf), apart, count, bytes(now), bytes(out), bytes(room));
    },
    free: hold.free,
  };
}

// From so many steps a sample back to the samples: taps for each step within a sample.
function lowPass(rate, steps) {
  const lines = 512, span = 2 * LOW_PASS_REACH, centre = LOW_PASS_REACH * steps,
    fine = new Float64Array(span * steps);
  for (let k = 0; k < lines; k += 1) {
    const hz = ((k + 0.5) * 0.5 * rate) / lines, gain = bandLimit(hz, rate) / lines / steps,
      turn = (2 * Math.PI * hz) / (steps * rate);
    for (let j = 0; j < fine.length; j += 1) fine[j] += gain * Math.cos(turn * (j - centre));
  }
  const taps = new Float64Array(steps * span);
  // The last step of a sample is the sample's own instant.
  for (let q = 0; q < steps; q += 1) for (let k = 0; k < span; k += 1) {
    const j = (span - 1 - k) * steps + (steps - 1 - q);
    taps[q * span + k] = fine[j] * kaiser((j - centre) / centre, LOW_PASS_BETA);
  }
  return taps;
}
const filters = new Map();
function filtersOf(rate, steps) {
  const key = `${rate} ${steps}`;
  if (!filters.has(key)) {
    const between = nodeTaps(Array.from({ length: steps }, (_, q) => (q + 1) / steps)),
      kernels = new Float64Array(steps * 2 * REACH);
    between.forEach((taps, q) => { if (taps) kernels.set(taps, 2 * REACH * q);
      else kernels[2 * REACH * q + REACH] = 1; });
    filters.set(key, { kernels, down: lowPass(rate, steps) });
  }
  return filters.get(key);
}

// A guitar and the circuit that it feeds at work, from the EMF at the samples to the circuit's
// output, `CIRCUIT_LATENCY` samples late.
export function makeCircuit(core, given) {
  const { dials, table, states, names, groups, kinds, rest, weights, steps, rate } = given;
  const hold = holding(core), junctions = 4 * groups, outs = 4 * (Math.floor(states / 4) + 1),
    { kernels, down } = filtersOf(rate, steps), span = 2 * LOW_PASS_REACH;
  const rows = hold.put(table), at = hold.put(dials), types = hold.put(kinds),
    still = hold.put(rest), past = hold.room(3 * outs), weigh = hold.put(weights),
    solutions = hold.put([0, 1, 2].flatMap(() => Array.from(rest.slice(0, junctions)))),
    room = hold.room((states + 1 + junctions) * (junctions + outs) + outs + 1),
    between = hold.put(kernels), back = hold.put(down);
  const heardApart = 2 * REACH - 1 + BLOCK, heard = hold.room(heardApart),
    emf = hold.room(steps * BLOCK), fine = hold.room(steps * BLOCK),
    phasesApart = span - 1 + BLOCK, phases = hold.room(steps * phasesApart);
  return {
    states: () => { const all = core.numbers(); return new Map(names.map((name, i) =>
      [name, [0, 1, 2].map((age) => all[past + age * outs + i])])); },
    adopt(other) {
      const all = core.numbers(), its = other.states();
      names.forEach((name, i) => (its.get(name) || []).forEach(
        (value, age) => { all[past + age * outs + i] = value; }));
      if (other.waiting) other.waiting({ heard, phases, solutions });
    },
    // What is on its way, and where the junctions stand, for a circuit that takes over.
    waiting(to) {
      const all = core.numbers();
      for (const [from, size, into] of [[heard, heardApart, to.heard],
        [phases, steps * phasesApart, to.phases], [solutions, 3 * junctions, to.solutions]]) {
        all.copyWithin(into, from, from + size); }
    },
    run(dial, from, volts, count, out) {
      const all = core.numbers();
      for (let n = 0; n < count; n += 1) all[heard + 2 * REACH - 1 + n] = volts * all[from + n];
      core.call("combine", bytes(heard), heardApart, 1, bytes(between), 2 * REACH, steps,
        bytes(emf), count, count);
      all.copyWithin(heard, heard + count, heard + count + 2 * REACH - 1);
      const failed = core.call("circuit", bytes(rows), bytes(at), dials.length, groups,
        bytes(types), bytes(still), bytes(weigh), bytes(dial), bytes(emf), 1, steps, count,
        bytes(past), states, bytes(solutions), bytes(fine), bytes(room));
      if (failed >= 0) {
        // No solution: from rest again, rather than none ever after.
        all.fill(0, past, past + 3 * outs);
        for (let i = 0; i < 3 * junctions; i += 1) all[solutions + i] = all[still + i % junctions];
        all.fill(0, fine + failed, fine + steps * count);
      }
      for (let q = 0; q < steps; q += 1) {
        const row = phases + q * phasesApart + span - 1;
        for (let n = 0; n < count; n += 1) all[row + n] = all[fine + n * steps + q];
      }
      core.call("combine", bytes(phases), phasesApart, steps, bytes(back), span, 1, bytes(out),
        count, count);
      for (let q = 0; q < steps; q += 1) {
        const row = phases + q * phasesApart;
        all.copyWithin(row, row + count, row + count + span - 1);
      }
    },
    free: hold.free,
  };
}

// The working point of a circuit's junctions alone, as models/circuit/rest.py finds it: switched
// on and left alone, in implicit Euler steps of growing length.
export function solveJunctions(core, { kinds, groups }) {
  const hold = holding(core), junctions = 4 * groups, types = hold.put(kinds),
    feedback = hold.room(junctions * junctions), open = hold.room(junctions),
    solutions = hold.room(3 * junctions), currents = hold.room(junctions);
  return {
    solve(columns, volts) {
      core.numbers().set(columns, feedback);
      core.numbers().set(volts, open);
      return core.call("solve", bytes(types), bytes(feedback), bytes(open), bytes(solutions),
        bytes(currents), groups) === 1;
    },
    volts: () => core.numbers().slice(solutions, solutions + junctions),
    currents: () => core.numbers().slice(currents, currents + junctions),
    free: hold.free,
  };
}
