"""From when to when can be pollinated, at the command line?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.answers import refuse
from firstsilk.faces.command.giving import AsJson, Out, give_result, say

if TYPE_CHECKING:
    from firstsilk.faces.files.tables import Table
    from firstsilk.science.flowering.pollen_window import Windows

COLUMNS = ("date", "start_early", "start_late", "end_early", "end_late", "usable_min", "note")

HoursFile = Annotated[
    str,
    typer.Argument(
        metavar="HOURS",
        help="Hourly: date, hour (or time), temp_c (or temp_f), rh_pct[, rain_mm]; or daily: date, tmin_c, tmax_c"
        "[, rain_mm]. Standard time. - is stdin.",
    ),
]
ClockAhead = Annotated[
    int, typer.Option("--clock-ahead", help="Hours that the clock is ahead of standard time: 1 for summer time.")
]


def pollen_window(hours: HoursFile, clock_ahead: ClockAhead = 0, out: Out = "", as_json: AsJson = False) -> None:
    """The hours in which pollen is dry, flying and alive, day by day, as a range.

    Early start: the air dries (deficit of 0.2 kPa) at 16 °C, two hours after sunrise. Late start: 0.5 kPa, at most 70 %
    humidity, 20 °C; dew has had two hours to dry. It ends by 35 °C (early) or 37.8 °C (late), by rain, or else between
    13 and 18 o'clock. A start that is never sure is empty. usable_min is how long collected pollen keeps half of its
    germination. From daily extremes humidity is guessed, the range is wider, and the note says so.
    """
    from firstsilk.faces.files.tables import read_table

    if abs(clock_ahead) > 3:
        raise typer.BadParameter(f"--clock-ahead takes -3 to 3; not {clock_ahead}.")
    table = read_table(hours)
    hourly = "rh_pct" in table.columns or "hour" in table.columns or "time" in table.columns
    days, windows = _from_hours(table) if hourly else _from_days(table)
    rows = [
        [
            day,
            *(_clock(values[at], clock_ahead) for values in _edges(windows)),
            None if math.isnan(windows.usable_min[at]) else round(float(windows.usable_min[at])),
            _note(windows, at, hourly),
        ]
        for at, day in enumerate(days)
    ]
    say("Sources disagree on single thresholds, so these are ranges; look at the tassels. Local rules on heat decide.")
    give_result(COLUMNS, rows, out, as_json, {"clock_ahead": clock_ahead, "from": "hours" if hourly else "days"})


def _from_hours(table: Table) -> tuple[Sequence[date], Windows]:
    from firstsilk.faces.files.humid_hours import humid_days_from_table
    from firstsilk.science.flowering.pollen_window import find_windows

    read = humid_days_from_table(table)
    return read.days, find_windows(read.temperature_c, read.humidity_pct, read.rain_mm)


def _from_days(table: Table) -> tuple[Sequence[date], Windows]:
    from firstsilk.faces.files.weather import weather_from_table
    from firstsilk.science.climate.heat import convert_f_to_c
    from firstsilk.science.flowering.pollen_window import guess_windows

    read = weather_from_table(table)
    if len(read.sites) > 1:
        raise refuse("sites_several", f"{read.file}: the file holds several sites.", "Keep one site in it.")
    site = read.sites[0]
    low, high = (convert_f_to_c(one) if read.unit == "f" else one for one in (site.tmin, site.tmax))
    return site.days, guess_windows(low, high, site.rain_mm)


def _edges(windows: Windows) -> tuple[Sequence[float], ...]:
    edges = (windows.start_early, windows.start_late, windows.end_early, windows.end_late)
    return tuple(edge.tolist() for edge in edges)


def _clock(hour: float, ahead: int) -> str | None:
    """A clock time as 09:30; None where there is none."""
    if math.isnan(hour):
        return None
    minutes = round((hour + ahead) * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _note(windows: Windows, at: int, hourly: bool) -> str:
    said = []
    if math.isnan(windows.start_early[at]):
        said.append("too cool, too damp or not known: no shed expected")
    elif math.isnan(windows.start_late[at]):
        said.append("may stay too cool or damp: shed not sure")
    for told, holds in (("after dew or rain", windows.dewy), ("rain", windows.rained), ("heat ends it", windows.hot)):
        if holds[at] and not math.isnan(windows.start_early[at]):
            said.append(told)
    if not hourly:
        said.append("humidity guessed from daily extremes")
    return "; ".join(said)
