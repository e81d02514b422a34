// A memoryless clipping stage, as models/audio/clip.py has it: high-pass, curve, low-pass. The
// curve runs at eight times the rate, averaged between those samples by the difference of its
// antiderivative (Parker, Zavalishin and Le Bivic, DAFx-16); of the first order and not of the
// second, which is half the work in an audio thread.
import { bandLimit, kaiser } from "./fourier.js";

// Of what a lopsided curve makes of direct voltage, as an output capacitor would block it.
const DC_BLOCK_HZ = 10;
const OVER = 8, REACH = 28, LENGTH = 2 * REACH * OVER;

// Samples by which the stage is late.
export const DIRT_LATENCY = 2 * REACH;

// A curve of slope 1 at 0, and its antiderivative.
export function curveOf({ curve, knee }) {
  if ("leak" in curve) return diodeCurve(curve);
  if ("at" in curve) return curveThrough(curve, knee);
  const { bias } = curve;
  const rest = Math.tanh(bias), slope = 1 - rest * rest;
  const logCosh = (x) => Math.abs(x) + Math.log1p(Math.exp(-2 * Math.abs(x))) - Math.LN2;
  return {
    at: (u) => (Math.tanh(u + bias) - rest) / slope,
    integral: (u) => (logCosh(u + bias) - rest * u) / slope,
  };
}

// Volts v across the pair behind its resistor: u = v + leak sinh(v / slope).
function diodeCurve({ leak, slope }) {
  const gain = 1 + leak / slope;
  function across(u) {
    const size = Math.abs(u);
    // From above, where the function is convex, Newton's method cannot overshoot.
    let v = Math.min(size, slope * Math.asinh(size / leak));
    for (let i = 0; i < 50; i += 1) {
      const up = Math.exp(v / slope), sinh = 0.5 * (up - 1 / up), cosh = 0.5 * (up + 1 / up);
      const change = (v + leak * sinh - size) / (1 + (leak / slope) * cosh);
      v -= change;
      if (Math.abs(change) <= 1e-14 * (1 + v)) break;
    }
    return v;
  }
  return {
    at: (u) => Math.sign(u) * gain * across(u),
    integral(u) {
      const v = across(u), up = Math.exp(v / slope);
      return gain * (0.5 * v * v + leak * (0.5 * v * (up - 1 / up) - slope * (
        0.5 * (up + 1 / up) - 1)));
    },
  };
}

// A curve of points, evenly spaced over the inverse hyperbolic sine of volts over the knee:
// straight from one to the next in it, and level beyond.
function curveThrough({ at, farthest }, knee) {
  const last = at.length - 1, step = (2 * farthest) / last;
  const sums = new Float64Array(at.length), volts = (i) => knee * Math.sinh(i * step - farthest);
  for (let i = 1; i <= last; i += 1) {
    sums[i] = sums[i - 1] + 0.5 * (at[i] + at[i - 1]) * (volts(i) - volts(i - 1));
  }
  function within(u) {
    const place = (Math.asinh(u / knee) + farthest) / step;
    const i = Math.min(Math.max(Math.floor(place), 0), last - 1), low = volts(i);
    const share = (u - low) / (volts(i + 1) - low);
    return { i, low, value: at[i] + Math.min(Math.max(share, 0), 1) * (at[i + 1] - at[i]) };
  }
  const integral = (u) => {
    const { i, low, value } = within(u), end = volts(i + 1);
    if (u <= end && u >= low) return sums[i] + 0.5 * (at[i] + value) * (u - low);
    return u < low ? sums[0] + at[0] * (u - low) : sums[last] + at[last] * (u - end);
  };
  return { at: (u) => within(u).value, integral: (u) => integral(u) - integral(0) };
}

// A curve and its antiderivative over the inverse hyperbolic sine of volts over the knee, which is
// even in volts below the knee and in decibels above; past its ends the curve goes on level.
const FARTHEST = 10, NODES = 4097, STEP = (2 * FARTHEST) / (NODES - 1);
export function tabulatedCurve(spec) {
  const curve = curveOf(spec), value = new Float64Array(NODES), slope = new Float64Array(NODES);
  for (let i = 0; i < NODES; i += 1) {
    const w = i * STEP - FARTHEST, u = spec.knee * Math.sinh(w);
    value[i] = curve.integral(u);
    slope[i] = STEP * spec.knee * Math.cosh(w) * curve.at(u);
  }
  const end = spec.knee * Math.sinh(FARTHEST);
  return { value, slope, knee: spec.knee, ends: [-end, end],
    levels: [curve.at(-end), curve.at(end)] };
}
function integralOf({ value, slope, knee, ends, levels }, u) {
  if (u <= ends[0]) return value[0] + (u - ends[0]) * levels[0];
  if (u >= ends[1]) return value[NODES - 1] + (u - ends[1]) * levels[1];
  const x = Math.abs(u) / knee, w = Math.log(x + Math.sqrt(x * x + 1));
  const place = ((u < 0 ? -w : w) + FARTHEST) / STEP, i = Math.min(Math.floor(place), NODES - 2),
    t = place - i;
  const rise = value[i + 1] - value[i], start = slope[i], bend = start + slope[i + 1] - 2 * rise;
  return value[i] + t * (start + t * (rise - start - bend + t * bend));
}

// First-order high-pass, by the bilinear transform.
export function highPass(cornerHz, rate) {
  const k = Math.tan((Math.PI * cornerHz) / rate), gain = 1 / (1 + k), back = (1 - k) / (1 + k);
  let last = 0, out = 0;
  return (x) => { out = gain * (x - last) + back * out; last = x; return out; };
}

