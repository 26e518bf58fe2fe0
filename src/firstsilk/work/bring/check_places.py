"""Is it clear whose station this is, and do its sites and their weather hold together?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from itertools import pairwise
from statistics import median
from zoneinfo import available_timezones

from firstsilk.answers import Finding, Place
from firstsilk.science.climate.weather import COLDEST_C, HOTTEST_C
from firstsilk.work.bring.known import Known
from firstsilk.work.bring.names import suggest_name
from firstsilk.work.bring.tables import DayGiven, SiteGiven, StationTables

FAHRENHEIT_MEDIAN_C = 45.0
"""No place has a median daily maximum above it: such a column holds Fahrenheit. Our own choice, no source."""
CELSIUS_MAX_F = 50.0
"""A year of Fahrenheit maxima that never passes it is Celsius (50 °F is 10 °C). Our own choice, no source."""
DAYS_TO_JUDGE = 60
"""Fewest days from which a whole column's scale is judged. Our own choice, no source."""
FAR_APART_DEG = 5.0
"""Station and home site are one place; further apart in latitude [degrees] one of them is mistyped. Our own choice."""


def check_station_row(tables: StationTables, known: Known) -> Iterator[Finding]:
    """Exactly one station, with a time zone that exists, and not another one than the books'."""
    if "station" in tables.unread:
        return
    if not tables.station:
        if "station" in tables.absent and known.is_there:
            return
        place = Place("station.csv")
        repair = "Add station.csv with one row: station, name, latitude, time_zone, scale"
        message = "there is no station.csv" if "station" in tables.absent else "there is no row in it"
        yield Finding("station_missing", message, place, repair=repair)
        return
    first = tables.station[0]
    for more in tables.station[1:]:
        message = f"there must be one station only; the first is {first.station!r}"
        yield more.tell("station", "station_twice", message, "Remove this line")
    if known.station and first.station and first.station != known.station:
        message = f"these are the books of {known.station!r}"
        yield first.tell("station", "station_other", message, f"Write {known.station!r}, or open other books")
    if known.others and not known.is_there and first.station:
        alike = [code for code in known.others if code.casefold() == first.station.casefold()]
        message = f"this would be a new station beside {', '.join(alike or known.others)}"
        repair = f"Write {alike[0]!r}" if alike else "Right if it is another one"
        yield first.tell("station", "station_new", message, repair, stops=bool(alike))
    if first.time_zone and first.time_zone not in available_timezones():
        repair = suggest_name(first.time_zone, frozenset(available_timezones()), "Write one such as Europe/Vienna")
        yield first.tell("time_zone", "time_zone_unknown", "there is no such time zone", repair)


def check_sites(tables: StationTables, known: Known) -> Iterator[Finding]:
    """Every site once, one of them home, and the home site where the station is."""
    if "sites" in tables.unread:
        return
    if not tables.sites and not known.sites:
        repair = "Add sites.csv with one row for each site: site, name, latitude, longitude, elevation_m, home"
        message = "there is no sites.csv" if "sites" in tables.absent else "there is no row in it"
        yield Finding("sites_missing", message, Place("sites.csv"), repair=repair)
        return
    first: dict[str, SiteGiven] = {}
    for site in tables.sites:
        before = first.setdefault(site.site.casefold(), site)
        if before is not site and site.site:
            message = f"this site is there already, in line {before.at_line} as {before.site!r}"
            yield site.tell("site", "site_twice", message, "Keep one of the two lines")
    yield from _check_home(tables, known)


def _check_home(tables: StationTables, known: Known) -> Iterator[Finding]:
    homes = [site for site in tables.sites if site.home]
    for more in homes[1:]:
        message = f"only one site is home; the first is {homes[0].site!r}"
        yield more.tell("home", "home_twice", message, "Write 0")
    if homes and known.home and homes[0].site != known.home:
        message = f"the books have {known.home!r} as the home site"
        yield homes[0].tell("home", "home_other", message, "Write 0")
    if not homes and not known.home and tables.sites:
        message = "no site is marked as home"
        yield tables.sites[0].tell("home", "home_missing", message, "Write 1 for the home site", value="")
    if homes and tables.station:
        here, there = tables.station[0].latitude, homes[0].latitude
        if here is not None and there is not None and abs(here - there) > FAR_APART_DEG:
            message = f"the station lies at latitude {here:g}"
            repair = "Check both; perhaps a sign or a digit is wrong"
            yield homes[0].tell("latitude", "home_far_away", message, repair, stops=False)


