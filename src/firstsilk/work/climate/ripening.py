"""With which chance do the station's hybrids ripen before the killing frost: by hybrid, group, site and sowing day?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.records.models import Site, Station
from firstsilk.science.climate.frost import KILLING_FROST_C
from firstsilk.science.climate.heat import Scale
from firstsilk.science.flowering.ripe_chance import (
    RipeTable,
    estimate_ripe_chances,
    tabulate_ripening,
    wilson_interval,
)
from firstsilk.science.flowering.ripe_years import Season, date_of_day, lay_on_year, median_or_none
from firstsilk.work.climate.ripe_groups import HybridBook, read_hybrids, tell_unknown
from firstsilk.work.climate.ripe_seasons import (
    SiteDays,
    ThisSeason,
    find_sowing,
    go_on_as_past,
    lay_out_past,
    read_site_days,
    read_this_season,
)
from firstsilk.work.climate.season import FEW_YEARS, SCALE_NAMES, STALE_DAYS
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_site, get_station

SOWING_STEPS_DAYS = (-14, -7, 0, 7, 14, 21, 28)
"""Sowing days that are compared, around the one asked for. Our own choice."""
HARVEST_NORTH, HARVEST_SOUTH = (10, 10), (4, 10)
"""Day on which grain moisture is told, unless another is asked for. Our own choice."""
LEVEL = 0.8
"""Coverage of the intervals, as of all bands here. Our own choice."""
NOT_CONSIDERED = (
    "hollows and slopes of the field, where frost comes earlier or later than at the station's thermometer",
    "soil, drought, disease, lodging and ear drop",
    "what is wrong in a hybrid's own heat units: they are taken as exact",
    "a climate that warms: past years count alike",
)


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
    def is_stale(self) -> bool:
        """Whether the last reading is old, or there is none."""
        return self.reading_age_days is None or self.reading_age_days > STALE_DAYS

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


def read_ripening_groups(
    on: Occasion, site: str = "", sown: tuple[int, int] | None = None, harvest: tuple[int, int] | None = None
) -> RipeningGroups:
    """Chance of ripening before the killing frost by hybrid group.

    Parameters
    ----------
    on
        The occasion; days after its `today` do not count.
    site
        Site code; the home site if empty.
    sown
        Month and day of sowing; the first sowing day of the season in the books if None, else 12 May.
    harvest
        Month and day on which grain moisture is told; 10 October (south: 10 April) if None.

    Raises
    ------
    InputRefused
        If there is no such site.

    Notes
    -----
    Groups are thirds of the station's hybrids by their units to black layer. Checked by
    tests/work/test_ripening_work.py.
    """
    station = get_station(on.station)
    place = get_site(station, site)
    (days,) = read_site_days(station, [place], on.today)
    return _read_groups(station, place, days, read_hybrids(station), on.today, sown, harvest)[0]


def read_ripening(
    on: Occasion, site: str = "", sown: tuple[int, int] | None = None, harvest: tuple[int, int] | None = None
) -> Ripening:
    """As `read_ripening_groups`, and by hybrid, by sowing day and by site.

    Notes
    -----
    Checked by tests/work/test_ripening_work.py.
    """
    station = get_station(on.station)
    place = get_site(station, site)
    sites = list(Site.objects.filter(station=station).order_by("-is_home", "code"))
    every = read_site_days(station, sites, on.today)
    days = next(one for one in every if one.site.pk == place.pk)
    book = read_hybrids(station)
    groups, tables = _read_groups(station, place, days, book, on.today, sown, harvest)
    laid = lay_out_past(days, groups.sown)
    by_sowing = tuple(
        _tell_at(f"{moved:+d} days" if moved else "as asked", days, book, groups.sown, moved)
        for moved in SOWING_STEPS_DAYS
    )
    by_site = tuple(_tell_at(one.site.name, one, book, groups.sown) for one in every)
    return Ripening(
        groups=groups,
        hybrids=_tell_hybrids(book, tables, groups),
        unknown=book.unknown,
        by_sowing=by_sowing,
        by_site=by_site,
        left_out=laid.left_out,
        not_considered=NOT_CONSIDERED,
        basis=groups.basis,
    )


def _read_groups(
    station: Station,
    place: Site,
    days: SiteDays,
    book: HybridBook,
    today: date,
    sown: tuple[int, int] | None,
    harvest: tuple[int, int] | None,
) -> tuple[RipeningGroups, tuple[RipeTable, RipeTable]]:
    sown_on = find_sowing(station, place, today, sown)
    reap = harvest or (HARVEST_SOUTH if days.south else HARVEST_NORTH)
    laid = lay_out_past(days, sown_on)
    now = read_this_season(days, sown_on, today)
    past = tabulate_ripening(laid.seasons, book.needs, days.scale, reap)
    ahead = tabulate_ripening(go_on_as_past(days, laid.seasons, now), book.needs, days.scale, reap)
    told = RipeningGroups(
        site=place.code,
        site_name=place.name,
        scale=days.scale,
        today=today,
        sown=sown_on,
        harvest_on=_next(sown_on, reap),
        years=tuple(one.sown.year for one in laid.seasons),
        now=now,
        last_reading=days.days[-1] if days.days else None,
        groups=tuple(_tell_group_chance(name, book, past, ahead) for name in book.groups),
        basis=_tell_basis(book, days, laid.seasons, len(laid.left_out), now),
    )
    return told, (past, ahead)


def _next(after: date, month_day: tuple[int, int]) -> date:
    """The first such date after a day."""
    day = lay_on_year(after.year, month_day)
    return day if day > after else lay_on_year(after.year + 1, month_day)


def _share(table: RipeTable, places: list[int]) -> float | None:
    return float(table.ripe.ripe[:, places].mean()) if table.ripe.seasons and places else None


def _middle(values: NDArray[np.float64]) -> float | None:
    return median_or_none([one for one in values.ravel().tolist() if not math.isnan(one)])


def _tell_group_chance(name: str, book: HybridBook, past: RipeTable, ahead: RipeTable) -> GroupChance:
    places = book.places_of(name)
    years, chance = len(past.ripe.seasons), _share(past, places)
    ends = wilson_interval(chance * years, years, LEVEL) if chance is not None else None
    needs = [book.hybrids[at].need.to_black_layer for at in places]
    chances = estimate_ripe_chances(past, book.needs)
    losses = [chances[at].losses[0].plant_pct for at in places if chances[at].losses]
    return GroupChance(
        group=name,
        n_hybrids=len(places),
        units_from=min(needs),
        units_to=max(needs),
        chance=chance,
        low=ends[0] if ends else None,
        high=ends[1] if ends else None,
        now=_share(ahead, places),
        moisture_at_frost_pct=_middle(past.moisture_at_frost_pct[:, places]),
        moisture_at_harvest_pct=_middle(past.moisture_on_pct[:, places]),
        loss_pct=sum(losses) / len(losses) if losses else None,
    )


def _tell_hybrids(
    book: HybridBook, tables: tuple[RipeTable, RipeTable], groups: RipeningGroups
) -> tuple[HybridRipening, ...]:
    past, ahead = tables
    ahead_chances = estimate_ripe_chances(ahead, book.needs)
    told = []
    for at, (facts, one) in enumerate(zip(book.hybrids, estimate_ripe_chances(past, book.needs), strict=True)):
        ends = wilson_interval(one.ripe_years, one.years, LEVEL)
        left = None if groups.now.counted_to is None else max(facts.need.to_black_layer - groups.now.units, 0.0)
        told.append(
            HybridRipening(
                hybrid=facts.name,
                group=facts.group,
                is_check=facts.is_check,
                units_to_black_layer=facts.need.to_black_layer,
                units_left=left,
                years=one.years,
                ripe_years=one.ripe_years,
                chance=one.chance,
                low=ends[0] if ends else None,
                high=ends[1] if ends else None,
                now=ahead_chances[at].chance,
                black_layer=date_of_day(one.black_layer_day, groups.sown.year),
                moisture_at_frost_pct=one.moisture_at_frost_pct,
                moisture_at_harvest_pct=one.moisture_on_pct,
                loss_pct=one.losses[0].plant_pct if one.losses else None,
            )
        )
    return tuple(told)


def _tell_at(label: str, days: SiteDays, book: HybridBook, sown: date, moved: int = 0) -> RipeAt:
    laid = lay_out_past(days, sown, moved)
    table = tabulate_ripening(laid.seasons, book.needs, days.scale)
    places = [book.places_of(name) for name in book.groups]
    return RipeAt(
        label,
        sown + timedelta(days=moved),
        len(laid.seasons),
        tuple(_share(table, one) for one in places),
        tuple(_middle(table.moisture_at_frost_pct[:, one]) for one in places),
    )


def _tell_group(one: GroupChance, scale: Scale, now: ThisSeason) -> str:
    assert one.chance is not None
    hybrids = f"{one.n_hybrids} {one.group} hybrids" if one.n_hybrids > 1 else f"{one.group} hybrid"
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


def _tell_basis(book: HybridBook, days: SiteDays, seasons: Sequence[Season], n_left_out: int, now: ThisSeason) -> Basis:
    missing = list(tell_unknown(book))
    if not days.days:
        missing.append("there is no weather of this site in the books")
    elif len(seasons) < FEW_YEARS:
        missing.append(f"only {_say(len(seasons), 'past year counts', 'past years count')}, so chances are uncertain")
    if n_left_out:
        missing.append(f"{_say(n_left_out, 'past year is', 'past years are')} not whole, and left out")
    if days.n_filled:
        missing.append(f"{_say(days.n_filled, 'day is', 'days are')} filled in a straight line, not measured")
    open_years = sum(one.frost_at is None for one in seasons)
    if open_years:
        missing.append(f"{_say(open_years, 'past year', 'past years')} had no frost of {KILLING_FROST_C:g} °C")
    if now.hole:
        missing.append(f"{now.hole} is missing: this season's count stands still there")
    return Basis((("hybrids with known units", len(book.hybrids)), ("past years", len(seasons))), tuple(missing))


def _say(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"


def read_month_day(text: str, what: str) -> tuple[int, int] | None:
    """Month and day from ``05-12`` or ``2031-05-12``; None if empty.

    Raises
    ------
    InputRefused
        If it is neither.
    """
    if not text.strip():
        return None
    try:
        day = date.fromisoformat(f"2004-{text.strip()[-5:]}")
    except ValueError:
        raise refuse("day_unclear", f"{text!r} is no {what}.", "Write month and day: 05-12.") from None
    return day.month, day.day
