// What is done at one row? The instruction, the buttons, and the questions behind them; alone, or as a stop of a walk.

import { checkPlace, checkPollinated, checkShootBags, checkTassel } from "./checks.js";
import { DEEDS, DEED_OF, CAUSES, TASK_KINDS, TRAITS, tellNote } from "./deeds.js";
import { askEars } from "./ears.js";
import { tellDoubts, writeDoubt } from "./doubts.js";
import { askCrate, askLeft, openPicking, saveEars, sayCrate, sayEars } from "./harvest.js";
import { printTag } from "./note.js";
import { askChoice, askNumber, button, grid, make, order, place, show } from "./parts.js";
import { earsOf } from "./picked.js";
import { drawRange } from "./range.js";
import { signal } from "./sound.js";
import { makeUndo, takeBack } from "./undo.js";
import { knows, say, sayDay } from "./words.js";

/** The screens of one row. `walk` is the walk that brought one here, if any. */
export function openRow(pocket, tag, walk = null) {
  pocket.held.refresh();
  const here = new AtRow(pocket, tag, walk);
  if (pocket.held.isShut(here.row, pocket.localNow())) here.warn();
  else here.show();
}

class AtRow {
  constructor(pocket, tag, walk) {
    this.pocket = pocket;
    this.tag = tag;
    this.walk = walk;
    this.row = pocket.held.rows.get(tag) || null;
  }

  name() {
    return this.row ? say("row.name", { row: this.row.number }) : say("row.tag", { tag: printTag(this.tag) });
  }

  /** Nobody goes into a sprayed row; what was done is noted all the same. */
  warn() {
    const [day, hour] = this.row.keep_out_until.split("T");
    signal("doubt");
    show("keep-out", [
      make("h1", {}, say("spray.title", { row: this.row.number })),
      order("spray", say("spray.text", { day: sayDay(day), hour: hour.slice(0, 5) })),
    ], [
      button(say("spray.other"), () => (this.walk ? this.walk.next(this.tag) : this.pocket.goHome()), { kind: "first", image: "next" }),
      button(say("spray.before"), () => this.show(), { kind: "quiet" }),
    ]);
  }

  state() {
    return this.pocket.held.stateOf(this.row, this.pocket.localNow());
  }

  isDone() {
    const own = this.pocket.held.ownNotes(this.tag);
    return this.walk ? this.walk.isDone(this.tag) : own.some((note) => note.kind === this.row?.next);
  }

  told() {
    if (!this.row) return [make("h1", {}, this.name()), order("tag", say("row.unknown"))];
    const { own, wanted, ears } = this.state();
    const done = this.isDone();
    const words = done && own.length ? say("row.noted", { notes: own.filter(({ kind }) => kind !== "crated").map(tellNote).join(", ") }) : this.sayOrder();
    return [
      make("h1", {}, this.name()),
      place(say("row.place", { range: this.row.field_row, place: this.row.field_col, line: this.row.line })),
      order(done ? "tick" : this.image(), words),
      this.isPicked() ? [place(sayEars(this.pocket, this.row)), place(sayCrate(this.pocket))]
        : wanted ? place(say("row.ears", { ears, wanted }), !done && this.task()?.again ? ` · ${say("order.again", { again: this.task().again })}` : "") : "",
      this.walk && !done ? make("p", { class: "place why" }, this.walk.why(this.row)) : "",
    ];
  }

  /** Whether ears are picked here: on the walk of picking, and on any row with ears at harvest. */
  isPicked() {
    return this.walk ? this.walk.task === "pick" : Boolean(this.row?.pick);
  }

  maleNumbers() {
    return this.row.males.map((male) => male.number).join(", ");
  }

  task() {
    return (this.walk && this.row.tasks?.find((one) => one.do === this.walk.task)) || null;
  }

  image() {
    return this.walk ? TASK_KINDS[this.walk.task][0] : this.row.next;
  }

  /** The instruction in this language: of the walk's task, else the row's next step; an older station's sentence else. */
  sayOrder() {
    const task = this.task();
    if (task) {
      const male = task.males.join(", ") || this.maleNumbers();
      const key = task.do === "pollinate" ? (this.row.make === "self" ? "order.self" : "order.cross") : `order.${task.do}`;
      const count = this.isPicked() ? earsOf(this.pocket.held, this.row).toPick : task.count;
      return say(key, { count, male: male || "?" });
    }
    const { step } = this.row;
    if (!step || !knows(`step.${step.code}`)) return this.row.do;
    return say(`step.${step.code}`, { ears: step.ears, males: step.males.join(", ") || "?" });
  }

  show(saved = null, doubts = []) {
    document.body.classList.toggle("doubted", doubts.length > 0);
    const status = make("p", { class: "saved", role: "status" }, saved ? say("row.saved", { note: saved.map(tellNote).join(" · ") }) : "");
    const undo = saved && saved[0].kind !== "withdrawn" ? makeUndo(() => this.takeBack(saved), status) : null;
    const told = [this.told(), doubts.length ? tellDoubts(doubts) : "", status];
    const ahead = this.walk && !saved ? this.walk.draw(this.tag, drawRange) : null;
    show("row", ahead ? make("div", { class: "with-range" }, make("div", { class: "told" }, told), ahead) : told, [
      this.walk ? this.showOfWalk(undo) : this.showOfTag(undo),
    ]);
  }

  press(deed, kind = "", more = {}) {
    const hint = knows(`deed.${deed.kind}.hint`) ? say(`deed.${deed.kind}.hint`) : "";
    return button(say(`deed.${deed.kind}`), () => this.start(deed), { hint, kind, image: deed.kind, "data-kind": deed.kind, ...more });
  }

