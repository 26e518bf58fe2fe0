// What is done at one row? The instruction, the buttons, and the questions behind them.

import { printTag, readTag } from "./note.js";
import { askChoice, askNumber, askText, button, grid, make, show } from "./parts.js";
import { CAUSES, DEEDS, DEED_OF, TRAITS, tellNote } from "./words.js";

const UNDO_MS = 10000;

/** The screens of one row. `pocket` gives the store and the ways out. */
export function openRow(pocket, tag) {
  const row = (pocket.store.list?.rows || []).find((one) => one.tag === tag) || null;
  const here = new AtRow(pocket, tag, row);
  if (row?.keep_out_until && row.keep_out_until > pocket.localNow()) here.warn();
  else here.show();
}

class AtRow {
  constructor(pocket, tag, row) {
    this.pocket = pocket;
    this.tag = tag;
    this.row = row;
    this.male = null;
    this.bag = "";
  }

  name() {
    return this.row ? `Row ${this.row.number}` : `Tag ${printTag(this.tag)}`;
  }

  /** Nobody goes into a sprayed row; what was done is noted all the same. */
  warn() {
    const until = this.row.keep_out_until.replace("T", " ").slice(0, 16);
    show("keep-out", [
      make("h1", {}, `Keep out of row ${this.row.number}`),
      make("p", { class: "do" }, `It was sprayed. Nobody goes in before ${until}. Ask the crew leader.`),
    ], [
      button("Another row", () => this.pocket.goHome(), { kind: "first" }),
      button("I only note what was done before", () => this.show(), { kind: "quiet" }),
    ]);
  }

  /** This phone's own standing notes on the row that the field list does not count yet. */
  ownNotes() {
    const notes = [...this.pocket.store.notes.values()].filter((note) => note.tag === this.tag);
    const gone = new Set(notes.map((note) => note.replaces).filter(Boolean));
    const after = this.pocket.store.list?.after_number || 0;
    const practice = this.pocket.store.settings.get("practice") === true;
    return notes.filter(
      (note) => note.kind !== "withdrawn" && !gone.has(note.id) && note.practice === practice && note.number > after,
    );
  }

  told() {
    if (!this.row) {
      return [
        make("h1", {}, this.name()),
        make("p", { class: "do" }, "This tag is not on today’s list. You can still write notes on it."),
      ];
    }
    const own = this.ownNotes();
    const done = own.some((note) => note.kind === this.row.next);
    const add = (kind) => own.filter((note) => note.kind === kind).reduce((sum, note) => sum + (Number(note.value) || 0), 0);
    const { ears_wanted: wanted, ears } = this.row.state;
    const now = Math.max(0, ears + add("pollinated") - add("spoiled"));
    return [
      make("h1", {}, this.name()),
      make("p", { class: "place" }, `Range ${this.row.field_row}, place ${this.row.field_col} · ${this.row.line}`),
      make("p", { class: "do" }, done ? `Noted: ${own.map(tellNote).join(", ")}.` : this.row.do),
      wanted ? make("p", { class: "place" }, `Ears: ${now} of ${wanted}`) : "",
    ];
  }

  show(saved = null) {
    const done = this.ownNotes().some((note) => note.kind === this.row?.next);
    const next = done ? null : DEED_OF[this.row?.next || ""];
    // The nine keep their places; the one that the row waits for stands above them once more.
    const press = (deed, kind, hint) =>
      button(deed.label, () => this.start(deed), { hint, kind, "data-kind": kind ? null : deed.kind });
    const status = make("p", { class: "saved", role: "status" }, saved ? `Saved: ${tellNote(saved)}.` : "");
    const undo = saved && saved.kind !== "withdrawn" ? this.makeUndo(saved, status) : "";
    show("row", [this.told(), status], [
      next ? press(next, "first", next.hint) : "",
      grid(3, DEEDS.map((deed) => press(deed, "", deed.hint))),
      make("div", { class: "foot" }, undo, button("Next tag", () => this.pocket.goHome(), { kind: "quiet" })),
    ]);
    if (saved) navigator.vibrate?.(saved.kind === "withdrawn" ? [40, 60, 40] : 80);
  }

  makeUndo(saved, status) {
    const undo = button("Undo", () => this.save({ kind: "withdrawn", replaces: saved.id, value: "undo" }), {
      kind: "undo", hint: "10 s",
    });
    const end = Date.now() + UNDO_MS;
    const timer = setInterval(() => {
      const left = Math.ceil((end - Date.now()) / 1000);
      if (left <= 0 || !undo.isConnected) {
        clearInterval(timer);
        if (undo.isConnected) {
          if (document.activeElement === undo) status.closest("main").querySelector("h1").focus();
          undo.remove();
        }
      } else undo.querySelector(".hint").textContent = `${left} s`;
    }, 250);
    return undo;
  }

