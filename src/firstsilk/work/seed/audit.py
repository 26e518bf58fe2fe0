"""Which lots of the books cannot hold, or be, what their records say on a day?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import date

from django.db.models import Sum

from firstsilk.records.models import Lot, LotOrigin, Movement, Station
from firstsilk.science.seed.lot_rules import LotFacts, OriginFacts, check_lot
from firstsilk.work.audited import Found
from firstsilk.work.seed.lot_notes import read_unbooked_moves
from firstsilk.work.standing import promises_on

Moves = dict[int, list[tuple[date, int, str]]]


def audit_lots(station: Station, day: date, merged: Mapping[str, str]) -> tuple[list[Found], int, int, dict[int, date]]:
    """Findings about lots, lots and movements looked at, and the first day of each lot that was harvested here.

    `merged` names the line that stands for each line merged into another.
    """
    moves = _read_moves(station, day)
    lots = Lot.objects.filter(station=station).select_related("line__mother", "line__father").order_by("name")
    origins = _read_origins(station, merged)
    promised = dict(promises_on(station, day).order_by().values_list("lot").annotate(sum=Sum("kernels")))
    later = set(Movement.objects.filter(station=station, moved_on__gt=day).values_list("lot", flat=True))
    there = [lot for lot in lots if lot.pk in moves or lot.pk not in later]
    found = []
    for lot in there:
        line = lot.line
        facts = LotFacts(
            name=lot.name,
            line=merged.get(line.name, line.name),
            origin=lot.origin,
            moves=tuple(moves.get(lot.pk, ())),
            promised=promised.get(lot.pk, 0),
            origin_text=lot.origin_text,
            origins=tuple(origins.get(lot.pk, ())),
            line_method=line.method,
            line_mother=merged.get(line.mother.name, line.mother.name) if line.mother else "",
            line_father=merged.get(line.father.name, line.father.name) if line.father else "",
        )
        found += [Found("seed", "lot", lot.tag, lot.name, one) for one in check_lot(facts)]
    came = {
        pk: min(moved for moved, _, _ in told)
        for pk, told in moves.items()
        if any(reason == "harvested" for _, _, reason in told)
    }
    return found, len(there), sum(len(told) for told in moves.values()), came


def _read_moves(station: Station, day: date) -> Moves:
    moves: Moves = defaultdict(list)
    told = Movement.objects.filter(station=station, moved_on__lte=day).order_by("moved_on", "pk")
    for lot, moved_on, kernels, reason in told.values_list("lot", "moved_on", "kernels", "reason"):
        moves[lot].append((moved_on, kernels, reason))
    for lot, unbooked in read_unbooked_moves(station, day).items():
        # What a note says has happened, whether it is booked yet or not.
        moves[lot] += unbooked
    return dict(moves)


def _read_origins(station: Station, merged: Mapping[str, str]) -> dict[int, list[OriginFacts]]:
    origins: dict[int, list[OriginFacts]] = defaultdict(list)
    told = LotOrigin.objects.filter(station=station).order_by("pk")
    columns = ("lot", "row__number", "row__season__name", "row__line__name")
    for lot, number, season, line, male, parent, share in told.values_list(
        *columns, "male_row__line__name", "parent_lot__name", "share_frac"
    ):
        row = f"row {number} of {season}" if number is not None else ""
        origins[lot].append(
            OriginFacts(row, merged.get(line, line or ""), merged.get(male, male or ""), parent or "", share)
        )
    return dict(origins)
