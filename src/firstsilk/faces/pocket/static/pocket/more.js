// What else can be set, seen and given? Language, practice, who writes, sound, the notes, the way of the notes by hand.

import { tellMark, tellNote } from "./deeds.js";
import { giveFile } from "./give.js";
import { openGive, openTake } from "./handoff.js";
import { printTag } from "./note.js";
import { askText, button, grid, make, place, show } from "./parts.js";
import { showCautions } from "./safety.js";
import { setSound, signal } from "./sound.js";
import { LANGUAGES, language, say } from "./words.js";

const LAST_NOTES = 30;

const backHome = (pocket) => button(say("back"), () => pocket.goHome(), { kind: "quiet", image: "previous" });

/** Keep a setting, then go on; the red screen if it cannot be kept. */
async function set(pocket, name, value, then) {
  try {
    await pocket.store.keep(name, value);
  } catch (fault) {
    pocket.tellRed(fault);
    return;
  }
  then();
}

const sayOn = (on) => say(on ? "more.on" : "more.off");

export function goMore(pocket) {
  const { settings } = pocket.store;
  const phone = settings.get("phone") || {};
  const practice = settings.get("practice") === true;
  const sound = settings.get("sound") !== false;
  const again = () => goMore(pocket);
  show("more", [
    make("h1", {}, say("more.title")),
    place(phone.number ? say("more.phone", { number: phone.number, station: phone.station_name }) : say("more.no_phone")),
  ], [
    makeLanguages(pocket, again),
    grid(2, [
      button(say("more.practice"), () => set(pocket, "practice", !practice, () => { pocket.tellCounts(); again(); }), {
        hint: sayOn(practice), "aria-pressed": String(practice), image: "practice",
      }),
      button(say("more.sound"), () => set(pocket, "sound", !sound, () => { setSound(!sound); signal("right"); again(); }), {
        hint: sayOn(sound), "aria-pressed": String(sound), image: "sound",
      }),
      button(say("more.worker"), () => goWorker(pocket), { hint: settings.get("worker") || say("more.unsaid"), image: "people" }),
      button(say("more.notes"), () => goNotes(pocket), { hint: say("more.notes.hint"), image: "notes" }),
      button(say("more.give"), () => openGive(pocket, { back: again, giveFile }), { image: "give", hint: say("more.give.hint") }),
      button(say("more.take"), () => openTake(pocket, { back: again }), { image: "notes", hint: say("more.give.hint") }),
      button(say("more.cautions"), () => showCautions(pocket, again), { image: "water" }),
      button(say("more.join"), () => pocket.goJoin(), { hint: say("more.join.hint"), image: "tag" }),
    ]),
    backHome(pocket),
  ]);
}

/** One button a language, each in its own words. */
export function makeLanguages(pocket, then) {
  return make("div", { class: "grid of-3 languages", role: "group", "aria-label": say("more.language") }, LANGUAGES.map(([code, name]) =>
    button(name, () => pocket.setLanguage(code, then), { lang: code, "aria-pressed": String(code === language()) })));
}

function goWorker(pocket) {
  askText({
    title: say("worker.title"),
    label: say("worker.label"),
    go: say("keep"),
    value: pocket.store.settings.get("worker") || "",
    onBack: () => goMore(pocket),
    onText(text) {
      const worker = text.trim().toUpperCase();
      if ([...worker].length > 12) return say("worker.long");
      set(pocket, "worker", worker, () => goMore(pocket));
      return "";
    },
  });
}

function goNotes(pocket) {
  const all = pocket.store.own();
  const gone = new Set(all.map((note) => note.replaces).filter(Boolean));
  const items = all.slice(-LAST_NOTES).reverse().map((note) => {
    const may = note.kind !== "withdrawn" && !gone.has(note.id);
    const takeBack = async () => {
      // A note is taken back in the book it stands in: practice cannot undo what counts, nor the other way round.
      const { tag, practice } = note;
      const done = await pocket.write({ kind: "withdrawn", tag, practice, replaces: note.id, value: "taken back" });
      if (done) goNotes(pocket);
    };
    const where = [note.tag && printTag(note.tag), note.bag && printTag(note.bag), note.taken_local.slice(11, 16)].filter(Boolean).join(" · ");
    return make("li", {},
      make("span", {}, make("b", {}, tellNote(note)), ` · ${where}`),
      make("span", { class: "mark" }, gone.has(note.id) ? say("mark.gone") : tellMark(pocket.store.marks.get(note.id))),
      may ? button(say("notes.take_back"), takeBack, { image: "undo", "aria-label": say("notes.take_back.which", { note: tellNote(note), tag: printTag(note.tag) }) }) : "");
  });
  show("notes", [make("h1", {}, say("more.notes")), place(say(items.length ? "notes.last" : "notes.none", { notes: LAST_NOTES }))],
    [make("ul", { class: "notes" }, items), button(say("back"), () => goMore(pocket), { kind: "quiet", image: "previous" })]);
}
