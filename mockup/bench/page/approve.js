// Approve: papers to show, to sign and to work by, written beside the scene.

import { $, el, fresh, refill } from "./dom.js";
import { Refused, answer, kept, post } from "./server.js";

const KINDS = [
  ["approval", "Approval to sign", "The picture, the recipe, the colours to meet, room to sign; and a record to check it by."],
  ["dossier", "Dossier to mail", "Everything that is agreed, in one PDF, with the revisions before it."],
  ["print", "Print at true size", "On sheets to join, to lay on the wood."],
  ["picture", "Picture", "A PNG of the front, neck to the left."],
];
const ABOUT_PAGE = "All looks in one file to mail: to look at on a phone, compare, choose from and answer.";
const MOST_ANSWER = 2_000_000;

export class Approve {
  constructor(bench) {
    this.bench = bench;
    this.files = [];
    this.folder = "";
    this.paper = "a4";
    this.look = null;
    this.words = "";     // of the client's answer, as pasted
    this.mail = null;    // or the file that was dropped
    this.answer = null;  // what it says
    this.trouble = "";   // or why it cannot be taken
  }

  said() {
    const approvals = this.files.filter((f) => f.name.endsWith(".approval.json"));
    const page = this.files.some((f) => f.name.endsWith(".share.html"));
    return { approve: page && !approvals.length ? "the page for the client is written" : approvals.length ? `written: ${approvals.at(-1).name.replace(".approval.json", "")}` : "nothing written yet" };
  }

  fill() {
    const { state } = this.bench;
    if (!state.looks) return; // cannot be read just now
    const pinned = state.looks.filter((l) => l.name !== null);
    if (!pinned.some((l) => l.name === this.look)) this.look = pinned.some((l) => l.name === this.bench.look) ? this.bench.look : pinned[0]?.name ?? null;
    const look = fresh("which");
    const paper = fresh("paper");
    const choose = el("select", { id: look, "data-key": "approve look", onchange: () => { this.look = choose.value; } }, pinned.map((l) => el("option", { value: l.name, text: l.title })));
    choose.value = this.look ?? "";
    const size = el("select", { id: paper, "data-key": "approve paper", onchange: () => { this.paper = size.value; } }, [["a4", "A4"], ["letter", "Letter"]].map(([value, text]) => el("option", { value, text })));
    size.value = this.paper;
    const write = (kind, words) => el("button", { "data-key": `write ${kind}`, disabled: this.writing, onclick: () => this.write(kind) }, words);
    refill($("approve-work"), el("div", { class: "group" },
      pinned.length ? null : el("p", { text: "Pin a look first: what is approved must have a name." }),
      el("div", { class: "row" }, el("span", { class: "row" }, el("label", { for: look, text: "Chosen look" }), choose), el("span", { class: "row" }, el("label", { for: paper, text: "Paper" }), size)),
      el("dl", { class: "papers" },
        pinned.length ? [el("dt", {}, write("share", "Page for the client")), el("dd", { class: "quiet", text: ABOUT_PAGE })] : null,
        pinned.length ? KINDS.map(([kind, words, about]) => [el("dt", {}, write(kind, words)), el("dd", { class: "quiet", text: about })]) : null,
        pinned.length > 1 ? [el("dt", {}, write("sheet", "Sheet of all looks")), el("dd", { class: "quiet", text: "Side by side in the same light, to choose from." })] : null)),
    this.answering(),
    el("div", { class: "group" }, el("h3", { text: "Written" }),
      el("p", { id: "writing", role: "status", text: this.writing ? "Drawing, and writing …" : "" }),
      this.files.length ? el("p", { class: "quiet", text: `In ${this.folder}` }) : el("p", { class: "quiet", text: "The scene is saved before anything is written." }),
      el("ul", { class: "files" }, this.files.map((f) => el("li", {}, el("a", { href: kept(f.id), target: "_blank", rel: "noopener", text: f.name }),
        f.name.endsWith(".approval.json") ? el("button", { class: "plain", "data-key": `check ${f.name}`, "aria-label": `Check ${f.name}`, onclick: () => this.verify(f) }, "Check it") : null))),
      this.notes?.length ? el("div", { id: "paperNotes" }, this.notes.map((l) => el("p", { class: "warn", text: l }))) : null,
      this.lines ? el("div", { id: "checked", role: "status" }, this.lines.map((l) => el("p", { text: l }))) : null,
      el("p", { class: "quiet", text: "Screens and prints differ: the final word has a sample on the wood itself." })));
  }

  // -- the client's answer

