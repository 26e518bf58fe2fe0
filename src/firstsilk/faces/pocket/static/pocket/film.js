// How do notes travel as a film of codes? Packed, cut into frames, each with its place, its check sum and that of the whole.
//
// A frame is `SILK1:` and, in base 45 (RFC 9285): CRC-32 of the whole packed film, place from 0, number of frames, CRC-32
// of this piece, and the piece. The packed film is raw deflate of JSON: the columns of the notes. Frames may come in any
// order, more than once, and between those of another film.

import { BODY_FIELDS, crcOfBytes, isWhole } from "./note.js";
import { countSigns } from "./qr.js";

export const FILM_VERSION = 15;
const MARK = "SILK1:";
const SIGNS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:";
const HEAD_BYTES = 12;
/** Unpacked, 20,000 notes are about 9 MB; more than this is no film of ours. */
const LARGEST_BYTES = 32 * 1024 * 1024;
const COLUMNS = [...BODY_FIELDS, "check_sum"];

export function toBase45(bytes) {
  let text = "";
  for (let at = 0; at < bytes.length; at += 2) {
    const two = at + 1 < bytes.length;
    let value = two ? bytes[at] * 256 + bytes[at + 1] : bytes[at];
    for (let sign = 0; sign < (two ? 3 : 2); sign += 1) {
      text += SIGNS[value % 45];
      value = Math.floor(value / 45);
    }
  }
  return text;
}

/** The bytes of a text in base 45, or null if it is none. */
export function fromBase45(text) {
  if (text.length % 3 === 1) return null;
  const bytes = [];
  for (let at = 0; at < text.length; at += 3) {
    const signs = [...text.slice(at, at + 3)].map((sign) => SIGNS.indexOf(sign));
    const value = signs.reduceRight((sum, sign) => sum * 45 + sign, 0);
    if (signs.includes(-1) || value > (signs.length === 3 ? 65535 : 255)) return null;
    if (signs.length === 3) bytes.push(value >>> 8);
    bytes.push(value & 255);
  }
  return Uint8Array.from(bytes);
}

/** The frames of a film of these notes, as texts. */
export async function makeFilm(notes, version = FILM_VERSION) {
  const columns = COLUMNS.map((name) => notes.map((note) => note[name]));
  const packed = await pump(new TextEncoder().encode(JSON.stringify(columns)), new CompressionStream("deflate-raw"));
  const room = Math.floor((countSigns(version) - MARK.length) / 3) * 2 - HEAD_BYTES;
  const frames = Math.max(1, Math.ceil(packed.length / room));
  const film = crcOfBytes(packed);
  return Array.from({ length: frames }, (_, place) => {
    const piece = packed.slice(place * room, (place + 1) * room);
    const frame = new Uint8Array(HEAD_BYTES + piece.length);
    const head = new DataView(frame.buffer);
    head.setUint32(0, film);
    head.setUint16(4, place);
    head.setUint16(6, frames);
    head.setUint32(8, crcOfBytes(piece));
    frame.set(piece, HEAD_BYTES);
    return MARK + toBase45(frame);
  });
}

function readFrame(text) {
  const bytes = text.startsWith(MARK) ? fromBase45(text.slice(MARK.length)) : null;
  if (!bytes || bytes.length < HEAD_BYTES) return null;
  const head = new DataView(bytes.buffer);
  const piece = bytes.slice(HEAD_BYTES);
  const frame = { film: head.getUint32(0), place: head.getUint16(4), frames: head.getUint16(6), piece };
  return head.getUint32(8) === crcOfBytes(piece) && frame.place < frame.frames ? frame : null;
}

/** What has been seen of a film. `add` gives true for a frame that is new. */
export class Viewer {
  constructor() {
    this.start({ film: null, frames: 0 });
  }

  start({ film, frames }) {
    Object.assign(this, { film, frames, pieces: new Map() });
  }

  add(text) {
    const frame = readFrame(text);
    if (!frame) return false;
    if (frame.film !== this.film || frame.frames !== this.frames) this.start(frame);
    const fresh = !this.pieces.has(frame.place);
    this.pieces.set(frame.place, frame.piece);
    return fresh;
  }

  get whole() {
    return this.frames > 0 && this.pieces.size === this.frames;
  }

  /** The notes of a film that was seen whole, or null if it does not fit together. */
  async read() {
    const packed = new Uint8Array(await new Blob(Array.from({ length: this.frames }, (_, at) => this.pieces.get(at))).arrayBuffer());
    if (crcOfBytes(packed) !== this.film) return null;
    try {
      const columns = JSON.parse(new TextDecoder().decode(await pump(packed, new DecompressionStream("deflate-raw"), LARGEST_BYTES)));
      const notes = columns[0].map((_, at) => Object.fromEntries(COLUMNS.map((name, place) => [name, columns[place][at]])));
      return notes.every(isWhole) ? notes : null;
    } catch {
      return null;
    }
  }
}

async function pump(bytes, through, most = Infinity) {
  const reader = new Blob([bytes]).stream().pipeThrough(through).getReader();
  const parts = [];
  let size = 0;
  for (let step = await reader.read(); !step.done; step = await reader.read()) {
    size += step.value.length;
    if (size > most) throw new RangeError("larger than any film");
    parts.push(step.value);
  }
  return new Uint8Array(await new Blob(parts).arrayBuffer());
}
