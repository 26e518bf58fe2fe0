"""How does a station hear from the shell how its season stands this morning?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.faces.command.giving import AsJson, Out, give_result
from firstsilk.faces.command.nursery_year import Season
from firstsilk.faces.command.station import StationCode, Today, open_books

if TYPE_CHECKING:
    from firstsilk.work.flowering.morning import Morning
    from firstsilk.work.flowering.wave import Wave

DECIMALS = 3
WAVE_COLUMNS = ("what", "date", "noted", "expected", "p10", "p90", "so_far_p10", "so_far_p50", "so_far_p90")
ROW_COLUMNS = (
    *("row", "tag", "line", "purpose", "sown", "planned", "silk_seen", "silk_p10", "silk_p50", "silk_p90"),
    *("shed_seen", "shed_p10", "shed_p50", "shed_p90", "line_records"),
)
CROSS_COLUMNS = (
    *("target", "female", "male", "female_rows", "male_rows", "silk_about", "shed_about", "p_meet", "ears_ahead"),
    *("made", "wanted", "state", "at_risk", "could"),
)
CREW_COLUMNS = ("date", "p10", "p50", "p90", "workers_p50", "workers_p90", "crew_makes", "short_frac")
FROST_COLUMNS = ("group", "hybrids", "units_from", "units_to", "p_ripe", "p_low", "p_high", "p_ripe_now")
Table = tuple[Sequence[str], list[list[object]]]


class ByChoice(StrEnum):
    """What the rows of the table are."""

    FLOWERING = "flowering"
    ROWS = "rows"
    CROSSES = "crosses"
    CREW = "crew"
    FROST = "frost"


def morning(
    season: Season = "",
    by: Annotated[ByChoice | None, typer.Option("--by", help="Give a table of this instead of sentences.")] = None,
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """How the season stands: what moved, heat, flowering, hands, who meets, frost.

    Prints sentences, or the table of --by. --out writes that table (flowering by day if none is named); --json gives
    the sentences and all tables. The page Season shows the same.
    """
    on = open_books(station, today)
    from firstsilk.work.cautions import CAUTIONS_SHORT
    from firstsilk.work.flowering.morning import read_morning

    told = read_morning(on, season)
    columns, rows = TABLES[by or ByChoice.FLOWERING](told)
    if as_json:
        give_result(columns, rows, out, True, _as_json(told))
        return
    if out or by is not None:
        give_result(columns, rows, out, False)
    if out not in ("", "-") or (by is None and not out):
        for line in told.sentences:
            print(line)
        if told.stage in ("sown", "flowering"):
            for caution in CAUTIONS_SHORT:
                print(caution)
        print(f"{told.basis.as_text()} Not considered: {'; '.join(told.not_considered)}.")


def _list_waves(told: Morning) -> Table:
    waves: list[Wave] = [wave for wave in (told.wave, told.males) if wave is not None]
    rows: list[list[object]] = [
        [
            *(wave.what, day.date, day.noted, _short(day.expected), _short(day.low), _short(day.high)),
            *(_short(one) for one in day.so_far),
        ]
        for wave in waves
        for day in wave.days
    ]
    return WAVE_COLUMNS, rows


def _list_rows(told: Morning) -> Table:
    rows: list[list[object]] = [
        [
            *(row.number, row.tag, row.line, row.purpose, row.sown_on, row.planned),
            *(row.silk_on, *_ends(row.silk), row.shed_on, *_ends(row.shed), row.n_records),
        ]
        for row in told.rows
    ]
    return ROW_COLUMNS, rows


def _ends(span: tuple[date, date, date] | None) -> tuple[date | None, ...]:
    return (None, None, None) if span is None else span


def _list_crosses(told: Morning) -> Table:
    rows: list[list[object]] = [
        [
            *(one.target, one.female, one.male, _join(one.female_rows), _join(one.male_rows)),
            *(one.silk_about, one.shed_about, _short(one.p_meet), _short(one.ears_ahead_frac)),
            *(one.standing, one.wanted, one.state, one.at_risk, " ".join(one.could)),
        ]
        for one in told.crosses
    ]
    return CROSS_COLUMNS, rows


def _join(numbers: tuple[int, ...]) -> str:
    return ";".join(str(number) for number in numbers)


def _list_crew(told: Morning) -> Table:
    rows: list[list[object]] = [
        [
            *(day.date, _short(day.p10), _short(day.p50), _short(day.p90), day.workers_p50, day.workers_p90),
            *(_short(day.crew_makes), _short(day.short_frac)),
        ]
        for day in told.need.days
    ]
    return CREW_COLUMNS, rows


def _list_frost(told: Morning) -> Table:
    rows: list[list[object]] = [
        [
            *(one.group, one.n_hybrids, one.units_from, one.units_to),
            *(_short(value) for value in (one.chance, one.low, one.high, one.now)),
        ]
        for one in told.ripening.groups
    ]
    return FROST_COLUMNS, rows


TABLES: dict[ByChoice, Callable[[Morning], Table]] = {
    ByChoice.FLOWERING: _list_waves,
    ByChoice.ROWS: _list_rows,
    ByChoice.CROSSES: _list_crosses,
    ByChoice.CREW: _list_crew,
    ByChoice.FROST: _list_frost,
}


def _as_json(told: Morning) -> dict[str, object]:
    # What --by names stands under "rows", as with every command; the table of rows has a name of its own.
    names = {by: "row_days" if by is ByChoice.ROWS else by.value for by in TABLES}
    tables = {names[by]: list_table(told) for by, list_table in TABLES.items()}
    return {
        "season": told.season,
        "today": told.today,
        "stage": told.stage,
        "last_reading": told.last_reading,
        "reading_age_days": told.reading_age_days,
        "sentences": [{"part": one.part, "text": one.text} for one in told.told],
        "no_forecast": told.why_no_forecast or None,
        "not_considered": told.not_considered,
        "basis": told.basis.as_text(),
        **{name: [dict(zip(columns, row, strict=True)) for row in rows] for name, (columns, rows) in tables.items()},
    }


def _short(value: float | None) -> float | None:
    return None if value is None else round(value, DECIMALS) + 0.0
