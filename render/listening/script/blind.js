// Listening blind: names hidden and shuffled, ratings and ranks, and a run of trials that tells
// whether a difference is heard. The score is shown when a run is over, not before: who watches it
// can stop at a lucky moment.
import { byId } from "./elements.js";
import { CHECKS, NEEDED, atLeast, byChance, makeContest } from "./favourite.js";

// Where guessing is held to be ruled out, and who is to be found out by it.
const LEVEL = 0.05, HEARS = 0.7;
export const guessing = (right, total) => atLeast(right, total);
// How often who is right seven times of ten gets so far that guessing is ruled out.
export function power(total) {
  let needed = 0;
  while (needed <= total && guessing(needed, total) > LEVEL) needed += 1;
  return atLeast(needed, total, HEARS);
}
// What a score says, and what it does not.
export function meaning(right, total, runs) {
  const chance = guessing(right, total), all = 1 - (1 - chance) ** runs;
  const found = `By guessing alone, the chance of that many or more is ${chance.toFixed(3)}.`;
  const several = runs > 1
    ? ` It was run ${runs}: by guessing alone, the chance that one of so many gets this far is ${
      all.toFixed(3)}.` : "";
  return found + several + (all <= LEVEL ? "" : ` That does not show that there is no difference:${
    ""} who is right seven times of ten shows it in ${Math.round(100 * power(total))} runs of 100 ${
    ""}of ${total} trials.`);
}

