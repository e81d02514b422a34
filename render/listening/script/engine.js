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
  const withCurrent = circuit.branches.filter((b) => "LVPE".includes(b.kind));
  const reactive = circuit.branches.filter((b) => "CL".includes(b.kind));
  const nodes = circuit.nodes - 1, n = nodes + withCurrent.length, m = reactive.length;
  const fixed = new Float64Array(n * n), reading = new Float64Array(m * n),
    inertia = new Float64Array(n * m), drive = new Float64Array(n);
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
      if (branch.kind === "V" || branch.kind === "E") {
        fixed[i * n + row] -= sign; fixed[row * n + i] -= sign; }
      if (branch.kind === "P") { fixed[i * n + row] -= sign / branch.value;
        fixed[row * n + i] -= sign; }
    }
    if (branch.kind === "L") { reading[state * n + row] = 1;
      inertia[row * m + state] = branch.value; }
    if (branch.kind === "V") drive[row] = branch.value;
    // What an amplifier puts out follows the voltage between two nodes.
    if (branch.kind === "E") branch.control.forEach(
      (node, i) => { if (node > 0) fixed[row * n + node - 1] += i ? -branch.value : branch.value;
        });
    if (branch.kind === "P") moving.push({ row, branch });
  }
  const mass = new Float64Array(n * n);
  for (let i = 0; i < n; i += 1) for (let k = 0; k < m; k += 1) if (inertia[i * m + k] !== 0) for (
    let j = 0; j < n; j += 1) mass[i * n + j] += inertia[i * m + k] * reading[k * n + j];
  return { n, m, mass, fixed, reading, inertia, drive, moving, output: circuit.output - 1 };
}

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

