// The page: what it knows, what it is told, and which part of it shows what.

import { $, el, focusAgain, focusedAgain, refill } from "./dom.js";
import { Away, Refused, get, listen, post, tab } from "./server.js";
import { Stage } from "./stage.js";
import { Finish } from "./finish.js";
import { Wood } from "./wood.js";
import { Looks } from "./looks.js";
import { Approve } from "./approve.js";
import { PhotoDesk } from "./photo.js";
import { labWords } from "./words.js";

const EVERY = 800; // ms between what is kept of a movement that goes on
const SURROUNDS = {
  grey: "Mid grey: colours are seen as they are. Judge here.",
  light: "Light, as on a white wall: colours look darker and duller than they are.",
  dark: "Dark, as on a stage: colours look lighter and stronger than they are.",
};

/** What a change is of: of two of one kind the later has all of the earlier. */
const kindOf = ({ words, ...change }) => JSON.stringify([change.do, change.part, Object.keys(change).sort()]);

/** What of a state there is to see in the picture. */
const drawn = (state) => [state.looks, state.parts, state.boards, state.rest, state.files];
/** Words for all to see and hear; the same ones again would only be read out again. */
const setWords = (id, words) => { if ($(id).textContent !== words) $(id).textContent = words; };
/** Put options into a list; the same ones again would shut it under the hand. */
const offer = (select, options) => {
  const now = JSON.stringify(options);
  if (select.dataset.offered === now) return;
  select.dataset.offered = now;
  refill(select, options.map(([value, text]) => el("option", { value, text })));
};

class Bench {
  constructor() {
    this.state = null;
    this.library = { stains: [], films: [], woods: [], sheens: [] };
    this.look = null;
    this.part = null;
    this.tries = {};
    this.version = 0;
    this.station = "wood";
    this.gesture = 0;
    this.stage = new Stage(this);
    this.finish = new Finish(this);
    this.wood = new Wood(this);
    this.looks = new Looks(this);
    this.approve = new Approve(this);
    this.photos = new PhotoDesk(this);
    this.buttons();
    this.fields();
    this.stations();
  }

  // -- the state

  async load() {
    if (this.loading) { this.again = true; return; }
    this.loading = true;
    try {
      const state = await get("/api/state");
      if (!this.state || state.version >= this.version) this.take(state);
    } catch (error) {
      if (error instanceof Refused) this.refused(error);
    } finally {
      this.loading = false;
      if (this.again) { this.again = false; this.load(); }
    }
  }

  take(state) {
    const first = !this.state || this.state.problems.length > 0;
    const before = this.state;
    this.state = state;
    this.version = state.version;
    $("title").textContent = state.revision ? `${state.title}, revision ${state.revision}` : state.title;
    document.title = `${state.title} on the bench`;
    this.header();
    if (state.troubles.includes(this.said)) this.said = ""; // it is said as long as it lasts
    this.notices();
    if (before && state.heard > before.heard) this.tell(state.said);
    else if (state.troubles.length && $("told").textContent === state.said) this.tell(""); // it was true, and is no more
    const broken = state.problems.length > 0;
    $("broken").hidden = !broken;
    $("stage").hidden = $("ticket").hidden = broken;
    if (broken) { this.broken(); return; }
    if (!state.looks.some((l) => l.name === this.look)) this.look = (state.looks[1] ?? state.looks[0]).name;
    if (first && this.look === null) this.look = (state.looks[1] ?? state.looks[0]).name;
    if (!state.parts.some((p) => p.name === this.part)) this.part = (state.parts.find((p) => p.name === "top" || p.name === "body") ?? state.parts[0]).name;
    if (!this.pending) this.tries = {};
    this.fill();
    if (first) {
      this.stage.resized();
      if (!this.stage.ready) return; // the picture comes before all else: see ready()
      this.readLibrary();
    }
    else if (JSON.stringify(drawn(before)) !== JSON.stringify(drawn(state))) {
      this.stage.dropFrames();
      this.stage.ask();
      if (before.files !== state.files) this.readLibrary(); // stains are shown on the board as it is now
    } else if (before.dirty && !state.dirty) this.stage.savedAnew();
    this.colour(false);
  }

