// Where are the notes on this phone? In two places, and what is in either of them counts.
//
// A browser may lose its whole database at once when it is killed; a flushed file was not lost. So each note is appended
// to a file first and put into the database second, and both are joined at start.

import { FORMAT, crc32, isWhole, newId, readClock, sealNote } from "./note.js";

const DATABASE = "firstsilk-pocket";
const APP = document.documentElement.dataset.app;

/** Something could not be kept. `note` is the note that is at risk, if any. */
export class NotKept extends Error {
  constructor(message, note = null) {
    super(message);
    this.note = note;
  }
}

/** Open both places and join them. */
export async function openStore(root) {
  const log = new Log(`${root}own/log_worker.js`);
  const held = await log.call("open");
  const database = await openDatabase();
  const store = new Store(log, database);
  await store.join(held);
  return store;
}

class Log {
  constructor(address) {
    this.waiting = new Map();
    this.calls = 0;
    this.worker = new Worker(address);
    this.worker.addEventListener("message", (event) => {
      const { call, answer, fault } = event.data;
      const { resolve, reject } = this.waiting.get(call);
      this.waiting.delete(call);
      if (fault) reject(new NotKept(fault));
      else resolve(answer);
    });
    this.worker.addEventListener("error", (event) => {
      for (const { reject } of this.waiting.values()) reject(new NotKept(event.message || "the file writer stopped"));
      this.waiting.clear();
    });
  }

  call(name, given) {
    this.calls += 1;
    const call = this.calls;
    return new Promise((resolve, reject) => {
      this.waiting.set(call, { resolve, reject });
      this.worker.postMessage({ call, name, given });
    });
  }
}

function openDatabase() {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(DATABASE, 1);
    request.onupgradeneeded = () => {
      request.result.createObjectStore("notes", { keyPath: "id" });
      request.result.createObjectStore("marks");
      request.result.createObjectStore("settings");
    };
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(new NotKept(String(request.error)));
    request.onblocked = () => reject(new NotKept("the database is held by another page"));
  });
}

function change(database, table, write) {
  return new Promise((resolve, reject) => {
    const work = database.transaction(table, "readwrite", { durability: "strict" });
    work.oncomplete = () => resolve();
    work.onabort = () => reject(new NotKept(String(work.error || "the database gave up")));
    work.onerror = () => reject(new NotKept(String(work.error)));
    try {
      write(work.objectStore(table));
    } catch (fault) {
      reject(new NotKept(String(fault)));
    }
  });
}

function readTable(database, table) {
  return new Promise((resolve, reject) => {
    const store = database.transaction(table).objectStore(table);
    const keys = store.getAllKeys();
    const values = store.getAll();
    values.onsuccess = () => resolve(keys.result.map((key, at) => [key, values.result[at]]));
    values.onerror = () => reject(new NotKept(String(values.error)));
  });
}

const asLine = (entry) => {
  const text = JSON.stringify(entry);
  return `${crc32(text)} ${text}`;
};

function readLine(line) {
  const text = line.slice(9);
  if (line[8] !== " " || crc32(text) !== line.slice(0, 8)) return null;
  return JSON.parse(text);
}

class Store {
  constructor(log, database) {
    this.log = log;
    this.database = database;
    this.notes = new Map();
    this.marks = new Map();
    this.settings = new Map();
    this.list = null;
    this.repaired = { toFile: 0, toDatabase: 0, damaged: 0 };
    this.turn = Promise.resolve();
    this.highest = 0;
  }

  /** The union of file and database; what one lacks is written back to it. */
  async join(held) {
    const inFile = new Map();
    for (const line of held.lines) {
      const entry = readLine(line);
      if (entry?.note && isWhole(entry.note)) inFile.set(entry.note.id, entry.note);
      else if (entry?.setting) this.settings.set(entry.setting, entry.value);
      else this.repaired.damaged += 1;
    }
    const inDatabase = new Map((await readTable(this.database, "notes")).filter(([, note]) => isWhole(note)));
    const ofDatabase = await readTable(this.database, "settings");
    for (const [key, value] of ofDatabase) if (!this.settings.has(key)) this.settings.set(key, value);
    for (const [key, mark] of await readTable(this.database, "marks")) this.marks.set(key, mark);
    const forFile = [...inDatabase.values()].filter((note) => !inFile.has(note.id));
    const forDatabase = [...inFile.values()].filter((note) => !inDatabase.has(note.id));
    if (forFile.length) await this.log.call("append", forFile.map((note) => asLine({ note })));
    if (forDatabase.length) {
      await change(this.database, "notes", (table) => forDatabase.forEach((note) => table.put(note)));
    }
    this.repaired.toFile = forFile.length;
    this.repaired.toDatabase = forDatabase.length;
    const all = [...inFile.values(), ...forFile].sort((one, other) => one.number - other.number);
    for (const note of all) this.notes.set(note.id, note);
    this.list = readList(held.list);
    this.highest = Math.max(this.settings.get("highest") || 0, ...all.map((note) => note.number));
    if (!this.settings.has("device")) await this.keep("device", newId());
  }

  /** Keep a setting in both places. */
  async keep(setting, value) {
    await this.log.call("append", [asLine({ setting, value })]);
    await change(this.database, "settings", (table) => table.put(value, setting));
    this.settings.set(setting, value);
  }

  /** Keep the field list that came from the station. */
  async keepList(list) {
    const text = JSON.stringify(list);
    await this.log.call("keepList", `${crc32(text)} ${text}`);
    this.list = list;
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
      plant: null,
      value: given.value || "",
      unit: "",
      taken_local,
      offset_min,
      source: "phone",
      app: APP,
      format: FORMAT,
      practice: given.practice ?? this.settings.get("practice") === true,
      doubt: "",
      doubt_reason: "",
      replaces: given.replaces || "",
    });
    return this.save(note);
  }

  /** Keep one made note in both places, after those before it. */
  save(note) {
    const kept = this.turn.then(async () => {
      try {
        await this.log.call("append", [asLine({ note })]);
        await change(this.database, "notes", (table) => table.put(note));
      } catch (fault) {
        throw new NotKept(fault.message, note);
      }
      this.notes.set(note.id, note);
      return note;
    });
    this.turn = kept.catch(() => null);
    return kept;
  }

  /** Mark notes as `sent`, `confirmed` or `aside`; a lost mark only means that they are sent again. */
  async mark(ids, mark) {
    if (!ids.length) return;
    await change(this.database, "marks", (table) => ids.forEach((id) => table.put(mark, id)));
    for (const id of ids) this.marks.set(id, mark);
  }

  /** Notes that the station has not confirmed, by number. */
  unconfirmed() {
    return [...this.notes.values()].filter((note) => !["confirmed", "aside"].includes(this.marks.get(note.id)));
  }

  /** The three numbers that are always shown, and how many the station laid aside. */
  count() {
    const marks = [...this.notes.keys()].map((id) => this.marks.get(id));
    return {
      here: marks.length,
      sent: marks.filter((mark) => mark !== undefined).length,
      confirmed: marks.filter((mark) => mark === "confirmed" || mark === "aside").length,
      aside: marks.filter((mark) => mark === "aside").length,
    };
  }
}

function readList(text) {
  const body = text.slice(9);
  return text.length > 9 && crc32(body) === text.slice(0, 8) ? JSON.parse(body) : null;
}
