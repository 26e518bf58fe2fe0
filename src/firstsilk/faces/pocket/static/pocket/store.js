// Where are the notes on this phone? In two places, and what is in either of them counts.
//
// A browser may lose its whole database at once when it is killed; a flushed file was not lost. So each note is appended
// to a file and put into the database, and both are joined at start.

import { FORMAT, crc32, isWhole, newId, readClock, sealNote } from "./note.js";
import { Database, Log, NotKept } from "./places.js";

export { NotKept };

export const APP = document.documentElement.dataset.app;

/** Open both places and join them; what they hold is read away from the page. */
export async function openStore(root) {
  const store = new Store(new Log(`${root}own/log_worker.js`), new Database());
  const { held, list } = await store.log.call("open");
  await store.join(JSON.parse(held));
  store.list = list ? readList(JSON.parse(list)) : null;
  return store;
}

const asLine = (entry) => {
  const text = JSON.stringify(entry);
  return `${crc32(text)} ${text}`;
};

class Store {
  constructor(log, database) {
    this.log = log;
    this.database = database;
    this.notes = new Map();
    this.marks = new Map();
    this.settings = new Map();
    this.settingAt = 0;
    this.inFile = new Set();
    this.lettingGo = [];
    this.list = null;
    this.repaired = { toFile: 0, toDatabase: 0, damaged: 0, missing: [] };
    this.turn = Promise.resolve();
    this.highest = 0;
  }

  /** The union of file and database; what one lacks is written back to it. */
  async join({ entries, damaged, onlyInDatabase: forFile, notInDatabase, settings, marks }) {
    const inFile = this.readEntries(entries);
    this.repaired.damaged = damaged;
    const ofDatabase = new Map(settings);
    this.marks = new Map(marks);
    await this.finishLettingGo(inFile, ofDatabase);
    const settingsLost = !ofDatabase.has("device");
    for (const [key, value] of ofDatabase) if (!this.settings.has(key)) this.settings.set(key, value);
    const forDatabase = notInDatabase.map((id) => inFile.get(id)).filter(Boolean);
    await this.putBack(forFile, forDatabase, settingsLost);
    const all = [...inFile.values(), ...forFile].sort((one, other) => one.number - other.number);
    for (const note of all) this.notes.set(note.id, note);
    if (!this.settings.has("device")) await this.keep("device", newId());
    this.highest = Math.max(this.settings.get("highest") || 0, ...this.own().map((note) => note.number));
    this.repaired.missing = this.findMissing();
  }

  /** The notes of the log, by id; its settings are taken over, the newest of each. */
  readEntries(entries) {
    const notes = new Map();
    const newest = new Map();
    for (const { note, setting, value, at = 0 } of entries) {
      if (note) notes.set(note.id, note);
      else {
        if (at >= (newest.get(setting) || 0)) this.settings.set(setting, value);
        newest.set(setting, Math.max(at, newest.get(setting) || 0));
        this.settingAt = Math.max(this.settingAt, at);
        this.inFile.add(setting);
      }
    }
    return notes;
  }

  async putBack(forFile, forDatabase, settingsLost) {
    const lines = forFile.map((note) => asLine({ note }));
    const unknown = [...this.settings].filter(([setting]) => !this.inFile.has(setting));
    lines.push(...unknown.map(([setting, value]) => this.settingLine(setting, value)));
    if (lines.length) await this.log.call("append", lines);
    if (forDatabase.length || settingsLost) {
      await this.database.change(["notes", "settings"], (notes, settings) => {
        forDatabase.forEach((note) => notes.put(note));
        for (const [setting, value] of this.settings) settings.put(value, setting);
      });
    }
    this.repaired.toFile = forFile.length;
    this.repaired.toDatabase = forDatabase.length;
  }

  /** This phone's own notes, by number; others may be carried for another phone. */
  own() {
    return [...this.notes.values()].filter((note) => note.device === this.settings.get("device"));
  }

  /** Numbers of this phone, as ranges, that were given out, not let go, and are in neither place. */
  findMissing() {
    const known = [...this.own().map((note) => [note.number, note.number]), ...(this.settings.get("gone") || [])];
    return findHoles(known, this.highest);
  }

  settingLine(setting, value) {
    this.settingAt += 1;
    return asLine({ setting, value, at: this.settingAt });
  }

  /** Keep a setting in both places. */
  async keep(setting, value) {
    await this.log.call("append", [this.settingLine(setting, value)]);
    await this.database.change(["settings"], (table) => table.put(value, setting));
    this.settings.set(setting, value);
  }

  /** Never again give out a number up to this one. */
  async restartAbove(number) {
    if (!(number > this.highest)) return;
    // Who has seen a number of ours has the notes, or tells of the gaps: here they are not missed.
    await this.keep("gone", joinRanges([...(this.settings.get("gone") || []), [this.highest + 1, number]]));
    this.highest = number;
    await this.keep("highest", number);
  }

  /** Keep the field list that came from the station as this text, with what the phone adds to it. */
  async keepList(text, list, added) {
    // The list is long: its text goes into the file as it came.
    await this.log.call("keepList", `{"added":${JSON.stringify(added)},"list":${text}}`);
    this.list = { ...list, ...added };
  }

  /** Make a note, number it, and keep it in both places. Resolves only when both hold it. */
  write(given) {
    const { taken_local, offset_min } = readClock();
    this.highest += 1;
    const note = sealNote({
      id: newId(),
      device: this.settings.get("device"),
      number: this.highest,
      worker: this.settings.get("worker") || "",
      kind: given.kind,
      detail: given.detail || "",
      tag: given.tag || "",
      male: given.male || "",
      bag: given.bag || "",
      plant: given.plant ?? null,
      value: given.value || "",
      unit: "",
      taken_local,
      offset_min,
      source: "phone",
      app: APP,
      format: FORMAT,
      practice: given.practice ?? this.settings.get("practice") === true,
      doubt: [...(given.doubt || "")].slice(0, 40).join(""),
      doubt_reason: [...(given.doubt_reason || "")].slice(0, 300).join(""),
      replaces: given.replaces || "",
    });
    return this.save(note);
  }

