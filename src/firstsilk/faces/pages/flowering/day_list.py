"""Today's list at the desk: as it is walked or by what waiting loses, for all or one team, kept fresh, and on paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from firstsilk.answers import InputRefused
from firstsilk.faces.pages.flowering.views import DETAILS, list_kinds
from firstsilk.faces.pages.marks import day as mark_day
from firstsilk.faces.pages.nursery.views import start_room
from firstsilk.faces.pages.papers import give_pdf
from firstsilk.science.flowering.day import Task, rank_tasks
from firstsilk.science.flowering.routes import RANGE_LENGTH_M
from firstsilk.work.cautions import CAUTIONS_SHORT
from firstsilk.work.flowering.day import DayList, RowFacts, read_day_list
from firstsilk.work.flowering.day_mark import read_day_mark
from firstsilk.work.flowering.forecast import RowForecast
from firstsilk.work.flowering.pollen_window import read_pollen_windows
from firstsilk.work.flowering.targets_beside import tell_targets_beside
from firstsilk.work.flowering.teams import TeamPlan, choose_team, list_team_names, plan_teams
from firstsilk.work.occasion import Occasion

HEADINGS = (
    ("pollinate", "Pollinate this morning", "ears"),
    ("take_down", "Take tassel bags down", "bags"),
    ("tassel_bag", "Bag tassels this afternoon", "bags"),
    ("shoot_bag", "Shoot bags", "bags"),
    ("look", "Look for silk and shed", ""),
    ("sow", "Sow", ""),
    ("pick", "Pick", "ears"),
)
"""Kinds of task in the order of a day, as headings, and what is counted in each."""
DOES = {
    "pollinate": "Pollinate",
    "take_down": "Take down",
    "tassel_bag": "Bag tassels",
    "shoot_bag": "Shoot bags",
    "look": "Look",
    "sow": "Sow",
    "pick": "Pick",
}
MOST_SHOWN = 300
"""Tasks of a kind that a page shows; a day of more is worked from the sheets of the teams, or from a file."""


@dataclass(frozen=True, slots=True)
class Line:
    """One task as the page shows it: its rank by what waiting loses, its row, its team, and the forecast's span."""

    rank: int
    task: Task
    row: RowFacts
    team: str
    spans: str

    @property
    def says(self) -> str:
        """What is done, in two words."""
        return DOES[self.task.do]


@dataclass(frozen=True, slots=True)
class Asked:
    """How the list is asked for in the address."""

    order: str
    teams: int
    team: str
    range_m: float
    all: bool

    @property
    def by_loss(self) -> bool:
        """Whether the list goes by what waiting loses."""
        return self.order == "loss"


