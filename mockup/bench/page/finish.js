// Stain, coats and sheen: one list of steps in the order they are done, and the gloss of the last of them.

import { $, el, fresh, plain, refill, slider } from "./dom.js";
import { KINDS, NAMES, STARTS, coatWords, kindOf, share, stainWords, stepWords } from "./words.js";

const copy = (value) => JSON.parse(JSON.stringify(value));

export class Finish {
  constructor(bench) {
    this.bench = bench;
    this.shapes = {};
  }

  said() {
    const work = this.bench.work;
    return { stain: stainWords(this.steps), coats: coatWords(this.steps), sheen: work.sheenWords };
  }

  get steps() { return this.bench.tries[this.bench.part]?.steps ?? this.bench.work.steps; }

  /** While the hand is on a slider of this part: nothing under it is built anew. */
  get held() { return document.activeElement?.type === "range" && (this.bench.pending || this.bench.keeping || this.bench.grip); }

  fill() {
    if (this.held || this.lifted) return;
    this.list($("stain-work"), (kind) => kind !== "coat", "Add a step", KINDS.filter((k) => k !== "coat"));
    this.list($("coats-work"), (kind) => kind === "coat", "Add clear coats", ["coat"]);
    this.sheen();
  }

  list(home, mine, add, kinds) {
    const steps = this.steps;
    const rows = steps.map((step, n) => this.row(step, n, mine(kindOf(step))));
    const pick = fresh("add");
    const select = kinds.length > 1 ? el("select", { id: pick, "data-key": `${home.id} kind` }, kinds.map((k) => el("option", { value: k, text: NAMES[k] }))) : null;
    const warnings = this.bench.work.warnings;
    refill(home, el("div", { class: "group wide" },
      el("h3", { text: "Steps, in the order you do them" }),
      steps.length ? el("ol", { class: "steps" }, rows) : el("p", { class: "quiet", text: "Bare wood: nothing is done to it yet." }),
      el("div", { class: "row" }, select ? el("label", { class: "hid", for: pick, text: "What step" }) : null, select,
        el("button", { "data-key": `${home.id} add`, onclick: () => this.add(select?.value ?? "coat") }, add))),
    el("div", { class: "group" },
      warnings.map((w) => el("p", { class: "warn", text: w })),
      home.id === "coats-work" ? el("p", { class: "quiet", text: "Solvent and spray harm lungs and burn: read the safety sheet, wear what it asks for, and follow your local rules." }) :
        el("p", { class: "quiet", text: "Sanding dust harms lungs: take it off where it arises. Rags with oil in them can take fire by themselves." })));
  }

  row(step, n, mine) {
    const kind = kindOf(step);
    const last = this.steps.length - 1;
    const key = `${mine ? "" : "shut "}${n} ${kind}`;
    const other = { Earlier: "Later", Later: "Earlier" };
    const button = (words, act, off, aria) => el("button", { class: "plain", disabled: off, onclick: act, "aria-label": `${aria}: ${stepWords(step)}`, "data-key": `${key} ${words}`, "data-else": other[words] && `${key} ${other[words]}` }, words);
    // For the pointer; by keys the two buttons do the same.
    const grip = last > 0 ? el("span", { class: "grip", "aria-hidden": "true", title: "Drag to another place", onpointerdown: (event) => this.lift(event, n) }) : null;
    const head = el("div", { class: "head" }, grip, el("b", { text: mine ? NAMES[kind] ?? "A step" : stepWords(step) }),
      button("Earlier", () => this.move(n, -1), n === 0, "Do earlier"), button("Later", () => this.move(n, 1), n === last, "Do later"),
      mine ? button("Take out", () => this.remove(n), false, "Take out") : null);
    if (!mine) return el("li", { class: "step shut" }, head);
    return el("li", { class: "step" }, head, this.fields(step, n, kind, key));
  }

