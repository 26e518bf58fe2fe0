"""How old is the last reading that a page rests on? Said on every page that uses weather."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db.models import Max

from firstsilk.records.models import Season, Site, WeatherDay
from firstsilk.work.occasion import Occasion

STALE_DAYS = 2
"""A last reading older than so many days is said as a warning. Our own choice."""


@dataclass(frozen=True, slots=True)
class ReadingAge:
    """The last measured day of a site, and its age in days as of the occasion; None where there is none."""

    site_name: str
    last: date | None
    age_days: int | None

    @property
    def is_stale(self) -> bool:
        """Whether it is old, or there is none."""
        return self.age_days is None or self.age_days > STALE_DAYS

    @property
    def text(self) -> str:
        """The age as one sentence."""
        if self.last is None:
            return f"No reading is in the books: {self.site_name}."
        day = f"{self.last.day} {self.last:%B %Y}"
        if not self.age_days:
            return f"Last reading today: {self.site_name}."
        days = f"{self.age_days} day{'s' if self.age_days > 1 else ''}"
        return f"Last reading {days} old ({day}): {self.site_name}."


def read_reading_age(on: Occasion, site: str = "") -> ReadingAge | None:
    """The age of the last reading of a site; of the site of the day's season, else the home site, if none is named.

    Parameters
    ----------
    on
        The occasion.
    site
        Site code; one that is not in the books counts as none named.

    Returns
    -------
    ReadingAge or None
        None where the station has no site.

    Notes
    -----
    Three queries at most, however many rows a page has. Checked by ``tests/work/test_freshness.py``.
    """
    sites = Site.objects.filter(station__code=on.station)
    place = sites.filter(code=site).first() if site else None
    if place is None:
        season = Season.objects.filter(station__code=on.station, year=on.today.year).select_related("site")
        first = season.order_by("name").first()
        place = first.site if first is not None else sites.order_by("-is_home", "code").first()
    if place is None:
        return None
    measured = WeatherDay.objects.filter(site=place, origin="measured", date__lte=on.today)
    last = measured.aggregate(last=Max("date"))["last"]
    return ReadingAge(place.name, last, (on.today - last).days if last else None)
