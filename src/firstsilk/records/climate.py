"""Where are the fields, and what was the weather there?"""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from firstsilk.records.station import StationRecord


class Site(StationRecord):
    """A place with fields and weather: the home station, a trial place, a winter nursery."""

    code = models.SlugField(max_length=20)
    name = models.CharField(max_length=120)
    latitude = models.FloatField()
    longitude = models.FloatField()
    elevation_m = models.FloatField(null=True, blank=True)
    is_home = models.BooleanField(default=False)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["station", "code"], name="site_code_once"),
            models.CheckConstraint(
                condition=models.Q(latitude__gte=-90, latitude__lte=90, longitude__gte=-180, longitude__lte=180),
                name="site_on_earth",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class WeatherDay(StationRecord):
    """One day at one site. Valid when tmin_c <= tmax_c and the day appears once."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="days")
    date = models.DateField()
    tmin_c = models.FloatField()
    tmax_c = models.FloatField()
    rain_mm = models.FloatField(null=True, blank=True)
    # measured, filled (a gap closed on request) or forecast: never mixed unseen.
    origin = models.CharField(max_length=10, default="measured")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["station", "site", "date"], name="weather_day_once"),
            models.CheckConstraint(
                condition=models.Q(tmin_c__lte=models.F("tmax_c")), name="weather_tmin_not_above_tmax"
            ),
            models.CheckConstraint(
                condition=models.Q(origin__in=["measured", "filled", "forecast"]), name="weather_origin_is_known"
            ),
        ]