  fields(step, n, kind, key) {
    const number = (name, label, min, max, grain, usual, words) => slider({
      label, min, max, step: grain, value: step[name] ?? usual, words, key: `${key} ${name}`,
      oninput: (value) => this.set(n, kind, name, value, false), onchange: (value) => this.set(n, kind, name, value, true),
    });
    const percent = (name, label, usual) => number(name, label, 0, 1, 0.01, usual, share);
    const mm = (name, label, min, max, usual) => number(name, label, min, max, 1, usual, (v) => `${plain(v, 0)} mm`);
    switch (kind) {
      case "stain": return [this.dye(step, n, kind, key), percent("strength", "Strength", 1)];
      case "tint": return [this.dye(step, n, kind, key), percent("strength", "Strength", 1)];
      case "sand_back": return [percent("sand_back", "How far", 0.4)];
      case "fill": return [percent("amount", "How full", 1)];
      case "burst": return [this.dye(step, n, kind, key), percent("strength", "Strength", 1), mm("width", "Gone at", 5, 200, 75), mm("edge", "Full to", 0, 80, 8)];
      case "rubbed_edge": return [mm("rubbed_edge", "Width", 1, 40, 6), percent("amount", "How far", 0.7)];
      case "paint": return [percent("cover", "Cover", 1), this.paint(step, n, key)];
      case "coat": return [this.film(step, n, key), number("coats", "Coats", 1, 16, 1, 1, (v) => String(v))];
      default: return [el("p", { class: "quiet", text: "Change this step in the file." })];
    }
  }

  dye(step, n, kind, key) {
    const stains = this.bench.library.stains;
    const id = fresh("dye");
    const own = !stains.some((s) => s.name === step[kind]);
    const select = el("select", { id, "data-key": `${key} dye`, onchange: () => this.set(n, kind, kind, select.value, true) },
      own ? el("option", { value: step[kind], text: step[kind] }) : null,
      stains.map((s) => el("option", { value: s.name, text: s.words === s.name ? s.name : `${s.name}: ${s.words}` })));
    select.value = step[kind];
    const swatch = stains.find((s) => s.name === step[kind])?.colour;
    return el("div", { class: "dye" }, el("i", { colour: swatch ?? "transparent", title: "At full strength on this board" }),
      el("span", {}, el("label", { class: "hid", for: id, text: "Which stain" }), select));
  }

  film(step, n, key) {
    const id = fresh("film");
    const films = this.bench.library.films;
    const select = el("select", { id, "data-key": `${key} film`, onchange: () => this.set(n, "coat", "coat", select.value, true) },
      films.some((f) => f.name === step.coat) ? null : el("option", { value: step.coat, text: step.coat }),
      films.map((f) => el("option", { value: f.name, text: f.name === f.words ? f.name : `${f.name}: ${f.words}` })));
    select.value = step.coat;
    return el("div", {}, el("label", { class: "hid", for: id, text: "Which coat" }), select);
  }

  paint(step, n, key) {
    if (!Array.isArray(step.paint)) return null;
    return step.paint.map((value, k) => slider({
      label: ["L*", "a*", "b*"][k], min: k ? -80 : 0, max: k ? 80 : 100, step: 1, value, words: (v) => plain(v, 0), key: `${key} lab${k}`,
      oninput: (v) => this.set(n, "paint", "paint", step.paint.map((old, i) => (i === k ? v : this.steps[n]?.paint?.[i] ?? old)), false),
      onchange: (v) => this.set(n, "paint", "paint", step.paint.map((old, i) => (i === k ? v : this.steps[n]?.paint?.[i] ?? old)), true),
    }));
  }

  sheen() {
    const { library, work } = this.bench;
    const value = this.bench.tries[this.bench.part]?.sheen ?? work.sheen;
    const words = (v) => `${plain(v, 0)} GU`;
    const id = fresh("sheen");
    const said = (v) => { const out = $(id); if (out) out.textContent = `${library.sheens[Math.round(v)] ?? ""}, measured at 60°`; };
    refill($("sheen-work"), el("div", { class: "group" }, slider({
      label: "Sheen", min: 0, max: library.sheens.length - 1 > 0 ? library.sheens.length - 1 : 100, step: 1, value, words, key: "sheen",
      oninput: (v) => { said(v); this.gloss(v, false); }, onchange: (v) => { said(v); this.gloss(v, true); } }),
    el("p", { id, text: `${library.sheens[Math.round(value)] ?? ""}, measured at 60°` }),
    el("div", { class: "row", role: "group", "aria-label": "Usual sheens" }, [[5, "Matt"], [25, "Satin"], [50, "Half gloss"], [80, "Gloss"]].map(([v, name]) =>
      el("button", { "data-key": `sheen ${v}`, onclick: () => this.gloss(v, true) }, `${name} ${v}`)))));
  }

  // -- changes

  change(steps, words) { return { do: "finish", part: this.bench.part, steps, words: `${this.bench.partState.title}: ${words}` }; }

