"""Whose books are these, who may open them, and what is the machine doing?

Every other table carries its station; names and tags are unique within a station only.
"""

from __future__ import annotations

from typing import ClassVar

from django.contrib.auth.models import AbstractUser, UserManager
from django.db import models


class Station(models.Model):
    """One breeding station: the owner of every record.

    Valid when the code is unique, the latitude lies in -90..90, and the counters only grow.
    """

    code = models.SlugField(max_length=40, unique=True)
    name = models.CharField(max_length=120)
    latitude = models.FloatField()
    time_zone = models.CharField(max_length=60, default="UTC")
    scale = models.CharField(max_length=8, default="chu")
    # The serial of the last tag given out; a tag is never given twice.
    last_tag_serial = models.BigIntegerField(default=0)
    last_device_number = models.IntegerField(default=0)
    # Only the invented station holds a date still, so that its pages show a chosen day of its season.
    held_date = models.DateField(null=True, blank=True)
    is_invented = models.BooleanField(default=False)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(latitude__gte=-90, latitude__lte=90), name="station_latitude_on_earth"
            ),
            models.CheckConstraint(
                condition=models.Q(scale__in=["chu", "gdd_c", "gdd_f"]), name="station_scale_is_known"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class StationRecord(models.Model):
    """The base of every table below: the record belongs to one station and goes with nobody else."""

    station = models.ForeignKey(Station, on_delete=models.PROTECT, related_name="+")

    class Meta:
        abstract = True


class Role(models.TextChoices):
    """What a person may do at the desk."""

    BREEDER = "breeder", "breeder"
    TECHNICIAN = "technician", "technician"
    CREW_LEADER = "crew_leader", "crew leader"
    COOPERATOR = "cooperator", "cooperator (reads only)"


class Account(AbstractUser):
    """A person who signs in at the desk. Field crews have worker codes and no account."""

    station = models.ForeignKey(Station, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    role = models.CharField(max_length=12, choices=Role.choices, default=Role.COOPERATOR)

    objects: ClassVar[UserManager[Account]] = UserManager()  # type: ignore[assignment]

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(condition=models.Q(role__in=Role.values), name="account_role_is_known"),
        ]


class SignInTry(models.Model):
    """One failed sign-in, so that guessing gets slower. Carries the name tried, not a station."""

    name = models.CharField(max_length=150, db_index=True)
    tried_at = models.DateTimeField(db_index=True)


class Worker(StationRecord):
    """A member of the field crew, by code only: no names of minors and no health facts in field files."""

    code = models.CharField(max_length=12)
    age_band = models.CharField(max_length=12, default="adult")
    team = models.CharField(max_length=12, default="", blank=True)
    first_day = models.DateField(null=True, blank=True)
    trained_on = models.DateField(null=True, blank=True)
    left_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["station", "code"], name="worker_code_once"),
            models.CheckConstraint(
                condition=models.Q(age_band__in=["under_16", "16_17", "adult"]), name="worker_age_band_is_known"
            ),
        ]


class WorkRule(StationRecord):
    """What an age band may do and how long, as this station has set it. Local law decides; it is written here."""

    age_band = models.CharField(max_length=12)
    # Tasks that this band may not do, of the closed list in work/flowering; empty = all are allowed.
    barred = models.JSONField(default=list)
    hours_a_day = models.FloatField(null=True, blank=True)
    hours_a_week = models.FloatField(null=True, blank=True)
    earliest = models.TimeField(null=True, blank=True)
    latest = models.TimeField(null=True, blank=True)
    set_by = models.CharField(max_length=150, default="", blank=True)
    set_on = models.DateField()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["station", "age_band"], name="work_rule_once_a_band"),
            models.CheckConstraint(
                condition=models.Q(age_band__in=["under_16", "16_17", "adult"]), name="work_rule_age_band_is_known"
            ),
        ]


class Device(StationRecord):
    """A phone, a desk or a file that makes notes. Its number is dense within the station, from 1."""

    uuid = models.UUIDField()
    number = models.IntegerField()
    label = models.CharField(max_length=60, default="")
    token_hash = models.CharField(max_length=64, default="", blank=True)
    enrol_code_hash = models.CharField(max_length=64, default="", blank=True)
    enrol_until = models.DateTimeField(null=True, blank=True)
    enrolled_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    # Device clock minus ours at the last meeting; shown, never trusted.
    clock_ahead_s = models.FloatField(null=True, blank=True)
    last_seen_at = models.DateTimeField(null=True, blank=True)
    # What the phone said of itself at the last meeting: its program, its highest number, and what it still holds.
    app = models.CharField(max_length=24, default="", blank=True)
    highest_number = models.BigIntegerField(default=0)
    waiting = models.IntegerField(default=0)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["station", "uuid"], name="device_uuid_once"),
            models.UniqueConstraint(fields=["station", "number"], name="device_number_once"),
        ]


class Tag(StationRecord):
    """One printed code and the kind of thing it hangs on. A code is never given to a second thing."""

    code = models.CharField(max_length=8)
    hangs_on = models.CharField(max_length=8)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["station", "code"], name="tag_code_once"),
            models.CheckConstraint(
                condition=models.Q(hangs_on__in=["row", "lot", "plot", "bag", "crate", "sheet"]),
                name="tag_hangs_on_a_known_thing",
            ),
        ]


class Job(StationRecord):
    """One long piece of work: where it stands, whether it was asked to stop, and when it last gave a sign."""

    kind = models.CharField(max_length=40)
    arguments = models.JSONField(default=dict)
    state = models.CharField(max_length=10, default="waiting")
    progress_frac = models.FloatField(default=0.0)
    message = models.CharField(max_length=300, default="", blank=True)
    stop_asked = models.BooleanField(default=False)
    asked_at = models.DateTimeField()
    asked_by = models.CharField(max_length=150, default="", blank=True)
    started_at = models.DateTimeField(null=True, blank=True)
    heartbeat_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    result = models.JSONField(null=True, blank=True)
    error = models.JSONField(null=True, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(state__in=["waiting", "running", "done", "failed", "stopped"]),
                name="job_state_is_known",
            ),
        ]


class Result(StationRecord):
    """A computed result and what made it: version, hash of the inputs, settings, seed, records used and missing."""

    kind = models.CharField(max_length=40, db_index=True)
    about = models.CharField(max_length=120, default="", blank=True)
    made_on = models.DateField()
    made_at = models.DateTimeField()
    version = models.CharField(max_length=20)
    inputs_hash = models.CharField(max_length=64)
    settings = models.JSONField(default=dict)
    seed = models.BigIntegerField(null=True, blank=True)
    n_records = models.IntegerField(default=0)
    missing = models.JSONField(default=list)
    answer = models.JSONField(default=dict)
