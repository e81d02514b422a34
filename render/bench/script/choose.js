// The room where a design is chosen: the verdict, the table, and the search's front.
import { upload, work } from "./ask.js";
import { el, table, working } from "./dom.js";
import { makeDrawer } from "./drawer.js";
import { front, spread } from "./plot.js";
import { makeTurn } from "./turn.js";

export function chooseRoom(bench, room) {
  const said = el("div", { class: "verdict" }), usual = el("div"), found = el("div"),
    chart = el("figure"), answered = el("input", { type: "checkbox", id: "by-answer" }),
    byAnswer = el("span", {}, answered, el("label", { for: "by-answer" },
      "at the dials where the customer listened")),
    drawer = el("input", { type: "checkbox", id: "only-drawer" });
  let searched = null;
  const own = el("input", { type: "text", id: "own-design", placeholder: "such as 150k || 1n" });
  const ownSaid = el("span", { class: "said", role: "status" });
  async function choose(expression) {
    try {
      await bench.change({ told: { design: expression } });
      ownSaid.textContent = "";
    } catch (error) { ownSaid.textContent = error.message; }
  }
  const compare = working("Compare the usual ones", async ({ signal, say }) => {
    const told = await work(bench.path("/tasks/compare"), bench.asked(), { signal });
    bench.found.compare = told;
    usual.replaceChildren(rows(told.designs.map((one) => ({ ...one,
      expression: one.expression || one.design })), "All of these are judged on a hundred guitars"
      + ` like this one; ${conditions(told.situations)}`));
    say("");
  });
  const search = working("Search values that one can buy", async ({ signal, told, say }) => {
    searched = await work(bench.path("/tasks/tailor"), { ...bench.asked(),
      stock: drawer.checked, answer: answered.checked && !byAnswer.hidden }, { signal, told });
    bench.found.tailor = searched;
    say(`${searched.designs_searched.toLocaleString("en")} combinations`);
    drawFront();
    found.replaceChildren(rows(searched.best.map((one) => ({ ...one,
      design: one.expression })), `The best of each kind; ${conditions(searched.situations)}`));
  });
  const bands = el("figure");
  const stray = working("How far do real parts stray?", async ({ signal, told, say }) => {
    const curves = await work(bench.path("/tasks/curves"), bench.asked(), { signal, told });
    bands.replaceChildren(spread(curves, "treble_db", "Treble", [6, -12, 3]),
      spread(curves, "level_db", "Level", [0, -48, 4]), el("figcaption", {},
        "Lines: as described, dashed the plain pot, solid the chosen design. Bands: nine in ten"
        + " of a thousand guitars whose pot, cable and parts stray as they are sold."));
    say("");
  });
  async function fill(content) {
    try {
      const told = await upload(bench.path("/stock"), content, "text/csv");
      drawerSaid.textContent = `${told.parts} kind${told.parts === 1 ? "" : "s"} of part`;
      drawer.checked = true;
      await bench.refresh();
    } catch (error) { drawerSaid.textContent = error.message; }
  }
  const parts = makeDrawer(fill);
  const drawerSaid = el("span", { class: "said", role: "status" });
  room.append(el("h2", {}, "Which one"), said,
    el("p", {}, el("label", { for: "own-design" }, "Your own choice, by name or values"), own,
      el("button", { type: "button", class: "do", onclick: () => choose(own.value.trim()) },
        "Choose"), ownSaid),
    compare.element, usual, search.element,
    el("p", {}, drawer, el("label", { for: "only-drawer" }, "only what is in the drawer"),
      drawerSaid, byAnswer), parts.element,
    chart, found, stray.element, bands, makeTurn(bench));

  const conditions = (situations) => situations.map(({ name, judged_by: by }) =>
    `${situations.length > 1 ? `${name}: ` : ""}${by.plays}, knob at ${by.dials.join(", ")},`
    + ` ${by.take}, ${by.listening_level_db} dB SPL${by.dirt ? `, into ${by.dirt}` : ""}`)
    .join("; ");
  function drawFront() {
    if (!searched) return;
    const points = searched.front.filter((one) => one.expression);
    chart.replaceChildren(front(points, bench.state.design, async (expression) => {
      await choose(expression);
      bench.hear(expression);
    }), el("figcaption", {}, "Click a point to choose it and to hear it."));
  }
  function rows(designs, caption) {
    const head = ["design", "off", "tone", "taper", "nearer on", ""];
    return table(caption, head, designs.map((one) => {
      const [own_] = Object.values(one.situations);
      return [{ "data-expression": one.expression,
        ...(one.expression === bench.state.design && { class: "chosen" }) },
        one.design === one.expression ? one.design : `${one.design}: ${one.expression}`,
        `${one.score_db.toFixed(1)} dB`, `${own_.tone_db.toFixed(1)} dB`,
        `${own_.taper_phon.toFixed(1)} phon`,
        one.nearer_of_100 === null ? "" : `${one.nearer_of_100} of 100`,
        [el("button", { type: "button", class: "quiet", "aria-label": `Choose ${one.design}`,
          onclick: () => choose(one.expression) }, "Choose"),
        one.spoilt.length ? el("span", { class: "said" }, one.spoilt.join(", ")) : null]];
    }));
  }
  return {
    show(state) {
      if (document.activeElement !== own) own.value = state.design;
      byAnswer.hidden = !state.answer;
      parts.show(state.stock);
      drawFront();
      for (const row of room.querySelectorAll("tr[data-expression]")) {
        row.classList.toggle("chosen", row.dataset.expression === state.design); }
    },
    verdict(need) {
      said.replaceChildren(...need.situations.map((one) => el("p", {},
        [need.situations.length > 1 ? `${one.name}: ` : "", ...one.said].join(" ").trim())),
        ...need.situations.slice(0, 1).map((one) => el("p", { class: "hint" },
          `Judged by: ${conditions([one])}.`)));
    },
    entered() { if (!bench.found.compare) compare.begin(); },
    forget() { usual.replaceChildren(); found.replaceChildren(); chart.replaceChildren();
      bands.replaceChildren(); searched = null; },
  };
}
