// What is there to do today, and where can one go from here?

import { TASKS, TASK_KINDS } from "./deeds.js";
import { openBags } from "./bags.js";
import { askCrate, openPicking } from "./harvest.js";
import { goMore } from "./more.js";
import { printTag, readTag } from "./note.js";
import { askChoice, askText, button, grid, make, makeForm, place, show } from "./parts.js";
import { picture } from "./pictures.js";
import { openRow } from "./row.js";
import { canScan, scanTag } from "./scan.js";
import { signal } from "./sound.js";
import { Walk, startWalk } from "./walk.js";
import { say, sayDay } from "./words.js";

/** A typed or scanned text as a tag: goes on with it, or gives back why not. */
function readInto(text, onTag) {
  const { tag, problem, code, values } = readTag(text);
  if (problem) return code ? say(`tag.${code}`, values) : problem;
  onTag(tag);
  return "";
}

export function goHome(pocket) {
  pocket.held.refresh();
  pocket.tellCounts();
  const { held } = pocket;
  const loose = held.bagsWithoutRow().length;
  const open = (tag) => {
    pocket.said = "";
    openAny(pocket, tag);
  };
  show("home", [
    make("h1", {}, held.rows.size ? sayDay(held.day(pocket.localNow())) : say("home.title")),
    make("p", { id: "said", class: "said", role: "status" }, pocket.tellSaid()),
    loose ? make("p", { class: "problem" }, picture("doubt"), make("span", {}, say("home.loose", { bags: loose }))) : "",
  ], [
    tasksOf(pocket),
    held.teams.length > 1 ? button(say("home.team"), () => askTeam(pocket), { image: "people", hint: ownTeam(pocket) || say("team.all") }) : "",
    makeForm({ label: say("home.tag"), go: say("open"), beside: true, onText: (text) => readInto(text, open) }),
    canScan() ? button(say("home.scan"), () => scanTag({ title: say("scan.tag"), onTag: open, onBack: pocket.goHome }), { image: "scan" }) : "",
    grid(2, [
      ...(isPicking(held) ? [
        button(say("pick.title"), () => openPicking(pocket), { image: "bag", hint: say("deed.ears_picked"), "data-go": "bags" }),
        button(say("crate"), () => askCrate(pocket, { onDone: pocket.goHome }), { image: "crated", "data-go": "crate" }),
      ] : [
      button(say("home.evening"), () => openBags(pocket, "evening"), { image: "evening", hint: say("deed.tassel_bagged"), "data-go": "evening" }),
      button(say("home.morning"), () => openBags(pocket, "morning"), { image: "morning", hint: say("deed.pollinated"), "data-go": "morning" }),
      ]),
      button(say("home.send"), async () => {
        document.getElementById("said").textContent = say("sending");
        window.scrollTo(0, 0); // The answer stands above, the button at the foot.
        await pocket.sync();
      }, { id: "send", image: "send" }),
      button(say("more.title"), () => goMore(pocket), { image: "more" }),
    ]),
  ]);
}

/** At harvest, once nothing is left to pollinate, the bags are those on ears. */
const isPicking = (held) => held.isHarvest && !held.stops("pollinate").length && !held.stops("tassel_bag").length;

const ownTeam = (pocket) => {
  const team = pocket.store.settings.get("team");
  return pocket.held.teams.includes(team) ? team : "";
};

/** With which team does this phone go? It is led along that team's stretch only. */
function askTeam(pocket) {
  const choices = [["", say("team.all")], ...pocket.held.teams.map((team) => [team, team])];
  const onChoice = async (team) => {
    try {
      await pocket.store.keep("team", team);
    } catch (fault) {
      pocket.tellRed(fault);
      return;
    }
    pocket.goHome();
  };
  askChoice({ title: say("team.title"), choices, onChoice, onBack: pocket.goHome });
}

/** Today's walks by task: how many rows are left, the first one large. */
function tasksOf(pocket) {
  const walks = TASKS.map((task) => new Walk(pocket, task)).filter((walk) => walk.stops.length);
  const tasks = walks.map((walk) => ({ task: walk.task, all: walk.stops.length, left: walk.countLeft() }));
  const first = tasks.find((one) => one.left) || null;
  const press = (one, kind) => button(say(`task.${one.task}`), () => startWalk(pocket, one.task), {
    kind, image: one.left ? TASK_KINDS[one.task][0] : "tick", hint: say(kind ? "home.rows" : "home.rows.short", { left: one.left, all: one.all }), "data-task": one.task,
  });
  if (!tasks.length) return pocket.held.rows.size ? place(say("home.no_tasks")) : "";
  const others = tasks.filter((one) => one !== first);
  return make("div", { class: "tasks" }, first ? press(first, "first") : "", others.length ? grid(2, others.map((one) => press(one, ""))) : "");
}

/** Whatever tag it is: a row of the list, a bag that is known, or a tag that is neither. */
export function openAny(pocket, tag) {
  const { held } = pocket;
  if (held.crates.has(tag) || (held.earBags.has(tag) && isPicking(held))) openPicking(pocket, { seen: tag });
  else if (!held.rows.has(tag) && held.bagOf(tag).known) pocket.openBag(tag);
  else openRow(pocket, tag);
}

/** Another tag in the middle of a walk; if it is not the row that the walk stands at, that is said before anything is noted. */
export function askTag(pocket, walk, here) {
  const back = () => openRow(pocket, here, walk);
  const take = (tag) => {
    const { rows } = pocket.held;
    if (tag === here) back();
    else if (rows.has(tag) && rows.has(here)) tellOtherRow(pocket, walk, rows.get(here), rows.get(tag));
    else openAny(pocket, tag);
  };
  askText({
    name: "tag",
    title: say("walk.tag"),
    label: say("home.tag"),
    go: say("open"),
    above: canScan() ? button(say("home.scan"), () => scanTag({ title: say("scan.tag"), onTag: take, onBack: back }), { kind: "first", image: "scan" }) : "",
    onBack: back,
    onText: (text) => readInto(text, take),
  });
}

function tellOtherRow(pocket, walk, expected, found) {
  signal("doubt");
  show("other-row", [
    make("h1", {}, say("row.name", { row: found.number })),
    make("p", { class: "do", role: "alert" }, picture("doubt"), make("span", {}, say("doubt.other_row", { row: found.number, walk: expected.number }))),
  ], [
    button(say("other.stay", { row: expected.number }), () => openRow(pocket, expected.tag, walk), { kind: "first", image: "previous" }),
    button(say("other.go", { row: found.number }), () => openRow(pocket, found.tag, walk), { image: "row", hint: printTag(found.tag) }),
  ]);
}
