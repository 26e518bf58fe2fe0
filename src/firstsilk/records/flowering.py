"""What was seen and done in the field? The notes, which only grow.

A note is never edited or deleted; database triggers refuse both. Notes are chained by hash per station in order of
receipt, so that tampering shows. What could not be read as a note is laid aside whole, never thrown away.
"""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from firstsilk.records.station import StationRecord


class Note(StationRecord):
    """One fact taken in the field or seed room, as it was sent.

    The fields from `uuid` to `replaces` are the body that the device wrote and `check_sum` covers. `position`,
    `received_at`, `previous_hash` and `hash` are ours.
    """

    uuid = models.UUIDField()
    device = models.UUIDField()
    device_number = models.BigIntegerField()
    worker = models.CharField(max_length=12, blank=True)
    kind = models.CharField(max_length=24)
    detail = models.CharField(max_length=40, blank=True)
    tag = models.CharField(max_length=16, blank=True, db_index=True)
    male = models.CharField(max_length=16, blank=True)
    bag = models.CharField(max_length=16, blank=True, db_index=True)
    plant = models.IntegerField(null=True, blank=True)
    value = models.TextField(blank=True)
    unit = models.CharField(max_length=16, blank=True)
    # The device's own clock, as local time, and its offset from UTC in minutes.
    taken_at = models.DateTimeField()
    taken_local = models.CharField(max_length=32)
    taken_on = models.DateField(db_index=True)
    offset_min = models.IntegerField()
    source = models.CharField(max_length=8)
    app = models.CharField(max_length=24, blank=True)
    format = models.IntegerField()
    practice = models.BooleanField(default=False)
    doubt = models.CharField(max_length=40, blank=True)
    doubt_reason = models.CharField(max_length=300, blank=True)
    replaces = models.UUIDField(null=True, blank=True)
    check_sum = models.CharField(max_length=8)

    position = models.BigIntegerField()
    received_at = models.DateTimeField()
    previous_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["station", "uuid"], name="note_uuid_once"),
            models.UniqueConstraint(fields=["station", "position"], name="note_position_once"),
        ]
        indexes: ClassVar = [
            models.Index(fields=["station", "device", "device_number"], name="note_device_number"),
            models.Index(fields=["station", "tag"], name="note_of_tag"),
            models.Index(
                fields=["station", "replaces"], condition=models.Q(replaces__isnull=False), name="note_that_replaces"
            ),
        ]


class NoteAside(StationRecord):
    """Something sent as a note that could not stand as one: kept whole, with the reason, for a person to settle."""

    device = models.CharField(max_length=40, blank=True)
    raw = models.TextField()
    raw_hash = models.CharField(max_length=64)
    reason = models.CharField(max_length=300)
    code = models.CharField(max_length=40)
    received_at = models.DateTimeField()

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["station", "raw_hash"], name="note_aside_once")]


class AsideSettled(StationRecord):
    """A person has looked at something laid aside: what became of it, or why it is nothing. What came stays."""

    aside = models.ForeignKey(NoteAside, on_delete=models.PROTECT, related_name="settled")
    settled_at = models.DateTimeField()
    settled_by = models.CharField(max_length=150, default="", blank=True)
    how = models.CharField(max_length=300)
    note = models.UUIDField(null=True, blank=True)

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["station", "aside"], name="aside_settled_once")]


class DayClose(StationRecord):
    """The crew leader has closed a day: all of its notes are in, as far as anybody knows, and phones may let them go.

    A note of a closed day that comes later is stored like any other and shows as late. `head_position` and `head_hash`
    are the newest link of the chain at that moment, so that a printed day sheet anchors it outside.
    """

    day = models.DateField()
    closed_at = models.DateTimeField()
    closed_by = models.CharField(max_length=150, default="", blank=True)
    counts = models.JSONField(default=dict)
    head_position = models.BigIntegerField(default=0)
    head_hash = models.CharField(max_length=64, default="", blank=True)
    remark = models.CharField(max_length=300, default="", blank=True)

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["station", "day"], name="day_closed_once")]


class KeyedSheet(StationRecord):
    """One paper sheet, from its printing on: keyed at the desk, once or twice. Notes are made when it is settled.

    `sheet` is the code printed on the paper, `entry` 1 or 2 for the first and the second keying, `cells` what was
    keyed.
    """

    sheet = models.CharField(max_length=16)
    kind = models.CharField(max_length=12)
    day = models.DateField()
    worker = models.CharField(max_length=12, default="", blank=True)
    entry = models.IntegerField(default=1)
    cells = models.JSONField(default=list)
    keyed_at = models.DateTimeField()
    keyed_by = models.CharField(max_length=150, default="", blank=True)
    settled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["station", "sheet", "day", "entry"], name="sheet_keyed_once_an_entry"),
            models.CheckConstraint(condition=models.Q(entry__in=[1, 2]), name="sheet_is_keyed_once_or_twice"),
            models.CheckConstraint(condition=models.Q(kind__in=["walk", "tally", "bag"]), name="sheet_kind_is_known"),
        ]
