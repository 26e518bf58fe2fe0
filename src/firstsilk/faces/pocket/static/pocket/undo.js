// For how long can a slip be taken back with one press?

import { button } from "./parts.js";
import { signal } from "./sound.js";
import { say } from "./words.js";

const UNDO_MS = 10000;

/** A button that counts down and goes. The focus is led away before it does. */
export function makeUndo(onUndo, status) {
  const undo = button(say("undo"), onUndo, { kind: "undo", hint: say("undo.left", { seconds: UNDO_MS / 1000 }), image: "undo" });
  const end = Date.now() + UNDO_MS;
  const timer = setInterval(() => {
    const left = Math.ceil((end - Date.now()) / 1000);
    if (left > 0 && undo.isConnected) {
      undo.querySelector(".hint").textContent = say("undo.left", { seconds: left });
      return;
    }
    clearInterval(timer);
    if (!undo.isConnected) return;
    if (document.activeElement === undo) status.closest("main").querySelector("h1").focus();
    undo.remove();
  }, 250);
  return undo;
}

/** Take notes back, the last first, each in the book it stands in; gives what was written, or null where it is red. */
export async function takeBack(pocket, notes) {
  const written = [];
  for (const { tag, practice, id } of [...notes].reverse()) {
    const note = await pocket.write({ kind: "withdrawn", tag, practice, replaces: id, value: "undo" });
    if (!note) return null;
    written.push(note);
  }
  signal("undo");
  return written;
}
