"""What of a line's long history stands on its page at once, and how is the rest asked for?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

from django.http import HttpRequest

AT_ONCE = 20
"""Rows of a table shown before one asks for all of them."""
PARTS = ("rows", "trials", "lots", "hybrids", "notes")
"""Parts of the page that htmx may ask for alone; the name is also that of the part's template and element."""


One = TypeVar("One")


@dataclass(frozen=True, slots=True)
class Folded(Generic[One]):
    """What is shown of a list, and how many more there are."""

    shown: Sequence[One]
    more: int

    @property
    def n_found(self) -> int:
        """All there are."""
        return len(self.shown) + self.more


def fold(request: HttpRequest, part: str, found: Sequence[One], newest_last: bool = True) -> Folded[One]:
    """The newest of a list; all of it where `?all=` names the part."""
    if request.GET.get("all") == part or len(found) <= AT_ONCE:
        return Folded(found, 0)
    return Folded(found[-AT_ONCE:] if newest_last else found[:AT_ONCE], len(found) - AT_ONCE)


def read_part(request: HttpRequest) -> str:
    """The part that htmx asks for; empty where the whole page is wanted."""
    target = request.headers.get("HX-Target", "") if getattr(request, "htmx", False) else ""
    return target if target in PARTS else ""


def read_page_number(text: str) -> int:
    """A page number as it stands in an address; 1 where it is none."""
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 7 else 1
