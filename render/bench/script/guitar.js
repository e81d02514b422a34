// The room where the guitar is described: what is known, what is only typical, what is measured.
import { upload, work } from "./ask.js";
import { el, working } from "./dom.js";
import { responses } from "./plot.js";
import { readings } from "./readings.js";
import { strengthFound, sweepOf, swept, wavOf } from "./record.js";

// How often a sweep that a busy machine tore is played once more.
const TORN_AGAIN = 3;

export function guitarRoom(bench, room) {
  const form = el("form", { class: "fields", onsubmit: (e) => e.preventDefault() });
  const plot = el("figure", { class: "responses" }), inputs = new Map();
  const text = el("textarea", { rows: 18, spellcheck: "false", "aria-label": "The rig file" });
  const textSaid = el("p", { role: "status" });
  const raw = el("details", {}, el("summary", {}, "Everything else: the rig file itself"),
    el("p", { class: "hint" }, "Several pickups, situations, a dirt, a second volume: as the rig"
      + " format describes them. The form above follows it."), text,
    el("button", { type: "button", class: "do", async onclick() {
      try { await bench.change({ toml: text.value }); textSaid.textContent = "kept"; }
      catch (error) { textSaid.textContent = error.message; }
    } }, "Keep this text"), textSaid);
  const title = el("input", { type: "text", id: "job-title", maxlength: 100,
    onchange: () => bench.change({ told: { title: title.value } }) });
  room.append(el("h2", {}, "What is known of the guitar"),
    el("p", {}, el("label", { for: "job-title" }, "Whose, or which"), title),
    el("p", { class: "hint" }, "Type as you would write it: 8,2k, 22nF, A500K, 15 ft; ? for what"
      + " you don't know. What is only typical is marked."), form, plot, ...readings(bench),
    measured(bench), raw);

  async function change(field, input, said) {
    try {
      const state = await bench.change({ key: field.key, answer: input.value });
      said.textContent = state.odd;
      input.removeAttribute("aria-invalid");
    } catch (error) {
      said.textContent = error.message;
      input.setAttribute("aria-invalid", "true");
    }
  }
  function built(field) {
    const id = `field-${field.key.replaceAll(".", "-")}`, said = el("span", { class: "said",
      id: `${id}-said`, role: "status" });
    const input = field.only_words
      ? el("select", { id }, field.words.map(([word, meaning]) => el("option", { value: word },
        meaning ? `${word}: ${meaning}` : word)))
      : el("input", { id, type: "text", autocomplete: "off", spellcheck: "false",
        ...(field.words.length && { list: `${id}-words` }) });
    input.setAttribute("aria-describedby", `${id}-hint ${id}-said`);
    input.addEventListener("change", () => change(field, input, said));
    const mark = el("span", { class: "mark" });
    const words = field.words.length && !field.only_words ? el("datalist", { id: `${id}-words` },
      field.words.map(([word, meaning]) => el("option", { value: word }, meaning))) : null;
    inputs.set(field.key, { input, mark });
    return el("div", { class: "field" }, el("label", { for: id },
      field.whose ? `${field.asks} (${field.whose})` : field.asks), input, words, mark,
      el("span", { class: "hint", id: `${id}-hint` }, field.explains), said);
  }
  return {
    show(state) {
      if (document.activeElement !== title) title.value = state.title;
      const keys = state.fields.map((one) => one.key).join();
      if (keys !== [...inputs.keys()].join()) {
        inputs.clear();
        form.replaceChildren(...state.fields.map(built));
      }
      for (const field of state.fields) {
        const { input, mark } = inputs.get(field.key);
        // What somebody is typing, or has yet to put right, is theirs.
        if (document.activeElement !== input && !input.hasAttribute("aria-invalid")) {
          input.value = field.value; }
        mark.textContent = field.value && !field.known ? "typical, not known" : "";
      }
      if (document.activeElement !== text) text.value = state.toml;
      textSaid.textContent = state.fault;
    },
    draw(drawn) { plot.replaceChildren(responses(drawn.curves)); },
  };
}

