"""Who goes on, who waits, who stops, and why?"""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from firstsilk.records.lineage import Line
from firstsilk.records.station import Result, StationRecord


class Verdict(StationRecord):
    """One verdict on one line in one year, with its reason and evidence. A later verdict does not erase it."""

    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="verdicts")
    year = models.IntegerField()
    verdict = models.CharField(max_length=6)
    reason = models.CharField(max_length=400)
    evidence = models.ForeignKey(Result, on_delete=models.PROTECT, null=True, blank=True, related_name="verdicts")
    # What the figures proposed; differs from `verdict` where the breeder decided otherwise.
    proposed = models.CharField(max_length=6, default="", blank=True)
    decided_on = models.DateField()
    decided_at = models.DateTimeField()
    decided_by = models.CharField(max_length=150, default="", blank=True)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(verdict__in=["go_on", "wait", "stop"]), name="verdict_is_one_of_three"
            ),
            models.CheckConstraint(condition=~models.Q(reason=""), name="verdict_has_a_reason"),
        ]
        indexes: ClassVar = [models.Index(fields=["station", "line"], name="verdict_of_line")]
