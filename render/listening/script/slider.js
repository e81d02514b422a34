// A named slider: its range, what its place is called, and what moving it does and is called then.
export function slider(name, range, text, moved) {
  const label = document.createElement("label"), input = document.createElement("input"),
    out = document.createElement("span");
  const show = (words) => { out.textContent = words; input.setAttribute("aria-valuetext", words); };
  label.className = "part";
  Object.assign(input, { type: "range", ...range });
  // Once a frame: the hand is faster than the drawing.
  let waiting = 0;
  input.addEventListener("input", () => {
    if (waiting) return;
    waiting = requestAnimationFrame(() => {
      waiting = 0;
      show(moved(Number(input.value)));
    });
  });
  label.append(Object.assign(document.createElement("strong"), { textContent: name }), input, out);
  show(text);
  return label;
}
