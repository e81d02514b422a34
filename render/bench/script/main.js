// The bench: which guitar and which room, what is known of it by now, and who changed it.
import { get, post, put, work } from "./ask.js";
import { chooseRoom } from "./choose.js";
import { confirmRoom } from "./confirm.js";
import { byId, drawing, el } from "./dom.js";
import { guitarRoom } from "./guitar.js";
import { hearRoom } from "./hear.js";
import { jobsPage } from "./jobs.js";
import { solderRoom } from "./solder.js";

/** @type {Record<string, [string, (bench: any, room: HTMLElement) => any]>} */
const ROOMS = { guitar: ["Guitar", guitarRoom], hear: ["Hear", hearRoom],
  choose: ["Choose", chooseRoom], solder: ["Solder", solderRoom],
  confirm: ["Confirm and send", confirmRoom] };
const WATCH_MS = 2000;
const say = (text) => { byId("said").textContent = text; };
let rooms = {}, judging = null, changing = Promise.resolve(), drawn = "";

const bench = {
  state: null, found: {}, situation: "",
  path: (rest = "") => `/api/jobs/${bench.state.name}${rest}`,
  asked: () => (bench.situation ? { situation: bench.situation } : {}),
  pickupKey: (value) => bench.state.fields.find(
    (one) => one.key.endsWith(`.${value}`) && one.key.startsWith("pickup")).key,
  // One change after the other, each made on what the last one left; or what that makes of it.
  change(body) {
    const made = changing.then(async () => {
      try {
        const state = await put(bench.path(), { version: bench.state.version,
          ...(typeof body === "function" ? body(bench.state) : body) });
        took(state);
        return state;
      } catch (error) {
        if (error.status === 409) { took(await get(bench.path())); say(error.message); }
        throw error;
      }
    });
    changing = made.catch(() => {});
    return made;
  },
  async refresh() { took(await get(bench.path())); },
  // What is heard beside the bare pot and the chosen one.
  toHear() {
    const { compare, tailor } = bench.found;
    const best = (tailor ? tailor.best.map((one) => one.expression)
      : (compare ? compare.designs.map((one) => one.design) : ["series", "series-strong",
        "parallel-strong", "cap"])).filter((one) => one && one !== "bare");
    return best.slice(0, 4);
  },
  hear(expression) { go(bench.state.name, "hear"); rooms.hear.hear(expression); },
};

function took(state) {
  const before = bench.state;
  bench.state = state;
  byId("title").textContent = state.title;
  byId("undo").disabled = !state.undo;
  byId("redo").disabled = !state.redo;
  byId("last").textContent = state.undo ? `last: ${state.did}` : "";
  for (const room of Object.values(rooms)) room.show(state);
  byId("doubts").replaceChildren(...[state.fault, ...state.doubts].filter(Boolean).map(
    (one) => el("p", { class: "said" }, one)));
  document.title = `${state.title}: the bench`;
  const own = `${state.toml}\n${state.design}`, another = !before || before.toml !== state.toml;
  if (another) { bench.found = {}; rooms.choose.forget(); }
  if (own === drawn) return;
  drawn = own;
  // Which situations there are is known when it is drawn.
  draw().then((atFirst) => { if (another) judge(atFirst); });
}

// What is drawn at once; what a first look says comes back.
async function draw() {
  try {
    const query = bench.situation ? `?situation=${encodeURIComponent(bench.situation)}` : "";
    const told = await get(bench.path(`/drawn${query}`));
    byId("drawing").replaceChildren(drawing(told.svg));
    byId("heard").replaceChildren(told.heard, el("ul", {}, told.sounds.map((one) =>
      el("li", {}, one))));
    rooms.guitar.draw(told);
    const choice = byId("situation");
    choice.hidden = !told.situations.length;
    choice.replaceChildren(...told.situations.map((one) => el("option", { value: one }, one)));
    choice.value = told.situation;
    if (told.situations.length) bench.situation = told.situation;
    return told.at_first;
  } catch (error) { byId("drawing").textContent = error.message; return ""; }
}

