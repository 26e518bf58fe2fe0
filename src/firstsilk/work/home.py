"""What needs doing now?

One list over all rooms, for the season's day: what is late first, what is soon next.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Q

from firstsilk.records.models import NoteAside, Plot, Season, Station, Target, Trial, Verdict
from firstsilk.work.climate.series import read_daily_heat
from firstsilk.work.flowering.day import DayList, read_day_list
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.stock import read_stock
from firstsilk.work.shelf import get_site, get_station

HEAT_CAUTION = (
    "Heat: water and shade within reach; new workers do about 20 % of the normal time on day one, 20 % more each day; "
    "nobody who feels ill stays alone."
)
FIELD_CAUTION = (
    "Pollen and leaf edges: glasses, long sleeves; stop at breathlessness. No entry before a spray interval ends. "
    "Hours and tasks of minors: local law, labels and licensed practice decide."
)


@dataclass(frozen=True, slots=True)
class Due:
    """One thing to do: how many, what, why, how pressing (``now``, ``soon``, ``later``), and the room it is done in."""

    title: str
    count: int
    why: str
    urgency: str
    room: str
    query: str = ""


@dataclass(frozen=True, slots=True)
class Home:
    """The home page."""

    season_line: str
    tasks: tuple[Due, ...]
    cautions: tuple[str, ...]
    basis: Basis


FIELD_TASKS = {
    "pollinate": ("rows to pollinate", "Silk out, a male sheds, ears still wanted.", "now"),
    "tassel_bag": ("rows whose tassels are bagged this afternoon", "Pollen for tomorrow morning.", "now"),
    "shoot_bag": ("rows for shoot bags", "Before any silk shows.", "now"),
    "look": ("rows to look at for silk and shed", "Flowering is near and nobody has looked today.", "soon"),
    "sow": ("rows to sow", "Their sowing day has come.", "now"),
    "pick": ("rows to pick", "At or after black layer.", "soon"),
}


def list_due(on: Occasion) -> Home:
    """Everything that is due on the occasion's day, most pressing first."""
    station = get_station(on.station)
    season = Season.objects.filter(station=station, year=on.today.year).order_by("name").first()
    due: list[Due] = []
    line, basis = _quiet_season(season, on.today), Basis()
    cautions: tuple[str, ...] = ()
    if season is not None and season.rows.exists():
        day = read_day_list(on, season.name)
        due += _field_due(day)
        due += _harvest_due(day)
        basis = day.basis
        line = _season_line(day)
        if day.tasks and any(task.do != "sow" for task in day.tasks):
            cautions = (HEAT_CAUTION, FIELD_CAUTION)
    due += _desk_due(station, season, on)
    order = {"now": 0, "soon": 1, "later": 2}
    due.sort(key=lambda one: order[one.urgency])
    return Home(line, tuple(due), cautions, basis)


def _quiet_season(season: Season | None, today: date) -> str:
    if season is None:
        return f"There is no season {today.year} in the books yet."
    return f"Season {season.name} at {season.site.name} has no rows yet."


def _season_line(day: DayList) -> str:
    rows = [row for row in day.rows.values() if row.purpose != "filler"]
    sown = sum(1 for row in rows if row.state.sown_on)
    silk = sum(1 for row in rows if row.state.silk_on)
    ears = sum(row.state.ears_standing for row in rows)
    picked = sum(row.state.ears_picked for row in rows)
    text = f"Season {day.season}: {sown} of {len(rows)} rows sown, {silk} in silk, {ears} ears pollinated"
    return f"{text}, {picked} picked." if picked else f"{text}."


def _field_due(day: DayList) -> list[Due]:
    due = []
    for do, (title, why, urgency) in FIELD_TASKS.items():
        count = day.count(do)
        if count:
            room = "nursery" if do == "sow" else "flowering"
            due.append(Due(title, count, why, urgency, room))
    return due


def _harvest_due(day: DayList) -> list[Due]:
    unshelled = sum(1 for row in day.rows.values() if row.state.ears_picked and not row.state.kernels)
    if not unshelled:
        return []
    return [Due("rows picked and not shelled", unshelled, "Kernels are not counted into lots yet.", "soon", "seed")]


def _desk_due(station: Station, season: Season | None, on: Occasion) -> list[Due]:
    due = []
    aside = NoteAside.objects.filter(station=station).count()
    if aside:
        due.append(
            Due("notes laid aside", aside, "They could not stand as notes; a person settles them.", "soon", "flowering")
        )
    heat = read_daily_heat(station, get_site(station), on.today)
    if heat.last is None or (on.today - heat.last).days > 1:
        age = (on.today - heat.last).days if heat.last else 0
        why = f"The last reading is {age} days old." if heat.last else "There is none yet."
        due.append(Due("days of weather to bring", max(1, age - 1), why, "soon", "climate"))
    low = sum(1 for lot in read_stock(station, up_to=on.today) if lot.kernels < 0)
    if low:
        due.append(Due("lots below zero", low, "More was used than the books hold; count them.", "soon", "seed"))
    drafts = Target.objects.filter(station=station, state="draft", season__year__gte=on.today.year).count()
    if drafts:
        due.append(Due("targets not planned yet", drafts, "They have no rows and no seed reserved.", "soon", "nursery"))
    return due + _trial_due(station, on)


def _trial_due(station: Station, on: Occasion) -> list[Due]:
    due = []
    trials = Trial.objects.filter(station=station, year=on.today.year).exclude(design="as_brought")
    open_plots = (
        Plot.objects.filter(trial__in=trials, records__isnull=True).aggregate(n=Count("pk", distinct=True))["n"]
        if on.today.month >= 9
        else 0
    )
    if open_plots:
        due.append(Due("trial plots without data", open_plots, "Weights and moisture are not in.", "soon", "trials"))
    harvested = trials.filter(Q(plots__records__isnull=False)).distinct().count()
    decided = Verdict.objects.filter(station=station, year=on.today.year).exists()
    if harvested and not decided and not open_plots:
        due.append(
            Due("years of trials to decide on", 1, "Plot data are in and no verdict is written.", "soon", "choice")
        )
    next_season = Season.objects.filter(station=station, year=on.today.year + 1)
    if decided and not Target.objects.filter(season__in=next_season).exists() and on.today > date(on.today.year, 10, 1):
        due.append(Due("plan of next season", 1, "Verdicts are written; the next plan is not made.", "later", "choice"))
    return due
