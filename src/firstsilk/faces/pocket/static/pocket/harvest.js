// How are ears picked with a phone? A count at the end of the row, or bag by bag; into a crate that stays until changed.

import { checkPicked } from "./checks.js";
import { WHYS, tellNote } from "./deeds.js";
import { tellDoubts, writeDoubt } from "./doubts.js";
import { printTag, readTag } from "./note.js";
import { askChoice, askNumber, button, grid, make, makeForm, order, place, show } from "./parts.js";
import { picture } from "./pictures.js";
import { earsOf, rowsOfBag } from "./picked.js";
import { canScan, scanTag } from "./scan.js";
import { signal } from "./sound.js";
import { makeUndo, takeBack } from "./undo.js";
import { say } from "./words.js";

const imageOf = (why) => (why === "other" ? "more" : why);

const crateOf = (pocket) => pocket.store.settings.get("crate") || "";

export const sayCrate = (pocket) => (crateOf(pocket) ? say("crate.named", { crate: printTag(crateOf(pocket)) }) : say("crate.none"));

/** How a row stands at harvest, in one line. */
export function sayEars(pocket, row) {
  const { picked, left, standing } = earsOf(pocket.held, row);
  return say("pick.so_far", { picked, left, standing });
}

function askLeftCount(detail, name, onBack, onLeft) {
  askNumber({
    title: say("left.title"), told: [place(name), order(imageOf(detail), say(`left.${detail}`))], onBack,
    onNumber: (value) => onLeft({ kind: "ears_left", detail, value }),
  });
}

/** Why are ears left, and how many? `onLeft` gets what a note says; `onWhy` may go another way with a reason. */
export function askLeft({ name, onBack, onLeft, onWhy = () => false }) {
  askChoice({
    title: say("left.why"), told: place(name), onBack,
    choices: WHYS.map((why) => [why, say(`left.${why}`), imageOf(why)]),
    onChoice: (why) => onWhy(why) || askLeftCount(why, name, onBack, onLeft),
  });
}

/** Save ears, and with those picked the crate that is chosen; gives the notes and the doubts, or null where it is red. */
export async function saveEars(pocket, given, { here = null } = {}) {
  const row = pocket.held.rows.get(given.tag) || null;
  const crate = given.kind === "ears_picked" ? crateOf(pocket) : "";
  const doubts = checkPicked(pocket.held, { row, tag: given.tag, bag: given.bag, ears: given.value, why: given.detail, here, crate }, pocket.localNow());
  if (!given.tag) doubts.unshift({ code: "bag_without_row", values: { bag: printTag(given.bag) } });
  const of = doubts.filter(({ code }) => code !== "crate_unknown");
  const notes = [await pocket.write({ ...given, ...writeDoubt(of) })];
  if (notes[0] && crate) {
    const odd = doubts.filter(({ code }) => code === "crate_unknown");
    notes.push(await pocket.write({ kind: "crated", tag: given.tag, bag: given.bag, value: crate, ...writeDoubt(odd) }));
  }
  if (notes.includes(null)) return null;
  signal(doubts.length ? "doubt" : "right");
  return { notes, doubts };
}

/** Choose a crate for what comes; false where that cannot be kept, and the screen is red. */
async function keepCrate(pocket, code) {
  try {
    await pocket.store.keep("crate", code);
    return true;
  } catch (fault) {
    pocket.tellRed(fault);
    return false;
  }
}

/** Which crate? It stays for all ears that come, until another is chosen. */
export function askCrate(pocket, { onDone }, problem = "") {
  const { held } = pocket;
  const keep = async (code) => {
    if (await keepCrate(pocket, code)) onDone();
  };
  // A crate is chosen, nothing has happened yet: the tag of something else is no crate.
  const take = (tag) => {
    const row = held.rows.get(tag);
    const wrong = row ? say("crate.is_row", { row: row.number }) : held.earBags.has(tag) ? say("crate.is_bag") : "";
    if (wrong) signal("doubt");
    else keep(tag);
    return wrong;
  };
  const again = (wrong) => wrong && askCrate(pocket, { onDone }, wrong);
  show("crate", [
    make("h1", {}, say("crate.title")), order("crated", sayCrate(pocket)), place(say("crate.stays")),
    problem ? make("p", { class: "problem", role: "alert" }, problem) : "",
  ], [
    canScan() ? button(say("crate.scan"), () => scanTag({ title: say("crate.scan"), onTag: (tag) => again(take(tag)), onBack: () => askCrate(pocket, { onDone }) }), { kind: "first", image: "scan" }) : "",
    makeForm({ label: say("crate.label"), go: say("ok"), beside: true, onText: (text) => {
      const { tag, problem: why, code, values } = readTag(text);
      return tag ? take(tag) : say(`tag.${code}`, values) || why;
    } }),
    crateOf(pocket) ? button(say("crate.drop"), () => keep(""), { image: "previous" }) : "",
    button(say("back"), onDone, { kind: "quiet", image: "previous" }),
  ]);
}