// A sweep through a small coil over the pickup, played and recorded here, and the pickup fitted.
function measured(bench) {
  const list = el("ul"), added = el("input", { type: "text", id: "added", value: "",
    placeholder: "such as 470p, or nothing" });
  const dial = el("input", { type: "number", id: "sweep-dial", min: 0.5, max: 10, step: 0.5,
    value: 10 });
  const taken = [], next = [["470p", 10], ["", 5]];
  let found = null, strength = null, recorded = 0;
  const values = el("p", { role: "status" });
  const use = el("button", { type: "button", hidden: true, class: "do", async onclick() {
    // What the recordings do not settle stays as it was.
    await bench.change({ values: {
      [bench.pickupKey("inductance")]: `${found.inductance_henries.toPrecision(4)} H`,
      ...(found.capacitance_error !== null && { [bench.pickupKey("capacitance")]:
        `${(found.capacitance_farads * 1e12).toPrecision(4)}p` }),
      ...(found.eddy_ohms !== null && { [bench.pickupKey("eddy")]:
        `${(found.eddy_ohms / 1e3).toPrecision(4)}k` }),
    } });
  } }, "Take these values");
  // Plays, records and keeps both, again where a busy machine tore it; what is to be said of the
  // recording comes back.
  async function kept(take, strong, say) {
    for (let torn = 0; ; torn += 1) {
      say(`playing the sweep${torn ? " again, since the recording was torn" : ""}`);
      const { samples, rate } = await swept(strong);
      if (!torn) await upload(bench.path("/takes/sweep"), wavOf(sweepOf(rate, strong), rate),
        "audio/wav");
      try {
        const told = await upload(bench.path(`/takes/${take}`), wavOf(samples, rate), "audio/wav");
        return [`peak ${told.peak_dbfs} dBFS`, ...told.remarks].join("; ");
      } catch (error) {
        if (torn === TORN_AGAIN || !error.message.includes("is torn")) throw error;
      }
    }
  }
  const loop = working("Measure the interface alone", async ({ say }) => {
    say("finding the level");
    say(`measured, and taken away from what follows: ${await kept("loop",
      await strengthFound(), say)}`);
    await bench.refresh();
  });
  const sweep = working("Play the sweep and record", async ({ say }) => {
    if (strength === null) { say("finding the level"); strength = await strengthFound(); }
    const take = `sweep-${recorded + 1}`, told = await kept(take, strength, say);
    recorded += 1;
    const one = { take, added: added.value.trim(), dial: Number(dial.value) };
    const line = el("li", {}, `${take}: ${one.added || "nothing added"}, knob at ${one.dial},`
      + ` ${told} `, el("button", { type: "button", class: "quiet",
      "aria-label": `Leave out ${take}`, onclick() {
        taken.splice(taken.indexOf(one), 1);
        next.unshift([added.value, dial.value]);
        [added.value, dial.value] = [one.added, one.dial];
        line.remove();
      } }, "Leave out"));
    taken.push(one);
    list.append(line);
    if (next.length) [added.value, dial.value] = next.shift();
    say(taken.length < 3 ? `recorded; next: ${added.value || "nothing"} across the jack, knob at`
      + ` ${dial.value}` : "recorded; now fit the pickup");
  });
  const fit = working("Fit the pickup", async ({ signal, told, say }) => {
    found = await work(bench.path("/tasks/pickup"), { at_jack: true, recorded: taken,
      loop: bench.state.takes.includes("loop") },
      { signal, told });
    const off = (error) => (error === null ? " (not settled by these recordings)"
      : ` ± ${(100 * error).toFixed(0)} %`);
    values.textContent = `${found.inductance_henries.toPrecision(3)} H`
      + `${off(found.inductance_error)}, ${(found.capacitance_farads * 1e12).toPrecision(3)} pF`
      + `${off(found.capacitance_error)}, off by ${found.misfit_db.toFixed(2)} dB`
      + `${found.odd.length ? `. Mind: ${found.odd.join(" ")}` : ""}`;
    use.hidden = false;
    say("");
  });
  return el("details", {}, el("summary", {}, "Measure the pickup by a sweep, here"),
    el("p", { class: "caution" }, "The sweep comes out of the interface: lead it to a small coil"
      + " over the pickup, begin with the output turned down, and wear no headphones."),
    el("p", { class: "hint" }, "Guitar into the interface's instrument input, all knobs at 10."
      + " Record as it is, then with a known capacitor across the jack, which tells what drove the"
      + " pickup from the pickup itself, then as it is with the knob at 5, which tells its winding"
      + " from the cable. The cable and the input above must be those in use."),
    el("p", { class: "hint" }, "If you like, first a plain cable from that output to that input:"
      + " what the interface itself does is then taken away. The output's level is found by short"
      + " quiet sweeps each time the page is opened."), loop.element,
    el("label", { for: "added" }, "Across the jack now"), added,
    el("label", { for: "sweep-dial" }, "Knob at"), dial, sweep.element, list, fit.element,
    values, use);
}
