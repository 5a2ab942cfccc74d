// Wood: which board, where on it the part is cut, one piece or two, and the best places.

import { $, el, fresh, plain, refill, slider } from "./dom.js";
import { board as fetchBoard, kept, post } from "./server.js";
import { cutWords } from "./words.js";

const MOST_BOARDS = 12; // pictures of boards held
const plainTurn = (turn) => ((((turn + 180) % 360) + 360) % 360) - 180;

export class Wood {
  constructor(bench) {
    this.bench = bench;
    this.boards = new Map(); // name and file to its picture
    this.places = null;
    this.sliding = false;
  }

  said() {
    const part = this.bench.partState;
    const board = this.bench.state.boards.find((b) => b.name === part.board);
    return { wood: `${this.bench.partState.title}: ${board?.wood ?? ""}, ${cutWords[part.cut]}` };
  }

  /** Where the part lies, with what is tried. */
  get place() {
    const mine = this.bench.tries[this.bench.part] ?? {};
    return { at: mine.at ?? this.bench.work.at, turn: mine.turn ?? this.bench.work.turn };
  }

  get joint() { return this.bench.tries[this.bench.part]?.joint ?? this.bench.partState.joint; }

  /** What the picture of the board in use is kept under. */
  get key() { return `${this.boardName} ${this.bench.state.boards.find((b) => b.name === this.boardName)?.file} ${this.bench.state.files}`; }

  /** What places are found for: they mean nothing on another board, or of another cut. */
  get cutting() { const part = this.bench.partState; return JSON.stringify([part.name, this.key, part.cut, part.joint]); }

  get boardName() { return this.bench.work.board; }

  fill() {
    if (this.dragging || (document.activeElement?.type === "range" && (this.bench.pending || this.bench.keeping || this.bench.grip))) { this.draw(); return; }
    const { state, library } = this.bench;
    const part = this.bench.partState;
    const own = state.boards.map((b) => this.choice(`board ${b.name}`, `/api/board/${encodeURIComponent(b.name)}?files=${state.files}`, b.wood,
      b.library ? `${b.file.replace(/\.[a-z]+$/, "")}` : `${b.actual ? "this very board" : "stands for its kind"}, ${b.size.map((v) => plain(v, 0)).join(" × ")} mm`,
      b.name === this.boardName, () => this.bench.edit({ do: "wood", part: part.name, board: b.name, words: `${part.title}: ${b.wood}` })));
    const used = new Set(state.boards.filter((b) => b.library).map((b) => b.file.replace(/\.[a-z]+$/, "")));
    const more = library.woods.filter((w) => !used.has(w.name)).map((w) => this.choice(`wood ${w.name}`, `/api/wood/${w.name}`, w.wood, w.cut, false,
      () => this.bench.edit({ do: "wood", part: part.name, texture: w.name, words: `${part.title}: ${w.wood}` })));
    const file = fresh("file");
    const cut = fresh("cut");
    const aim = fresh("aim");
    const place = this.place;
    this.size = state.boards.find((b) => b.name === this.boardName)?.size ?? [600, 300];
    const number = (label, key, value, set) => {
      const id = fresh("number");
      const input = el("input", { type: "number", id, step: "any", "data-key": key, onchange: () => (input.value === "" ? this.fill() : set(Number(input.value))) }); // nothing, or no number, is not zero
      input.value = plain(value, 1);
      return el("span", { class: "row" }, el("label", { for: id, text: label }), input);
    };
    refill($("wood-work"),
      el("div", { class: "group" }, el("h3", { text: `Board for the ${part.title.toLowerCase()}` }), el("div", { class: "choices", role: "group", "aria-label": "Boards", "data-scroll": "boards" }, own, more),
        el("p", { class: "drop" }, el("label", { for: file, text: "Drop the photo of a board anywhere on this page, or choose it: " }),
          el("input", { type: "file", id: file, "data-key": "file", accept: "image/*,.tif,.tiff,.heic,.dng", onchange: (event) => { const [one] = event.target.files; event.target.value = ""; if (one) this.bench.photos.take(one); } }))),
      el("div", { class: "group" }, el("h3", { text: "Where it is cut" }),
        el("div", { id: "mapBox" }, el("canvas", { id: "map", tabindex: "0", role: "img", "data-key": "map", "aria-label": `The ${part.title.toLowerCase()} on its board. Arrow keys move it by a millimetre, with shift by ten; comma and full stop turn it.` }),
          part.cut === "single" ? null : el("div", { id: "jointHandle", tabindex: "0", role: "slider", "data-key": "joint line", "aria-label": "Joint line. Arrow keys move it by a millimetre, with shift by ten.",
            "aria-valuemin": plain(part.bounds[0], 1), "aria-valuemax": plain(part.bounds[2], 1), title: "Drag the joint line" })),
        el("div", { class: "row" }, number("Across, mm", "x", place.at[0], (v) => this.set([v, this.place.at[1]], this.place.turn, true)),
          number("Down, mm", "y", place.at[1], (v) => this.set([this.place.at[0], v], this.place.turn, true))),
        slider({ label: "Turn", min: -180, max: 180, step: 0.5, value: Math.abs(place.turn) > 180 ? plainTurn(place.turn) : place.turn, key: "turn", words: (v) => `${plain(v, 1)}°`,
          oninput: (v) => this.set(this.place.at, v, false), onchange: (v) => this.set(this.place.at, v, true) }),
        el("label", {}, this.slideBox(), "Drag the wood in the large picture")),
      el("div", { class: "group" }, el("h3", { text: "Pieces" }),
        el("div", { class: "row" }, el("label", { for: cut, text: "Cut" }), this.select(cut, "cut", Object.entries(cutWords), part.cut,
          (value) => this.bench.edit({ do: "cut", part: part.name, cut: value, words: `${part.title}: ${cutWords[value]}` })),
        part.cut === "single" ? null : number("Joint line at x, mm", "joint", this.joint, (v) => this.join(v, true))),
        el("h3", { text: "Best places" }),
        el("div", { class: "row" }, el("label", { for: aim, text: "Look for" }), this.select(aim, "aim", [["symmetric", "halves alike"], ["figure", "the strongest figure"], ["plain", "the quietest wood"]], this.aim ?? "symmetric", (v) => { this.aim = v; }),
          el("button", { "data-key": "find", onclick: () => this.find() }, this.finding ? "Looking …" : "Find five places")),
        this.places?.of === this.cutting ? el("div", { class: "choices" }, this.places.places.map((p, n) => el("button", { class: "choice", "data-key": `place ${n}`, onclick: () => this.set(p.at, p.turn, true) },
          el("img", { src: kept(p.picture), alt: "" }), `Place ${n + 1}`, el("small", { text: p.words })))) : null));
    this.hands();
    this.shown();
  }