/** The screen of picking bag by bag; at a row, or wherever the bags lead. `seen` is a tag scanned already. */
export function openPicking(pocket, { tag = "", onBack = pocket.goHome, seen = "" } = {}) {
  pocket.held.refresh();
  const picking = new Picking(pocket, tag, onBack);
  if (seen) picking.take(seen);
  else picking.show();
}

class Picking {
  constructor(pocket, tag, onBack) {
    Object.assign(this, { pocket, tag, onBack, bag: "", why: "", saved: null });
  }

  get row() {
    return this.pocket.held.rows.get(this.tag) || null;
  }

  nameRow(tag) {
    const row = this.pocket.held.rows.get(tag);
    return row ? say("row.name", { row: row.number }) : printTag(tag);
  }

  /** One thing to do next: the bag, its row, or the bag of an ear that is left. */
  sayOrder() {
    if (this.bag) return order("row", say("pick.scan_row", { bag: printTag(this.bag) }));
    if (this.why) return order(imageOf(this.why), say("pick.scan_left", { why: say(`left.${this.why}`) }));
    return order("bag", say("pick.scan"));
  }

  show(saved = null, doubts = [], told = "") {
    this.saved = saved;
    document.body.classList.toggle("doubted", doubts.length > 0);
    const status = make("p", { class: "saved", role: "status" }, saved ? say("row.saved", { note: saved.map((note) => this.tell(note)).join(" · ") }) : told);
    const undo = saved ? makeUndo(() => this.takeBack(saved), status) : null;
    const again = () => this.show();
    show("pick", [
      make("h1", {}, this.tag ? this.nameRow(this.tag) : say("pick.title")),
      this.sayOrder(),
      this.row ? place(sayEars(this.pocket, this.row)) : "",
      place(sayCrate(this.pocket)),
      doubts.length ? tellDoubts(doubts) : "",
      status,
    ], [
      canScan() ? button(say("bags.scan"), () => this.scan(), { kind: "first", image: "scan" }) : "",
      makeForm({ label: say("pick.type_it"), go: say("ok"), beside: true, onText: (text) => this.read(text) }),
      grid(2, [
        undo || "",
        this.why ? button(say("left.not"), () => { this.why = ""; again(); }, { image: "ears_picked" })
          : button(say("deed.ears_left"), () => this.askWhy(), { image: "ears_left", "data-go": "left" }),
        this.why && this.tag ? button(say("left.count"), () => this.askCount(), { image: "bag" }) : "",
        button(say("crate"), () => askCrate(this.pocket, { onDone: again }), { image: "crated", "data-go": "crate" }),
      ].filter(Boolean)),
      button(say("back"), () => this.leave(), { kind: "quiet", image: "previous" }),
    ]);
  }

  tell(note) {
    const of = note.kind === "crated" ? [] : [note.bag && printTag(note.bag), note.tag && this.nameRow(note.tag)];
    return [tellNote(note), ...of].filter(Boolean).join(" · ");
  }

  scan(told = "", skip = "") {
    scanTag({ title: say(this.bag ? "bags.scan_row" : "pick.scan"), told, skip, onTag: (tag) => this.takeSeen(tag), onBack: () => this.show(this.saved) });
  }

  /** Seen by the camera: it stays open for the next ear, as long as nothing is doubted. */
  async takeSeen(tag) {
    await this.take(tag);
    const isRight = document.body.dataset.screen === "pick" && !document.body.classList.contains("doubted");
    if (isRight) this.scan(document.querySelector(".saved").textContent, tag);
  }

  /** A code as printed, or one written on a bag by hand that the station told of. */
  read(text) {
    const typed = text.trim().toUpperCase();
    const { tag, code, values } = readTag(text);
    if (!tag && !this.pocket.held.earBags.has(typed)) {
      signal("doubt");
      return say(`tag.${code}`, values);
    }
    this.take(tag || typed);
    return "";
  }

