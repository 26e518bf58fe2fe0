"""Which phones may bring notes, and how does one join?

A crew leader opens an enrolment at the desk and shows its code; the phone answers with it once, within ten minutes, and
gets a token that it keeps. The books hold only hashes of code and token.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from hashlib import sha256
from uuid import UUID

from django.db import transaction
from django.db.models import Count, Max

from firstsilk.answers import refuse
from firstsilk.records.models import Device, Station
from firstsilk.records.models import Note as NoteRecord
from firstsilk.science.flowering.notes import make_note_id
from firstsilk.science.seed.tags import ALPHABET
from firstsilk.work.flowering.clock import CLOCK_WARNS_S
from firstsilk.work.flowering.desk import take_device_number
from firstsilk.work.flowering.gaps import Numbers, read_numbers_by_device
from firstsilk.work.occasion import Occasion
from firstsilk.work.shelf import get_station
from firstsilk.work.station import read_station

CODE_SIGNS = 8
"""Signs of an enrolment code: 32^8 = 2^40 codes, against at least 20 bits asked by OWASP ASVS 5.0, 6.5.4."""
CODE_LIVES = timedelta(minutes=10)
"""OWASP ASVS 5.0, 6.5.5: codes sent out of band live at most ten minutes."""
TOKEN_BYTES = 32
"""256 bits; OWASP ASVS 5.0, 7.2.3 asks for at least 128."""

Dice = Callable[[int], bytes]


@dataclass(frozen=True, slots=True)
class EnrolCode:
    """A code to show to one phone: the code as printed, the device's number, and until when it holds."""

    code: str
    number: int
    until: datetime


@dataclass(frozen=True, slots=True)
class Enrolled:
    """What a phone gets once: its token, its number, where it is, and the highest note number known of it."""

    token: str
    number: int
    station: str
    station_name: str
    today: date
    highest_number: int


@dataclass(frozen=True, slots=True)
class KnownDevice:
    """The device behind a token."""

    uuid: str
    number: int
    label: str
    station: str
    revoked: bool


@dataclass(frozen=True, slots=True)
class DeviceFacts:
    """One device as the desk shows it.

    Parameters
    ----------
    state
        ``waiting`` for its phone, ``expired`` before a phone came, ``enrolled``, ``revoked``, or ``desk``.
    clock_ahead_s
        Its clock minus ours at the last meeting [s]; None if never met.
    clock_warns
        True where the clock is more than two minutes out; a clock is never used for order.
    n_notes, highest_number, gaps
        Notes in the books, the highest number among them, and ranges of numbers that never came.
    highest_told, waiting, app
        What the phone last said of itself: its highest number, the notes that it still holds, its program.
    """

    number: int
    label: str
    uuid: str
    state: str
    enrolled_at: datetime | None
    last_seen_at: datetime | None
    clock_ahead_s: float | None
    n_notes: int
    highest_number: int
    gaps: tuple[tuple[int, int], ...]
    highest_told: int = 0
    waiting: int = 0
    app: str = ""

    @property
    def clock_warns(self) -> bool:
        """Is its clock so far out that times of day on its notes mislead?"""
        return self.clock_ahead_s is not None and abs(self.clock_ahead_s) > CLOCK_WARNS_S

    @property
    def clock_off(self) -> str:
        """How far out its clock is, in words: ``4 min ahead``, ``2 h 10 min behind``; empty if it was never met."""
        if self.clock_ahead_s is None:
            return ""
        minutes = round(abs(self.clock_ahead_s) / 60)
        if minutes >= 2 * 24 * 60:
            told = f"{minutes // (24 * 60):,} days"
        else:
            told = f"{minutes // 60} h {minutes % 60} min" if minutes >= 60 else f"{minutes} min"
        return f"{told} {'ahead' if self.clock_ahead_s > 0 else 'behind'}"

    @property
    def n_missing(self) -> int:
        """Numbers that never came."""
        return sum(last - first + 1 for first, last in self.gaps)


def open_enrolment(on: Occasion, label: str = "", dice: Dice = secrets.token_bytes) -> EnrolCode:
    """Make a place for one phone and the code that fills it.

    A place that was opened earlier and never filled is used again, so that device numbers stay dense.
    """
    code = "".join(ALPHABET[byte % 32] for byte in dice(CODE_SIGNS))
    until = on.now + CODE_LIVES
    with transaction.atomic():
        station = Station.objects.select_for_update().get(pk=get_station(on.station).pk)
        place = (
            Device.objects.filter(station=station, enrolled_at=None, enrol_until__lt=on.now).order_by("number").first()
        )
        if place is None:
            place_uuid = UUID(make_note_id(int(on.now.timestamp() * 1000), dice(10)))
            place = Device(station=station, uuid=place_uuid, number=take_device_number(station))
        place.label = label.strip()[:60] or f"phone {place.number}"
        place.enrol_code_hash = _hash(code)
        place.enrol_until = until
        place.revoked_at = None
        place.save()
    return EnrolCode(f"{code[:4]}-{code[4:]}", place.number, until)