// The impulse response at the fine rate of what `gainAt` gives, `centre` fine samples late; its
// outer parts die away under a Kaiser window, so that the low-pass's tail is left whole.
function impulseOf(gainAt, rate, centre) {
  const steps = 192, half = LENGTH - centre, out = new Float64Array(LENGTH);
  for (let k = 0; k < steps; k += 1) {
    const hz = ((k + 0.5) * 0.5 * rate) / steps, [re, im] = gainAt(hz),
      turn = (2 * Math.PI * hz) / (OVER * rate);
    for (let j = 0; j < LENGTH; j += 1) out[j] += re * Math.cos(
      turn * (j - centre)) - im * Math.sin(turn * (j - centre));
  }
  return out.map((x, j) => (x / steps / OVER) * kaiser(
    Math.max(0, (Math.abs(j - centre) / half - 0.35) / 0.65), 8));
}

// The curve's table and the filters to the fine rate and back, which take too long to make in an
// audio thread.
export function dirtTables(spec, rate) {
  const up = impulseOf((hz) => [OVER * bandLimit(hz, rate), 0], rate, LENGTH / 2);
  // With the low-pass, and against what the average does: a cosine, and half a step's delay.
  const down = impulseOf((hz) => {
    const half = (Math.PI * hz) / (OVER * rate), gain = bandLimit(hz, rate) / Math.cos(half),
      ratio = hz / spec.postHz;
    const low = [1 / (1 + ratio * ratio), -ratio / (1 + ratio * ratio)];
    return [gain * (low[0] * Math.cos(half) - low[1] * Math.sin(half)),
      gain * (low[0] * Math.sin(half) + low[1] * Math.cos(half))];
  }, rate, LENGTH / 2 + OVER - 1); // out comes the last of each eight
  return { up, down, curve: tabulatedCurve(spec) };
}

// Four sums side by side, since each addition waits for the one before it.
function product(taps, signal, start, length) {
  let a = 0, b = 0, c = 0, d = 0;
  for (let k = 0; k < length; k += 4) {
    a += taps[k] * signal[start + k];
    b += taps[k + 1] * signal[start + k + 1];
    c += taps[k + 2] * signal[start + k + 2];
    d += taps[k + 3] * signal[start + k + 3];
  }
  return a + b + c + d;
}

// A stage at work: one sample in, one sample out, `DIRT_LATENCY` later; `volts` is what a sample
// of 1 is at the curve, and may move.
export function makeDirt(spec, rate, { up, down, curve }) {
  const emphasis = highPass(spec.preHz, rate), block = highPass(DC_BLOCK_HZ, rate);
  // By phase, newest sample last, so that each inner loop runs straight on.
  const taps = 2 * REACH, phases = Array.from(
    { length: OVER }, (_, p) => Float64Array.from(
      { length: taps }, (__, k) => up[p + OVER * (taps - 1 - k)]));
  const backwards = down.slice().reverse();
  const input = new Float64Array(2 * taps), fine = new Float64Array(2 * LENGTH);
  const near = 1e-5 * spec.knee;
  let at = 0, previous = 0, before = integralOf(curve, 0);
  return {
    volts: 1,
    step(x) {
      const driven = emphasis(x) * this.volts, start = at + 1, fineStart = OVER * (at + 1);
      input[at] = input[at + taps] = driven;
      for (let p = 0; p < OVER; p += 1) {
        const u = product(phases[p], input, start, taps);
        const here = integralOf(curve, u), moved = u - previous, place = OVER * at + p;
        // Between samples as good as equal, the curve itself: the slope of its antiderivative.
        const middle = 0.5 * (u + previous);
        fine[place] = fine[place + LENGTH] = Math.abs(moved) > near ? (here - before) / moved
          : (integralOf(curve, middle + near) - integralOf(curve, middle - near)) / (2 * near);
        previous = u;
        before = here;
      }
      at = at + 1 === taps ? 0 : at + 1;
      return block(product(backwards, fine, fineStart, LENGTH));
    },
  };
}

// What the stage makes of a whole signal, for its level alone: the power of samples through a
// memoryless curve is right at any rate, what folds back is not taken apart from the rest.
export function roughlyDirty(audio, spec, volts, rate) {
  const curve = curveOf(spec), emphasis = highPass(spec.preHz, rate),
    block = highPass(DC_BLOCK_HZ, rate);
  // Bent at the top and right where the power lies.
  const k = (Math.PI * spec.postHz) / rate;
  const gain = k / (1 + k), back = (1 - k) / (1 + k);
  let last = 0, out = 0;
  return audio.map((x) => {
    const y = curve.at(emphasis(x) * volts);
    out = gain * (y + last) + back * out;
    last = y;
    return block(out);
  });
}

// Ordinary playing peaks at so many times its RMS; as in models/audio/drive.py.
const ORDINARY_CREST = 5;

// Where playing of the RMS of the loudest second ordinarily peaks.
export function ordinaryPeak(audio, rate) {
  const hop = Math.round(0.1 * rate), hops = Math.ceil(audio.length / hop),
    energy = new Float64Array(hops), wide = Math.min(10, hops);
  audio.forEach((x, i) => { energy[Math.floor(i / hop)] += x * x; });
  let most = 0;
  for (let h = 0; h + wide <= hops; h += 1) {
    most = Math.max(most, energy.subarray(h, h + wide).reduce((a, b) => a + b, 0));
  }
  return ORDINARY_CREST * Math.sqrt(most / Math.min(wide * hop, audio.length));
}
