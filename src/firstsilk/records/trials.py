"""Which hybrids grow where, and what did each plot give?"""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from firstsilk.records.climate import Site
from firstsilk.records.lineage import Line
from firstsilk.records.station import StationRecord


class Trial(StationRecord):
    """One lay-out at one site in one season. Past trials brought in have the design ``as_brought``."""

    name = models.CharField(max_length=60)
    series = models.CharField(max_length=60, default="", blank=True)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="trials")
    year = models.IntegerField()
    design = models.CharField(max_length=16, default="complete")
    reps = models.IntegerField(default=1)
    plot_area_m2 = models.FloatField(null=True, blank=True)
    plants_per_plot = models.IntegerField(null=True, blank=True)
    kernels_per_plot = models.IntegerField(null=True, blank=True)
    seed = models.BigIntegerField(null=True, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["station", "name"], name="trial_name_once"),
            models.CheckConstraint(condition=models.Q(reps__gt=0), name="trial_has_reps"),
        ]

    def __str__(self) -> str:
        return self.name


class Plot(StationRecord):
    """One plot: its number, block and place, and the entry grown on it."""

    trial = models.ForeignKey(Trial, on_delete=models.PROTECT, related_name="plots")
    tag = models.CharField(max_length=8, default="", blank=True)
    number = models.IntegerField()
    rep = models.CharField(max_length=12, default="1")
    block = models.CharField(max_length=12, default="1")
    field_row = models.IntegerField(null=True, blank=True)
    field_col = models.IntegerField(null=True, blank=True)
    entry = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="plots")
    lot = models.ForeignKey("records.Lot", on_delete=models.PROTECT, null=True, blank=True, related_name="plots")
    is_check = models.BooleanField(default=False)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["station", "trial", "number"], name="plot_number_once"),
        ]
        indexes: ClassVar = [models.Index(fields=["station", "entry"], name="plot_of_entry")]


class PlotRecord(StationRecord):
    """What one plot gave, as told by one file or form. The newest record of a plot counts; none is overwritten."""

    plot = models.ForeignKey(Plot, on_delete=models.PROTECT, related_name="records")
    weight_kg = models.FloatField(null=True, blank=True)
    moisture_pct = models.FloatField(null=True, blank=True)
    # Grain at 15.5 % moisture: computed from weight, moisture and area, or given as such by a past trial's file.
    yield_kg_ha_15_5 = models.FloatField(null=True, blank=True)
    test_weight_kg_hl = models.FloatField(null=True, blank=True)
    stand = models.IntegerField(null=True, blank=True)
    root_lodged = models.IntegerField(null=True, blank=True)
    stalk_lodged = models.IntegerField(null=True, blank=True)
    rejected = models.CharField(max_length=200, default="", blank=True)
    source = models.CharField(max_length=120, default="", blank=True)
    recorded_at = models.DateTimeField()
    recorded_by = models.CharField(max_length=150, default="", blank=True)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(moisture_pct__isnull=True) | models.Q(moisture_pct__gte=0, moisture_pct__lt=100),
                name="plot_moisture_is_a_percentage",
            ),
            models.CheckConstraint(
                condition=models.Q(weight_kg__isnull=True) | models.Q(weight_kg__gte=0), name="plot_weight_not_negative"
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["station", "plot"], name="record_of_plot")]
