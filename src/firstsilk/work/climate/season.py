"""How warm has this season been so far, set against past years on the same date?

Unless another published rule is asked for, the running total starts on 1 May, as in Ontario since 2009 (Ontario Corn
Committee); on 1 November in southern latitudes, half a year later, our own choice. It ends with the first -2 °C of the
autumn, that day not counted (OMAFRA 2025). Plans, lines and forecasts always go by the station's own scale and form.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from firstsilk.answers import refuse
from firstsilk.science.climate.heat_forms import DEFAULT_FORMS, FORMS, HeatForm, Scale, find_form
from firstsilk.science.climate.season_rules import RULES, SeasonRule, find_rule, find_start_window
from firstsilk.work.climate.forecasts import ForecastAhead, drop_forecast_before, read_forecast_ahead
from firstsilk.work.climate.readings import LONGEST_FILL_DAYS, Readings, read_readings
from firstsilk.work.climate.running import RECENT_DAYS, Against, Counting, Course, PastYears, line_up
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_site, get_station

OWN_RULE = "ontario-frost"
"""The season rule where none is asked for."""
FEW_YEARS = 10
"""With fewer past years the outer tenths are little more than the extremes; said beside them. Our own choice."""
SCALE_NAMES: dict[Scale, str] = {"chu": "CHU", "gdd_c": "GDD (°C)", "gdd_f": "GDD (°F)"}
SHOWN_RULES = tuple(rule for rule in RULES if rule.first is not None)
"""The season rules that tell their own start."""
SHOWN_FORMS = tuple(
    (scale, form) for scale in SCALE_NAMES for form in FORMS if scale in form.scales and form.needs != "hours"
)
"""What heat can be shown in beside the station's own: every form that days can be counted by."""
STALE_DAYS = 2
"""A last reading older than so many days is said to be old. Our own choice."""


@dataclass(frozen=True, slots=True)
class SeasonHeat:
    """This season's running total of heat units in `scale` against past years, as of `today`.

    `form` and `rule` are the published ones it is counted by, `own_scale` that of plans and lines; `starts_why` is the
    rule in words; `last_reading` the last measured day, `reading_age_days` days
    before today; `years` the past years; `course` the total; `against` the comparison.
    """

    site: str
    site_name: str
    scale: Scale
    form: HeatForm
    rule: SeasonRule
    own_scale: Scale
    today: date
    starts_why: str
    last_reading: date | None
    reading_age_days: int | None
    years: tuple[int, ...]
    course: Course
    against: Against
    basis: Basis
    ahead: tuple[tuple[date, float], ...] = ()

    @property
    def is_stale(self) -> bool:
        """Whether the last reading is old, or there is none."""
        return self.reading_age_days is None or self.reading_age_days > STALE_DAYS

    @property
    def units_name(self) -> str:
        """The units as people write them, with their form wherever it is not that of plans."""
        return name_units(self.scale, self.form.name)

    @property
    def is_of_plans(self) -> bool:
        """Whether these are the units in which plans, lines and forecasts are kept."""
        return self.scale == self.own_scale and self.form.name == DEFAULT_FORMS[self.scale]

    @property
    def caution(self) -> str:
        """What keeps these units from being taken for those of plans; empty where they are."""
        if self.is_of_plans:
            return ""
        own = name_units(self.own_scale)
        kept = f"Lines, plans and forecasts are in {own}: the two cannot be added or compared."
        return f"These are {self.units_name}. {kept}"

    @property
    def sentences(self) -> tuple[str, ...]:
        """How the season stands, as a person would say it."""
        return tuple(tell_season(self))


def name_units(scale: Scale, form: str = "") -> str:
    """A scale as people write it, with the name of its form unless it is that of plans."""
    name = SCALE_NAMES[scale]
    if form in ("", DEFAULT_FORMS[scale]):
        return name
    return f"{name[:-1]}, {form})" if name.endswith(")") else f"{name} ({form})"


