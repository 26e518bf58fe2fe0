"""Into which signs does a written pedigree fall: names, crosses, doses, brackets?

Each keeps the character at which it stands, so that a refusal can say where.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NoReturn

from firstsilk.answers import refuse
from firstsilk.science.lineage.advances import ADVANCES_TOLD, TIMES_MAX, read_advance, write_name

ORDER_MAX = 99

_SEPARATOR = re.compile(r"/([0-9]+)/(?!/)|/+")
# A star belongs to a name only in -B*3 and -#*3; anywhere else it counts doses.
_NAME = re.compile(r"(?:(?<=-[B#])\*(?=[0-9]+\s*(?:[-/*()]|$))|[^/*()])+")
_NEVER_IN_A_NAME = ";[]{}×"
_TIMES_AT_END = re.compile(r"-[B#]\*[0-9]+$")


@dataclass(frozen=True, slots=True)
class Token:
    """One sign or name: its kind (name, order, star, open, close), its text, the character it stands at (from 1).

    `raw` is a name as it was written, its text is in normal form; `order` is that of a cross.
    """

    kind: str
    text: str
    at: int
    order: int = 0
    raw: str = ""

    @property
    def is_digits(self) -> bool:
        """Whether it is a number, which may be a name, doses or the order of a cross."""
        return self.text.isascii() and self.text.isdigit()

    @property
    def star_at(self) -> int:
        """The character of the star of ``-B*n`` or ``-#*n`` at the end of a name; 0 if there is none."""
        found = _TIMES_AT_END.search(self.raw)
        return self.at + found.start() + 2 if found else 0


def refuse_at(text: str, at: int, code: str, reason: str, yes_if: str) -> NoReturn:
    """Refuse a pedigree at one of its characters, with the reason and what would make it readable."""
    shown = text if len(text) <= 80 else text[:77] + "..."
    raise refuse(code, f"pedigree {shown!r}, character {at}: {reason}", yes_if, position=at)


def split_signs(text: str) -> list[Token]:
    """All signs and names of a pedigree in order.

    Raises
    ------
    InputRefused
        At a sign that no name may hold, an order beyond bounds, a hyphen that no advance follows; if there is nothing.

    Checked by
    ----------
    tests/science/test_notation.py
    """
    tokens: list[Token] = []
    at = 0
    while at < len(text):
        sign = text[at]
        if sign == "/":
            found = _SEPARATOR.match(text, at)
            assert found is not None
            tokens.append(Token("order", found[0], at + 1, _order(text, at + 1, found)))
            at = found.end()
        elif sign in "*()":
            tokens.append(Token({"*": "star", "(": "open", ")": "close"}[sign], sign, at + 1))
            at += 1
        else:
            found = _NAME.match(text, at)
            assert found is not None
            if found[0].strip():
                tokens.append(_name(text, at, found[0]))
            at = found.end()
    if not tokens:
        refuse_at(text, 1, "pedigree_empty", "there is no pedigree", "Write a name or a cross such as A/B.")
    return tokens


def _order(text: str, at: int, found: re.Match[str]) -> int:
    digits = found[1]
    order = len(found[0]) if digits is None else int(digits) if len(digits) < 4 else ORDER_MAX + 1
    if not 1 <= order <= ORDER_MAX:
        refuse_at(
            text, at, "order_out_of_range", f"{found[0]} is no order from 1 to {ORDER_MAX}", "Number crosses from 1."
        )
    return order


def _name(text: str, start: int, found: str) -> Token:
    at = start + 1 + len(found) - len(found.lstrip())
    for offset, sign in enumerate(found):
        if sign in _NEVER_IN_A_NAME or not (sign.isprintable() or sign == "\t"):
            refuse_at(
                text,
                start + 1 + offset,
                "sign_not_allowed",
                f"{sign!r} cannot stand in a pedigree",
                "Use / for a cross, round brackets, and names without ; and square brackets.",
            )
    if re.search(r"\s[xX]\s", found):
        refuse_at(text, at, "cross_written_x", "an x between blanks looks like a cross", "Write A/B for A x B.")
    raw = found.strip()
    if raw.startswith("-"):
        return Token("name", raw, at, raw=raw)
    token = Token("name", write_name(" ".join(raw.split())), at, raw=raw)
    _check_hyphens(text, token)
    return token


def split_hyphens(token: Token) -> Iterator[tuple[int, str]]:
    """What stands behind each hyphen of a name, and at which character."""
    at = token.at
    first, *parts = token.raw.split("-")
    at += len(first) + 1
    for part in parts:
        yield at + len(part) - len(part.lstrip()), part.strip()
        at += len(part) + 1


def refuse_advance(text: str, at: int, part: str) -> NoReturn:
    """Refuse what stands behind a hyphen and is no generation advance, saying what it may be meant for."""
    if not part:
        told = "nothing stands behind this hyphen, which means one generation advance"
        refuse_at(text, at, "advance_missing", told, f"Write {ADVANCES_TOLD}, or take the hyphen out.")
    if part[:2] in ("B*", "#*"):
        told = f"{part} counts no generations from 2 to {TIMES_MAX}"
        refuse_at(text, at, "times_out_of_range", told, f"One generation is plain -{part[0]}.")
    refuse_at(text, at, "not_an_advance", f"{part!r} is no generation advance", f"Write {_mean(part)}.")


def _mean(part: str) -> str:
    if part.isascii() and part.isdigit() and part.lstrip("0"):
        return f"the ear number {part.lstrip('0')}" if len(part.lstrip("0")) < 5 else "an ear number up to 9999"
    if len(set(part)) == 1 and part[0] in "Bb#" and len(part) > 1:
        return f"{part[0].upper()}*{len(part)}"
    if read_advance(part.upper()) is not None:
        return part.upper()
    return ADVANCES_TOLD


def _check_hyphens(text: str, token: Token) -> None:
    """Refuse a hyphen with nothing behind it; behind ``-B*n`` only advances can follow."""
    starred = False
    for at, part in split_hyphens(token):
        starred = starred or "*" in part
        if not part or (starred and read_advance(part) is None):
            refuse_advance(text, at, part)
