// Which words and choices does the page know? One place for each, so that they read the same everywhere.

/** What can be noted of a row: label, the line below it, and what is asked next. */
export const DEEDS = [
  { kind: "silk", label: "Silk", hint: "half show" },
  { kind: "silk_not_yet", label: "No silk", hint: "not yet" },
  { kind: "shoot_bagged", label: "Shoot bags", hint: "put on", ask: "count", question: "How many shoot bags did you put on?" },
  { kind: "shed", label: "Pollen", hint: "half shed" },
  { kind: "shed_not_yet", label: "No pollen", hint: "not yet" },
  { kind: "tassel_bagged", label: "Tassel bags", hint: "put on", ask: "count", question: "How many tassel bags did you put on?" },
  { kind: "pollinated", label: "Pollinated", hint: "ears", ask: "ears", question: "How many ears did you pollinate?" },
  { kind: "spoiled", label: "Spoiled", hint: "ears lost", ask: "cause", question: "What happened?" },
  { kind: "rated", label: "Rate", hint: "by eye", ask: "trait", question: "What do you rate?" },
];

export const DEED_OF = Object.fromEntries(DEEDS.map((deed) => [deed.kind, deed]));

export const CAUSES = [
  ["silk_exposed", "Silk was showing"],
  ["bag_lost", "Bag is gone"],
  ["wrong_male", "Wrong pollen"],
  ["wet_pollen", "Wet pollen"],
  ["plant_broken", "Plant broken"],
  ["other", "Something else"],
];

export const TRAITS = [
  ["vigour", "Vigour"],
  ["standing", "Standing"],
  ["leaf_disease", "Leaf disease"],
  ["ear_rot", "Ear rot"],
  ["off_types", "Off-types"],
  ["overall", "Overall"],
];

const CAUSE_OF = Object.fromEntries(CAUSES);
const TRAIT_OF = Object.fromEntries(TRAITS);

/** One note in a few words. */
export function tellNote(note) {
  if (note.kind === "withdrawn") return "Taken back";
  const deed = DEED_OF[note.kind];
  const what = deed ? deed.label : note.kind;
  const detail = CAUSE_OF[note.detail] || TRAIT_OF[note.detail] || "";
  const value = deed?.ask ? note.value : "";
  return [what, detail && `(${detail.toLowerCase()})`, value].filter(Boolean).join(" ");
}

export const MARKS = { sent: "sent", confirmed: "confirmed", aside: "laid aside at the desk" };
