// The room where it is proved and sent: recordings at some dials against the prediction, the pack,
// and what comes back.
import { post, upload, work } from "./ask.js";
import { el, working } from "./dom.js";
import { record, wavOf } from "./record.js";

export function confirmRoom(bench, room) {
  const dial = el("input", { type: "number", id: "at-dial", min: 0.5, max: 10, step: 0.5,
    value: 10 }), taken = new Map(), list = el("ul"), verdict = el("div", { class: "verdict" });
  const meter = el("meter", { min: 0, max: 1, high: 0.9, optimum: 0.5 });
  const said = el("p", { role: "status" });
  let running = null;
  const strum = el("button", { type: "button", class: "do", async onclick() {
    try {
      if (running) {
        const played = wavOf(await running.samples(), running.rate);
        running = null;
        strum.textContent = "Record";
        await keep(played);
      } else {
        running = await record({ level: (peak) => { meter.value = peak; } });
        strum.textContent = "Stop";
      }
    } catch (error) { running = null; strum.textContent = "Record"; said.textContent =
      error.message; }
  } }, "Record");
  const file = el("input", { type: "file", id: "from-file", accept: "audio/wav,.wav",
    multiple: true, async onchange() {
      for (const one of file.files) await keep(one, one.name);
      file.value = "";
    } });
  // Of a file the dial may stand in its name, as in at-7.wav.
  async function keep(blob, name = "") {
    const at = /(\d+(?:[.,]\d+)?)\D*$/.exec(name.replace(/\.wav$/i, ""));
    const stands = at ? Number(at[1].replace(",", ".")) : Number(dial.value);
    const take = `at-${String(stands).replace(".", "-")}`;
    try {
      const told = await upload(bench.path(`/takes/${take}`), blob, "audio/wav");
      taken.set(String(stands), take);
      said.textContent = [`at ${stands}: ${told.seconds} s, peak ${told.peak_dbfs} dBFS`,
        ...told.remarks].join("; ");
      await bench.refresh();
      const next = [10, 7, 4].find((one) => !taken.has(String(one)));
      if (next) dial.value = next;
    } catch (error) { said.textContent = error.message; }
  }
  async function before(stands, take) {
    try {
      await post(bench.path(`/takes/${take}/swap`));
      said.textContent = `at ${stands}: the recording before counts again`;
    } catch (error) { said.textContent = error.message; }
  }
  const verify = working("Does it fit?", async ({ signal, say }) => {
    const told = await work(bench.path("/tasks/verify"), { takes: Object.fromEntries(taken) },
      { signal });
    verdict.replaceChildren(el("p", {}, el("strong", {}, told.verdict)), el("pre", {},
      told.said.join("\n")));
    say("");
  });
  const link = el("a", { id: "save-pack", hidden: true, download: "" }, "Save the pack");
  const pack = working("Make the pack to send", async ({ signal, told, say }) => {
    await work(bench.path("/tasks/pack"), { designs: bench.toHear(), light: true },
      { signal, told });
    link.href = bench.path("/made/pack.zip");
    link.setAttribute("download", `${bench.state.name}.zip`);
    link.hidden = false;
    say("made; the page in it plays in any browser");
  });
  const back = el("p", { role: "status" }), answer = el("input", { type: "file", id: "answer",
    accept: ".json,application/json", async onchange() {
      try {
        const told = await upload(bench.path("/answer"), answer.files[0], "application/json");
        back.textContent = `The customer listened mostly at ${told.left_at.map((one) =>
          one.toFixed(1)).join(", ")}${told.favourite ? `, and liked ${told.favourite} best`
          : ", and has no favourite that guessing would not give"}.`;
      } catch (error) { back.textContent = error.message; }
    } });
  const notes = el("textarea", { id: "notes", rows: 5, async onchange() {
    await bench.change({ told: { notes: notes.value } });
  } });
  room.append(el("h2", {}, "Confirm it"), el("p", {}, "Play the same phrase at 10, then at 7 and 4,"
    + " alike, the interface's gain left alone."),
    el("p", { class: "caution" }, "Plug in with the amplifier off or its volume down."),
    el("label", { for: "at-dial" }, "Knob at"), dial, strum, meter, said, list,
    el("p", {}, el("label", { for: "from-file" }, "or recordings made elsewhere, the dial at the"
      + " end of each name:"), file), verify.element, verdict,
    el("h2", {}, "Send it"), pack.element, link,
    el("p", {}, el("label", { for: "answer" }, "What the customer sent back (my-answers.json):"),
      answer), back,
    el("h2", {}, "Notes"),
    el("label", { for: "notes" }, "For yourself; no pack holds them"), notes);
  return {
    show(state) {
      if (document.activeElement !== notes) notes.value = state.notes;
      for (const take of state.takes) {
        const at = /^at-(\d+)(?:-(\d+))?$/.exec(take);
        if (at) taken.set(at[2] ? `${at[1]}.${at[2]}` : at[1], take);
      }
      list.replaceChildren(...[...taken].map(([one, take]) => el("li", {}, `at ${one} `,
        state.earlier.includes(take) ? el("button", { type: "button", class: "quiet",
          onclick: () => before(one, take) }, "Take back the one before") : null)));
      if (state.made.includes("pack.zip")) { link.href = bench.path("/made/pack.zip");
        link.hidden = false; }
    },
  };
}
