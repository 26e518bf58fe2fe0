// What can be noted, and how is it asked? One place for each kind, so that it reads the same everywhere.

import { printTag } from "./note.js";
import { knows, say } from "./words.js";

/** What can be noted of a row: its kind, what is asked next, and its picture. Words: deed.<kind>. */
export const DEEDS = [
  { kind: "silk" },
  { kind: "silk_not_yet" },
  { kind: "shoot_bagged", ask: "count" },
  { kind: "shed" },
  { kind: "shed_not_yet" },
  { kind: "tassel_bagged", ask: "count" },
  { kind: "pollinated", ask: "ears" },
  { kind: "spoiled", ask: "cause" },
  { kind: "rated", ask: "trait" },
];

/** Deeds that only the walk asks for: not offered on every row. */
const OTHER_DEEDS = [
  { kind: "sown" }, { kind: "ears_picked", ask: "count" }, { kind: "ears_left", ask: "why" }, { kind: "tassel_unbagged", ask: "count" },
];

export const DEED_OF = Object.fromEntries([...DEEDS, ...OTHER_DEEDS].map((deed) => [deed.kind, deed]));

export const CAUSES = ["silk_exposed", "bag_lost", "wrong_male", "wet_pollen", "plant_broken", "other"];
/** Why an ear stays on its plant. */
export const WHYS = ["no_bag", "rotten", "few_kernels", "off_type", "other"];
export const TRAITS = ["vigour", "standing", "leaf_disease", "ear_rot", "off_types", "overall"];

/** Types of pollination, the common ones first. */
export const TYPES = [
  "self", "cross", "sib", "testcross", "backcross", "three_way", "topcross", "full_sib", "half_sib", "bulk_sib",
  "reciprocal", "diallel", "induction", "pollen_mix", "open", "isolated",
];

/** Which notes settle a task of the walk. */
export const TASK_KINDS = {
  pollinate: ["pollinated"],
  take_down: ["tassel_unbagged"],
  tassel_bag: ["tassel_bagged"],
  shoot_bag: ["shoot_bagged"],
  look: ["silk", "silk_not_yet", "shed", "shed_not_yet"],
  sow: ["sown", "misplanted"],
  pick: ["ears_picked", "ears_left"],
};
export const TASKS = Object.keys(TASK_KINDS);

export const sayType = (type) => (type ? (knows(`type.${type}`) ? say(`type.${type}`) : type) : say("type.none"));

function sayDetail({ kind, detail }) {
  const groups = kind === "ears_left" ? ["left"] : ["cause", "trait"];
  const group = groups.find((one) => detail && knows(`${one}.${detail}`));
  return group ? say(`${group}.${detail}`) : "";
}

/** One note in a few words. */
export function tellNote(note) {
  if (note.kind === "withdrawn") return say("note.withdrawn");
  if (note.kind === "crated") return say("crate.named", { crate: printTag(note.value) });
  const deed = DEED_OF[note.kind];
  const what = knows(`deed.${note.kind}`) ? say(`deed.${note.kind}`) : note.kind;
  const detail = sayDetail(note);
  const value = deed?.ask ? note.value : "";
  return [what, detail && `(${detail.toLowerCase()})`, value].filter(Boolean).join(" ");
}

export const tellMark = (mark) => say(`mark.${mark || "here"}`);
