// From a dropped photo to a board: the sheet's marks or four corners, a grey card, the verdict.

import { $, el, fresh, refill } from "./dom.js";
import { kept, post, upload } from "./server.js";

const MOST = 120_000_000;
const EDITIONS = [["", "none"], ["before-2014", "made before November 2014"], ["after-2014", "made from November 2014 on"]];
const WHERE = ["top left", "top right", "bottom right", "bottom left"];

export class PhotoDesk {
  constructor(bench) {
    this.bench = bench;
    this.dialog = $("photo");
    this.dialog.addEventListener("close", () => { if (this.told) post("leave", { photo: this.told.photo }).catch(() => {}); this.told = null; });
    let depth = 0;
    const files = (event) => [...(event.dataTransfer?.types ?? [])].includes("Files");
    addEventListener("dragenter", (event) => { if (files(event)) { depth += 1; document.body.classList.add("dropping"); } });
    addEventListener("dragleave", () => { depth = Math.max(0, depth - 1); if (!depth) document.body.classList.remove("dropping"); });
    addEventListener("dragover", (event) => { if (files(event)) event.preventDefault(); });
    addEventListener("drop", (event) => {
      depth = 0;
      document.body.classList.remove("dropping");
      if (!files(event) || event.defaultPrevented) return;
      event.preventDefault();
      if (event.dataTransfer.files.length > 1) this.bench.say("One photo at a time: the first is taken.");
      this.take(event.dataTransfer.files[0]);
    });
  }

  async take(file) {
    if (!file || !this.bench.state?.parts) return;
    if (file.size > MOST) {
      this.bench.say(`${file.name} is larger than ${MOST / 1e6} MB. Export the photo as a JPEG, or make it smaller.`);
      return;
    }
    this.bench.tell(`Reading ${file.name} …`);
    const mine = (this.takes = (this.takes ?? 0) + 1);
    const told = await this.bench.doing(() => upload(file));
    if (!told || mine !== this.takes) return; // or another was dropped meanwhile
    this.bench.tell("");
    this.told = told;
    this.corners = [];
    this.grey = null;
    this.pointing = null;
    this.found = null;
    this.busy = false;
    this.actual = true;
    this.byHands = false;
    this.trouble = "";
    this.name = told.name.replace(/\.[^.]*$/, "");
    this.wood = "";
    this.size = ["", ""];
    this.second = null;
    this.target = "";
    this.fill();
    if (!this.dialog.open) this.dialog.showModal();
    await this.measure(false); // with the printed sheet beside the board, nothing more is needed
  }

  /** The same board, lit from its other end. */
  async takeSecond(file) {
    if (!file || this.busy) return;
    const { told } = this;
    const large = `${file.name} is larger than ${MOST / 1e6} MB. Export the photo as a JPEG, or make it smaller.`;
    this.busy = true;
    this.trouble = "";
    this.fill();
    try {
      if (file.size > MOST) throw new Error(large);
      const second = await upload(file, told.photo);
      if (told !== this.told) return;
      this.second = second;
    } catch (error) {
      if (told !== this.told) return;
      this.trouble = error.message;
      this.busy = false;
      this.fill();
      return;
    }
    await this.measure(this.byHands);
  }

  async measure(byHand) {
    const { told } = this;
    if (!told) return;
    this.byHands = byHand;
    this.busy = true;
    this.trouble = "";
    this.fill();
    try {
      const size = this.size.map(Number);
      const asked = { photo: told.photo, grey: this.grey, target: this.target, second: Boolean(this.second), ...(byHand ? { corners: this.corners } : {}), ...(size[0] && size[1] ? { size } : {}) };
      const found = await post("measure", asked);
      if (told !== this.told) return; // left, or another is there
      this.found = found;
    } catch (error) {
      if (told !== this.told) return;
      this.found = null;
      this.trouble = byHand || this.grey || this.second || this.target ? error.message : `The printed strips were not found by themselves: ${error.message}`;
      this.pointing = this.pointing ?? "corners";
    }
    this.busy = false;
    this.fill();
  }