def check_weather(tables: StationTables, known: Known) -> Iterator[Finding]:
    """Every day once, at a known site, minimum not above maximum, in the scale the column says, without gaps."""
    sites = frozenset([*known.sites, *(site.site for site in tables.sites)])
    by_site: dict[str, list[DayGiven]] = defaultdict(list)
    for day in tables.weather:
        by_site[day.site].append(day)
    for site, days in by_site.items():
        if site and site not in sites and "sites" not in tables.unread:
            repair = suggest_name(site, sites, "Add it to sites.csv")
            message = f"there is no such site ({len(days)} days name it)"
            yield days[0].tell("site", "site_unknown", message, repair)
        scale = list(_check_scale(site, days))
        yield from scale
        if not any(finding.stops for finding in scale):
            yield from _check_temperatures(days)
        yield from _check_repeats(days)
        yield from _check_gaps(site, days)


def _column(day: DayGiven, short: str) -> str:
    return f"{short}_f" if day.in_fahrenheit else f"{short}_c"


def _written(day: DayGiven, value: float) -> str:
    return f"{value * 1.8 + 32.0 if day.in_fahrenheit else value:.6g}"


def _check_scale(site: str, days: Sequence[DayGiven]) -> Iterator[Finding]:
    """A whole column in the wrong scale: one finding for the site, not one a day."""
    known = [day for day in days if day.tmax_c is not None]
    if not known:
        return
    highs = [day.tmax_c for day in known if day.tmax_c is not None]
    hottest = max(known, key=lambda day: day.tmax_c or 0.0)
    many_hot = sum(high > HOTTEST_C for high in highs) >= 3
    if not hottest.in_fahrenheit and (median(highs) > FAHRENHEIT_MEDIAN_C or (many_hot and median(highs) > 20)):
        hot = next(day for day in known if day.tmax_c == max(highs))
        message = f"site {site!r}: these look like degrees Fahrenheit (half the maxima are above {median(highs):.4g})"
        yield hot.tell("tmax_c", "looks_fahrenheit", message, "Call the columns tmin_f and tmax_f")
    if hottest.in_fahrenheit and len(known) >= DAYS_TO_JUDGE:
        top = (hottest.tmax_c or 0.0) * 1.8 + 32.0
        if top < CELSIUS_MAX_F:
            message = f"site {site!r}: these look like degrees Celsius (no maximum is above {top:.4g})"
            repair = "Call the columns tmin_c and tmax_c"
            value = f"{top:.6g}"
            yield hottest.tell("tmax_f", "looks_celsius", message, repair, stops=False, value=value)


def _check_temperatures(days: Sequence[DayGiven]) -> Iterator[Finding]:
    for day in days:
        for short, value in (("tmin", day.tmin_c), ("tmax", day.tmax_c)):
            if value is not None and not COLDEST_C <= value <= HOTTEST_C:
                written = _written(day, value)
                nines = set(written.strip("-").replace(".", "")) == {"9"}
                repair = "Leave the cell empty where nothing was measured" if nines else "Check it; is the scale right?"
                message = "no such air temperature was ever measured"
                yield day.tell(_column(day, short), "out_of_range", message, repair, value=written)
        if day.tmin_c is not None and day.tmax_c is not None and day.tmin_c > day.tmax_c:
            high, low = _written(day, day.tmax_c), _written(day, day.tmin_c)
            message = f"the lowest is above the highest temperature ({high}) of that day"
            repair = f"Exchange them if they were swapped: {_column(day, 'tmin')} {high}, {_column(day, 'tmax')} {low}"
            yield day.tell(_column(day, "tmin"), "tmin_above_tmax", message, repair, value=low)
        if day.date is not None and (day.tmin_c is None or day.tmax_c is None):
            short = "tmin" if day.tmin_c is None else "tmax"
            message = f"the day {day.date} lacks a temperature and is left out"
            yield day.tell(
                _column(day, short), "day_left_out", message, "Fill it if it is known", stops=False, value=""
            )


def _check_repeats(days: Sequence[DayGiven]) -> Iterator[Finding]:
    first: dict[date, DayGiven] = {}
    for day in days:
        if day.date is None:
            continue
        before = first.setdefault(day.date, day)
        if before is not day:
            message = f"this day is there already for site {day.site!r}, in line {before.at_line}"
            yield day.tell("date", "day_twice", message, "Remove one of the two lines")


def _check_gaps(site: str, days: Sequence[DayGiven]) -> Iterator[Finding]:
    """Each run of missing days between the first and the last day of a site, once."""
    whole = sorted(
        {day.date: day for day in days if day.date and day.tmin_c is not None and day.tmax_c is not None}.values(),
        key=lambda day: day.date or date.min,
    )
    for before, after in pairwise(whole):
        assert before.date is not None
        assert after.date is not None
        missing = (after.date - before.date).days - 1
        if missing > 0:
            first, last = before.date + timedelta(days=1), after.date - timedelta(days=1)
            run = f"{first}" if missing == 1 else f"{first} to {last} ({missing} days)"
            message = f"site {site!r}: no weather for {run}"
            yield after.tell("date", "days_missing", message, "Add them if they are known", stops=False)