  /** The first whole picture is there: now the rest may be asked for. */
  ready() {
    this.readLibrary();
    this.colour(false);
    this.wood.shown();
    this.looks.shown();
  }

  get lookState() { return this.state.looks.find((l) => l.name === this.look); }
  get partState() { return this.state.parts.find((p) => p.name === this.part); }
  get work() { return this.lookState.parts[this.part]; }
  lookWords(name = this.look) { return this.state.looks?.find((l) => l.name === name)?.title ?? "as it stands"; }

  async readLibrary() {
    const { part } = this;
    // What keeps a board from being read is said with the picture of it.
    const library = await get(`/api/library?part=${encodeURIComponent(part ?? "")}`).catch((error) => { if (!(error instanceof Refused)) throw error; });
    if (!library || part !== this.part) return; // another part was chosen meanwhile, and its own answer is on the way
    this.library = library;
    this.fill();
  }

  /** Show the state in every part of the page; what a hand is on at this moment is left alone, and while words are typed into a field, all of it. */
  fill() {
    if (!this.state || this.state.problems.length) return; // and nothing can be shown
    this.due = Boolean(this.typing?.isConnected);
    if (this.due) return;
    this.typing = null;
    offer($("look"), this.state.looks.map((l) => [l.name ?? "", l.name === null ? "The scene as it stands" : l.title]));
    $("look").value = this.look ?? "";
    refill($("parts"), el("legend", { text: "Part" }), this.state.parts.map((p) => {
      const input = el("input", { type: "radio", name: "part", value: p.name, "data-key": `part ${p.name}`, onchange: () => this.choosePart(p.name) });
      input.checked = p.name === this.part;
      return el("label", {}, input, p.title);
    }));
    const others = this.state.looks.filter((l) => l.name !== this.look);
    const now = $("other").value;
    offer($("other"), [["", "nothing"], ["saved", "as it was saved"], ...others.map((l) => [`look ${l.name ?? ""}`, l.name === null ? "the scene as it stands" : l.title])]);
    $("other").value = [...$("other").options].some((o) => o.value === now) ? now : "";
    if ($("other").value !== now) this.stage.compare(null);
    else if (this.stage.other) this.stage.other.source.words = $("other").selectedOptions[0].textContent; // it may have another name by now
    this.stage.which();
    this.finish.fill();
    this.wood.fill();
    this.looks.fill();
    this.approve.fill();
    this.summaries();
    $("picture").setAttribute("aria-label", `${this.state.title}, ${this.lookWords()}, ${this.stage.side}. ${this.partState.title}: ${this.work.words}; ${this.work.sheenWords}.`);
  }

  header() {
    const s = this.state;
    setWords("saved", s.unsafe || (s.builtin ? `Built in: saving makes a copy in ${s.folder}` : s.dirty ? `${s.file}: not saved yet, but kept` : `${s.file}: saved`));
    for (const [id, word, what] of [["undo", "Undo", s.undo], ["redo", "Redo", s.redo]]) {
      $(id).disabled = what === null;
      $(id).textContent = what === null ? word : `${word}: ${what}`;
      $(id).title = $(id).textContent;
    }
    $("save").disabled = !s.dirty && !s.builtin;
  }

  // -- what the page is told

  notices() {
    const s = this.state ?? {};
    const all = [];
    if (s.found) all.push(["found", "Work that was not saved when the bench last ended is still here.",
      [["Take it up", () => this.takeUp("found")], ["Leave it", () => this.takeUp("leave")]]]);
    if (s.strange && s.dirty) all.push(["strange", `${s.file} was changed by another program, and you have changes of your own.`,
      [["Take the file as it is", () => this.takeUp("file")], ["Keep mine, and save over it", () => this.save(true)]]]);
    else if (s.strange) all.push(["strange", `${s.file} was changed by another program, and cannot be shown as it is now.`, [["Look again", () => this.takeUp("file")]]]);
    if (!s.problems?.length) for (const words of s.troubles ?? []) all.push(["trouble", words, []]);
    if (this.said) all.push(["said", this.said, [["I have read it", () => { this.said = ""; this.notices(); }]]]);
    const now = JSON.stringify(all.map(([key, words]) => [key, words]));
    if (this.noticed === now) return; // or all of it would be read out again
    this.noticed = now;
    refill($("notices"), all.map(([key, words, acts]) => el("div", { class: "notice", id: `notice-${key}` }, el("p", { text: words }),
      acts.map(([label, act]) => el("button", { onclick: act, "data-key": `${key} ${label}` }, label)))));
  }