  set(n, kind, name, value, end) {
    const steps = copy(this.steps);
    if (!steps[n] || kindOf(steps[n]) !== kind) { this.fill(); return; } // another tab took it out, or away from there, under the hand
    steps[n][name] = value;
    if (name === "width" && (steps[n].edge ?? 8) >= value) steps[n].edge = Math.max(0, value - 1);
    if (name === "edge" && value >= (steps[n].width ?? 75)) steps[n].width = value + 1;
    const change = this.change(steps, stepWords(steps[n]));
    if (end) this.bench.done(this.bench.part, { steps }, change);
    else this.bench.trying(this.bench.part, { steps }, change);
    if (!end) this.bench.summaries();
  }

  gloss(value, end) {
    const change = { do: "finish", part: this.bench.part, sheen: value, words: `${this.bench.partState.title}: sheen ${value} GU` };
    if (end) this.bench.done(this.bench.part, { sheen: value }, change);
    else this.bench.trying(this.bench.part, { sheen: value }, change);
  }

  all(steps, words) {
    this.bench.done(this.bench.part, { steps }, this.change(steps, words));
  }

  /** A step is dragged by its grip over the others: let go, it takes the place of the one it is over. */
  lift(event, n) {
    if (event.button !== 0) return;
    event.preventDefault();
    const grip = event.currentTarget;
    const row = grip.closest("li");
    const list = row.parentElement;
    const rows = [...list.children];
    const before = JSON.stringify(this.steps);
    let to = n;
    grip.setPointerCapture(event.pointerId);
    this.lifted = true;
    row.classList.add("lifted");
    const over = (at) => {
      const { left, right, top, bottom } = list.getBoundingClientRect();
      const near = at.clientX > left - 40 && at.clientX < right + 40 && at.clientY > top - 40 && at.clientY < bottom + 40;
      const hit = document.elementFromPoint(at.clientX, at.clientY)?.closest("li");
      const now = !near ? n : rows.includes(hit) ? rows.indexOf(hit) : to;
      if (now === to) return;
      rows[to].classList.remove("before", "after");
      to = now;
      if (to !== n) rows[to].classList.add(to < n ? "before" : "after");
      rows[to].scrollIntoView({ block: "nearest" });
    };
    const end = (put) => {
      this.lifted = false;
      grip.removeEventListener("pointermove", over);
      removeEventListener("keydown", key, true);
      row.classList.remove("lifted");
      rows[to].classList.remove("before", "after");
      // Another tab may have changed the list under the hand: then nothing is moved.
      if (put && to !== n && JSON.stringify(this.steps) === before) this.move(n, to - n);
      else this.fill();
    };
    const key = (pressed) => { if (pressed.key === "Escape") { pressed.preventDefault(); end(false); } };
    grip.addEventListener("pointermove", over);
    grip.addEventListener("pointerup", () => { if (this.lifted) end(true); }, { once: true });
    grip.addEventListener("pointercancel", () => { if (this.lifted) end(false); }, { once: true });
    addEventListener("keydown", key, true);
  }

  move(n, by) {
    const steps = copy(this.steps);
    const [step] = steps.splice(n, 1);
    steps.splice(n + by, 0, step);
    // The focus goes with the step.
    const at = document.activeElement;
    if (at?.closest(".steps")) at.dataset.key = at.dataset.key.replace(` ${n} `, ` ${n + by} `).replace(RegExp(`^${n} `), `${n + by} `);
    this.all(steps, `${stepWords(step)} ${by < 0 ? "earlier" : "later"}`);
  }

  remove(n) {
    const steps = copy(this.steps);
    const [step] = steps.splice(n, 1);
    this.all(steps, `without ${stepWords(step)}`);
  }

  add(kind) {
    const steps = copy(this.steps);
    const step = copy(STARTS[kind]);
    // Colour goes under the clear coats that are there; a tinted film and more coats on top.
    const first = steps.findIndex((s) => kindOf(s) === "coat");
    if (["coat", "tint", "burst", "rubbed_edge", "paint"].includes(kind) || first < 0) {
      const lastCoat = steps.map(kindOf).lastIndexOf("coat");
      if (kind === "burst" || kind === "tint") steps.splice(lastCoat < 0 ? steps.length : lastCoat, 0, step);
      else steps.push(step);
    } else steps.splice(first, 0, step);
    this.all(steps, `with ${stepWords(step)}`);
  }
}