def enrol_device(code: str, device_uuid: str, now: datetime, dice: Dice = secrets.token_bytes) -> Enrolled:
    """Give a phone its token for a code that was shown to it.

    Parameters
    ----------
    code
        As shown; case, hyphens and blanks do not matter, I and L read as 1, O as 0.
    device_uuid
        Made on the phone. A phone known already keeps its number and notes and gets a new token.

    Raises
    ------
    InputRefused
        ``device_unreadable``, ``code_unknown`` (also for a code used once) or ``code_expired``.
    """
    try:
        uuid = UUID(device_uuid)
    except ValueError:
        raise refuse("device_unreadable", f"{device_uuid[:64]!r} is not the UUID of a device.") from None
    new_code = "Ask the crew leader for a new code."
    with transaction.atomic():
        place = (
            Device.objects.select_for_update()
            .filter(enrol_code_hash=_hash(_read_code(code)), enrolled_at=None)
            .select_related("station")
            .first()
        )
        if place is None or place.enrol_until is None:
            raise refuse("code_unknown", "This code is not known here, or was used already.", new_code)
        if place.enrol_until < now:
            raise refuse("code_expired", "This code was made more than ten minutes ago.", new_code)
        device = _take_place(place, uuid, now)
        token = dice(TOKEN_BYTES).hex()
        device.token_hash = _hash(token)
        device.enrolled_at = now
        device.revoked_at = None
        device.save()
        notes = NoteRecord.objects.filter(station=place.station, device=uuid)
        highest = notes.aggregate(highest=Max("device_number"))["highest"] or 0
    today = read_station(place.station.code).today(now)
    return Enrolled(token, device.number, place.station.code, place.station.name, today, highest)


def _take_place(place: Device, uuid: UUID, now: datetime) -> Device:
    """The device that this phone is: its old entry, whose new place falls free again, or the place itself."""
    known = Device.objects.filter(station=place.station, uuid=uuid).exclude(pk=place.pk).first()
    place.enrol_code_hash = ""
    if known is None:
        place.uuid = uuid
        place.enrol_until = None
        return place
    place.enrol_until = now - timedelta(seconds=1)
    place.save()
    return known


def find_device(token: str) -> KnownDevice | None:
    """The device that was given this token, revoked or not; None if nobody was."""
    if not token:
        return None
    found = Device.objects.filter(token_hash=_hash(token)).select_related("station").first()
    if found is None:
        return None
    return KnownDevice(
        str(found.uuid), found.number, found.label, found.station.code, revoked=found.revoked_at is not None
    )


def revoke_device(on: Occasion, number: int) -> DeviceFacts:
    """Let a phone's token no longer open the door. What it has sent stays; what it still holds comes by file."""
    station = get_station(on.station)
    changed = Device.objects.filter(station=station, number=number).exclude(token_hash="").update(revoked_at=on.now)
    if not changed:
        raise refuse("device_unknown", f"There is no enrolled phone {number} here.", "See the list of phones.")
    return next(one for one in list_devices(on) if one.number == number)


def list_devices(on: Occasion) -> tuple[DeviceFacts, ...]:
    """All devices of the station by number, with what came from each and what did not."""
    station = get_station(on.station)
    notes = NoteRecord.objects.filter(station=station).order_by("device").values_list("device")
    counted: dict[UUID, tuple[int, int]] = {
        device: (n, highest) for device, n, highest in notes.annotate(n=Count("id"), highest=Max("device_number"))
    }
    devices = list(Device.objects.filter(station=station).order_by("number"))
    numbers = read_numbers_by_device(station, {str(one.uuid): one.highest_number for one in devices})
    return tuple(_tell_device(one, on.now, counted, numbers) for one in devices)


def _tell_device(
    device: Device,
    now: datetime,
    counted: Mapping[UUID, tuple[int, int]],
    numbers: Mapping[str, Numbers],
) -> DeviceFacts:
    n_notes, highest = counted.get(device.uuid, (0, 0))
    return DeviceFacts(
        number=device.number,
        label=device.label,
        uuid=str(device.uuid),
        state=_state_of(device, now),
        enrolled_at=device.enrolled_at,
        last_seen_at=device.last_seen_at,
        clock_ahead_s=device.clock_ahead_s,
        n_notes=n_notes,
        highest_number=highest,
        gaps=numbers.get(str(device.uuid), Numbers()).gaps,
        highest_told=max(device.highest_number, highest),
        waiting=device.waiting,
        app=device.app,
    )


def _state_of(device: Device, now: datetime) -> str:
    if device.revoked_at is not None:
        return "revoked"
    if device.enrolled_at is not None:
        return "enrolled"
    if device.enrol_until is None:
        return "desk"
    return "waiting" if device.enrol_until >= now else "expired"


def _read_code(text: str) -> str:
    signs = "".join(sign for sign in text.upper() if sign.isalnum())
    return signs.replace("I", "1").replace("L", "1").replace("O", "0")


def _hash(secret: str) -> str:
    return sha256(secret.encode("utf-8", "replace")).hexdigest()