  /** A row's tag is where one stands, a crate's where ears go, any other the bag of an ear. */
  async take(tag) {
    const { held } = this.pocket;
    if (held.rows.has(tag)) {
      this.tag = tag;
      if (held.isShut(this.row, this.pocket.localNow())) signal("doubt");
      if (this.bag) await this.save(this.bag, tag);
      else this.go();
    } else if (held.crates.has(tag)) {
      if (await keepCrate(this.pocket, tag)) this.go();
    } else if (this.bag && this.bag !== tag) {
      signal("doubt");
      this.askLoose(() => this.take(tag));
    } else await this.takeBag(tag);
  }

  go() {
    navigator.vibrate?.(30);
    this.show();
  }

  /** A bag leads to its row; one that nobody knows is of the row where one stands, one of several rows asks for it. */
  async takeBag(bag) {
    const tags = rowsOfBag(this.pocket.held, bag).map(({ row }) => row.tag);
    if (this.tag && (tags.includes(this.tag) || !tags.length)) await this.save(bag, this.tag);
    else if (tags.length === 1) await this.save(bag, tags[0]);
    else {
      this.bag = bag;
      this.go();
    }
  }

  /** The ears of the bag that are not gone the other way: all of them count at once, as at the desk. */
  count(bag, tag) {
    const of = rowsOfBag(this.pocket.held, bag).find(({ row }) => row.tag === tag)?.ears;
    return String(Math.max(1, of ? of.ears - of[this.why ? "picked" : "left"] : 1));
  }

  async save(bag, tag) {
    // Who has all ears of a row goes on to the next without being asked.
    const here = this.tag && this.tag !== tag && this.row && earsOf(this.pocket.held, this.row).toPick ? this.row : null;
    const given = { kind: this.why ? "ears_left" : "ears_picked", detail: this.why, tag, bag, value: this.count(bag, tag) };
    const done = await saveEars(this.pocket, given, { here });
    if (!done) return;
    Object.assign(this, { bag: "", why: "", tag });
    this.show(done.notes, done.doubts);
  }

  askWhy() {
    askLeft({
      name: this.tag ? this.nameRow(this.tag) : say("pick.title"), onBack: () => this.show(), onLeft: (given) => this.saveLeft(given),
      onWhy: (why) => this.takeWhy(why),
    });
  }

  /** An ear left with its bag: the bag is scanned next. Without a bag it is counted, and that needs its row. */
  takeWhy(why) {
    if (why === "no_bag" && this.tag) return false;
    this.why = why === "no_bag" ? "" : why;
    this.show(null, [], why === "no_bag" ? say("pick.row_first") : "");
    return true;
  }

  askCount() {
    askLeftCount(this.why, this.nameRow(this.tag), () => this.show(), (given) => this.saveLeft(given));
  }

  /** Ears left that are counted without their bags. */
  async saveLeft(given) {
    const done = await saveEars(this.pocket, { ...given, tag: this.tag, bag: "" });
    if (!done) return;
    this.why = "";
    this.show(done.notes, done.doubts);
  }

  leave() {
    if (this.bag) this.askLoose(this.onBack);
    else this.onBack();
  }

  /** A bag without a row: its row now, or noted as it is, for the leader to find. */
  askLoose(then) {
    const { bag } = this;
    show("loose-bag", [
      make("h1", {}, say("loose.title", { bag: printTag(bag) })),
      make("p", { class: "do", role: "alert" }, picture("doubt"), make("span", {}, say("loose.text"))),
    ], [
      button(say("loose.row"), () => this.show(), { kind: "first", image: "row" }),
      button(say("loose.save"), async () => {
        const given = { kind: this.why ? "ears_left" : "ears_picked", detail: this.why, tag: "", bag, value: "1" };
        if (!(await saveEars(this.pocket, given))) return;
        Object.assign(this, { bag: "", why: "" });
        then();
      }, { image: "bag" }),
      button(say("loose.drop"), () => { this.bag = ""; then(); }, { kind: "quiet", hint: say("loose.drop.hint") }),
    ]);
  }

  async takeBack(saved) {
    if (await takeBack(this.pocket, saved)) this.show(null, [], say("row.saved", { note: say("note.withdrawn") }));
  }
}