  choice(key, src, name, small, on, act) {
    return el("button", { class: "choice", "data-key": key, "aria-pressed": String(on), onclick: act }, el("img", { src, alt: "", loading: "lazy" }), name, el("small", { text: small }));
  }

  select(id, key, options, value, act) {
    const made = el("select", { id, "data-key": key, onchange: () => act(made.value) }, options.map(([v, text]) => el("option", { value: v, text })));
    made.value = value;
    return made;
  }

  slideBox() {
    const box = el("input", { type: "checkbox", "data-key": "slide", onchange: () => this.slide(box.checked) });
    box.checked = this.sliding;
    return box;
  }

  /** Let a drag in the large picture move the wood under the outline. */
  slide(on) {
    this.sliding = on;
    $("picture").classList.toggle("wood", on);
    if (!on) this.dragging = false;
    this.bench.stage.slide = on ? {
      move: (dx, dy, x) => {
        const part = this.bench.partState;
        const mirrored = part.cut === "bookmatch" && x < this.joint;
        const [a, b] = this.turned(mirrored ? -dx : dx, dy);
        this.dragging = true;
        this.set([this.place.at[0] - a, this.place.at[1] - b], this.place.turn, false);
      },
      end: () => { this.dragging = false; this.set(this.place.at, this.place.turn, true); },
    } : null;
  }

  turned(dx, dy, turn = this.place.turn) {
    const t = (turn * Math.PI) / 180;
    return [Math.cos(t) * dx - Math.sin(t) * dy, Math.sin(t) * dx + Math.cos(t) * dy];
  }

  set(at, turn, end) {
    const part = this.bench.partState;
    const values = { at: at.map((v) => Math.round(v * 100) / 100), turn };
    const change = { do: "place", part: part.name, ...values, words: `${part.title}: moved on its board` };
    if (end) this.bench.done(part.name, values, change);
    else this.bench.trying(part.name, values, change);
    this.draw();
  }

