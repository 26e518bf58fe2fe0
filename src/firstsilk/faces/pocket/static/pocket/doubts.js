// How is a doubt told, and how does it go to the leader? Said here in the user's language, written for the station in English.

import { make } from "./parts.js";
import { picture } from "./pictures.js";
import { sayType } from "./deeds.js";
import { say, sayDay, sayInEnglish } from "./words.js";

const MOST_SIGNS = 300;

function sayOne({ code, values }) {
  const said = { ...values };
  for (const name of ["day", "until"]) if (said[name]) said[name] = name === "day" ? sayDay(said.day) : said.until.replace("T", " ").slice(0, 16);
  for (const name of ["kind", "noted"]) if (said[name]) said[name] = sayType(said[name]);
  return say(`doubt.${code}`, said);
}

/** The doubts about what was just saved, read aloud at once. */
export const tellDoubts = (doubts) =>
  make("div", { class: "doubts", role: "alert" }, doubts.map((doubt) => make("p", { "data-doubt": doubt.code }, picture("doubt"), make("span", {}, sayOne(doubt)))));

/** The doubts as a note carries them: the first by its code, all of them as sentences that the leader reads. */
export function writeDoubt(doubts) {
  if (!doubts.length) return {};
  const reasons = doubts.map(({ code, values }) => sayInEnglish(`doubt.${code}`, values)).join(" ");
  return { doubt: doubts[0].code, doubt_reason: [...reasons].slice(0, MOST_SIGNS).join("") };
}
