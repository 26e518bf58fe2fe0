// Does the append log hold what it was given? Lines are written and flushed before the answer goes back.
//
// Each line is the CRC-32 of its JSON, a blank, and the JSON. The log is a file notes-<n>.ndjson. It is made shorter
// only by a whole new file with the next n: the old one goes after the new one is flushed. A kill in between leaves
// both, and at the next start what is in either of them counts.
//
// At the start it reads the database too and proves every sum: the page, which does one thing at a time, is told in one
// answer what is where. The answer is text, since a browser copies thousands of small things to a page slowly.

import { isWhole, sumOfBytes } from "./note.js";
import { Database } from "./places.js";

const SUM_SIGNS = 8;
const NEW_LINE = 10;
const decoder = new TextDecoder();
const encoder = new TextEncoder();
const LOG_NAME = /^notes-(\d+)\.ndjson$/;
let folder = null;
let log = null;
let edition = 1;
let list = null;

const steps = { open, append, keepList, rewrite };

// One step at a time: nothing is appended to a log that is being written anew.
let turn = Promise.resolve();

self.addEventListener("message", (event) => {
  const { call, name, given } = event.data;
  turn = turn.then(async () => {
    try {
      self.postMessage({ call, answer: await steps[name](given) });
    } catch (fault) {
      self.postMessage({ call, fault: `${fault.name}: ${fault.message}` });
    }
  });
});

/** What both places hold: the log's entries, the notes that only the database has, the ids that it lacks, its tables. */
async function open() {
  const asked = readDatabase();
  asked.catch(() => null); // Told below, after the files.
  folder = await navigator.storage.getDirectory();
  list = await openFile("list-1.json");
  const inFile = readLines(await openLog());
  const { notes, settings, marks } = await asked;
  const whole = notes.map(([, note]) => note).filter(isWhole);
  const ids = new Set(whole.map((note) => note.id));
  const rest = JSON.stringify({
    damaged: inFile.damaged + notes.length - whole.length,
    onlyInDatabase: whole.filter((note) => !inFile.ids.has(note.id)),
    notInDatabase: [...inFile.ids].filter((id) => !ids.has(id)),
    settings,
    marks,
  });
  return { held: `{"entries":[${inFile.entries.join(",")}],${rest.slice(1)}`, list: readSummed(readAll(list)) };
}

/** The log is open after that; gives the bytes of all lines, of a log as well that a kill left beside it. */
async function openLog() {
  const editions = await findEditions();
  edition = editions.at(-1) || 1;
  log = await openFile(nameOf(edition));
  const parts = [];
  for (const one of editions.slice(0, -1)) parts.push(await readWhole(nameOf(one)));
  parts.push(readAll(log));
  if (parts.length > 1) {
    await rewrite(parts.flatMap((part) => decoder.decode(part).split("\n")).filter((line) => line !== ""));
    return readAll(log);
  }
  // A line torn by a crash gets its end, so that the next one stands alone.
  if (parts[0].length && parts[0].at(-1) !== NEW_LINE) write(log, Uint8Array.of(NEW_LINE), log.getSize());
  return parts[0];
}

/** The lines whose sum is right, as JSON; the ids of the notes in them; and how many lines are damaged.
 *
 * The sum of a line covers the note with its seal: what was whole when it was written is whole. */
function readLines(bytes) {
  const read = { entries: [], ids: new Set(), damaged: 0 };
  for (let from = 0, to = 0; from < bytes.length; from = to + 1) {
    to = bytes.indexOf(NEW_LINE, from);
    if (to < 0) to = bytes.length;
    if (to === from) continue;
    const text = readSummed(bytes.subarray(from, to));
    const { note, setting } = (text && JSON.parse(text)) || {};
    if (note) read.ids.add(note.id);
    if (note || setting) read.entries.push(text);
    else read.damaged += 1;
  }
  return read;
}

/** The text behind its own sum and a blank; empty if the sum is another. */
function readSummed(bytes) {
  const body = bytes.subarray(SUM_SIGNS + 1);
  const sum = decoder.decode(bytes.subarray(0, SUM_SIGNS + 1));
  return sum === `${sumOfBytes(body)} ` ? decoder.decode(body) : "";
}

/** The tables of the database, each as pairs of key and value. */
async function readDatabase() {
  const tables = new Database();
  const names = ["notes", "settings", "marks"];
  const read = await Promise.all(names.map((name) => tables.read(name)));
  await tables.close();
  return Object.fromEntries(names.map((name, at) => [name, read[at]]));
}

const nameOf = (number) => `notes-${number}.ndjson`;

async function findEditions() {
  const found = [];
  for await (const name of folder.keys()) {
    const [, number] = LOG_NAME.exec(name) || [];
    if (number) found.push(Number(number));
  }
  return found.sort((one, other) => one - other);
}

async function openFile(name) {
  const handle = await folder.getFileHandle(name, { create: true });
  // A page that was just left may hold the file for a moment longer.
  for (let tries = 1; ; tries += 1) {
    try {
      return await handle.createSyncAccessHandle();
    } catch (fault) {
      if (tries === 40) throw fault;
      await new Promise((resolve) => setTimeout(resolve, 100));
    }
  }
}

async function readWhole(name) {
  const file = await openFile(name);
  const bytes = readAll(file);
  file.close();
  return bytes;
}

function readAll(file) {
  const bytes = new Uint8Array(file.getSize());
  file.read(bytes, { at: 0 });
  return bytes;
}

const asBytes = (lines) => encoder.encode(lines.map((line) => `${line}\n`).join(""));

function append(lines) {
  write(log, asBytes(lines), log.getSize());
}

function keepList(text) {
  const body = encoder.encode(text);
  const bytes = new Uint8Array(SUM_SIGNS + 1 + body.length);
  bytes.set(encoder.encode(`${sumOfBytes(body)} `));
  bytes.set(body, SUM_SIGNS + 1);
  list.truncate(0);
  write(list, bytes, 0);
}

/** A log of exactly these lines: whole on the disk before the one before it goes. */
async function rewrite(lines) {
  const next = await openFile(nameOf(edition + 1));
  try {
    next.truncate(0);
    write(next, asBytes(lines), 0);
  } catch (fault) {
    next.close();
    await folder.removeEntry(nameOf(edition + 1)).catch(() => null);
    throw fault;
  }
  const old = log;
  log = next;
  edition += 1;
  old.close();
  for (const one of await findEditions()) if (one < edition) await folder.removeEntry(nameOf(one));
}

function write(file, bytes, at) {
  let written = 0;
  try {
    written = file.write(bytes, { at });
    if (written !== bytes.length) throw new Error(`only ${written} of ${bytes.length} bytes were written`);
    file.flush();
  } catch (fault) {
    // Half a line must not stand in the way of the next.
    if (file.getSize() > at) file.truncate(at);
    throw fault;
  }
}