  /** Something is done: said for a while beside the title. */
  tell(words) {
    setWords("told", words);
    clearTimeout(this.telling);
    this.telling = setTimeout(() => { $("told").textContent = ""; }, 9000);
  }

  /** Something must be known: it stays until it is read. */
  say(words, passing = false) {
    this.said = words;
    this.problem = passing;
    this.notices();
  }

  /** Something was not possible: say why. What a picture lacked is over with the next picture; all else stays until it is read. */
  refused(error, passing = false) {
    if (passing && this.said && !this.problem) return; // what must be read is not pushed aside by what passes
    if (this.state?.troubles?.includes(error.message)) return; // it is there to be read already
    this.say(error.message, passing);
  }

  /** A picture came, so what was refused before is over. */
  fine() {
    if (this.problem) this.say("");
  }

  broken() {
    const s = this.state;
    refill($("broken"), el("h2", { text: `${s.file} cannot be drawn yet` }),
      el("p", { text: "Mend it in your editor and save it there: this page looks again by itself." }),
      el("ul", {}, s.problems.map((p) => el("li", {}, el("p", {}, el("b", { text: p.line ? `Line ${p.line}: ` : p.where ? `${p.where}: ` : "" }), `${p.found} ${p.fix}`),
        p.line && p.where && !p.where.startsWith("line") ? el("p", { class: "quiet", text: p.where }) : null,
        p.near.length ? el("pre", {}, p.near.map((l) => el("span", { class: l.here ? "here" : null, text: `${String(l.number).padStart(4)}  ${l.text}` }))) : null))));
  }

  async takeUp(which) {
    await this.doing(() => this.inTurn(() => post("take", { which })));
    await this.load();
  }

  async save(over = false) {
    await this.commit();
    const done = await this.doing(() => this.inTurn(() => post("save", { over })));
    // Only why it could not be saved is over; what else was refused stays until it is read.
    if (!done) this.unsaved = this.said;
    else if (this.said === this.unsaved) this.say("");
    await this.load();
  }

  /** What changes the scene goes one after the other, in the order of the hand: nothing overtakes a slow one. */
  inTurn(work) {
    const mine = (this.turn ?? Promise.resolve()).then(work);
    this.turn = mine.catch(() => {});
    return mine;
  }

  /** Run something that may be refused; null then. */
  async doing(work) {
    this.acting = (this.acting ?? 0) + 1;
    try {
      return await work();
    } catch (error) {
      if (!(error instanceof Refused)) return null;
      this.refused(error);
      if (error.status === 409) { this.tries = {}; this.load(); }
      return null;
    } finally {
      this.acting -= 1;
    }
  }

  /** Whether everything asked for is done and shown. */
  get quiet() { return Boolean(this.state) && !this.acting && !this.pending && !this.keeping && !this.loading && this.stage.quiet; }

  // -- what is changed

  /** Try values of a part while a hand moves: the picture follows, and a moment later it is kept. */
  trying(part, values, change) {
    // Another control is moved before the last one was heard of to the end: what that one gave is kept first.
    if (this.pending && this.pending !== this.sent && kindOf(this.pending) !== kindOf(change)) this.commit(false);
    this.tries = { ...this.tries, [part]: { ...this.tries[part], ...values } };
    this.pending = change;
    this.lastTry = performance.now();
    this.stage.dropFrames();
    this.stage.ask();
    if (change.do === "finish") this.colour(true);
    if (!this.keeping) this.keeping = setTimeout(() => { this.keeping = null; this.commit(false); }, EVERY);
  }

