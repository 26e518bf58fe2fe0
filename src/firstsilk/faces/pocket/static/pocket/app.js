// What does the page do when it opens, and where can one go from there?

import { isWhole, printTag, readClock, readTag } from "./note.js";
import { askText, button, grid, make, show } from "./parts.js";
import { openRow } from "./row.js";
import { NotKept, openStore } from "./store.js";
import { bring, join } from "./sync.js";
import { canScan, scanTag } from "./scan.js";
import { MARKS, tellNote } from "./words.js";

const root = document.body.dataset.root;
const counts = document.getElementById("counts");

const pocket = {
  store: null,
  unsaved: [],
  syncing: null,
  said: "",
  repairs: "",
  localNow: () => readClock().taken_local,
  goHome,
  write,
};

start();

async function start() {
  const missing = !window.isSecureContext || !navigator.serviceWorker || !navigator.storage?.getDirectory || !navigator.locks;
  if (missing) {
    tellStop("This phone cannot keep notes here", "Open the page by its https address in a newer browser, or use the paper sheet.");
    return;
  }
  registerWorker();
  navigator.locks.request("firstsilk-pocket", { ifAvailable: true }, async (lock) => {
    if (!lock) {
      tellStop("The page is open already", "Go back to the other tab: two at once would number notes twice. Then reload this one.");
      return;
    }
    try {
      pocket.store = await openStore(root);
    } catch (fault) {
      tellRed(fault);
      return;
    }
    navigator.storage.persist?.();
    tellRepairs();
    if (pocket.store.settings.get("token")) goHome();
    else goJoin();
    listen();
    sync();
    await new Promise(() => {});
  });
}

function listen() {
  window.addEventListener("online", sync);
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") sync();
  });
}

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

function tellRepairs() {
  const { toFile, toDatabase, damaged } = pocket.store.repaired;
  if (toFile + toDatabase) pocket.repairs = `${toFile + toDatabase} notes were put back from the second copy on this phone.`;
  if (damaged) pocket.repairs += ` ${damaged} damaged lines were passed over. Tell the crew leader.`;
}

/** Keep a note; the red screen if that fails. */
async function write(given) {
  if (pocket.unsaved.length) {
    tellRed(new NotKept("an earlier note is not saved"));
    return null;
  }
  try {
    const note = await pocket.store.write(given);
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
      await pocket.store.save(pocket.unsaved[0]);
      pocket.unsaved.shift();
    }
    pocket.said = "Saved now.";
    goHome();
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
    const gaps = await bring(pocket.store, root);
    const missing = gaps.map(([from, to]) => (from === to ? from : `${from}–${to}`)).join(", ");
    pocket.said = gaps.length
      ? `The station never got notes ${missing} of this phone, and they are not here. Tell the crew leader.`
      : `All is at the station, ${pocket.localNow().slice(11, 16)}.`;
  } catch (fault) {
    if (fault instanceof NotKept) tellRed(fault);
    else pocket.said = fault.message;
    if (fault.code === "token_unknown" || fault.code === "device_revoked") pocket.cutOff = true;
  }
  const line = document.getElementById("said");
  if (line) line.textContent = tellSaid();
}

/** What was last said; that notes were put back stays to be read. */
const tellSaid = () => `${pocket.repairs} ${pocket.said}`.trim();

function tellCounts() {
  if (!pocket.store) return;
  const { here, sent, confirmed } = pocket.store.count();
  const practice = pocket.store.settings.get("practice") === true;
  const cell = (label, number, name) =>
    make("span", { "data-count": name }, make("b", {}, String(number)), ` ${label}`);
  counts.replaceChildren(
    cell("on this phone", here, "here"),
    cell("sent", sent, "sent"),
    cell("confirmed", confirmed, "confirmed"),
    pocket.syncing ? make("span", { class: "busy" }, "sending…") : "",
  );
  document.body.classList.toggle("practice", practice);
  if (practice) counts.append(make("strong", { class: "band" }, "PRACTICE: nothing counts"));
}

function goHome() {
  tellCounts();
  const scan = canScan() ? button("Scan tag", () => scanTag({ onTag: (tag) => openRow(pocket, tag), onBack: goHome })) : null;
  askText({
    name: "home",
    title: "Which tag?",
    label: "The 8 signs on the tag",
    go: "Open",
    told: make("p", { id: "said", class: "said", role: "status" }, tellSaid()),
    below: grid(2, [
      scan,
      button("Send now", async () => {
        document.getElementById("said").textContent = "Sending…";
        await sync();
      }, { id: "send" }),
      button("More", goMore),
    ].filter(Boolean)),
    onText(text) {
      const { tag, problem } = readTag(text);
      if (problem) return problem;
      pocket.said = "";
      openRow(pocket, tag);
      return "";
    },
  });
}

