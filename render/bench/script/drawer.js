// The parts at hand: a table to type in, or a CSV file to drop on it.
import { el } from "./dom.js";

const COLUMNS = ["type", "value", "count", "tolerance", "price"];
const TYPES = ["resistor", "capacitor", "dual-pot"];
const EMPTY = ["resistor", "", "", "", ""];

// Cells in the order of the columns, of a text whose first line names its own.
export function rowsOf(text) {
  const [head = "", ...lines] = text.trim().split(/\r?\n/), named = head.split(",").map(
    (one) => one.trim());
  return lines.filter((line) => line.trim()).map((line) => {
    const cells = line.split(",").map((one) => one.trim());
    return COLUMNS.map((column) => cells[named.indexOf(column)] ?? "");
  });
}
export const textOf = (rows) => [COLUMNS, ...rows.filter(([, value]) => value)].map(
  (cells) => cells.join(",")).join("\n").concat("\n");

// `keep` gets the text of all that is there.
export function makeDrawer(keep) {
  const body = el("tbody");
  const element = el("details", { id: "drawer", ondragover: (e) => e.preventDefault(),
    ondrop(e) {
      e.preventDefault();
      const [file] = e.dataTransfer.files;
      if (file) keep(file);
    } }, el("summary", {}, "What is in the drawer"),
  el("p", { class: "hint" }, "Values as you write them: 120k, 330p, A500K/B250K. Or drop a CSV"
    + " file with these columns here, or choose it: ",
  el("input", { type: "file", id: "drawer-file", "aria-label": "A CSV file of parts",
    accept: ".csv,text/csv", onchange(e) { keep(e.target.files[0]); e.target.value = ""; } })),
  el("table", {}, el("thead", {}, el("tr", {}, COLUMNS.map((one) => el("th", {}, one)),
    el("th"))), body),
  el("button", { type: "button", class: "quiet", onclick: () => add(EMPTY) }, "One more part"),
  el("button", { type: "button", class: "do", onclick: () => keep(textOf(cells())) },
    "Keep the drawer"));
  const cells = () => Array.from(body.rows, (row) => Array.from(
    row.querySelectorAll("input, select"), (one) => one.value.trim()));
  function add(values) {
    const row = el("tr", {}, COLUMNS.map((column, i) => {
      const named = { "aria-label": `${column} of part ${body.rows.length + 1}` };
      const cell = column === "type" ? el("select", named, TYPES.map((one) => el("option",
        { value: one }, one))) : el("input", { type: "text", size: 8, ...named });
      cell.value = values[i];
      return el("td", {}, cell);
    }), el("td", {}, el("button", { type: "button", class: "quiet", "aria-label": "Take out",
      onclick: () => row.remove() }, "×")));
    body.append(row);
  }
  let shown = null;
  return {
    element,
    show(text) {
      if (text === shown) return;
      shown = text;
      body.replaceChildren();
      for (const row of rowsOf(text)) add(row);
      if (!body.rows.length) add(EMPTY);
    },
  };
}