// One step of the recursion at every dial: rows x (m + 1) x (m + 4). The rheostats' shares move
// a few diagonal entries, so that each row is a small correction of one solved system.
export function tabulate(circuit, method, rate, rowCount) {
  const parts = assemble(circuit), { n, m, reading, inertia, drive, moving, output } = parts;
  const dials = dialRows(rowCount), width = m + STAGES, height = m + 1, r = moving.length;
  const table = new Float64Array(rowCount * height * width);
  const shares = moving.map(({ branch }) => Float64Array.from(
    dials, (dial) => share(branch, dial)));
  for (const term of method.terms) {
    const [sr, si] = [term.mu[0] * rate, term.mu[1] * rate];
    // Half of each share belongs to the system itself: with all of them 0 it may be singular.
    const system = systemAt(parts, sr, si, moving.map(() => 0.5)), sources = matrix(n, m + 1 + r);
    for (let i = 0; i < n; i += 1) {
      for (let k = 0; k < m; k += 1) sources.re[i * sources.columns + k] = inertia[i * m + k];
      sources.re[i * sources.columns + m] = drive[i];
    }
    moving.forEach(({ row }, k) => { sources.re[row * sources.columns + m + 1 + k] = 1; });
    const solved = solve(system, sources), wide = solved.columns;
    const picked = (i, j, part) => {
      if (i === m) return solved[part][output * wide + j];
      let total = 0;
      for (let k = 0; k < n; k += 1) if (reading[i * n + k] !== 0) total += reading[
        i * n + k] * solved[part][k * wide + j];
      return total;
    };
    const base = { re: [], im: [] };
    for (let i = 0; i < height; i += 1) for (const part of ["re", "im"]) base[part].push(
      Float64Array.from({ length: wide }, (_, j) => picked(i, j, part)));
    // last * (s * sum of weights) for states, last * weight for the EMF's nodes; twice the real
    // part.
    const times = (a, b) => [a[0] * b[0] - a[1] * b[1], a[0] * b[1] + a[1] * b[0]];
    const sum = term.weights.reduce((x, y) => [x[0] + y[0], x[1] + y[1]], [0, 0]);
    const ofStates = times(term.last, times([sr, si], sum)),
      ofNodes = term.weights.map((w) => times(term.last, w));
    for (let row = 0; row < rowCount; row += 1) {
      const inner = matrix(r, r), right = matrix(r, m + 1);
      for (let i = 0; i < r; i += 1) {
        const off = shares[i][row] - 0.5, from = moving[i].row * wide;
        for (let j = 0; j < r; j += 1) {
          inner.re[i * r + j] = (i === j ? 1 : 0) - off * solved.re[from + m + 1 + j];
          inner.im[i * r + j] = -off * solved.im[from + m + 1 + j];
        }
        for (let j = 0; j <= m; j += 1) {
          right.re[i * (m + 1) + j] = off * solved.re[from + j];
          right.im[i * (m + 1) + j] = off * solved.im[from + j];
        }
      }
      const change = solve(inner, right);
      for (let i = 0; i < height; i += 1) {
        const start = (row * height + i) * width;
        for (let j = 0; j <= m; j += 1) {
          let re = base.re[i][j], im = base.im[i][j];
          for (let k = 0; k < r; k += 1) {
            const ur = base.re[i][m + 1 + k], ui = base.im[i][m + 1 + k],
              cr = change.re[k * (m + 1) + j], ci = change.im[k * (m + 1) + j];
            re += ur * cr - ui * ci;
            im += ur * ci + ui * cr;
          }
          if (j < m) table[start + j] += 2 * (re * ofStates[0] - im * ofStates[1]);
          else ofNodes.forEach((w, k) => { table[start + m + k] += 2 * (re * w[0] - im * w[1]); });
        }
      }
    }
  }
  return { dials, table, states: m, names: circuit.branches.filter(
    (b) => "CL".includes(b.kind)).map((b) => `${b.kind}${b.a}-${b.b}`) };
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

// A circuit at work: its states, and the rows that it stands between.
export function makeStepper({ dials, table, states, names }) {
  const width = states + STAGES, height = states + 1, size = height * width;
  const entry = new Float64Array(width), following = new Float64Array(height),
    resting = new Float64Array(size);
  let row = 0, restingAt = -1, last = -1;
  function find(dial) {
    while (row < dials.length - 2 && dial >= dials[row + 1]) row += 1;
    while (row > 0 && dial < dials[row]) row -= 1;
    return (dial - dials[row]) / (dials[row + 1] - dials[row]);
  }
  // Between two rows on the way, without keeping what lies between them.
  function moving(dial) {
    const above = find(dial), start = row * size, next = start + size;
    for (let i = 0, at = 0; i < height; i += 1) {
      let total = 0;
      for (let j = 0; j < width; j += 1, at += 1) {
        const low = table[start + at];
        total += (low + above * (table[next + at] - low)) * entry[j];
      }
      following[i] = total;
    }
  }
  function rest(dial) {
    if (dial !== restingAt) {
      const above = find(dial), start = row * size;
      for (let i = 0; i < size; i += 1) resting[i] = table[start + i] + above * (
        table[start + size + i] - table[start + i]);
      restingAt = dial;
    }
    // Two sums side by side, since each addition waits for the one before it.
    for (let i = 0; i < height; i += 1) {
      const end = (i + 1) * width;
      let at = i * width, j = 0, total = 0, other = 0;
      if (width & 1) { total = resting[at] * entry[0]; at += 1; j = 1; }
      for (; at < end; at += 2, j += 2) {
        total += resting[at] * entry[j];
        other += resting[at + 1] * entry[j + 1];
      }
      following[i] = total + other;
    }
  }
  return {
    // From another circuit what both have: coils, tone capacitor, cable.
    adopt(other) { names.forEach((name, i) =>
      { const value = other.states().get(name); if (value !== undefined) entry[i] = value; }); },
    states: () => new Map(names.map((name, i) => [name, entry[i]])),
    // One sample: the dial, and the EMF's nodes at index n.
    step(dial, nodes, n) {
      for (let k = 0; k < STAGES; k += 1) entry[states + k] = nodes[k][n];
      if (dial === last) rest(dial); else moving(dial);
      last = dial;
      for (let i = 0; i < states; i += 1) entry[i] = following[i];
      return following[states];
    },
  };
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
