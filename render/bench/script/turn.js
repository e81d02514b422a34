// How the knob is to turn, drawn by hand, and which pot and parts come nearest.
import { work } from "./ask.js";
import { el, table, working } from "./dom.js";
import { shape } from "./drawing.js";
import { across, below, down, frame, rule, shareAt, titled } from "./plot.js";

const STEP_DB = 0.5, LOWEST_DB = -60;
const x = (dial) => across((dial - 1) / 9), y = (db) => down(db / LOWEST_DB);

export function makeTurn(bench) {
  const dials = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10];
  let levels = dials.map((dial) => (dial - 10) * 4);
  const svg = frame("The wanted level over the dial");
  svg.setAttribute("role", "group");
  svg.classList.add("turn");
  const line = shape("polyline", { class: "own" }), found = el("div");
  for (let db = 0; db >= LOWEST_DB; db -= 12) rule(svg, y(db), db);
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
      if (handle.hasPointerCapture(e.pointerId)) move(i, shareAt(svg, e.clientY) * LOWEST_DB);
    });
    svg.append(handle);
    return handle;
  });
  for (const dial of dials) below(svg, x(dial), dial);
  titled(svg, "dB against 10, over the dial: drag the points, or use the arrow keys");
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
    const answer = await work(bench.path("/tasks/travel"), { ...bench.asked(),
      points: dials.map((dial, i) => [dial, levels[i]]) }, { signal, told });
    const pot = (one) => `${one.ohms / 1e3}k ${one.law}`
      + `${one.midpoint === null ? "" : `, ${one.midpoint} at half`}`
      + `${one.as_now ? " (as now)" : ""}`;
    found.replaceChildren(table(
      "Off: how far the level is from what you drew, root mean square over the dials.",
      ["pot", "bypass", "off", "tone"], [answer.now, ...answer.best].map((one, i) => [{},
        i ? pot(one.pot) : `now: ${pot({ ...one.pot, as_now: false })}`,
        one.expression || "none", `${one.off_db.toFixed(1)} dB`, `${one.tone_db.toFixed(1)} dB`])));
    say("");
  });
  return el("details", {}, el("summary", {}, "The turn of the knob itself, drawn by hand"), svg,
    find.element, found);
}
