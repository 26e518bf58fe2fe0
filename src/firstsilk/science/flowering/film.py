"""Which notes does a film of codes carry, and which of its codes are still missing?

A phone without a network shows its notes as codes, one after another, for ever. Each code is a frame: `SILK1:` and, in
base 45, the CRC-32 of the whole packed film, the frame's place from 0, the number of frames, the CRC-32 of its piece
(4, 2, 2 and 4 bytes, highest first), and the piece. The packed film is raw deflate of JSON: one list a field, in the
order of `BODY_FIELDS` and the check sum, each with one value a note.
"""

from __future__ import annotations

import json
import struct
import zlib
from collections.abc import Iterable
from dataclasses import dataclass

from firstsilk.science.flowering.notes import BODY_FIELDS

MARK = "SILK1:"
"""What every frame begins with; it is no tag, so no scanner takes it for one."""
SIGNS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"
"""The signs of RFC 9285, which are those of a QR code's alphanumeric mode: text survives every reader of codes."""
LARGEST_BYTES = 32 * 1024 * 1024
"""Of a film unpacked; 20,000 notes are about 9 MB."""
COLUMNS = (*BODY_FIELDS, "check_sum")
_HEAD = struct.Struct(">IHHI")


class FilmUnreadable(ValueError):
    """All codes of a film are there, but they do not make notes."""


@dataclass(frozen=True, slots=True)
class Film:
    """What was seen of one film.

    Parameters
    ----------
    n_frames, missing
        Frames that it has, and the places from 1 of those not seen.
    notes
        The travelling notes, if nothing is missing; else empty.
    """

    n_frames: int
    missing: tuple[int, ...]
    notes: tuple[dict[str, object], ...]


def encode_base45(content: bytes) -> str:
    """Bytes as signs of RFC 9285: two bytes in three signs, a last single one in two.

    References
    ----------
    RFC 9285, section 4. Checked by tests/outside/test_base45.py.
    """
    text = []
    for at in range(0, len(content), 2):
        pair = content[at : at + 2]
        value = int.from_bytes(pair, "big")
        for _ in range(len(pair) + 1):
            value, sign = divmod(value, 45)
            text.append(SIGNS[sign])
    return "".join(text)


def decode_base45(text: str) -> bytes | None:
    """The bytes behind signs of RFC 9285; None if they are not such signs.

    References
    ----------
    RFC 9285, section 4. Checked by tests/outside/test_base45.py.
    """
    content = bytearray()
    for at in range(0, len(text), 3):
        values = [SIGNS.find(sign) for sign in text[at : at + 3]]
        value = sum(sign * 45**place for place, sign in enumerate(values))
        if -1 in values or len(values) == 1 or value >= 256 ** (len(values) - 1):
            return None
        content += value.to_bytes(len(values) - 1, "big")
    return bytes(content)


def read_films(texts: Iterable[str]) -> tuple[Film, ...]:
    """Put the frames of films together, in whatever order and how often they were seen.

    Parameters
    ----------
    texts
        What was read from codes; what is no whole frame is passed over.

    Returns
    -------
    tuple of Film
        In the order in which their first frames came.

    Raises
    ------
    FilmUnreadable
        If a film is complete but does not unpack to notes.
    """
    seen: dict[tuple[int, int], dict[int, bytes]] = {}
    for text in texts:
        frame = _read_frame(text)
        if frame is not None:
            film, place, n_frames, piece = frame
            seen.setdefault((film, n_frames), {})[place] = piece
    return tuple(_join(film, n_frames, pieces) for (film, n_frames), pieces in seen.items())


def _read_frame(text: str) -> tuple[int, int, int, bytes] | None:
    content = decode_base45(text[len(MARK) :]) if text.startswith(MARK) else None
    if content is None or len(content) < _HEAD.size:
        return None
    film, place, n_frames, check = _HEAD.unpack_from(content)
    piece = content[_HEAD.size :]
    return (film, place, n_frames, piece) if zlib.crc32(piece) == check and place < n_frames else None


def _join(film: int, n_frames: int, pieces: dict[int, bytes]) -> Film:
    missing = tuple(place + 1 for place in range(n_frames) if place not in pieces)
    if missing:
        return Film(n_frames, missing, ())
    packed = b"".join(pieces[place] for place in range(n_frames))
    if zlib.crc32(packed) != film:
        raise FilmUnreadable("the codes do not fit together")
    return Film(n_frames, (), _unpack(packed))


def _unpack(packed: bytes) -> tuple[dict[str, object], ...]:
    try:
        unpacking = zlib.decompressobj(-zlib.MAX_WBITS)
        text = unpacking.decompress(packed, LARGEST_BYTES)
        if not unpacking.eof:
            raise FilmUnreadable("it is larger than any film of notes, or not whole")
        columns = json.loads(text)
    except (zlib.error, ValueError, RecursionError) as fault:
        raise FilmUnreadable(str(fault)) from None
    lists = isinstance(columns, list) and all(isinstance(column, list) for column in columns)
    if not lists or len(columns) != len(COLUMNS) or len({len(column) for column in columns}) != 1:
        raise FilmUnreadable("it holds no notes")
    return tuple(dict(zip(COLUMNS, values, strict=True)) for values in zip(*columns, strict=True))