def show_flowering(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Today's list and how far each target is; asked by a page that is shown, only what has changed since."""
    told = start_room(request, on, "flowering")
    season = str(told["season"])
    if not (season and told["this"].rows):  # type: ignore[attr-defined]
        return render(request, "flowering/flowering.html", told)
    mark = read_day_mark(on, season)
    since = request.GET.get("since", "")
    if since and since == mark:
        return HttpResponse(status=204)
    asked = _read_asked(request)
    told |= _tell_list(on, season, asked)
    query = request.GET.copy()
    query["since"] = mark
    told |= {"poll": query.urlencode(), "asked": asked}
    if since:
        return render(request, "flowering/day_list.html", told)
    told |= {"kinds": list_kinds(), "details": DETAILS}
    return render(request, "flowering/flowering.html", told)


def _read_asked(request: HttpRequest) -> Asked:
    """What the address asks for; what cannot be read is passed over."""
    teams, range_m = request.GET.get("teams", ""), request.GET.get("range_m", "")
    try:
        length = float(range_m)
    except ValueError:
        length = RANGE_LENGTH_M
    return Asked(
        order="loss" if request.GET.get("order") == "loss" else "walk",
        teams=int(teams) if teams.isdecimal() and len(teams) < 4 else 0,
        team=request.GET.get("team", ""),
        range_m=length,
        all=bool(request.GET.get("all")),
    )


def _tell_list(on: Occasion, season: str, asked: Asked) -> dict[str, object]:
    day = read_day_list(on, season, by_forecast=True)
    told: dict[str, object] = {"day": day, "cautions": _cautions(day), "targets": tell_targets_beside(on, day)}
    plan, no = _plan(on, day, asked)
    ranks = {(task.do, task.number): rank for rank, task in enumerate(rank_tasks(day.tasks), 1)}
    tasks: Sequence[Task] = day.tasks
    if plan is not None and any(one.name == asked.team for one in plan.teams):
        tasks = [task for _, task in plan.order(day.tasks, asked.team)]
    spans = {} if day.forecast is None else {row.number: row for row in day.forecast.rows}
    lines = [_line(day, task, ranks, plan, spans) for task in tasks]
    told |= {"plan": plan, "no_plan": no, "busy": _tell_busy(plan) if plan else ()}
    told |= {"groups": _group_lines(lines, day, asked.all), "total": len(lines)}
    if asked.by_loss:
        ranked = sorted(lines, key=lambda one: one.rank)
        told["ranked"] = ranked if asked.all else ranked[:MOST_SHOWN]
    if day.count("pollinate"):
        told["hours"] = read_pollen_windows(on, season).sentences[0]
    return told


def _plan(on: Occasion, day: DayList, asked: Asked) -> tuple[TeamPlan | None, str]:
    """The list parted over teams, where teams are asked for or named; or why it cannot be."""
    if not day.tasks or not (asked.teams or list_team_names(on)):
        return None, ""
    try:
        return plan_teams(on, day, asked.teams, asked.range_m), ""
    except InputRefused as refused:
        return None, str(refused)


def _line(
    day: DayList,
    task: Task,
    ranks: dict[tuple[str, int], int],
    plan: TeamPlan | None,
    spans: dict[int, RowForecast],
) -> Line:
    told = _say_spans(spans.get(task.number)) if task.do == "look" else ""
    team = plan.team_of(task) if plan is not None else ""
    return Line(ranks[task.do, task.number], task, day.rows[task.number], team, told)


def _tell_busy(plan: TeamPlan) -> tuple[dict[str, object], ...]:
    """Each team with its hands, its rounds, minutes and metres."""
    return tuple(
        {
            "team": team,
            "walks": [walk for walk in plan.walks if walk.team == team.name],
            "hours": plan.busy_min(team.name) / 60.0,
            "metres": plan.walked_by(team.name),
        }
        for team in plan.teams
    )


def _group_lines(lines: Sequence[Line], day: DayList, show_all: bool) -> list[dict[str, object]]:
    groups = []
    for kind, heading, counted in HEADINGS:
        mine = [line for line in lines if line.task.do == kind]
        if mine:
            groups.append(
                {
                    "do": kind,
                    "heading": heading,
                    "counted": counted,
                    "lines": mine if show_all else mine[:MOST_SHOWN],
                    "n": len(mine),
                    "hidden": 0 if show_all else max(0, len(mine) - MOST_SHOWN),
                    "total": sum(line.task.count for line in mine) if counted else 0,
                    "spans": kind == "look" and day.forecast is not None,
                    "pollen": kind == "pollinate",
                    "again": [line.task for line in mine if line.task.again],
                    "n_again": sum(line.task.again for line in mine),
                }
            )
    return groups


def _say_spans(row: RowForecast | None) -> str:
    """The days that hold 80 % of the forecast of what is not noted yet: silk for ears, shed for pollen."""
    if row is None:
        return ""
    waited = (
        ("silk", row.silk, row.silk_on is None and row.purpose in ("self", "female")),
        ("shed", row.shed, row.shed_on is None and row.purpose in ("self", "male")),
    )
    return "; ".join(
        f"{name} {mark_day(span[0])} to {mark_day(span[2])}" for name, span, waits in waited if waits and span
    )


def _cautions(day: DayList) -> tuple[str, ...]:
    return CAUTIONS_SHORT if any(task.do != "sow" for task in day.tasks) else ()


def print_day_sheet(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Today's list as PDF, or one team's part of it."""
    from firstsilk.faces.paper.lists import render_day_sheet
    from firstsilk.faces.paper.year import make_day_sheet

    day = read_day_list(on, request.GET.get("season", ""), by_forecast=True)
    asked, leader = _read_asked(request), on.who
    if asked.team:
        day = choose_team(on, day, asked.teams, asked.team, asked.range_m)
        leader = f"team {asked.team}"
    return give_pdf(render_day_sheet(make_day_sheet(on, day, leader)), f"day-sheet-{on.today}.pdf")
