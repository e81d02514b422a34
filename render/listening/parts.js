"use strict";
// Changing parts while they play: sliders for each part of a design, the cable and the input, what
// they do to the response, and the design to send back.
function makeParts(pack, live, hooks) {
  const byId = (id) => document.getElementById(id);
  const E24 = [1, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2, 2.2, 2.4, 2.7, 3, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1];
  const SERIES = { E12: E24.filter((_, i) => i % 2 === 0), E24 };
  const own = pack.live.designs.map((design) => design.parts.map((part) => part.value));
  const values = own.map((row) => [...row]);
  const ownAround = { cable: pack.live.cable, input: pack.live.input, tone: pack.live.tone && pack.live.tone.dial };
  const around = { ...ownAround };
  const HZ = Float64Array.from({ length: 70 }, (_, i) => 80 * 125 ** (i / 69));

  // A value in figures and the power of ten that suits it.
  function scaled(kind, value, figures) {
    const powers = kind === "C" ? [-6, -9, -12] : [6, 3, 0];
    const power = powers.find((p) => value >= 10 ** p * 0.99999) ?? powers[powers.length - 1];
    return [Number((value / 10 ** power).toPrecision(figures)), { 6: "M", 3: "k", 0: "", "-6": "µ", "-9": "n", "-12": "p" }[power]];
  }
  // 68000 -> "68k", 1.5e-9 -> "1n5": IEC 60062, as the sheet's command takes it.
  function codeOf({ kind }, value) {
    const [figure, prefix] = scaled(kind, value, 4), [whole, rest = ""] = String(figure).split(".");
    return `${whole}${prefix.replace("µ", "u") || "R"}${rest}`;
  }
  const spoken = (kind, value) => { const [figure, prefix] = scaled(kind, value, 3); return `${figure} ${prefix}${kind === "C" ? "F" : "Ω"}`; };
  const expressionOf = (design) => {
    const { template, parts } = pack.live.designs[design];
    return parts.reduce((text, part, i) => text.replace(`{${i}}`, codeOf(part, values[design][i])), template);
  };
  function snapped(value) {
    const series = SERIES[byId("series").value];
    if (!series) return Number(value.toPrecision(3));
    const decade = 10 ** Math.floor(Math.log10(value) + 1e-9);
    const near = [...series, 10].reduce((a, b) => (Math.abs(Math.log(b * decade / value)) < Math.abs(Math.log(a * decade / value)) ? b : a));
    return Number((near * decade).toPrecision(3));
  }

  // A named slider: its range, and what a place on it means, does and is called.
  function slider(name, range, text, moved) {
    const label = document.createElement("label"), input = document.createElement("input"), out = document.createElement("span");
    const show = (words) => { out.textContent = words; input.setAttribute("aria-valuetext", words); };
    label.className = "part";
    Object.assign(input, { type: "range", ...range });
    input.addEventListener("input", () => {
      show(moved(Number(input.value)));
      hooks.changed();
      draw();
    });
    label.append(Object.assign(document.createElement("strong"), { textContent: name }), input, out);
    show(text);
    return label;
  }
  // Of a part's value, logarithmic.
  function valueSlider(name, kind, low, high, value, put, snap = snapped) {
    const at = Math.round((1000 * Math.log(value / low)) / Math.log(high / low));
    return slider(name, { min: "0", max: "1000", step: "1", value: String(at) }, spoken(kind, value), (place) => {
      const chosen = Math.min(high, Math.max(low, snap(low * (high / low) ** (place / 1000))));
      put(chosen);
      return spoken(kind, chosen);
    });
  }
  function toneKnob() {
    if (!pack.live.tone) return [];
    return [slider("Tone knob", { min: "0", max: "10", step: "0.1", value: String(around.tone) }, Number(around.tone).toFixed(1), (dial) => {
      around.tone = dial;
      live.tone(dial);
      return dial.toFixed(1);
    })];
  }

  function build() {
    const design = hooks.chosen(), parts = pack.live.designs[design].parts;
    byId("part-sliders").replaceChildren(...parts.map((part, i) => valueSlider(
      part.name, part.kind, own[design][i] / 10, own[design][i] * 10, values[design][i],
      (value) => { values[design][i] = value; live.change(design, part.branches, value); },
    )));
    byId("no-parts").hidden = parts.length > 0;
    byId("around").replaceChildren(
      ...toneKnob(),
      valueSlider("Cable and input, capacitance", "C", 30e-12, 3e-9, Math.max(around.cable, 30e-12), (value) => { around.cable = value; live.around("cable", value); }, (v) => Number(v.toPrecision(2))),
      valueSlider("Input it feeds", "R", 5e3, 10e6, Math.min(around.input || 10e6, 10e6), (value) => { around.input = value; live.around("input", value); }, (v) => Number(v.toPrecision(2))),
    );
    draw();
  }

  const movedAround = () => Object.keys(around).filter((what) => around[what] !== ownAround[what]);
  const isOwn = (design) => values[design].every((value, i) => value === own[design][i]) && movedAround().length === 0;
  function back() {
    const design = hooks.chosen();
    pack.live.designs[design].parts.forEach((part, i) => { values[design][i] = own[design][i]; live.change(design, part.branches, own[design][i]); });
    for (const what of movedAround()) {
      around[what] = ownAround[what];
      if (what === "tone") live.tone(around.tone); else live.around(what, around[what]);
    }
    build();
    hooks.changed();
  }

  // ---- response at the dial and at 10 --------------------------------------
  const WIDTH = 320, HEIGHT = 150, TOP = 12, FLOOR = -48;
  const line = (gains) => gains.map((db, i) => `${(30 + (i * (WIDTH - 40)) / (HZ.length - 1)).toFixed(1)},${(10 + ((TOP - Math.max(FLOOR, Math.min(TOP, db))) * (HEIGHT - 32)) / (TOP - FLOOR)).toFixed(1)}`).join(" ");
  // Loudness over the dial against that at 10: two thousand solves, so when the hand rests.
  let resting = 0;
  function drawLevels(circuit) {
    clearTimeout(resting);
    resting = setTimeout(() => {
      const levels = live.levelsOf(circuit), ten = levels[levels.length - 1];
      byId("level-own").setAttribute("points", pack.live.levelDials.map((dial, i) => `${(30 + dial * 28).toFixed(1)},${(10 + (Math.min(48, Math.max(0, ten - levels[i])) * 100) / 48).toFixed(1)}`).join(" "));
    }, 80);
  }
  function draw() {
    const design = hooks.chosen(), dial = Math.max(hooks.dial(), 0.05);
    const circuit = live.circuits[design];
    byId("curve-now").setAttribute("points", line(live.engine.response(circuit, dial, HZ)));
    byId("curve-ten").setAttribute("points", line(live.engine.response(circuit, 10, HZ)));
    drawLevels(circuit);
    byId("level-knob").setAttribute("transform", `translate(${(30 + hooks.dial() * 28).toFixed(1)} 0)`);
    byId("curve-name").textContent = `at ${hooks.dial().toFixed(1)}`;
    byId("back").disabled = isOwn(design);
    byId("expression").textContent = pack.live.designs[design].parts.length ? expressionOf(design) : "the bare pot";
  }

  function message() {
    const design = hooks.chosen(), has = pack.live.designs[design].parts.length > 0;
    const lines = ["I choose this one:", has ? expressionOf(design) : "the bare pot, as it is"];
    if (has) lines.push("", "For the workshop:", `presolder sheet --design '${expressionOf(design)}'`);
    if (movedAround().some((what) => what !== "tone")) lines.push("", `Heard with ${spoken("C", around.cable)} of cable and input, into ${spoken("R", around.input || 10e6)}.`);
    return `${lines.join("\n")}\n`;
  }
  byId("back").addEventListener("click", back);
  byId("series").addEventListener("change", draw);
  byId("choose-this").addEventListener("click", () => {
    byId("choice").hidden = false;
    byId("choice-text").value = message();
    byId("choice-text").focus();
    byId("choice-text").select();
  });
  return { build, draw };
}
