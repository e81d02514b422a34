"use strict";
// The visitor's own recording through the engine: decoded by the browser, un-loaded here if it
// comes from the guitar's jack, and never sent anywhere.
function makeOwn(data, engine) {
  const LONGEST_S = 30, FADE_S = 0.012, LIFT_DB = 60;

  // In place, radix two; the inverse leaves the factor of n to the caller.
  function fft(re, im, inverse) {
    const n = re.length;
    for (let i = 1, j = 0; i < n; i += 1) {
      let bit = n >> 1;
      for (; j & bit; bit >>= 1) j ^= bit;
      j ^= bit;
      if (i < j) { [re[i], re[j]] = [re[j], re[i]]; [im[i], im[j]] = [im[j], im[i]]; }
    }
    for (let size = 2; size <= n; size *= 2) {
      const half = size / 2, step = ((inverse ? 2 : -2) * Math.PI) / size;
      const cos = Float64Array.from({ length: half }, (_, k) => Math.cos(step * k)), sin = Float64Array.from({ length: half }, (_, k) => Math.sin(step * k));
      for (let start = 0; start < n; start += size) {
        for (let k = 0; k < half; k += 1) {
          const a = start + k, b = a + half;
          const x = re[b] * cos[k] - im[b] * sin[k], y = re[b] * sin[k] + im[b] * cos[k];
          re[b] = re[a] - x; im[b] = im[a] - y;
          re[a] += x; im[a] += y;
        }
      }
    }
  }

  // From a recording at the jack to the EMF, as models/audio/emf.py has it: divided by the chain as
  // it stood, lifted by no more than 60 dB over where it passes best, and ended above hearing.
  function unloaded(audio, rate) {
    let n = 1;
    while (n < audio.length + rate * 0.4) n *= 2;
    const re = new Float64Array(n), im = new Float64Array(n);
    re.set(audio);
    fft(re, im, false);
    const points = 1500, low = 1, high = rate / 2, hz = Float64Array.from({ length: points }, (_, i) => low * (high / low) ** (i / (points - 1)));
    const chain = data.jack && engine.responseComplex(data.jack.circuit, data.jack.dial, hz);
    const most = chain ? chain.reduce((m, [x, y]) => Math.max(m, Math.hypot(x, y)), 0) : 1, floor = most * 10 ** (-LIFT_DB / 20);
    const start = Math.min(20000, 0.42 * rate), stop = Math.min(24000, 0.5 * rate);
    for (let k = 0; k <= n / 2; k += 1) {
      const f = (k * rate) / n;
      const gain = 0.5 + 0.5 * Math.cos(Math.PI * Math.min(1, Math.max(0, (f - start) / (stop - start))));
      let x = 1, y = 0;
      if (chain) {
        const at = Math.min(Math.max((Math.log(Math.max(f, low) / low) / Math.log(high / low)) * (points - 1), 0), points - 1.000001), i = Math.floor(at), share = at - i;
        x = chain[i][0] + share * (chain[i + 1][0] - chain[i][0]);
        y = chain[i][1] + share * (chain[i + 1][1] - chain[i][1]);
        const bounded = 1 + (floor / Math.max(Math.hypot(x, y), 1e-12)) ** 4;
        x *= bounded; y *= bounded;
      }
      const size = x * x + y * y, a = re[k], b = im[k];
      re[k] = (gain * (a * x + b * y)) / size;
      im[k] = (gain * (b * x - a * y)) / size;
      if (k > 0 && k < n / 2) { re[n - k] = re[k]; im[n - k] = -im[k]; }
    }
    im[0] = im[n / 2] = 0;
    fft(re, im, true);
    return Float64Array.from({ length: audio.length }, (_, i) => re[i] / n);
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
    let n = 1;
    while (n < emf.length) n *= 2;
    const re = new Float64Array(n), im = new Float64Array(n), step = data.bandHz[1] / data.bandHz[0], power = data.bandHz.map(() => 0);
    re.set(emf);
    fft(re, im, false);
    for (let k = 1; k < n / 2; k += 1) {
      const band = Math.round(Math.log((k * rate) / n / data.bandHz[0]) / Math.log(step));
      if (band >= 0 && band < power.length) power[band] += (re[k] ** 2 + im[k] ** 2) * data.bandWeight[band];
    }
    const sum = power.reduce((x, y) => x + y, 1e-30);
    return power.map((p) => p / sum);
  }

  return {
    unloaded, bandPower,
    // A decoded recording as an EMF ready to loop.
    emf(buffer, fromJack) {
      const rate = buffer.sampleRate, length = Math.min(buffer.length, LONGEST_S * rate), mono = new Float64Array(length);
      for (let c = 0; c < buffer.numberOfChannels; c += 1) {
        const channel = buffer.getChannelData(c);
        for (let i = 0; i < length; i += 1) mono[i] += channel[i] / buffer.numberOfChannels;
      }
      return faded(fromJack ? unloaded(mono, rate) : mono, rate);
    },
    LONGEST_S,
  };
}
