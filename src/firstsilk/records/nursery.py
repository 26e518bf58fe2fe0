"""What is to be made this season, and where does it stand in the field?

A plan holds targets (crosses and selfs wanted); rows serve targets. What was really sown is told by notes, and the
rows keep what was planned.
"""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from firstsilk.records.climate import Site
from firstsilk.records.lineage import Line
from firstsilk.records.station import StationRecord


class Season(StationRecord):
    """A year, or the winter nursery that follows it: ``2031`` or ``2031W``."""

    name = models.CharField(max_length=12)
    year = models.IntegerField()
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+")
    sow_from = models.DateField(null=True, blank=True)
    cutoff_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["station", "name"], name="season_name_once")]

    def __str__(self) -> str:
        return self.name


class Spray(StationRecord):
    """One spraying of rows and until when nobody goes in: the interval on the product's label, by whoever posted it."""

    season = models.ForeignKey(Season, on_delete=models.PROTECT, related_name="sprays")
    product = models.CharField(max_length=80)
    sprayed_at = models.DateTimeField()
    no_entry_until = models.DateTimeField()
    first_row = models.IntegerField()
    last_row = models.IntegerField()
    posted_by = models.CharField(max_length=150, default="", blank=True)
    posted_at = models.DateTimeField()
    remark = models.CharField(max_length=200, default="", blank=True)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(no_entry_until__gte=models.F("sprayed_at")), name="spray_ends_after_it_begins"
            ),
            models.CheckConstraint(
                condition=models.Q(first_row__gte=1, last_row__gte=models.F("first_row")), name="spray_rows_in_order"
            ),
        ]


class CrewPlan(StationRecord):
    """Who can work in a season and how long: what the need by day is set against. Codes and counts, no names.

    `per_hour` and `efficiency_frac` are empty where the station's own notes, or else the published rate, decide.
    """

    season = models.ForeignKey(Season, on_delete=models.PROTECT, related_name="crew_plans")
    workers = models.IntegerField(default=0)
    beginners = models.IntegerField(default=0)
    beginners_from = models.DateField(null=True, blank=True)
    hours_a_day = models.FloatField(default=7.0)
    per_hour = models.FloatField(null=True, blank=True)
    efficiency_frac = models.FloatField(null=True, blank=True)
    set_by = models.CharField(max_length=150, default="", blank=True)
    set_at = models.DateTimeField()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["station", "season"], name="crew_plan_once"),
            models.CheckConstraint(condition=models.Q(workers__gte=0, beginners__gte=0), name="crew_plan_counts"),
            models.CheckConstraint(
                condition=models.Q(hours_a_day__gt=0, hours_a_day__lte=16), name="crew_plan_hours_of_a_day"
            ),
        ]


class Target(StationRecord):
    """One thing wanted of the season: a self or a cross, how many good ears, how many kernels, and why."""

    season = models.ForeignKey(Season, on_delete=models.PROTECT, related_name="targets")
    number = models.IntegerField()
    kind = models.CharField(max_length=12)
    female = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="+")
    male = models.ForeignKey(Line, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    ears_wanted = models.IntegerField()
    kernels_wanted = models.IntegerField(null=True, blank=True)
    priority = models.IntegerField(default=2)
    reason = models.CharField(max_length=200, default="", blank=True)
    asked_on = models.DateField(null=True, blank=True)
    # draft until the plan is fixed; then rows exist and seed is reserved.
    state = models.CharField(max_length=8, default="draft")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["station", "season", "number"], name="target_number_once"),
            models.CheckConstraint(condition=models.Q(ears_wanted__gt=0), name="target_wants_ears"),
            models.CheckConstraint(condition=models.Q(state__in=["draft", "planned"]), name="target_state_is_known"),
            models.CheckConstraint(
                condition=models.Q(kind__in=["self", "sib", "cross", "testcross", "backcross"]),
                name="target_kind_is_known",
            ),
        ]


class Row(StationRecord):
    """One nursery row as planned: what, from which lot, where, when. Valid when its place and tag are its own."""

    season = models.ForeignKey(Season, on_delete=models.PROTECT, related_name="rows")
    tag = models.CharField(max_length=8)
    number = models.IntegerField()
    field_row = models.IntegerField()
    field_col = models.IntegerField()
    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="rows")
    lot = models.ForeignKey("records.Lot", on_delete=models.PROTECT, null=True, blank=True, related_name="rows")
    target = models.ForeignKey(Target, on_delete=models.PROTECT, null=True, blank=True, related_name="rows")
    purpose = models.CharField(max_length=8)
    kernels = models.IntegerField(default=0)
    sow_on = models.DateField(null=True, blank=True)
    sowing = models.IntegerField(default=1)
    no_entry_until = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["station", "tag"], name="row_tag_once"),
            models.UniqueConstraint(fields=["station", "season", "number"], name="row_number_once"),
            models.UniqueConstraint(fields=["station", "season", "field_row", "field_col"], name="row_place_once"),
            models.CheckConstraint(
                condition=models.Q(purpose__in=["self", "female", "male", "filler"]), name="row_purpose_is_known"
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["station", "line"], name="row_of_line")]
