// Approve: papers to show, to sign and to work by, written beside the scene.

import { $, el, fresh, refill } from "./dom.js";
import { kept, post } from "./server.js";

const KINDS = [
  ["approval", "Approval to sign", "The picture, the recipe, the colours to meet, room to sign; and a record to check it by."],
  ["dossier", "Dossier to mail", "Everything that is agreed, in one PDF, with the revisions before it."],
  ["print", "Print at true size", "On sheets to join, to lay on the wood."],
  ["picture", "Picture", "A PNG of the front, neck to the left."],
];

export class Approve {
  constructor(bench) {
    this.bench = bench;
    this.files = [];
    this.folder = "";
    this.paper = "a4";
    this.look = null;
  }

  said() {
    const approvals = this.files.filter((f) => f.name.endsWith(".approval.json"));
    return { approve: approvals.length ? `written: ${approvals.at(-1).name.replace(".approval.json", "")}` : "nothing written yet" };
  }

  fill() {
    const { state } = this.bench;
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
      el("dl", { class: "papers" }, pinned.length ? KINDS.map(([kind, words, about]) => [el("dt", {}, write(kind, words)), el("dd", { class: "quiet", text: about })]) : null,
        pinned.length > 1 ? [el("dt", {}, write("sheet", "Sheet of all looks")), el("dd", { class: "quiet", text: "Side by side in the same light, to choose from." })] : null)),
    el("div", { class: "group" }, el("h3", { text: "Written" }),
      el("p", { id: "writing", role: "status", text: this.writing ? "Drawing, and writing …" : "" }),
      this.files.length ? el("p", { class: "quiet", text: `In ${this.folder}` }) : el("p", { class: "quiet", text: "The scene is saved before anything is written." }),
      el("ul", { class: "files" }, this.files.map((f) => el("li", {}, el("a", { href: kept(f.id), target: "_blank", rel: "noopener", text: f.name }),
        f.name.endsWith(".approval.json") ? el("button", { class: "plain", "data-key": `check ${f.name}`, "aria-label": `Check ${f.name}`, onclick: () => this.verify(f) }, "Check it") : null))),
      this.lines ? el("div", { id: "checked", role: "status" }, this.lines.map((l) => el("p", { text: l }))) : null,
      el("p", { class: "quiet", text: "Screens and prints differ: the final word has a sample on the wood itself." })));
  }

  async write(kind) {
    this.writing = true;
    this.lines = null;
    this.fill();
    await this.bench.commit();
    const made = await this.bench.doing(() => post("papers", { kind, paper: this.paper, look: kind === "sheet" ? null : this.look }));
    this.writing = false;
    if (made) {
      this.folder = made.folder;
      const names = new Set(made.files.map((f) => f.name));
      this.files = [...this.files.filter((f) => !names.has(f.name)), ...made.files];
    }
    await this.bench.load();
    this.fill();
    this.bench.summaries();
  }

  async verify(file) {
    const found = await this.bench.doing(() => post("verify", { record: file.id }));
    this.lines = found?.lines ?? null;
    this.fill();
  }
}
