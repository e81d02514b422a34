// Loudness after ITU-R BS.1770, tables of it over the dial, and the gains that come of them.
import { holding } from "./core.js";

// Sections b0, b1, b2, 1, a1, a2 of the K-weighting at any rate, as models/audio/loudness.py has
// them.
function kWeighting(rate) {
  const high = 10 ** (3.999843853973347 / 20), q = 0.7071752369554196,
    middle = high ** 0.4996667741545416;
  const k = Math.tan((Math.PI * 1681.974450955533) / rate), scale = 1 + k / q + k * k;
  const p = Math.tan((Math.PI * 38.13547087602444) / rate), pq = 0.5003270373238773,
    pass = 1 + p / pq + p * p;
  return [
    (high + (middle * k) / q + k * k) / scale, (2 * (k * k - high)) / scale,
    (high - (middle * k) / q + k * k) / scale, 1, (2 * (k * k - 1)) / scale,
    (1 - k / q + k * k) / scale,
    1, -2, 1, 1, (2 * (p * p - 1)) / pass, (1 - p / pq + p * p) / pass,
  ];
}

// Integrated loudness of a mono signal in LUFS, as if its peak were full scale and then turned
// down to where it is, so that the absolute gate takes nothing out; -99 of silence.
export function integratedLoudness(core, audio, rate) {
  let peak = 0;
  for (const x of audio) peak = Math.max(peak, Math.abs(x));
  const hop = Math.round(0.1 * rate), hops = Math.floor(audio.length / hop);
  if (peak < 1e-12 || hops < 4) return -99;
  const powers = new Float64Array(hops), hold = holding(core), at = hold.room(hop),
    sections = hold.put(kWeighting(rate)), memory = hold.room(4);
  for (let h = 0; h < hops; h += 1) {
    const own = core.numbers().subarray(at, at + hop);
    for (let i = 0; i < hop; i += 1) own[i] = audio[h * hop + i] / peak;
    core.call("sections", 8 * sections, 2, 8 * memory, 8 * at, 8 * at, hop);
    for (const x of own) powers[h] += (x * x) / hop;
  }
  hold.free();
  const blocks = Array.from({ length: hops - 3 },
    (_, i) => (powers[i] + powers[i + 1] + powers[i + 2] + powers[i + 3]) / 4);
  const mean = (list) => list.reduce((a, b) => a + b, 0) / list.length;
  const loud = blocks.filter((p) => p > 10 ** ((-70 + 0.691) / 10));
  if (!loud.length) return -99;
  const gate = mean(loud) / 10;
  return -0.691 + 10 * Math.log10(mean(loud.filter((p) => p > gate))) + 20 * Math.log10(peak);
}

// The highest magnitude of a signal, between samples too, as models/audio/loudness.py has it: at
// four times the rate, where a sample comes within 2 dB of the highest.
const PEAK_REACH = 16, BETWEEN = [-0.75, -0.5, -0.25, 0.25, 0.5, 0.75].map((at) =>
  Float64Array.from({ length: 2 * PEAK_REACH + 1 }, (_, k) => {
    const away = k - PEAK_REACH - at;
    return (Math.sin(Math.PI * away) / (Math.PI * away))
      * Math.cos((0.5 * Math.PI * away) / (PEAK_REACH + 1)) ** 2;
  }));
export function truePeak(audio) {
  let peak = 0;
  for (const x of audio) peak = Math.max(peak, Math.abs(x));
  const near = 0.8 * peak;
  for (let n = 0; n < audio.length; n += 1) {
    if (Math.abs(audio[n]) < near) continue;
    for (const taps of BETWEEN) {
      let sum = 0;
      for (let k = 0; k < taps.length; k += 1) sum += taps[k] * (audio[n + k - PEAK_REACH] || 0);
      peak = Math.max(peak, Math.abs(sum));
    }
  }
  return peak;
}

// Between values at rising places: the monotone cubic of Fritsch and Carlson (SIAM J. Numer.
// Anal. 17, 1980), with the slopes at the inner places that Fritsch and Butland gave (1984).
export function monotone(places, values, wanted) {
  const n = places.length, steps = [], rises = [];
  for (let i = 0; i < n - 1; i += 1) { steps.push(places[i + 1] - places[i]);
    rises.push((values[i + 1] - values[i]) / steps[i]); }
  const slopes = values.map((_, i) => {
    if (i === 0 || i === n - 1) return rises[i === 0 ? 0 : n - 2];
    if (rises[i - 1] * rises[i] <= 0) return 0;
    const a = 2 * steps[i] + steps[i - 1], b = steps[i] + 2 * steps[i - 1];
    return (a + b) / (a / rises[i - 1] + b / rises[i]);
  });
  return wanted.map((x) => {
    let i = 0;
    while (i < n - 2 && x > places[i + 1]) i += 1;
    const h = steps[i], t = Math.min(1, Math.max(0, (x - places[i]) / h));
    return (1 + 2 * t) * (1 - t) ** 2 * values[i] + t * (1 - t) ** 2 * h * slopes[i] + t * t * (
      3 - 2 * t) * values[i + 1] + t * t * (t - 1) * h * slopes[i + 1];
  });
}

const MOST_DB = 40;
// What becomes louder by more comes up slowly, and how slowly.
export const NOTICEABLY_LOUDER_LU = 6;
export const RISE_DB_A_SECOND = 15;

// Loudness of a design at a dial, from its row over evenly spaced dials.
export function levelAt(row, dials, dial) {
  const place = Math.min(Math.max(dial / dials[0] - 1, 0), row.length - 1),
    i = Math.min(Math.floor(place), row.length - 2);
  return row[i] + (place - i) * (row[i + 1] - row[i]);
}

// Gain on a design in decibels, beside the true one: none; or what makes it as loud as the first
// design at 10; or, for the sound of 10 in the knob's place (the reference), what makes that as
// loud as the knob's place is.
export function gainDb(row, { level, reference }, dial, { dials, wanted }) {
  if (level === "true" && reference === null) return 0;
  const matched = (at) => Math.min(wanted - levelAt(row, dials, at), MOST_DB);
  return matched(dial) - (level === "true" ? matched(reference) : 0);
}
