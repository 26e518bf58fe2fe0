// Bag by bag: in the evening a bag and its male row, in the morning a bag and the row whose ears take it. In any order.

import { checkPollinated, checkTassel } from "./checks.js";
import { TYPES, sayType, tellNote } from "./deeds.js";
import { tellDoubts, writeDoubt } from "./doubts.js";
import { findPollen } from "./ears.js";
import { printTag, readTag } from "./note.js";
import { askChoice, askNumber, button, grid, make, makeForm, place, show } from "./parts.js";
import { picture } from "./pictures.js";
import { canScan, scanTag } from "./scan.js";
import { signal } from "./sound.js";
import { makeUndo, takeBack } from "./undo.js";
import { say } from "./words.js";

const KIND_OF = { evening: "tassel_bagged", morning: "pollinated" };

/** The screen of bags for one half of the day; `bag` if one was scanned already. */
export function openBags(pocket, half, bag = "") {
  pocket.held.refresh();
  new Bags(pocket, half, bag).show();
}

class Bags {
  constructor(pocket, half, bag) {
    Object.assign(this, { pocket, half, bag, tag: "", ears: 1, type: "", last: "" });
    this.kind = KIND_OF[half];
  }

  get row() {
    return this.pocket.held.rows.get(this.tag) || null;
  }

  nameRow(tag) {
    const row = this.pocket.held.rows.get(tag);
    return row ? say("row.name", { row: row.number }) : printTag(tag);
  }

  slot(image, label, value) {
    return make("div", { class: value ? "slot full" : "slot" }, picture(value ? "tick" : image), make("span", { class: "words" },
      make("span", { class: "word" }, value || "?"), make("span", { class: "hint" }, label)));
  }

  show(saved = null, doubts = [], problem = "") {
    document.body.classList.toggle("doubted", doubts.length > 0);
    const morning = this.half === "morning";
    const status = make("p", { class: "saved", role: "status" }, saved ? this.tellSaved(saved) : "");
    const undo = saved && saved.kind !== "withdrawn" ? makeUndo(() => this.takeBack(saved), status) : null;
    show("bags", [
      make("h1", {}, say(`bags.${this.half}`)),
      make("div", { class: "slots" },
        this.slot("bag", say("bags.bag"), this.bag && printTag(this.bag)),
        this.slot(morning ? "pollinated" : "shed", say(morning ? "bags.female" : "bags.male"), this.tag && this.nameRow(this.tag))),
      this.bag && morning ? place(this.tellBag()) : "",
      this.pocket.held.rows.size || this.bag ? "" : place(say("bags.no_list")),
      doubts.length ? tellDoubts(doubts) : "",
      problem ? make("p", { class: "problem", role: "alert" }, problem) : "",
      status,
    ], [
      canScan() ? button(say("bags.scan"), () => this.scan(), { kind: "first", image: "scan" }) : "",
      makeForm({ label: say("bags.type_it"), go: say("ok"), beside: true, onText: (text) => this.read(text) }),
      grid(2, this.extras(morning, undo)),
      button(say("back"), () => this.leave(), { kind: "quiet", image: "previous" }),
    ]);
  }

  extras(morning, undo) {
    return [
      undo,
      this.last && !this.bag ? button(say("bags.same"), () => this.takeBag(this.last), { image: "bag", hint: printTag(this.last) }) : null,
      morning ? button(say("bags.ears", { ears: this.ears }), () => this.askEars(), { image: "pollinated" }) : null,
      button(say("bags.type"), () => this.askType(), { hint: this.type ? sayType(this.type) : say("type.planned") }),
      this.tag && !this.bag ? button(say("bags.count"), () => this.askCount(), { image: this.kind }) : null,
    ].filter(Boolean);
  }

  tellSaved(note) {
    if (note.kind === "withdrawn") return say("row.saved", { note: tellNote(note) });
    const parts = [tellNote(note), note.bag && printTag(note.bag), note.tag && this.nameRow(note.tag), note.male && say("bags.with", { male: this.nameRow(note.male) })];
    return say("row.saved", { note: parts.filter(Boolean).join(" · ") });
  }

  tellBag() {
    const { males, type } = this.pocket.held.bagOf(this.bag);
    if (!males.length) return say("bags.unknown");
    return [say("bags.with", { male: males.map((one) => this.nameRow(one)).join(" + ") }), type && sayType(type)].filter(Boolean).join(" · ");
  }

  scan() {
    const back = () => this.show();
    scanTag({ title: say(this.bag ? "bags.scan_row" : this.tag ? "bags.scan_bag" : "bags.scan"), onTag: (tag) => this.takeSeen(tag), onBack: back });
  }

  /** Seen by the camera: it stays open for the other of the two. */
  takeSeen(tag) {
    this.take(tag);
    if (Boolean(this.bag) !== Boolean(this.tag) && document.body.dataset.screen === "bags") this.scan();
  }

  read(text) {
    const { tag, problem, code, values } = readTag(text);
    if (problem) {
      signal("doubt");
      return code ? say(`tag.${code}`, values) : problem;
    }
    this.take(tag);
    return "";
  }

  /** A tag of a row of the list is a row, any other is a bag; without a list the bag comes first, then its row. */
  take(tag) {
    const { rows } = this.pocket.held;
    const bagsRow = !rows.size && this.bag && this.bag !== tag;
    if (rows.has(tag) || bagsRow) this.takeRow(tag);
    else this.takeBag(tag);
  }