  /** Keep one made note in both places, after those before it. */
  save(note) {
    const kept = this.turn.then(async () => {
      // Both at once: each forces its disk, and a kill between them is mended at the next start whichever came first.
      const kept = [
        this.log.call("append", [asLine({ note })]),
        this.database.change(["notes"], (table) => table.put(note)),
      ];
      const failed = (await Promise.allSettled(kept)).find((one) => one.status === "rejected");
      if (failed) throw new NotKept(failed.reason.message, note);
      this.notes.set(note.id, note);
      return note;
    });
    this.turn = kept.catch(() => null);
    return kept;
  }

  /** Keep notes that another phone handed over, as they are; gives how many were new here. */
  carry(notes) {
    const kept = this.turn.then(async () => {
      const fresh = notes.filter((note) => isWhole(note) && !this.notes.has(note.id));
      if (!fresh.length) return 0;
      await this.log.call("append", fresh.map((note) => asLine({ note })));
      await this.database.change(["notes"], (table) => fresh.forEach((note) => table.put(note)));
      for (const note of fresh) this.notes.set(note.id, note);
      await this.restartAbove(Math.max(0, ...this.own().map((note) => note.number)));
      return fresh.length;
    });
    this.turn = kept.catch(() => null);
    return kept;
  }

  /** Let notes go: first from the database with a word of it, then from the file, which is written anew. */
  letGo(notes) {
    if (!notes.length) return Promise.resolve();
    const done = this.turn.then(async () => {
      const ids = notes.map((note) => note.id);
      const mine = notes.filter((note) => note.device === this.settings.get("device"));
      const gone = joinRanges([...(this.settings.get("gone") || []), ...mine.map((note) => [note.number, note.number])]);
      // What is gone is known by number in both places, so that it is never told as missing.
      await this.keep("gone", gone);
      await this.keep("highest", this.highest);
      await this.database.change(["notes", "marks", "settings"], (table, marks, settings) => {
        ids.forEach((id) => table.delete(id));
        ids.forEach((id) => marks.delete(id));
        this.lettingGo.push(...ids);
        settings.put(this.lettingGo, "letting_go");
      });
      for (const id of ids) {
        this.notes.delete(id);
        this.marks.delete(id);
      }
      await this.rewriteLog([...this.notes.values()]);
    });
    this.turn = done.catch(() => null);
    return done;
  }

  /** A page that was killed while it let notes go ends that first: they are no loss that must be put back. */
  async finishLettingGo(inFile, ofDatabase) {
    const ids = ofDatabase.get("letting_go") || [];
    ofDatabase.delete("letting_go");
    if (!ids.length) return;
    for (const id of ids) inFile.delete(id);
    await this.rewriteLog([...inFile.values()]);
  }

  async rewriteLog(notes) {
    const settings = [...this.settings].map(([setting, value]) => this.settingLine(setting, value));
    await this.log.call("rewrite", [...settings, ...notes.map((note) => asLine({ note }))]);
    await this.database.change(["settings"], (table) => table.delete("letting_go"));
    this.lettingGo = [];
  }

  /** Mark notes as `sent`, `confirmed` or `aside`; a lost mark only means that they are sent again. */
  async mark(ids, mark) {
    if (!ids.length) return;
    await this.database.change(["marks"], (table) => ids.forEach((id) => table.put(mark, id)));
    for (const id of ids) this.marks.set(id, mark);
  }

  /** Notes that the station has not confirmed, by number. */
  unconfirmed() {
    return [...this.notes.values()].filter((note) => !["confirmed", "aside"].includes(this.marks.get(note.id)));
  }

  /** The three numbers that are always shown, and how many the station laid aside. */
  count() {
    const device = this.settings.get("device");
    const all = { here: this.notes.size, sent: 0, confirmed: 0, aside: 0, carried: 0 };
    for (const note of this.notes.values()) {
      const mark = this.marks.get(note.id);
      if (mark !== undefined) all.sent += 1;
      if (mark === "confirmed" || mark === "aside") all.confirmed += 1;
      if (mark === "aside") all.aside += 1;
      if (note.device !== device) all.carried += 1;
    }
    return all;
  }
}

/** The field list with what the phone added; an older edition of the page kept both in one. */
const readList = (kept) => (kept.list ? { ...kept.list, ...kept.added } : kept);

/** Ranges of whole numbers, first and last, joined and in order. */
export function joinRanges(ranges) {
  const joined = [];
  for (const [from, to] of [...ranges].sort((one, other) => one[0] - other[0])) {
    const last = joined.at(-1);
    if (last && from <= last[1] + 1) last[1] = Math.max(last[1], to);
    else joined.push([from, to]);
  }
  return joined;
}

/** What the ranges leave out of 1 to the highest. */
export function findHoles(ranges, highest) {
  const holes = [];
  let expected = 1;
  for (const [from, to] of [...joinRanges(ranges), [highest + 1, highest + 1]]) {
    if (from > expected) holes.push([expected, from - 1]);
    expected = Math.max(expected, to + 1);
  }
  return holes;
}

/** Ranges in words: 3, 5–9. */
export const tellRanges = (ranges) => ranges.map(([from, to]) => (from === to ? from : `${from}–${to}`)).join(", ");
