"""What does a crew leader note who looks at bags once more in the evening, and which hours did each person work?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from itertools import pairwise

from firstsilk.invented.dice import roll
from firstsilk.invented.drafts import NoteDraft, blur_drafts
from firstsilk.invented.people import LEADER, find_worker
from firstsilk.invented.season import Field, set_clocks

LOOKED_AT_SHARE = 0.5
"""Share of a day's notes of pollinations whose ears the leader looks at once more."""
SILK_SEEN_FRAC, WRONG_CODE_FRAC = 0.015, 0.02
LOST_SHARE = 0.85
"""Bags found with silk in the open, numbered ones read wrongly, and what of all those not well is noted as lost. Ours,
no source."""
LOST_AS = {"silk_seen": "silk_exposed", "bag_open": "bag_lost", "wrong_code": "wrong_male"}
LOOK_AT_MINUTE = 960
"""Minutes after midnight at which the round begins: four in the afternoon."""
LONGEST_GAP_MIN, WAY_MIN, QUARTER_H = 45.0, 30.0, 4
"""Minutes between two notes that count as work at most, and the way to the field and back; hours go by quarters."""


def look_again(field: Field, drafts: Iterable[NoteDraft], day: date) -> tuple[NoteDraft, ...]:
    """The leader's notes on a share of the ears pollinated on a day: well or why not, and what is lost by it.

    Parameters
    ----------
    field
        The nursery; what is noted as lost counts as spoiled there.
    drafts
        What the crew noted on the day.
    day
        Today.

    Notes
    -----
    How often a bag is open follows the truth about who closed it (`people.InventedWorker`). Checked by
    tests/work/test_invented_evening.py.
    """
    every = list(drafts)
    corrected = {one.replaces_key for one in every}
    found: list[NoteDraft] = []
    for one in every:
        if one.kind != "pollinated" or one.key in corrected:
            continue
        dice = roll(field.world.seed, "look again", one.key)
        if dice.random() >= LOOKED_AT_SHARE:
            continue
        ears = int(one.value)
        shares = (SILK_SEEN_FRAC, find_worker(one.worker).open_frac, WRONG_CODE_FRAC if one.bag else 0.0)
        *bad, well = (int(count) for count in dice.multinomial(ears, (*shares, 1.0 - sum(shares))))
        said = {"well": well, **dict(zip(LOST_AS, bad, strict=True))}
        found += [_write(one, day, "rechecked", why, count) for why, count in said.items() if count]
        done = field.progress[one.tag]
        for why, count in said.items():
            lost = min(int(dice.binomial(count, LOST_SHARE)), done.pollinated - done.spoiled) if why in LOST_AS else 0
            done.spoiled += lost
            done.codes = [code for code in done.codes if not lost or code != one.bag]
            found += [_write(one, day, "spoiled", LOST_AS[why], lost)] if lost else []
    blurred, mistakes = blur_drafts(field.world.seed, set_clocks(field, found, day), ())
    field.mistakes += mistakes
    return blurred


def _write(of: NoteDraft, day: date, kind: str, detail: str, count: int) -> NoteDraft:
    """A note of the leader about ears that somebody noted; set on the leader's phone, at the hour of the round."""
    assert LEADER.phone is not None
    return NoteDraft(
        key="",
        phone=LEADER.phone,
        worker=LEADER.code,
        kind=kind,
        detail=detail,
        tag=of.tag,
        bag=of.bag,
        value=str(count),
        taken_local=f"{day.isoformat()}T{LOOK_AT_MINUTE}",
    )


def count_hours(drafts: Sequence[NoteDraft], day: date) -> tuple[NoteDraft, ...]:
    """The hours of each person with notes on a day, as each writes them on their phone when they go home."""
    by_worker: dict[str, list[NoteDraft]] = defaultdict(list)
    for one in drafts:
        by_worker[one.worker].append(one)
    hours = []
    for worker, notes in sorted(by_worker.items()):
        last = max(notes, key=lambda one: one.taken_local)
        written = NoteDraft("", last.phone, worker, "worked", value=f"{_find_hours(notes):g}", unit="hours")
        clock = datetime.fromisoformat(last.taken_local)
        seconds = (clock.hour * 60 + clock.minute) * 60 + clock.second + 300
        hours.append(written.taken(f"{day.isoformat()}:{last.phone}:worked:{worker}", day, seconds))
    return tuple(hours)


def _find_hours(notes: Iterable[NoteDraft]) -> float:
    clocks = sorted(datetime.fromisoformat(one.taken_local) for one in notes)
    gaps = [(later - one).total_seconds() / 60 for one, later in pairwise(clocks)]
    minutes = WAY_MIN + sum(min(gap, LONGEST_GAP_MIN) for gap in gaps)
    return max(1, round(minutes / 60 * QUARTER_H)) / QUARTER_H
