"""Which ears dry in which crate, since when, and are they dry?"""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import dataclass
from datetime import date

from django.db import transaction

from firstsilk.answers import Finding, refuse
from firstsilk.science.flowering.crates import (
    DRIEST_PCT,
    HARMFUL_AIR_C,
    READY_PCT,
    SAFE_AIR_C,
    WETTEST_PCT,
    Crate,
    Load,
    check_crates,
    read_crates,
)
from firstsilk.science.flowering.harvest import check_harvest
from firstsilk.work.flowering.notes import NoteDraft, write_notes
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.season_notes import SeasonNotes, find_ear, get_crate, print_code, read_season_notes
from firstsilk.work.shelf import get_station, take_tags

MOST_TAGS = 500
"""Crate tags printed in one go (a choice of ours)."""
LONGEST_WORKER = 12
CAUTIONS = (
    f"Drying air: {SAFE_AIR_C} °C was safe for seed of two inbreds in a published trial, {HARMFUL_AIR_C} °C hurt it.",
    "Measure the drying air where it meets the ears.",
    "Dryer: guards on, hands out of fans and augers, a way out kept free; the law says who may work at it.",
    "Dust and mould: wear a mask, sweep instead of blowing. Hot rooms: drink, go out often, nobody alone.",
)


@dataclass(frozen=True, slots=True)
class LoadLine:
    """Ears in a crate: row, line, bag, how many, since when, put in by whom."""

    row: int
    row_tag: str
    line: str
    bag: str
    ears: int
    on: date
    worker: str
    is_shelled: bool


@dataclass(frozen=True, slots=True)
class CrateLine:
    """One crate: what is in it, days since the first ear went in, last moisture [%] and the day it was measured."""

    code: str
    printed: str
    loads: tuple[LoadLine, ...]
    ears: int
    days: int
    last_pct: float | None
    measured_on: date | None
    moistures: tuple[tuple[date, float], ...]
    state: str


@dataclass(frozen=True, slots=True)
class CratePage:
    """The crates of a season that hold or held ears, tags given out for crates in all, and what is odd."""

    season: str
    crates: tuple[CrateLine, ...]
    tags: int
    ears: int
    findings: tuple[Finding, ...]
    cautions: tuple[str, ...]
    ready_pct: float
    basis: Basis


def list_crates(on: Occasion, season: str = "") -> CratePage:
    """Every crate with ears of the season; dry ones first, then by days in the dryer.

    Notes
    -----
    A crate is dry if its last moisture since the last ear went in is 13 % or less. Its state is ``empty`` (all
    shelled), ``dry``, ``wet`` or ``measure`` (not measured since the last ear). Checked by
    tests/work/test_ear_to_lot.py.
    """
    there = read_season_notes(on, season)
    crates = read_crates(there.standing)
    by_bag = {(load.tag, load.bag) for crate in crates for load in crate.loads if load.bag}
    lines = [_tell_crate(there, crate, by_bag, on.today) for crate in crates]
    order = ("dry", "measure", "wet", "empty")
    lines.sort(key=lambda one: (order.index(one.state), -one.days, one.code))
    odd = [
        *check_harvest(there.standing, there.names),
        *check_crates(there.standing, there.names, there.crates, on.today),
    ]
    told = ("crate_unknown", "moisture_unreadable", "crate_forgotten", "ears_of_no_row", "ear_of_other_row")
    unmeasured = sum(1 for one in lines if one.state == "measure")
    missing = (f"a moisture of {unmeasured} crates since their last ear",) if unmeasured else ()
    ears = sum(one.ears for one in lines)
    return CratePage(
        season=there.season.name,
        crates=tuple(lines),
        tags=len(there.crates),
        ears=ears,
        findings=tuple(one for _, one in odd if one.code in told),
        cautions=CAUTIONS,
        ready_pct=READY_PCT,
        basis=Basis((("crates", len(lines)), ("ears in them", ears)), missing),
    )