  takeRow(tag) {
    this.tag = tag;
    if (this.pocket.held.isShut(this.row, this.pocket.localNow())) signal("doubt");
    this.go();
  }

  takeBag(tag) {
    if (this.bag && this.bag !== tag) {
      signal("doubt");
      this.askLoose(() => this.takeBag(tag), this.tag ? "" : tag);
      return;
    }
    this.bag = tag;
    this.go();
  }

  go() {
    if (this.bag && this.tag) this.save();
    else {
      navigator.vibrate?.(30);
      this.show();
    }
  }

  /** A bag without a row: its row now, or noted as it is, for the leader to find. */
  askLoose(then, other = "") {
    const bag = this.bag;
    show("loose-bag", [
      make("h1", {}, say("loose.title", { bag: printTag(bag) })),
      make("p", { class: "do", role: "alert" }, picture("doubt"), make("span", {}, say("loose.text"))),
    ], [
      button(say("loose.row"), () => this.show(), { kind: "first", image: "row" }),
      other ? button(say("loose.isrow", { tag: printTag(other) }), () => this.takeRow(other), { image: "row" }) : "",
      button(say("loose.save"), () => this.saveLoose(then), { image: "bag" }),
      button(say("loose.drop"), () => { this.bag = ""; then(); }, { kind: "quiet", hint: say("loose.drop.hint") }),
    ]);
  }

  async saveLoose(then) {
    const doubts = [{ code: "bag_without_row", values: { bag: printTag(this.bag) } }];
    const note = await this.pocket.write({ kind: this.kind, tag: "", bag: this.bag, value: String(this.ears), detail: this.type || (this.half === "morning" ? this.pocket.held.bagOf(this.bag).type : ""), ...writeDoubt(doubts) });
    if (!note) return;
    signal("doubt");
    this.bag = "";
    this.ears = 1;
    then();
  }

  leave() {
    if (this.bag && !this.tag) this.askLoose(() => this.pocket.goHome());
    else if (this.tag && !this.bag) this.askRowAlone();
    else this.pocket.goHome();
  }

  /** A row without a bag: counted instead, or nothing was done there. */
  askRowAlone() {
    signal("doubt");
    show("loose-row", [make("h1", {}, say("loose.row_title", { row: this.nameRow(this.tag) }))], [
      button(say("bags.count"), () => this.askCount(), { kind: "first", image: this.kind }),
      button(say("loose.bag"), () => this.show(), { image: "bag" }),
      button(say("loose.nothing"), () => this.pocket.goHome(), { kind: "quiet" }),
    ]);
  }

  askEars() {
    askNumber({ title: say("bags.ears_title"), onBack: () => this.show(), onNumber: (value) => { this.ears = Number(value); this.show(); } });
  }

  askCount() {
    askNumber({
      title: say(`ask.${this.kind}`), told: place(this.nameRow(this.tag)), onBack: () => this.show(),
      onNumber: (value) => { this.ears = Number(value); this.save(); },
    });
  }

  askType(then = () => this.show()) {
    const choices = [["", say("type.planned")], ...TYPES.map((type) => [type, sayType(type)])];
    askChoice({ title: say("bags.type_title"), choices, onBack: () => this.show(), onChoice: (type) => { this.type = type; then(); } });
  }

  /** Kept at once when bag and row are there; what speaks against it is said with the tick. */
  async save() {
    const given = this.half === "evening" ? this.readEvening() : this.readMorning();
    const { doubts, ...note } = given;
    const kept = await this.pocket.write({ ...note, ...writeDoubt(doubts) });
    if (!kept) return;
    signal(doubts.length ? "doubt" : "right");
    Object.assign(this, { last: this.bag, bag: "", tag: "", ears: 1 });
    this.show(kept, doubts);
  }

  readEvening() {
    const doubts = checkTassel(this.pocket.held, { row: this.row, tag: this.tag, bag: this.bag }, this.pocket.localNow());
    return { kind: this.kind, tag: this.tag, bag: this.bag, detail: this.type || this.typeOfMale(), value: String(this.ears), doubts };
  }

  /** The kind of pollination planned with this row's pollen, if it is one and the same everywhere. */
  typeOfMale() {
    if (!this.row) return "";
    if (this.row.purpose === "self") return this.row.make;
    const kinds = new Set();
    for (const row of this.pocket.held.rows.values()) {
      if (row.males.some((male) => male.tag === this.tag)) kinds.add(row.make);
    }
    return kinds.size === 1 ? [...kinds][0] : "";
  }

  readMorning() {
    const { held } = this.pocket;
    const pollen = findPollen(held, { row: this.row, tag: this.tag, bag: this.bag, type: this.type });
    const { males, ...kept } = pollen;
    const walkRow = this.expected();
    const asked = { row: this.row, tag: this.tag, males, type: kept.detail, ears: this.ears, bag: this.bag, walkRow };
    const doubts = checkPollinated(held, asked, this.pocket.localNow());
    return { kind: this.kind, tag: this.tag, value: String(this.ears), ...kept, doubts };
  }

  /** The row that the walk stands at, if the scanned one is none of the walk's. */
  expected() {
    const { walk } = this.pocket;
    if (!walk || walk.task !== "pollinate" || walk.at.has(this.tag)) return null;
    return walk.find(null)?.row || null;
  }

  async takeBack(saved) {
    const undone = await takeBack(this.pocket, [saved]);
    if (undone) this.show(undone[0]);
  }
}

