// In which language does the page speak? Sentences are kept in catalogues, one a language, with the same keys in each.

export const LANGUAGES = [["en", "English"], ["fr", "Français"], ["es", "Español"]];

const held = { language: "en", words: {}, english: {} };

/** The language that fits the phone's own, of those there are. */
export function guessLanguage() {
  const known = LANGUAGES.map(([code]) => code);
  return (navigator.languages || []).map((one) => one.slice(0, 2).toLowerCase()).find((one) => known.includes(one)) || "en";
}

export const language = () => held.language;

/** Read the catalogues of a language and of English, which the station reads. */
export async function loadWords(root, wanted) {
  const english = readCatalogue(root, "en");
  const [words, inEnglish] = await Promise.all([wanted === "en" ? english : readCatalogue(root, wanted), english]);
  Object.assign(held, { language: wanted, words, english: inEnglish });
  document.documentElement.lang = wanted;
}

async function readCatalogue(root, code) {
  const answer = await fetch(`${root}own/words.${code}.json`);
  if (!answer.ok) throw new Error(`words.${code}.json: ${answer.status}`);
  return answer.json();
}

const fill = (text, values) => text.replace(/\{(\w+)\}/g, (whole, name) => String(values[name] ?? ""));

/** One sentence of the page, its values filled in. */
export const say = (key, values = {}) => fill(held.words[key] ?? held.english[key] ?? key, values);

/** The same in English: what is written into a note is read at the station. */
export const sayInEnglish = (key, values = {}) => fill(held.english[key] ?? key, values);

/** Whether there is such a sentence. */
export const knows = (key) => key in held.words || key in held.english;

/** A day YYYY-MM-DD as it is said. */
export function sayDay(day, length = "long") {
  const [year, month, date] = day.split("-").map(Number);
  return new Intl.DateTimeFormat(held.language === "en" ? "en-GB" : held.language, { day: "numeric", month: length }).format(new Date(year, month - 1, date));
}
