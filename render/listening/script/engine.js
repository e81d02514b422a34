// The circuit's equations and their recursion, as models/circuit has them.
import { kaiser } from "./fourier.js";

// Instants within each step at which the method wants the EMF.
export const STAGES = 4;

// Dial positions of the table's rows, denser towards both ends.
export const dialRows = (count) => Float64Array.from(
  { length: count }, (_, i) => 5 * (1 - Math.cos((Math.PI * i) / (count - 1))));

// Fraction of the track below the wiper.
export function fraction(law, dial) {
  const x = dial / 10;
  if (law.points) {
    const at = x * (law.points.length - 1), i = Math.min(Math.floor(at), law.points.length - 2);
    return law.points[i] + (at - i) * (law.points[i + 1] - law.points[i]);
  }
  const bent = (y) => Math.expm1(2 * Math.log(1 / law.midpoint - 1) * y) / Math.expm1(
    2 * Math.log(1 / law.midpoint - 1));
  switch (law.kind) {
    case "linear": return x;
    case "audio": return Math.abs(law.midpoint - 0.5) < 1e-9 ? x : bent(x);
    case "reverse-audio": return Math.abs(law.midpoint - 0.5) < 1e-9 ? x : 1 - bent(1 - x);
    default: return x < 0.5 ? 2 * law.midpoint * x
      : law.midpoint + (2 * x - 1) * (1 - law.midpoint);
  }
}

// Share of a rheostat's resistance at a volume dial.
export function share(branch, dial) {
  const below = fraction(branch.law, branch.held === null ? dial : branch.held);
  return Math.max(branch.falling ? 1 - below : below, branch.floor);
}

const matrix = (rows, columns) => ({ rows, columns, re: new Float64Array(rows * columns),
  im: new Float64Array(rows * columns) });

// X with A X = B, both complex and overwritten; Gauss-Jordan with partial pivoting.
function solve(a, b) {
  const n = a.rows, m = b.columns;
  for (let k = 0; k < n; k += 1) {
    let pivot = k, most = -1;
    for (let i = k; i < n; i += 1) {
      const size = Math.hypot(a.re[i * n + k], a.im[i * n + k]);
      if (size > most) { most = size; pivot = i; }
    }
    for (const [part, width] of [[a, n], [b, m]]) {
      for (let j = 0; pivot !== k && j < width; j += 1) {
        for (const field of ["re", "im"]) {
          const x = part[field], one = k * width + j, other = pivot * width + j;
          [x[one], x[other]] = [x[other], x[one]];
        }
      }
    }
    const re = a.re[k * n + k], im = a.im[k * n + k], size = re * re + im * im;
    for (const [part, width] of [[a, n], [b, m]]) {
      for (let j = 0; j < width; j += 1) {
        const at = k * width + j, x = part.re[at], y = part.im[at];
        part.re[at] = (x * re + y * im) / size;
        part.im[at] = (y * re - x * im) / size;
      }
    }
    for (let i = 0; i < n; i += 1) {
      const fr = a.re[i * n + k], fi = a.im[i * n + k];
      if (i === k || (fr === 0 && fi === 0)) continue;
      for (const [part, width] of [[a, n], [b, m]]) {
        for (let j = 0; j < width; j += 1) {
          const from = k * width + j, at = i * width + j, x = part.re[from], y = part.im[from];
          part.re[at] -= fr * x - fi * y;
          part.im[at] -= fr * y + fi * x;
        }
      }
    }
  }
  return b;
}

