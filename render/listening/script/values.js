// Values of parts: in words, as an expression takes them, and the nearest one to buy.
const E24 = [1, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2, 2.2, 2.4, 2.7, 3, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1,
  5.6, 6.2, 6.8, 7.5, 8.2, 9.1];
const SERIES = { E12: E24.filter((_, i) => i % 2 === 0), E24 };

// A value in figures and the power of ten that suits it.
function scaled(kind, value, figures) {
  const powers = kind === "C" ? [-6, -9, -12] : [6, 3, 0];
  const power = powers.find((p) => value >= 10 ** p * 0.99999) ?? powers[powers.length - 1];
  return [Number((value / 10 ** power).toPrecision(figures)),
    { 6: "M", 3: "k", 0: "", "-6": "µ", "-9": "n", "-12": "p" }[power]];
}

// 68000 -> "68k", 1.5e-9 -> "1n5": IEC 60062, as the sheet's command takes it.
export function codeOf(kind, value) {
  const [figure, prefix] = scaled(kind, value, 4), [whole, rest = ""] = String(figure).split(".");
  return `${whole}${prefix.replace("µ", "u") || "R"}${rest}`;
}

// "68k" -> 68000, "1n5" -> 1.5e-9: the other way.
export function valueOf(code) {
  const found = /^(\d+(?:\.\d+)?)([pnumkMR])?(\d*)$/.exec(code);
  if (!found) return NaN;
  const [, whole, letter = "R", rest] = found;
  return Number(rest ? `${whole}.${rest}` : whole) * { p: 1e-12, n: 1e-9, u: 1e-6, m: 1e-3, R: 1,
    k: 1e3, M: 1e6 }[letter];
}

export function spoken(kind, value) {
  const [figure, prefix] = scaled(kind, value, 3);
  return `${figure} ${prefix}${kind === "C" ? "F" : "Ω"}`;
}

// The nearest value of a series by ratio; of no series, three figures.
export function nearest(value, name) {
  const series = SERIES[name];
  if (!series) return Number(value.toPrecision(3));
  const decade = 10 ** Math.floor(Math.log10(value) + 1e-9);
  const near = [...series, 10].reduce((a, b) =>
    (Math.abs(Math.log((b * decade) / value)) < Math.abs(Math.log((a * decade) / value)) ? b : a));
  return Number((near * decade).toPrecision(3));
}