def read_season_heat(
    on: Occasion, site: str = "", start: str = "season", scale: str = "", form: str = "", rule: str = ""
) -> SeasonHeat:
    """The running total of this season against past years at a site, in the station's scale if no other is asked for.

    Parameters
    ----------
    on
        The occasion; days after its `today` do not count.
    site
        Site code; the home site if empty.
    start
        ``season``, or month and day of the first day counted, as ``05-18``.
    scale, form
        Scale and published form to show; the station's own if empty.
    rule
        Name of the season rule; from 1 May to the first -2 °C if empty.

    Raises
    ------
    InputRefused
        If there is no such site, scale, form or rule, or `start` is neither, or the rule needs one.

    Notes
    -----
    Holes of up to five days are filled in a straight line, and every such day is named; a longer hole stops this
    season's total, and ends a past year's at the hole.

    Checked by tests/work/test_climate_work.py.
    """
    station = get_station(on.station)
    place = get_site(station, site)
    counting = _find_counting(station.scale, scale, form, rule, start, place.latitude < 0)
    first = _find_first(counting, on.today)
    given = drop_forecast_before(read_readings(station, place, on.today), first)
    course, against, past = line_up(given, counting, first)
    forecast = read_forecast_ahead(station, place, on.today)
    last = given.last_measured
    n_past = sum(1 for day in given.days if day < first)
    used = (("days of this season", len(given.days) - n_past), ("days of years before it", n_past))
    return SeasonHeat(
        site=place.code,
        site_name=place.name,
        scale=counting.scale,
        form=find_form(counting.scale, counting.form),
        rule=counting.rule,
        own_scale=station.scale,  # type: ignore[arg-type]
        today=on.today,
        starts_why=_tell_rule(counting),
        last_reading=last,
        reading_age_days=(on.today - last).days if last else None,
        years=past.years,
        course=course,
        against=against,
        basis=Basis(used, (*_tell_reading(given, on.today), *_tell_course(course), *_tell_past(past))),
        ahead=_run_ahead(given, forecast, counting, first, course),
    )


def _run_ahead(
    given: Readings, forecast: ForecastAhead, counting: Counting, first: date, course: Course
) -> tuple[tuple[date, float], ...]:
    """The running total over the days that are forecast, from the day after the last one counted on."""
    if not forecast.days or course.counted_to is None or course.ended_by:
        return ()
    longer, _, _ = line_up(given.followed_by(forecast.days, forecast.tmin_c, forecast.tmax_c), counting, first)
    return tuple(
        (point.day, point.total) for point in longer.points if point.total is not None and point.day > course.counted_to
    )


def tell_season(heat: SeasonHeat) -> Iterator[str]:
    """The season in sentences: the total, how it compares, the last week, what is still to come."""
    course, against, scale = heat.course, heat.against, heat.units_name
    if course.counted_to is None:
        yield f"Nothing is counted at {heat.site_name} yet: {heat.starts_why}."
        return
    closed = _tell_end(heat)
    span = f"{_say_day(course.starts)} to {_say_day(course.counted_to)}"
    yield f"{heat.site_name} had {course.total:,.0f} {scale} from {span}{closed}."
    if against.ahead_units is not None:
        yield _tell_ahead(against, scale)
    if against.recent_daily is not None and against.recent_middle is not None:
        yield (
            f"The last {RECENT_DAYS} days brought {against.recent_daily:.1f} {scale} a day; "
            f"{against.recent_middle:.1f} is the middle for these dates."
        )
    if heat.ahead:
        day, total = heat.ahead[-1]
        more = total - course.total
        yield f"Forecast, not measured: {more:,.0f} {scale} more by {_say_day(day)}, {total:,.0f} in all."
    if against.past_seasons is not None:
        low, middle, high = against.past_seasons
        yield (
            f"Whole seasons of {against.n_seasons} past years had {middle:,.0f} {scale} by {_name_end(heat.rule)}; "
            f"one in ten had under {low:,.0f}, one in ten over {high:,.0f}."
        )