  start(deed) {
    this.male = this.row?.males.length === 1 && this.row.make !== "self" ? this.row.males[0] : null;
    this.bag = "";
    const back = () => this.show();
    if (deed.ask === "count") {
      askNumber({ title: deed.question, told: this.which(), onBack: back, onNumber: (value) => this.save({ kind: deed.kind, value }) });
    } else if (deed.ask === "ears") this.askEars();
    else if (deed.ask === "cause") {
      askChoice({ title: deed.question, told: this.which(), choices: CAUSES, onBack: back, onChoice: (detail) => this.askLost(detail) });
    } else if (deed.ask === "trait") {
      askChoice({ title: deed.question, told: this.which(), choices: TRAITS, onBack: back, onChoice: (detail) => this.askScore(detail) });
    } else this.save({ kind: deed.kind, value: this.pocket.localNow().slice(0, 10) });
  }

  which() {
    return make("p", { class: "place" }, this.name());
  }

  askLost(detail) {
    askNumber({
      title: "How many ears are lost?",
      told: this.which(),
      onBack: () => this.show(),
      onNumber: (value) => this.save({ kind: "spoiled", detail, value }),
    });
  }

  askScore(detail) {
    askNumber({
      title: `${TRAITS.find(([trait]) => trait === detail)[1]}: 1 to 9`,
      told: [this.which(), make("p", { class: "place" }, "Use the sheet of your crew leader for what 1 and 9 mean.")],
      highest: 9,
      onBack: () => this.show(),
      onNumber: (value) => this.save({ kind: "rated", detail, value }),
    });
  }

  /** The number of ears; where the pollen is from stands above, and is changed only if it differs from the plan. */
  askEars() {
    const selfed = this.row?.make === "self";
    const from = this.male ? `row ${this.male.number || printTag(this.male.tag)}` : "";
    const said = selfed && !this.male ? "Each with its own pollen." : from ? `Pollen from ${from}.` : "Pollen from: not said yet.";
    const extra = grid(2, [
      button(from ? "Other pollen" : "Say pollen", () => this.askMale(), { kind: "quiet" }),
      button(this.bag ? `Bag ${this.bag}` : "Bag number", () => this.askBag(), { kind: "quiet" }),
    ]);
    askNumber({
      title: "How many ears did you pollinate?",
      told: [this.which(), make("p", { class: "do" }, said)],
      extra,
      onBack: () => this.show(),
      onNumber: (value) => this.save({
        kind: "pollinated",
        value,
        detail: this.typeOf(),
        male: this.male?.tag || "",
        bag: this.bag,
      }),
    });
  }

  /** The planned kind; another male than planned makes it a cross, its own row a self. */
  typeOf() {
    if (this.male?.tag === this.tag) return "self";
    if (!this.row?.make) return this.male ? "cross" : "open";
    if (this.row.make === "self" && this.male) return "cross";
    return this.row.make;
  }

  askMale() {
    const planned = (this.row?.males || []).map((male) =>
      button(`Row ${male.number}`, () => this.setMale(male), { hint: printTag(male.tag) }));
    askText({
      title: "Whose pollen was it?",
      label: "Tag of the pollen row",
      told: this.which(),
      go: "Take this row",
      below: [
        grid(2, [...planned, button("Its own pollen", () => this.setMale({ tag: this.tag, number: this.row?.number }))]),
      ],
      onBack: () => this.askEars(),
      onText: (text) => {
        const { tag, problem } = readTag(text);
        if (problem) return problem;
        const male = (this.pocket.store.list?.rows || []).find((one) => one.tag === tag);
        this.setMale({ tag, number: male?.number });
        return "";
      },
    });
  }

  setMale(male) {
    this.male = male;
    this.askEars();
  }

  askBag() {
    askText({
      title: "Which bag number?",
      label: "Number on the bag (may stay empty)",
      told: this.which(),
      go: "Keep",
      value: this.bag,
      onBack: () => this.askEars(),
      onText: (text) => {
        const bag = text.trim().toUpperCase();
        if ([...bag].length > 16) return "A bag number has at most 16 signs.";
        this.bag = bag;
        this.askEars();
        return "";
      },
    });
  }

  async save(given) {
    const note = await this.pocket.write({ ...given, tag: this.tag });
    if (note) this.show(note);
  }
}
