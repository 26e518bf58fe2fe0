"""How do the crew's phones write drafts as notes that travel?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from uuid import UUID

from firstsilk import __version__
from firstsilk.invented.dice import roll
from firstsilk.invented.drafts import NoteDraft
from firstsilk.invented.world import OFFSET_MIN
from firstsilk.science.flowering.notes import FORMAT, Note, make_note_id, note_as_wire, seal_note


@dataclass(slots=True)
class Crew:
    """The phones of a crew: their device ids, how many notes each has taken, and the id of each draft written.

    Grows with every draft. `ahead_s` is how far the clock of each phone is ahead of the true time [s]; none: all right.
    """

    seed: int
    devices: tuple[str, ...]
    offset_min: int
    taken: list[int]
    ids: dict[str, str] = field(default_factory=dict)
    ahead_s: tuple[int, ...] = ()

    def find_clock(self, phone: int, local: datetime) -> datetime:
        """What a phone's clock shows at a time of the station's clock."""
        return local + timedelta(seconds=self.ahead_s[phone] if self.ahead_s else 0)


def make_crew(
    seed: int,
    phones: int = 4,
    devices: Sequence[str] = (),
    offset_min: int = OFFSET_MIN,
    ahead_s: Sequence[int] = (),
) -> Crew:
    """A crew with fresh phones.

    Parameters
    ----------
    seed
        The world's seed.
    phones
        How many, if no devices are named.
    devices
        Device UUIDs, if the phones are enrolled already; draft phone 0 is the first.
    offset_min
        The phones' offset from UTC [min].
    ahead_s
        How far each phone's clock is ahead [s]; all right if empty.
    """
    made = [str(UUID(bytes=roll(seed, "phone", at).bytes(16), version=4)) for at in range(phones)]
    chosen = tuple(devices) or tuple(made)
    return Crew(seed, chosen, offset_min, [0] * len(chosen), ahead_s=tuple(ahead_s))


def write_notes(crew: Crew, drafts: Iterable[NoteDraft]) -> tuple[Note, ...]:
    """Write drafts as sealed notes, each once, numbered densely by phone in the order given.

    Raises
    ------
    KeyError
        If a draft puts right one that this crew has not written.
    """
    return tuple(_write_note(crew, draft) for draft in drafts)


def send_notes(crew: Crew, drafts: Iterable[NoteDraft]) -> tuple[list[dict[str, object]], ...]:
    """Write drafts and say what each phone sends: the notes as they travel, some of them twice.

    Returns
    -------
    tuple of list of dict
        One list for each phone, in its order; may be empty.
    """
    outgoing: tuple[list[dict[str, object]], ...] = tuple([] for _ in crew.devices)
    for draft in drafts:
        wire = note_as_wire(_write_note(crew, draft))
        outgoing[draft.phone].extend([wire] * draft.sends)
    return outgoing


def _write_note(crew: Crew, draft: NoteDraft) -> Note:
    zone = timezone(timedelta(minutes=crew.offset_min))
    local = crew.find_clock(draft.phone, datetime.fromisoformat(draft.taken_local))
    moment = local.replace(tzinfo=zone)
    note_id = make_note_id(int(moment.timestamp()) * 1000, roll(crew.seed, "note", draft.key).bytes(10))
    crew.taken[draft.phone] += 1
    crew.ids[draft.key] = note_id
    note = Note(
        id=note_id,
        device=crew.devices[draft.phone],
        number=crew.taken[draft.phone],
        worker=draft.worker,
        kind=draft.kind,
        detail=draft.detail,
        tag=draft.tag,
        male=draft.male,
        bag=draft.bag,
        plant=draft.plant,
        value=draft.value,
        unit=draft.unit,
        taken_local=local.isoformat(),
        offset_min=crew.offset_min,
        source="phone",
        app=f"firstsilk {__version__}",
        format=FORMAT,
        practice=draft.practice,
        doubt=draft.doubt,
        doubt_reason=draft.doubt_reason,
        replaces=crew.ids[draft.replaces_key] if draft.replaces_key else "",
    )
    return seal_note(note)