function goJoin() {
  tellCounts();
  askText({
    name: "join",
    title: "Join the station",
    label: "Code from the crew leader",
    told: make("p", { class: "place" }, "The crew leader makes a code at the desk. It works once, for ten minutes."),
    go: "Join",
    onBack: pocket.store.settings.get("token") ? goHome : null,
    async onText(text) {
      try {
        await join(pocket.store, root, text);
      } catch (fault) {
        if (fault instanceof NotKept) tellRed(fault);
        return fault.message;
      }
      pocket.said = "This phone has joined.";
      goHome();
      await sync();
      return "";
    },
  });
}

function goMore() {
  const { settings } = pocket.store;
  const phone = settings.get("phone") || {};
  const practice = settings.get("practice") === true;
  const set = async (name, value, then) => {
    try {
      await pocket.store.keep(name, value);
      then();
    } catch (fault) {
      tellRed(fault);
    }
  };
  show("more", [
    make("h1", {}, "More"),
    make("p", { class: "place" }, `Phone ${phone.number || "?"} of ${phone.station_name || "no station"}`),
  ], [
    grid(2, [
      button("Practice", () => set("practice", !practice, () => { tellCounts(); goMore(); }), {
        hint: practice ? "is on" : "is off", "aria-pressed": String(practice),
      }),
      button("Who writes", () => goWorker(set), { hint: settings.get("worker") || "not said" }),
      button("My notes", goNotes, { hint: "take back" }),
      button("Give as file", giveFile, { hint: "all notes" }),
      button("Join again", goJoin, { hint: "new code" }),
    ]),
    button("Back", goHome, { kind: "quiet" }),
  ]);
}

function goWorker(set) {
  askText({
    title: "Who writes?",
    label: "Your worker code, not your name",
    go: "Keep",
    value: pocket.store.settings.get("worker") || "",
    onBack: goMore,
    onText(text) {
      const worker = text.trim().toUpperCase();
      if ([...worker].length > 12) return "A worker code has at most 12 signs.";
      set("worker", worker, goMore);
      return "";
    },
  });
}

function goNotes() {
  const all = [...pocket.store.notes.values()];
  const gone = new Set(all.map((note) => note.replaces).filter(Boolean));
  const items = all.slice(-30).reverse().map((note) => {
    const may = note.kind !== "withdrawn" && !gone.has(note.id);
    const takeBack = async () => {
      // A note is taken back in the book it stands in: practice cannot undo what counts, nor the other way round.
      const { tag, practice } = note;
      const done = await write({ kind: "withdrawn", tag, practice, replaces: note.id, value: "taken back" });
      if (done) goNotes();
    };
    return make("li", {},
      make("span", {}, make("b", {}, tellNote(note)), ` · ${printTag(note.tag)} · ${note.taken_local.slice(11, 16)}`),
      make("span", { class: "mark" }, gone.has(note.id) ? "taken back" : MARKS[pocket.store.marks.get(note.id)] || "on this phone"),
      may ? button("Take back", takeBack, { "aria-label": `Take back ${tellNote(note)} on ${printTag(note.tag)}` }) : "");
  });
  show("notes", [make("h1", {}, "My notes"), make("p", { class: "place" }, items.length ? "The last 30, newest first." : "None yet.")],
    [make("ul", { class: "notes" }, items), button("Back", goMore, { kind: "quiet" })]);
}

/** All notes as lines of JSON, for whoever carries them by hand. */
function giveFile() {
  const notes = [...(pocket.store?.notes.values() || []), ...pocket.unsaved].filter(isWhole);
  const text = notes.map((note) => `${JSON.stringify(note)}\n`).join("");
  const link = make("a", {
    href: URL.createObjectURL(new Blob([text], { type: "application/x-ndjson" })),
    download: `notes-${pocket.localNow().slice(0, 10)}.ndjson`,
  });
  document.body.append(link);
  link.click();
  link.remove();
}

function tellStop(title, text) {
  show("stop", [make("h1", {}, title), make("p", { class: "do" }, text)], []);
}

function tellRed(fault) {
  const held = (pocket.store?.notes.size || 0) + pocket.unsaved.length;
  show("red", [
    make("h1", {}, "NOT SAVED"),
    make("p", { class: "do", role: "alert" }, "Stop writing. Give the notes as a file, or write the last one on paper."),
    make("p", { class: "place" }, `Why: ${fault.message}`),
  ], [
    button(`Give ${held} notes as a file`, giveFile, { kind: "first" }),
    pocket.store ? button("Try again", retry) : button("Open again", () => window.location.reload()),
  ]);
}
