"""What is in each drying crate, for how long, and is it dry?

A crate's tag is read when ears are put in; its moisture is noted on the tag. An ear lies in the crate of its last note.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from firstsilk.answers import Finding, Place
from firstsilk.science.flowering.notes import Note
from firstsilk.science.seed.tags import print_tag

READY_PCT = 13.0
"""Moisture at or below which ears may be shelled and stored [% of wet weight]. Seed was stored at 12 % (El-Abady 2014,
Res. J. Seed Sci. 7:75); that 13 will do is a choice of ours."""
SAFE_AIR_C, HARMFUL_AIR_C = 35, 50
"""Drying air [°C] that was safe for the seed of the inbreds Mo17 and A632, and that hurt inbred seed: drying trials on
seed corn, Can. J. Plant Sci. 69:749 (1989)."""
DRIEST_PCT, WETTEST_PCT = 3.0, 60.0
"""A moisture outside these is a slip of the pen: grain at the dent stage holds some 60 % (a choice of ours)."""
ONE_FILLING_DAYS = 200
"""Moisture noted later than this after the first ear went in is that of another filling (a choice of ours)."""

FORGOTTEN_DAYS = 30
"""Ears that lie in a crate for longer, neither shelled nor ever measured, are forgotten there (a choice of ours; drying
takes days, not weeks)."""


@dataclass(frozen=True, slots=True)
class Load:
    """Ears put into a crate: row, bag where one was read, when, by whom, and whether they were shelled since."""

    tag: str
    bag: str
    on: date
    worker: str
    note: str
    is_shelled: bool = False


@dataclass(frozen=True, slots=True)
class Crate:
    """One crate of a season with its loads and its moistures by day, oldest first."""

    code: str
    loads: tuple[Load, ...]
    moistures: tuple[tuple[date, float], ...] = ()

    @property
    def filled_from(self) -> date:
        """The day on which the first of its ears went in."""
        return min(load.on for load in self.loads)

    @property
    def inside(self) -> tuple[Load, ...]:
        """Loads not shelled yet."""
        return tuple(load for load in self.loads if not load.is_shelled)

    @property
    def last_pct(self) -> float | None:
        """The last moisture noted since the last ear went in; None if there is none."""
        wet = max(load.on for load in self.loads)
        known = [percent for day, percent in self.moistures if day >= wet]
        return known[-1] if known else None

    @property
    def is_ready(self) -> bool:
        """Whether the last moisture is low enough to shell."""
        return self.last_pct is not None and self.last_pct <= READY_PCT


def read_crates(standing: Iterable[Note]) -> tuple[Crate, ...]:
    """The crates that ears of these notes went into, by code.

    Parameters
    ----------
    standing
        Standing notes of one season's rows, and of crates, in any order.

    Notes
    -----
    Kernels of a bag noted as shelled take that bag out of its crate; kernels of a row without a bag take out what of
    the row was in a crate by that day. Checked by tests/science/test_crates.py.
    """
    newest: dict[tuple[str, str], Note] = {}
    dried: dict[str, list[Note]] = defaultdict(list)
    shelled = set()
    whole: dict[str, date] = {}
    for note in sorted(standing, key=lambda one: (one.taken_local, one.id)):
        if note.kind == "crated" and as_crate(note.value):
            newest[note.tag, note.bag] = note
        elif note.kind == "dried" and read_moisture(note) is not None:
            dried[as_crate(note.tag)].append(note)
        elif note.kind == "shelled":
            shelled.add((note.tag, note.bag))
            if not note.bag:
                whole[note.tag] = note.taken_on
    loads: dict[str, list[Load]] = defaultdict(list)
    for (tag, bag), note in newest.items():
        out = bool(bag) and (tag, bag) in shelled
        out = out or (tag in whole and whole[tag] >= note.taken_on)
        loads[as_crate(note.value)].append(Load(tag, bag, note.taken_on, note.worker, note.id, out))
    return tuple(_fill(code, inside, dried.get(code, [])) for code, inside in sorted(loads.items()))


def _fill(code: str, loads: Sequence[Load], dried: Sequence[Note]) -> Crate:
    ordered = tuple(sorted(loads, key=lambda load: (load.on, load.tag, load.bag)))
    first = ordered[0].on
    told = [(note.taken_on, read_moisture(note) or 0.0) for note in dried]
    return Crate(code, ordered, tuple(one for one in told if 0 <= (one[0] - first).days <= ONE_FILLING_DAYS))


def as_crate(text: str) -> str:
    """A crate's tag as eight signs: without hyphen, in capitals."""
    return text.strip().replace("-", "").upper()


def read_moisture(note: Note) -> float | None:
    """The moisture that a note tells [%]; None where it tells none that can be."""
    try:
        percent = float(note.value.replace(",", "."))
    except ValueError:
        return None
    return percent if math.isfinite(percent) and DRIEST_PCT <= percent <= WETTEST_PCT else None


def check_crates(
    standing: Sequence[Note], names: Mapping[str, str], crates: Iterable[str], today: date
) -> tuple[tuple[str, Finding], ...]:
    """What is odd about crates, each with the tag of the row it is told at; empty where it is told of a crate.

    Parameters
    ----------
    standing, names
        Standing notes of one season, and how each row is called by tag.
    crates
        Tags given out for crates. Ears without a known row are told by `harvest.check_harvest`.
    today
        The day of the look: ears put in lately are not forgotten yet.

    Notes
    -----
    Checked by tests/science/test_crates.py.
    """
    known = set(crates)
    told = []
    for note in sorted(standing, key=lambda one: (one.taken_local, one.id)):
        code = as_crate(note.value if note.kind == "crated" else note.tag)
        if note.kind == "crated" and code not in known:
            said = f"ears put into {code or 'no crate'}, which is no crate's tag"
            told.append((note.tag if note.tag in names else "", _odd("crate_unknown", said, note.id)))
        elif note.kind == "dried" and code in known and read_moisture(note) is None:
            said = f"crate {print_tag(code)}: a moisture of {note.value[:20]!r} percent cannot be"
            told.append(("", _odd("moisture_unreadable", said, note.id)))
    there = (crate for crate in read_crates(standing) if crate.code in known)
    told += [("", one) for crate in there for one in _check_forgotten(crate, today)]
    return tuple(told)


def _check_forgotten(crate: Crate, today: date) -> list[Finding]:
    """Ears that went in long ago, were never shelled, and whose crate nobody measured since."""
    since = min((load.on for load in crate.inside), default=today)
    if (today - since).days <= FORGOTTEN_DAYS or any(day >= since for day, _ in crate.moistures):
        return []
    n_loads = len(crate.inside)
    said = (
        f"crate {print_tag(crate.code)}: {n_loads} load{'s' if n_loads > 1 else ''} of ears since {since}, neither "
        "measured nor shelled"
    )
    return [_odd("crate_forgotten", said, crate.code, "Look for it: note its moisture and its kernels, or ears left")]


def _odd(code: str, told: str, value: str, repair: str = "Take the note back and write it again") -> Finding:
    return Finding(code, told, Place("", None, "crate"), value, repair, stops=False)
