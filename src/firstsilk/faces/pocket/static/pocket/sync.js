// How do the notes reach the station? Each once, however often they are sent, and none is thought sent before it is there.

import { FORMAT, readClock } from "./note.js";
import { APP } from "./store.js";

const BATCH = 100;
const PATIENCE_MS = 20000;
/** Days that a confirmed note stays on the phone though nobody closed its day; two weeks of walking are at hand. */
export const KEEP_DAYS = 14;

/** What the station, or the way to it, said instead of yes. `code` is stable. */
export class NoAnswer extends Error {
  constructor(message, code) {
    super(message);
    this.code = code;
  }
}

async function ask(address, options = {}, read = JSON.parse) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), PATIENCE_MS);
  try {
    const response = await fetch(address, { ...options, signal: stop.signal, credentials: "omit", cache: "no-store" });
    const text = await response.text();
    if (response.ok) return read(text);
    const answer = JSON.parse(text);
    throw new NoAnswer(`${answer.message || "The station said no."} ${answer.yes_if || ""}`.trim(), answer.code || "no");
  } catch (fault) {
    if (fault instanceof NoAnswer) throw fault;
    throw new NoAnswer("No network here. The notes are safe on this phone.", "no_network");
  } finally {
    clearTimeout(timer);
  }
}

const asJson = (body) => ({ method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) });

/** Join the station with the code that the crew leader shows. */
export async function join(store, root, code) {
  const answer = await ask(`${root}api/v1/enrol`, asJson({ code, device: store.settings.get("device") }));
  await store.keep("phone", { number: answer.number, station: answer.station, station_name: answer.station_name });
  await store.restartAbove(answer.highest_number);
  await store.keep("token", answer.token);
}

/** Send all notes that are not confirmed, take a fresh field list, let old notes go. Returns numbers that nobody has. */
export async function bring(store, root) {
  let answer = await sendAll(store, root);
  // The station may have lost notes that it once confirmed: those that are still here go again.
  const again = answer.gaps.length ? await unmarkGaps(store, answer.gaps) : 0;
  if (again) answer = await sendAll(store, root);
  const [text, list] = await ask(`${root}api/v1/walk`, { headers: authorise(store) }, (all) => [all, JSON.parse(all)]);
  await store.keepList(text, list, { after_number: answer.confirmed_to, fetched_at: readClock().taken_local });
  // Room is all that is lost if this fails: the notes stay, and the next time lets them go.
  await store.letGo(findOld(store, answer)).catch(() => null);
  return answer.gaps;
}

/** Confirmed notes whose day the crew leader has closed, or that are older than two weeks by the station's clock. */
export function findOld(store, { closed_days: closed = [], server_time: now = "" }) {
  const last = new Date(Date.parse(now) - KEEP_DAYS * 86400000);
  const before = Number.isNaN(last.getTime()) ? "" : last.toISOString().slice(0, 10);
  return [...store.notes.values()].filter((note) => {
    const day = note.taken_local.slice(0, 10);
    return ["confirmed", "aside"].includes(store.marks.get(note.id)) && (closed.includes(day) || day < before);
  });
}

async function sendAll(store, root) {
  const waiting = store.unconfirmed();
  let answer = null;
  for (let start = 0; start < waiting.length || answer === null; start += BATCH) {
    answer = await sendBatch(store, root, waiting.slice(start, start + BATCH), Math.max(0, waiting.length - start - BATCH));
  }
  return answer;
}

async function sendBatch(store, root, notes, waiting) {
  const { taken_local, offset_min } = readClock();
  const body = {
    format: FORMAT,
    device: store.settings.get("device"),
    sent_local: taken_local,
    sent_offset_min: offset_min,
    highest_number: store.highest,
    app: APP,
    waiting,
    notes,
  };
  const options = asJson(body);
  const answer = await ask(`${root}api/v1/notes`, { ...options, headers: { ...options.headers, ...authorise(store) } });
  const here = (ids) => ids.filter((id) => store.notes.has(id));
  await store.mark(notes.map((note) => note.id), "sent");
  await store.mark(here([...answer.stored, ...answer.already]), "confirmed");
  await store.mark(here(answer.aside.map((one) => one.id)), "aside");
  // A phone put back from a copy of itself must not give a number out twice.
  await store.restartAbove(answer.highest_number || 0);
  return answer;
}

async function unmarkGaps(store, gaps) {
  const lost = store.own().filter(
    (note) => store.marks.get(note.id) === "confirmed" && gaps.some(([from, to]) => from <= note.number && note.number <= to),
  );
  await store.mark(lost.map((note) => note.id), "sent");
  return lost.length;
}

const authorise = (store) => ({ Authorization: `Bearer ${store.settings.get("token")}` });
