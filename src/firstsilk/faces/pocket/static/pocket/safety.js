// What must be said before a day in the field begins? Short, once a day; the leader, local law and labels decide.

import { button, make, show } from "./parts.js";
import { picture } from "./pictures.js";
import { say, sayDay } from "./words.js";

const CAUTIONS = [["water", "heat"], ["slow", "new"], ["help", "ill"], ["shirt", "pollen"], ["spray", "spray"]];
/** What stands in place of pollen once ears are picked. */
const AT_HARVEST = ["shirt", "tools"];

/** Show the cautions if they were not read on this phone today, then go on. */
export async function startDay(pocket, then) {
  const today = pocket.localNow().slice(0, 10);
  if (pocket.store.settings.get("cautions_read") === today) then();
  else showCautions(pocket, then, today);
}

export function showCautions(pocket, then, today = "") {
  const cautions = pocket.held.isHarvest ? CAUTIONS.map((one) => (one[1] === "pollen" ? AT_HARVEST : one)) : CAUTIONS;
  show("safety", [
    make("h1", {}, say("safety.title")),
    make("ul", { class: "cautions" }, cautions.map(([image, name]) => make("li", {}, picture(image), make("span", {}, say(`safety.${name}`))))),
    make("p", { class: "place" }, say("safety.limits")),
  ], [
    button(say("safety.read"), async () => {
      // If this cannot be kept, the cautions come once more; nothing else depends on it.
      if (today) await pocket.store.keep("cautions_read", today).catch(() => null);
      then();
    }, { kind: "first", image: "tick", hint: today ? sayDay(today) : "" }),
  ]);
}