// Whether a bypass helps, anew with each change; the last question counts.
async function judge(atFirst) {
  if (judging) judging.abort();
  const own = new AbortController();
  judging = own;
  byId("verdict").textContent = atFirst;
  try {
    const need = await work(bench.path("/tasks/need"), bench.asked(), { signal: own.signal });
    if (judging !== own) return;
    byId("verdict").textContent = [...(bench.situation ? [`${bench.situation}:`] : []),
      ...need.situations[0].said].join(" ");
    rooms.choose.verdict(need);
  } catch (error) {
    if (judging === own && error.name !== "AbortError") byId("verdict").textContent =
      error.message;
  }
}

async function open(name) {
  bench.state = null;
  bench.found = {};
  bench.situation = "";
  drawn = "";
  rooms = {};
  byId("rooms").replaceChildren();
  byId("doors").replaceChildren();
  for (const [key, [title, make]] of Object.entries(ROOMS)) {
    const section = el("section", { id: `room-${key}`, hidden: true, "aria-label": title });
    byId("rooms").append(section);
    rooms[key] = make(bench, section);
    byId("doors").append(el("a", { href: `/guitars/${name}/${key}`, "data-room": key, onclick(e) {
      e.preventDefault(); go(name, key); } }, title));
  }
  took(await get(`/api/jobs/${encodeURIComponent(name)}`));
}
function enter(key) {
  for (const section of byId("rooms").children) section.hidden = section.id !== `room-${key}`;
  for (const door of byId("doors").children) {
    if (door.dataset.room === key) door.setAttribute("aria-current", "page");
    else door.removeAttribute("aria-current");
  }
  if (rooms[key].entered) rooms[key].entered();
}
function go(name, key) { history.pushState(null, "", `/guitars/${name}/${key}`); return arrive(); }
async function arrive() {
  const [, , name, key] = location.pathname.split("/").map(decodeURIComponent);
  byId("job").hidden = !name;
  byId("list").hidden = Boolean(name);
  if (name) byId("list").replaceChildren();
  try {
    if (!name) { bench.state = null; document.title = "The bench"; await jobsPage(byId("list"), go);
      return; }
    if (!bench.state || bench.state.name !== name) await open(name);
    enter(key in ROOMS ? key : "guitar");
  } catch (error) { say(error.message); }
}

// Another window, or a command, may change the same guitar; and the bench may stop.
async function look() {
  try {
    if (bench.state && !document.hidden) {
      const { name } = bench.state, state = await get(`/api/jobs/${name}`);
      if (bench.state && bench.state.name === name) {
        if (state.version > bench.state.version) { took(state); say(
          `changed elsewhere: ${state.did}`); }
        if (byId("said").dataset.away) { delete byId("said").dataset.away; say(
          "the bench is back"); }
      }
    }
  } catch (error) {
    byId("said").dataset.away = "yes";
    say(error.message);
  }
}
async function watch() { await look(); setTimeout(watch, WATCH_MS); }
document.addEventListener("visibilitychange", look);
async function step(way) {
  try { took(await post(bench.path(`/${way}/step`), { version: bench.state.version }));
    say(""); }
  catch (error) { say(error.message); }
}
byId("undo").addEventListener("click", () => step("undo"));
byId("redo").addEventListener("click", () => step("redo"));
byId("all").addEventListener("click", (e) => { e.preventDefault(); history.pushState(null, "", "/");
  arrive(); });
byId("situation").addEventListener("change", () => { bench.situation = byId("situation").value;
  bench.found = {}; rooms.choose.forget(); draw().then(judge); });
document.addEventListener("keydown", (e) => {
  if (!(e.ctrlKey || e.metaKey) || e.key.toLowerCase() !== "z" || !bench.state
    || /** @type {Element} */ (e.target).closest("input, textarea")) return;
  e.preventDefault();
  step(e.shiftKey ? "redo" : "undo");
});
window.addEventListener("popstate", arrive);
arrive();
watch();
