// Spectra.

// In place, radix two; the inverse leaves the factor of n to the caller.
export function fft(re, im, inverse = false) {
  const n = re.length;
  for (let i = 1, j = 0; i < n; i += 1) {
    let bit = n >> 1;
    for (; j & bit; bit >>= 1) j ^= bit;
    j ^= bit;
    if (i < j) { [re[i], re[j]] = [re[j], re[i]]; [im[i], im[j]] = [im[j], im[i]]; }
  }
  for (let size = 2; size <= n; size *= 2) {
    const half = size / 2, step = ((inverse ? 2 : -2) * Math.PI) / size;
    const cos = Float64Array.from({ length: half }, (_, k) => Math.cos(step * k)),
      sin = Float64Array.from({ length: half }, (_, k) => Math.sin(step * k));
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

export function powerOfTwo(least) {
  let n = 1;
  while (n < least) n *= 2;
  return n;
}

// The spectrum of a signal padded with zeros to n.
export function spectrum(signal, n) {
  const re = new Float64Array(n), im = new Float64Array(n);
  re.set(signal);
  fft(re, im);
  return { re, im };
}

// A Kaiser window at a place from -1 to 1, 0 beyond.
export function kaiser(place, beta) {
  const bessel = (x) => { let sum = 1, term = 1;
    for (let k = 1; k < 40; k += 1) { term *= (x / 2 / k) ** 2; sum += term; } return sum; };
  return Math.abs(place) < 1 ? bessel(beta * Math.sqrt(1 - place * place)) / bessel(beta) : 0;
}

// Gain that ends the audio band, as models/audio/emf.py has it.
export function bandLimit(hz, rate) {
  const start = Math.min(20000, 0.42 * rate), stop = Math.min(24000, 0.5 * rate);
  const risen = Math.sin((Math.PI / 2) * Math.min(
    1, Math.max(0, (hz - start) / (stop - start)))) ** 2;
  return Math.cos((Math.PI / 2) * risen) ** 2;
}

// A signal through an impulse response, of the signal's length.
export function convolved(signal, impulse) {
  const n = powerOfTwo(signal.length + impulse.length), a = spectrum(signal, n),
    b = spectrum(impulse, n);
  for (let k = 0; k < n; k += 1) {
    const re = a.re[k] * b.re[k] - a.im[k] * b.im[k];
    a.im[k] = a.re[k] * b.im[k] + a.im[k] * b.re[k];
    a.re[k] = re;
  }
  fft(a.re, a.im, true);
  return Float64Array.from({ length: signal.length }, (_, i) => a.re[i] / n);
}

// The causal impulse response, of half the length, that has this magnitude at all n bins and the
// least phase (Oppenheim and Schafer, Discrete-Time Signal Processing, chapter 13).
export function minimumPhase(magnitude) {
  const n = magnitude.length, re = Float64Array.from(magnitude, Math.log), im = new Float64Array(n);
  fft(re, im, true);
  for (let i = 0; i < n; i += 1) {
    const fold = i === 0 || i === n / 2 ? 1 : i < n / 2 ? 2 : 0;
    re[i] *= fold / n;
    im[i] = 0;
  }
  fft(re, im);
  for (let k = 0; k < n; k += 1) {
    const size = Math.exp(re[k]), angle = im[k];
    re[k] = size * Math.cos(angle);
    im[k] = size * Math.sin(angle);
  }
  fft(re, im, true);
  return re.slice(0, n / 2).map((x) => x / n);
}
