// All guitars of the bench: a list to search, and new ones.
import { get, post, put } from "./ask.js";
import { byId, el } from "./dom.js";

// What is asked of a new guitar; the rest is typical until it is known.
const SETS = [["1", "", "one"], ["2", "three-way", "two, three-way switch"],
  ["3", "three-way", "three, three-way switch"], ["3", "five-way", "three, five-way switch"]];

export async function jobsPage(root, open) {
  const list = el("ul", { class: "jobs" }), search = el("input", { type: "search", id: "search" });
  const archived = el("input", { type: "checkbox", id: "archived", onchange: () => show() });
  const title = el("input", { type: "text", id: "new-title", required: true, maxlength: 100 });
  const sets = el("select", { id: "pickups" }, SETS.map(([, , words], i) =>
    el("option", { value: i }, words)));
  // A guitar that is copied has its own pickups.
  const from = el("select", { id: "from", onchange() {
    sets.disabled = !from.value.startsWith("kind:"); } }), said = el("p", { role: "status" });
  let jobs = [];
  root.replaceChildren(el("h1", {}, "The bench"), el("p", {}, "Each guitar is a folder; every"
    + " change is kept as it is made, and can be taken back."),
    el("form", { class: "new", async onsubmit(e) {
      e.preventDefault();
      try {
        const kind = from.value.startsWith("kind:") && from.value.slice(5);
        const [pickups, switched] = SETS[Number(sets.value)];
        const told = await post("/api/jobs", { title: title.value, ...(kind
          ? { answers: { pickup: kind, pickups, ...(switched && { switch: switched }) } }
          : { from: from.value }) });
        open(told.name, "guitar");
      } catch (error) { said.textContent = error.message; }
    } }, el("label", { for: "new-title" }, "New guitar: whose, or which"), title,
      el("label", { for: "from" }, "like"), from,
      el("label", { for: "pickups" }, "pickups on this volume knob"), sets,
      el("button", { type: "submit", class: "do" }, "Begin"), said),
    el("p", {}, el("label", { for: "search" }, "Find"), search, archived,
      el("label", { for: "archived" }, "those put away too")), list,
    el("p", {}, el("button", { type: "button", class: "quiet", async onclick() {
      await post("/api/stop");
      root.replaceChildren(el("h1", {}, "The bench has stopped"), el("p", {},
        "Everything is kept. Start it again with 'presolder bench'."));
    } }, "Stop the bench")));
  search.addEventListener("input", () => show());

  const about = (job) => job.error || (job.design ? `chosen: ${job.design}` : "nothing chosen yet");
  function show() {
    const wanted = search.value.trim().toLowerCase();
    const shown = jobs.filter((job) => (archived.checked || !job.archived)
      && `${job.title} ${job.design}`.toLowerCase().includes(wanted));
    list.replaceChildren(...shown.map((job) => el("li", {}, el("a", { href:
      `/guitars/${job.name}/guitar`, onclick(e) { e.preventDefault(); open(job.name, "guitar"); } },
      job.title), el("span", { class: "hint" }, about(job)),
      el("button", { type: "button", class: "quiet", "aria-label": `${job.archived ? "Take back"
        : "Put away"} ${job.title}`, async onclick() {
        await put(`/api/jobs/${job.name}`, { version: job.version,
          told: { archived: !job.archived } });
        await load();
      } }, job.archived ? "Take back" : "Put away"))));
    if (!shown.length) list.append(el("li", { class: "hint" }, "none yet"));
  }
  async function load() {
    const told = await get("/api/jobs");
    jobs = told.jobs;
    byId("where").textContent = told.bench;
    from.replaceChildren(
      el("optgroup", { label: "a kind of pickup" }, Object.entries(told.kinds).map(
        ([kind, words]) => el("option", { value: `kind:${kind}` }, `${kind}: ${words}`))),
      el("optgroup", { label: "an earlier guitar" }, jobs.map((job) =>
        el("option", { value: job.name }, job.title))),
      el("optgroup", { label: "an example" }, told.rigs.map((name) =>
        el("option", { value: name }, name))));
    show();
  }
  await load();
  title.focus();
}
