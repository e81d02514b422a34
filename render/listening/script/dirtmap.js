// How dirty it is over the volume dial and how hard the strings are picked: the chosen design and
// the plain pot side by side, each point to be clicked and heard.
import { shape } from "./drawing.js";

const DIALS = [10, 9, 8, 7, 6, 5, 4, 3, 2], HARDER_DB = [12, 6, 0, -6, -12, -18, -24];
const CELL = 22, LEFT = 34, TOP = 16, CLEAN = 0.1, LEAST = 0.01;

// From clean to dirty, light to dark: a share of the way, by the logarithm of distortion.
const shade = (distortion) => {
  const share = Math.log(Math.min(1, Math.max(LEAST, distortion)) / LEAST) / Math.log(1 / LEAST);
  return `hsl(${48 - 34 * share} 90% ${92 - 66 * share}%)`;
};

export function makeMap(places, live, hooks) {
  const { button, maps, said } = places;
  let serial = 0;
  function drawn(name, values, base) {
    const svg = shape("svg", { role: "group", "aria-label": `${name}: how dirty it is`,
      viewBox: `0 0 ${LEFT + CELL * DIALS.length + 4} ${TOP + CELL * HARDER_DB.length + 18}` });
    const add = (...given) => svg.appendChild(shape(...given));
    add("text", { x: LEFT, y: 11 }, name);
    HARDER_DB.forEach((harder, row) => {
      add("text", { x: LEFT - 4, y: TOP + CELL * (row + 0.65), "text-anchor": "end" },
        harder > 0 ? `+${harder}` : String(harder));
      DIALS.forEach((dial, column) => {
        const value = values[row][column], words = `dial ${dial}, picked ${
          harder > 0 ? "+" : ""}${harder} dB: ${Math.round(100 * value)} % dirt${
          value < CLEAN ? ", clean" : ""}`;
        const cell = add("rect", { x: LEFT + CELL * column, y: TOP + CELL * row, width: CELL,
          height: CELL, fill: shade(value), tabindex: "0", role: "button", "aria-label": words,
          class: value < CLEAN ? "clean" : "dirty" });
        // By more than its colour.
        if (value < CLEAN) add("text", { x: LEFT + CELL * (column + 0.5), y: TOP + CELL * (
          row + 0.65), "text-anchor": "middle", class: "mark" }, "\u00b7");
        const hear = () => { hooks.hear(name, dial, base + harder); said.textContent = words; };
        cell.addEventListener("click", hear);
        cell.addEventListener("keydown", (e) => { if (e.key === "Enter") hear(); });
      });
    });
    DIALS.forEach((dial, column) => add("text", { x: LEFT + CELL * (column + 0.5),
      y: TOP + CELL * HARDER_DB.length + 13, "text-anchor": "middle" }, String(dial)));
    return svg;
  }
  async function draw() {
    const mine = ++serial, wanted = hooks.designs(), base = hooks.picked();
    maps.replaceChildren();
    for (const { index, name } of wanted) {
      const values = [];
      for (const harder of HARDER_DB) {
        said.textContent = `${name}: ${values.length} of ${HARDER_DB.length} rows`;
        values.push(await live.dirtiness(index, DIALS, harder));
        if (mine !== serial) return;
      }
      maps.append(drawn(name, values, base));
    }
    said.textContent = "Light is clean (a dot: passes for clean), dark is dirty, up is picked"
      + " harder; press a square to hear it.";
  }
  button.addEventListener("click", draw);
  // Another dirt or another guitar: what was drawn is not true any more.
  return { forget() { serial += 1; maps.replaceChildren(); said.textContent = ""; } };
}