def _tell_crate(there: SeasonNotes, crate: Crate, by_bag: Set[tuple[str, str]], today: date) -> CrateLine:
    loads = tuple(_tell_load(there, load, by_bag) for load in crate.loads)
    state = "dry" if crate.is_ready else "measure" if crate.last_pct is None else "wet"
    last = crate.moistures[-1] if crate.moistures else None
    return CrateLine(
        code=crate.code,
        printed=print_code(crate.code),
        loads=loads,
        ears=sum(one.ears for one in loads if not one.is_shelled),
        days=(today - crate.filled_from).days,
        last_pct=last[1] if last else None,
        measured_on=last[0] if last else None,
        moistures=crate.moistures,
        state=state if crate.inside else "empty",
    )


def _tell_load(there: SeasonNotes, load: Load, by_bag: Set[tuple[str, str]]) -> LoadLine:
    """A load with its ears. `by_bag` are the bags of rows (tag, code) that went into a crate under their own code: a
    row noted without a bag brings the others."""
    row, count = there.rows.get(load.tag), there.ears.get(load.tag)
    ears = 1
    if count is not None and load.bag:
        ears = max(1, sum(one.picked or one.standing for one in count.bags if one.bag == load.bag))
    elif count is not None:
        apart = sum(one.picked or one.standing for one in count.bags if (load.tag, one.bag) in by_bag)
        ears = max(1, (count.total.picked or count.total.standing) - apart)
    number, line = (row.number, row.line.name) if row else (0, "")
    printed = print_code(load.bag) if load.bag else ""
    return LoadLine(number, load.tag, line, printed, ears, load.on, load.worker, load.is_shelled)


def give_crate_tags(on: Occasion, count: int) -> tuple[str, ...]:
    """New tags for drying crates; a crate keeps its tag from season to season."""
    if not 1 <= count <= MOST_TAGS:
        raise refuse("tags_wrong", f"{count} crate tags cannot be given out.", f"Write 1 to {MOST_TAGS}.")
    with transaction.atomic():
        return tuple(take_tags(get_station(on.station), "crate", count))


def note_crated(on: Occasion, season: str, crate: str, ears: Sequence[str], worker: str = "") -> tuple[str, ...]:
    """Note that ears went into a crate, all or none; each is a bag's code, a row's tag or number, or both.

    Returns
    -------
    tuple of str
        What was noted, in words.
    """
    there = read_season_notes(on, season)
    code = get_crate(there, crate)
    if not ears:
        raise refuse("nothing_entered", "No ear and no row was named.", "Scan the bag on the ear, or the row's tag.")
    _check_worker(worker)
    found = [find_ear(there, one) for one in ears]
    write_notes(on, [NoteDraft("crated", one.row.tag, code, bag=one.bag, worker=worker) for one in found])
    return tuple(f"{one.name} is in crate {print_code(code)}" for one in found)


def note_moisture(on: Occasion, season: str, crate: str, percent: float, worker: str = "") -> str:
    """Note the moisture of a crate [%]; returns what was noted, in words."""
    there = read_season_notes(on, season)
    code = get_crate(there, crate)
    _check_worker(worker)
    if not DRIEST_PCT <= percent <= WETTEST_PCT:
        told = f"A moisture of {percent:g} % cannot be."
        raise refuse("moisture_wrong", told, f"Write {DRIEST_PCT:g} to {WETTEST_PCT:g}, as 12.5.")
    write_notes(on, [NoteDraft("dried", code, f"{percent:g}", unit="percent", worker=worker)])
    return f"crate {print_code(code)}: {percent:g} %" + ("" if percent <= READY_PCT else ", not dry yet")


def _check_worker(worker: str) -> None:
    if len(worker) > LONGEST_WORKER:
        raise refuse("worker_long", f"{worker[:20]!r} is no worker code.", f"Use {LONGEST_WORKER} signs or fewer.")
