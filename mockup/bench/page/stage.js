// The large picture: what of the instrument it shows, how it comes, and what it is compared with.

import { $ } from "./dom.js";
import { Away, Refused, keptPicture, picture, post } from "./server.js";

const MOVING = 1_120_000; // pixels of a picture while something moves: 1600 x 700
const ROUGH = 560_000; // and while the wood itself does: every picture of it begins with the board
const MOST = 8_000_000;
const SETTLE = 220; // ms of quiet before the picture is drawn at every pixel of the screen

/** Where a point of the drawing lies on the page's plane (mm): neck to the left, or as drawn. */
const shownPoint = (lying, x, y) => (lying ? [y, -x] : [x, y]);
const drawnPoint = (lying, u, v) => (lying ? [-v, u] : [u, v]);

export class Stage {
  /** @param bench what the page knows: state, look, part, tries; its methods tell of problems. */
  constructor(bench) {
    this.bench = bench;
    this.canvas = $("picture");
    this.pen = this.canvas.getContext("2d", { alpha: false });
    this.side = "front";
    this.lying = true;
    this.surround = "grey";
    this.view = null; // {u, v} of the middle, s in CSS pixels per mm
    this.main = null; // {bitmap, u, v, s} as last drawn; u, v of its upper left corner
    this.other = null;
    this.holding = false;
    this.flying = 0;
    this.sent = 0;
    this.drawn = 0;
    this.wanted = false;
    this.frames = null;
    this.turns = 0; // how often pictures of the lamp would have been out of date
    this.slide = null; // set by the wood: {start(x, y), move(dx, dy, x), end()} in drawing mm
    this.pxPerMm = Number(localStorage.getItem("pxPerMm")) || 96 / 25.4;
    new ResizeObserver(() => this.resized()).observe($("view"));
    this.hands();
  }

  get size() { return [$("view").clientWidth, $("view").clientHeight]; }

  // -- what is shown

  /** The box of the side shown with the margin round it, on the page's plane. */
  box() {
    const state = this.bench.state;
    const side = state.sides[this.side] ? this.side : Object.keys(state.sides)[0];
    this.side = side;
    const [x0, y0, x1, y1] = state.sides[side];
    const m = state.margin;
    const [a, b] = shownPoint(this.lying, x0, y0);
    const [c, d] = shownPoint(this.lying, x1, y1);
    return [Math.min(a, c) - m, Math.min(b, d) - m, Math.max(a, c) + m, Math.max(b, d) + m];
  }

  showAll() {
    if (!this.bench.state?.sides) return; // nothing is known of it yet
    const [w, h] = this.size;
    const [u0, v0, u1, v1] = this.box();
    this.view = { u: (u0 + u1) / 2, v: (v0 + v1) / 2, s: Math.min(w / (u1 - u0), h / (v1 - v0)), all: true };
    this.moved();
  }

  zoom(factor, at = null) {
    if (!this.view) return;
    const [w, h] = this.size;
    const [px, py] = at ?? [w / 2, h / 2];
    const { u, v, s } = this.view;
    const next = Math.min(Math.max(s * factor, 0.15), 40);
    const k = 1 / s - 1 / next;
    this.view = { u: u + (px - w / 2) * k, v: v + (py - h / 2) * k, s: next };
    this.moved();
  }

  trueSize() {
    if (!this.view) return;
    this.zoom(this.pxPerMm / this.view.s);
    this.view.s = this.pxPerMm;
  }

  pan(dx, dy) {
    this.view = { ...this.view, u: this.view.u - dx / this.view.s, v: this.view.v - dy / this.view.s, all: false };
    this.moved();
  }

  moved() {
    this.dropFrames();
    this.paint();
    this.ask();
  }

  resized() {
    const [w, h] = this.size;
    const ratio = devicePixelRatio || 1;
    this.canvas.width = Math.max(1, Math.round(w * ratio));
    this.canvas.height = Math.max(1, Math.round(h * ratio));
    if (!this.bench.state?.sides || w < 8 || h < 8) return;
    if (!this.view || this.view.all) this.showAll();
    else this.moved();
  }

  // -- pictures come

