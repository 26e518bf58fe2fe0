"""What is a note, word for word, and how do we know it arrived whole?

The note format is version 1 and final: phones, desk pages, files and paper keyed back all write it, and every later
version of firstsilk reads it. Values in, values out; the clock and the dice are the caller's.
"""

from __future__ import annotations

import json
import re
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import UTC, date, datetime, timedelta, timezone
from hashlib import sha256
from typing import NamedTuple, Protocol
from uuid import UUID

from firstsilk.science.lineage.generation import POLLINATIONS

FORMAT = 1

SOURCES = ("phone", "paper", "desk", "file")


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of note: what it says, what its value is, which details it knows, and whether it needs one."""

    name: str
    says: str
    value: str
    details: tuple[str, ...] = ()
    needs_detail: bool = True


POLLINATION_TYPES = tuple(POLLINATIONS)

KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind("sown", "the row was sown", "date"),
        Kind("misplanted", "the row was not sown as planned", "text", ("skipped", "short", "doubled", "other_lot")),
        Kind("stand", "plants alive in the row", "count"),
        Kind("silk", "half the plants show silk", "date"),
        Kind("silk_not_yet", "looked for silk: half the plants do not show it yet", "date"),
        Kind("shed", "half the plants shed pollen", "date"),
        Kind("shed_not_yet", "looked for shed: half the plants do not shed yet", "date"),
        Kind("shoot_bagged", "shoot bags put on", "count"),
        Kind("tassel_bagged", "tassel bags put on", "count", POLLINATION_TYPES, needs_detail=False),
        Kind("tassel_unbagged", "tassel bags taken down unused", "count"),
        Kind("pollinated", "ears pollinated", "count", POLLINATION_TYPES),
        Kind(
            "spoiled",
            "pollinations lost",
            "count",
            ("silk_exposed", "bag_lost", "wrong_male", "wet_pollen", "plant_broken", "other"),
        ),
        Kind(
            "rated",
            "a score by eye",
            "number",
            ("vigour", "standing", "leaf_disease", "ear_rot", "off_types", "overall"),
        ),
        Kind(
            "rechecked", "bags looked at once more", "count", ("well", "silk_seen", "bag_open", "wrong_code", "other")
        ),
        Kind("worked", "hours worked", "number"),
        Kind("ears_picked", "good ears picked", "count"),
        Kind("ears_left", "ears left at harvest", "count", ("no_bag", "rotten", "few_kernels", "off_type", "other")),
        Kind("crated", "ears put into a drying crate", "tag"),
        Kind("dried", "moisture of a crate, percent", "number"),
        Kind("shelled", "kernels shelled", "count"),
        Kind("weighed", "a lot weighed, grams", "number"),
        Kind("taken", "kernels taken from a lot", "count"),
        Kind("discarded", "a lot thrown away", "text"),
        Kind("remarked", "a remark", "text"),
        Kind("withdrawn", "a note is taken back", "text"),
    )
}


@dataclass(frozen=True, slots=True)
class Note:
    """One fact taken in the field or seed room, as its device wrote it.

    Parameters
    ----------
    id
        UUID version 7, made on the device.
    device, number
        The device's UUID and its dense count of notes, from 1.
    worker
        Worker code, never a name.
    kind, detail
        From the closed list `KINDS`; an unknown kind is kept as it came.
    tag
        The eight signs of the row, lot or plot the note is about.
    male, bag, plant
        Male row's tag; number of the bag that identifies the pollination; plant in the row.
    value, unit
        Always text; what it means is fixed by the kind.
    taken_local, offset_min
        The device's clock as local time ``YYYY-MM-DDTHH:MM:SS`` and its offset from UTC [min].
    source, app, format
        ``phone``, ``paper``, ``desk`` or ``file``; the program's version; the note format's version.
    practice
        True for notes taken while learning: kept, never counted.
    doubt, doubt_reason
        A code and a sentence where the writer was not sure; empty if sure.
    replaces
        The id of the note that this one corrects or takes back; empty if none.
    check_sum
        CRC-32 of `canonical_text`, eight hexadecimal signs, written by the device.
    """

    id: str
    device: str
    number: int
    worker: str
    kind: str
    detail: str
    tag: str
    male: str
    bag: str
    plant: int | None
    value: str
    unit: str
    taken_local: str
    offset_min: int
    source: str
    app: str
    format: int
    practice: bool
    doubt: str
    doubt_reason: str
    replaces: str
    check_sum: str = ""

    @property
    def taken_at(self) -> datetime:
        """The device's clock as an instant."""
        zone = timezone(timedelta(minutes=self.offset_min))
        return datetime.fromisoformat(self.taken_local).replace(tzinfo=zone)

    @property
    def taken_on(self) -> date:
        """The day the note speaks of on the device's calendar."""
        return date.fromisoformat(self.taken_local[:10])


