// The room where it is soldered: parts, steps to tick, and what each reading says.
import { get, post, work } from "./ask.js";
import { drawing, el, working } from "./dom.js";

export function solderRoom(bench, room) {
  const sheet = el("div"), orders = el("div");
  let made = "", fitted = "", state = null;
  const make = working("Write the sheet", async ({ signal, say }) => {
    const asked = JSON.stringify([state.toml, state.design, state.workshop]);
    const told = await work(bench.path("/tasks/sheet"), {}, { signal });
    made = asked;
    show(told);
    say("");
  });
  const workshop = el("input", { type: "text", id: "workshop", async onchange() {
    await bench.change({ told: { workshop: workshop.value } });
  } });
  const all = working("What to order for all guitars of this bench", async ({ say }) => {
    const told = await get("/api/order");
    orders.replaceChildren(told.orders.length ? list(told.orders)
      : el("p", {}, "Nothing: no guitar has a design yet."), el("p", { class: "hint" },
      told.guitars.join(", ")));
    say("");
  });
  room.append(el("h2", {}, "Solder it"), el("label", { for: "workshop" }, "Workshop, on the sheet"),
    workshop, make.element, sheet, all.element, orders);

  const list = (given) => el("ul", {}, given.map((one) => el("li", {},
    `${one.quantity} × ${one.what} (${[one.series, one.tolerance].filter(Boolean).join(", ")})`
    + ` ${one.note}`)));
  // What was ticked and is on its way stands as the hand left it.
  const pending = new Map();
  async function tick(name, on) {
    pending.set(name, on);
    try {
      await bench.change(({ done }) => ({ told: { done: [...done.filter((one) => one !== name),
        ...(on ? [name] : [])] } }));
    } finally { pending.delete(name); showTicks(); }
  }
  function showTicks() {
    for (const box of sheet.querySelectorAll("input[type=checkbox]")) {
      box.checked = pending.get(box.id) ?? state.done.includes(box.id); }
  }
  function step(one, name, pot, at) {
    const box = el("input", { type: "checkbox", id: name,
      onchange: () => tick(name, box.checked) });
    box.checked = state.done.includes(name);
    const said = el("span", { class: "said", role: "status", id: `${name}-said` });
    const ohms = one.read_ohms ? el("input", { type: "text", class: "ohms", size: 8,
      value: state.readings[name] || "", placeholder: "48k, or open",
      "aria-label": `What the meter reads: ${one.check}`, async onchange() {
        try {
          const told = await post(bench.path("/reading"), { design: fitted, pot, step: at,
            ohms: ohms.value });
          said.textContent = told.said;
          await keep(name, ohms.value);
        } catch (error) { said.textContent = error.message; }
      } }) : null;
    return el("li", {}, box, el("label", { for: name }, one.do),
      one.check ? el("p", { class: "check" }, one.check) : null, ohms, said);
  }
  async function keep(name, ohms) {
    // Whatever the meter has no number for is kept as a word would be: not at all.
    if (!/\d/.test(ohms)) return;
    await bench.change(({ readings }) => ({ told: { readings: [...Object.entries(readings).filter(
      ([one]) => one !== name).map(([one, value]) => `${one}=${value}`), `${name}=${ohms}`] } }));
  }
  function show(told) {
    const nothing = !told.expression;
    fitted = told.expression || told.design;
    sheet.replaceChildren(...told.said.map((one) => el("p", { class: "verdict" }, one)),
      el("p", {}, told.expect), ...(nothing ? [] : [
      el("ul", { class: "caution" }, told.cautions.map((one) => el("li", {}, one))),
      el("h3", {}, "To order"), list(told.orders),
      el("figure", { class: "wiring" }, drawing(told.svg)),
      el("h3", {}, "Before"), el("ol", {}, told.before.map((one, i) => step(one, `before-${i}`))),
      ...told.pots.flatMap((pot, p) => [el("h3", {}, pot.title), el("ol", {}, pot.steps.map(
        (one, i) => step(one, `pot-${p}-${i}`, p, i)))]),
      el("p", {}, el("a", { href: bench.path("/made/sheet.html"), target: "_blank" },
        "The sheet to print")),
    ]));
  }
  return {
    show(now) {
      state = now;
      if (document.activeElement !== workshop) workshop.value = now.workshop;
      showTicks();
    },
    entered() {
      if (JSON.stringify([state.toml, state.design, state.workshop]) !== made) make.begin();
    },
  };
}