  /** What to ask of the server for the view as it is now. */
  wish(exact) {
    const [w, h] = this.size;
    const ratio = devicePixelRatio || 1;
    const limit = exact ? MOST : this.bench.wood.dragging ? ROUGH : MOVING;
    const fine = Math.min(1, Math.sqrt(limit / (w * h * ratio * ratio))) * ratio;
    const { u, v, s } = this.view;
    const [u0, v0] = [u - w / 2 / s, v - h / 2 / s];
    const size = [Math.max(8, Math.round(w * fine)), Math.max(8, Math.round(h * fine))];
    const scale = s * fine;
    const [x, y] = drawnPoint(this.lying, u0, v0);
    const origin = this.lying ? [x - size[1] / scale, y] : [x, y];
    return { ask: { side: this.side, origin, scale, size, lying: this.lying, surround: this.surround, exact },
             place: { u: u0, v: v0, mm: [size[0] / scale, size[1] / scale] } };
  }

  /** Have a new picture; while two are on their way the newest wish waits, and older ones are never sent. */
  ask() {
    const [w, h] = this.size;
    if (!this.view || this.bench.state.problems.length || w < 8 || h < 8) return;
    this.changed = performance.now();
    if (this.flying >= 2) { this.wanted = true; return; }
    this.fetch(false);
    clearTimeout(this.settling);
    this.settling = setTimeout(() => this.settle(), SETTLE);
  }

  /** Whether what is shown is all that there is to show. */
  get quiet() { return this.ready && !this.flying && !this.wanted && !this.settling; }

  settle() {
    this.settling = null;
    if (this.flying) { this.settling = setTimeout(() => this.settle(), 60); return; }
    this.fetch(true);
    if (this.other?.source) this.fetchOther(true);
  }

  async fetch(exact) {
    const seq = (this.sent += 1);
    const { ask, place } = this.wish(exact);
    const first = !this.main;
    this.flying += 1;
    try {
      const made = await picture({ ...ask, name: "main", look: this.bench.look, try: this.bench.tries, rough: !exact && Boolean(this.bench.wood.dragging), sketch: first && !exact,
                                   ...(first ? { size: ask.size.map((n) => Math.round(n / 2)), scale: ask.scale / 2 } : {}) });
      if (made && seq > this.drawn && ask.side === this.side && ask.lying === this.lying) { // or the instrument was turned meanwhile
        this.drawn = seq;
        this.main = { bitmap: made.bitmap, ...place };
        this.paint();
        this.bench.fine();
        if (!first && !this.ready) { this.ready = true; this.bench.ready(); }
        const waited = performance.now();
        requestAnimationFrame(() => {
          this.canvas.dataset.shown = seq;
          this.canvas.dataset.exact = exact;
          this.canvas.dispatchEvent(new CustomEvent("shown", { detail: { seq, exact, at: waited } }));
        });
      }
    } catch (error) {
      if (error instanceof Refused) {
        this.bench.refused(error, true);
        // Without a picture, too, the rest of the page must be there: to put right what keeps it from being drawn.
        if (!this.ready) { this.ready = true; this.bench.ready(); }
      } else if (!(error instanceof Away)) throw error;
    } finally {
      this.flying -= 1;
      if (this.wanted) {
        this.wanted = false;
        this.ask();
      } else if (first && this.main) {
        // Shown first, and only then made better: both take the machine's whole strength.
        requestAnimationFrame(() => setTimeout(() => this.ask()));
      }
    }
  }

  // -- comparing

  /** Compare with a look, the saved scene ("saved"), or nothing (null). */
  compare(source) {
    this.other = source ? { source } : null;
    $("hold").disabled = $("splitting").disabled = !source;
    if (!source) { $("splitting").checked = false; this.hold(false); }
    this.split();
    if (source) this.fetchOther(true);
    this.paint();
  }

  /** The file was saved, or another look is there: "as it was saved" is something else now. */
  savedAnew() { if (this.other?.source.as) this.compare(this.other.source); }

  async fetchOther(exact) {
    const source = this.other.source;
    const { ask, place } = this.wish(exact);
    const seq = (this.others = (this.others ?? 0) + 1);
    try {
      const made = await picture({ ...ask, name: "other", ...source, ...(source.as && { look: this.bench.look }) });
      if (made && seq === this.others && this.other?.source === source) {
        Object.assign(this.other, { bitmap: made.bitmap, ...place });
        this.paint();
        this.canvas.dataset.compared = source.words;
      }
    } catch (error) {
      if (!(error instanceof Refused)) return;
      // Said once: with every further picture it would only be refused again.
      if (this.other?.source === source) { $("other").value = ""; this.compare(null); }
      this.bench.refused(error);
    }
  }

