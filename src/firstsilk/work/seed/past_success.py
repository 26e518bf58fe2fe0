"""What became of the pollinations of seasons that are over, counted once and kept until a note changes it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from uuid import UUID

from django.core.cache import cache
from django.db.models import Count, Max, QuerySet, Sum

from firstsilk.records.models import Note, Reservation, Row, Season, Station
from firstsilk.science.flowering.rows import RowState
from firstsilk.work.flowering.states import read_states

TOLD_BY = ("pollinated", "ears_picked", "shelled")
"""Kinds of notes that success and set are counted from."""

_MANY_NOTES = 2_000
"""After so many notes that tell nothing of a kept season its mark is moved on, so that they are not looked at again (a
choice of ours)."""

Sums = dict[int, tuple[int, int, int, int]]
"""By a line's number: pollinations, good ears, ears that were shelled, their kernels."""


@dataclass(frozen=True, slots=True)
class SeasonCount:
    """A season's sums, and how many of its rows tell of them; what it was counted from, to know whether it still holds.

    `position` and `link` are those of the last note of the station's chain that was looked at: they stand for all notes
    before it. `last_on` is the latest day of what counts here: for an earlier day this count says too much.
    """

    sums: Sums
    n_rows: int
    position: int
    link: str
    rows: tuple[int | None, ...]
    last_on: date | None


def count_rows_told(
    rows: Iterable[tuple[str, int]], states: Mapping[str, RowState], *, is_over: bool
) -> tuple[Sums, int]:
    """Sums by line of rows (tag, line's number), and how many of the rows count: those of which ears were picked, and
    where the season is over all that were pollinated."""
    sums: dict[int, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    n_rows = 0
    for tag, line in rows:
        state = states.get(tag)
        if state is None or not state.ears_pollinated or not (state.ears_picked or is_over):
            continue
        n_rows += 1
        shelled = state.ears_picked if state.kernels else 0
        good = min(state.ears_picked, state.ears_pollinated)
        for at, count in enumerate((state.ears_pollinated, good, shelled, state.kernels if shelled else 0)):
            sums[line][at] += count
    return {line: (one[0], one[1], one[2], one[3]) for line, one in sums.items()}, n_rows


def count_past_seasons(station: Station, day: date) -> dict[int, SeasonCount]:
    """The counts of seasons of earlier years that hold on a day, by the season's number.

    Notes
    -----
    A season that is over changes only by a late note (kernels shelled in winter, a correction), but a station of ten
    years has millions of them, and each day list asks. So the counts are kept in a file beside the books, and asked of
    the notes again where a later note is about one of the season's rows, or replaces one that is. A season of which
    something is told after the day is left out: its notes are to be read. Checked by tests/work/test_past_success.py.
    """
    seasons = list(Season.objects.filter(station=station, year__lt=day.year).values_list("pk", flat=True))
    prints = _print_rows(seasons)
    kept = _look_up(station, seasons, prints)
    head = Note.objects.filter(station=station).order_by("-position").values_list("position", "hash").first()
    position, link = head or (0, "")
    stale = _find_touched(station, kept)
    anew = [season for season in seasons if season not in kept or season in stale]
    for season in anew:
        kept[season] = _count_season(station, season, position, link, prints.get(season, ()))
        _keep(station, season, kept[season])
    for season, one in kept.items():
        # One mark for all seasons is one question for all of them.
        if position - one.position > (0 if anew else _MANY_NOTES):
            _keep(station, season, replace(one, position=position, link=link))
    return {season: one for season, one in kept.items() if one.last_on is None or one.last_on <= day}


def _print_rows(seasons: list[int]) -> dict[int, tuple[int | None, ...]]:
    """What tells that the rows of a season are still the same, season by season."""
    rows = Row.objects.filter(season__in=seasons).order_by().values_list("season")
    told = rows.annotate(Count("pk"), Max("pk"), Sum("pk"), Max("line"), Sum("line"))
    return {one[0]: one[1:] for one in told}


def _look_up(
    station: Station, seasons: Iterable[int], prints: Mapping[int, tuple[int | None, ...]]
) -> dict[int, SeasonCount]:
    """What was kept of seasons whose rows are the same, if the chain of notes still has that link."""
    found = {season: cache.get(_key(station, season)) for season in seasons}
    kept = {
        season: one
        for season, one in found.items()
        if isinstance(one, SeasonCount) and one.rows == prints.get(season, ())
    }
    marks = Note.objects.filter(station=station, position__in={one.position for one in kept.values()})
    linked = {(0, ""), *marks.values_list("position", "hash")}
    return {season: one for season, one in kept.items() if (one.position, one.link) in linked}


def _key(station: Station, season: int) -> str:
    return f"season-success-1-{station.pk}-{season}"


def _keep(station: Station, season: int, count: SeasonCount) -> None:
    # On a full or locked disk nothing is kept, and whoever asks next counts again.
    with suppress(OSError):
        cache.set(_key(station, season), count, timeout=None)


def _find_touched(station: Station, kept: Mapping[int, SeasonCount]) -> set[int]:
    """The kept seasons of which a note tells that came later than the count, or that it takes back or replaces."""
    touched: set[int] = set()
    for position in {one.position for one in kept.values()}:
        seasons = [season for season, one in kept.items() if one.position == position]
        later = Note.objects.filter(station=station, position__gt=position)
        rows = Row.objects.filter(season__in=seasons)
        touched |= set(rows.filter(tag__in=later.values("tag")).values_list("season", flat=True))
        touched |= set(rows.filter(tag__in=_find_tags_taken_back(station, later)).values_list("season", flat=True))
    return touched


def _find_tags_taken_back(station: Station, later: QuerySet[Note]) -> set[str]:
    """The tags of the notes that these take back or replace, and of those that these in turn had."""
    tags: set[str] = set()
    seen: set[UUID] = set()
    asked = {one for one in later.filter(replaces__isnull=False).values_list("replaces", flat=True) if one}
    while asked:
        seen |= asked
        told = list(Note.objects.filter(station=station, uuid__in=asked).values_list("tag", "replaces"))
        tags |= {tag for tag, _ in told}
        asked = {replaces for _, replaces in told if replaces is not None} - seen
    return tags


def _count_season(
    station: Station, season: int, position: int, link: str, prints: tuple[int | None, ...]
) -> SeasonCount:
    rows = Row.objects.filter(season=season)
    tags = rows.values_list("tag", flat=True)
    states = read_states(station, tags, kinds=TOLD_BY)
    told = list(rows.values_list("tag", "line_id"))
    is_over = any((state := states.get(tag)) is not None and state.ears_picked for tag, _ in told)
    sums, n_rows = count_rows_told(told, states, is_over=is_over)
    return SeasonCount(sums, n_rows, position, link, prints, _find_last_day(station, season))


def _find_last_day(station: Station, season: int) -> date | None:
    """The latest day of a note about the season's rows, of one that takes such a note back, or of a row's promise."""
    tags = Row.objects.filter(season=season).values("tag")
    about = Note.objects.filter(station=station, tag__in=tags)
    backs = Note.objects.filter(station=station, replaces__in=about.values("uuid"))
    again = Note.objects.filter(station=station, replaces__in=backs.values("uuid"))
    days = [one.aggregate(last=Max("taken_on"))["last"] for one in (about, backs, again)]
    days.append(Reservation.objects.filter(station=station, row__season=season).aggregate(d=Max("reserved_on"))["d"])
    return max((one for one in days if one is not None), default=None)