class Told(Protocol):
    """What a row's state and a bag are made of, of a whole note or of a brief one."""

    @property
    def id(self) -> str: ...
    @property
    def kind(self) -> str: ...
    @property
    def detail(self) -> str: ...
    @property
    def tag(self) -> str: ...
    @property
    def male(self) -> str: ...
    @property
    def bag(self) -> str: ...
    @property
    def value(self) -> str: ...
    @property
    def taken_local(self) -> str: ...
    @property
    def taken_on(self) -> date: ...
    @property
    def doubt(self) -> str: ...
    @property
    def replaces(self) -> str: ...
    @property
    def practice(self) -> bool: ...


class BriefNote(NamedTuple):
    """A note of which only that is read that a state is made of: a nursery has a hundred thousand of them.

    `id` and `replaces` are written alike, with hyphens or without.
    """

    id: str
    kind: str
    detail: str
    tag: str
    male: str
    bag: str
    value: str
    taken_local: str
    taken_on: date
    doubt: str
    replaces: str
    practice: bool = False


BODY_FIELDS: tuple[str, ...] = tuple(field.name for field in fields(Note) if field.name != "check_sum")

_TEXT_LIMITS = {
    "worker": 12,
    "kind": 24,
    "detail": 40,
    "tag": 16,
    "male": 16,
    "bag": 16,
    "value": 2000,
    "unit": 16,
    "app": 24,
    "doubt": 40,
    "doubt_reason": 300,
}
_LOCAL = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d{1,6})?")


class NoteUnreadable(ValueError):
    """Something sent as a note cannot stand as one. `code` is stable, the text is for a person."""

    def __init__(self, code: str, message: str) -> None:
        self.code = code
        super().__init__(message)


def canonical_text(note: Note) -> str:
    """The body as one JSON array in the order of `BODY_FIELDS`: the same bytes in every language.

    Notes
    -----
    All values are text, whole numbers, truth values or null, so that JSON writers in the browser and here agree.
    """
    body = [getattr(note, name) for name in BODY_FIELDS]
    return json.dumps(body, ensure_ascii=False, separators=(",", ":"))


def compute_check_sum(note: Note) -> str:
    """CRC-32 of the canonical text in UTF-8, as eight lower-case hexadecimal signs."""
    return f"{zlib.crc32(canonical_text(note).encode('utf-8')):08x}"


def seal_note(note: Note) -> Note:
    """The note with its check sum written."""
    values = {name: getattr(note, name) for name in BODY_FIELDS}
    return Note(**values, check_sum=compute_check_sum(note))


def note_as_wire(note: Note) -> dict[str, object]:
    """The note as the object that travels, all fields by name."""
    return {name: getattr(note, name) for name in (*BODY_FIELDS, "check_sum")}


def read_note(wire: Mapping[str, object]) -> Note:
    """Read one travelling object as a note.

    Returns
    -------
    Note
        With its check sum proven. Kind and detail may be unknown to us: what has happened is never refused.

    Raises
    ------
    NoteUnreadable
        ``format_unknown``, ``field_missing``, ``field_wrong`` or ``check_sum_wrong``.
    """
    if wire.get("format") != FORMAT:
        raise NoteUnreadable("format_unknown", f"note format {wire.get('format')!r} is not known here")
    missing = [name for name in (*BODY_FIELDS, "check_sum") if name not in wire]
    if missing:
        raise NoteUnreadable("field_missing", f"the note lacks {', '.join(missing)}")
    note = Note(**{name: _read_field(name, wire[name]) for name in (*BODY_FIELDS, "check_sum")})  # type: ignore[arg-type]
    _check_clock(note)
    if compute_check_sum(note) != note.check_sum:
        raise NoteUnreadable("check_sum_wrong", "the check sum does not fit the note; it was damaged on the way")
    return note


