// What a meter and a generator tell of the guitar: read off, typed in, and taken over.
import { post } from "./ask.js";
import { el, working } from "./dom.js";

const DIALS = [10, 8, 6, 5, 4, 2];
// What is read, how, and what of it is asked; `told` is what the bench gets.
const READINGS = [
  { what: "jack", title: "Pot and winding, by ohms at the closed guitar's jack",
    hint: "Nothing plugged in, one pickup on, tone at 10: ohmmeter at a plug, tip to sleeve.",
    fields: DIALS.map((dial) => [`${dial}`, `Ohms with the knob at ${dial}`]),
    told: (typed) => ({ ohms: Object.fromEntries(Object.entries(typed).filter(([, x]) => x)) }) },
  { what: "resonance", title: "Pickup, by its resonance off the guitar",
    hint: "A generator through a small coil over the pickup, meter or scope of 1M at its leads:"
      + " where is it highest, alone and with a known capacitor across?",
    fields: [["bare_hz", "Highest alone, Hz"], ["loaded_hz", "Highest with the capacitor, Hz"],
      ["added", "The capacitor"]], told: (typed) => typed },
  { what: "cable", title: "Cable, by the guitar's resonance with it",
    hint: "All knobs at 10, coil over the pickup, into the very input that is described above:"
      + " where is it highest, with the cable, and with a known capacitor besides?",
    fields: [["cable_hz", "Highest with the cable, Hz"], ["loaded_hz",
      "Highest with cable and capacitor, Hz"], ["added", "The capacitor"]],
    told: (typed) => typed },
];

export function readings(bench) {
  return READINGS.map(({ what, title, hint, fields, told }) => {
    const inputs = fields.map(([name, label]) => [name, label, el("input", { type: "text",
      id: `read-${what}-${name}`, autocomplete: "off" })]);
    const list = el("ul");
    let values = {};
    const use = el("button", { type: "button", hidden: true, class: "do",
      onclick: () => bench.change({ values }) }, "Take these values");
    const ask = working("What does that make?", async ({ say }) => {
      use.hidden = true;
      const found = await post(bench.path("/measured"), { what, ...told(Object.fromEntries(
        inputs.map(([name, , input]) => [name, input.value.trim()]))) });
      list.replaceChildren(...found.said.map((one) => el("li", {}, one)));
      ({ values } = found);
      use.hidden = Object.keys(values).length === 0;
      say("");
    });
    return el("details", {}, el("summary", {}, title), el("p", { class: "hint" }, hint),
      inputs.map(([, label, input]) => el("p", {}, el("label", { for: input.id }, label), input)),
      ask.element, list, use);
  });
}
