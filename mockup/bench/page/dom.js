// Small helpers over the document.

export const $ = (id) => document.getElementById(id);

/** An element: el("button", {class: "main", onclick: f}, "Save", other). Attributes that are functions become listeners. */
export function el(name, about = {}, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(about)) {
    if (value === undefined || value === null || value === false) continue;
    if (typeof value === "function") made.addEventListener(key.slice(2), value);
    else if (key === "text") made.textContent = value;
    else if (key === "value") made.value = value;
    else if (key === "colour") made.style.background = value;
    else made.setAttribute(key, value === true ? "" : value);
  }
  for (const one of inside.flat(Infinity)) if (one !== null && one !== undefined && one !== false) made.append(one);
  return made;
}

/** Put other content in an element, and the focus back on what had it, by its data-key. */
export function refill(home, ...inside) {
  const at = document.activeElement;
  const key = at && home.contains(at) ? at.dataset.key : null;
  const top = home.scrollTop;
  home.replaceChildren(...inside.flat(Infinity).filter((one) => one));
  home.scrollTop = top;
  if (key) home.querySelector(`[data-key="${CSS.escape(key)}"]`)?.focus({ preventScroll: true });
}

let count = 0;
export const fresh = (word) => `${word}${(count += 1)}`;

/** A number as people write it: no more digits than say something. */
export const plain = (value, digits = 1) => String(Number(value.toFixed(digits)));

/** A labelled slider with its value in words: oninput while it moves, onchange when it is let go. */
export function slider({ label, min, max, step, value, words, key, oninput, onchange, ticks }) {
  const id = fresh("range");
  const shown = el("output", { for: id, text: words(value) });
  const input = el("input", { type: "range", id, min, max, step, "data-key": key, list: ticks });
  input.value = value;
  input.setAttribute("aria-valuetext", words(value));
  const told = (then) => () => {
    shown.textContent = words(Number(input.value));
    input.setAttribute("aria-valuetext", shown.textContent);
    then(Number(input.value));
  };
  input.addEventListener("input", told(oninput));
  input.addEventListener("change", told(onchange));
  return el("div", { class: "line" }, el("label", { for: id, text: label }), input, shown);
}
