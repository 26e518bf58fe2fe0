// How does a text become a QR code? Alphanumeric mode, level M, versions 1 to 20 (ISO/IEC 18004).
//
// Alphanumeric and not bytes: a browser's own reader gives back text, and would garble bytes.

const SIGNS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:";
/** Level M by version: correction words of a block, and blocks (ISO/IEC 18004, table of error correction). */
const CORRECTION = [0, 10, 16, 26, 18, 24, 16, 18, 22, 22, 26, 30, 22, 22, 24, 24, 28, 28, 26, 26, 26];
const BLOCKS = [0, 1, 1, 1, 2, 2, 4, 4, 4, 5, 5, 5, 8, 9, 9, 10, 10, 11, 13, 14, 16];
const LEVEL_M = 0;
/** One mask for all: what is drawn here is packed, so it looks like noise and has no pattern that a mask must break. */
const MASK = 0;

export const MODE_BITS = 4;

const sizeOf = (version) => 17 + 4 * version;

/** All words of a code, data and correction: modules that are no pattern, in bytes. */
function countWords(version) {
  let modules = (16 * version + 128) * version + 64;
  if (version >= 2) {
    const marks = Math.floor(version / 7) + 2;
    modules -= (25 * marks - 10) * marks - 55;
    if (version >= 7) modules -= 36;
  }
  return Math.floor(modules / 8);
}

const countData = (version) => countWords(version) - CORRECTION[version] * BLOCKS[version];
const lengthBits = (version) => (version < 10 ? 9 : 11);

/** How many signs a version holds. */
export function countSigns(version) {
  const bits = countData(version) * 8 - MODE_BITS - lengthBits(version);
  return Math.floor(bits / 11) * 2 + (bits % 11 >= 6 ? 1 : 0);
}

/** The code of a text as rows of true (dark) and false. The smallest version that holds it, or the one given. */
export function makeCode(text, version = findVersion(text)) {
  const words = correct(pack(text, version), version);
  const code = layPatterns(version);
  layWords(code, words);
  return code.dark;
}

function findVersion(text) {
  for (let version = 1; version < BLOCKS.length; version += 1) if (text.length <= countSigns(version)) return version;
  throw new RangeError(`${text.length} signs fit no code of version 20`);
}

function pack(text, version) {
  const bits = [];
  const put = (value, length) => {
    for (let at = length - 1; at >= 0; at -= 1) bits.push((value >>> at) & 1);
  };
  const values = [...text].map((sign) => SIGNS.indexOf(sign));
  if (values.includes(-1)) throw new RangeError("a sign has no place in this code");
  put(2, MODE_BITS);
  put(values.length, lengthBits(version));
  for (let at = 0; at + 1 < values.length; at += 2) put(values[at] * 45 + values[at + 1], 11);
  if (values.length % 2) put(values.at(-1), 6);
  const room = countData(version) * 8;
  if (bits.length > room) throw new RangeError(`${text.length} signs do not fit version ${version}`);
  put(0, Math.min(4, room - bits.length));
  put(0, (8 - (bits.length % 8)) % 8);
  for (let filler = 0xec; bits.length < room; filler ^= 0xec ^ 0x11) put(filler, 8);
  return Array.from({ length: room / 8 }, (_, at) => bits.slice(at * 8, at * 8 + 8).reduce((word, bit) => word * 2 + bit, 0));
}

// Multiplying in the field of 256 with x^8 + x^4 + x^3 + x^2 + 1.
const POWER = new Uint8Array(255);
const LOG = new Uint8Array(256);
for (let at = 0, value = 1; at < 255; at += 1) {
  POWER[at] = value;
  LOG[value] = at;
  value = (value << 1) ^ (value & 128 ? 0x11d : 0);
}
const times = (one, other) => (one && other ? POWER[(LOG[one] + LOG[other]) % 255] : 0);

/** The remainder that corrects a block. */
function remain(data, degree) {
  let divisor = [1];
  for (let at = 0; at < degree; at += 1) {
    const longer = [...divisor, 0];
    divisor.forEach((word, place) => { longer[place + 1] ^= times(word, POWER[at]); });
    divisor = longer;
  }
  const rest = [...data, ...new Array(degree).fill(0)];
  for (let at = 0; at < data.length; at += 1) {
    const factor = rest[at];
    if (factor) divisor.forEach((word, place) => { rest[at + place] ^= times(word, factor); });
  }
  return rest.slice(data.length);
}

