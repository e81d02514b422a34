"use strict";
// Listening blind: names hidden and shuffled, ratings and ranks, and a run of trials that tells
// whether a difference is heard. The score is shown when a run is over, not before: who watches it
// can stop at a lucky moment.
function makeBlind(pack, player) {
  const byId = (id) => document.getElementById(id);
  const count = pack.designs.length, KEPT = `blind:${pack.live.emf.length}:${pack.designs.map((d) => d.name).join("|")}`;
  const HEARD_S = 0.4;
  let order = null, run = null, runs = [], about = null;

  const letter = (i) => `Sample ${String.fromCharCode(65 + i)}`;
  const nameOf = (design) => (order ? letter(order.indexOf(design)) : pack.designs[design].name);
  // Chance of at least this many right answers by guessing: sum of C(n, k) / 2^n.
  function guessing(right, total) {
    let term = 0.5 ** total, sum = 0;
    for (let k = 0; k <= total; k += 1) {
      if (k >= right) sum += term;
      term *= (total - k) / (k + 1);
    }
    return Math.min(1, sum);
  }
  const random = (n) => { // unbiased
    const word = new Uint32Array(1), limit = 2 ** 32 - (2 ** 32 % n);
    do crypto.getRandomValues(word); while (word[0] >= limit);
    return word[0] % n;
  };
  function shuffled() {
    const all = [...Array(count).keys()];
    for (let i = count - 1; i > 0; i -= 1) { const j = random(i + 1); [all[i], all[j]] = [all[j], all[i]]; }
    return all;
  }

  // Kept over a reload, where the browser lets a page keep anything.
  function keep() {
    try {
      if (order) localStorage.setItem(KEPT, JSON.stringify({ order, run, runs, rated: rated() }));
      else localStorage.removeItem(KEPT);
    } catch { /* nothing is kept then */ }
  }
  const kept = () => { try { return JSON.parse(localStorage.getItem(KEPT)); } catch { return null; } };

  function options(select, texts) {
    select.replaceChildren(...texts.map((text, i) => Object.assign(document.createElement("option"), { value: String(i), textContent: text })));
  }
  const rated = () => [...byId("rating").children].map((line) => [...line.querySelectorAll("select")].map((s) => s.selectedIndex));
  function buildRating() {
    byId("rating").replaceChildren(...order.map((_, i) => {
      const line = document.createElement("div");
      line.className = "rate";
      const parts = [["Rating", ["-", "1", "2", "3", "4", "5"]], ["Rank", ["-", ...order.map((__, k) => String(k + 1))]]].map(([name, texts]) => {
        const label = document.createElement("label"), select = document.createElement("select");
        select.setAttribute("aria-label", `${name} of ${letter(i)}`);
        select.className = name.toLowerCase();
        options(select, texts);
        select.addEventListener("change", () => {
          // A rank goes to one: whoever had it has none.
          if (name === "Rank" && select.selectedIndex) byId("rating").querySelectorAll(".rank").forEach((other) => { if (other !== select && other.selectedIndex === select.selectedIndex) other.selectedIndex = 0; });
          keep();
        });
        label.append(`${name} `, select);
        return label;
      });
      line.append(Object.assign(document.createElement("strong"), { textContent: letter(i) }), ...parts);
      return line;
    }));
  }

  function begin(saved) {
    order = saved ? saved.order : shuffled();
    runs = saved ? saved.runs : [];
    about = byId("about");
    about.remove();
    byId("parts").hidden = true;
    for (const id of ["part-sliders", "expression"]) byId(id).replaceChildren();
    if (byId("note")) byId("note").hidden = true;
    buildRating();
    if (saved) saved.rated.forEach((line, i) => byId("rating").children[i].querySelectorAll("select").forEach((s, k) => { s.selectedIndex = line[k]; }));
    const letters = order.map((_, i) => letter(i));
    options(byId("first"), letters);
    options(byId("second"), letters);
    byId("second").selectedIndex = Math.min(1, count - 1);
    for (const id of ["rating", "telling", "reveal"]) byId(id).hidden = false;
    byId("telling").hidden = count < 2;
    byId("blind").hidden = true;
    byId("results").hidden = true;
    byId("result-text").value = "";
    player.matched();
    player.blind(order);
    byId("reveal").focus();
    setUp();
    if (saved && saved.run) resume(saved.run); else keep();
  }

  // ---- a run of trials -----------------------------------------------------
  const pair = () => [byId("first"), byId("second")].map((s) => order[Number(s.value)]);
  function setUp() {
    byId("set-up").disabled = false;
    byId("trial").hidden = true;
    player.fixed(false);
  }
  function start() {
    const [a, b] = pair();
    if (a === b) { byId("tally").textContent = "Choose two different samples."; return; }
    const { place, dial } = player.conditions();
    if (Number(place === "live" ? dial : place) > 9.5) { byId("tally").textContent = "At 10 all samples are the same circuit: turn the knob down first."; return; }
    resume({ pair: [a, b], trials: Number(byId("trials").value), answers: [], ...player.conditions(), date: new Date().toISOString() });
  }
  function resume(saved) {
    run = saved;
    byId("first").value = String(order.indexOf(run.pair[0]));
    byId("second").value = String(order.indexOf(run.pair[1]));
    byId("trials").value = String(run.trials);
    byId("set-up").disabled = true;
    byId("trial").hidden = false;
    player.put(run);
    player.fixed(true);
    trial();
  }
  function trial() {
    run.hidden = random(2);
    run.heard = [0, 0, 0];
    run.began = performance.now();
    byId("tally").textContent = `Trial ${run.answers.length + 1} of ${run.trials}. Listen to all three, then answer.`;
    allow();
    keep();
  }
  const allow = () => { for (const id of ["is-first", "is-second"]) byId(id).disabled = !run || run.heard.some((s) => s < HEARD_S); };
  let hearing = null, since = 0, ticking = 0;
  function hear(which) {
    if (!run) return;
    settle();
    player.play(which === 2 ? run.pair[run.hidden] : run.pair[which], which === 2);
    hearing = which;
    since = performance.now();
    clearInterval(ticking);
    ticking = setInterval(() => { settle(); allow(); }, 100);
  }
  // What plays counts as heard as long as it plays.
  function settle() {
    if (hearing === null || !run) return;
    const now = performance.now();
    if (player.playing()) run.heard[hearing] += (now - since) / 1000;
    since = now;
  }
  function quiet() {
    clearInterval(ticking);
    hearing = null;
    player.stop();
  }
  function answer(which) {
    settle();
    if (run.heard.some((s) => s < HEARD_S)) return;
    run.answers.push({ hidden: run.hidden, answer: which, seconds: Number(((performance.now() - run.began) / 1000).toFixed(1)) });
    quiet();
    if (run.answers.length < run.trials) { trial(); return; }
    over();
  }
  function over() {
    runs.push(run);
    const right = run.answers.filter((a) => a.hidden === a.answer).length;
    byId("tally").textContent = `The run is over: ${right} of ${run.trials} right. By guessing alone, the chance of that many or more is ${guessing(right, run.trials).toFixed(3)}.`;
    run = null;
    setUp();
    keep();
  }
  function giveUp() {
    quiet();
    run = null;
    byId("tally").textContent = "The run was given up; it does not count.";
    setUp();
    keep();
  }

  // ---- the end --------------------------------------------------------------
  function plainRun(one) {
    const right = one.answers.filter((a) => a.hidden === a.answer).length;
    const names = one.pair.map((d) => pack.designs[d].name);
    return {
      first: names[0], second: names[1], trials: one.trials, right, by_guessing: guessing(right, one.trials), what: one.place, dial: one.dial, loudness: one.level, sound: one.voice, date: one.date,
      answers: one.answers.map((a) => ({ hidden: names[a.hidden], answer: names[a.answer], seconds: a.seconds })),
    };
  }
  function reveal() {
    if (run) giveUp();
    quiet();
    const value = (i, kind) => { const s = byId("rating").children[i].querySelector(`.${kind}`); return s.options[s.selectedIndex].textContent; };
    const ratings = order.map((design, i) => ({ label: letter(i), design: pack.designs[design].name, rating: value(i, "rating"), rank: value(i, "rank") }));
    const told = runs.map(plainRun);
    const lines = ratings.map((r) => `${r.label} was ${r.design}: rating ${r.rating}, rank ${r.rank}`);
    for (const one of told) {
      lines.push(`Told ${one.first} from ${one.second}: ${one.right} of ${one.trials} right, by guessing ${one.by_guessing.toFixed(3)} (${one.what === "live" ? `dial ${one.dial.toFixed(1)}` : one.what === "sweep" ? "knob turning" : `dial ${one.what}`}, ${one.loudness} loudness, ${one.sound}, ${one.date.slice(0, 10)})`);
    }
    results = { take: pack.take, date: new Date().toISOString(), ratings, runs: told };
    order = null;
    runs = [];
    document.querySelector("main").append(about);
    byId("parts").hidden = false;
    byId("choice").hidden = true;
    if (byId("note")) byId("note").hidden = false;
    for (const id of ["rating", "telling", "reveal"]) byId(id).hidden = true;
    byId("blind").hidden = false;
    byId("results").hidden = false;
    byId("result-text").value = `Listening results\n${lines.join("\n")}\n`;
    player.blind(null);
    byId("result-text").focus();
    keep();
  }
  let results = null;
  function save(text, name, type) {
    const url = URL.createObjectURL(new Blob([text], { type }));
    Object.assign(document.createElement("a"), { href: url, download: name }).click();
    setTimeout(() => URL.revokeObjectURL(url), 1000);
  }

  const on = (id, act) => byId(id).addEventListener("click", act);
  on("blind", () => begin(null));
  on("reveal", reveal);
  on("start-run", start);
  on("give-up", giveUp);
  on("hear-first", () => hear(0));
  on("hear-second", () => hear(1));
  on("hear-hidden", () => hear(2));
  on("is-first", () => answer(0));
  on("is-second", () => answer(1));
  on("save", () => save(byId("result-text").value, "listening-results.txt", "text/plain"));
  on("save-json", () => save(`${JSON.stringify(results, null, 2)}\n`, "listening-results.json", "application/json"));
  on("copy", async () => {
    const text = byId("result-text");
    try { await navigator.clipboard.writeText(text.value); } catch { text.select(); document.execCommand("copy"); }
    byId("copied").textContent = "Copied.";
  });

  return {
    guessing, nameOf, letter, shown: () => order || [...Array(count).keys()], on: () => order !== null, run: () => run,
    restore() { const saved = kept(); if (saved && saved.order && saved.order.length === count) begin(saved); },
  };
}
