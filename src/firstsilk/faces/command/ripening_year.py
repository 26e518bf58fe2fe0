"""How does a station learn from the shell which of its hybrids ripen before the killing frost?"""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.faces.command.giving import AsJson, Out, give_result
from firstsilk.faces.command.station import StationCode, Today, open_books

if TYPE_CHECKING:
    from firstsilk.work.climate.ripe_told import RipeAt, Ripening

DECIMALS = 3
GROUP_COLUMNS = (
    *("group", "hybrids", "units_from", "units_to", "p_ripe", "p_low", "p_high", "p_ripe_now"),
    *("moisture_at_frost_pct", "moisture_at_harvest_pct", "expected_loss_pct"),
)
HYBRID_COLUMNS = (
    *("hybrid", "group", "check", "units_to_black_layer", "units_left", "years", "p_ripe", "p_low", "p_high"),
    *("p_ripe_now", "median_black_layer_date", "moisture_at_frost_pct", "moisture_at_harvest_pct"),
    "expected_loss_pct",
)
AT_COLUMNS = ("group", "p_ripe", "moisture_at_frost_pct", "years")


class ByChoice(StrEnum):
    """What the rows of the table are."""

    GROUP = "group"
    HYBRID = "hybrid"
    SOWING = "sowing"
    SITE = "site"


Site = Annotated[str, typer.Option("--site", help="Code of the site; the home site if absent.")]
Sown = Annotated[str, typer.Option("--sown", help="Month and day of sowing, as 05-12; the season's own if absent.")]
Harvest = Annotated[str, typer.Option("--harvest", help="Month and day of a grain moisture, as 10-10.")]
Units = Annotated[
    float | None, typer.Option("--units", help="Also for a hybrid of so many units to black layer, in no books.")
]
By = Annotated[ByChoice, typer.Option("--by", help="What the rows of the table are.")]


def ripening(
    site: Site = "",
    sown: Sown = "",
    harvest: Harvest = "",
    units: Units = None,
    by: By = ByChoice.GROUP,
    station: StationCode = "",
    today: Today = "",
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Chance that the station's hybrids are ripe before the killing frost, over past years and as this season stands.

    Prints sentences for the groups (thirds of the hybrids by units to black layer), or the table of --by. --out writes
    that table, --json gives all. Bands hold 80 %. What it does not consider is said with it.
    """
    on = open_books(station, today)
    from firstsilk.work.climate.ripening import read_month_day, read_ripening

    days = read_month_day(sown, "sowing day"), read_month_day(harvest, "harvest day")
    told = read_ripening(on, site, *days, units)
    columns, rows = _table(told, by)
    if as_json:
        give_result(columns, rows, out, True, _as_json(told))
        return
    if out or by is not ByChoice.GROUP:
        give_result(columns, rows, out, False)
    if out not in ("", "-") or (by is ByChoice.GROUP and not out):
        for line in (*told.groups.sentences, told.basis.as_text()):
            print(line)
        print(f"Not considered: {'; '.join(told.not_considered)}.")


def _table(told: Ripening, by: ByChoice) -> tuple[Sequence[str], list[list[object]]]:
    if by is ByChoice.HYBRID:
        return HYBRID_COLUMNS, _hybrid_rows(told)
    if by is ByChoice.SOWING:
        return ("sown", *AT_COLUMNS), [[one.day, *row] for one in told.by_sowing for row in _at_rows(told, one)]
    if by is ByChoice.SITE:
        return ("site", *AT_COLUMNS), [[one.label, *row] for one in told.by_site for row in _at_rows(told, one)]
    rows: list[list[object]] = [
        [
            *(one.group, one.n_hybrids, one.units_from, one.units_to),
            *(_short(value) for value in (one.chance, one.low, one.high, one.now)),
            *(_short(value) for value in (one.moisture_at_frost_pct, one.moisture_at_harvest_pct, one.loss_pct)),
        ]
        for one in told.groups.groups
    ]
    return GROUP_COLUMNS, rows


def _hybrid_rows(told: Ripening) -> list[list[object]]:
    return [
        [
            *(one.hybrid, one.group, one.is_check, one.units_to_black_layer, _short(one.units_left), one.years),
            *(_short(value) for value in (one.chance, one.low, one.high, one.now)),
            one.black_layer,
            *(_short(value) for value in (one.moisture_at_frost_pct, one.moisture_at_harvest_pct, one.loss_pct)),
        ]
        for one in told.hybrids
    ]


def _at_rows(told: Ripening, one: RipeAt) -> list[list[object]]:
    return [
        [group.group, _short(chance), _short(moisture), one.years]
        for group, chance, moisture in zip(told.groups.groups, one.chances, one.moistures_at_frost_pct, strict=True)
    ]


def _as_json(told: Ripening) -> dict[str, object]:
    groups = told.groups
    return {
        "site": groups.site,
        "scale": groups.scale,
        "today": groups.today,
        "sown": groups.sown,
        "harvest_on": groups.harvest_on,
        "years": groups.years,
        "counted_to": groups.now.counted_to,
        "units": _short(groups.now.units),
        "frost_on": groups.now.frost_on,
        "last_reading": groups.last_reading,
        "reading_age_days": groups.reading_age_days,
        "unknown": told.unknown,
        "left_out": [year for year, _ in told.left_out],
        "sentences": groups.sentences,
        "not_considered": told.not_considered,
        "basis": told.basis.as_text(),
    }


def _short(value: float | None) -> float | None:
    return None if value is None else round(value, DECIMALS) + 0.0