export function makeBlind(pack, player) {
  const count = pack.designs.length, KEPT = `blind:${pack.live.emf.length}:${pack.designs.map(
    (d) => d.name).join("|")}`;
  const HEARD_S = 0.4;
  let order = null, run = null, runs = [], contest = null, contests = [], about = null;
  // Runs that were begun and given up, which belong to what was tried.
  let givenUp = 0;

  const letter = (i) => `Sample ${String.fromCharCode(65 + i)}`;
  const nameOf = (design) => (order ? letter(order.indexOf(design)) : pack.designs[design].name);
  const random = (n) => { // unbiased
    const word = new Uint32Array(1), limit = 2 ** 32 - (2 ** 32 % n);
    do crypto.getRandomValues(word); while (word[0] >= limit);
    return word[0] % n;
  };
  function shuffled() {
    const all = [...Array(count).keys()];
    for (let i = count - 1; i > 0; i -= 1) { const j = random(i + 1);
      [all[i], all[j]] = [all[j], all[i]]; }
    return all;
  }

  // Kept over a reload, where the browser lets a page keep anything.
  function keep() {
    try {
      if (order) localStorage.setItem(KEPT, JSON.stringify(
        // Which one is hidden is drawn anew: it must not be found here.
        { order, run: run && { ...run, hidden: null }, runs, givenUp,
          contest: contest && { ...contest, asking: contest.asking.state }, contests,
          rated: rated() }));
      else localStorage.removeItem(KEPT);
    } catch { /* nothing is kept then */ }
  }
  const kept = () => { try { return JSON.parse(localStorage.getItem(KEPT)); } catch {
    return null; } };

  function options(select, texts) {
    select.replaceChildren(...texts.map((text, i) =>
      Object.assign(document.createElement("option"), { value: String(i), textContent: text })));
  }
  const rated = () => [...byId("rating").children].map(
    (line) => [...line.querySelectorAll("select")].map((s) => s.selectedIndex));
  function buildRating() {
    byId("rating").replaceChildren(...order.map((_, i) => {
      const line = document.createElement("div");
      line.className = "rate";
      const parts = [["Rating", ["-", "1", "2", "3", "4", "5"]],
        ["Rank", ["-", ...order.map((__, k) => String(k + 1))]]].map(([name, texts]) => {
        const label = document.createElement("label"), select = document.createElement("select");
        select.setAttribute("aria-label", `${name} of ${letter(i)}`);
        select.className = String(name).toLowerCase();
        options(select, texts);
        select.addEventListener("change", () => {
          // A rank goes to one: whoever had it has none.
          if (name === "Rank" && select.selectedIndex) byId("rating").querySelectorAll(
            ".rank").forEach((other) => { if (
              other !== select
                && other.selectedIndex === select.selectedIndex) other.selectedIndex = 0; });
          keep();
        });
        label.append(`${name} `, select);
        return label;
      });
      line.append(Object.assign(document.createElement("strong"), { textContent: letter(i) }),
        ...parts);
      return line;
    }));
  }

  function begin(saved) {
    order = saved ? saved.order : shuffled();
    runs = saved ? saved.runs : [];
    contests = saved ? saved.contests : [];
    givenUp = saved ? saved.givenUp : 0;
    about = byId("about");
    about.remove();
    byId("parts").hidden = true;
    for (const id of ["part-sliders", "expression", "pot"]) byId(id).replaceChildren();
    if (byId("note")) byId("note").hidden = true;
    buildRating();
    if (saved) saved.rated.forEach((line, i) =>
      byId("rating").children[i].querySelectorAll("select").forEach(
        (s, k) => { s.selectedIndex = line[k]; }));
    const letters = order.map((_, i) => letter(i));
    options(byId("first"), letters);
    options(byId("second"), letters);
    byId("second").selectedIndex = Math.min(1, count - 1);
    for (const id of ["rating", "reveal"]) byId(id).hidden = false;
    for (const id of ["telling", "liking"]) byId(id).hidden = count < 2;
    byId("blind").hidden = true;
    byId("results").hidden = true;
    byId("result-text").value = "";
    player.matched();
    player.blind(order);
    byId("reveal").focus();
    setUp();
    if (saved && saved.run) resume(saved.run);
      else if (saved && saved.contest) prefer(saved.contest); else keep();
  }

  // ---- a run of trials -----------------------------------------------------
  const pair = () => [byId("first"), byId("second")].map((s) => order[Number(s.value)]);
  // Whether it stands where all are the same circuit, which is then said.
  function atTen(said) {
    const { place, dial } = player.conditions(),
      same = Number(place === "live" ? dial : place) > 9.5;
    if (same) byId(
      said).textContent = "At 10 all samples are the same circuit: turn the knob down first.";
    return same;
  }
  // Matched is what was measured: until it is, the run waits.
  async function measured(said) {
    while (player.unmeasured() > 0) {
      byId(said).textContent = `Loudness is being measured: ${player.unmeasured()} of ${
        count} to go. It begins by itself.`;
      await new Promise((done) => { setTimeout(done, 200); });
      if (!order) return false;
    }
    return true;
  }
  function setUp() {
    byId("set-up").disabled = byId("find").disabled = false;
    for (const id of ["pair", "trial"]) byId(id).hidden = true;
    player.fixed(false);
  }
  // From here on conditions stay as they were when it began.
  function ask(panel, conditions) {
    byId("set-up").disabled = byId("find").disabled = true;
    byId(panel).hidden = false;
    player.put(conditions);
    player.fixed(true);
  }
  // Nothing is asked any more: it was answered, or given up.
  function asked(said, text) {
    run = contest = null;
    byId(said).textContent = text;
    setUp();
    keep();
  }
  async function start() {
    const [a, b] = pair();
    if (a === b) { byId("tally").textContent = "Choose two different samples."; return; }
    if (atTen("tally") || !await measured("tally")) return;
    resume({ pair: [a, b], trials: Number(byId("trials").value), answers: [],
      ...player.conditions(), date: new Date().toISOString() });
  }
  function resume(saved) {
    run = saved;
    byId("first").value = String(order.indexOf(run.pair[0]));
    byId("second").value = String(order.indexOf(run.pair[1]));
    byId("trials").value = String(run.trials);
    ask("trial", run);
    trial();
  }
  function trial() {
    run.hidden = random(2);
    run.heard = [0, 0, 0];
    run.began = performance.now();
    byId("tally").textContent = `Trial ${run.answers.length
      + 1} of ${run.trials}. Listen to all three, then answer.`;
    allow();
    keep();
  }
  // Answers are open once all that is to be compared was heard.
  const allHeard = (one) => one !== null && one.heard.every((s) => s >= HEARD_S);
  function allow() {
    for (const id of ["is-first", "is-second"]) byId(id).disabled = !allHeard(run);
    for (const id of ["like-one", "like-other", "like-neither"]) byId(id).disabled = !allHeard(
      contest);
  }
  let hearing = null, since = 0, ticking = 0;
  function hear(which, design, unlit) {
    settle();
    player.play(design, unlit);
    hearing = which;
    since = performance.now();
    clearInterval(ticking);
    ticking = setInterval(() => { settle(); allow(); }, 100);
  }
  function hearOfTrial(which) { if (run) hear(
    which, which === 2 ? run.pair[run.hidden] : run.pair[which], which === 2); }
  function hearOfPair(which) { if (contest) hear(which, contest.asking.pair()[which], true); }
  // What plays counts as heard as long as it plays.
  function settle() {
    const one = run || contest;
    if (hearing === null || !one) return;
    const now = performance.now();
    if (player.playing()) one.heard[hearing] += (now - since) / 1000;
    since = now;
  }
  function quiet() {
    clearInterval(ticking);
    hearing = null;
    player.stop();
  }
  function answer(which) {
    settle();
    if (!allHeard(run)) return;
    run.answers.push({ hidden: run.hidden, answer: which,
      seconds: Number(((performance.now() - run.began) / 1000).toFixed(1)) });
    quiet();
    if (run.answers.length < run.trials) { trial(); return; }
    over();
  }
  function over() {
    runs.push(run);
    const right = run.answers.filter((a) => a.hidden === a.answer).length;
    asked("tally",
      `The run is over: ${right} of ${run.trials} right. ${
        meaning(right, run.trials, runs.length + givenUp)}`);
  }
  function giveUp() {
    quiet();
    givenUp += 1;
    asked("tally", "The run was given up; the results say so.");
  }

  // ---- which is liked best --------------------------------------------------
  async function find() {
    if (atTen("liked") || !await measured("liked")) return;
    prefer({ asking: null, ...player.conditions(), date: new Date().toISOString() });
  }
  function prefer(saved) {
    contest = { ...saved, asking: makeContest(shuffled(), saved.asking, random) };
    ask("pair", contest);
    question();
  }
  function question() {
    const { asking } = contest;
    contest.heard = [0, 0];
    byId("liked").textContent = `Question ${asking.state.answers.length
      + 1} of at most ${asking.questions}. Hear both, then say which you like better.`;
    allow();
    keep();
  }
  function preferred(which) {
    settle();
    if (!allHeard(contest)) return;
    contest.asking.answer(which);
    quiet();
    if (!contest.asking.over()) { question(); return; }
    const { best, rival, again, agreed, checks, equals } = contest.asking.result();
    const name = letter(order.indexOf(best));
    contests.push({ ...contest, asking: contest.asking.state,
      result: { best, rival, again, agreed, checks, equals } });
    asked("liked", again
      ? `Your favourite is ${name}: asked again, you liked it better than the others ${
        agreed} times of ${checks}, in an order by lot. Who only guesses gets a favourite in one ${
        ""}run of ${Math.round(1 / byChance)}.` + (equals.length
          ? ` As good to you: ${equals.map((d) => letter(order.indexOf(d))).join(", ")}.` : "")
      : `No clear favourite: asked again, you did not like ${name} better nearly every time (${
        NEEDED} of ${CHECKS}); ${letter(order.indexOf(rival))} may do as well.`);
  }
  function stopAsking() {
    quiet();
    asked("liked", "Stopped; nothing of it counts.");
  }
  // Under which conditions it was, for the file and for people.
  const under = ({ situation, place, dial, level, voice, date }) =>
    ({ ...(situation && { situation }), what: place, dial, loudness: level, sound: voice, date });
  function underInWords({ situation, what, dial, loudness, sound, date }) {
    const where = `${situation ? `${situation}, ` : ""}${what === "live" ? `dial ${dial.toFixed(1)}`
      : what === "sweep" ? "knob turning" : `dial ${what}`}`;
    return `(${where}, ${loudness} loudness, ${sound}, ${date.slice(0, 10)})`;
  }
  function plainContest(one) {
    const name = (design) => pack.designs[design].name, { best, rival, again, equals } = one.result;
    return {
      favourite: again ? name(best) : null, between: again ? [] : [name(best), name(rival)],
        as_good: equals.map(name), ...under(one),
      answers: one.asking.answers.map((a) =>
        ({ first: name(a.first), second: name(a.second),
          preferred: a.preferred === null ? null : name(a.preferred) })),
    };
  }

  // ---- the end --------------------------------------------------------------
  function plainRun(one) {
    const right = one.answers.filter((a) => a.hidden === a.answer).length;
    const names = one.pair.map((d) => pack.designs[d].name);
    return {
      first: names[0], second: names[1], trials: one.trials, right,
        by_guessing: guessing(right, one.trials), ...under(one),
      answers: one.answers.map((a) => ({ hidden: names[a.hidden], answer: names[a.answer],
        seconds: a.seconds })),
    };
  }
  function reveal() {
    if (run) giveUp();
    if (contest) stopAsking();
    quiet();
    const value = (i, kind) => { const s = byId("rating").children[i].querySelector(`.${kind}`);
      return s.options[s.selectedIndex].textContent; };
    const ratings = order.map((design, i) =>
      ({ label: letter(i), design: pack.designs[design].name, rating: value(i, "rating"),
        rank: value(i, "rank") }));
    const told = runs.map(plainRun);
    const lines = ratings.map(
      (r) => `${r.label} was ${r.design}: rating ${r.rating}, rank ${r.rank}`);
    for (const one of told) {
      lines.push(
        `Told ${one.first} from ${one.second}: ${one.right} of ${one.trials} right, by guessing`
          + ` ${one.by_guessing.toFixed(3)} ${underInWords(one)}`);
    }
    const liked = contests.map(plainContest);
    for (const one of liked) {
      const found = one.favourite
        ? `Favourite, liked again nearly every time: ${one.favourite}${one.as_good.length
          ? `; as good: ${one.as_good.join(", ")}` : ""}`
            : `No clear favourite between ${one.between.join(" and ")}`;
      lines.push(`${found} ${underInWords(one)}`);
    }
    if (givenUp) lines.push(`Given up: ${givenUp} run${givenUp === 1 ? "" : "s"}.`);
    results = { take: pack.take, date: new Date().toISOString(), ratings, runs: told,
      given_up: givenUp, favourites: liked };
    player.answered(results);
    order = null;
    runs = [];
    givenUp = 0;
    contests = [];
    document.querySelector("main").append(about);
    byId("parts").hidden = false;
    byId("choice").hidden = true;
    if (byId("note")) byId("note").hidden = false;
    for (const id of ["rating", "telling", "liking", "reveal"]) byId(id).hidden = true;
    byId("blind").hidden = false;
    byId("results").hidden = false;
    byId("result-text").value = `Listening results\n${lines.join("\n")}\n`;
    player.blind(null);
    byId("result-text").focus();
    keep();
  }
  let results = null;
  const on = (id, act) => byId(id).addEventListener("click", act);
  on("blind", () => begin(null));
  on("reveal", reveal);
  on("start-run", start);
  on("give-up", giveUp);
  on("hear-first", () => hearOfTrial(0));
  on("hear-second", () => hearOfTrial(1));
  on("hear-hidden", () => hearOfTrial(2));
  on("is-first", () => answer(0));
  on("is-second", () => answer(1));
  on("find", find);
  on("hear-one", () => hearOfPair(0));
  on("hear-other", () => hearOfPair(1));
  on("like-one", () => preferred(0));
  on("like-other", () => preferred(1));
  on("like-neither", () => preferred(null));
  on("stop-asking", stopAsking);
  on("save", () => player.save(byId("result-text").value, "listening-results.txt", "text/plain"));
  on("save-json", () => player.save(`${JSON.stringify(results, null, 2)}\n`,
    "listening-results.json", "application/json"));
  on("copy", () => player.copy(byId("result-text"), byId("copied")));

  return {
    nameOf, letter, shown: () => order || [...Array(count).keys()], on: () => order !== null,
      run: () => run, contest: () => contest, busy: () => run !== null || contest !== null,
    restore() { const saved = kept(); if (saved && saved.order
      && saved.order.length === count) begin(saved); },
  };
}
