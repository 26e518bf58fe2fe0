// What is a note, sign for sign as the station reads it? Note format 1, and tags with their check sign.

export const FORMAT = 1;

export const BODY_FIELDS = [
  "id", "device", "number", "worker", "kind", "detail", "tag", "male", "bag", "plant", "value", "unit",
  "taken_local", "offset_min", "source", "app", "format", "practice", "doubt", "doubt_reason", "replaces",
];

const encoder = new TextEncoder();

const CRC_TABLE = Uint32Array.from({ length: 256 }, (_, byte) => {
  let rest = byte;
  for (let bit = 0; bit < 8; bit += 1) rest = rest & 1 ? (rest >>> 1) ^ 0xedb88320 : rest >>> 1;
  return rest;
});

/** CRC-32 of bytes, as a number. */
export function crcOfBytes(bytes) {
  let rest = 0xffffffff;
  // By index: a loop over the bytes themselves takes four times as long, and a field list has millions of them.
  for (let at = 0; at < bytes.length; at += 1) rest = CRC_TABLE[(rest ^ bytes[at]) & 0xff] ^ (rest >>> 8);
  return (rest ^ 0xffffffff) >>> 0;
}

/** The sum of bytes as it is written: eight lower-case hexadecimal signs. */
export const sumOfBytes = (bytes) => crcOfBytes(bytes).toString(16).padStart(8, "0");

/** CRC-32 of a text in UTF-8, as eight lower-case hexadecimal signs. */
export const crc32 = (text) => sumOfBytes(encoder.encode(text));

/** The body as one JSON array in the order of BODY_FIELDS: the same bytes as the station writes. */
export function canonicalText(note) {
  return JSON.stringify(BODY_FIELDS.map((name) => note[name]));
}

/** The note with its check sum written. */
export function sealNote(note) {
  return { ...note, check_sum: crc32(canonicalText(note)) };
}

/** True if a note read back from the phone's own store is whole. */
export function isWhole(note) {
  return typeof note === "object" && note !== null && note.check_sum === crc32(canonicalText(note));
}

/** A UUID version 7 (RFC 9562) from milliseconds since 1970 and ten random bytes. */
export function uuid7(unixMs, dice) {
  const bytes = new Uint8Array(16);
  let rest = unixMs;
  for (let at = 5; at >= 0; at -= 1) {
    bytes[at] = rest % 256;
    rest = Math.floor(rest / 256);
  }
  bytes.set(dice, 6);
  bytes[6] = (bytes[6] & 0x0f) | 0x70;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

/** A new id from the phone's clock and dice. */
export function newId() {
  return uuid7(Date.now(), crypto.getRandomValues(new Uint8Array(10)));
}

/** The phone's clock as local time YYYY-MM-DDTHH:MM:SS and its offset from UTC in minutes. */
export function readClock(now = new Date()) {
  const two = (number) => String(number).padStart(2, "0");
  const day = `${String(now.getFullYear()).padStart(4, "0")}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
  const hour = `${two(now.getHours())}:${two(now.getMinutes())}:${two(now.getSeconds())}`;
  return { taken_local: `${day}T${hour}`, offset_min: Math.round(0 - now.getTimezoneOffset()) };
}

const TAG_ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
const CHECK_ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*";
const READ_AS = { I: "1", L: "1", O: "0" };

/** The ISO/IEC 7064 MOD 37-2 check sign of a text. */
export function findCheckSign(body) {
  let state = 0;
  for (const sign of body) state = ((state + CHECK_ALPHABET.indexOf(sign)) * 2) % 37;
  return CHECK_ALPHABET[(38 - state) % 37];
}

const SAID = {
  bad_sign: ({ sign }) => `“${sign}” is on no tag. Look at that sign again.`,
  bad_length: ({ n }) => `A tag has 8 signs, this has ${n}. Read the whole tag again.`,
  bad_check: () => "One sign is wrong, or two are exchanged. Read the tag again, sign by sign.",
};
const isWrong = (code, values = {}) => ({ code, values, problem: SAID[code](values) });

/** Read a typed or scanned tag: { tag } if it is one, else { code, values } and { problem } as a sentence. */
export function readTag(text) {
  let signs = "";
  for (const sign of text.toUpperCase()) {
    if (sign === "-" || sign.trim() === "") continue;
    const meant = READ_AS[sign] || sign;
    if (!TAG_ALPHABET.includes(meant)) return isWrong("bad_sign", { sign });
    signs += meant;
  }
  if (signs.length !== 8) return isWrong("bad_length", { n: signs.length });
  if (findCheckSign(signs.slice(0, 7)) !== signs[7]) return isWrong("bad_check");
  return { tag: signs };
}

/** A tag as it is printed: XXXX-XXXX. */
export function printTag(tag) {
  return tag.length === 8 ? `${tag.slice(0, 4)}-${tag.slice(4)}` : tag;
}
