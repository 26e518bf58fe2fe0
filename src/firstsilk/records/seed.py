"""Which seed do we have, where from, and where did it go?

A lot's stock is the sum of its movements and nothing else. Every lot declares its origin.
"""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from firstsilk.records.lineage import Line
from firstsilk.records.nursery import Row, Target
from firstsilk.records.station import StationRecord


class Lot(StationRecord):
    """One labelled amount of seed of one line. Valid when its origin is declared and germination lies in 0..1."""

    tag = models.CharField(max_length=8)
    name = models.CharField(max_length=60)
    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="lots")
    kind = models.CharField(max_length=10, default="bulk")
    origin = models.CharField(max_length=16)
    origin_text = models.CharField(max_length=200, default="", blank=True)
    year = models.IntegerField()
    germination_frac = models.FloatField(null=True, blank=True)
    germination_tested_on = models.DateField(null=True, blank=True)
    germination_seeds = models.IntegerField(null=True, blank=True)
    kernel_weight_mg = models.FloatField(null=True, blank=True)
    shelf = models.CharField(max_length=20, default="", blank=True)
    box = models.CharField(max_length=20, default="", blank=True)
    slot = models.CharField(max_length=20, default="", blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["station", "tag"], name="lot_tag_once"),
            models.UniqueConstraint(fields=["station", "name"], name="lot_name_once"),
            models.CheckConstraint(
                condition=models.Q(
                    origin__in=["ears", "rows", "pollinations", "lots", "open_pollinated", "male_set", "received"]
                ),
                name="lot_origin_is_declared",
            ),
            models.CheckConstraint(
                condition=models.Q(germination_frac__isnull=True)
                | models.Q(germination_frac__gte=0, germination_frac__lte=1),
                name="lot_germination_is_a_share",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["station", "line"], name="lot_of_line")]

    def __str__(self) -> str:
        return self.name


class LotOrigin(StationRecord):
    """One thing a lot came from: a row, a pollination note or bag, or a parent lot, with its share."""

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="origins")
    row = models.ForeignKey(Row, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    parent_lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="made_into")
    male_row = models.ForeignKey(Row, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    note = models.UUIDField(null=True, blank=True)
    bag = models.CharField(max_length=16, default="", blank=True)
    share_frac = models.FloatField(default=1.0)


class Movement(StationRecord):
    """Kernels into (positive) or out of (negative) a lot, when, and for what. Movements are only ever added."""

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="movements")
    kernels = models.IntegerField()
    reason = models.CharField(max_length=12)
    used_for = models.CharField(max_length=120, default="", blank=True)
    moved_on = models.DateField()
    recorded_at = models.DateTimeField()
    recorded_by = models.CharField(max_length=150, default="", blank=True)
    note = models.UUIDField(null=True, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(
                    reason__in=["opening", "harvested", "sown", "packed", "split", "sent", "discarded", "counted"]
                ),
                name="movement_reason_is_known",
            ),
            models.CheckConstraint(condition=~models.Q(kernels=0), name="movement_moves_something"),
        ]
        indexes: ClassVar = [models.Index(fields=["station", "lot"], name="movement_of_lot")]


class Reservation(StationRecord):
    """Kernels of a lot promised to a plan and not yet taken; released when sown, packed or given up."""

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="reservations")
    target = models.ForeignKey(Target, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    row = models.ForeignKey(Row, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    trial = models.ForeignKey("records.Trial", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    kernels = models.IntegerField()
    reserved_on = models.DateField()
    released_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(condition=models.Q(kernels__gt=0), name="reservation_holds_something")
        ]
        indexes: ClassVar = [models.Index(fields=["station", "lot"], name="reservation_of_lot")]


class GerminationTest(StationRecord):
    """One germination test of a lot: seeds laid out, and how many germinated. The lot itself shows the newest."""

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="germination_tests")
    tested_on = models.DateField()
    seeds = models.IntegerField()
    germinated = models.IntegerField()
    remark = models.CharField(max_length=200, default="", blank=True)
    recorded_at = models.DateTimeField()
    recorded_by = models.CharField(max_length=150, default="", blank=True)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(seeds__gt=0, germinated__gte=0, germinated__lte=models.F("seeds")),
                name="germination_test_counts",
            )
        ]


class Weighing(StationRecord):
    """One weighing of a lot: its net weight, and the counted sample from which the weight of a kernel comes.

    Without a sample the lot's known kernel weight was used; `kernels` is what it came to.
    """

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="weighings")
    weighed_on = models.DateField()
    net_g = models.FloatField()
    sample_kernels = models.IntegerField(null=True, blank=True)
    sample_g = models.FloatField(null=True, blank=True)
    kernels = models.IntegerField()
    recorded_at = models.DateTimeField()
    recorded_by = models.CharField(max_length=150, default="", blank=True)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(condition=models.Q(net_g__gte=0, kernels__gte=0), name="weighing_not_negative"),
            models.CheckConstraint(
                condition=models.Q(sample_kernels__isnull=True, sample_g__isnull=True)
                | models.Q(sample_kernels__gt=0, sample_g__gt=0),
                name="weighing_sample_is_whole",
            ),
        ]