  fill() {
    if (!this.told) return;
    const field = (label, key, value, set, about = {}) => {
      const id = about.id ?? fresh("field");
      const input = el("input", { type: "text", id, "data-key": key, oninput: () => set(input.value), ...about });
      input.value = value;
      return el("span", { class: "row" }, el("label", { for: id, text: label }), input);
    };
    const status = this.keeping ? "Writing the board …" : this.busy ? "Measuring the board …" : this.trouble;
    refill(this.dialog, el("h2", { id: "photoTitle", text: this.found ? "The board in the photo" : `Find the board in ${this.told.name}` }),
      el("p", { role: "status", class: this.trouble ? "warn" : null, text: status }),
      this.found ? this.verdict(field) : this.byHand(field),
      this.more(),
      el("div", { class: "row" },
        this.found ? el("button", { class: "main", "data-key": "keep", disabled: this.busy, onclick: () => this.keep() }, "Put it on the bench") : null,
        this.found ? el("button", { "data-key": "again", disabled: this.busy, onclick: () => { this.found = null; this.pointing = "corners"; this.fill(); } }, "Mark it by hand instead") : null,
        el("button", { "data-key": "leave", onclick: () => this.dialog.close() }, "Leave it")));
    if (!this.found) this.hands();
  }

  /** What else it can be measured by: a second photo, a target of known colours. */
  more() {
    const file = fresh("second");
    const target = fresh("target");
    const select = el("select", { id: target, "data-key": "target", disabled: this.busy, onchange: () => { this.target = select.value; this.measure(this.byHands); } },
      EDITIONS.map(([value, text]) => el("option", { value, text })));
    select.value = this.target;
    const zone = el("div", { class: "drop" }, this.second ?
      el("div", { class: "row" }, el("span", { text: `Second photo: ${this.second.name}` }),
        el("button", { class: "plain", "data-key": "no second", disabled: this.busy, onclick: () => { this.second = null; this.measure(this.byHands); } }, "Go on without it")) :
      [el("label", { for: file, text: "A second photo, the board and the strips untouched and the lamp at its right end instead of its left: " }),
        el("input", { type: "file", id: file, "data-key": "second", disabled: this.busy, accept: "image/*,.tif,.tiff,.heic,.dng", onchange: (event) => { const [one] = event.target.files; event.target.value = ""; this.takeSecond(one); } })]);
    zone.addEventListener("drop", (event) => { if (!event.dataTransfer.files.length) return; event.preventDefault(); this.takeSecond(event.dataTransfer.files[0]); });
    return el("details", { class: "more", open: this.opened, ontoggle: (event) => { this.opened = event.target.open; } }, el("summary", { "data-key": "more", text: "A second photo, a colour target" }),
      el("div", { class: "group" }, zone, el("p", { class: "quiet", text: "Both together take the glare out and measure how the figure turns with the light. The printed strips must lie beside the board." }),
        el("div", { class: "row" }, el("label", { for: target, text: "24-patch target in the photo" }), select)));
  }

  actualBox() {
    const id = fresh("actual");
    const box = el("input", { type: "checkbox", id, "data-key": "actual", onchange: () => { this.actual = box.checked; } });
    box.checked = this.actual ?? true;
    this.actual = box.checked;
    return el("label", { for: id }, box, "This very board will be used");
  }

  verdict(field) {
    const f = this.found;
    return el("div", { class: "found" }, el("div", {}, el("div", { class: "row" },
      field("What you call it", "name", this.name, (v) => { this.name = v; }), field("Its wood", "woodname", this.wood, (v) => { this.wood = v; }, { placeholder: "flame maple", id: "woodName" }),
      this.actualBox()),
    el("p", { text: `${f.size[0]} × ${f.size[1]} mm, mean L* ${f.lab[0]} a* ${f.lab[1]} b* ${f.lab[2]}` }),
      f.done.length ? el("p", { class: "quiet", text: `Done: ${f.done.join("; ")}.` }) : null,
      el("ul", { class: "findings" }, f.findings.map((one) => el("li", {}, el("b", { text: one.level }), `${one.found} ${one.advice}`)))),
    el("img", { class: "verdict", src: kept(f.picture), alt: "What was found in the photo, drawn: the strips, the light that was taken off, the board, and what of it can be used" }));
  }

