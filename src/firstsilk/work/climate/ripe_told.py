"""What is told of ripening, and in which words?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from firstsilk.science.climate.heat import Scale
from firstsilk.work.climate.ripe_groups import ASKED_FOR
from firstsilk.work.climate.ripe_seasons import ThisSeason
from firstsilk.work.climate.season import SCALE_NAMES
from firstsilk.work.occasion import Basis


@dataclass(frozen=True, slots=True)
class GroupChance:
    """Hybrids of one group: how many, their units from and to, and over them and the past years the mean chance.

    `low` and `high` hold it with 80 %, as far as the few years go; `now` is the chance given this season so far;
    moisture is the median over hybrids and years [%]. None where it does not exist.
    """

    group: str
    n_hybrids: int
    units_from: float
    units_to: float
    chance: float | None
    low: float | None
    high: float | None
    now: float | None
    moisture_at_frost_pct: float | None
    moisture_at_harvest_pct: float | None
    loss_pct: float | None


@dataclass(frozen=True, slots=True)
class HybridRipening:
    """One hybrid: what it needs, what is left of that this season, and its chance and moisture over past years."""

    hybrid: str
    group: str
    is_check: bool
    units_to_black_layer: float
    units_left: float | None
    years: int
    ripe_years: int
    chance: float | None
    low: float | None
    high: float | None
    now: float | None
    black_layer: date | None
    moisture_at_frost_pct: float | None
    moisture_at_harvest_pct: float | None
    loss_pct: float | None

    @property
    def is_record(self) -> bool:
        """Whether it is a hybrid of the books, and not one that is only asked about."""
        return self.group != ASKED_FOR


@dataclass(frozen=True, slots=True)
class RipeAt:
    """The chance of each group, in the order of the groups, at one sowing day or one site."""

    label: str
    day: date
    years: int
    chances: tuple[float | None, ...]
    moistures_at_frost_pct: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class RipeningGroups:
    """The few numbers: chance by hybrid group at a site for one sowing day, over past years and given this season."""

    site: str
    site_name: str
    scale: Scale
    today: date
    sown: date
    harvest_on: date
    years: tuple[int, ...]
    now: ThisSeason
    last_reading: date | None
    groups: tuple[GroupChance, ...]
    basis: Basis

    @property
    def reading_age_days(self) -> int | None:
        """Days since the last reading; None if there is none."""
        return None if self.last_reading is None else (self.today - self.last_reading).days

    @property
    def sentences(self) -> tuple[str, ...]:
        """One sentence for each group."""
        return tuple(_tell_group(one, self.scale, self.now) for one in self.groups if one.chance is not None)


@dataclass(frozen=True, slots=True)
class Ripening:
    """Everything on ripening at one site: groups, hybrids, and the groups by sowing day and by site."""

    groups: RipeningGroups
    hybrids: tuple[HybridRipening, ...]
    unknown: tuple[str, ...]
    by_sowing: tuple[RipeAt, ...]
    by_site: tuple[RipeAt, ...]
    left_out: tuple[tuple[int, str], ...]
    not_considered: tuple[str, ...]
    basis: Basis


def _tell_group(one: GroupChance, scale: Scale, now: ThisSeason) -> str:
    assert one.chance is not None
    hybrids = f"{one.n_hybrids} {one.group} hybrids" if one.n_hybrids > 1 else f"{one.group} hybrid"
    if one.group == ASKED_FOR:
        hybrids = "hybrid that is asked about"
    if one.group == "all":
        hybrids = "hybrids" if one.n_hybrids > 1 else "hybrid"
    units = f"{one.units_from:,.0f}" + (f" to {one.units_to:,.0f}" if one.units_to > one.units_from else "")
    text = (
        f"The {hybrids} ({units} {SCALE_NAMES[scale]} to black layer) would have been ripe before the first −2 °C "
        f"in {100 * one.chance:.0f} % of the past years"
    )
    if one.now is None or now.counted_to is None:
        return f"{text}."
    if now.frost_on is not None:
        share = {0.0: "none", 1.0: "all"}.get(one.now, f"{100 * one.now:.0f} %")
        return f"{text}; this year {share} of them {'was' if share == 'none' else 'were'}."
    return f"{text}; as this season stands, in {100 * one.now:.0f} %."
