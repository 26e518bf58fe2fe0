"""Which known name was probably meant?"""

from __future__ import annotations

import difflib
from functools import lru_cache

ALIKE_FROM = 0.72
"""Share of signs two names must have in common (difflib's ratio) to be offered. Our own choice, no source."""


def plain_form(name: str) -> str:
    """The name without case, spaces, hyphens and dots: what people confuse."""
    return "".join(sign for sign in name.casefold() if sign.isalnum())


@lru_cache(maxsize=8192)
def find_nearest(name: str, known: frozenset[str]) -> str:
    """The known name that was probably meant, or an empty text."""
    plain = plain_form(name)
    if not plain:
        return ""
    # Names far longer or shorter, or alike at neither end, are never close; leaving them out keeps long lists quick.
    close: list[str] = []
    for other in sorted(known):
        form = plain_form(other)
        if form == plain:
            return other
        if form and abs(len(form) - len(plain)) <= 3 and (form[0] == plain[0] or form[-1] == plain[-1]):
            close.append(other)
    near = difflib.get_close_matches(name, close, n=1, cutoff=ALIKE_FROM)
    return near[0] if near else ""


def suggest_name(name: str, known: frozenset[str], otherwise: str) -> str:
    """The repair for an unknown name: the nearest known one, or what to do otherwise."""
    nearest = find_nearest(name, known)
    return f"Did you mean {nearest!r}?" if nearest else otherwise
