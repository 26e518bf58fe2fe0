"""Which sites have weather, how far does it reach, and where are its holes?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Max, Min, Q

from firstsilk.records.models import Site, WeatherDay, WeatherHour
from firstsilk.work.climate.readings import find_holes
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_site, get_station


@dataclass(frozen=True, slots=True)
class SiteFacts:
    """One site and its weather up to today; `n_missing` days between the first and the last are not there.

    `n_forecast_ahead` are days after today; `n_hours` are hours up to today, `n_forecast` days never measured yet.
    """

    code: str
    name: str
    latitude: float
    longitude: float
    elevation_m: float | None
    is_home: bool
    first_day: date | None
    last_day: date | None
    last_measured: date | None
    reading_age_days: int | None
    n_days: int
    n_filled: int
    n_forecast: int
    n_forecast_ahead: int = 0
    n_hours: int = 0

    @property
    def n_missing(self) -> int:
        """Days between the first and the last that are not in the books."""
        return (self.last_day - self.first_day).days + 1 - self.n_days if self.first_day and self.last_day else 0


@dataclass(frozen=True, slots=True)
class SiteList:
    """All sites, home first."""

    sites: tuple[SiteFacts, ...]
    basis: Basis


@dataclass(frozen=True, slots=True)
class SitePage:
    """One site and the holes in its weather, first and last day of each."""

    facts: SiteFacts
    holes: tuple[tuple[date, date], ...]
    basis: Basis


def list_sites(on: Occasion) -> SiteList:
    """All sites of the station with how far their weather reaches, home first."""
    station = get_station(on.station)
    known = WeatherDay.objects.filter(station=station, date__lte=on.today).order_by()
    counted = known.values("site").annotate(
        n=Count("pk"),
        first=Min("date"),
        last=Max("date"),
        measured=Max("date", filter=Q(origin="measured")),
        n_filled=Count("pk", filter=Q(origin="filled")),
        n_forecast=Count("pk", filter=Q(origin="forecast")),
    )
    by_site: dict[int, dict[str, object]] = {row["site"]: dict(row) for row in counted}
    ahead = WeatherDay.objects.filter(station=station, date__gt=on.today, origin="forecast").order_by()
    hours = WeatherHour.objects.filter(station=station, date__lte=on.today).order_by()
    for name, counts in (("n_ahead", ahead), ("n_hours", hours)):
        for row in counts.values("site").annotate(n_of=Count("pk")):
            by_site.setdefault(row["site"], {})[name] = row["n_of"]
    sites = tuple(
        _facts(site, by_site.get(site.pk, {}), on.today)
        for site in Site.objects.filter(station=station).order_by("-is_home", "name", "code")
    )
    without = [site.name for site in sites if not site.n_days]
    missing = (f"no weather yet for {', '.join(without)}",) if without else ()
    used = (("sites", len(sites)), ("days of weather", sum(site.n_days for site in sites)))
    return SiteList(sites, Basis(used, missing))


def read_site(on: Occasion, code: str = "") -> SitePage:
    """One site, and every hole in its weather."""
    station = get_station(on.station)
    code = get_site(station, code).code
    facts = next(site for site in list_sites(on).sites if site.code == code)
    days = WeatherDay.objects.filter(station=station, site__code=code, date__lte=on.today).order_by("date")
    holes = find_holes(tuple(days.values_list("date", flat=True)))
    missing = (f"{facts.n_missing} days in {len(holes)} holes",) if holes else ()
    return SitePage(facts, holes, Basis((("days of weather", facts.n_days),), missing))


def _facts(site: Site, told: dict[str, object], today: date) -> SiteFacts:
    def day(name: str) -> date | None:
        found = told.get(name)
        return found if isinstance(found, date) else None

    def count(name: str) -> int:
        found = told.get(name, 0)
        return found if isinstance(found, int) else 0

    measured = day("measured")
    return SiteFacts(
        code=site.code,
        name=site.name,
        latitude=site.latitude,
        longitude=site.longitude,
        elevation_m=site.elevation_m,
        is_home=site.is_home,
        first_day=day("first"),
        last_day=day("last"),
        last_measured=measured,
        reading_age_days=(today - measured).days if measured else None,
        n_days=count("n"),
        n_filled=count("n_filled"),
        n_forecast=count("n_forecast"),
        n_forecast_ahead=count("n_ahead"),
        n_hours=count("n_hours"),
    )
