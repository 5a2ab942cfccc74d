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

const reached = (home) => [...home.querySelectorAll('button, input, select, textarea, a[href], summary, [tabindex="0"]')].filter((one) => !one.disabled);

let again = false;
/** Give the focus to what had it before: nobody has begun anything there. */
export function focusAgain(one) {
  again = true;
  one?.focus({ preventScroll: true });
  again = false;
}
export const focusedAgain = () => again;

/**
 * Put other content in an element, and the focus back on what had it, by its data-key. What cannot have it just now gives
 * it to its data-else, or has it again once it can; what is gone gives it to its neighbour, though never to what takes something away.
 */
export function refill(home, ...inside) {
  const at = document.activeElement;
  const within = at && at !== home && home.contains(at);
  const key = within ? at.dataset.key : at === document.body ? waiting.get(home) : null;
  const place = within ? reached(home).indexOf(at) : -1;
  waiting.delete(home);
  const top = home.scrollTop;
  const scrolled = [...home.querySelectorAll("[data-scroll]")].map((one) => [one.dataset.scroll, one.scrollTop]);
  const caret = within && at.matches('input[type="text"], textarea') ? [at.selectionStart, at.selectionEnd] : null;
  home.replaceChildren(...inside.flat(Infinity).filter((one) => one));
  home.scrollTop = top;
  for (const [name, by] of scrolled) { const one = home.querySelector(`[data-scroll="${CSS.escape(name)}"]`); if (one) one.scrollTop = by; }
  const found = (one) => home.querySelector(`[data-key="${CSS.escape(one)}"]`);
  let next = key ? found(key) : null;
  if (next?.disabled) {
    const other = next.dataset.else ? found(next.dataset.else) : null;
    if (!other) waiting.set(home, key);
    next = other;
  } else if (!next && place >= 0) {
    const all = reached(home).filter((one) => !one.dataset.key?.includes("Take "));
    next = all[Math.min(place, all.length - 1)];
  }
  focusAgain(next);
  if (caret && next?.dataset.key === key && next !== at) next.setSelectionRange(...caret);
}
const waiting = new WeakMap(); // elements to the key of what is to have the focus again

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
