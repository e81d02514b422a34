// What comes back to the workshop, as one file: what was chosen and found closer, blind results,
// and at which dials the visitor listened; and the same shown, where a workshop opens it.
import { shape } from "./drawing.js";
import { byId } from "./elements.js";

const STEP = 0.5;

export function makeAnswers(pack, hooks) {
  const seconds = new Map();
  let results = {}, last = 0;
  const name = (design) => pack.designs[design].name;
  function plain() {
    const closer = hooks.closer().map((one) => ({ ...one, design: name(one.design) }));
    const liked = (results.favourites || []).find((one) => one.favourite);
    return {
      presolder_answer: 1, take: pack.take, date: new Date().toISOString(),
      favourite: liked ? liked.favourite : null, chosen: hooks.chosen(), closer,
      dials: [...seconds].sort(([a], [b]) => b - a).map(([dial, s]) =>
        ({ dial, seconds: Number(s.toFixed(1)) })),
      ratings: results.ratings || [], runs: results.runs || [], given_up: results.given_up || 0,
      favourites: results.favourites || [],
    };
  }
  const line = (text) => Object.assign(document.createElement("p"), { textContent: text });
  function drawDials(dials) {
    const most = Math.max(1, ...dials.map((one) => one.seconds));
    byId("answered-dials").replaceChildren(...dials.flatMap(({ dial, seconds: s }) => {
      const high = (80 * s) / most, x = 12 + dial * 29;
      return [
        shape("rect", { x: x - 5, y: (90 - high).toFixed(1), width: 10, height: high.toFixed(1) }),
        shape("text", { x, y: 104, "text-anchor": "middle" }, String(dial)),
      ];
    }));
  }
  function told(answer) {
    const lines = [];
    const { chosen } = answer;
    if (chosen) lines.push(`Chosen: ${chosen.design}${chosen.expression ? ` (${chosen.expression})`
      : ""}.`);
    lines.push(answer.favourite ? `Favourite, found blind: ${answer.favourite}.`
      : "No favourite was found blind.");
    for (const one of answer.closer) lines.push(`At ${one.dial}, ${one.design}: ${
      one.closer ? "closer" : "not closer"} than the plain knob.`);
    for (const run of answer.runs) lines.push(`Told ${run.first} from ${run.second}: ${
      run.right} of ${run.trials} right, by guessing ${run.by_guessing.toFixed(3)}.`);
    if (answer.given_up) lines.push(`Runs given up: ${answer.given_up}.`);
    return lines;
  }
  // Whether a text is such an answer; then it is shown.
  function open(text) {
    let answer = null;
    try { answer = JSON.parse(text); } catch { /* said below */ }
    const said = byId("answered-text");
    byId("answered").hidden = false;
    byId("answered-dials").replaceChildren();
    if (!answer || answer.presolder_answer !== 1 || !Array.isArray(answer.dials)
      || !Array.isArray(answer.closer) || !Array.isArray(answer.runs)) {
      said.replaceChildren(line("That file is no answer of a listening page."));
      return false;
    }
    said.replaceChildren(...told(answer).map(line),
      line(`presolder tailor --answers FILE weighs by the dials below.`));
    drawDials(answer.dials.filter((one) => one.dial > 0));
    byId("answered").scrollIntoView({ block: "nearest" });
    return true;
  }
  byId("save-answer").addEventListener("click", () => hooks.save(
    `${JSON.stringify(plain(), null, 2)}\n`, "listening-answer.json", "application/json"));
  byId("open-answer").addEventListener("change", async (e) => {
    const [file] = /** @type {HTMLInputElement} */ (e.target).files;
    if (file) open(await file.text());
  });
  return {
    plain, open,
    answered(found) { results = found; },
    // The knob's place while something is heard through it.
    listened(dial) {
      const now = performance.now(), passed = (now - last) / 1000;
      last = now;
      if (dial === null || passed > 1) return;
      const place = Math.round(dial / STEP) * STEP;
      seconds.set(place, (seconds.get(place) || 0) + passed);
    },
  };
}
