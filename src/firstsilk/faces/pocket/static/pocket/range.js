// What lies ahead of the walker? The range as it is walked: here at the foot, ahead upwards, where to stop in black.

import { make } from "./parts.js";
import { picture } from "./pictures.js";
import { say } from "./words.js";

const SLOTS = 7;

/** Slots from the walker's row on: rows, runs of rows to pass by, and turns into the next range. Here comes first. */
export function lookAhead(order, at, stops, males, slots = SLOTS) {
  const found = [];
  let passed = 0;
  for (let next = at; next < order.length && found.length < slots; next += 1) {
    const row = order[next];
    const before = order[next - 1];
    const turns = next > at && before && before.field_row !== row.field_row;
    const matters = next === at || stops.has(row.tag) || males.has(row.tag);
    if (passed && (turns || matters)) {
      found.push({ pass: passed });
      passed = 0;
    }
    if (turns) found.push({ turn: row.field_row });
    if (!matters) passed += 1;
    else found.push({ row, here: next === at, stop: stops.has(row.tag), male: males.has(row.tag) });
  }
  if (passed && found.length < slots) found.push({ pass: passed });
  return found.slice(0, slots);
}

/** The picture of the range ahead, with the same words for those who hear it. */
export function drawRange(order, at, stops, males) {
  const slots = lookAhead(order, at, stops, males);
  const items = slots.map((slot) => {
    if (slot.turn !== undefined) return make("li", { class: "turn" }, make("span", { "aria-hidden": "true" }, `↷ ${slot.turn}`), make("span", { class: "spoken" }, say("walk.range", { range: slot.turn })));
    if (slot.pass) return make("li", { class: "pass" }, `⋮ ${slot.pass}`);
    const kind = ["stake", slot.here && "here", slot.stop && "stop", slot.male && "male"].filter(Boolean).join(" ");
    const words = [slot.here ? say("walk.here") : "", slot.male ? say("walk.male") : ""].filter(Boolean).join(", ");
    return make("li", { class: kind }, slot.male ? picture("shed") : "", make("b", {}, String(slot.row.number)),
      words ? make("span", { class: "spoken" }, ` ${words}`) : "");
  });
  return make("div", { class: "range" }, make("span", { class: "way", "aria-hidden": "true" }, "▲"),
    make("ol", { reversed: true, "aria-label": say("walk.ahead") }, items.reverse()));
}
