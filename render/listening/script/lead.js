// The first half minute: what is lost where this player leaves the knob, heard by itself, and
// whether a design is closer. It is led once; whoever skips it, or turns or chooses something, has
// the bench.
import { byId } from "./elements.js";

const TURN_S = 2.5, ROUNDS = 2;

export function makeLead(pack, player) {
  const { lead } = pack;
  const KEPT = `led:${pack.take}:${pack.designs.map((one) => one.name).join("|")}`;
  const closer = [];
  let timer = 0, turns = 0, at = -1, on = false;
  const say = (text) => { byId("lead-now").textContent = text; };
  const wasLed = () => { try { return localStorage.getItem(KEPT) !== null; } catch {
    return false; } };
  // It stops, and is not led again.
  function end() {
    clearInterval(timer);
    if (on) player.asAtTen(false);
    on = false;
    try { localStorage.setItem(KEPT, "1"); } catch { /* led again then */ }
  }
  function over() {
    end();
    byId("lead").hidden = true;
  }
  // The plain pot or a design, and the sound at 10 as loud as that, in turn.
  function alternate(design, what) {
    clearInterval(timer);
    turns = 0;
    const next = () => {
      const ten = turns % 2 === 1;
      player.choose(design);
      player.asAtTen(ten);
      say(`${ten ? "Now as at 10, equally loud." : `Now ${what} at ${lead.dial}.`} ${
        at < 0 ? lead.listenFor : "Is it closer to that at 10 than the plain knob was?"}`);
      turns += 1;
      if (at < 0 && turns > 2 * ROUNDS) ask();
    };
    next();
    timer = setInterval(next, 1000 * TURN_S);
  }
  function ask() {
    at += 1;
    const design = lead.designs[at];
    byId("lead-ask").hidden = design === undefined;
    if (design === undefined) { finish(); return; }
    const { name, heard } = pack.designs[design];
    alternate(design, heard ? `${name} (${heard})` : name);
  }
  function answer(yes) {
    closer.push({ design: lead.designs[at], dial: lead.dial, closer: yes });
    ask();
  }
  function finish() {
    end();
    const liked = closer.filter((one) => one.closer).map((one) => one.design);
    player.choose(liked[0] ?? lead.bare);
    say(`${liked.length ? `Closer to you: ${liked.map((one) => pack.designs[one].name).join(", ")}.`
      : "None closer to you: then leave it alone."} Now turn the knob below yourself, and switch.`);
    byId("lead-play").hidden = true;
    byId("lead-skip").textContent = "Close";
  }
  async function begin() {
    byId("lead-play").hidden = true;
    on = true;
    at = -1;
    player.choose(lead.bare);
    await player.play();
    if (on) alternate(lead.bare, "the plain knob");
  }
  if (lead && !wasLed() && !player.blind()) {
    byId("lead").hidden = false;
    byId("lead-play").addEventListener("click", begin);
    byId("lead-skip").addEventListener("click", over);
    byId("closer").addEventListener("click", () => answer(true));
    byId("not-closer").addEventListener("click", () => answer(false));
  }
  return { on: () => on, closer: () => closer,
    // Whoever does something else has seen the point.
    leave() { if (on) over(); },
    skip() { if (lead) over(); } };
}
