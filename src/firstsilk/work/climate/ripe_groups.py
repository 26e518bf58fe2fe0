"""Which hybrids need how many heat units to black layer, and which of them are early, middle and late here?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from firstsilk.records.models import Line, Station
from firstsilk.science.flowering.ripe_chance import HybridNeed

GROUP_NAMES = ("early", "middle", "late")
"""Thirds of the station's own hybrids by units to black layer: groups of these hybrids, not maturity classes."""


ASKED_FOR = "as asked"
"""Name and group of a hybrid that is no record: units that somebody asks about."""


@dataclass(frozen=True, slots=True)
class HybridFacts:
    """A hybrid of the books with known units to black layer, in the station's scale."""

    name: str
    is_check: bool
    need: HybridNeed
    group: str


@dataclass(frozen=True, slots=True)
class HybridBook:
    """The hybrids with known units, the earliest first, and the names of those without."""

    hybrids: tuple[HybridFacts, ...]
    unknown: tuple[str, ...]

    @property
    def needs(self) -> tuple[HybridNeed, ...]:
        """What each of them needs, in order."""
        return tuple(one.need for one in self.hybrids)

    @property
    def groups(self) -> tuple[str, ...]:
        """The groups there are, the earliest first."""
        return tuple(dict.fromkeys(one.group for one in self.hybrids))

    @property
    def n_known(self) -> int:
        """How many of them are records of the books."""
        return sum(one.group != ASKED_FOR for one in self.hybrids)

    def places_of(self, group: str) -> list[int]:
        """Where the hybrids of a group stand."""
        return [at for at, one in enumerate(self.hybrids) if one.group == group]


def read_hybrids(station: Station, also_units: float | None = None) -> HybridBook:
    """All hybrids of the books, and one that is only asked about, last and in a group of its own.

    Without known units a hybrid is listed as unknown: nothing stands in for them.
    """
    rows = Line.objects.filter(station=station, kind="hybrid").order_by("name")
    found = list(rows.values_list("name", "is_check", "units_to_black_layer", "units_to_silk"))
    known = [(black, name, check, silk) for name, check, black, silk in found if black]
    known.sort(key=lambda one: one[:2])
    groups = _name_groups(len(known))
    hybrids = tuple(
        # Silk at or after black layer cannot be; such a silk is taken as not known.
        HybridFacts(name, check, HybridNeed(name, black, silk if silk and silk < black else None), group)
        for (black, name, check, silk), group in zip(known, groups, strict=True)
    )
    if also_units is not None:
        hybrids += (HybridFacts(ASKED_FOR, False, HybridNeed(ASKED_FOR, also_units), ASKED_FOR),)
    return HybridBook(hybrids, tuple(one[0] for one in found if not one[2]))


def _name_groups(count: int) -> Sequence[str]:
    """Thirds as equal as can be, the odd ones to the earlier groups; under three hybrids make one group."""
    if count < len(GROUP_NAMES):
        return ["all"] * count
    sizes = [(count + 2 - at) // 3 for at in range(3)]
    return [name for name, size in zip(GROUP_NAMES, sizes, strict=True) for _ in range(size)]


def tell_unknown(book: HybridBook) -> Iterable[str]:
    """What the basis says of hybrids that could not be reckoned."""
    if not book.n_known:
        yield "no hybrid has known heat units to black layer"
    elif book.unknown:
        n = len(book.unknown)
        named = f"{', '.join(book.unknown[:3])}{', ...' if n > 3 else ''}"
        yield f"{n} hybrid{'s have' if n > 1 else ' has'} no known heat units to black layer ({named})"
    without = sum(one.need.to_silk is None for one in book.hybrids if one.group != ASKED_FOR)
    if without:
        yield f"{without} of the hybrids have no known silk; the usual share of the units stands in for it"