def _read_field(name: str, value: object) -> object:
    if name in ("number", "offset_min", "format") or (name == "plant" and value is not None):
        if isinstance(value, bool) or not isinstance(value, int) or abs(value) > 2**53:
            raise NoteUnreadable("field_wrong", f"{name} must be a whole number, not {value!r}")
    elif name == "practice":
        if not isinstance(value, bool):
            raise NoteUnreadable("field_wrong", f"practice must be true or false, not {value!r}")
    elif name != "plant":
        if not isinstance(value, str):
            raise NoteUnreadable("field_wrong", f"{name} must be text, not {value!r}")
        if len(value) > _TEXT_LIMITS.get(name, 64):
            raise NoteUnreadable("field_wrong", f"{name} is longer than {_TEXT_LIMITS.get(name, 64)} signs")
        if any("\ud800" <= sign <= "\udfff" for sign in value):
            raise NoteUnreadable("field_wrong", f"{name} holds half a character")
        if name in ("id", "device") or (name == "replaces" and value):
            _check_uuid(name, value)
    return value


def _check_uuid(name: str, value: str) -> None:
    try:
        proper = str(UUID(value)) == value
    except ValueError:
        proper = False
    if not proper:
        raise NoteUnreadable("field_wrong", f"{name} must be a UUID in lower case with hyphens, not {value!r}")


def _check_clock(note: Note) -> None:
    if abs(note.offset_min) >= 24 * 60:
        raise NoteUnreadable("field_wrong", f"offset_min {note.offset_min} is not an offset from UTC")
    if note.number < 1:
        raise NoteUnreadable("field_wrong", "number counts from 1")
    try:
        if not _LOCAL.fullmatch(note.taken_local):
            raise ValueError
        note.taken_at.astimezone(UTC)
    except (ValueError, OverflowError):
        raise NoteUnreadable("field_wrong", f"taken_local {note.taken_local!r} is not a time of day") from None


def make_note_id(unix_ms: int, dice: bytes) -> str:
    """A UUID version 7 (RFC 9562) from a clock reading and ten random bytes.

    Parameters
    ----------
    unix_ms
        Milliseconds since 1970 [ms], 48 bits.
    dice
        Ten random bytes.

    Notes
    -----
    Checked by tests/outside/test_note_ids.py against the example of RFC 9562, appendix A.6.
    """
    if len(dice) != 10:
        raise ValueError("ten random bytes are needed")
    value = (unix_ms & (2**48 - 1)) << 80 | int.from_bytes(dice, "big")
    value = value & ~(0xF << 76) | 0x7 << 76
    value = value & ~(0x3 << 62) | 0x2 << 62
    return str(UUID(int=value))


def chain_hash(previous_hash: str, position: int, received_at: str, note: Note) -> str:
    """The hash of one link: SHA-256 over the previous hash, the position, the receipt and the whole note.

    Parameters
    ----------
    previous_hash
        Hexadecimal hash of the link before; 64 zeros for the first.
    position
        Dense position in the station's chain, from 1.
    received_at
        Receipt as ISO text in UTC.
    note
        The sealed note.

    Notes
    -----
    Changing, dropping, adding or reordering a link changes every later hash. Whoever owns the whole file can still
    compute a new chain, so the newest hash is also printed on the day sheet.
    """
    link = json.dumps(
        [previous_hash, position, received_at, canonical_text(note), note.check_sum],
        ensure_ascii=False,
        separators=(",", ":"),
    )
    return sha256(link.encode("utf-8")).hexdigest()


FIRST_HASH = "0" * 64
