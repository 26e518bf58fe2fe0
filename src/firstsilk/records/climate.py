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


class WeatherHour(StationRecord):
    """One hour at one site, in the site's standard time: the mean or reading of the hour that begins at `hour`."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="hours")
    date = models.DateField()
    hour = models.IntegerField()
    temp_c = models.FloatField()
    rh_pct = models.FloatField(null=True, blank=True)
    rain_mm = models.FloatField(null=True, blank=True)
    origin = models.CharField(max_length=10, default="measured")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["station", "site", "date", "hour"], name="weather_hour_once"),
            models.CheckConstraint(condition=models.Q(hour__gte=0, hour__lte=23), name="weather_hour_of_day"),
            models.CheckConstraint(
                condition=models.Q(rh_pct__isnull=True) | models.Q(rh_pct__gte=0, rh_pct__lte=100),
                name="weather_humidity_is_a_share",
            ),
            models.CheckConstraint(
                condition=models.Q(origin__in=["measured", "forecast"]), name="weather_hour_origin_is_known"
            ),
        ]


class WeatherFeed(StationRecord):
    """Where new days of a site come from by themselves: a folder that is watched, or an address that is asked."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="feeds")
    kind = models.CharField(max_length=8)
    place = models.CharField(max_length=500)
    is_on = models.BooleanField(default=True)
    set_by = models.CharField(max_length=150, default="", blank=True)
    set_at = models.DateTimeField()
    looked_at = models.DateTimeField(null=True, blank=True)
    # Hash of what was last taken in, so that the same file is not read again.
    taken_hash = models.CharField(max_length=64, default="", blank=True)
    taken_at = models.DateTimeField(null=True, blank=True)
    said = models.CharField(max_length=1000, default="", blank=True)
    failed = models.BooleanField(default=False)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["station", "kind", "place"], name="weather_feed_once"),
            models.CheckConstraint(
                condition=models.Q(kind__in=["folder", "address"]), name="weather_feed_kind_is_known"
            ),
        ]