  /** A row that was asked for by its tag: all deeds, and the one it waits for above them once more. */
  showOfTag(undo) {
    const next = this.isPicked() ? DEED_OF.ears_picked : this.isDone() ? null : DEED_OF[this.row?.next || ""];
    return [
      next ? this.press(next, "first", { "data-kind": null }) : "",
      this.isPicked() ? grid(2, this.pressHarvest()) : "",
      grid(3, DEEDS.map((deed) => this.press(deed))),
      make("div", { class: "foot" }, undo,
        this.row ? "" : button(say("row.isbag"), () => this.pocket.openBag(this.tag), { image: "bag" }),
        this.walkBack
          ? button(say("back"), () => openRow(this.pocket, this.tag, this.walkBack), { kind: "quiet", image: "previous" })
          : button(say("row.next_tag"), () => this.pocket.goHome(), { kind: "quiet", image: "next" })),
    ];
  }

  /** What else there is to do with ears at harvest. */
  pressHarvest() {
    const back = () => openRow(this.pocket, this.tag, this.walk);
    return [
      button(say("pick.title"), () => openPicking(this.pocket, { tag: this.tag, onBack: back }), { image: "bag", "data-go": "bags" }),
      this.press(DEED_OF.ears_left),
      button(say("crate"), () => askCrate(this.pocket, { onDone: () => this.show() }), { image: "crated", "data-go": "crate" }),
    ];
  }

  /** A stop of a walk: what it is for, large; on to the next row, back, another tag, something else. */
  showOfWalk(undo) {
    const done = this.isDone();
    const onward = button(say("walk.next"), () => this.walk.next(this.tag), {
      kind: done ? "first" : "", image: "next", "data-go": "next", hint: this.walk.sayNext(this.tag),
    });
    const back = button(say("walk.previous"), () => this.walk.previous(this.tag), { image: "previous", "data-go": "previous" });
    const tag = button(say("walk.tag"), () => this.pocket.askTag(this.walk, this.tag), { image: "scan", "data-go": "tag" });
    const other = button(say("walk.other"), () => this.showOther(), { image: "more", "data-go": "other" });
    const more = this.isPicked() ? this.pressHarvest() : [];
    if (done) return [onward, grid(2, [undo || back, ...more, tag, undo ? back : "", other].filter(Boolean))];
    return [this.walk.deeds(this.row).map((deed) => this.press(deed, "first")), grid(2, [...more, ...(more.length ? [tag, back, onward] : [back, onward, tag]), other])];
  }

  showOther() {
    const alone = new AtRow(this.pocket, this.tag, null);
    alone.walkBack = this.walk;
    alone.show();
  }

  start(deed) {
    const back = () => this.show();
    const told = place(this.name());
    if (deed.kind === "ears_picked") {
      askNumber({ title: say("ask.ears_picked"), told: [told, place(sayCrate(this.pocket))], onBack: back, onNumber: (value) => this.saveEars({ kind: deed.kind, value }) });
    } else if (deed.ask === "why") {
      askLeft({ name: this.name(), onBack: back, onLeft: (given) => this.saveEars(given) });
    } else if (deed.ask === "count") {
      askNumber({ title: say(`ask.${deed.kind}`), told, onBack: back, onNumber: (value) => this.save({ kind: deed.kind, value }) });
    } else if (deed.ask === "ears") {
      askEars(this.pocket, { row: this.row, tag: this.tag, name: this.name(), onBack: back, onEars: (given) => this.save(given) });
    } else if (deed.ask === "cause") {
      this.askOne(deed, "cause", CAUSES, (detail) => askNumber({
        title: say("ask.lost"), told, onBack: back, onNumber: (value) => this.save({ kind: deed.kind, detail, value }),
      }));
    } else if (deed.ask === "trait") {
      this.askOne(deed, "trait", TRAITS, (detail) => askNumber({
        title: say("ask.score", { trait: say(`trait.${detail}`) }), told: [told, place(say("ask.score.sheet"))], highest: 9,
        onBack: back, onNumber: (value) => this.save({ kind: deed.kind, detail, value }),
      }));
    } else this.save({ kind: deed.kind, value: this.pocket.localNow().slice(0, 10) });
  }

  askOne(deed, group, names, onChoice) {
    askChoice({
      title: say(`ask.${deed.kind}`), told: place(this.name()), onBack: () => this.show(), onChoice,
      choices: names.map((name) => [name, say(`${group}.${name}`)]),
    });
  }

  doubtsOf(given) {
    const { held } = this.pocket;
    const asked = { row: this.row, tag: this.tag, bag: given.bag || "" };
    const now = this.pocket.localNow();
    if (given.kind === "pollinated") {
      return checkPollinated(held, { ...asked, males: given.males || [], type: given.detail, ears: given.value }, now);
    }
    if (given.kind === "tassel_bagged") return checkTassel(held, asked, now);
    if (given.kind === "shoot_bagged") return checkShootBags(held, asked, now);
    return checkPlace(held, this.row, this.tag, now).filter((doubt) => doubt.code === "under_spray");
  }

  async save({ males, ...given }) {
    const doubts = this.doubtsOf({ males, ...given });
    const note = await this.pocket.write({ ...given, tag: this.tag, ...writeDoubt(doubts) });
    if (!note) return;
    signal(doubts.length ? "doubt" : "right");
    this.show([note], doubts);
  }

  async saveEars(given) {
    const done = await saveEars(this.pocket, { ...given, tag: this.tag, bag: "" });
    if (done) this.show(done.notes, done.doubts);
  }

  async takeBack(saved) {
    const undone = await takeBack(this.pocket, saved);
    if (undone) this.show(undone.slice(0, 1));
  }
}