/** Data in blocks, each with its correction, woven into each other. */
function correct(data, version) {
  const [blocks, degree] = [BLOCKS[version], CORRECTION[version]];
  const short = Math.floor(data.length / blocks);
  const long = data.length % blocks;
  const parts = [];
  for (let block = 0, at = 0; block < blocks; block += 1) {
    const length = short + (block >= blocks - long ? 1 : 0);
    parts.push(data.slice(at, at + length));
    at += length;
  }
  const tails = parts.map((part) => remain(part, degree));
  const weave = (rows, length) => Array.from({ length }, (_, at) => rows.map((row) => row[at])).flat().filter((word) => word !== undefined);
  return [...weave(parts, short + 1), ...weave(tails, degree)];
}

function layPatterns(version) {
  const size = sizeOf(version);
  const grid = () => Array.from({ length: size }, () => new Array(size).fill(false));
  const code = { size, dark: grid(), taken: grid() };
  const put = (row, col, dark) => {
    if (row < 0 || col < 0 || row >= size || col >= size) return;
    code.dark[row][col] = dark;
    code.taken[row][col] = true;
  };
  for (let at = 0; at < size; at += 1) {
    put(6, at, at % 2 === 0);
    put(at, 6, at % 2 === 0);
  }
  const centres = findCentres(version, size);
  for (const row of centres) {
    for (const col of centres) {
      const corner = (row === 6 && col === 6) || (row === 6 && col === size - 7) || (row === size - 7 && col === 6);
      if (!corner) layRings(put, row, col, 2, (ring) => ring !== 1);
    }
  }
  for (const [row, col] of [[3, 3], [3, size - 4], [size - 4, 3]]) layRings(put, row, col, 4, (ring) => ring !== 2 && ring !== 4);
  layFormat(put, size);
  if (version >= 7) layVersion(put, version, size);
  return code;
}

function layRings(put, row, col, reach, isDark) {
  for (let down = -reach; down <= reach; down += 1) {
    for (let right = -reach; right <= reach; right += 1) put(row + down, col + right, isDark(Math.max(Math.abs(down), Math.abs(right))));
  }
}

function findCentres(version, size) {
  if (version === 1) return [];
  const marks = Math.floor(version / 7) + 2;
  const step = Math.ceil((version * 4 + 4) / (marks * 2 - 2)) * 2;
  return [6, ...Array.from({ length: marks - 1 }, (_, at) => size - 7 - at * step).reverse()];
}

/** Bits with their remainder by a generator of that many bits. */
function withRemainder(value, generator, bits) {
  let rest = value;
  for (let at = 0; at < bits; at += 1) rest = (rest << 1) ^ ((rest >>> (bits - 1)) & 1 ? generator : 0);
  return (value << bits) | rest;
}

function layFormat(put, size) {
  const bits = withRemainder((LEVEL_M << 3) | MASK, 0x537, 10) ^ 0x5412;
  const bit = (at) => ((bits >>> at) & 1) === 1;
  for (let at = 0; at < 8; at += 1) {
    put(at < 6 ? at : at + 1, 8, bit(at));
    put(8, size - 1 - at, bit(at));
  }
  for (let at = 8; at < 15; at += 1) {
    put(8, at === 8 ? 7 : 14 - at, bit(at));
    put(size - 15 + at, 8, bit(at));
  }
  put(size - 8, 8, true);
}

function layVersion(put, version, size) {
  const bits = withRemainder(version, 0x1f25, 12);
  for (let at = 0; at < 18; at += 1) {
    const dark = ((bits >>> at) & 1) === 1;
    put(Math.floor(at / 3), size - 11 + (at % 3), dark);
    put(size - 11 + (at % 3), Math.floor(at / 3), dark);
  }
}

/** Words in pairs of columns from the right, up and down in turn, past the patterns, and masked. */
function layWords({ size, dark, taken }, words) {
  let at = 0;
  for (let right = size - 1; right >= 1; right -= 2) {
    if (right === 6) right = 5;
    const up = ((right + 1) & 2) === 0;
    for (let step = 0; step < size; step += 1) {
      const row = up ? size - 1 - step : step;
      for (const col of [right, right - 1]) {
        if (taken[row][col]) continue;
        const bit = at < words.length * 8 && ((words[at >>> 3] >>> (7 - (at & 7))) & 1) === 1;
        dark[row][col] = bit !== ((row + col) % 2 === 0);
        at += 1;
      }
    }
  }
}
