"""Which trait and which years does an analysis page show, and which others can be asked for?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.http import HttpRequest

from firstsilk.faces.pictures.units import UNITS
from firstsilk.work.analysis.plots import TRAITS

ROOM = {"room": "analysis"}


@dataclass(frozen=True, slots=True)
class TraitLink:
    """One trait to choose: its code, its name, whether it is the one shown."""

    code: str
    name: str
    is_shown: bool


def read_trait(request: HttpRequest) -> str:
    """The trait asked for; yield if none, or none that there is."""
    asked = request.GET.get("trait", "")
    return asked if asked in TRAITS else TRAITS[0]


def link_traits(shown: str) -> tuple[TraitLink, ...]:
    """All traits, the one shown marked."""
    return tuple(TraitLink(code, UNITS[code].name, code == shown) for code in TRAITS)


def read_years(texts: Sequence[str]) -> tuple[int, ...]:
    """The years asked for, in order; what is no year is passed over."""
    return tuple(sorted({int(text) for text in texts if text.isdecimal() and len(text) == 4}))
