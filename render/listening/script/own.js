// The visitor's own recording through the engine: decoded by the browser, un-loaded here if it
// comes from the guitar's jack, and never sent anywhere.
import { responseComplex } from "./engine.js";
import { bandLimit, fft, minimumPhase, powerOfTwo, spectrum } from "./fourier.js";

export function makeOwn(data) {
  const SILENT = 1e-4, CUT_OFTEN = 5;
  const LONGEST_S = 30, FADE_S = 0.012, LIFT_DB = 60, POINTS = 1500, LOW_HZ = 1;
  // The chain as it stood, kept from falling 60 dB under where it passes best, as pairs at places
  // between bins; and the gain that ends the band above hearing.
  function standing(rate) {
    const high = rate / 2, hz = Float64Array.from(
      { length: POINTS }, (_, i) => LOW_HZ * (high / LOW_HZ) ** (i / (POINTS - 1)));
    const chain = data.jack ? responseComplex(data.jack.circuit, data.jack.dial, hz)
      : Array.from(hz, () => [1, 0]);
    const floor = chain.reduce((m, [x, y]) => Math.max(m, Math.hypot(x, y)), 0) * 10 ** (
      -LIFT_DB / 20);
    return (f) => {
      const at = Math.min(Math.max((Math.log(Math.max(f, LOW_HZ) / LOW_HZ) / Math.log(
        high / LOW_HZ)) * (POINTS - 1), 0), POINTS - 1.000001), i = Math.floor(at), share = at - i;
      const x = chain[i][0] + share * (chain[i + 1][0] - chain[i][0]),
        y = chain[i][1] + share * (chain[i + 1][1] - chain[i][1]);
      const bounded = 1 + (floor / Math.max(Math.hypot(x, y), 1e-12)) ** 4;
      return { x: x * bounded, y: y * bounded, ends: bandLimit(f, rate) };
    };
  }
  // From a recording at the jack to the EMF.
  function unloaded(audio, rate) {
    const n = powerOfTwo(audio.length + rate * 0.4), { re, im } = spectrum(audio, n),
      chainAt = standing(rate);
    for (let k = 0; k <= n / 2; k += 1) {
      const { x, y, ends } = chainAt((k * rate) / n), size = x * x + y * y, a = re[k], b = im[k];
      re[k] = (ends * (a * x + b * y)) / size;
      im[k] = (ends * (b * x - a * y)) / size;
      if (k > 0 && k < n / 2) { re[n - k] = re[k]; im[n - k] = -im[k]; }
    }
    im[0] = im[n / 2] = 0;
    fft(re, im, true);
    return Float64Array.from({ length: audio.length }, (_, i) => re[i] / n);
  }
  // The same while it is played: a chain without a bypass has the least phase that its magnitude
  // can have, so the causal inverse has it too.
  function inverse(rate) {
    const n = 1 << 14, chainAt = standing(rate), least = 10 ** (-LIFT_DB / 20);
    const half = Float64Array.from({ length: n / 2 + 1 },
      (_, k) => { const { x, y, ends } = chainAt((k * rate) / n);
        return Math.max(ends, least) / Math.hypot(x, y); });
    return minimumPhase(Float64Array.from({ length: n }, (_, k) => half[Math.min(k, n - k)]));
  }

  function faded(emf, rate) {
    const fade = Math.min(Math.floor(FADE_S * rate), emf.length >> 2);
    for (let i = 0; i < fade; i += 1) {
      const ramp = Math.sin((Math.PI / 2) * (i / (fade - 1))) ** 2;
      emf[i] *= ramp;
      emf[emf.length - 1 - i] *= ramp;
    }
    return emf;
  }

  // K-weighted power in the engine's bands.
  function bandPower(emf, rate) {
    const n = powerOfTwo(emf.length), { re, im } = spectrum(emf, n),
      step = data.bandHz[1] / data.bandHz[0], power = data.bandHz.map(() => 0);
    for (let k = 1; k < n / 2; k += 1) {
      const band = Math.round(Math.log((k * rate) / n / data.bandHz[0]) / Math.log(step));
      if (band >= 0 && band < power.length) power[band] += (
        re[k] ** 2 + im[k] ** 2) * data.bandWeight[band];
    }
    const sum = power.reduce((x, y) => x + y, 1e-30);
    return power.map((p) => p / sum);
  }

  // What is wrong with a recording, in words: silent, or cut off at its top.
  function flaw(buffer) {
    let peak = 0;
    const channels = Array.from({ length: buffer.numberOfChannels },
      (_, c) => buffer.getChannelData(c));
    for (const channel of channels) for (const x of channel) peak = Math.max(peak, Math.abs(x));
    if (peak < SILENT) return "silent";
    let flat = 0;
    for (const channel of channels) {
      for (let i = 2; i < channel.length; i += 1) {
        if (Math.abs(channel[i]) > 0.999 * peak && Math.abs(channel[i - 1]) > 0.999 * peak
          && Math.abs(channel[i - 2]) > 0.999 * peak) flat += 1;
      }
    }
    return flat > CUT_OFTEN ? "clipped" : "";
  }

  return {
    unloaded, inverse, bandPower, flaw,
    // A decoded recording as an EMF ready to loop.
    emf(buffer, fromJack) {
      const rate = buffer.sampleRate, length = Math.min(buffer.length, LONGEST_S * rate),
        mono = new Float64Array(length);
      for (let c = 0; c < buffer.numberOfChannels; c += 1) {
        const channel = buffer.getChannelData(c);
        for (let i = 0; i < length; i += 1) mono[i] += channel[i] / buffer.numberOfChannels;
      }
      return faded(fromJack ? unloaded(mono, rate) : mono, rate);
    },
    LONGEST_S,
  };
}
