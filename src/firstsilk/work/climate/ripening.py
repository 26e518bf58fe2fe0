"""With which chance do the station's hybrids ripen before the killing frost: by hybrid, group, site and sowing day?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.records.models import Site, Station
from firstsilk.science.climate.frost import KILLING_FROST_C
from firstsilk.science.flowering.grain import frost_loss_by_share_pct
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
from firstsilk.work.climate.ripe_told import GroupChance, HybridRipening, RipeAt, Ripening, RipeningGroups
from firstsilk.work.climate.season import FEW_YEARS
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_site, get_station

SOWING_STEPS_DAYS = (-14, -7, 0, 7, 14, 21, 28)
"""Sowing days that are compared, around the one asked for. Our own choice."""
HARVEST_NORTH, HARVEST_SOUTH = (10, 10), (4, 10)
"""Day on which grain moisture is told, unless another is asked for. Our own choice."""
MOST_UNITS = 10_000.0
"""As for the lines that are brought."""
LEVEL = 0.8
"""Coverage of the intervals, as of all bands here. Our own choice."""
NOT_CONSIDERED = (
    "hollows and slopes of the field, where frost comes earlier or later than at the station's thermometer",
    "soil, drought, disease, lodging and ear drop",
    "what is wrong in a hybrid's own heat units: they are taken as exact",
    "a climate that warms: past years count alike",
)


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
    on: Occasion,
    site: str = "",
    sown: tuple[int, int] | None = None,
    harvest: tuple[int, int] | None = None,
    also_units: float | None = None,
) -> Ripening:
    """As `read_ripening_groups`, and by hybrid, by sowing day and by site.

    Parameters
    ----------
    on, site, sown, harvest
        As there.
    also_units
        Units to black layer of a hybrid that is in no books, told beside the groups; None for none.

    Raises
    ------
    InputRefused
        If there is no such site, or the units are not above 0 and below 10,000.

    Notes
    -----
    Checked by tests/work/test_ripening_work.py.
    """
    station = get_station(on.station)
    place = get_site(station, site)
    sites = list(Site.objects.filter(station=station).order_by("-is_home", "code"))
    every = read_site_days(station, sites, on.today)
    days = next(one for one in every if one.site.pk == place.pk)
    if also_units is not None and not 0.0 < also_units < MOST_UNITS:
        message = f"{also_units:g} cannot be units to black layer."
        raise refuse("units_odd", message, f"Write a number above 0 and below {MOST_UNITS:,.0f}.")
    book = read_hybrids(station, also_units)
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
    lost = frost_loss_by_share_pct(past.share_at_frost[:, places], "plant")
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
        loss_pct=float(lost.mean()) if lost.size else None,
    )


def _tell_hybrids(
    book: HybridBook, tables: tuple[RipeTable, RipeTable], groups: RipeningGroups
) -> tuple[HybridRipening, ...]:
    past, ahead = tables
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
                now=_share(ahead, [at]),
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
    return Basis((("hybrids with known units", book.n_known), ("past years", len(seasons))), tuple(missing))


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


def read_units(text: str) -> float | None:
    """Heat units as a person writes them, ``2300`` or ``2,300``; None if empty.

    Raises
    ------
    InputRefused
        If it is no number.
    """
    plain = text.replace(" ", "").replace(",", "")
    if not plain:
        return None
    try:
        return float(plain)
    except ValueError:
        raise refuse("not_a_number", f"{text!r} is no number of heat units.", "Write it as 2300.") from None