def _tell_end(heat: SeasonHeat) -> str:
    """What ended the count, in words."""
    course = heat.course
    if course.ended_by == "frost" and course.frost_on:
        return f", when a frost of {_say_frost(heat.rule)} ended the count on {_say_day(course.frost_on)}"
    if course.ended_by == "mean":
        return f", when the long-term mean fell below {_say_c(heat.rule.mean_falls_c)}"
    return ", the last day of the rule" if course.ended_by == "calendar" else ""


def _name_end(rule: SeasonRule) -> str:
    only_frost = rule.frost_c is not None and rule.mean_falls_c is None and rule.last is None
    return f"the first {_say_frost(rule)}" if only_frost else "the end by this rule"


def _say_frost(rule: SeasonRule) -> str:
    return _say_c(rule.frost_c) if rule.frost_at else f"less than {_say_c(rule.frost_c)}"


def _say_c(temperature_c: float | None) -> str:
    return f"{temperature_c or 0.0:g} °C".replace("-", "−")


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


def _find_counting(own: str, scale: str, form: str, rule: str, start: str, south: bool) -> Counting:
    """How to count what was asked for; everything that is not there is refused."""
    wanted = scale or own
    if wanted not in SCALE_NAMES:
        raise refuse("scale_unknown", f"There is no scale {wanted!r}.", f"Choose {', '.join(SCALE_NAMES)}.")
    try:
        found = find_form(wanted, form)
        by = find_rule(rule or OWN_RULE)
    except ValueError as error:
        told = str(error)
        raise refuse("counting_unknown", f"{told[0].upper()}{told[1:]}.", "Choose another.") from None
    if found.needs == "hours":
        message = f"The form {found.name} needs hourly readings; the season is counted from days."
        raise refuse("needs_hours", message, "Choose another, or give a file of hours to firstsilk heat.")
    day = None if start == "season" else _read_start(start)
    if day is None and by.first is None:
        message = f"The rule {by.name} tells no start of the season."
        raise refuse("start_missing", message, "Give the month and day to count from, such as 05-18.")
    return Counting(wanted, found.name, by, south, day)


def _read_start(start: str) -> tuple[int, int]:
    try:
        asked = date.fromisoformat(f"2001-{start}")
    except ValueError:
        message = f"{start!r} is no day to count from."
        raise refuse("start_unclear", message, "Write season, or month and day: 05-18.") from None
    return asked.month, asked.day


def _find_first(counting: Counting, today: date) -> date:
    """The earliest start of the season that runs, or of the last one if none runs."""
    this_year, _ = find_start_window(counting.rule, today.year, counting.south, counting.start)
    if this_year <= today:
        return this_year
    return find_start_window(counting.rule, today.year - 1, counting.south, counting.start)[0]


def _tell_rule(counting: Counting) -> str:
    if counting.start is not None:
        first = date(2001, *counting.start)
        after = "" if counting.rule.name == OWN_RULE else f", to the end by the rule {counting.rule.name}"
        return f"counted from {first.day} {first:%B}, as asked{after}"
    if counting.rule.name != OWN_RULE:
        moved = ", half a year later" if counting.south else ""
        return f"counted by the rule {counting.rule.name}: {counting.rule.says}{moved}"
    rule = "1 November, half a year after the Ontario rule" if counting.south else "1 May, as in Ontario"
    return f"counted from {rule}, to the first −2 °C of the autumn"


def _tell_reading(given: Readings, today: date) -> Iterator[str]:
    last = given.last_measured
    if last is None:
        yield "there is no weather of this site in the books"
    elif (age := (today - last).days) > 0:
        yield f"the last reading is {age} day{'s' if age > 1 else ''} old ({last.day} {last:%b %Y})"


def _tell_course(course: Course) -> Iterator[str]:
    if not course.is_started:
        yield "nothing is counted: the season has not started by this rule"
    elif course.counted_to is None and not course.stopped_by:
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
        n = len(past.years)
        yield f"only {n} past year{'s' if n != 1 else ''}, so the outer tenths are uncertain"
    if past.n_cut_short:
        yield f"{past.n_cut_short} past years have a long hole or an open end and count only up to it"