// Modified nodal analysis: E dz/dt = A z + B u. Ground's row and column are left out.
export function assemble(circuit) {
  const withCurrent = circuit.branches.filter((b) => "LVPES".includes(b.kind));
  const reactive = circuit.branches.filter((b) => "CL".includes(b.kind));
  const nodes = circuit.nodes - 1, n = nodes + withCurrent.length, m = reactive.length;
  const fixed = new Float64Array(n * n), reading = new Float64Array(m * n),
    inertia = new Float64Array(n * m), drive = new Float64Array(n), supply = new Float64Array(n);
  const moving = [];
  for (const branch of circuit.branches) {
    const row = nodes + withCurrent.indexOf(branch), state = reactive.indexOf(branch);
    const ends = [[branch.a - 1, 1], [branch.b - 1, -1]].filter(([node]) => node >= 0);
    for (const [i, sign] of ends) {
      if (branch.kind === "R") for (const [j, other] of ends) fixed[i * n + j] -= (
        sign * other) / branch.value;
      if (branch.kind === "C") { reading[state * n + i] = sign;
        inertia[i * m + state] = branch.value * sign; }
      if (branch.kind === "L") { fixed[i * n + row] -= sign; fixed[row * n + i] += sign; }
      if ("VES".includes(branch.kind)) {
        fixed[i * n + row] -= sign; fixed[row * n + i] -= sign; }
      if (branch.kind === "P") { fixed[i * n + row] -= sign / branch.value;
        fixed[row * n + i] -= sign; }
    }
    if (branch.kind === "L") { reading[state * n + row] = 1;
      inertia[row * m + state] = branch.value; }
    if (branch.kind === "V") drive[row] = branch.value;
    if (branch.kind === "S") supply[row] = branch.value;
    // What an amplifier puts out follows the voltage between two nodes.
    if (branch.kind === "E") branch.control.forEach(
      (node, i) => { if (node > 0) fixed[row * n + node - 1] += i ? -branch.value : branch.value;
        });
    if (branch.kind === "P") moving.push({ row, branch });
  }
  const mass = new Float64Array(n * n);
  for (let i = 0; i < n; i += 1) for (let k = 0; k < m; k += 1) if (inertia[i * m + k] !== 0) for (
    let j = 0; j < n; j += 1) mass[i * n + j] += inertia[i * m + k] * reading[k * n + j];
  return { n, m, mass, fixed, reading, inertia, drive, supply, moving,
    output: circuit.output - 1, names: reactive.map((b) => b.name || `${b.kind}${b.a}-${b.b}`) };
}
// A voltage between two nodes, as what picks it out of the unknowns.
function between(n, plus, minus) {
  const row = new Float64Array(n);
  if (plus > 0) row[plus - 1] += 1;
  if (minus > 0) row[minus - 1] -= 1;
  return row;
}
const column = (flat, width, j) => Float64Array.from(
  { length: flat.length / width }, (_, i) => flat[i * width + j]);

// s E - A, with these shares of the rheostats.
function systemAt({ n, mass, fixed, moving }, sr, si, shares) {
  const system = matrix(n, n);
  for (let i = 0; i < n * n; i += 1) {
    system.re[i] = sr * mass[i] - fixed[i];
    system.im[i] = si * mass[i];
  }
  moving.forEach(({ row }, k) => { system.re[row * n + row] -= shares[k]; });
  return system;
}