  /** Move the joint line; the right piece stays where it is on the board. */
  join(to, end) {
    const part = this.bench.partState;
    const [x0, , x1] = part.bounds;
    const joint = Math.round(Math.min(x1 - 1, Math.max(x0 + 1, to)) * 100) / 100;
    if (!Number.isFinite(joint)) return;
    const [dx, dy] = this.turned(joint - this.joint, 0);
    const at = [this.place.at[0] + dx, this.place.at[1] + dy].map((v) => Math.round(v * 100) / 100);
    const change = { do: "cut", part: part.name, joint, at, words: `${part.title}: joint at ${plain(joint)} mm` };
    if (end) this.bench.done(part.name, { joint, at }, change);
    else this.bench.trying(part.name, { joint, at }, change);
    this.draw();
  }

  async find() {
    if (this.finding) return;
    this.finding = true;
    this.fill();
    const of = this.cutting;
    const title = this.bench.partState.title.toLowerCase();
    const found = await this.bench.doing(() => post("places", { part: this.bench.part, look: this.bench.look, aim: this.aim ?? "symmetric" }));
    if (found) this.places = { ...found, of };
    this.finding = false;
    if (!this.bench.state.boards) return; // cannot be read just now
    this.fill();
    if (found) this.bench.tell(`${found.places.length} places found for the ${title}.`);
  }

  // -- the outline on the board

  async shown() {
    const map = $("map");
    if (!map?.clientWidth || !this.bench.stage.ready || !this.bench.state.boards) return;
    const { key, boardName } = this;
    if (!this.boards.has(key)) {
      this.boards.set(key, null);
      const found = await this.bench.doing(() => fetchBoard(boardName));
      if (found) {
        this.boards.set(key, found);
        if (this.boards.size > MOST_BOARDS) this.boards.delete(this.boards.keys().next().value);
      } else this.boards.delete(key);
    }
    this.draw();
  }

  /** Draw the map with the next frame, however often it is asked for. */
  draw() {
    this.drawing ??= requestAnimationFrame(() => { this.drawing = null; this.lay(); });
  }

  lay() {
    const map = $("map");
    if (!map?.clientWidth || !this.bench.state.boards) return; // out of sight, or a scene that cannot be read just now
    const board = this.boards.get(this.key);
    if (!board) return;
    const ratio = devicePixelRatio || 1;
    const [w, h] = [map.clientWidth, map.clientHeight];
    if (map.width !== Math.round(w * ratio) || map.height !== Math.round(h * ratio)) { map.width = Math.round(w * ratio); map.height = Math.round(h * ratio); }
    const pen = map.getContext("2d");
    pen.resetTransform();
    pen.clearRect(0, 0, map.width, map.height);
    const [bw, bh] = board.size;
    // A tall board lies on its side: there is more room across.
    this.lies = bh > bw;
    const [shownW, shownH] = this.lies ? [bh, bw] : [bw, bh];
    const s = Math.min(w / shownW, h / shownH);
    this.scale = s;
    const turned = (on) => {
      on.setTransform(ratio * s, 0, 0, ratio * s, (ratio * (w - shownW * s)) / 2, (ratio * (h - shownH * s)) / 2);
      if (this.lies) on.transform(0, -1, 1, 0, 0, bw);
    };
    // The board does not change while the outline moves over it: it is made small once.
    if (board.small?.width !== map.width || board.small?.height !== map.height) {
      board.small = new OffscreenCanvas(map.width, map.height);
      const once = board.small.getContext("2d");
      once.imageSmoothingQuality = "high";
      turned(once);
      once.drawImage(board.bitmap, 0, 0, bw, bh);
    }
    pen.drawImage(board.small, 0, 0);
    turned(pen);
    const part = this.bench.partState;
    const { at, turn } = this.place;
    const joint = this.joint;
    const [ax, ay] = [part.cut === "single" ? part.anchor[0] : joint, part.anchor[1]];
    const on = (x, y) => { const [dx, dy] = this.turned(x - ax, y - ay, turn); return [at[0] + dx, at[1] + dy]; };
    const leaves = part.cut === "single" ? [(x, y) => on(x, y)] :
      [(x, y) => on(Math.max(x, joint), y), part.cut === "bookmatch" ? (x, y) => on(2 * joint - Math.min(x, joint), y + part.slip) :
        (x, y) => on(Math.min(x, joint) + joint - part.bounds[0], y + part.slip)];
    leaves.forEach((to, n) => {
      for (const [width, colour] of [[4, "#fff"], [1.8, "#000"]]) {
        pen.beginPath();
        for (const ring of part.rings) {
          ring.forEach(([x, y], i) => { const [a, b] = to(x, y); if (i) pen.lineTo(a, b); else pen.moveTo(a, b); });
          pen.closePath();
        }
        pen.lineWidth = width / s;
        pen.setLineDash(n ? [7 / s, 5 / s] : []);
        pen.strokeStyle = colour;
        pen.stroke();
      }
    });
    pen.setLineDash([]);
    const handle = $("jointHandle");
    if (!handle) return;
    const reach = 16 / s;
    const ends = [on(joint, part.bounds[1] - reach), on(joint, part.bounds[3] + reach)];
    for (const [width, colour] of [[5, "#fff"], [2.4, "#000"]]) {
      pen.beginPath();
      pen.moveTo(...ends[0]);
      pen.lineTo(...ends[1]);
      pen.lineWidth = width / s;
      pen.strokeStyle = colour;
      pen.stroke();
    }
    const seen = ([a, b]) => [(w - shownW * s) / 2 + s * (this.lies ? b : a), (h - shownH * s) / 2 + s * (this.lies ? bw - a : b)];
    const spots = ends.map(seen);
    const inside = ([a, b]) => a >= 15 && b >= 15 && a <= w - 15 && b <= h - 15;
    const [left, top] = spots.find(inside) ?? spots[0];
    handle.style.left = `${Math.min(w - 15, Math.max(15, left))}px`;
    handle.style.top = `${Math.min(h - 15, Math.max(15, top))}px`;
    handle.setAttribute("aria-valuenow", plain(joint, 1));
    handle.setAttribute("aria-valuetext", `${plain(joint, 1)} mm`);
  }

