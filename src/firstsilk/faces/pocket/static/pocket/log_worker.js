// Does the append log hold what it was given? Lines are written and flushed before the answer goes back.
//
// Each line is the CRC-32 of its JSON, a blank, and the JSON; the page makes and proves the sums. The log is a file
// notes-<n>.ndjson. It is made shorter only by a whole new file with the next n: the old one goes after the new one is
// flushed. A kill in between leaves both, and at the next start what is in either of them counts.
"use strict";

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

async function open() {
  folder = await navigator.storage.getDirectory();
  list = await openFile("list-1.json");
  const editions = await findEditions();
  edition = editions.at(-1) || 1;
  log = await openFile(nameOf(edition));
  const older = [];
  for (const one of editions.slice(0, -1)) older.push(await readWhole(nameOf(one)));
  // A line torn by a crash gets its end, so that the next one stands alone.
  const text = [...older, readAll(log)].map((part) => (part && !part.endsWith("\n") ? `${part}\n` : part)).join("");
  const lines = text.split("\n").filter((line) => line !== "");
  if (older.length) await rewrite(lines);
  else if (text.length && !endsLine(log)) write(log, "\n", log.getSize());
  return { lines, list: readAll(list) };
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
  const text = readAll(file);
  file.close();
  return text;
}

function readAll(file) {
  const bytes = new Uint8Array(file.getSize());
  file.read(bytes, { at: 0 });
  return decoder.decode(bytes);
}

function endsLine(file) {
  const last = new Uint8Array(1);
  file.read(last, { at: file.getSize() - 1 });
  return last[0] === 10;
}

const asText = (lines) => lines.map((line) => `${line}\n`).join("");

function append(lines) {
  write(log, asText(lines), log.getSize());
}

function keepList(text) {
  list.truncate(0);
  write(list, text, 0);
}

/** A log of exactly these lines: whole on the disk before the one before it goes. */
async function rewrite(lines) {
  const next = await openFile(nameOf(edition + 1));
  try {
    next.truncate(0);
    write(next, asText(lines), 0);
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

function write(file, text, at) {
  const bytes = encoder.encode(text);
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
