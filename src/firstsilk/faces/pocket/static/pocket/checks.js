// What speaks against it? Held against the plan and the day at once, on the phone; what is done is saved all the same.
//
// Each doubt is a code with values, worded by doubt.<code>. The codes are those of the station where it asks the same.

import { countDays } from "./held.js";
import { earsOf } from "./picked.js";

const BAG_BEFORE_DAYS = 2;
// An expected day is off by three days and more: only what lies further outside is doubted.
const EXPECTED_OFF_DAYS = 3;

const say = (code, values = {}) => ({ code, values });

const rowName = (held, tag) => held.rows.get(tag)?.number ?? tag;

/** Doubts about ears pollinated on a row. `males` are tags; none if the bag's male is not known here. */
export function checkPollinated(held, { row, tag, males, type, ears, bag, walkRow }, now) {
  const day = held.day(now);
  const found = [...checkPlace(held, row, tag, now, walkRow)];
  if (held.store.list?.cutoff_on && day > held.store.list.cutoff_on) found.push(say("after_cutoff", { day: held.store.list.cutoff_on }));
  if (row) {
    const state = held.stateOf(row, now);
    found.push(...checkSilk(state, day), ...checkBags(state, ears), ...checkMales(held, row, males, now));
    if (row.make && type && type !== row.make) found.push(say("kind_not_planned", { kind: row.make, noted: type }));
  }
  if (bag) found.push(...checkBag(held, bag, day));
  return found;
}

/** Doubts about tassels bagged on a row. */
export function checkTassel(held, { row, tag, bag, walkRow }, now) {
  const day = held.day(now);
  const found = [...checkPlace(held, row, tag, now, walkRow)];
  if (row && !["male", "self"].includes(row.purpose)) found.push(say("gives_no_pollen", { row: row.number }));
  else if (row) found.push(...checkShed(held, row, day, 1, now));
  const known = bag && held.bagOf(bag);
  if (known?.usedOn) found.push(say("bag_used_already", { day: known.usedOn, row: known.usedRows.map((one) => rowName(held, one)).join(", ") }));
  else if (known?.hungOn && known.hungOn !== day) found.push(say("bag_put_on_twice", { day: known.hungOn }));
  return found;
}

/** Doubts about shoot bags put on. */
export function checkShootBags(held, { row, tag, walkRow }, now) {
  const found = [...checkPlace(held, row, tag, now, walkRow)];
  if (row && !["female", "self"].includes(row.purpose)) found.push(say("bears_no_ears", { row: row.number }));
  return found;
}

/** Doubts about ears picked, or left for a reason (`why`). `here` is another row, where one stands; `ears` are all of a bag. */
export function checkPicked(held, { row, tag, bag = "", ears, why = "", here = null, crate = "" }, now) {
  const found = tag ? checkPlace(held, row, tag, now) : [];
  const rows = (held.earBags.get(bag) || []).map((one) => one.row);
  if (row && here) found.push(say("ear_of_other_row", { row: row.number, walk: here.number }));
  else if (row && rows.length && !rows.includes(row)) found.push(say("ear_of_other_row", { row: rows.map((one) => one.number).join(", "), walk: row.number }));
  if (bag && held.earBags.size && !rows.length) found.push(say("bag_unknown"));
  if (row) found.push(...checkEars(held, row, { bag, ears, why }, held.day(now)));
  if (crate && held.crates.size && !held.crates.has(crate)) found.push(say("crate_unknown"));
  return found;
}

function checkEars(held, row, { bag, ears, why }, day) {
  if (!["female", "self"].includes(row.purpose)) return [say("bears_no_ears", { row: row.number })];
  const state = earsOf(held, row);
  const of = bag && state.bags.get(bag);
  const found = [];
  if (of && of.picked + of.left > 0 && of.picked + of.left >= of.ears) found.push(say("ear_gone_already"));
  const more = Math.max(0, Number(ears) - (of ? of[why ? "left" : "picked"] : 0));
  // An ear left without a bag may never have been one of those that were pollinated.
  const all = state.picked + state.left - state.unknown + (why === "no_bag" ? 0 : more);
  if (more && why !== "no_bag" && all > state.standing) found.push(say("more_ears_than_pollinated", { ears: all, standing: state.standing }));
  if (!why && row.pick && !row.pick.is_ripe && day < row.pick.ripe_on) found.push(say("not_ripe", { day: row.pick.ripe_on }));
  return found;
}

/** Is it a row of the list, may one be there, and is it where the walk is? */
export function checkPlace(held, row, tag, now, walkRow) {
  if (!row) return held.rows.size ? [say("not_on_list", { tag })] : [];
  const found = [];
  if (held.isShut(row, now)) found.push(say("under_spray", { row: row.number, until: row.keep_out_until }));
  if (walkRow && walkRow.number !== row.number) found.push(say("other_row", { row: row.number, walk: walkRow.number }));
  return found;
}

function checkSilk(state, day) {
  const { silk } = state;
  if (!silk) return [];
  if (day > silk.last) return silk.seen ? [say("silk_was_over", { day: silk.last })] : [];
  return countDays(day, silk.first) > slack(silk) ? [say("silk_not_out", { day: silk.half })] : [];
}

function checkBags(state, ears) {
  if (!state.shootBags) return state.silk?.seen ? [say("silk_exposed")] : [say("no_shoot_bags")];
  const all = state.made + (Number(ears) || 0);
  return all > state.shootBags ? [say("more_ears_than_bags", { ears: all, bags: state.shootBags })] : [];
}

function checkMales(held, row, males, now) {
  const planned = row.purpose === "self" ? [row.tag] : row.males.map((male) => male.tag);
  const found = [];
  for (const tag of males) {
    const male = held.rows.get(tag);
    if (!male) found.push(say("male_unknown", { male: tag }));
    else if (planned.length && !planned.includes(tag)) {
      found.push(say("male_not_planned", { male: male.number, planned: planned.map((one) => rowName(held, one)).join(", ") }));
    }
    if (male) found.push(...checkShed(held, male, held.day(now), 0, now));
  }
  return found;
}

const slack = (window) => (window.seen ? 0 : EXPECTED_OFF_DAYS);

/** Does a row shed on that day, or so many days on? Expected counts where it was not seen. */
function checkShed(held, male, day, ahead, now) {
  const { shed } = held.stateOf(male, now);
  if (!shed) return []; // Neither seen nor expected: nothing is known that speaks against it.
  const sheds = countDays(day, shed.first) <= ahead + slack(shed) && countDays(shed.last, day) <= slack(shed);
  return sheds ? [] : [say("male_not_shedding", { male: male.number })];
}

function checkBag(held, bag, day) {
  const known = held.bagOf(bag);
  if (known.usedOn && known.usedOn !== day) {
    return [say("bag_used_already", { day: known.usedOn, row: known.usedRows.map((one) => rowName(held, one)).join(", ") })];
  }
  if (!known.hungOn) return [];
  const since = countDays(known.hungOn, day);
  if (since > BAG_BEFORE_DAYS) return [say("bag_used_late", { day: known.hungOn })];
  return since < 1 ? [say("bag_used_at_once")] : [];
}
