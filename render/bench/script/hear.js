// The room where one listens: the listening page itself, of this guitar.
import { work } from "./ask.js";
import { el, working } from "./dom.js";

export function hearRoom(bench, room) {
  const frame = el("iframe", { title: "The listening page of this guitar", hidden: true,
    allow: "microphone; autoplay" });
  let wanted = null, remade = null, ready = false, made = "";
  const take = el("select", { id: "hear-take" });
  frame.addEventListener("load", () => { ready = true; pass(); });
  // A point that was clicked: the page turns the design of its kind to those values.
  function pass() {
    if (!wanted || !ready || frame.hidden) return;
    frame.contentWindow.postMessage({ hear: wanted }, location.origin);
  }
  // A page that has nothing of its kind is made anew, with it.
  window.addEventListener("message", ({ source, data }) => {
    if (source !== frame.contentWindow || !data || typeof data.heard !== "boolean") return;
    const missing = wanted;
    wanted = null;
    if (data.heard || missing === remade) return;
    remade = wanted = missing;
    make.begin();
  });
  const make = working("Make it anew", async ({ signal, told, say }) => {
    const asked = JSON.stringify([bench.state.toml, bench.toHear(), take.value]);
    say("a few seconds");
    await work(bench.path("/tasks/listen"), { designs: bench.toHear(), take: take.value },
      { signal, told });
    made = asked;
    ready = false;
    frame.hidden = false;
    frame.src = `${bench.path("/made/listen.html")}?${Date.now()}`;
    say("");
  });
  room.append(el("h2", {}, "Hear it"),
    el("p", { class: "caution" }, "Begin quiet, and turn up slowly; long loud listening harms"
      + " hearing."),
    el("label", { for: "hear-take" }, "What plays"), take, make.element, frame);
  return {
    show(state) {
      const chosen = take.value;
      take.replaceChildren(el("option", { value: "" }, "the bundled take"), ...state.takes.filter(
        (one) => !one.startsWith("sweep")).map((one) => el("option", { value: one }, one)));
      take.value = state.takes.includes(chosen) ? chosen : "";
    },
    // What is old is made anew when somebody comes to listen.
    entered() {
      if (JSON.stringify([bench.state.toml, bench.toHear(), take.value]) !== made) make.begin();
      else pass();
    },
    hear(expression) { wanted = expression; pass(); },
  };
}
