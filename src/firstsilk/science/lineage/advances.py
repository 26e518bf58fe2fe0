"""What was done to a line since its last cross? The parts behind the hyphens of an ear-to-row name.

Each hyphen is one generation advance: ``-3`` the ear of plant 3 of the row, selfed; ``-B`` the selfed ears of a row
in bulk, ``-B*3`` three times; ``-#`` an increase by sibbing or in bulk, ``-#*2`` twice; ``-D4`` the doubled haploid
from haploid plant 4, ``-D`` the haploids of a source together. ``31-0412-7`` is a packet: year, row, plant.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

AdvanceKind: TypeAlias = Literal["ear", "bulk", "increase", "doubled"]
TIMES_MAX = 99

_EAR = re.compile(r"[1-9][0-9]{0,3}", re.ASCII)
_TOGETHER = re.compile(r"([B#])(?:\*([2-9]|[1-9][0-9]))?", re.ASCII)
_DOUBLED = re.compile(r"DH?([1-9][0-9]{0,3})?", re.ASCII)
_PACKET = (re.compile(r"([0-9]{2}|[0-9]{4})([A-Za-z]?)", re.ASCII), re.compile(r"[0-9]{1,5}", re.ASCII), _EAR)
_KINDS: dict[str, AdvanceKind] = {"B": "bulk", "#": "increase"}
_SIGNS = {"bulk": "B", "increase": "#"}

ADVANCES_TOLD = "an ear number (without 0 before it), B or B*n, # or #*n, D or D with a number"
"""What may stand behind a hyphen, for sentences."""


@dataclass(frozen=True, slots=True)
class Advance:
    """One step: its kind, the ear's or haploid plant's number (0: none), generations of a bulk or increase."""

    kind: AdvanceKind
    number: int = 0
    times: int = 1

    @property
    def written(self) -> str:
        """The step as it stands behind its hyphen."""
        if self.kind == "ear":
            return str(self.number)
        if self.kind == "doubled":
            return f"D{self.number or ''}"
        return _SIGNS[self.kind] + (f"*{self.times}" if self.times > 1 else "")


@dataclass(frozen=True, slots=True)
class NameParts:
    """A name taken apart: what stands before its advances, and these; `is_packet` if it begins year-row-plant."""

    source: str
    advances: tuple[Advance, ...]
    is_packet: bool = False


def read_advance(part: str) -> Advance | None:
    """The step that one part behind a hyphen stands for; None if it is none.

    Checked by
    ----------
    tests/science/test_ear_to_row.py
    """
    if _EAR.fullmatch(part):
        return Advance("ear", int(part))
    together, doubled = _TOGETHER.fullmatch(part), _DOUBLED.fullmatch(part)
    if together:
        return Advance(_KINDS[together[1]], times=int(together[2] or 1))
    return Advance("doubled", int(doubled[1] or 0)) if doubled else None


def merge_advances(advances: Iterable[Advance]) -> tuple[Advance, ...]:
    """The same steps in normal form: bulks in succession as one, increases likewise.

    Checked by
    ----------
    tests/properties/test_ear_to_row_laws.py
    """
    merged: list[Advance] = []
    for one in advances:
        last = merged[-1] if merged else None
        if last is not None and last.kind == one.kind in _SIGNS and last.times + one.times <= TIMES_MAX:
            merged[-1] = replace(last, times=last.times + one.times)
        else:
            merged.append(one)
    return tuple(merged)


def split_name(name: str) -> NameParts:
    """Take a name apart into its source and its advances.

    Parameters
    ----------
    name
        The name, e.g. ``EK12-3-1``.

    Returns
    -------
    NameParts
        All advances at the end of the name, in normal form. What stands before them is the source and may hold hyphens
        itself, where what follows them is no advance: ``XA26-0417-3`` is ear 3 of XA26-0417.

    Checked by
    ----------
    tests/science/test_ear_to_row.py
    """
    parts = [part.strip() for part in name.split("-")]
    if not all(parts):
        return NameParts(name, ())
    is_packet = len(parts) > 2 and all(form.fullmatch(part) for form, part in zip(_PACKET, parts, strict=False))
    begin = 3 if is_packet else 1
    cut = len(parts)
    while cut > begin and read_advance(parts[cut - 1]) is not None:
        cut -= 1
    if cut > begin if is_packet else cut == len(parts):
        return NameParts(name, ())
    found = [read_advance(part) for part in parts[cut:]]
    return NameParts("-".join(parts[:cut]), merge_advances(one for one in found if one is not None), is_packet)


def join_name(source: str, advances: Sequence[Advance]) -> str:
    """A source with its advances behind it."""
    return "-".join([source, *(one.written for one in advances)])


def write_name(name: str) -> str:
    """A name in normal form: no blanks beside hyphens, ``-B-B`` as ``-B*2``, ``-DH4`` as ``-D4``.

    Checked by
    ----------
    tests/properties/test_ear_to_row_laws.py
    """
    parts = split_name(name)
    return join_name(parts.source, parts.advances)


def split_steps(advances: Iterable[Advance]) -> list[Advance]:
    """The same advances one generation at a time: ``-B*3`` as three bulks."""
    return [replace(one, times=1) for one in advances for _ in range(one.times)]
