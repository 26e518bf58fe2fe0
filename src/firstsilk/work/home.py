"""What needs doing now?

One list over all rooms, for the season's day: what is late first, what is soon next; each thing for those who do it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from django.db.models import Exists, OuterRef

from firstsilk.records.models import LotOrigin, NoteAside, Plot, PlotRecord, Season, Station, Verdict, WeatherFeed
from firstsilk.work.accounts import CREW, DECIDERS, DESK
from firstsilk.work.cautions import CAUTIONS_SHORT
from firstsilk.work.climate.freshness import read_reading_age
from firstsilk.work.flowering.day import DayList, read_day_list
from firstsilk.work.flowering.row_page import find_oddities
from firstsilk.work.flowering.targets_beside import tell_targets_beside
from firstsilk.work.nursery.sow import count_unsettled
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.lot_notes import list_lot_notes
from firstsilk.work.seed.stock import read_stock
from firstsilk.work.shelf import get_station
from firstsilk.work.standing import end_of_day, promises_on, rows_on, targets_on, trials_on

AHEAD_DAYS = 7
TAGS_AHEAD_DAYS = 45
"""Row tags are asked for this many days before the first sowing (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class Due:
    """One thing to do: how many, what, why, how pressing (``now``, ``soon``, ``later``), where, and for whom.

    `room` is the room it is done in, `page` the page of it (the room's first if empty), `query` what follows the
    address, `roles` who does it.
    """

    title: str
    count: int
    why: str
    urgency: str
    room: str
    query: str = ""
    page: str = ""
    roles: frozenset[str] = CREW

    @property
    def address(self) -> str:
        """Name of the page on which it is done."""
        return self.page or self.room


@dataclass(frozen=True, slots=True)
class Home:
    """The home page: `tasks` are the reader's own (all of them for a reader without a role), `others` are not."""

    season_line: str
    tasks: tuple[Due, ...]
    cautions: tuple[str, ...]
    basis: Basis
    others: tuple[Due, ...] = ()


FIELD_TASKS = {
    "pollinate": ("rows to pollinate", "now"),
    "take_down": ("rows whose tassel bags come down", "soon"),
    "tassel_bag": ("rows whose tassels are bagged this afternoon", "now"),
    "shoot_bag": ("rows for shoot bags", "now"),
    "look": ("rows to look at for silk and shed", "soon"),
    "sow": ("rows to sow", "now"),
    "pick": ("rows to pick", "soon"),
}
SAID = {
    "pollinate": "Silk out, a male sheds, {count:,} ears still wanted on them.",
    "take_down": "Nobody wants their pollen, or it is too old: {count:,} bags.",
    "tassel_bag": "Pollen for tomorrow morning: {count:,} bags.",
    "shoot_bag": "Before any silk shows: {count:,} bags.",
    "look": "Flowering is near or overdue, and nobody has looked today.",
    "sow": "Their sowing day has come.",
    "pick": "At or after black layer, or killed by frost: {count:,} ears.",
}


def list_due(on: Occasion, role: str = "") -> Home:
    """Everything that is due on the occasion's day, most pressing first; the role's own apart from the others'."""
    station = get_station(on.station)
    season = Season.objects.filter(station=station, year=on.today.year).select_related("site").order_by("name").first()
    line, basis = _quiet_season(season, on.today), Basis()
    cautions: tuple[str, ...] = ()
    due: list[Due] = []
    if season is not None and rows_on(station, on.today).filter(season=season).exists():
        day = read_day_list(on, season.name, by_forecast=True)
        due += _field_due(day)
        due += _rows_due(on, station, season, day)
        basis, line = day.basis, _season_line(day)
        if any(task.do != "sow" for task in day.tasks):
            cautions = CAUTIONS_SHORT
    due += _desk_due(station, on)
    due += _trial_due(station, on)
    order = {"now": 0, "soon": 1, "later": 2}
    due.sort(key=lambda one: order[one.urgency])
    own = tuple(one for one in due if not role or role in one.roles)
    return Home(line, own, cautions, basis, tuple(one for one in due if one not in own))


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
    text = f"Season {day.season}: {sown} of {len(rows)} rows sown, {silk} in silk, {ears:,} ears pollinated"
    return f"{text}, {picked:,} picked." if picked else f"{text}."


def _field_due(day: DayList) -> Iterator[Due]:
    """What the day list asks for, kind by kind, and the rows that nobody may enter."""
    if day.shut_rows:
        why = "They lie under a spray interval; their work is not on the list."
        yield Due("rows nobody may enter", len(day.shut_rows), why, "now", "flowering", "#shut")
    for do, (title, urgency) in FIELD_TASKS.items():
        tasks = [task for task in day.tasks if task.do == do]
        if not tasks:
            continue
        why = SAID[do].format(count=sum(task.count for task in tasks))
        last = sum(1 for task in tasks if task.days_left == 0) if do == "pollinate" else 0
        if last:
            why += f" For {last} row{'s' if last > 1 else ''} it is the last day of silk."
        room = "nursery" if do == "sow" else "flowering"
        page = {"sow": "sowing", "pick": "harvest"}.get(do, "")
        yield Due(title, len(tasks), why, urgency, room if do != "pick" else "seed", f"#{do}" * (not page), page)


def _targets_due(on: Occasion, day: DayList) -> Iterator[Due]:
    """Targets that fall short, and those that will unless something is done."""
    targets = tell_targets_beside(on, day)
    if targets is None:
        why = "So many that only their own page works their chances out."
        yield Due("targets", len(day.progress), why, "soon", "flowering", page="targets")
        return
    short = len(targets.short)
    if short:
        why = "Nothing more can be made this season; make them again, or in winter."
        yield Due("targets that fall short", short, why, "later", "flowering", page="targets", roles=DECIDERS)
    red = len(targets.of_group("red")) - short
    if red:
        why = "Their chance is small even if all that is asked for is made."
        title = "targets that will not be reached unless something is done"
        yield Due(title, red, why, "now", "flowering", page="targets")


def _rows_due(on: Occasion, station: Station, season: Season, day: DayList) -> Iterator[Due]:
    """What the rows of the season ask of the desk and the seed room."""
    rows = day.rows.values()
    odd = len({row.number for row, _ in find_oddities(on, day)})
    if odd:
        why = "A date, a male or a count of theirs cannot be right."
        yield Due("rows whose notes do not fit together", odd, why, "soon", "flowering", "#odd", "notes")
    yield from _targets_due(on, day)
    unsettled = count_unsettled(station, season, {row.tag: row.state for row in rows}, on.today)
    if unsettled:
        why = "Noted as sown by phone or file; their seed is still only promised."
        yield Due("sown rows whose seed is not booked", unsettled, why, "soon", "nursery", page="sowing", roles=DESK)
    unshelled = sum(1 for row in rows if row.state.ears_picked and not row.state.kernels)
    if unshelled:
        why = "Their kernels are not counted yet."
        yield Due("rows picked and not shelled", unshelled, why, "soon", "seed", page="harvest")
    origins = LotOrigin.objects.filter(station=station, row__season=season, lot__movements__moved_on__lte=on.today)
    in_lots = set(origins.values_list("row__number", flat=True))
    loose = sum(1 for row in rows if row.state.kernels and row.number not in in_lots and row.purpose != "male")
    if loose:
        why = "Their kernels are counted; the lots are not made."
        yield Due("rows whose seed is in no lot", loose, why, "soon", "seed", page="harvest", roles=DESK)
    yield from _ahead_due(day)
    yield from _spring_due(on, station, season, day)


def _ahead_due(day: DayList) -> Iterator[Due]:
    """What the next days bring, so that people and bags are ready."""
    rows = day.rows.values()
    unsown = [row.sow_on for row in rows if row.sow_on and not row.state.sown_on and not row.state.misplanted]
    ahead = sorted(one for one in unsown if 0 < (one - day.today).days <= AHEAD_DAYS)
    if ahead:
        why = f"The first on {ahead[0].day} {ahead[0]:%B}."
        yield Due("rows to sow in the next days", len(ahead), why, "later", "nursery", page="sowing")
    unseen = [row.silk_expected for row in rows if row.silk_expected and not row.state.silk_on and row.wanted]
    silk = sorted(one for one in unseen if 0 < (one - day.today).days <= AHEAD_DAYS)
    if silk and (day.end_on is None or day.today <= day.end_on):
        why = f"The first about {silk[0].day} {silk[0]:%B}; have people, bags and tags ready."
        yield Due("rows expected to silk within a week", len(silk), why, "later", "flowering", "#look")


def _spring_due(on: Occasion, station: Station, season: Season, day: DayList) -> Iterator[Due]:
    """What must be ready before the first row is sown."""
    rows = day.rows.values()
    first = min((row.sow_on for row in rows if row.sow_on), default=None)
    if first is None or any(row.state.sown_on for row in rows) or (first - on.today).days > TAGS_AHEAD_DAYS:
        return
    why = f"Sowing starts on {first.day} {first:%B}."
    yield Due("row tags to print", len(day.rows), why, "later", "nursery", roles=DESK)
    held = promises_on(station, on.today).filter(row__season=season)
    untested = held.filter(lot__germination_frac__isnull=True).values("lot").distinct().count()
    if untested:
        why = "They are promised to rows of this season; 90 % was assumed."
        yield Due("lots without a germination test", untested, why, "soon", "seed", roles=DESK)


def _desk_due(station: Station, on: Occasion) -> Iterator[Due]:
    waiting = list_lot_notes(on)
    if waiting.lots:
        why = "Kernels noted as taken, weighed or thrown away; the books do not show it yet."
        yield Due(
            "lots whose notes are not booked", waiting.lots, why, "soon", "seed", "#notes", "seed-store", roles=DESK
        )
    failed = WeatherFeed.objects.filter(station=station, is_on=True, failed=True).count()
    if failed:
        why = "Days do not come in from there; what was said stands on the page."
        yield Due("places of weather that failed", failed, why, "soon", "climate", page="climate-feeds", roles=DESK)
    known = NoteAside.objects.filter(station=station, received_at__lt=end_of_day(station, on.today))
    aside = known.exclude(settled__settled_at__lt=end_of_day(station, on.today)).count()
    if aside:
        why = "They could not stand as notes; a person reads them."
        yield Due("notes laid aside", aside, why, "soon", "flowering", "", "settle")
    read = read_reading_age(on)
    if read is not None and (read.age_days is None or read.age_days > 1):
        why = f"The last reading is {read.age_days} days old." if read.age_days else "There is none yet."
        yield Due("days of weather to bring", max(1, (read.age_days or 0) - 1), why, "soon", "climate", roles=DESK)
    low = sum(1 for lot in read_stock(station, up_to=on.today) if lot.kernels < 0)
    if low:
        yield Due("lots below zero", low, "More was used than the books hold; count them.", "soon", "seed", roles=DESK)
    drafts = targets_on(station, on.today).filter(state="draft", season__year__gte=on.today.year)
    for name in sorted(set(drafts.values_list("season__name", flat=True))):
        count = drafts.filter(season__name=name).count()
        why = f"Season {name}: they have no rows and no seed promised."
        yield Due("targets not planned yet", count, why, "soon", "nursery", f"?season={name}", "nursery-plan", DESK)


def _trial_due(station: Station, on: Occasion) -> Iterator[Due]:
    trials = trials_on(station, on.today).filter(year=on.today.year).exclude(design="as_brought")
    told = PlotRecord.objects.filter(plot=OuterRef("pk"), recorded_at__lt=end_of_day(station, on.today))
    plots = Plot.objects.filter(trial__in=trials)
    open_plots = plots.exclude(Exists(told)).count() if on.today.month >= 9 else 0
    if open_plots:
        why = "Weights and moisture are not in."
        yield Due("trial plots without data", open_plots, why, "soon", "trials", roles=DESK)
    harvested = plots.filter(Exists(told)).exists()
    decided = Verdict.objects.filter(station=station, year=on.today.year, decided_on__lte=on.today).exists()
    if harvested and not decided and not open_plots:
        why = "Plot data are in and no verdict is written."
        yield Due("year of trials to decide on", 1, why, "soon", "choice", roles=DECIDERS)
    wanted = targets_on(station, on.today).filter(season__year=on.today.year + 1)
    if decided and not wanted.exists() and on.today > date(on.today.year, 10, 1):
        why = "Verdicts are written; the next plan is not made."
        yield Due("plan of next season", 1, why, "later", "choice", roles=DECIDERS)
