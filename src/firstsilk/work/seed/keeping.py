"""Which of the station's lots should be kept, tested, regrown or discarded, and why?"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from firstsilk.records.models import Lot
from firstsilk.science.seed.keeping import Advice, KeepingRule, KeptLot, judge_keeping
from firstsilk.work.nursery.draft_seed import count_draft_seed
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.germination_tests import read_test_years
from firstsilk.work.seed.lots import tell_place
from firstsilk.work.seed.stock import read_stock
from firstsilk.work.shelf import get_line, get_station


@dataclass(frozen=True, slots=True)
class KeptPlace:
    """What the rule says of one lot, with its tag and place, and how much of its line's need is only draft."""

    tag: str
    place: str
    advice: Advice
    draft_need: int = 0


@dataclass(frozen=True, slots=True)
class KeepingList:
    """Lots with what to do about them. Nothing was done: who discards a lot takes its kernels out by hand."""

    lots: tuple[KeptPlace, ...]
    counts: tuple[tuple[str, int], ...]
    rule: KeepingRule
    basis: Basis


def list_keeping(
    on: Occasion, rule: KeepingRule | None = None, line: str = "", needed_only: bool = True
) -> KeepingList:
    """Hold all lots against the rule; `needed_only` leaves out lots that are simply kept.

    Notes
    -----
    Need of a line: its promised kernels, what the rule keeps of every line, and what targets that are still in draft
    would want of it (`draft_need`).
    """
    rule, station = rule or KeepingRule(), get_station(on.station)
    stock = read_stock(station, [get_line(station, line).name] if line else None, on.today)
    years = read_test_years(station, on.today)
    lots = [
        KeptLot(one.name, one.line, one.year, one.kernels, one.reserved, one.germination_frac, years.get(one.id))
        for one in stock
    ]
    drafts = count_draft_seed(on, station)
    told = judge_keeping(lots, on.today.year, rule, drafts)
    places = {lot.name: (lot.tag, tell_place(lot)) for lot in Lot.objects.filter(station=station)}
    counts = Counter(one.advice for one in told)
    shown = tuple(
        KeptPlace(*places[one.lot.name], one, drafts.get(one.lot.line, 0))
        for one in told
        if not needed_only or one.advice != "keep"
    )
    untested = sum(1 for one in told if one.lot.germination_frac is None)
    missing = (f"a germination test of {untested} lots",) if untested else ()
    used = (("lots", len(told)), ("lines wanted by drafts", len(drafts)))
    return KeepingList(
        shown,
        tuple(sorted(counts.items())),
        rule,
        Basis(used, missing),
    )
