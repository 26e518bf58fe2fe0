"""How many increases lie behind a lot, since the seed that was there before its line was ever increased here?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence

from firstsilk.records.models import LotOrigin, Station

_AT_ONCE = 5_000
"""Tags asked for in one question; databases take no more than some ten thousands."""


def count_increases(station: Station, tags: Iterable[str]) -> dict[str, int]:
    """Increases that lie behind each of these lots, by tag; a lot that is not named has none.

    Notes
    -----
    Seed of a row of its own line is one increase more than the seed sown there; seed of other lots as many as the most
    of them; anything else (received, crossed, selfed from an unfixed mother) none. What a lot was made of before it
    was brought into these books is not known and counts as none. Lots are followed back generation by generation, so
    that a line's few lots are not looked for among all of the station.
    """
    origins: dict[str, list[LotOrigin]] = defaultdict(list)
    asked: set[str] = set()
    ahead = set(tags)
    while ahead:
        asked |= ahead
        found = _read_origins(station, sorted(ahead))
        for one in found:
            origins[one.lot.tag].append(one)
        ahead = {before for one in found if (before := _tag_before(one))} - asked
    counted: dict[str, int] = {}
    for tag in list(origins):
        _count(tag, origins, counted, set())
    return counted


def _read_origins(station: Station, tags: Sequence[str]) -> list[LotOrigin]:
    origins = LotOrigin.objects.filter(station=station).select_related("lot", "row__lot", "parent_lot")
    parts = (tags[at : at + _AT_ONCE] for at in range(0, len(tags), _AT_ONCE))
    return [one for part in parts for one in origins.filter(lot__tag__in=part)]


def _tag_before(one: LotOrigin) -> str:
    if one.parent_lot is not None:
        return one.parent_lot.tag
    return one.row.lot.tag if _is_increase(one) and one.row is not None and one.row.lot is not None else ""


def _is_increase(one: LotOrigin) -> bool:
    return one.row is not None and one.row.line_id == one.lot.line_id and one.male_row_id is None


def _count(tag: str, origins: dict[str, list[LotOrigin]], counted: dict[str, int], above: set[str]) -> int:
    if tag in counted or tag in above:
        return counted.get(tag, 0)
    most = 0
    for one in origins.get(tag, ()):
        before = _tag_before(one)
        behind = _count(before, origins, counted, above | {tag}) if before else 0
        if one.parent_lot is not None:
            most = max(most, behind)
        elif _is_increase(one):
            most = max(most, behind + 1)
    counted[tag] = most
    return most
