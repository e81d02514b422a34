// Plots: gains over frequency at some dials, and what the taper pays for the tone.
import { shape } from "./drawing.js";

const WIDE = 560, HIGH = 260, LEFT = 46, RIGHT = 16, TOP = 12, BOTTOM = 34, RADIUS = 7;
export const frame = (label) => shape("svg", { viewBox: `0 0 ${WIDE} ${HIGH}`, role: "img",
  "aria-label": label, class: "plot" });
export const across = (share) => LEFT + share * (WIDE - LEFT - RIGHT);
export const down = (share) => TOP + share * (HIGH - TOP - BOTTOM);
const text = (x, y, words, anchor = "middle") => shape("text", { x, y, "text-anchor": anchor },
  words);
// How far down the plot a place on the screen is.
export function shareAt(svg, clientY) {
  const { top, height } = svg.getBoundingClientRect();
  return (((clientY - top) / height) * HIGH - TOP) / (HIGH - TOP - BOTTOM);
}
// A line across with its value, a value below, and what the plot is of.
export const rule = (svg, y, value) => svg.append(
  shape("line", { class: "grid", x1: LEFT, x2: WIDE - RIGHT, y1: y, y2: y }),
  text(LEFT - 6, y + 4, `${value}`, "end"));
export const below = (svg, x, value) => svg.append(text(x, HIGH - 16, `${value}`));
export const titled = (svg, words) => svg.append(text(LEFT, HIGH - 2, words, "start"));

export function responses(curves) {
  const svg = frame("Response at the jack's far end, at each dial"), hz = curves.frequency_hz;
  const x = (f) => across(Math.log(f / hz[0]) / Math.log(hz[hz.length - 1] / hz[0]));
  const high = 12, low = -48, y = (db) => down((high - Math.max(low, Math.min(high, db))) / (
    high - low));
  for (const db of [0, -12, -24, -36, -48]) rule(svg, y(db), db);
  for (const f of [100, 300, 1000, 3000, 10000].filter((one) => one < hz[hz.length - 1])) {
    below(svg, x(f), f < 1000 ? `${f} Hz` : `${f / 1000} kHz`); }
  curves.designs.forEach((one, which) => one.gain_db.forEach((row, i) => {
    const points = hz.map((f, k) => `${x(f).toFixed(1)},${y(row[k]).toFixed(1)}`).join(" ");
    svg.append(shape("polyline", { class: which ? "own" : "bare", points }));
    if (which === curves.designs.length - 1) {
      svg.append(text(x(hz[3]), y(row[3]) - 3, `at ${curves.dials[i]}`, "start")); }
  }));
  titled(svg, "dB over frequency: dashed the plain pot, solid the chosen design");
  return svg;
}

// Over the dial, against 10: the design as described, and where nine in ten built ones lie.
export function spread(curves, key, words, [high, low, steps]) {
  const svg = frame(words), dials = curves.dials;
  const x = (dial) => across((dial - 1) / 9),
    y = (db) => down((high - Math.max(low, Math.min(high, db))) / (high - low));
  for (let db = high; db >= low; db -= (high - low) / steps) rule(svg, y(db), db);
  for (const dial of dials) below(svg, x(dial), dial);
  curves.designs.forEach((one, which) => {
    const { p5, p95 } = one.tolerance[key], at = (values) => values.map((db, i) =>
      `${x(one.tolerance.dials[i]).toFixed(1)},${y(db).toFixed(1)}`);
    svg.append(shape("polygon", { class: which ? "own band" : "bare band",
      points: [...at(p5), ...at(p95).reverse()].join(" ") }), shape("polyline", {
      class: which ? "own" : "bare", points: dials.map((dial, i) =>
        `${x(dial).toFixed(1)},${y(one[key][i]).toFixed(1)}`).join(" ") }));
  });
  titled(svg, `${words}, dB against 10, over the dial`);
  return svg;
}

// A point is a button: chosen by click or key, it is heard.
export function front(points, chosen, pick) {
  const svg = frame("Designs by how far they are off in taper and in tone");
  const most = (key) => Math.max(1, ...points.map((one) => one[key])) * 1.08;
  const wide = most("taper_phon"), high = most("tone_db");
  const step = (span) => [0.5, 1, 2, 5, 10, 20].find((one) => span / one <= 6) || 50;
  for (let at = 0; at <= wide; at += step(wide)) below(svg, across(at / wide), at);
  for (let at = 0; at <= high; at += step(high)) rule(svg, down(1 - at / high), at);
  titled(svg, "off in taper, phon; upwards off in tone, dB: near the corner is near an ideal knob");
  // Of those that a finger would take for one, the first.
  const shown = [];
  for (const one of points) {
    const x = across(one.taper_phon / wide), y = down(1 - one.tone_db / high);
    const hidden = shown.some(([a, b]) => Math.hypot(a - x, b - y) < 2 * RADIUS);
    if (hidden && one.expression !== chosen) continue;
    shown.push([x, y]);
    const name = `${one.expression}: ${one.taper_phon.toFixed(1)} phon,`
      + ` ${one.tone_db.toFixed(1)} dB`;
    const point = shape("circle", { cx: x, cy: y, r: RADIUS, tabindex: 0, role: "button",
      "aria-label": name, class: one.expression === chosen ? "point chosen" : "point" });
    point.append(shape("title", {}, name));
    point.addEventListener("click", () => pick(one.expression));
    point.addEventListener("keydown", (e) => { if (e.key === "Enter" || e.key === " ") {
      e.preventDefault(); pick(one.expression); } });
    svg.append(point);
  }
  return svg;
}
