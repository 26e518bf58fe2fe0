"""How did a lot germinate, test after test?

Every test stays in the books; the lot itself shows the newest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from django.db import transaction

from firstsilk.answers import refuse
from firstsilk.records.models import GerminationTest, Lot, Station
from firstsilk.science.seed.germination import judge_germination
from firstsilk.science.seed.replicates import SEEDS_OF_A_REPLICATE, check_replicates
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_lot, get_station

MOST_SEEDS = 100_000
"""More seeds in one test than this are a slip of the keyboard (a choice of ours)."""
SAME_SHARE = 0.005
"""A share brought as 0.92 is rounded by this much at most."""


@dataclass(frozen=True, slots=True)
class GerminationFacts:
    """One germination test; `low_frac` and `high_frac` bound the lot's own share (95 %, Wilson)."""

    tested_on: date | None
    seeds: int | None
    germinated: int | None
    germination_frac: float
    low_frac: float | None
    high_frac: float | None
    is_official: bool
    caution: str
    remark: str
    who: str


@dataclass(frozen=True, slots=True)
class GerminationHistory:
    """All germination tests of a lot, newest first; `entered` is what is odd about the test entered just now."""

    tag: str
    name: str
    line: str
    tests: tuple[GerminationFacts, ...]
    basis: Basis
    entered: str = ""


def record_germination(
    on: Occasion,
    tag_or_name: str,
    seeds: int,
    germinated: int,
    tested_on: date | None = None,
    remark: str = "",
    replicates: Sequence[int] = (),
) -> GerminationHistory:
    """Write down a germination test of a lot; the lot shows the newest by its day.

    Parameters
    ----------
    replicates
        Seeds that germinated of each 100, where they were counted so: they must add up to the test, and are held
        against the table of ranges that chance allows. What it says goes into the remark too.

    Raises
    ------
    InputRefused
        If more germinated than were laid out, there are no seeds, the day lies ahead or before the lot's year.

    Notes
    -----
    A test that came with the lot is kept as the first of the history where its day and seeds are known; where they
    are not, the remark of the new test repeats its share.
    """
    station = get_station(on.station)
    day = tested_on or on.today
    entered = _check_replicates(seeds, germinated, replicates)
    if not 1 <= seeds <= MOST_SEEDS or not 0 <= germinated <= seeds:
        told = f"{germinated} of {seeds} seeds cannot have germinated."
        raise refuse(
            "germination_counts", told, f"Give 1 to {MOST_SEEDS:,} seeds and no more germinated than laid out."
        )
    if day > on.today:
        raise refuse("tested_later", f"{day} is after today, {on.today}.", "Check the date.")
    with transaction.atomic():
        Station.objects.select_for_update().get(pk=station.pk)
        lot = get_lot(station, tag_or_name)
        if day.year < lot.year:
            raise refuse("tested_before", f"Lot {lot.name} is of {lot.year}, the test of {day}.", "Check the date.")
        remarks = (remark.strip(), _tell_replicates(replicates), entered, _keep_brought(on, lot))
        GerminationTest.objects.create(
            station=station,
            lot=lot,
            tested_on=day,
            seeds=seeds,
            germinated=germinated,
            remark="; ".join(part for part in remarks if part)[:200],
            recorded_at=on.now,
            recorded_by=on.who,
        )
        newest = GerminationTest.objects.filter(lot=lot).order_by("-tested_on", "-pk")[0]
        lot.germination_frac = newest.germinated / newest.seeds
        lot.germination_tested_on = newest.tested_on
        lot.germination_seeds = newest.seeds
        lot.save(update_fields=["germination_frac", "germination_tested_on", "germination_seeds"])
    return replace(list_germination(on, lot.tag), entered=entered)


def _check_replicates(seeds: int, germinated: int, replicates: Sequence[int]) -> str:
    """What the table says of the replicates, refused if they are not those of the test."""
    if not replicates:
        return ""
    found = check_replicates(replicates)
    if (seeds, germinated) != (SEEDS_OF_A_REPLICATE * len(replicates), sum(replicates)):
        told = f"{len(replicates)} replicates of 100 with {sum(replicates)} germinated are not {germinated} of {seeds}."
        raise refuse("germination_counts", told, "Give the replicates alone, or the seeds of them all.")
    return found.caution


def _tell_replicates(replicates: Sequence[int]) -> str:
    return f"replicates {', '.join(map(str, replicates))}" if replicates else ""


def list_germination(on: Occasion, tag_or_name: str) -> GerminationHistory:
    """The tests of a lot up to the day, newest first; one that came with the lot counts too."""
    lot = get_lot(get_station(on.station), tag_or_name)
    tests = read_tests(lot, on.today)
    missing = () if tests else ("a germination test",)
    return GerminationHistory(
        lot.tag, lot.name, lot.line.name, tests, Basis((("germination tests", len(tests)),), missing)
    )


def read_test_years(station: Station, day: date) -> dict[int, int]:
    """The year of the newest test up to a day of each lot that has one, by the lot's number in the books."""
    shown = Lot.objects.filter(station=station, germination_tested_on__lte=day)
    years = {pk: tested.year for pk, tested in shown.values_list("pk", "germination_tested_on") if tested is not None}
    tests = GerminationTest.objects.filter(station=station, tested_on__lte=day).order_by("tested_on", "pk")
    return years | {lot: tested.year for lot, tested in tests.values_list("lot", "tested_on")}


def read_tests(lot: Lot, day: date) -> tuple[GerminationFacts, ...]:
    """The tests of a lot up to a day, newest first."""
    every = list(GerminationTest.objects.filter(lot=lot).order_by("-tested_on", "-pk"))
    if every:
        return tuple(
            _tell(one.germinated / one.seeds, one.seeds, one.germinated, one.tested_on, one.remark, one.recorded_by)
            for one in every
            if one.tested_on <= day
        )
    if lot.germination_frac is None or (lot.germination_tested_on or day) > day:
        return ()
    brought = _tell(lot.germination_frac, lot.germination_seeds, None, lot.germination_tested_on, "came with the lot")
    return (brought,)


def _tell(
    share: float, seeds: int | None, germinated: int | None, day: date | None, remark: str, who: str = ""
) -> GerminationFacts:
    found = judge_germination(share, seeds or None)
    return GerminationFacts(
        day,
        found.seeds,
        germinated,
        share,
        found.low_frac,
        found.high_frac,
        found.is_official,
        found.caution,
        remark,
        who,
    )


def _keep_brought(on: Occasion, lot: Lot) -> str:
    """Make a test that came with the lot the first of its history; what a remark must repeat where that cannot be."""
    share, seeds, day = lot.germination_frac, lot.germination_seeds, lot.germination_tested_on
    if share is None or GerminationTest.objects.filter(lot=lot).exists():
        return ""
    grown = round(share * (seeds or 0))
    if not seeds or day is None or abs(grown / seeds - share) > SAME_SHARE:
        return f"before: {share:.0%} of {seeds or 'unknown'} seeds, {day or 'day unknown'}"
    GerminationTest.objects.create(
        station=lot.station,
        lot=lot,
        tested_on=day,
        seeds=seeds,
        germinated=grown,
        remark="came with the lot",
        recorded_at=on.now,
        recorded_by=on.who,
    )
    return ""
