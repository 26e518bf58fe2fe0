"""What could be sown in a trial, and where? The lists behind the form for a new trial."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from firstsilk.records.models import Line, Site, Verdict
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.stock import read_stock
from firstsilk.work.shelf import get_station
from firstsilk.work.standing import find_merged_away


@dataclass(frozen=True, slots=True)
class SowableEntry:
    """One hybrid or check with free seed; `verdict` is the latest on it or on a parent that is no tester."""

    line: str
    kind: str
    is_check: bool
    free_kernels: int
    verdict: str


@dataclass(frozen=True, slots=True)
class Sowable:
    """Hybrids and checks with free seed, and the sites: (code, name)."""

    entries: tuple[SowableEntry, ...]
    sites: tuple[tuple[str, str], ...]
    basis: Basis


def list_sowable(on: Occasion) -> Sowable:
    """Hybrids and checks with free seed, checks first; sites, the home site first."""
    station = get_station(on.station)
    free = Counter[str]()
    lines = Line.objects.filter(station=station).select_related("mother", "father").order_by("name")
    gone = find_merged_away(station, on.today, lines)
    standing = {line.name: gone[line.pk].kept for line in lines if line.pk in gone}
    for lot in read_stock(station, up_to=on.today):
        free[standing.get(lot.line, lot.line)] += lot.free
    decided = Verdict.objects.filter(station=station, decided_on__lte=on.today).order_by("year", "id")
    verdicts = dict(decided.values_list("line", "verdict"))
    wanted = [line for line in lines if (line.kind == "hybrid" or line.is_check) and line.pk not in gone]
    entries = [
        SowableEntry(line.name, line.kind, line.is_check, free[line.name], _latest(line, verdicts))
        for line in wanted
        if free[line.name] > 0
    ]
    entries.sort(key=lambda one: (not one.is_check, one.line))
    sites = Site.objects.filter(station=station).order_by("-is_home", "code").values_list("code", "name")
    seedless = len(wanted) - len(entries)
    missing = (f"{seedless} hybrids or checks have no free seed",) if seedless else ()
    return Sowable(tuple(entries), tuple(sites), Basis((("hybrids and checks", len(wanted)),), missing))


def _latest(line: Line, verdicts: dict[int, str]) -> str:
    for one in (line, line.mother, line.father):
        if one is not None and not one.is_tester and one.pk in verdicts:
            return verdicts[one.pk]
    return ""
