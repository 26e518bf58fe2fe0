"""What do the trials say about each entry, and what made that estimate?"""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from firstsilk.records.lineage import Line
from firstsilk.records.station import Result, StationRecord


class Estimate(StationRecord):
    """One number for one line or hybrid from one analysis, with its standard error and what it rests on."""

    result = models.ForeignKey(Result, on_delete=models.PROTECT, related_name="estimates")
    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="estimates")
    trait = models.CharField(max_length=40)
    kind = models.CharField(max_length=8)
    value = models.FloatField()
    se = models.FloatField(null=True, blank=True)
    reliability = models.FloatField(null=True, blank=True)
    n_plots = models.IntegerField(default=0)
    n_sites = models.IntegerField(default=0)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["result", "line", "trait", "kind"], name="estimate_once"),
            models.CheckConstraint(condition=models.Q(kind__in=["blue", "blup", "gca"]), name="estimate_kind_is_known"),
        ]
        indexes: ClassVar = [models.Index(fields=["station", "line"], name="estimate_of_line")]