  answering() {
    // The one box for good: a caret stays where it is when the rest is built anew.
    const words = this.box ??= el("textarea", { id: "answer", rows: "5", spellcheck: "false", "data-key": "answer",
      "aria-describedby": "answerHelp answerTrouble", oninput: () => { this.take(this.box.value, null, false); } });
    if (words.value !== (this.mail ? "" : this.words)) words.value = this.mail ? "" : this.words;
    words.disabled = this.writing;
    const file = fresh("mail");
    const zone = el("div", { class: "group", id: "answering" }, el("h3", { text: "The client's answer" }),
      el("label", { for: "answer", text: "Paste the mail or the text that came" }), words,
      el("p", { class: "drop" }, el("label", { for: file, text: "Or drop the saved mail here, or choose it: " }),
        el("input", { type: "file", id: file, "data-key": "answer file", accept: ".eml,.txt,message/rfc822,text/plain", onchange: (event) => { const [one] = event.target.files; event.target.value = ""; if (one) this.take("", one, true); } })),
      el("p", { class: "quiet", id: "answerHelp", text: "From [my choice] to [end of my choice]; what stands around it does no harm. It is held against the scene as it is now." }),
      el("div", { class: "row" }, el("button", { "data-key": "read answer", disabled: this.writing || !(this.mail || this.words.trim()), onclick: () => this.read() }, "Read the answer"),
        this.mail ? el("span", { class: "quiet", text: this.mail.name }) : null),
      el("p", { id: "answerTrouble", class: this.trouble ? "warn" : "hid", role: "status", text: this.trouble }),
      this.answer ? this.choice(this.answer) : null);
    for (const kind of ["dragenter", "dragover"]) zone.addEventListener(kind, (event) => { event.preventDefault(); zone.classList.add("over"); });
    zone.addEventListener("dragleave", (event) => { if (!zone.contains(event.relatedTarget)) zone.classList.remove("over"); });
    zone.addEventListener("drop", (event) => {
      zone.classList.remove("over");
      const one = event.dataTransfer.files[0];
      const text = event.dataTransfer.getData("text/plain");
      if (!one && !text) return;
      // Here a dropped file is an answer, elsewhere on the page it is a photo.
      event.preventDefault();
      this.take(text, one ?? null, true);
    });
    return zone;
  }

  choice(a) {
    return el("div", { id: "chosen", class: "step" },
      el("p", {}, el("b", { text: `${a.client} chose ${a.option}` }), `, on ${a.date}.`),
      a.comment ? el("blockquote", { text: a.comment }) : el("p", { class: "quiet", text: "Without a comment." }),
      a.checked ? null : el("p", { class: "warn", text: "Name, date and comment were written by hand: nothing tells whether they came whole." }),
      el("p", { class: "quiet", text: "It is what the client saw: recipe, wood and drawings are the same now." }),
      el("div", { class: "row" }, el("button", { class: "main", "data-key": "approve answer", disabled: this.writing, onclick: () => this.read(true) }, `Write the approval of ${a.option}`)));
  }

  /** Another answer is there: what was read of an older one is over. */
  take(words, mail, read) {
    const before = Boolean(this.mail || this.words.trim());
    const stale = this.answer || this.trouble;
    this.words = words;
    this.mail = mail;
    this.answer = null;
    this.trouble = "";
    if (read) this.read();
    else if (stale || before !== Boolean(words.trim())) this.fill();
  }

  /** Have the answer read, or, once it was, its approval written; what stands against it is said beside it. */
  async read(write = false) {
    if (this.writing) return;
    const words = this.mail ?? this.words;
    if (this.mail?.size > MOST_ANSWER) {
      this.trouble = `${this.mail.name} is too large to be a client's choice. Save the client's mail as text.`;
      this.fill();
      return;
    }
    this.trouble = "";
    const made = await this.busy(() => answer(words, write), (error) => { this.answer = null; this.trouble = error.message; });
    if (made && write) {
      this.look = made.look;
      this.bench.tell([`The approval of ${made.option} is written, with ${made.client}'s words in it.`, ...(this.notes ?? [])].join(" "));
    }
    if (words !== (this.mail ?? this.words)) { // another was dropped meanwhile: what is known is of the one before it
      this.answer = null;
      this.trouble = "";
      await this.read();
      return;
    }
    if (made) this.answer = write ? null : made;
    if (made && write) {
      this.words = "";
      this.mail = null;
    }
    this.fill();
    if (made && !write) $("chosen")?.querySelector("button").focus({ preventScroll: true });
  }

  async write(kind) {
    const many = kind === "sheet" || kind === "share";
    await this.busy(() => post("papers", { kind, paper: this.paper, look: many ? null : this.look }));
  }

  /** Something is drawn and written: buttons wait, and what was made is listed. */
  async busy(work, refused) {
    this.writing = true;
    this.lines = this.notes = null;
    this.fill();
    await this.bench.commit();
    await this.bench.turn; // what is on its way belongs to it
    const made = await this.bench.doing(async () => {
      try {
        return await work();
      } catch (error) {
        if (!refused || !(error instanceof Refused) || error.status === 409) throw error;
        refused(error);
        return null;
      }
    });
    this.writing = false;
    if (made?.files) {
      this.folder = made.folder;
      this.notes = made.notes ?? null;
      const names = new Set(made.files.map((f) => f.name));
      this.files = [...this.files.filter((f) => !names.has(f.name)), ...made.files];
      this.bench.tell([`Written: ${made.files[0].name}.`, ...(this.notes?.[0]?.includes("it stays") ? [this.notes[0]] : [])].join(" "));
    }
    await this.bench.load();
    this.fill();
    if (this.bench.state.looks) this.bench.summaries();
    return made;
  }

  async verify(file) {
    const found = await this.bench.doing(() => post("verify", { record: file.id }));
    this.lines = found?.lines ?? null;
    this.fill();
  }
}
