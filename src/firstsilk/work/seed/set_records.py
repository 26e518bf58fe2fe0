"""What was each row pollinated with, by whom, at which hour, in which air, and what came of it?"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np

from firstsilk.records.models import Row, Season, Station, WeatherDay, WeatherHour
from firstsilk.science.climate.day_curve import draw_day_curve
from firstsilk.science.climate.humidity import saturation_pressure_kpa, vapour_deficit_kpa
from firstsilk.science.flowering.bags import count_noted, name_givers
from firstsilk.science.flowering.notes import Note
from firstsilk.science.flowering.pollen_window import DRY_AIR_C
from firstsilk.science.flowering.rows import RowState, keep_standing_notes, name_pollen, read_row_states
from firstsilk.science.seed.set_causes import SetRecord
from firstsilk.work.flowering.states import read_notes
from firstsilk.work.occasion import Occasion

BELOW_MINIMUM_C = DRY_AIR_C / 2
"""Where humidity is not measured the dew point is taken as this far below the day's minimum: the middle between humid
and dry places (`guess_windows` has both)."""
LEAST_KNOWN = 0.5
"""A row whose hours are known of less than half of its pollinations has no hour."""


@dataclass(frozen=True, slots=True)
class SetBook:
    """Rows of a season with their outcome, and what is not known of them. `owner` names the row of each record."""

    records: tuple[SetRecord, ...]
    owner: tuple[int, ...]
    n_rows: int
    n_notes: int
    n_open: int
    n_no_hour: int
    n_mixed: int
    n_measured_air: int
    standing: tuple[Note, ...]


def read_set_book(on: Occasion, station: Station, season: Season) -> SetBook:
    """Every row of a season that was pollinated, with what came of it.

    Notes
    -----
    A row has an outcome once ears of it were noted as picked or left, or once its season is over and others were. The
    hour is told by notes of phones alone: desk and paper carry the time of keying.
    """
    rows = list(Row.objects.filter(season=season).order_by("number").values_list("number", "tag", "line__name"))
    line_of = {tag: line for _, tag, line in rows}
    notes = read_notes(station, line_of, on.today)
    standing, _ = keep_standing_notes(notes)
    givers = name_givers(standing)
    states = read_row_states(notes, on.today)
    by_tag: dict[str, list[Note]] = defaultdict(list)
    for note in standing:
        by_tag[note.tag].append(note)
    air = _Air(station, season, {note.taken_on for note in standing if note.kind == "pollinated"})
    is_over = season.year < on.today.year and any(state.ears_picked for state in states.values())
    records, owner, n_open, n_mixed = [], [], 0, 0
    for number, tag, line in rows:
        state, own = states.get(tag), by_tag.get(tag, [])
        made = [note for note in own if note.kind == "pollinated" and count_noted(note.value)]
        if state is None or not made:
            continue
        if not (is_over or any(note.kind in ("ears_picked", "ears_left") for note in own)):
            n_open += 1
            continue
        males = {note.id: _name_male(note, givers, line_of) for note in made}
        record, mixed = _make_record(line, state, made, males, air, any(note.kind == "shelled" for note in own))
        records.append(record)
        owner.append(number)
        n_mixed += mixed
    no_hour = sum(not math.isfinite(one.hour) for one in records)
    told = tuple(note for note in standing if note.tag in line_of)
    return SetBook(tuple(records), tuple(owner), len(rows), len(notes), n_open, no_hour, n_mixed, air.n_measured, told)


def _name_male(
    note: Note, givers: Mapping[str, tuple[tuple[tuple[str, float], ...], str]], line_of: Mapping[str, str]
) -> str:
    """The line that gave the pollen: the row's own for a self, several names joined for a bulk, empty if not told."""
    _, shares = name_pollen(note, givers)
    tags = [tag for tag, _ in shares]
    if not tags:
        return line_of[note.tag] if note.detail in ("self", "sib") else ""
    return "+".join(sorted({line_of.get(tag, "") for tag in tags}))


