// What are the two places on this phone that hold notes, and what becomes of a question that they do not answer?

const DATABASE = "firstsilk-pocket";
const PATIENCE_MS = 20000;

/** Something could not be kept. `note` is the note that is at risk, if any. */
export class NotKept extends Error {
  constructor(message, note = null) {
    super(message);
    this.note = note;
  }
}

/** The append log, written by a worker. */
export class Log {
  constructor(address) {
    this.waiting = new Map();
    this.calls = 0;
    this.worker = new Worker(address, { type: "module" });
    this.worker.addEventListener("message", (event) => {
      const { call, answer, fault } = event.data;
      const { resolve, reject } = this.waiting.get(call) || {};
      if (!resolve) return;
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
    const answered = new Promise((resolve, reject) => {
      this.waiting.set(call, { resolve, reject });
      this.worker.postMessage({ call, name, given });
    });
    // A writer that never answers must turn the screen red, not leave a person waiting for a tick.
    const late = setTimeout(() => {
      this.waiting.get(call)?.reject(new NotKept("the file writer does not answer"));
    }, PATIENCE_MS);
    return answered.finally(() => clearTimeout(late));
  }
}

/** The database, opened when first asked and once more if the browser dropped it, as phones do to a page at rest. */
export class Database {
  constructor() {
    this.opened = null;
  }

  async use(work) {
    try {
      return await work(await (this.opened ||= openDatabase()));
    } catch (fault) {
      if (/Quota/.test(fault.message)) throw fault;
      const dropped = this.opened;
      this.opened = null;
      (await dropped?.catch(() => null))?.close();
      return work(await (this.opened = openDatabase()));
    }
  }

  change(tables, write) {
    return this.use((database) => change(database, tables, write));
  }

  /** All of a table: pairs of key and value. */
  read(table) {
    return this.use((database) => readTable(database, table));
  }

  async close() {
    (await this.opened)?.close();
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
    request.onsuccess = () => {
      request.result.onversionchange = () => request.result.close();
      resolve(request.result);
    };
    request.onerror = () => reject(new NotKept(String(request.error)));
    request.onblocked = () => reject(new NotKept("the database is held by another page"));
  });
}

function change(database, tables, write) {
  return new Promise((resolve, reject) => {
    const no = (fault) => reject(new NotKept(String(fault || "the database gave up")));
    try {
      const work = database.transaction(tables, "readwrite", { durability: "strict" });
      work.oncomplete = () => resolve();
      work.onabort = () => no(work.error);
      work.onerror = () => no(work.error);
      write(...tables.map((table) => work.objectStore(table)));
    } catch (fault) {
      no(fault);
    }
  });
}

function readTable(database, table) {
  return new Promise((resolve, reject) => {
    try {
      const store = database.transaction(table).objectStore(table);
      const keys = store.getAllKeys();
      const values = store.getAll();
      values.onsuccess = () => resolve(keys.result.map((key, at) => [key, values.result[at]]));
      values.onerror = () => reject(new NotKept(String(values.error)));
    } catch (fault) {
      reject(new NotKept(String(fault)));
    }
  });
}
