// How many ears of a row, and of a bag, are picked and left? As the field list says, and what this phone noted since.

const KINDS = { ears_picked: "picked", ears_left: "left" };

/** What of a row's ears is where; `bags` by code. Notes on one bag are the same ears: the largest counts. */
export function earsOf(held, row) {
  const own = held.ownNotes(row.tag);
  const sum = (kind) => own.reduce((all, note) => all + (note.kind === kind ? Number(note.value) || 0 : 0), 0);
  const told = row.pick || { standing: row.state.ears, picked: 0, left: 0, left_unknown: 0, bags: [] };
  const found = {
    standing: Math.max(0, told.standing + sum("pollinated") - sum("spoiled")),
    picked: told.picked,
    left: told.left,
    unknown: told.left_unknown,
    bags: new Map(told.bags.map((bag) => [bag.bag, { ...bag }])),
  };
  for (const note of own) if (KINDS[note.kind]) addNote(found, note);
  found.toPick = Math.max(0, found.standing - found.picked - found.left);
  return found;
}

function addNote(found, { kind, bag, detail, value }) {
  let more = Number(value) || 0;
  const where = KINDS[kind];
  if (bag) {
    if (!found.bags.has(bag)) found.bags.set(bag, { bag, ears: 0, picked: 0, left: 0 });
    const of = found.bags.get(bag);
    more = Math.max(0, more - of[where]);
    of[where] += more;
  }
  found[where] += more;
  if (detail === "no_bag") found.unknown += more;
}

/** The rows that a bag's ears are on, each with the ears of that bag as they stand. */
export function rowsOfBag(held, code) {
  return (held.earBags.get(code) || []).map(({ row }) => ({ row, ears: earsOf(held, row).bags.get(code) }));
}
