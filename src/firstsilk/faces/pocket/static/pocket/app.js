// What does the page do when it opens? It opens the notes, keeps every one that is written, and brings them when it can.

import { openBags } from "./bags.js";
import { giveFile } from "./give.js";
import { showFilm, waitingNotes } from "./handoff.js";
import { Held } from "./held.js";
import { askTag, goHome } from "./home.js";
import { makeLanguages } from "./more.js";
import { readClock } from "./note.js";
import { askText, button, make, place, show } from "./parts.js";
import { startDay } from "./safety.js";
import { setSound, signal } from "./sound.js";
import { NotKept, openStore, tellRanges } from "./store.js";
import { bring, join } from "./sync.js";
import { guessLanguage, knows, loadWords, say } from "./words.js";

const root = document.body.dataset.root;
const counts = document.getElementById("counts");
const KEPT_LANGUAGE = "firstsilk-pocket-language";

const pocket = {
  store: null,
  held: null,
  walk: null,
  unsaved: [],
  syncing: null,
  said: "",
  repairs: "",
  localNow: () => readClock().taken_local,
  goHome: () => goHome(pocket),
  goJoin,
  openBag: (bag) => openBags(pocket, halfOf(bag), bag),
  askTag: (walk, here) => askTag(pocket, walk, here),
  setLanguage,
  sync,
  tellCounts,
  tellRed,
  tellSaid,
  write,
};

start();

async function start() {
  const missing = !window.isSecureContext || !navigator.serviceWorker || !navigator.storage?.getDirectory || !navigator.locks;
  // The notes are read while the words are: nothing is shown before both are there.
  const opened = missing ? null : openAlone();
  opened?.catch(() => null);
  try {
    await loadWords(root, readLanguage());
  } catch {
    tellStop("Open the page again with a network", "Ouvrez la page avec le réseau. Abra la página con red.");
    return;
  }
  document.title = say("page.title");
  if (missing) tellStop(say("stop.old"), say("stop.old.text"));
  else await startWith(opened).finally(registerWorker);
}

async function startWith(opened) {
  try {
    pocket.store = await opened;
  } catch (fault) {
    tellRed(fault);
    return;
  }
  if (!pocket.store) {
    tellStop(say("stop.twice"), say("stop.twice.text"));
    return;
  }
  pocket.held = new Held(pocket.store);
  setSound(pocket.store.settings.get("sound"));
  tellRepairs();
  if (pocket.store.settings.get("token")) startDay(pocket, pocket.goHome);
  else goJoin();
  tellCounts();
  navigator.storage.persist?.();
  listen();
  sync();
}

/** The notes, opened by this page alone and held as long as it stands; null where another tab has them. */
function openAlone() {
  return new Promise((resolve, reject) => {
    navigator.locks.request("firstsilk-pocket", { ifAvailable: true }, (lock) => {
      resolve(lock && openStore(root));
      return lock && new Promise(() => {});
    }).catch(reject);
  });
}

function listen() {
  window.addEventListener("online", sync);
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") sync();
  });
}

/** Last of all: the phone holds the page already, or has a network now. */
async function registerWorker() {
  const known = await navigator.serviceWorker.register(`${root}sw.js`, { scope: root, updateViaCache: "none" }).catch(() => null);
  const hadOne = Boolean(navigator.serviceWorker.controller);
  // A newer edition takes over only where nobody is writing a note.
  const offer = () => {
    if (known?.waiting && document.body.dataset.screen === "home") known.waiting.postMessage("take over");
  };
  known?.addEventListener("updatefound", () => known.installing?.addEventListener("statechange", offer));
  setInterval(offer, 5000);
  navigator.serviceWorker.addEventListener("controllerchange", () => {
    if (hadOne && document.body.dataset.screen === "home") window.location.reload();
  });
}

/** A bag that hung overnight is used; one of today, or one that nobody knows after noon, is being hung. */
function halfOf(bag) {
  const now = pocket.localNow();
  const { hungOn } = pocket.held.bagOf(bag);
  if (hungOn) return hungOn < pocket.held.day(now) ? "morning" : "evening";
  return now.slice(11, 13) < "12" ? "morning" : "evening";
}

/** The language is no note: where the browser forgets it, it is asked of the phone again. */
function readLanguage() {
  try {
    return localStorage.getItem(KEPT_LANGUAGE) || guessLanguage();
  } catch {
    return guessLanguage();
  }
}

async function setLanguage(code, then) {
  try {
    await loadWords(root, code);
    localStorage.setItem(KEPT_LANGUAGE, code);
  } catch {
    // It stays as it was, or lasts until the page is closed.
  }
  document.title = say("page.title");
  if (pocket.store) tellRepairs();
  pocket.said = "";
  tellCounts();
  then();
}

