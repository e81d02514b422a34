// How the knob is to turn, drawn by hand, and which pot and parts come nearest.
import { work } from "./ask.js";
import { el, working } from "./dom.js";
import { shape } from "./drawing.js";

const WIDE = 560, HIGH = 240, LEFT = 46, TOP = 12, STEP_DB = 0.5, LOWEST_DB = -60;
const x = (dial) => LEFT + ((dial - 1) / 9) * (WIDE - LEFT - 16);
const y = (db) => TOP + (db / LOWEST_DB) * (HIGH - TOP - 34);

export function makeTurn(bench) {
  const dials = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10];
  let levels = dials.map((dial) => (dial - 10) * 4);
  const svg = shape("svg", { viewBox: `0 0 ${WIDE} ${HIGH}`, class: "plot turn", role: "group",
    "aria-label": "The wanted level over the dial" });
  const line = shape("polyline", { class: "own" }), found = el("div");
  for (let db = 0; db >= LOWEST_DB; db -= 12) svg.append(shape("line", { class: "grid", x1: LEFT,
    x2: WIDE - 16, y1: y(db), y2: y(db) }), shape("text", { x: LEFT - 6, y: y(db) + 4,
    "text-anchor": "end" }, `${db}`));
  svg.append(line);
  // At 10 all is as it is there; the others are moved, and never above their right neighbour.
  const handles = dials.slice(0, -1).map((dial, i) => {
    const handle = shape("circle", { r: 9, class: "point", tabindex: 0, role: "slider",
      "aria-label": `Level at ${dial}`, "aria-valuemin": LOWEST_DB, "aria-valuemax": 0 });
    handle.addEventListener("keydown", (e) => {
      const by = { ArrowUp: STEP_DB, ArrowDown: -STEP_DB, PageUp: 6, PageDown: -6 }[e.key];
      if (by) { e.preventDefault(); move(i, levels[i] + by); }
    });
    handle.addEventListener("pointerdown", (e) => handle.setPointerCapture(e.pointerId));
    handle.addEventListener("pointermove", (e) => {
      if (!handle.hasPointerCapture(e.pointerId)) return;
      const box = svg.getBoundingClientRect(), at = ((e.clientY - box.top) / box.height) * HIGH;
      move(i, ((at - TOP) / (HIGH - TOP - 34)) * LOWEST_DB);
    });
    svg.append(handle, shape("text", { x: x(dial), y: HIGH - 16, "text-anchor": "middle" },
      `${dial}`));
    return handle;
  });
  svg.append(shape("text", { x: x(10), y: HIGH - 16, "text-anchor": "middle" }, "10"),
    shape("text", { x: LEFT, y: HIGH - 2 }, "dB against 10, over the dial: drag the points, or use"
      + " the arrow keys"));
  function move(at, db) {
    const moved = Math.min(0, Math.max(LOWEST_DB, Math.round(db / STEP_DB) * STEP_DB));
    levels = levels.map((own, i) => (i === at ? moved
      : (i < at ? Math.min(own, moved) : Math.max(own, moved))));
    levels[levels.length - 1] = 0;
    draw();
  }
  function draw() {
    line.setAttribute("points", dials.map((dial, i) => `${x(dial)},${y(levels[i])}`).join(" "));
    handles.forEach((handle, i) => {
      handle.setAttribute("cx", x(dials[i]));
      handle.setAttribute("cy", y(levels[i]));
      handle.setAttribute("aria-valuenow", levels[i]);
      handle.setAttribute("aria-valuetext", `${levels[i]} dB`);
    });
  }
  draw();
  const find = working("Which pot and parts turn so?", async ({ signal, told, say }) => {
    const answer = await work(bench.path("/work/travel"), { ...bench.asked(),
      points: dials.map((dial, i) => [dial, levels[i]]) }, { signal, told });
    const pot = (one) => `${one.ohms / 1e3}k ${one.law}`
      + `${one.midpoint === null ? "" : `, ${one.midpoint} at half`}`
      + `${one.as_now ? " (as now)" : ""}`;
    found.replaceChildren(el("table", {}, el("caption", {},
      "Off: how far the level is from what you drew, root mean square over the dials."),
    el("thead", {}, el("tr", {},
      ...["pot", "bypass", "off", "tone"].map((one) => el("th", {}, one)))), el("tbody", {},
      [answer.now, ...answer.best].map((one, i) => el("tr", {}, el("th", { scope: "row" },
        i ? pot(one.pot) : `now: ${pot({ ...one.pot, as_now: false })}`),
      el("td", {}, one.expression || "none"), el("td", {}, `${one.off_db.toFixed(1)} dB`),
      el("td", {}, `${one.tone_db.toFixed(1)} dB`)))),
    ));
    say("");
  });
  return el("details", {}, el("summary", {}, "The turn of the knob itself, drawn by hand"), svg,
    find.element, found);
}
