"""Which sign of a mistyped tag is wrong? The tags that a person can have meant, each with its one slip."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from firstsilk.science.seed.tags import ALPHABET, BODY_SIGNS, TAG_SIGNS, find_check_sign

MOST_TOLD = 3


@dataclass(frozen=True, slots=True)
class Slip:
    """A tag that may have been meant, and in words what was typed otherwise."""

    tag: str
    said: str


def find_slips(typed: str, known: Iterable[str]) -> tuple[Slip, ...]:
    """Known tags that are one slip away from what was typed: a sign wrong, missing or too many, or two exchanged.

    Parameters
    ----------
    typed
        As typed; case, hyphens and blanks do not matter.
    known
        Tags of the rows that may be meant.

    Notes
    -----
    A check sign says that a tag is wrong, not where; the rows of the season do. Of several, the first few by tag.
    Checked by tests/science/test_tag_slips.py against all slips of a list of tags.
    """
    signs = _read_signs(typed)
    if abs(len(signs) - TAG_SIGNS) > 1:
        return ()
    found = (Slip(tag, said) for tag in sorted(known) if (said := _tell_slip(signs, tag)))
    return tuple(found)[:MOST_TOLD]


def _read_signs(typed: str) -> str:
    swaps = str.maketrans({"I": "1", "L": "1", "O": "0", "-": "", " ": ""})
    return typed.upper().translate(swaps)


def _tell_slip(signs: str, tag: str) -> str:
    if len(signs) == TAG_SIGNS - 1:
        at = next((at for at in range(TAG_SIGNS) if tag[:at] + tag[at + 1 :] == signs), None)
        return "" if at is None else f"sign {at + 1}, {tag[at]}, is missing"
    if len(signs) == TAG_SIGNS + 1:
        at = next((at for at in range(TAG_SIGNS + 1) if signs[:at] + signs[at + 1 :] == tag), None)
        return "" if at is None else f"sign {at + 1}, {signs[at]}, is too many"
    wrong = [at for at in range(TAG_SIGNS) if signs[at] != tag[at]]
    if len(wrong) == 1:
        at = wrong[0]
        return f"sign {at + 1} is {tag[at]}, not {signs[at]}"
    if len(wrong) != 2:
        return ""
    one, other = wrong
    if signs[one] == tag[other] and signs[other] == tag[one]:
        return f"signs {one + 1} and {other + 1} are exchanged"
    if other == one + 1 and signs[one] == signs[other] and tag[one] == tag[other]:
        return f"signs {one + 1} and {other + 1} are {tag[one]}{tag[one]}, not {signs[one]}{signs[one]}"
    return ""


def list_typing_errors(tag: str) -> dict[str, frozenset[str]]:
    """Every text that one typing error of a kind makes of a tag, by kind of error; the tag itself is in none.

    Kinds: ``single`` (one sign wrong), ``swap`` (neighbours exchanged), ``jump`` (two with one between exchanged) and
    ``twin`` (two equal neighbours, both wrong alike).
    """
    places = range(TAG_SIGNS)
    single = {_put(tag, at, sign) for at in places for sign in ALPHABET}
    swap = {_exchange(tag, at, at + 1) for at in places if at + 1 < TAG_SIGNS}
    jump = {_exchange(tag, at, at + 2) for at in places if at + 2 < TAG_SIGNS}
    twins = [at for at in range(BODY_SIGNS) if tag[at] == tag[at + 1]]
    twin = {tag[:at] + sign * 2 + tag[at + 2 :] for at in twins for sign in ALPHABET}
    made = {"single": single, "swap": swap, "jump": jump, "twin": twin}
    return {name: frozenset(texts - {tag}) for name, texts in made.items()}


def is_accepted(tag: str) -> bool:
    """Whether eight signs would be taken for a tag."""
    return find_check_sign(tag[:BODY_SIGNS]) == tag[BODY_SIGNS]


def _put(tag: str, at: int, sign: str) -> str:
    return tag[:at] + sign + tag[at + 1 :]


def _exchange(tag: str, at: int, other: int) -> str:
    signs = list(tag)
    signs[at], signs[other] = signs[other], signs[at]
    return "".join(signs)