  hold(on) {
    if (this.holding === on || (on && !this.other?.bitmap)) return;
    this.holding = on;
    $("hold").setAttribute("aria-pressed", on);
    this.which();
    this.paint();
  }

  split() {
    $("splitter").hidden = !($("splitting").checked && this.other);
    this.which();
    this.paint();
  }

  which() {
    const splitting = !$("splitter").hidden;
    const [left, right] = this.holding ? [this.other.source.words, ""] : splitting ? [this.bench.lookWords(), this.other.source.words] : ["", ""];
    for (const [id, words] of [["which", left], ["whichRight", right]]) {
      $(id).textContent = words;
      $(id).hidden = !words;
    }
  }

  // -- the lamp

  async moveLamp() {
    const { ask, place } = this.wish(false);
    const turn = this.turns;
    const half = { size: ask.size.map((n) => Math.max(8, Math.round(n * 0.85))), scale: ask.scale * 0.85 };
    const found = await post("tilt", { ...ask, ...half, look: this.bench.look, try: this.bench.tries });
    if (!found) return;
    const bitmaps = await Promise.all(found.frames.map(keptPicture));
    if (turn !== this.turns) { // they would hide what is there now
      this.bench.tell("The picture has changed since: move the lamp again.");
      return;
    }
    this.frames = { bitmaps, ...place };
    $("lamp").max = bitmaps.length - 1;
    $("lamp").value = Math.floor(bitmaps.length / 2);
    document.querySelector(".lamp").hidden = false;
    this.bench.tell(`The figure moves as the fibres lie: ${found.words.join("; ")}.`);
    this.paint();
    const at = document.activeElement;
    if (at === document.body || at === $("tilt")) $("lamp").focus(); // whoever went on elsewhere is left there
  }

  dropFrames() {
    this.turns += 1;
    if (!this.frames) return;
    this.frames = null;
    if (document.activeElement === $("lamp")) $("tilt").focus({ preventScroll: true });
    document.querySelector(".lamp").hidden = true;
  }

  // -- drawing

  paint() {
    const { pen, canvas } = this;
    const [w, h] = this.size;
    pen.setTransform(1, 0, 0, 1, 0, 0);
    pen.fillStyle = getComputedStyle($("view")).backgroundColor;
    pen.fillRect(0, 0, canvas.width, canvas.height);
    if (!this.view) return;
    const k = canvas.width / w;
    pen.imageSmoothingQuality = this.bench.wood?.dragging ? "low" : "high"; // soft for a moment is better than late
    const lay = (shot) => {
      if (!shot?.bitmap) return;
      const { s, u, v } = this.view;
      const x = ((shot.u - u) * s + w / 2) * k;
      const y = ((shot.v - v) * s + h / 2) * k;
      const [bw, bh] = [shot.mm[0] * s * k, shot.mm[1] * s * k];
      // At its own size a picture is laid pixel on pixel.
      const own = Math.abs(bw - shot.bitmap.width) < 1 && Math.abs(bh - shot.bitmap.height) < 1;
      if (own) pen.drawImage(shot.bitmap, Math.round(x), Math.round(y));
      else pen.drawImage(shot.bitmap, x, y, bw, bh);
    };
    if (this.frames) {
      lay({ ...this.frames, bitmap: this.frames.bitmaps[Number($("lamp").value)] });
      return;
    }
    lay(this.holding ? this.other : this.main);
    if (!$("splitter").hidden && this.other?.bitmap) {
      const at = Math.round((Number($("split").value) / 100) * canvas.width);
      pen.save();
      pen.beginPath();
      pen.rect(at, 0, canvas.width - at, canvas.height);
      pen.clip();
      lay(this.other);
      pen.restore();
      pen.fillStyle = "#fff";
      pen.fillRect(at - k, 0, 2 * k, canvas.height);
      pen.fillStyle = "#000";
      pen.fillRect(at + k, 0, k, canvas.height);
    }
  }

  // -- hands

  /** The drawing point (mm) under a point of the canvas. */
  under(px, py) {
    const [w, h] = this.size;
    const { u, v, s } = this.view;
    return drawnPoint(this.lying, u + (px - w / 2) / s, v + (py - h / 2) / s);
  }

