// Elements by one call, and what is shown while something is worked out.
export { byId } from "./elements.js";

export function el(name, attributes = {}, ...children) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else if (value === true) element.setAttribute(key, "");
    else if (value !== false && value !== null && value !== undefined) {
      element.setAttribute(key, value); }
  }
  element.append(...children.flat().filter((one) => one !== null && one !== undefined));
  return element;
}

// Each row begins with what it is of, and may have attributes.
export function table(caption, head, rows) {
  return el("table", {}, el("caption", {}, caption), el("thead", {}, el("tr", {},
    head.map((one) => el("th", {}, one)))), el("tbody", {}, rows.map(([attributes, first,
      ...cells]) => el("tr", attributes, el("th", { scope: "row" }, first),
      cells.map((one) => el("td", {}, one))))));
}

// What the bench itself has drawn; nothing of a user's is markup in it.
export function drawing(svg) {
  const parsed = new DOMParser().parseFromString(svg, "image/svg+xml").documentElement;
  return document.importNode(parsed, true);
}

// A button whose work tells how far it is, and can be stopped.
export function working(label, run) {
  const bar = el("progress", { hidden: true }), said = el("span", { role: "status" }),
    stop = el("button", { type: "button", hidden: true, class: "quiet" }, "Stop");
  const button = el("button", { type: "button", class: "do" }, label);
  let stopper = null;
  async function begin(...given) {
    if (stopper) stopper.abort();
    const own = new AbortController();
    stopper = own;
    bar.hidden = stop.hidden = false;
    bar.removeAttribute("value");
    said.textContent = "";
    try {
      await run({ signal: own.signal, told: (done, of) => { bar.max = of; bar.value = done; },
        say: (text) => { said.textContent = text; } }, ...given);
    } catch (error) {
      if (stopper === own) said.textContent = own.signal.aborted ? "stopped" : error.message;
    } finally {
      if (stopper === own) { stopper = null; bar.hidden = stop.hidden = true; }
    }
  }
  button.addEventListener("click", () => begin());
  stop.addEventListener("click", () => stopper && stopper.abort());
  return { element: el("p", { class: "working" }, button, bar, stop, said), begin, button };
}