function tellRepairs() {
  const { toFile, toDatabase, damaged, missing } = pocket.store.repaired;
  pocket.repairs = [
    toFile + toDatabase && say("repaired.back", { notes: toFile + toDatabase }),
    damaged && say("repaired.damaged", { lines: damaged }),
    missing?.length && say("repaired.missing", { numbers: tellRanges(missing) }),
  ].filter(Boolean).join(" ");
}

/** Keep a note; the red screen if that fails. */
async function write(given) {
  if (pocket.unsaved.length) {
    tellRed(new NotKept("an earlier note is not saved"));
    return null;
  }
  try {
    const note = await pocket.store.write(given);
    pocket.held.add(note);
    tellCounts();
    return note;
  } catch (fault) {
    if (fault.note) pocket.unsaved.push(fault.note);
    tellRed(fault);
    return null;
  }
}

async function retry() {
  try {
    while (pocket.unsaved.length) {
      pocket.held.add(await pocket.store.save(pocket.unsaved[0]));
      pocket.unsaved.shift();
    }
    pocket.said = say("red.saved");
    pocket.goHome();
  } catch (fault) {
    tellRed(fault);
  }
}

function sync() {
  if (!pocket.store?.settings.get("token")) return null;
  pocket.syncing ||= trySync().finally(() => {
    pocket.syncing = null;
    tellCounts();
  });
  tellCounts();
  return pocket.syncing;
}

async function trySync() {
  try {
    const before = pocket.store.list;
    const gaps = await bring(pocket.store, root);
    pocket.said = gaps.length ? say("sync.gaps", { numbers: tellRanges(gaps) }) : say("sync.all", { hour: pocket.localNow().slice(11, 16) });
    // The first list, or one of another day, is what home shows; a walk that is under way goes on.
    if (document.body.dataset.screen === "home" && !isTyping() && before?.today !== pocket.store.list?.today) pocket.goHome();
  } catch (fault) {
    if (fault instanceof NotKept) tellRed(fault);
    else pocket.said = tellNo(fault);
  }
  const line = document.getElementById("said");
  if (line) line.textContent = tellSaid();
}

const isTyping = () => Boolean(document.getElementById("field")?.value);

/** What the station said instead of yes, in this language where it is known. */
const tellNo = (fault) => (knows(`no.${fault.code}`) ? say(`no.${fault.code}`) : fault.message);

/** What was last said; that notes were put back stays to be read. */
function tellSaid() {
  return `${pocket.repairs} ${pocket.said}`.trim();
}

function tellCounts() {
  if (!pocket.store) return;
  const { here, sent, confirmed } = pocket.store.count();
  const practice = pocket.store.settings.get("practice") === true;
  const cell = (number, name) =>
    make("span", { "data-count": name }, make("b", {}, String(number)), ` ${say(`count.${name}`)}`);
  counts.setAttribute("aria-label", say("count.label"));
  counts.replaceChildren(
    cell(here, "here"),
    cell(sent, "sent"),
    cell(confirmed, "confirmed"),
    pocket.syncing ? make("span", { class: "busy" }, say("sending")) : "",
  );
  document.body.classList.toggle("practice", practice);
  if (practice) counts.append(make("strong", { class: "band" }, say("practice.band")));
}

function goJoin() {
  tellCounts();
  const joined = pocket.store.settings.get("token");
  askText({
    name: "join",
    title: say("join.title"),
    label: say("join.label"),
    told: [makeLanguages(pocket, goJoin), place(say("join.text"))],
    go: say("join.go"),
    value: window.location.hash.startsWith("#join=") ? decodeURIComponent(window.location.hash.slice(6)) : "",
    onBack: joined ? pocket.goHome : null,
    async onText(text) {
      try {
        await join(pocket.store, root, text);
      } catch (fault) {
        if (fault instanceof NotKept) tellRed(fault);
        return tellNo(fault);
      }
      window.history.replaceState(null, "", window.location.pathname);
      pocket.said = say("join.done");
      startDay(pocket, pocket.goHome);
      await sync();
      return "";
    },
  });
}

function tellStop(title, text) {
  show("stop", [make("h1", {}, title), make("p", { class: "do" }, text)], []);
}

function tellRed(fault) {
  const held = (pocket.store?.notes.size || 0) + pocket.unsaved.length;
  signal("fail");
  show("red", [
    make("h1", {}, say("red.title")),
    make("p", { class: "do", role: "alert" }, say("red.text")),
    place(`${say("red.why")} `, make("span", { lang: "en" }, fault.message)),
  ], [
    button(say("red.give", { notes: held }), () => giveFile(pocket), { kind: "first", image: "give" }),
    button(say("handoff.film"), () => showFilm(pocket, { back: () => tellRed(fault) }), { hint: say("handoff.film.some", { notes: waitingNotes(pocket).length }) }),
    pocket.store ? button(say("red.again"), retry) : button(say("red.reopen"), () => window.location.reload()),
  ]);
}