def _make_record(
    line: str, state: RowState, made: Sequence[Note], males: Mapping[str, str], air: _Air, is_shelled: bool
) -> tuple[SetRecord, bool]:
    worker, few = _most((note.worker, count_noted(note.value)) for note in made)
    day, _ = _most((note.taken_local[:10], count_noted(note.value)) for note in made)
    male, other = _most((males[note.id], count_noted(note.value)) for note in made)
    hours = [(_hour(note), count_noted(note.value)) for note in made if note.source == "phone"]
    is_known = sum(count for _, count in hours) >= LEAST_KNOWN * sum(count_noted(note.value) for note in made)
    dry = [(air.tell(note), count_noted(note.value)) for note in made if note.source == "phone"]
    silk = [((note.taken_on - state.silk_on).days, count_noted(note.value)) for note in made if state.silk_on]
    record = SetRecord(
        line=line,
        male=male,
        worker=worker,
        day=day,
        hour=_mean(hours) if is_known else math.nan,
        deficit_kpa=_mean(dry) if is_known else math.nan,
        silk_days=_mean(silk),
        attempts=state.ears_pollinated,
        good=min(state.ears_picked, state.ears_pollinated),
        kernels=state.kernels if is_shelled else None,
    )
    return record, few or other


def _most(told: Iterable[tuple[str, int]]) -> tuple[str, bool]:
    """The name that most stands for, and whether another has a third or more."""
    counts: Counter[str] = Counter()
    for name, count in told:
        counts[name] += count
    name, most = max(counts.items(), key=lambda one: (one[1], one[0]))
    return name, most < 2 / 3 * counts.total()


def _mean(told: Sequence[tuple[float, int]]) -> float:
    known = [(value, count) for value, count in told if math.isfinite(value)]
    total = sum(count for _, count in known)
    return sum(value * count for value, count in known) / total if total else math.nan


def _hour(note: Note) -> float:
    return int(note.taken_local[11:13]) + int(note.taken_local[14:16]) / 60.0


class _Air:
    """How dry the air was at an hour of a day: measured there, or by the day's curve."""

    def __init__(self, station: Station, season: Season, days: set[date]) -> None:
        self.zone = ZoneInfo(station.time_zone)
        self.n_measured = 0
        self.hours: dict[tuple[date, int], float] = {}
        self.curves: dict[date, list[float]] = {}
        if not days:
            return
        span = {"station": station, "site": season.site, "date__gte": min(days), "date__lte": max(days)}
        hours = WeatherHour.objects.filter(**span, rh_pct__isnull=False).exclude(origin="forecast")
        for day, hour, warmth, humidity in hours.values_list("date", "hour", "temp_c", "rh_pct"):
            self.hours[day, hour] = float(vapour_deficit_kpa(warmth, humidity or 0.0))
        found = WeatherDay.objects.filter(**span).exclude(origin="forecast")
        for day, low, high in found.values_list("date", "tmin_c", "tmax_c"):
            curve = saturation_pressure_kpa(draw_day_curve(low, high))
            moist = saturation_pressure_kpa(low - BELOW_MINIMUM_C)
            self.curves[day] = np.maximum(curve - moist, 0.0).tolist()

    def tell(self, note: Note) -> float:
        """The vapour pressure deficit [kPa] when a note was taken; nan if nothing tells it."""
        local = datetime.fromisoformat(note.taken_local[:19])
        shift = local.replace(tzinfo=self.zone).dst()
        hour = _hour(note) - (shift.total_seconds() / 3600.0 if shift else 0.0)
        if hour < 0:
            return math.nan
        first = int(hour)
        if (local.date(), first) in self.hours:
            self.n_measured += 1
            return self._between(first, hour, local.date())
        curve = self.curves.get(local.date())
        if curve is None:
            return math.nan
        return curve[first] + (hour - first) * (curve[min(first + 1, 23)] - curve[first])

    def _between(self, first: int, hour: float, day: date) -> float:
        here = self.hours[day, first]
        after = self.hours.get((day, first + 1), here)
        return here + (hour - first) * (after - here)
