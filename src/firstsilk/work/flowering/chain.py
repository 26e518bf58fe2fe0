"""Are the notes still the notes that arrived? The chain of hashes, and notes read back from the books."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

from firstsilk.answers import refuse, shorten_value
from firstsilk.records.models import Note as NoteRecord
from firstsilk.science.flowering.notes import FIRST_HASH, Note, chain_hash, compute_check_sum
from firstsilk.work.flowering.note_names import name_note, read_device_numbers
from firstsilk.work.occasion import Occasion
from firstsilk.work.shelf import get_station

_ANCHOR = re.compile(r"[0-9a-f]{16,64}")


@dataclass(frozen=True, slots=True)
class ChainCheck:
    """What a walk along the whole chain found.

    Parameters
    ----------
    n
        Links walked.
    ok
        True if every link holds.
    first_broken
        Position of the first link that does not hold; None if all hold.
    head
        Hash of the newest link as stored; 64 zeros if there is none.
    reason
        What is wrong with the first broken link, as a sentence; empty if all hold.
    """

    n: int
    ok: bool
    first_broken: int | None
    head: str
    reason: str = ""


def as_note(record: NoteRecord) -> Note:
    """The note that a stored link holds, sign for sign as its device wrote it."""
    return Note(
        id=str(record.uuid),
        device=str(record.device),
        number=record.device_number,
        worker=record.worker,
        kind=record.kind,
        detail=record.detail,
        tag=record.tag,
        male=record.male,
        bag=record.bag,
        plant=record.plant,
        value=record.value,
        unit=record.unit,
        taken_local=record.taken_local,
        offset_min=record.offset_min,
        source=record.source,
        app=record.app,
        format=record.format,
        practice=record.practice,
        doubt=record.doubt,
        doubt_reason=record.doubt_reason,
        replaces=str(record.replaces) if record.replaces else "",
        check_sum=record.check_sum,
    )


def receipt_text(received_at: datetime) -> str:
    """The instant of receipt as the chain writes it: ISO text in UTC."""
    return received_at.astimezone(UTC).isoformat()


def verify_chain(on: Occasion, anchor: str = "") -> ChainCheck:
    """Walk the station's chain from its first link and say where it first breaks.

    Parameters
    ----------
    on
        The occasion; only its station matters.
    anchor
        A hash written down outside the books earlier, e.g. on a printed day sheet, or its first 16 signs or more;
        blanks do not matter. It must be one of the chain's hashes: so a chain cut short or computed anew is found.

    Raises
    ------
    InputRefused
        ``anchor_unreadable`` if that is no such hash.

    Notes
    -----
    Checked by tests/work/test_note_chain.py.
    """
    station = get_station(on.station)
    anchor = _read_anchor(anchor)
    devices = read_device_numbers(station)
    previous, expected, anchor_met = FIRST_HASH, 1, FIRST_HASH.startswith(anchor)
    broken: tuple[int, str] | None = None
    n = 0
    for record in NoteRecord.objects.filter(station=station).order_by("position").iterator(chunk_size=1000):
        n += 1
        if broken is None:
            reason = _find_fault(record, previous, expected, devices)
            broken = (min(record.position, expected), reason) if reason else None
        previous, expected = record.hash, expected + 1
        anchor_met = anchor_met or record.hash.startswith(anchor)
    if broken is None and not anchor_met:
        broken = (expected, "The chain does not hold the hash that was written down earlier.")
    if broken is None:
        return ChainCheck(n, True, None, previous)
    return ChainCheck(n, False, broken[0], previous, broken[1])


def _read_anchor(text: str) -> str:
    anchor = "".join(text.split()).lower()
    if anchor and not _ANCHOR.fullmatch(anchor):
        told = f"{shorten_value(text)!r} is no hash of a note."
        raise refuse("anchor_unreadable", told, "Type the 16 signs behind the word chain on the sheet.")
    return anchor


def _find_fault(record: NoteRecord, previous_hash: str, expected_position: int, devices: Mapping[str, int]) -> str:
    """What is wrong with one link, as a sentence; empty if nothing."""
    note = as_note(record)
    called = f"{name_note(note, devices)} (link {record.position})"
    if record.position != expected_position:
        return f"Link {expected_position} is not there; the next one found is {record.position}."
    if compute_check_sum(note) != note.check_sum:
        return f"The text of {called} was changed: its check sum no longer fits."
    if record.taken_on != note.taken_on:
        return f"The day of {called} was changed beside its text."
    if record.taken_at != note.taken_at:
        return f"The instant of {called} was changed beside its text."
    if record.previous_hash != previous_hash:
        return f"{called[0].upper()}{called[1:]} does not name the hash of the link before it."
    if chain_hash(previous_hash, record.position, receipt_text(record.received_at), note) != record.hash:
        return f"The hash of {called} does not fit what it holds."
    return ""
