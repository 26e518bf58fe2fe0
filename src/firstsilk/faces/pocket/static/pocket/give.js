// How do notes leave the phone by hand? As a file, one line of JSON a note.

import { isWhole } from "./note.js";

/** All notes as lines of JSON, for whoever carries them. */
export function giveFile(pocket) {
  const notes = [...(pocket.store?.notes.values() || []), ...pocket.unsaved].filter(isWhole);
  const text = notes.map((note) => `${JSON.stringify(note)}\n`).join("");
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([text], { type: "application/x-ndjson" }));
  link.download = `notes-${pocket.localNow().slice(0, 10)}.ndjson`;
  document.body.append(link);
  link.click();
  link.remove();
}
