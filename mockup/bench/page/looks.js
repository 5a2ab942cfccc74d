// Side by side: looks that are pinned, with their names, their order and the reason for each.

import { $, el, fresh, refill } from "./dom.js";
import { picture } from "./server.js";

export class Looks {
  constructor(bench) {
    this.bench = bench;
    this.pictures = new Map(); // what a look is, to the address of its picture
  }

  get pinned() { return this.bench.state.looks.filter((l) => l.name !== null); }

  said() {
    const n = this.pinned.length;
    return { beside: n ? `${n} look${n > 1 ? "s" : ""}: ${this.pinned.map((l) => l.title).join(", ")}` : "nothing pinned yet" };
  }

  fill() {
    const { state } = this.bench;
    const full = this.pinned.length >= state.mostPinned;
    const home = $("beside-work");
    if (home.contains(document.activeElement) && document.activeElement.matches("input, textarea") && home.dataset.look === JSON.stringify(state.looks)) { this.shown(); return; }
    home.dataset.look = JSON.stringify(state.looks);
    const kept = { name: $("pinName")?.value ?? "", why: $("pinWhy")?.value ?? "" };
    const nameField = el("input", { type: "text", id: "pinName", maxlength: "60", "data-key": "pin name",
      // Once, however long it is held; without a name only the button pins.
      onkeydown: (event) => { if (event.key === "Enter" && !event.repeat && nameField.value.trim()) this.pin(); } });
    const whyField = el("input", { type: "text", id: "pinWhy", maxlength: "400", "data-key": "pin why" });
    nameField.value = kept.name;
    whyField.value = kept.why;
    refill(home, el("div", { class: "pinning" },
      el("h3", { text: `Put "${this.bench.lookWords()}", as it is now, beside the others` }),
      el("label", {}, "What you call it", nameField), el("label", {}, "Why, in a sentence for the client", whyField),
      el("button", { id: "pin", class: "main", disabled: full, onclick: () => this.pin() }, "Pin this look"),
      full ? el("p", { class: "quiet", text: `${state.mostPinned} looks are side by side: take one away to pin another.` }) : null),
    el("ol", { class: "looks" }, this.pinned.map((look, n) => this.card(look, n))));
    this.shown();
  }

  card(look, n) {
    const id = fresh("look");
    const here = look.name === this.bench.look;
    const title = el("input", { type: "text", id, value: look.title, maxlength: "60", "data-key": `title ${look.name}`, onchange: async () => { if (!await this.bench.edit({ do: "name", look: look.name, title: title.value })) title.value = look.title; } });
    const reason = el("textarea", { id: `${id}why`, maxlength: "400", rows: "3", "data-key": `why ${look.name}`, onchange: () => this.bench.edit({ do: "name", look: look.name, why: reason.value }) });
    reason.value = look.why;
    const other = { Earlier: "Later", Later: "Earlier" };
    const act = (words, then, off) => el("button", { class: "plain", disabled: off, onclick: then, "aria-label": `${words}: ${look.title}`, "data-key": `${words} ${look.name}`, "data-else": other[words] && `${other[words]} ${look.name}` }, words);
    return el("li", { class: here ? "lookcard here" : "lookcard" },
      el("div", { class: "shown" }, el("img", { alt: `${look.title} as it would look`, "data-look": look.name, src: this.pictures.get(this.key(look)) ?? null })),
      el("label", { class: "hid", for: id, text: `Name of look ${n + 1}` }), title,
      el("label", { class: "hid", for: `${id}why`, text: `Why ${look.title}` }), reason,
      el("div", { class: "row" }, here ? el("b", { text: "On the bench" }) : act("Put on the bench", () => this.bench.chooseLook(look.name)),
        act("Earlier", () => this.move(n, -1), n === 0), act("Later", () => this.move(n, 1), n === this.pinned.length - 1),
        act("Take away", () => this.bench.edit({ do: "unpin", look: look.name }))));
  }

  key(look) {
    const { state, stage } = this.bench;
    return JSON.stringify([look.name, look.parts, look.rest, state.rest, state.files, state.parts.map((p) => [p.cut, p.joint, p.board]), stage.surround]);
  }

  /** Pictures for the cards, one after the other, when the cards are there to be seen; looks that come meanwhile are drawn, too. */
  async shown() {
    const due = () => this.bench.stage.ready && this.bench.state?.looks && !$("beside-work").hidden;
    if (this.drawing || !due()) return;
    this.drawing = true;
    const failed = new Set();
    try {
      for (let look; due() && (look = this.pinned.find((l) => !this.pictures.has(this.key(l)) && !failed.has(this.key(l)))); ) {
        const key = this.key(look);
        const made = await this.draw(look);
        if (!made) { failed.add(key); continue; }
        if (this.pictures.size > 40) { const [old, url] = this.pictures.entries().next().value; URL.revokeObjectURL(url); this.pictures.delete(old); }
        this.pictures.set(key, URL.createObjectURL(made.data));
        const image = $("beside-work").querySelector(`img[data-look="${CSS.escape(look.name)}"]`);
        if (image) image.src = this.pictures.get(key);
      }
    } finally {
      this.drawing = false;
    }
  }

  draw(look) {
    const { state, stage } = this.bench;
    const [x0, y0, x1, y1] = state.sides.front ?? state.sides.back;
    const m = state.margin;
    const scale = Math.min(900 / (y1 - y0 + 2 * m), 900 / (x1 - x0 + 2 * m));
    const size = [Math.round((y1 - y0 + 2 * m) * scale), Math.round((x1 - x0 + 2 * m) * scale)];
    return this.bench.doing(() => picture({ name: `look ${look.name}`, look: look.name, side: state.sides.front ? "front" : "back", origin: [x0 - m, y0 - m], scale, size, lying: true,
      surround: stage.surround, exact: false }));
  }

  async pin() {
    if (this.pinning) return;
    this.pinning = true;
    this.bench.typing = null; // it is taken
    const said = { pinName: $("pinName").value, pinWhy: $("pinWhy").value };
    // Emptied before the answer: what is typed meanwhile is for the next one.
    for (const id of Object.keys(said)) $(id).value = "";
    const title = said.pinName.trim();
    const done = await this.bench.edit({ do: "pin", title, why: said.pinWhy });
    this.pinning = false;
    if (done) this.bench.tell(`Pinned${title ? `: ${title}` : ""}. You go on with "${this.bench.lookWords()}"; the pinned one stays as it is.`);
    else for (const [id, words] of Object.entries(said)) $(id).value ||= words;
  }

  move(n, by) {
    const names = this.pinned.map((l) => l.name);
    const [name] = names.splice(n, 1);
    names.splice(n + by, 0, name);
    this.bench.edit({ do: "order", names });
  }
}