  partAt(px, py) {
    let [x, y] = this.under(px, py);
    const state = this.bench.state;
    if (this.side === "back") x = 2 * state.centre - x;
    for (const part of state.parts) {
      if (part.side !== "both" && part.side !== this.side) continue;
      const path = new Path2D();
      for (const ring of part.rings) {
        ring.forEach(([a, b], n) => (n ? path.lineTo(a, b) : path.moveTo(a, b)));
        path.closePath();
      }
      if (this.pen.isPointInPath(path, x, y, "evenodd")) return part;
    }
    return null;
  }

  hands() {
    const { canvas } = this;
    const points = new Map();
    let far = 0;
    let sliding = false;
    canvas.addEventListener("pointerdown", (event) => {
      if (!this.view || event.button !== 0) return;
      canvas.setPointerCapture(event.pointerId);
      if (sliding && far) this.slide?.end(); // a second finger: the wood stays where the first has moved it
      points.set(event.pointerId, [event.offsetX, event.offsetY]);
      far = 0;
      const part = this.partAt(event.offsetX, event.offsetY);
      sliding = points.size === 1 && this.slide !== null && this.side === "front" && part?.name === this.bench.part;
    });
    canvas.addEventListener("pointermove", (event) => {
      const before = points.get(event.pointerId);
      if (!before) return;
      const now = [event.offsetX, event.offsetY];
      const [dx, dy] = [now[0] - before[0], now[1] - before[1]];
      if (points.size === 2) {
        const [id] = [...points.keys()].filter((key) => key !== event.pointerId);
        const still = points.get(id);
        const apart = (p) => Math.hypot(p[0] - still[0], p[1] - still[1]);
        this.zoom(apart(now) / Math.max(apart(before), 1), still);
      } else if (sliding) {
        const [a, b] = this.under(...before);
        const [c, d] = this.under(...now);
        this.slide.move(c - a, d - b, c);
      } else {
        this.pan(dx, dy);
      }
      far += Math.abs(dx) + Math.abs(dy);
      points.set(event.pointerId, now);
    });
    const end = (event) => {
      if (!points.delete(event.pointerId)) return;
      if (sliding && far) this.slide?.end();
      sliding = false;
      if (far < 4 && event.type === "pointerup") {
        const part = this.partAt(event.offsetX, event.offsetY);
        if (part) this.bench.choosePart(part.name);
      }
    };
    canvas.addEventListener("pointerup", end);
    canvas.addEventListener("pointercancel", end);
    canvas.addEventListener("lostpointercapture", end);
    canvas.addEventListener("wheel", (event) => {
      if (!this.view) return;
      event.preventDefault();
      this.zoom(Math.exp(-event.deltaY * (event.ctrlKey ? 0.01 : 0.0016)), [event.offsetX, event.offsetY]);
    }, { passive: false });
    canvas.addEventListener("keydown", (event) => {
      if (!this.view || event.ctrlKey || event.metaKey || event.altKey) return;
      const step = event.shiftKey ? 200 : 50;
      const act = {
        ArrowLeft: () => this.pan(step, 0), ArrowRight: () => this.pan(-step, 0), ArrowUp: () => this.pan(0, step), ArrowDown: () => this.pan(0, -step),
        "+": () => this.zoom(1.25), "=": () => this.zoom(1.25), "-": () => this.zoom(0.8), 0: () => this.showAll(), 1: () => this.trueSize(),
      }[event.key];
      if (act) { event.preventDefault(); act(); }
    });
    // Held anywhere but in a field of text.
    const typing = (node) => node.matches?.('input[type="text"], input[type="number"], textarea, select');
    addEventListener("keydown", (event) => {
      if (event.key.toLowerCase() === "c" && !event.ctrlKey && !event.metaKey && !typing(event.target)) this.hold(true);
    });
    addEventListener("keyup", (event) => { if (event.key.toLowerCase() === "c") this.hold(false); });
    addEventListener("blur", () => this.hold(false)); // of the window: the key is let go where nobody hears it
    const hold = $("hold");
    hold.addEventListener("pointerdown", () => this.hold(true));
    for (const kind of ["pointerup", "pointerleave", "blur"]) hold.addEventListener(kind, () => this.hold(false));
    hold.addEventListener("keydown", (event) => { if (event.key === " " || event.key === "Enter") this.hold(true); });
    hold.addEventListener("keyup", () => this.hold(false));
    $("splitting").addEventListener("change", () => this.split());
    $("split").addEventListener("input", () => this.paint());
    $("lamp").addEventListener("input", () => this.paint());
  }
}
