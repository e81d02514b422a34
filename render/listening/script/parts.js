// Changing parts while they play: sliders for each part of a design, the cable and the input, what
// they do to the response, and the design to send back.
import { drawPot } from "./drawing.js";
import { byId } from "./elements.js";
import { response } from "./engine.js";
import { slider } from "./slider.js";
import { codeOf, nearest, spoken, valueOf } from "./values.js";

const FARADS_A_METRE = 100e-12;
const WIDTH = 320, HEIGHT = 150, TOP_DB = 12, FLOOR_DB = -48;

export function makeParts(pack, live, hooks) {
  const { designs } = live.situation();
  const own = designs.map((design) => design.parts.map((part) => part.value));
  const values = own.map((row) => [...row]);
  const ownAround = () => ({ cable: live.situation().cable, input: hooks.input().ohms,
    tone: live.situation().tone && live.situation().tone.dial });
  let around = ownAround();
  const HZ = Float64Array.from({ length: 70 }, (_, i) => 80 * 125 ** (i / 69));

  const expressionOf = (design) => {
    const { template, parts } = designs[design];
    return parts.reduce((text, part, i) => text.replace(
      `{${i}}`, codeOf(part.kind, values[design][i])), template);
  };

  // One that the sound and the drawing follow.
  const followed = (name, range, text, moved) => slider(name, range, text, (value) => {
    const words = moved(value);
    hooks.changed();
    draw();
    return words;
  });
  // Of a part's value, logarithmic.
  function valueSlider(name, [low, high], value, put, say, snap) {
    const at = Math.round((1000 * Math.log(value / low)) / Math.log(high / low));
    return followed(name, { min: "0", max: "1000", step: "1", value: String(at) }, say(value),
      (place) => {
      const chosen = Math.min(high, Math.max(low, snap(low * (high / low) ** (place / 1000))));
      put(chosen);
      return say(chosen);
    });
  }
  const twoFigures = (value) => Number(value.toPrecision(2));
  const cableInWords = (farads) => `${spoken("C", farads)}, some ${(
    farads / FARADS_A_METRE).toFixed(1)} m`;
  function buildAround() {
    const sliders = [
      valueSlider("Cable", [30e-12, 3e-9], Math.max(around.cable, 30e-12),
        (value) => { around.cable = value; live.around("cable", value); }, cableInWords,
          twoFigures),
      valueSlider("Input it feeds", [5e3, 10e6], Math.min(around.input, 10e6),
        (value) => { around.input = value; live.around("input", value); },
          (ohms) => spoken("R", ohms), twoFigures),
    ];
    byId("around").replaceChildren(...sliders);
    const tone = byId("tone");
    tone.hidden = !live.situation().tone;
    if (live.situation().tone) {
      tone.replaceChildren(followed("Tone knob",
        { min: "0", max: "10", step: "0.1", value: String(around.tone) },
          Number(around.tone).toFixed(1), (dial) => {
        around.tone = dial;
        live.tone(dial);
        return dial.toFixed(1);
      }));
    }
  }
  function build() {
    const design = hooks.chosen(), { parts } = designs[design];
    byId("part-sliders").replaceChildren(...parts.map((part, i) => valueSlider(
      part.name, [own[design][i] / 10, own[design][i] * 10], values[design][i],
      (value) => { values[design][i] = value; live.change(design, i, value); },
      (value) => spoken(part.kind, value), (value) => nearest(value, byId("series").value),
    )));
    byId("no-parts").hidden = parts.length > 0;
    draw();
  }

  // A gang's bend is the pot's, which one expression says and another leaves out.
  const unbent = (text) => text.replace(/, [\d.]+\)/g, ")");
  // The design of an expression's kind, turned to its values; -1 where there is none.
  function turnTo(expression) {
    return designs.findIndex(({ template, parts }, design) => {
      const pattern = unbent(template).replace(/[.*+?^${}()|[\]\\]/g, "\\$&")
        .replace(/\\\{\d+\\\}/g, "([0-9.a-zA-Z]+)");
      const found = new RegExp(`^${pattern}$`).exec(unbent(expression));
      if (!found) return false;
      const wanted = found.slice(1).map(valueOf);
      if (!wanted.length || wanted.some((value) => !(value > 0))) return false;
      parts.forEach((_, i) => { values[design][i] = wanted[i]; live.change(design, i, wanted[i]);
        });
      return true;
    });
  }

  const movedAround = () => { const was = ownAround();
    return Object.keys(around).filter((what) => around[what] !== was[what]); };
  const isOwn = (design) => values[design].every((value, i) => value === own[design][i])
    && movedAround().length === 0;
  function back() {
    const design = hooks.chosen();
    designs[design].parts.forEach((_, i) => {
      values[design][i] = own[design][i]; live.change(design, i, own[design][i]); });
    const moved = movedAround();
    around = ownAround();
    for (const what of moved) if (what === "tone") live.tone(around.tone);
      else live.around(what, around[what]);
    buildAround();
    build();
    hooks.changed();
  }

  // ---- the pot, the response at the dial and at 10, and loudness by dial ---------
  const line = (gains) => gains.map((db, i) =>
    `${(30 + (i * (WIDTH - 40)) / (HZ.length - 1)).toFixed(1)},${(
      10 + ((TOP_DB - Math.max(FLOOR_DB, Math.min(TOP_DB, db))) * (HEIGHT - 32)) / (
        TOP_DB - FLOOR_DB)).toFixed(1)}`).join(" ");
  // Against that at 10: two thousand solves, so when the hand rests.
  let resting = 0;
  function drawLevels(circuit) {
    clearTimeout(resting);
    resting = setTimeout(() => {
      const levels = live.levelsOf(circuit), ten = levels[levels.length - 1];
      byId("level-own").setAttribute("points",
        pack.live.levelDials.map((dial, i) =>
          `${(30 + dial * 28).toFixed(1)},${(
            10 + (Math.min(48, Math.max(0, ten - levels[i])) * 100) / 48).toFixed(1)}`).join(" "));
    }, 80);
  }
  let drawn = null;
  function draw() {
    const design = hooks.chosen(), circuit = live.circuits[design],
      { parts, tree } = designs[design], law = live.situation().pot,
      texts = parts.map((part, i) => `${part.name} ${spoken(part.kind, values[design][i])}`);
    // Only other values, where no more has changed, as under a hand.
    if (drawn && drawn.tree === tree && drawn.law === law && byId("pot").hasChildNodes()) {
      drawn.pot.say(texts);
    } else drawn = { tree, law, pot: drawPot(byId("pot"), { tree, parts, law }, texts) };
    byId("curve-ten").setAttribute("points", line(response(circuit, 10, HZ)));
    drawLevels(circuit);
    byId("back").disabled = isOwn(design);
    byId("expression").textContent = parts.length ? expressionOf(design) : "the bare pot";
    drawDial();
  }
  // What a turn of the knob changes.
  function drawDial() {
    const dial = hooks.dial();
    drawn.pot.turn(dial);
    byId("curve-now").setAttribute("points", line(
      response(live.circuits[hooks.chosen()], Math.max(dial, 0.05), HZ)));
    byId("level-knob").setAttribute("transform", `translate(${(30 + dial * 28).toFixed(1)} 0)`);
    byId("curve-name").textContent = `now, at ${Number(dial.toFixed(1))}`;
  }

  function message() {
    const design = hooks.chosen(), has = designs[design].parts.length > 0;
    const lines = ["I choose this one:", has ? expressionOf(design) : "the bare pot, as it is"];
    if (has) lines.push("", "For the workshop:",
      `presolder sheet --design '${expressionOf(design)}'`);
    if (pack.live.situations.length > 1) lines.push("", `Chosen in: ${live.situation().name}.`);
    if (movedAround().some((what) => what !== "tone")) lines.push(
      "", `Heard with ${spoken("C", around.cable)} of cable, into ${spoken("R", around.input)}.`);
    return `${lines.join("\n")}\n`;
  }
  byId("back").addEventListener("click", back);
  byId("series").addEventListener("change", draw);
  let chosen = null;
  byId("choose-this").addEventListener("click", () => {
    const design = hooks.chosen(), expression = designs[design].parts.length
      ? expressionOf(design) : null;
    chosen = { design: pack.designs[design].name, expression, cable_farads: around.cable,
      input_ohms: around.input };
    byId("choice").hidden = false;
    byId("choice-text").value = message();
    byId("choice-text").focus();
    byId("choice-text").select();
  });
  byId("copy-choice").addEventListener("click",
    () => hooks.copy(byId("choice-text"), byId("choice-said")));
  byId("save-choice").addEventListener("click",
    () => hooks.save(byId("choice-text").value, "my-choice.txt", "text/plain"));
  buildAround();
  return {
    build, draw, drawDial, turnTo,
    chosen: () => chosen,
    cable: () => around.cable,
    // Another situation, as the workshop has it.
    resettle() { around = ownAround(); buildAround(); draw(); },
    // Another input: the dirt's, or the amplifier's again.
    refit() { around.input = hooks.input().ohms; buildAround(); },
  };
}
