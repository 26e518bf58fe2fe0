"""How does a day of the invented crew end: a second look at bags, hours, phones, what is odd, and the day closed?"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import date

from firstsilk.faces.command.demo.run import Run, count_receipt, send
from firstsilk.invented.drafts import NoteDraft
from firstsilk.invented.leader import count_hours, look_again
from firstsilk.invented.people import LEADER
from firstsilk.science.flowering.notes import Note, note_as_wire
from firstsilk.work.flowering.day_close import close_day, read_day_standing
from firstsilk.work.flowering.notes import NoteDraft as DeskDraft
from firstsilk.work.flowering.notes import list_notes, write_notes
from firstsilk.work.flowering.receive import receive_notes
from firstsilk.work.flowering.settling import read_to_settle, settle_as_nothing
from firstsilk.work.occasion import Occasion

OPEN_DAYS = ((7, 26), (7, 31))
"""Days that the leader forgot to close."""
NO_NETWORK = (7, 17)
"""The evening on which the leader's phone kept its notes until the next."""
INSIDE = (7, 20)
"""The day on which somebody went into a sprayed row all the same."""
DAMAGED = ((7, 15), (7, 22))
"""Days on which something came that could not stand as a note; the first was settled."""
TORN, TWICE = (7, 22), (7, 23)
"""The day on which a note was corrected twice, and that on which a code was put on a second bag."""
REASON = "the rest is known and comes tomorrow"


def end_day(run: Run, on: Occasion, drafts: Sequence[NoteDraft], on_paper: Sequence[NoteDraft]) -> None:
    """Send what was noted on phones, look at bags once more, write hours, and close the day.

    Parameters
    ----------
    drafts
        What the crew did, as noted.
    on_paper
        Those of them that stand on paper, by who wrote them: no phone sends these.
    """
    when = (on.today.month, on.today.day)
    gone = {one.key for one in on_paper}
    by_phone = [one for one in drafts if one.key not in gone]
    by_phone += [_walk_in(drafts[-1], run)] if when == INSIDE and drafts else []
    looked = look_again(run.field, [*by_phone, *on_paper], on.today)
    hours = count_hours([*by_phone, *looked], on.today)
    send(run, on, [*by_phone, *looked, *hours], LEADER.phone if when == NO_NETWORK else None)
    _write_hours(on, count_hours(on_paper, on.today))
    if when in DAMAGED:
        _send_damaged(run, on, is_settled=when == DAMAGED[0])
    if when == TORN:
        _correct_twice(run, on)
    if when == TWICE:
        _use_twice(run, on)
    if drafts and when not in OPEN_DAYS:
        _close(run, on.today)


def _walk_in(like: NoteDraft, run: Run) -> NoteDraft:
    """A look at a row under a spray interval, on the phone that goes past it."""
    tag = list(run.field.rows)[-1]
    phone = run.field.phone_of(tag)
    day = like.taken_local[:10]
    at = f"{day}T07:52:00"
    return NoteDraft(f"{day}:inside", phone, f"W{phone + 1:02d}", "silk_not_yet", tag=tag, value=day, taken_local=at)


def _write_hours(on: Occasion, hours: Iterable[NoteDraft]) -> None:
    """Hours of those without a phone, from their sheets, at the desk."""
    drafts = [
        DeskDraft(one.kind, "", one.value, unit=one.unit, taken_local=one.taken_local, worker=one.worker)
        for one in hours
    ]
    write_notes(on, drafts, "paper")


def _send_damaged(run: Run, on: Occasion, is_settled: bool) -> None:
    """A note that is here already comes once more, damaged on the way."""
    newest = _find_note(on, lambda note: note.kind == "shed_not_yet" and note.source == "phone")
    if newest is None:
        return
    receipt = receive_notes(on, newest.device, [{**note_as_wire(newest), "check_sum": "00000000"}])
    count_receipt(run, 1, receipt)
    if is_settled:
        for one in read_to_settle(on).aside:
            settle_as_nothing(_as_leader(run, on.today), one.number, "the same note came whole before")


def _correct_twice(run: Run, on: Occasion) -> None:
    """One count of tassel bags is corrected on the phone and at the desk, by two people who do not agree."""
    one = _find_note(
        on,
        lambda note: note.kind == "tassel_bagged" and note.source == "phone" and not (note.bag or note.replaces),
    )
    if one is None:
        return
    key = next(key for key, note_id in run.crew.ids.items() if note_id == one.id)
    phone = run.crew.devices.index(one.device)
    at = f"{on.today.isoformat()}T17:20:00"
    draft = NoteDraft(f"{key}:other", phone, one.worker, one.kind, tag=one.tag, taken_local=at, replaces_key=key)
    send(run, on, [replace(draft, value=str(int(one.value) + 1))])
    desk = DeskDraft(one.kind, one.tag, str(int(one.value) + 2), replaces=one.id, worker=LEADER.code)
    write_notes(_as_leader(run, on.today), [desk])


def _use_twice(run: Run, on: Occasion) -> None:
    """A bag that came down unused goes on another tassel: its code now stands for two bags."""
    down = _find_note(on, lambda note: note.kind == "tassel_unbagged" and bool(note.bag))
    if down is None:
        return
    other = next(tag for tag in reversed(run.field.rows) if run.field.phone_of(tag) == 3 and tag != down.tag)
    at = f"{on.today.isoformat()}T17:05:00"
    key = f"{on.today.isoformat()}:twice"
    send(run, on, [NoteDraft(key, 3, "W04", "tassel_bagged", tag=other, bag=down.bag, value="1", taken_local=at)])


def _find_note(on: Occasion, wanted: Callable[[Note], bool]) -> Note | None:
    """The newest note of this sort in the books; None in a season that has none yet."""
    return next((one.note for one in list_notes(on, limit=3000) if wanted(one.note)), None)


def _close(run: Run, day: date) -> None:
    on = _as_leader(run, day)
    close_day(on, REASON if read_day_standing(on).waits else "")


def _as_leader(run: Run, day: date) -> Occasion:
    """The leader at the desk, in the evening."""
    return run.at(day, 20, "leader")