  /** The hand let go: keep what was tried. */
  async done(part, values, change) {
    this.trying(part, values, change);
    await this.commit();
  }

  async commit(end = true) {
    clearTimeout(this.keeping);
    this.keeping = null;
    const change = this.pending;
    if (!change) { if (end) this.gesture += 1; return; }
    // Held against what is shown, not against what this page itself has sent since.
    const wish = { version: this.state.version, look: this.look, gesture: `${tab} ${this.gesture}`, ...change };
    this.sent = change;
    const done = await this.doing(() => this.inTurn(() => post("edit", wish)));
    if (done) this.version = Math.max(this.version, done.version);
    if (this.pending === change) {
      this.pending = null;
      if (!done) { this.tries = {}; this.stage.ask(); }
    }
    if (end) { this.gesture += 1; this.lastTry = 0; await this.load(); }
  }

  /** Know which field is typed into: from when it is entered or its first letter to Enter, or until it is left. */
  fields() {
    for (const kind of ["focusin", "input"]) {
      addEventListener(kind, ({ target }) => { if (!focusedAgain() && target.matches?.('input[type="text"], input[type="number"], textarea')) this.typing = target; });
    }
    // Before the field's own listener, which may have the page shown anew.
    addEventListener("change", ({ target }) => { if (target === this.typing) this.typing = null; }, true);
    // A hand that rests on a slider still has it.
    addEventListener("pointerdown", ({ target }) => { this.grip = target.matches?.('input[type="range"]') ? target : null; }, true);
    for (const kind of ["pointerup", "pointercancel"]) addEventListener(kind, () => { this.grip = null; }, true);
    addEventListener("blur", () => { this.grip = null; }); // of the window
    addEventListener("focusout", () => {
      this.typing = null;
      if (this.due) setTimeout(() => { if (this.due) this.fill(); });
    });
  }

  /** Take what is typed as it stands, as Enter does. */
  typed() {
    const field = this.typing;
    field?.blur();
    focusAgain(field);
  }

  /** Whether a hand is on something right now: what it does is heard of when it lets go. */
  get hand() { return Boolean(this.grip) || performance.now() - (this.lastTry || -1e9) < 1500; }

  /** A change that is made at once. */
  async edit(change) {
    const wish = { version: this.state.version, look: this.look, ...change };
    await this.commit();
    const done = await this.doing(() => this.inTurn(() => post("edit", wish)));
    if (done) this.version = Math.max(this.version, done.version);
    await this.load();
    return done;
  }

  async step(which) {
    this.typing = null; // what was typed and not taken goes, too
    await this.commit();
    await this.doing(() => this.inTurn(() => post(which)));
    // What was tried may be drawn though the state, as it is known here, never had it.
    if (Object.keys(this.tries).length) { this.tries = {}; this.stage.dropFrames(); this.stage.ask(); }
    await this.load();
  }

  // -- colours

  colour(quick) {
    clearTimeout(this.asking);
    const ask = async (quickly) => {
      const { look } = this;
      const mine = (this.colours = (this.colours ?? 0) + 1);
      try {
        const found = await post("colour", { look: this.look, part: this.part, try: this.tries, quick: quickly });
        if (!found || found.part !== this.part || look !== this.look || this.state.problems.length || mine < this.coloured) return;
        this.coloured = mine; // an older answer that comes after this one is of what was
        this.target(found);
      } catch (error) { if (!(error instanceof Refused)) throw error; }
    };
    // A number that changes faster than it can be read only takes time from the picture.
    if (quick && !this.quickly) { this.quickly = true; ask(true); setTimeout(() => { this.quickly = false; }, 180); }
    this.asking = setTimeout(() => ask(false), quick ? 400 : 60);
  }

