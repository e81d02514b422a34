// The knobs of the circuit that the guitar feeds, its battery, and how hard the strings are played.
import { slider } from "./slider.js";

/** @type {[string, Record<string, string>, (value: number) => string][]} */
const KNOBS = [
  ["control", { min: "0", max: "10", step: "0.1" }, (value) => value.toFixed(1)],
  ["bias", { min: "0", max: "10", step: "0.1" }, (value) => value.toFixed(1)],
  ["supply", { min: "4", max: "18", step: "0.1" }, (value) => `${value.toFixed(1)} V`],
  ["touch", { min: "-24", max: "24", step: "1" }, (value) => `${value > 0 ? "+" : ""}${value} dB`],
];
const QUALITIES = { full: "in full", half: "in half as many steps (its faults are 50 dB down)" };
const WORDS = { bias: "Bias", supply: "Battery", touch: "Touch" };

export function makePedal(side, live, changed) {
  const named = (knob) => { const control = live.stage() && live.stage().control;
    return knob === "control" ? control && control[0].toUpperCase() + control.slice(1)
      : WORDS[knob]; };
  // What a circuit has; a diode clipper has no bias and no battery that matters.
  const shown = () => KNOBS.filter(([knob]) => named(knob) && (knob === "touch"
    || live.stage().stage.branches.some((branch) => branch.moved[knob])));
  // What this machine was found to manage, and the others.
  function qualities() {
    const label = document.createElement("label"), select = document.createElement("select");
    select.id = "quality";
    for (const [name, words] of Object.entries(QUALITIES)) select.append(
      new Option(words, name, false, name === live.quality()));
    select.addEventListener("change", () => live.steps(select.value));
    label.append("Worked out ", select);
    return label;
  }
  return {
    words: () => shown().map(([knob, , say]) =>
      `${named(knob).toLowerCase()} ${say(live.feeding.knobs[knob])}`).join(", "),
    build() {
      side.hidden = !live.stage();
      side.replaceChildren(...(live.stage() ? shown() : []).map(([knob, range, say]) => {
        const label = slider(named(knob), { ...range, value: String(live.feeding.knobs[knob]) },
          say(live.feeding.knobs[knob]), (value) => {
            live.knob(knob, value);
            changed();
            return say(value);
          });
        label.querySelector("input").dataset.knob = knob;
        return label;
      }), ...(live.stage() && live.quality() ? [qualities()] : []));
    },
  };
}
