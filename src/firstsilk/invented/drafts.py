"""What would a crew write, before a phone makes a note of it, and which slips happen on the way?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta

from firstsilk.invented.dice import roll

SENT_TWICE_SHARE = 0.03
CORRECTED_SHARE = 0.015
DOUBTED_SHARE = 0.015
WRONG_MALE_SHARE = 0.01
"""Shares of notes sent twice, of counts noted wrongly and then put right, of counts in doubt, and of pollinations noted
with a wrong male. Ours: no source gives rates for field crews (key entry: 0.04 % of fields, Paulsen et al. 2012)."""

COUNTED = ("stand", "shoot_bagged", "pollinated", "ears_picked", "shelled")
PUT_RIGHT_AFTER_S = 12


@dataclass(frozen=True, slots=True)
class NoteDraft:
    """A note without what its device gives it: id, device, number, check sum.

    `key` names the draft within the world; `phone` counts from 0; `replaces_key` is the key of the draft that this one
    puts right; `sends` is how often the phone will send it. The other fields are those of a note.
    """

    key: str
    phone: int
    worker: str
    kind: str
    detail: str = ""
    tag: str = ""
    male: str = ""
    bag: str = ""
    plant: int | None = None
    value: str = ""
    unit: str = ""
    taken_local: str = ""
    practice: bool = False
    doubt: str = ""
    doubt_reason: str = ""
    replaces_key: str = ""
    sends: int = 1

    def taken(self, key: str, day: date, seconds: int) -> NoteDraft:
        """The draft with its key and the time at which it was taken [s after midnight]."""
        moment = datetime.combine(day, time()) + timedelta(seconds=seconds)
        return replace(self, key=key, taken_local=moment.isoformat())


@dataclass(frozen=True, slots=True)
class Mistake:
    """The truth about a note that says something else: which draft, which field, what it says, what happened."""

    key: str
    field: str
    noted: str
    true: str


def blur_drafts(
    seed: int, drafts: Iterable[NoteDraft], males: Sequence[str]
) -> tuple[tuple[NoteDraft, ...], list[Mistake]]:
    """Let people make their slips: at most one a note.

    Parameters
    ----------
    seed
        The world's seed; a draft's key decides its slip.
    drafts
        What was done, faultlessly noted.
    males
        Tags that a wrong male can have.

    Returns
    -------
    tuple of NoteDraft, list of Mistake
        A wrong count is followed by the right one, which replaces it, and is no lasting mistake; a wrong male stays,
        with a doubt; a doubted count is right.
    """
    out: list[NoteDraft] = []
    mistakes: list[Mistake] = []
    for draft in drafts:
        blurred, mistake = _blur(seed, draft, males)
        out += blurred
        mistakes += mistake
    return tuple(out), mistakes


def _blur(seed: int, draft: NoteDraft, males: Sequence[str]) -> tuple[list[NoteDraft], list[Mistake]]:
    dice = roll(seed, "slip", draft.key)
    at = float(dice.random())
    if at < SENT_TWICE_SHARE:
        return [replace(draft, sends=2)], []
    at -= SENT_TWICE_SHARE
    others = [male for male in males if male != draft.male]
    if draft.kind == "pollinated" and draft.male and others and at < WRONG_MALE_SHARE:
        wrong = others[int(dice.integers(len(others)))]
        noted = replace(draft, male=wrong, doubt="male", doubt_reason="not sure that the bag came from this row")
        return [noted], [Mistake(draft.key, "male", wrong, draft.male)]
    at -= WRONG_MALE_SHARE
    if draft.kind not in COUNTED or draft.bag:
        return [draft], []
    if 0.0 <= at < CORRECTED_SHARE:
        return _put_right(draft, int(dice.integers(1, 4))), []
    if CORRECTED_SHARE <= at < CORRECTED_SHARE + DOUBTED_SHARE:
        return [replace(draft, doubt="count", doubt_reason="lost count on the way")], []
    return [draft], []


def _put_right(draft: NoteDraft, off_by: int) -> list[NoteDraft]:
    wrong = replace(draft, value=str(int(draft.value) + off_by))
    later = datetime.fromisoformat(draft.taken_local) + timedelta(seconds=PUT_RIGHT_AFTER_S)
    right = replace(draft, key=f"{draft.key}:right", taken_local=later.isoformat(), replaces_key=draft.key)
    return [wrong, right]