  target(found) {
    const before = this.lastTarget?.part === found.part ? this.lastTarget : {};
    const t = (this.lastTarget = { ...before, ...found });
    const range = t.light ? `from ${labWords(t.light.lab)} to ${labWords(t.dark.lab)}` : "";
    const title = this.partState.title;
    refill($("target"), el("div", { class: "scale", title: "Lightest, as meant, darkest" },
      el("i", { colour: t.light?.colour ?? t.colour }), el("i", { colour: t.colour }), el("i", { colour: t.dark?.colour ?? t.colour })),
    el("div", { class: "words" }, el("div", {}, el("b", { text: `${title}: ` }), el("span", { id: "lab", text: labWords(t.lab) }),
        t.edge ? el("span", { class: "quiet", text: found.quick ? "; the edge follows" : `; at the edge ${labWords(t.edge.lab)}` }) : null),
      el("div", { class: "quiet", text: found.quick ? "range follows" : t.error ? `19 of 20 within ΔE ${t.error}${t.assumed ? ` if bare it is ${labWords(t.bare.lab)}` : ""} (${t.basis}); ${range}` : "" })));
    $("target").setAttribute("aria-label", `The colour ${title} should measure`);
  }

  // -- choosing

  choosePart(name) {
    this.part = name;
    this.lastTarget = null;
    this.fill();
    this.readLibrary();
    this.colour(false);
  }

  async chooseLook(name) {
    await this.commit();
    if (!this.state.looks?.some((l) => l.name === name)) return; // taken away meanwhile
    this.look = name;
    this.tries = {};
    this.fill();
    this.stage.dropFrames();
    this.stage.ask();
    this.stage.savedAnew();
    this.colour(false);
  }

  // -- the six steps of the work

  stations() {
    for (const section of document.querySelectorAll(".station")) {
      const inner = el("div", { id: `${section.id}-work` });
      const button = el("button", { "aria-expanded": "false", "aria-controls": inner.id, onclick: () => this.open(section.id) },
        el("b", { text: section.dataset.name }), el("span", { id: `${section.id}-said` }));
      section.append(el("h2", {}, button), inner);
    }
    const small = matchMedia("(max-width: 760px)");
    small.addEventListener("change", () => this.open(this.station || "wood", true));
    $("moreButton").addEventListener("click", () => $("moreButton").setAttribute("aria-expanded", $("moreButton").getAttribute("aria-expanded") !== "true"));
    this.wide = matchMedia("(min-width: 1900px)");
    this.wide.addEventListener("change", () => this.open(this.station || "wood", true));
    this.open(this.station);
  }

  /** Open a step of the work; on a narrow screen the one that is open is shut, unless it is to ``stay``. */
  open(id, stay = false) {
    const narrow = matchMedia("(max-width: 760px)").matches;
    this.station = narrow && !stay && id && this.station === id && !$(`${id}-work`).hidden ? "" : id;
    for (const section of document.querySelectorAll(".station")) {
      const shown = this.wide.matches || section.id === this.station;
      $(`${section.id}-work`).hidden = !shown;
      section.querySelector("h2 button").setAttribute("aria-expanded", shown);
    }
    this.wood?.shown();
    this.looks?.shown();
  }

  summaries() {
    for (const [id, words] of Object.entries({ ...this.wood.said(), ...this.finish.said(), ...this.looks.said(), ...this.approve.said() })) $(`${id}-said`).textContent = words;
  }

  // -- buttons that are always there

