"""How warm has this season been so far, set against past years on the same date?

The running total starts on 1 May, as in Ontario since 2009 (Ontario Corn Committee); on 1 November in southern
latitudes, half a year later, our own choice. It ends with the first -2 °C of the autumn, that day not counted.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from firstsilk.answers import refuse
from firstsilk.science.climate.heat import Scale
from firstsilk.work.climate.readings import LONGEST_FILL_DAYS, Readings, read_readings
from firstsilk.work.climate.running import RECENT_DAYS, Against, Course, PastYears, line_up
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_site, get_station

NORTH_START = (5, 1)
SOUTH_START = (11, 1)
FEW_YEARS = 10
"""With fewer past years the outer tenths are little more than the extremes; said beside them. Our own choice."""
SCALE_NAMES: dict[Scale, str] = {"chu": "CHU", "gdd_c": "GDD (°C)", "gdd_f": "GDD (°F)"}
STALE_DAYS = 2
"""A last reading older than so many days is said to be old. Our own choice."""


@dataclass(frozen=True, slots=True)
class SeasonHeat:
    """This season's running total of heat units in `scale` against past years, as of `today`.

    `starts_why` is the rule of the start in words; `last_reading` the last measured day, `reading_age_days` days
    before today; `years` the past years; `course` the total; `against` the comparison.
    """

    site: str
    site_name: str
    scale: Scale
    today: date
    starts_why: str
    last_reading: date | None
    reading_age_days: int | None
    years: tuple[int, ...]
    course: Course
    against: Against
    basis: Basis

    @property
    def is_stale(self) -> bool:
        """Whether the last reading is old, or there is none."""
        return self.reading_age_days is None or self.reading_age_days > STALE_DAYS

    @property
    def sentences(self) -> tuple[str, ...]:
        """How the season stands, as a person would say it."""
        return tuple(tell_season(self))


def read_season_heat(on: Occasion, site: str = "", start: str = "season") -> SeasonHeat:
    """The running total of this season against past years at a site, in the station's scale.

    Parameters
    ----------
    on
        The occasion; days after its `today` do not count.
    site
        Site code; the home site if empty.
    start
        ``season``, or month and day of the first day counted, as ``05-18``.

    Raises
    ------
    InputRefused
        If there is no such site, or `start` is neither.

    Notes
    -----
    Holes of up to five days are filled in a straight line, and every such day is named; a longer hole stops this
    season's total, and ends a past year's at the hole.

    Checked by tests/work/test_climate_work.py.
    """
    station = get_station(on.station)
    place = get_site(station, site)
    south = place.latitude < 0
    first, why = _find_start(start, on.today, south)
    given = read_readings(station, place, on.today)
    scale: Scale = station.scale  # type: ignore[assignment]
    course, against, past = line_up(given, scale, first, south)
    last = given.last_measured
    n_past = sum(1 for day in given.days if day < first)
    used = (("days of this season", len(given.days) - n_past), ("days of years before it", n_past))
    return SeasonHeat(
        site=place.code,
        site_name=place.name,
        scale=scale,
        today=on.today,
        starts_why=why,
        last_reading=last,
        reading_age_days=(on.today - last).days if last else None,
        years=past.years,
        course=course,
        against=against,
        basis=Basis(used, (*_tell_reading(given, on.today), *_tell_course(course), *_tell_past(past))),
    )


def tell_season(heat: SeasonHeat) -> Iterator[str]:
    """The season in sentences: the total, how it compares, the last week, what is still to come."""
    course, against, scale = heat.course, heat.against, SCALE_NAMES[heat.scale]
    if course.counted_to is None:
        yield f"Nothing is counted at {heat.site_name} yet: {heat.starts_why}."
        return
    closed = f", when a frost of −2 °C ended the count on {_say_day(course.frost_on)}" if course.frost_on else ""
    span = f"{_say_day(course.starts)} to {_say_day(course.counted_to)}"
    yield f"{heat.site_name} had {course.total:,.0f} {scale} from {span}{closed}."
    if against.ahead_units is not None:
        yield _tell_ahead(against, scale)
    if against.recent_daily is not None and against.recent_middle is not None:
        yield (
            f"The last {RECENT_DAYS} days brought {against.recent_daily:.1f} {scale} a day; "
            f"{against.recent_middle:.1f} is the middle for these dates."
        )
    if against.past_seasons is not None:
        low, middle, high = against.past_seasons
        yield (
            f"Whole seasons of {against.n_seasons} past years had {middle:,.0f} {scale} by the first −2 °C; "
            f"one in ten had under {low:,.0f}, one in ten over {high:,.0f}."
        )


def _tell_ahead(against: Against, scale: str) -> str:
    units = against.ahead_units or 0.0
    side, word = ("more", "ahead") if units >= 0 else ("less", "behind")
    days = ""
    if against.ahead_days is not None:
        count = abs(against.ahead_days)
        days = ": on time" if count < 0.5 else f": about {count:.0f} day{'s' if round(count) != 1 else ''} {word}"
    return (
        f"That is {abs(units):,.0f} {scale} {side} than the middle of {against.n_years} past years by that date{days}; "
        f"{against.years_below} of them had less."
    )


def _say_day(day: date) -> str:
    return f"{day.day} {day:%B}"


def find_season_start(today: date, south: bool = False) -> date:
    """The first day counted of the season that runs, or of the last one if none runs."""
    return _latest(SOUTH_START if south else NORTH_START, today)


def _latest(start: tuple[int, int], today: date) -> date:
    this_year = date(today.year, *start)
    return this_year if this_year <= today else date(today.year - 1, *start)


def _find_start(start: str, today: date, south: bool) -> tuple[date, str]:
    if start == "season":
        rule = "1 November, half a year after the Ontario rule" if south else "1 May, as in Ontario"
        return find_season_start(today, south), f"counted from {rule}, to the first −2 °C of the autumn"
    try:
        asked = date.fromisoformat(f"2001-{start}")
    except ValueError:
        message = f"{start!r} is no day to count from."
        raise refuse("start_unclear", message, "Write season, or month and day: 05-18.") from None
    return _latest((asked.month, asked.day), today), f"counted from {asked.day} {asked:%B}, as asked"


def _tell_reading(given: Readings, today: date) -> Iterator[str]:
    last = given.last_measured
    if last is None:
        yield "there is no weather of this site in the books"
    elif (age := (today - last).days) > 0:
        yield f"the last reading is {age} day{'s' if age > 1 else ''} old ({last})"


def _tell_course(course: Course) -> Iterator[str]:
    if course.counted_to is None and not course.stopped_by:
        yield f"nothing is counted, since {course.starts} is missing"
    if course.filled_days:
        yield f"not measured but filled: {_name_days(course.filled_days)}"
    if course.forecast_days:
        yield f"not measured but forecast: {_name_days(course.forecast_days)}"
    if course.stopped_by:
        first, last = course.stopped_by
        yield (
            f"{first} to {last} are missing, more than the {LONGEST_FILL_DAYS} days that are filled: "
            "the total stands still there"
        )


def _name_days(days: tuple[date, ...]) -> str:
    named = ", ".join(str(day) for day in days[:4])
    return f"{len(days)} day{'s' if len(days) > 1 else ''} ({named}{', ...' if len(days) > 4 else ''})"


def _tell_past(past: PastYears) -> Iterator[str]:
    if len(past.years) < FEW_YEARS:
        yield f"only {len(past.years)} past years, so the outer tenths are uncertain"
    if past.n_cut_short:
        yield f"{past.n_cut_short} past years have a long hole or an open end and count only up to it"