// What is picked of the circuit's answers to some drivers at every dial, entry by entry. The
// rheostats' shares move a few diagonal entries, so that each row of the dial is a small correction
// of one solved system.
function eachRow(parts, [sr, si], drivers, picked, dials, put) {
  const { n, moving } = parts, r = moving.length, given = drivers.length, wide = given + r;
  const shares = moving.map(({ branch }) => Float64Array.from(
    dials, (dial) => share(branch, dial)));
  // Half of each share belongs to the system itself: with all of them 0 it may be singular.
  const system = systemAt(parts, sr, si, moving.map(() => 0.5)), sources = matrix(n, wide);
  drivers.forEach((values, j) => values.forEach(
    (x, i) => { sources.re[i * wide + j] = x; }));
  moving.forEach(({ row }, k) => { sources.re[row * wide + given + k] = 1; });
  const solved = solve(system, sources);
  const base = picked.map((row) => ["re", "im"].map((part) => {
    const sums = new Float64Array(wide);
    row.forEach((x, k) => { if (x !== 0) for (let j = 0; j < wide; j += 1) sums[j] += x * solved[
      part][k * wide + j]; });
    return sums;
  }));
  for (let at = 0; at < dials.length; at += 1) {
    const inner = matrix(r, r), right = matrix(r, given);
    for (let i = 0; i < r; i += 1) {
      const off = shares[i][at] - 0.5, from = moving[i].row * wide;
      for (let j = 0; j < r; j += 1) {
        inner.re[i * r + j] = (i === j ? 1 : 0) - off * solved.re[from + given + j];
        inner.im[i * r + j] = -off * solved.im[from + given + j];
      }
      for (let j = 0; j < given; j += 1) {
        right.re[i * given + j] = off * solved.re[from + j];
        right.im[i * given + j] = off * solved.im[from + j];
      }
    }
    const change = solve(inner, right);
    for (let i = 0; i < picked.length; i += 1) {
      const [real, imaginary] = base[i];
      for (let j = 0; j < given; j += 1) {
        let re = real[j], im = imaginary[j];
        for (let k = 0; k < r; k += 1) {
          const ur = real[given + k], ui = imaginary[given + k], cr = change.re[k * given + j],
            ci = change.im[k * given + j];
          re += ur * cr - ui * ci;
          im += ur * ci + ui * cr;
        }
        put(at, i, j, re, im);
      }
    }
  }
}

// One step of the recursion at every dial: rows x (m + 1) x (m + 4).
export function tabulate(circuit, method, rate, rowCount) {
  const parts = assemble(circuit), { n, m, reading, inertia, drive, output } = parts;
  const dials = dialRows(rowCount), width = m + STAGES, height = m + 1;
  const table = new Float64Array(rowCount * height * width);
  const states = Array.from({ length: m }, (_, k) => k);
  const drivers = [...states.map((k) => column(inertia, m, k)), drive],
    picked = [...states.map((k) => reading.subarray(k * n, (k + 1) * n)),
      between(n, output + 1, 0)];
  for (const term of method.terms) {
    /** @type {[number, number]} */
    const s = [term.mu[0] * rate, term.mu[1] * rate];
    // last * (s * sum of weights) for states, last * weight for the EMF's nodes; twice the real
    // part.
    const times = (a, b) => [a[0] * b[0] - a[1] * b[1], a[0] * b[1] + a[1] * b[0]];
    const sum = term.weights.reduce((x, y) => [x[0] + y[0], x[1] + y[1]], [0, 0]);
    const ofStates = times(term.last, times(s, sum)),
      ofNodes = term.weights.map((w) => times(term.last, w));
    eachRow(parts, s, drivers, picked, dials, (row, i, j, re, im) => {
      const start = (row * height + i) * width;
      if (j < m) table[start + j] += 2 * (re * ofStates[0] - im * ofStates[1]);
      else ofNodes.forEach((w, k) => { table[start + m + k] += 2 * (re * w[0] - im * w[1]); });
    });
  }
  return { dials, table, states: m, names: parts.names };
}

// ---- circuits with junctions: models/circuit/junctions.py, rest.py and steps.py --------------

// 11/6 z[n] = 3 z[n-1] - 3/2 z[n-2] + 1/3 z[n-3] + step * dz/dt[n].
const NEWEST = 11 / 6, PAST = [3, -1.5, 1 / 3];
// Steps a second of a file, and of what a weak machine makes do with.
export const STEPS_A_SECOND = { full: 430e3, half: 215e3 };
const OPEN_OHMS = 1e12, CRITICAL_AMPERES = 1e-3, NO_AMPERES = 1e-300;