  buttons() {
    const stage = this.stage;
    const on = (id, act, kind = "click") => $(id).addEventListener(kind, act);
    on("undo", () => this.step("undo"));
    on("redo", () => this.step("redo"));
    on("save", () => this.save());
    on("stop", () => this.stop());
    on("all", () => stage.showAll());
    on("truly", () => stage.trueSize());
    on("nearer", () => stage.zoom(1.25));
    on("farther", () => stage.zoom(0.8));
    on("side", () => { stage.side = stage.side === "front" ? "back" : "front"; this.viewed(); });
    on("lying", () => { stage.lying = !stage.lying; this.viewed(); });
    on("tilt", async () => {
      if (this.lighting) return;
      // Not disabled, or the focus would be lost.
      this.lighting = true;
      $("tilt").setAttribute("aria-disabled", "true");
      await this.doing(() => stage.moveLamp());
      this.lighting = false;
      $("tilt").removeAttribute("aria-disabled");
    });
    on("look", () => this.chooseLook($("look").value || null), "change");
    on("surround", () => this.surround($("surround").value), "change");
    on("other", () => {
      const value = $("other").value;
      const words = $("other").selectedOptions[0].textContent;
      stage.compare(value === "" ? null : value === "saved" ? { as: "saved", look: this.look, words } : { look: value.slice(5) || null, words });
    }, "change");
    this.surround("grey");
    this.ruler();
    addEventListener("keydown", (event) => {
      if (!(event.ctrlKey || event.metaKey) || event.altKey || document.body.dataset.ended) return;
      const key = event.key.toLowerCase();
      const typing = event.target.matches?.('input[type="text"], textarea');
      if (key === "s") { event.preventDefault(); this.typed(); this.save(); }
      else if (document.querySelector("dialog[open]")) return; // what lies under it is not to be seen
      else if (key === "z" && !typing) { event.preventDefault(); this.step(event.shiftKey ? "redo" : "undo"); }
      else if (key === "y" && !typing) { event.preventDefault(); this.step("redo"); }
    });
    addEventListener("away", () => this.ended());
    // What was on its way when the server went is told once, above all of the page.
    addEventListener("unhandledrejection", (event) => { if (event.reason instanceof Away) event.preventDefault(); });
    addEventListener("silent", () => setTimeout(() => get("/api/state").catch(() => {}), 300)); // which hears whether it is away
  }

  viewed() {
    $("lying").textContent = this.stage.lying ? "Stand it up" : "Lay it down";
    this.stage.other = null;
    $("other").value = "";
    this.stage.compare(null);
    this.stage.main = null;
    this.stage.showAll();
    // Where there is one side only, that is the one to be seen.
    $("side").textContent = this.stage.side === "front" ? "See the back" : "See the front";
    this.fill();
  }

  surround(name) {
    $("surround").value = name;
    document.documentElement.dataset.surround = name;
    this.stage.surround = name;
    $("surroundWords").textContent = SURROUNDS[name];
    if (this.state) { this.stage.compare(this.stage.other?.source ?? null); this.stage.moved(); }
  }

  ruler() {
    const show = () => {
      const px = Number($("barLength").value);
      $("bar").style.width = `${px}px`;
      $("barWords").textContent = `Now ${(px / 100).toFixed(3)} pixels of the page to a mm.`;
    };
    $("barLength").addEventListener("input", show);
    $("ruler").addEventListener("click", () => { $("barLength").value = this.stage.pxPerMm * 100; show(); $("rule").showModal(); });
    $("ruleLeave").addEventListener("click", () => $("rule").close());
    $("ruleDone").addEventListener("click", () => {
      this.stage.pxPerMm = Number($("barLength").value) / 100;
      localStorage.setItem("pxPerMm", this.stage.pxPerMm);
      $("rule").close();
      this.stage.trueSize();
    });
  }

  async stop() {
    await this.commit();
    await this.doing(() => this.inTurn(() => post("stop")));
    this.ended(true);
  }

  ended(asked = false) {
    if (!$("stopped").hidden) return;
    for (const one of document.querySelectorAll("dialog[open]")) one.close(); // they would lie over it
    refill($("stopped"), el("h2", { tabindex: "-1", text: asked ? "The bench is stopped" : "The bench does not answer any more" }),
      el("p", { text: this.state?.dirty ? "What was not saved is kept; open the scene on the bench again to go on." : "You can close this page." }),
      el("p", { text: `mockup bench ${this.state?.file ?? ""}` }));
    $("stopped").hidden = false;
    document.querySelector("main").inert = document.querySelector("header").inert = $("notices").inert = true;
    $("stopped").querySelector("h2").focus();
    this.source?.close();
    document.body.dataset.ended = "yes";
  }
}

const bench = new Bench();
globalThis.bench = bench; // for whoever looks in from the console
bench.source = listen((version) => { if (!bench.state || version > bench.version && !bench.hand) bench.load(); });
bench.load();