  byHand(field) {
    const marks = [...this.corners.map((c, n) => [c, String(n + 1), `Corner ${n + 1}, ${WHERE[n]}`]), ...(this.grey ? [[this.grey, "G", "Grey card"]] : [])];
    const next = this.pointing === "grey" ? "Click the grey card." : this.corners.length < 4 ? `Click the board's corner at the ${WHERE[this.corners.length]}.` : "All four corners are marked. Arrow keys move a mark.";
    return [el("p", { id: "next", text: next }),
      el("div", { class: "sheet" }, el("img", { src: kept(this.told.picture), alt: `The photo ${this.told.name}`, id: "sheetPhoto", draggable: "false" }),
        marks.map(([at, text, label], n) => {
          const mark = el("button", { class: "mark", "aria-label": `${label}. Arrow keys move it.`, "data-key": `mark ${n}`, "data-n": text }, text);
          mark.style.left = `${at[0] * 100}%`;
          mark.style.top = `${at[1] * 100}%`;
          return mark;
        })),
      el("div", { class: "row" },
        el("button", { "data-key": "corners", "aria-pressed": String(this.pointing !== "grey"), onclick: () => { this.pointing = "corners"; if (this.corners.length === 4) this.corners = []; this.fill(); } }, "Mark the four corners"),
        el("button", { "data-key": "centre", disabled: this.corners.length >= 4 && this.pointing !== "grey", onclick: () => this.point([0.5, 0.5]) }, "Set a mark in the middle, to move by keys"),
        el("button", { "data-key": "grey", "aria-pressed": String(this.pointing === "grey"), onclick: () => { this.pointing = "grey"; this.fill(); } }, "Click a grey card")),
      el("div", { class: "row" }, field("The board is, in mm: wide", "wide", this.size[0], (v) => { this.size[0] = v; }, { inputmode: "decimal", size: "6", id: "boardWide" }),
        field("high", "high", this.size[1], (v) => { this.size[1] = v; }, { inputmode: "decimal", size: "6", id: "boardHigh" })),
      el("div", { class: "row" }, el("button", { class: "main", "data-key": "measure", disabled: this.busy, onclick: () => this.measure(this.corners.length > 0) }, this.corners.length ? "Find the board between the corners" : "Look for the printed strips"))];
  }

  point(at) {
    const inside = at.map((v) => Math.min(1, Math.max(0, v)));
    if (this.pointing === "grey") { this.grey = inside; this.pointing = "corners"; }
    else if (this.corners.length < 4) this.corners.push(inside);
    else return;
    this.fill();
  }

  hands() {
    const sheet = this.dialog.querySelector(".sheet");
    const image = this.dialog.querySelector("#sheetPhoto");
    const at = (event) => { const box = image.getBoundingClientRect(); return [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height]; };
    sheet.addEventListener("click", (event) => { if (!event.target.matches(".mark")) this.point(at(event)); });
    for (const mark of sheet.querySelectorAll(".mark")) {
      const set = (to) => {
        const inside = to.map((v) => Math.min(1, Math.max(0, v)));
        if (mark.dataset.n === "G") this.grey = inside; else this.corners[Number(mark.dataset.n) - 1] = inside;
        mark.style.left = `${inside[0] * 100}%`;
        mark.style.top = `${inside[1] * 100}%`;
      };
      const now = () => (mark.dataset.n === "G" ? this.grey : this.corners[Number(mark.dataset.n) - 1]);
      mark.addEventListener("pointerdown", (event) => mark.setPointerCapture(event.pointerId));
      mark.addEventListener("pointermove", (event) => { if (mark.hasPointerCapture(event.pointerId)) set(at(event)); });
      mark.addEventListener("keydown", (event) => {
        const step = (event.shiftKey ? 20 : 2) / this.told.shown[0];
        const by = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
        if (by) { event.preventDefault(); set([now()[0] + by[0], now()[1] + by[1]]); }
      });
    }
  }

  async keep() {
    if (this.busy) return;
    const { told } = this;
    this.busy = this.keeping = true;
    this.trouble = "";
    this.fill();
    try {
      const wish = { photo: told.photo, name: this.name, wood: this.wood, actual: this.actual ?? true, part: this.bench.part };
      await this.bench.commit();
      await this.bench.inTurn(() => post("keep", wish));
      if (told === this.told) {
        this.told = null;
        this.dialog.close();
      }
      await this.bench.load();
      this.bench.readLibrary();
    } catch (error) {
      if (told === this.told) this.trouble = error.message;
    }
    this.keeping = false;
    if (told === this.told || !this.told) this.busy = false;
    this.fill();
  }
}
