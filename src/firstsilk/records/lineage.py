"""What is this line, and from what does it come?"""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from firstsilk.records.station import StationRecord


class Line(StationRecord):
    """A line or hybrid. The record says whether it stands for one plant, a family or a bulk.

    Valid when the name is unique, the method is one of the closed list, and selfs and doubled haploids have no
    father of their own. Heat units to silk, shed and black layer are counted from sowing in the station's scale.
    """

    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=8, default="line")
    stands_for = models.CharField(max_length=8, default="family")
    method = models.CharField(max_length=16, default="founder")
    mother = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="as_mother")
    father = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="as_father")
    selfings = models.IntegerField(default=0)
    generation = models.CharField(max_length=12, default="", blank=True)
    # A family comes from one plant of an earlier line: which line, which of its plants, and of what generation it was.
    derived_from = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="derived")
    derived_plant = models.CharField(max_length=24, default="", blank=True)
    derived_generation = models.CharField(max_length=12, default="", blank=True)
    pedigree = models.CharField(max_length=400, default="", blank=True)
    group = models.CharField(max_length=40, default="", blank=True)
    is_tester = models.BooleanField(default=False)
    is_check = models.BooleanField(default=False)
    units_to_silk = models.FloatField(null=True, blank=True)
    units_to_shed = models.FloatField(null=True, blank=True)
    units_to_black_layer = models.FloatField(null=True, blank=True)
    remark = models.CharField(max_length=400, default="", blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["station", "name"], name="line_name_once"),
            models.CheckConstraint(condition=models.Q(kind__in=["line", "hybrid"]), name="line_kind_is_known"),
            models.CheckConstraint(
                condition=models.Q(stands_for__in=["plant", "family", "bulk"]), name="line_stands_for_is_known"
            ),
            models.CheckConstraint(
                condition=models.Q(
                    method__in=["founder", "founder_inbred", "cross", "self", "sib", "dh", "bulk", "open"]
                ),
                name="line_method_is_known",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class LineName(StationRecord):
    """Another name of a line: an old one, or what others call it. It finds the line wherever a name is asked for."""

    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="other_names")
    name = models.CharField(max_length=120)
    remark = models.CharField(max_length=200, default="", blank=True)
    recorded_on = models.DateField()
    recorded_by = models.CharField(max_length=150, default="", blank=True)

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["station", "name"], name="line_other_name_once")]

    def __str__(self) -> str:
        return self.name


class LineMerge(StationRecord):
    """Two records that were found to be one line. Both stay as they are with their histories; one stands for both.

    A merge can be undone; then `undone_on` says when.
    """

    kept = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="merged_in")
    gone = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="merged_away")
    reason = models.CharField(max_length=400)
    merged_on = models.DateField()
    merged_by = models.CharField(max_length=150, default="", blank=True)
    undone_on = models.DateField(null=True, blank=True)
    undone_by = models.CharField(max_length=150, default="", blank=True)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(condition=~models.Q(kept=models.F("gone")), name="line_merge_of_two"),
            models.UniqueConstraint(
                fields=["station", "gone"], condition=models.Q(undone_on__isnull=True), name="line_merged_once"
            ),
        ]


class MarkerPanel(StationRecord):
    """One set of markers in a fixed order: the names of its markers, with chromosome and place where they are known.

    Valid when names are unique within it and `chromosomes` and `positions_bp`, where given, are as long as `markers`.
    """

    name = models.CharField(max_length=60)
    markers = models.JSONField(default=list)
    chromosomes = models.JSONField(default=list)
    positions_bp = models.JSONField(default=list)
    source = models.CharField(max_length=200, default="", blank=True)
    brought_on = models.DateField()
    brought_by = models.CharField(max_length=150, default="", blank=True)

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["station", "name"], name="marker_panel_name_once")]

    def __str__(self) -> str:
        return self.name


class MarkerSample(StationRecord):
    """One sample read at a panel's markers: of which line, from which lot or row, and its calls.

    `calls` holds one signed byte a marker in the panel's order: 0, 1 or 2 copies of the counted allele, -1 missing.
    Samples are only ever added; one that turned out wrong is set aside with its reason.
    """

    panel = models.ForeignKey(MarkerPanel, on_delete=models.PROTECT, related_name="samples")
    name = models.CharField(max_length=60)
    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="marker_samples")
    lot = models.ForeignKey("records.Lot", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    row = models.ForeignKey("records.Row", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    sampled_on = models.DateField(null=True, blank=True)
    calls = models.BinaryField()
    recorded_on = models.DateField()
    recorded_by = models.CharField(max_length=150, default="", blank=True)
    set_aside_on = models.DateField(null=True, blank=True)
    set_aside_reason = models.CharField(max_length=200, default="", blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["station", "panel", "name"], name="marker_sample_name_once")
        ]

    def __str__(self) -> str:
        return self.name
