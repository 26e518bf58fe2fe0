"""How does demand by day become workers needed by day at the command line?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.answers import refuse
from firstsilk.faces.command.giving import AsJson, Out, give_result, say

if TYPE_CHECKING:
    from firstsilk.faces.files.demand import DemandDay
    from firstsilk.science.flowering.crew import CrewDay

DECIMALS = 6
NEAR_DAYS = 7
"""Past years' days this near to a date of the year tell what it usually loses (a choice of ours)."""


class FirstDays(StrEnum):
    """Rules for the shorter first days of new workers."""

    NONE = "none"
    US_20 = "us-20"
    THIRDS = "thirds"


DemandFile = Annotated[
    str,
    typer.Argument(metavar="DEMAND", help="Pollinations by day: date, p10, p50, p90. - is stdin."),
]
PerHour = Annotated[float, typer.Option("--per-hour", help="Pollinations of one worker in an hour of work.")]
Hours = Annotated[float, typer.Option("--hours", help="Hours of a working day.")]
Efficiency = Annotated[float, typer.Option("--efficiency", help="Share of the hours that is worked, up to 1.")]
Beginners = Annotated[
    float | None,
    typer.Option("--beginners", help="Pace of new workers as a share of the usual one; nobody is new if absent."),
]
BeginnerDays = Annotated[int, typer.Option("--beginner-days", help="Working days on which that pace holds.")]
Rule = Annotated[
    FirstDays,
    typer.Option("--first-days", help="Shorter first days for new workers, as rules against heat illness ask."),
]
Weather = Annotated[
    str,
    typer.Option(
        "--weather", help="Daily weather with rain_mm: hours lost to rain and heat, as forecast or as in past years."
    ),
]


def crew(
    demand: DemandFile,
    per_hour: PerHour = 15.0,
    hours: Hours = 7.0,
    efficiency: Efficiency = 0.8,
    beginners: Beginners = None,
    beginner_days: BeginnerDays = 2,
    first_days: Rule = FirstDays.NONE,
    weather: Weather = "",
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Workers needed by day: demand / (per-hour x hours x efficiency), rounded up.

    With --beginners the first --beginner-days working days (days whose p50 is above 0) go at the slower pace. Apart
    from that, --first-days shortens the hours of the first working days: us-20 gives 20 % of them on day one and 20 %
    more each day, thirds a third on two days, a half on two, two thirds on two. Both take the whole crew to be new.

    --weather takes off hours lost: half of them on a wet day (1 mm), all on one of heavy rain (10 mm), and those above
    35 °C. A day that the file has counts as it is there; another one as the mean of that time of year in the file. An
    --efficiency of 0.8 stands for usual rain by itself, so raise it with --weather.
    """
    from firstsilk.faces.files.demand import read_demand
    from firstsilk.science.flowering.crew import plan_crew
    from firstsilk.work.cautions import CAUTIONS_SHORT

    _check_numbers(per_hour, hours, efficiency, beginners, beginner_days)
    _, days = read_demand(demand)
    lost = _read_lost(weather, hours, [day.date for day in days]) if weather else None
    planned = plan_crew(
        [day.p50 for day in days],
        [day.p90 for day in days],
        per_hour,
        hours,
        efficiency,
        1.0 if beginners is None else beginners,
        0 if beginners is None else beginner_days,
        first_days.value,
        lost,
    )
    rows = [
        [day.date, one.workers_p50, one.workers_p90, round(one.hours, DECIMALS), "; ".join(one.notes)]
        for day, one in zip(days, planned, strict=True)
    ]
    for caution in CAUTIONS_SHORT:
        say(caution)
    more = {"per_hour": per_hour, "hours": hours, "efficiency": efficiency, "peak": _peak(days, planned)}
    give_result(["date", "workers_p50", "workers_p90", "hours", "note"], rows, out, as_json, more)


def _check_numbers(
    per_hour: float, hours: float, efficiency: float, beginners: float | None, beginner_days: int
) -> None:
    if not (math.isfinite(per_hour) and per_hour > 0):
        raise typer.BadParameter(f"--per-hour takes a number above 0; not {per_hour:g}.")
    if not 0 < hours <= 24:
        raise typer.BadParameter(f"--hours takes a number above 0 and up to 24; not {hours:g}.")
    if not 0 < efficiency <= 1:
        raise typer.BadParameter(f"--efficiency takes a share above 0 and up to 1; not {efficiency:g}.")
    if beginners is not None and not 0 < beginners <= 1:
        raise typer.BadParameter(f"--beginners takes a share above 0 and up to 1; not {beginners:g}.")
    if beginner_days < 0:
        raise typer.BadParameter(f"--beginner-days takes 0 or more; not {beginner_days}.")


def _peak(days: Sequence[DemandDay], planned: Sequence[CrewDay]) -> dict[str, object]:
    """The day that asks for most workers at middling demand."""
    known = [(one.workers_p50, -at) for at, one in enumerate(planned) if one.workers_p50 is not None]
    if not known:
        return {"date": None, "workers_p50": None, "workers_p90": None}
    at = -max(known)[1]
    return {
        "date": days[at].date,
        "workers_p50": planned[at].workers_p50,
        "workers_p90": planned[at].workers_p90,
    }


def _read_lost(weather: str, hours: float, days: Sequence[date]) -> list[float]:
    """Hours lost on each day: as the file has that day, else as the mean of that time of year in it."""
    import numpy as np

    from firstsilk.faces.files.weather import read_weather
    from firstsilk.science.climate.heat import convert_f_to_c
    from firstsilk.science.flowering.workable import count_lost_hours, expect_lost_hours

    read = read_weather(weather)
    if len(read.sites) > 1:
        names = ", ".join(site.site for site in read.sites)
        raise refuse("sites_several", f"{read.file}: the file holds several sites: {names}.", "Keep the crew's own.")
    site = read.sites[0]
    if site.rain_mm is None:
        say(f"{read.file}: there is no column rain_mm; only heat takes hours off.")
    rain = np.full(len(site.days), np.nan) if site.rain_mm is None else site.rain_mm
    low, high = (convert_f_to_c(one) if read.unit == "f" else one for one in (site.tmin, site.tmax))
    lost = count_lost_hours(hours, rain, low, high)
    return expect_lost_hours(days, site.days, lost, NEAR_DAYS).tolist()
