// How do notes leave a phone that gets no network, and reach another? As a file, or as a film of codes from screen to camera.

import { openCamera } from "./codes.js";
import { FILM_VERSION, Viewer, makeFilm } from "./film.js";
import { isWhole } from "./note.js";
import { button, grid, make, place, show } from "./parts.js";
import { makeCode } from "./qr.js";
import { say } from "./words.js";

const QUIET = 4;
const PACES_MS = [100, 200, 350, 600];

const backTo = (back) => button(say("back"), back, { kind: "quiet", image: "previous" });

/** Notes that the station has not confirmed, with those that could not be kept. */
export function waitingNotes(pocket) {
  return [...(pocket.store?.unconfirmed() || []), ...pocket.unsaved].filter(isWhole);
}

/** Ways to give notes by hand. */
export function openGive(pocket, { back, giveFile }) {
  const waiting = waitingNotes(pocket);
  const all = (pocket.store?.notes.size || 0) + pocket.unsaved.length;
  show("give", [make("h1", {}, say("handoff.give")), place(say("handoff.give.text", { notes: waiting.length }))], [
    button(say("handoff.film"), () => showFilm(pocket, { back: () => openGive(pocket, { back, giveFile }) }), {
      kind: "first", hint: say("handoff.film.some", { notes: waiting.length }),
    }),
    button(say("handoff.file"), () => giveFile(pocket), { hint: say("handoff.file.all", { notes: all }), image: "give" }),
    backTo(back),
  ]);
}

/** The notes that wait, as codes one after another, for ever. */
export async function showFilm(pocket, { back }) {
  const notes = waitingNotes(pocket);
  if (!notes.length) {
    show("film", [make("h1", {}, say("handoff.film")), place(say("handoff.film.none"))], [backTo(back)]);
    return;
  }
  const frames = await makeFilm(notes);
  const canvas = make("canvas", { role: "img", style: "align-self: center", "aria-label": say("handoff.film") });
  const line = place("");
  let pace = 1;
  const change = (by) => {
    pace = Math.min(PACES_MS.length - 1, Math.max(0, pace + by));
  };
  show("film", [make("h1", {}, say("handoff.film")), canvas, line, place(say("handoff.film.text"))], [
    grid(2, [button(say("handoff.slower"), () => change(1)), button(say("handoff.faster"), () => change(-1))]),
    backTo(back),
  ]);
  const awake = await navigator.wakeLock?.request("screen").catch(() => null);
  for (let at = 0; canvas.isConnected; at = (at + 1) % frames.length) {
    drawCode(canvas, makeCode(frames[at], frames.length === 1 ? undefined : FILM_VERSION));
    line.textContent = say("handoff.frame", { k: at + 1, n: frames.length });
    await new Promise((resolve) => setTimeout(resolve, PACES_MS[pace]));
  }
  awake?.release();
}

function drawCode(canvas, rows) {
  const size = rows.length + 2 * QUIET;
  // Whole dots for each module: a blurred edge costs more than a smaller code.
  const dots = Math.max(2, Math.floor((Math.min(window.innerWidth, 700) - 8) * (window.devicePixelRatio || 1) / size));
  canvas.width = size * dots;
  canvas.height = size * dots;
  canvas.style.width = `${canvas.width / (window.devicePixelRatio || 1)}px`;
  const pen = canvas.getContext("2d");
  pen.fillStyle = "#fff";
  pen.fillRect(0, 0, canvas.width, canvas.height);
  pen.fillStyle = "#000";
  rows.forEach((row, down) => row.forEach((dark, right) => {
    if (dark) pen.fillRect((right + QUIET) * dots, (down + QUIET) * dots, dots, dots);
  }));
}

/** Ways to take the notes of another phone, to carry them to the station. */
export function openTake(pocket, { back, told = "" }) {
  const problem = make("p", { class: told ? "said" : "problem", role: "alert" }, told);
  const field = make("input", { type: "file", hidden: true, "aria-label": say("handoff.take.file") });
  field.addEventListener("change", async () => keep(pocket, readLines(await field.files[0].text()), back));
  show("take", [make("h1", {}, say("handoff.take")), place(say("handoff.take.text")), problem], [
    button(say("handoff.take.film"), () => takeFilm(pocket, { back }), { kind: "first", image: "scan" }),
    button(say("handoff.take.file"), () => field.click()),
    field,
    backTo(back),
  ]);
}

function readLines(text) {
  const read = { notes: [], damaged: 0 };
  for (const line of text.split("\n").filter((one) => one.trim())) {
    try {
      const note = JSON.parse(line);
      if (!isWhole(note)) throw new SyntaxError("not whole");
      read.notes.push(note);
    } catch {
      read.damaged += 1;
    }
  }
  return read;
}

async function keep(pocket, { notes, damaged }, back) {
  try {
    const fresh = await pocket.store.carry(notes);
    pocket.tellCounts();
    const told = say("handoff.taken", { notes: fresh, known: notes.length - fresh });
    openTake(pocket, { back, told: damaged ? `${told} ${say("handoff.damaged", { lines: damaged })}` : told });
  } catch (fault) {
    pocket.tellRed(fault);
  }
}

function takeFilm(pocket, { back }) {
  const viewer = new Viewer();
  const problem = make("p", { class: "problem", role: "alert" });
  const seen = place("");
  const end = async () => {
    const notes = await viewer.read();
    if (notes) await keep(pocket, { notes, damaged: 0 }, back);
    else openTake(pocket, { back, told: say("handoff.broken") });
  };
  const camera = openCamera({
    onProblem: (text) => {
      problem.textContent = text;
    },
    onTexts(texts) {
      texts.forEach((text) => viewer.add(text));
      if (viewer.frames) seen.textContent = say("handoff.seen", { k: viewer.pieces.size, n: viewer.frames });
      if (viewer.whole) end();
      return viewer.whole;
    },
  });
  const leave = () => {
    camera.stop();
    openTake(pocket, { back });
  };
  show("scan", [make("h1", {}, say("handoff.take.film")), camera.video, seen, problem], [camera.light, camera.photo, backTo(leave)]);
  camera.start();
}
