// Does the append log hold what it was given? Lines are written and flushed before the answer goes back.
//
// Each line is the CRC-32 of its JSON, a blank, and the JSON; the page makes and proves the sums.
"use strict";

const decoder = new TextDecoder();
const encoder = new TextEncoder();
let log = null;
let list = null;

const steps = { open, append, keepList };

self.addEventListener("message", async (event) => {
  const { call, name, given } = event.data;
  try {
    self.postMessage({ call, answer: await steps[name](given) });
  } catch (fault) {
    self.postMessage({ call, fault: `${fault.name}: ${fault.message}` });
  }
});

async function open() {
  const folder = await navigator.storage.getDirectory();
  log = await openFile(folder, "notes-1.ndjson");
  list = await openFile(folder, "list-1.json");
  const text = readAll(log);
  // A line torn by a crash gets its end, so that the next one stands alone.
  if (text !== "" && !text.endsWith("\n")) write(log, "\n", log.getSize());
  return { lines: text.split("\n").filter((line) => line !== ""), list: readAll(list) };
}

async function openFile(folder, name) {
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

function readAll(file) {
  const bytes = new Uint8Array(file.getSize());
  file.read(bytes, { at: 0 });
  return decoder.decode(bytes);
}

function append(lines) {
  write(log, lines.map((line) => `${line}\n`).join(""), log.getSize());
}

function keepList(text) {
  list.truncate(0);
  write(list, text, 0);
}

function write(file, text, at) {
  const bytes = encoder.encode(text);
  const written = file.write(bytes, { at });
  if (written !== bytes.length) {
    file.truncate(at);
    throw new Error(`only ${written} of ${bytes.length} bytes were written`);
  }
  file.flush();
}
