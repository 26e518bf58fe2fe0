"""How is the file read that a phone gives: one note a line, as JSON?"""

from __future__ import annotations

import json

from firstsilk.answers import InputRefused

MOST_BYTES = 10 * 1024 * 1024
MOST_LINES = 20_000


def read_carried(content: bytes, name: str) -> list[object]:
    """The lines of a file of notes. A line that is no JSON is kept as its text: it will be laid aside whole.

    Raises
    ------
    InputRefused
        If the file is too large, no text, or plainly no file of notes.
    """
    if len(content) > MOST_BYTES:
        raise InputRefused(
            f"{name}: the file has {len(content) / 1e6:.0f} MB, at most 10 can be read. Send it in parts."
        )
    try:
        lines = [line for line in content.decode("utf-8-sig").splitlines() if line.strip()]
    except UnicodeDecodeError:
        raise InputRefused(f"{name}: this is no text. A phone gives its notes as a file notes-….ndjson.") from None
    if len(lines) > MOST_LINES:
        raise InputRefused(f"{name}: the file has {len(lines):,} lines, at most {MOST_LINES:,} can be read at once.")
    wires = [_read_line(line) for line in lines]
    if wires and not any(isinstance(wire, dict) for wire in wires):
        raise InputRefused(f"{name}, line 1: this is no note. A phone gives its notes as a file notes-….ndjson.")
    return wires


def _read_line(line: str) -> object:
    try:
        return json.loads(line, parse_constant=_refuse)
    except (ValueError, RecursionError):
        return line[:2000]


def _refuse(name: str) -> object:
    raise ValueError(name)