// Junctions filled up to fours: between which nodes, what they are like, what each does to others.
function junctionsOf({ junctions, coupling }, n) {
  const own = junctions.length, groups = Math.max(1, Math.ceil(own / 4)), p = 4 * groups,
    kinds = new Float64Array(5 * p);
  for (let k = 0; k < p; k += 1) {
    const { amperes, volts, early, emitter } = junctions[k]
      || { amperes: NO_AMPERES, volts: 0.026, early: 0, emitter: 0 };
    kinds[k] = amperes;
    kinds[p + k] = 1 / volts;
    kinds[2 * p + k] = volts * Math.log(CRITICAL_AMPERES / amperes);
    kinds[3 * p + k] = early;
    kinds[4 * p + k] = emitter;
  }
  const ends = Array.from({ length: p }, (_, k) => (k < own
    ? between(n, junctions[k].plus, junctions[k].minus) : new Float64Array(n)));
  // Currents into the nodes by each junction's own current.
  const taken = Array.from({ length: p }, (_, j) => Float64Array.from({ length: n }, (__, i) => {
    let total = 0;
    for (let k = 0; k < own && j < own; k += 1) total += ends[k][i] * coupling[k][j];
    return total;
  }));
  return { groups, p, kinds, ends, taken };
}
// A guitar with the stage that it feeds, at these settings, in the place of an input.
export function feedingStage(circuit, stage, knobs) {
  const at = (node) => (node === 0 ? 0 : node === 1 ? circuit.output : circuit.nodes + node - 2);
  const set = stage.branches.map((branch, i) => ({ ...branch, name: `stage ${i}`,
    value: Math.max(branch.least, Object.entries(branch.moved).reduce(
      (sum, [knob, per]) => sum + per * knobs[knob], branch.value)) }));
  const placed = (branch) => ({ ...branch, a: at(branch.a), b: at(branch.b),
    ...(branch.control && { control: branch.control.map(at) }) });
  const own = circuit.branches.map((branch) => (branch.part === "input"
    ? { ...branch, value: OPEN_OHMS } : branch));
  return { ...circuit, nodes: circuit.nodes + stage.nodes - 2, heard: at(stage.output),
    branches: [...own, ...set.map(placed)], coupling: stage.coupling,
    junctions: stage.junctions.map((one) => ({ ...one, plus: at(one.plus), minus: at(one.minus) })),
    stage: { ...stage, branches: set } };
}
const product = (row, values) => { let total = 0;
  for (let i = 0; i < row.length; i += 1) total += row[i] * values[i]; return total; };

// Where the junctions of a stage stand while nothing is played, behind a guitar at rest: switched
// on and left alone, in implicit Euler steps of growing length.
export function restOf(stage, junctionSolver) {
  const start = { kind: "R", a: 1, b: 0, value: 1e6 };
  const parts = assemble({ ...stage, output: 1, branches: [start, ...stage.branches] }),
    { n, mass, fixed, supply } = parts, about = junctionsOf(stage, n), { p, ends, taken } = about,
    solver = junctionSolver(about), columns = new Float64Array(p * p),
    open = new Float64Array(p);
  let unknowns = new Float64Array(n), solvable = true;
  for (let step = 1.4e-6; step < 1.4e6 && solvable; step *= 1.4) {
    const pencil = matrix(n, n), right = matrix(n, 1 + p);
    for (let i = 0; i < n * n; i += 1) pencil.re[i] = mass[i] / step - fixed[i];
    for (let i = 0; i < n; i += 1) {
      right.re[i * (1 + p)] = supply[i] + product(
        mass.subarray(i * n, (i + 1) * n), unknowns) / step;
      for (let j = 0; j < p; j += 1) right.re[i * (1 + p) + 1 + j] = -taken[j][i];
    }
    const { re } = solve(pencil, right), without = column(re, 1 + p, 0),
      each = taken.map((_, j) => column(re, 1 + p, 1 + j));
    for (let j = 0; j < p; j += 1) {
      open[j] = product(ends[j], without);
      for (let i = 0; i < p; i += 1) columns[j * p + i] = product(ends[i], each[j]);
    }
    solvable = solver.solve(columns, open);
    const currents = solver.currents();
    unknowns = without.map((x, i) => each.reduce((sum, one, j) => sum + one[i] * currents[j], x));
  }
  const volts = solver.volts(), rest = new Float64Array(2 * p);
  solver.free();
  if (!solvable) return null;
  for (let k = 0; k < p; k += 1) {
    rest[k] = volts[k];
    rest[p + k] = about.kinds[k] * Math.expm1(volts[k] * about.kinds[p + k]);
    const early = about.kinds[3 * p + k], e = about.kinds[4 * p + k];
    if (early) rest[p + k] = (rest[p + e + 1] - rest[p + e]) * volts[e + 1] * early;
  }
  return rest;
}

