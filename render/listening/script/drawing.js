// The volume pot drawn with the bypass between its lugs, its values and its wiper as they are now.
import { fraction } from "./engine.js";

const WIDE = 62, HIGH = 34, LEFT = 46, WIRE = 12, TRACK = 84, RIGHT = 330;
const NS = "http://www.w3.org/2000/svg";

export function shape(name, attributes, text) {
  const element = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  if (text !== undefined) element.textContent = text;
  return element;
}

// Size of a part of the tree: a leaf's number, or { series } or { parallel } of such.
export function sizeOf(tree) {
  if (typeof tree === "number") return [WIDE, HIGH];
  const sizes = (tree.series || tree.parallel).map(sizeOf), widths = sizes.map(([w]) => w),
    heights = sizes.map(([, h]) => h);
  const sum = (list) => list.reduce((a, b) => a + b, 0);
  return tree.series ? [sum(widths), Math.max(...heights)]
    : [Math.max(...widths) + 2 * WIRE, sum(heights)];
}

// What to draw of a tree between two ends of a wire at one height: wires and leaves.
export function laidOut(tree, x, y, width) {
  if (typeof tree === "number") return { wires: [], leaves: [{ part: tree, x, y, width }] };
  const found = { wires: [], leaves: [] };
  const add = (more) => { found.wires.push(...more.wires); found.leaves.push(...more.leaves); };
  if (tree.series) {
    const widths = tree.series.map((one) => sizeOf(one)[0]),
      spare = (width - widths.reduce((a, b) => a + b, 0)) / widths.length;
    let at = x;
    tree.series.forEach((one, i) => { add(laidOut(one, at, y, widths[i] + spare));
      at += widths[i] + spare; });
    return found;
  }
  const heights = tree.parallel.map((one) => sizeOf(one)[1]),
    tall = heights.reduce((a, b) => a + b, 0);
  let top = y - tall / 2;
  const rows = heights.map((height) => { const middle = top + height / 2; top += height;
    return middle; });
  for (const end of [x + WIRE / 2, x + width - WIRE / 2]) found.wires.push(
    [end, rows[0], end, rows[rows.length - 1]]);
  found.wires.push([x, y, x + WIRE / 2, y], [x + width - WIRE / 2, y, x + width, y]);
  tree.parallel.forEach((one, i) => add(laidOut(one, x + WIRE / 2, rows[i], width - WIRE)));
  return found;
}

function leafShapes({ x, y, width }, part, text) {
  const middle = x + width / 2, half = part.kind === "C" ? 3 : 13;
  const shapes = [
    shape("line", { class: "wire", x1: x, y1: y, x2: middle - half, y2: y }),
    shape("line", { class: "wire", x1: middle + half, y1: y, x2: x + width, y2: y }),
    shape("text", { class: "value", x: middle, y: y - 10, "text-anchor": "middle" }, text),
  ];
  if (part.kind === "C") for (const side of [-3, 3]) shapes.push(
    shape("line", { class: "plate", x1: middle + side, x2: middle + side, y1: y - 8, y2: y + 8 }));
  else shapes.push(shape("rect", { class: "body", x: middle - 13, y: y - 5, width: 26,
    height: 10 }));
  // A gang is a resistor that the knob moves.
  if (part.kind === "G") shapes.push(shape("path",
    { class: "wire", d: `M${middle - 12} ${y + 11} L${middle + 12} ${y - 8} m-5 0 h5 v5` }));
  return shapes;
}

// Draws a design into an SVG; gives what moves its wiper, and what says other values.
export function drawPot(svg, { tree, parts, law }, texts) {
  const [, high] = tree === null ? [0, 0] : sizeOf(tree), line = 16 + high / 2,
    top = line + 34 + high / 2, bottom = top + TRACK;
  svg.setAttribute("viewBox", `0 0 400 ${bottom + 34}`);
  const shapes = [
    shape("rect", { class: "body", x: LEFT - 8, y: top, width: 16, height: TRACK }),
    shape("line", { class: "wire", x1: LEFT, y1: line, x2: LEFT, y2: top }),
    shape("line", { class: "wire", x1: LEFT, y1: bottom, x2: LEFT, y2: bottom + 18 }),
    shape("line", { class: "plate", x1: LEFT - 12, y1: bottom + 18, x2: LEFT + 12,
      y2: bottom + 18 }),
    shape("circle", { class: "lug", cx: LEFT, cy: top, r: 4 }),
    shape("circle", { class: "lug", cx: LEFT, cy: bottom, r: 4 }),
    shape("text", { x: LEFT + 14, y: top - 6 }, "input lug"),
    shape("text", { x: LEFT + 14, y: bottom + 12 }, "ground lug"),
    shape("text", { x: RIGHT + 8, y: top + TRACK / 2 + 4 }, "wiper lug"),
    shape("line", { class: "wire", x1: RIGHT, y1: tree === null ? top + TRACK / 2 : line, x2: RIGHT,
      y2: top + TRACK / 2 }),
    shape("circle", { class: "lug", cx: RIGHT, cy: top + TRACK / 2, r: 4 }),
  ];
  if (tree !== null) {
    const { wires, leaves } = laidOut(tree, LEFT, line, RIGHT - LEFT);
    for (const [x1, y1, x2, y2] of wires) shapes.push(
      shape("line", { class: "wire", x1, y1, x2, y2 }));
    for (const leaf of leaves) shapes.push(...leafShapes(leaf, parts[leaf.part], texts[leaf.part]));
  }
  const wiper = shape("path", { class: "wiper" }), order = tree === null ? []
    : laidOut(tree, LEFT, line, RIGHT - LEFT).leaves.map((leaf) => leaf.part);
  svg.replaceChildren(...shapes, wiper);
  const values = [...svg.querySelectorAll(".value")];
  return {
    turn(dial) {
      const y = bottom - fraction(law, dial) * TRACK;
      wiper.setAttribute("d", `M${RIGHT} ${top + TRACK / 2} H200 V${y.toFixed(
        1)} H${LEFT + 10} m7 -5 l-7 5 l7 5`);
    },
    say(others) {
      values.forEach((value, i) => {
        if (value.textContent !== others[order[i]]) value.textContent = others[order[i]];
      });
    },
  };
}