  hands() {
    const map = $("map");
    const shift = (dx, dy) => (this.lies ? [-dy, dx] : [dx, dy]); // of the map, as it lies, on the board
    let moved = false; // a click alone changes nothing
    map.addEventListener("pointerdown", (event) => { if (event.button !== 0) return; moved = false; map.setPointerCapture(event.pointerId); this.last = [event.clientX, event.clientY]; this.dragging = true; });
    map.addEventListener("pointermove", (event) => {
      if (!this.dragging || !this.last) return;
      const [dx, dy] = shift((event.clientX - this.last[0]) / this.scale, (event.clientY - this.last[1]) / this.scale);
      if (!dx && !dy) return;
      moved = true;
      this.last = [event.clientX, event.clientY];
      this.set([this.place.at[0] + dx, this.place.at[1] + dy], this.place.turn, false);
    });
    const end = () => { if (!this.last) return; this.last = null; this.dragging = false; if (moved) this.set(this.place.at, this.place.turn, true); };
    map.addEventListener("pointerup", end);
    map.addEventListener("pointercancel", end);
    const handle = $("jointHandle");
    if (handle) this.jointHands(handle, shift);
    map.addEventListener("keydown", (event) => {
      const step = event.shiftKey ? 10 : 1;
      const by = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
      const turn = { ",": -0.5, ".": 0.5 }[event.key];
      if (!by && !turn) return;
      event.preventDefault();
      const [dx, dy] = by ? shift(...by) : [0, 0];
      this.set([this.place.at[0] + dx, this.place.at[1] + dy], turn ? plainTurn(this.place.turn + turn) : this.place.turn, true);
    });
  }
  jointHands(handle, shift) {
    let from = null;
    let moved = false;
    handle.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      moved = false;
      handle.setPointerCapture(event.pointerId);
      from = [event.clientX, event.clientY, this.joint];
      this.dragging = true;
    });
    handle.addEventListener("pointermove", (event) => {
      if (!from || !moved && event.clientX === from[0] && event.clientY === from[1]) return;
      moved = true;
      const [a, b] = shift((event.clientX - from[0]) / this.scale, (event.clientY - from[1]) / this.scale);
      // Of the way of the hand only what goes across the joint counts.
      this.join(from[2] + this.turned(a, b, -this.place.turn)[0], false);
    });
    const end = () => { if (!from) return; from = null; this.dragging = false; if (moved) this.join(this.joint, true); };
    handle.addEventListener("pointerup", end);
    handle.addEventListener("pointercancel", end);
    handle.addEventListener("keydown", (event) => {
      const by = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1 }[event.key];
      if (!by) return;
      event.preventDefault();
      this.join(this.joint + by * (event.shiftKey ? 10 : 1), true);
    });
  }
}
