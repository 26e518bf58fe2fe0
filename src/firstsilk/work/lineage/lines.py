"""Which lines and hybrids are there, and which are meant?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q

from firstsilk.records.models import Line, LineName, Station, Verdict
from firstsilk.science.lineage.derivation import Derivation, tell_stands_for
from firstsilk.work.lineage.ancestry import tell_method
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.stock import LotStock, read_stock
from firstsilk.work.shelf import get_station
from firstsilk.work.standing import find_merged_away, lines_on

PAGE_LINES = 50


@dataclass(frozen=True, slots=True)
class LineFacts:
    """One line or hybrid: what it is, whom it comes from, the seed there is, its latest verdict (empty if none).

    `derived` says from which plant a family comes, None if that is not told. `merged_into` names the line that it was
    found to be, empty if it stands by itself. Heat units to silk, shed and
    black layer are counted from sowing in the station's scale.
    """

    name: str
    kind: str
    stands_for: str
    method: str
    how: str
    mother: str
    father: str
    generation: str
    pedigree: str
    group: str
    is_tester: bool
    is_check: bool
    units_to_silk: float | None
    units_to_shed: float | None
    units_to_black_layer: float | None
    remark: str
    n_lots: int
    free_kernels: int
    verdict: str
    merged_into: str = ""
    derived: Derivation | None = None

    @property
    def stands_for_text(self) -> str:
        """What the record stands for, in words: ``a family from plant 3 of EK12 (S0)``."""
        return tell_stands_for(self.stands_for, self.derived)


@dataclass(frozen=True, slots=True)
class LineList:
    """One page of the lines that were asked for; `n_found` on all pages; the groups there are to choose from."""

    lines: tuple[LineFacts, ...]
    n_found: int
    page: int
    n_pages: int
    groups: tuple[str, ...]
    basis: Basis


def list_lines(on: Occasion, text: str = "", group: str = "", kind: str = "", page: int = 1) -> LineList:
    """The lines by name, a page at a time.

    Parameters
    ----------
    on
        The occasion; stock and verdicts are as of its `today`.
    text
        Part of the name, another name, pedigree or remark; any case.
    group, kind
        Only this group; only ``line``, ``hybrid``, ``tester`` or ``check``. Empty: all.
    page
        From 1; a page beyond the last is the last.

    Notes
    -----
    Checked by tests/work/test_lineage_work.py.
    """
    station = get_station(on.station)
    found = lines_on(station, on.today)
    if text.strip():
        wanted = text.strip()
        otherwise = LineName.objects.filter(station=station, name__icontains=wanted).values("line")
        in_own = Q(name__icontains=wanted) | Q(pedigree__icontains=wanted) | Q(remark__icontains=wanted)
        found = found.filter(in_own | Q(pk__in=otherwise))
    if group:
        found = found.filter(group=group)
    if kind:
        found = found.filter(_of_kind(kind))
    n_found = found.count()
    n_pages = max(1, -(-n_found // PAGE_LINES))
    page = min(max(1, page), n_pages)
    kept = found.select_related("mother", "father", "derived_from").order_by("name")[
        (page - 1) * PAGE_LINES : page * PAGE_LINES
    ]
    groups = Line.objects.filter(station=station).exclude(group="").order_by("group")
    return LineList(
        lines=tell_lines(on, station, kept),
        n_found=n_found,
        page=page,
        n_pages=n_pages,
        groups=tuple(groups.values_list("group", flat=True).distinct()),
        basis=Basis((("lines", n_found),)),
    )


def _of_kind(kind: str) -> Q:
    if kind == "tester":
        return Q(is_tester=True)
    return Q(is_check=True) if kind == "check" else Q(kind=kind)


def tell_lines(on: Occasion, station: Station, lines: Iterable[Line]) -> tuple[LineFacts, ...]:
    """These lines with their stock and latest verdict; parents should be loaded with them.

    What was merged away has no seed of its own: its lots count for the line kept.
    """
    shown = list(lines)
    gone = find_merged_away(station, on.today, shown)
    stock: dict[str, list[LotStock]] = defaultdict(list)
    for lot in read_stock(station, [line.name for line in shown if line.pk not in gone], on.today):
        if lot.year <= on.today.year:
            stock[lot.line].append(lot)
    told = Verdict.objects.filter(station=station, line__in=shown, decided_on__lte=on.today)
    verdicts = dict(told.order_by("decided_on", "decided_at", "id").values_list("line", "verdict"))
    return tuple(
        _tell_line(line, stock[line.name], verdicts.get(line.pk, ""), gone[line.pk].kept if line.pk in gone else "")
        for line in shown
    )


def _tell_line(line: Line, lots: list[LotStock], verdict: str, merged_into: str) -> LineFacts:
    return LineFacts(
        name=line.name,
        kind=line.kind,
        stands_for=line.stands_for,
        method=line.method,
        how=tell_method(line),
        mother=line.mother.name if line.mother else "",
        father=line.father.name if line.father else "",
        generation=line.generation,
        pedigree=line.pedigree,
        group=line.group,
        is_tester=line.is_tester,
        is_check=line.is_check,
        units_to_silk=line.units_to_silk,
        units_to_shed=line.units_to_shed,
        units_to_black_layer=line.units_to_black_layer,
        remark=line.remark,
        n_lots=len(lots),
        free_kernels=sum(max(0, lot.free) for lot in lots),
        verdict=verdict,
        merged_into=merged_into,
        derived=tell_derivation(line),
    )


def tell_derivation(line: Line) -> Derivation | None:
    """From which plant the record says that the line comes; None if it says nothing of it."""
    source = line.derived_from.name if line.derived_from else ""
    told = Derivation(source, line.derived_plant, line.derived_generation)
    return told if source or told.plant or told.generation else None