// One step of a guitar and the stage that it feeds, at every dial, by columns as the core reads it.
export function tabulateSteps(circuit, rest, { rate, least }, rowCount) {
  const parts = assemble(circuit), { n, m, reading, inertia, drive } = parts,
    { groups, p, kinds, ends, taken } = junctionsOf(circuit, n);
  const steps = Math.ceil(least / rate), fast = steps * rate, dials = dialRows(rowCount),
    states = Array.from({ length: m }, (_, k) => k), held = 4 * (Math.floor(m / 4) + 1),
    columns = m + 1 + p, width = p + held;
  const drivers = [...states.map((k) => column(inertia, m, k).map((x) => fast * x)), drive,
    ...taken.map((values) => values.map((x) => -x))];
  const picked = [...ends, ...states.map((k) => reading.subarray(k * n, (k + 1) * n)),
    between(n, circuit.heard, 0)];
  const table = new Float64Array(rowCount * columns * width);
  eachRow(parts, [NEWEST * fast, 0], drivers, picked, dials, (row, i, j, re) => {
    table[(row * columns + j) * width + i] = re; });
  return { dials, table, states: m, names: parts.names, groups, kinds, rest, steps, rate,
    weights: Float64Array.from(PAST) };
}

// Samples on each side that the EMF between two samples is made of.
export const REACH = 40;

// For each of the method's instants within a step, taps on 2 REACH samples round it: a windowed
// sinc; null for the sample's own instant.
export function nodeTaps(nodes) {
  return nodes.map((node) => node === 1 ? null
    : Float64Array.from({ length: 2 * REACH }, (_, i) => {
    const t = i - REACH + 1 - node; // from the instant wanted, between two samples
    return (Math.sin(Math.PI * t) / (Math.PI * t)) * kaiser(t / REACH, 11);
  }));
}

// The EMF of a loop at the instants within each step, round the loop's end.
export function emfNodes(emf, nodes) {
  const n = emf.length, padded = new Float64Array(n + 2 * REACH);
  for (let i = 0; i < padded.length; i += 1) padded[i] = emf[(((i - REACH) % n) + n) % n];
  return nodeTaps(nodes).map((taps) => {
    if (!taps) return Float64Array.from(emf);
    const out = new Float64Array(n);
    for (let i = 0; i < n; i += 1) {
      let total = 0;
      for (let k = 0; k < 2 * REACH; k += 1) total += taps[k] * padded[i + k];
      out[i] = total;
    }
    return out;
  });
}

// Output over EMF at rest, as pairs of real and imaginary part.
export function responseComplex(circuit, dial, hz) {
  const parts = assemble(circuit), { n, drive, moving, output } = parts;
  const shares = moving.map(({ branch }) => share(branch, dial));
  return Array.from(hz, (f) => {
    const sources = matrix(n, 1);
    sources.re.set(drive);
    const solved = solve(systemAt(parts, 0, 2 * Math.PI * f, shares), sources);
    return [solved.re[output], solved.im[output]];
  });
}
export const response = (circuit, dial, hz) =>
  responseComplex(circuit, dial, hz).map(([re, im]) => 20 * Math.log10(Math.hypot(re, im) + 1e-12));
