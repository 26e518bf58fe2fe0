"""The nursery at the desk: what it looks like, what is planned, what was sown."""

from __future__ import annotations

from datetime import date

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from firstsilk.answers import InputRefused, refuse
from firstsilk.faces.files.sowing_days import read_closed, read_weekdays
from firstsilk.faces.files.tables import csv_text, table_from_bytes
from firstsilk.faces.files.year import SOWN_COLUMNS, TARGET_COLUMNS, read_as_sown, read_wants
from firstsilk.faces.jobs import start_job
from firstsilk.faces.pages.forms import read_form_day, read_form_text, read_form_whole
from firstsilk.faces.pages.nursery.field_map import PURPOSES, draw_map, list_key
from firstsilk.faces.pages.nursery.meeting_picture import draw_meetings
from firstsilk.faces.pages.papers import give_pdf
from firstsilk.science.flowering.notes import KINDS
from firstsilk.work.accounts import DESK
from firstsilk.work.cautions import CAUTIONS_SHORT
from firstsilk.work.flowering.day import read_day_list
from firstsilk.work.nursery.field_map import read_field_map
from firstsilk.work.nursery.joint_sowing import tell_joint
from firstsilk.work.nursery.meetings import read_meetings
from firstsilk.work.nursery.plan import (
    NurseryPlan,
    PlanSettings,
    Want,
    add_targets,
    drop_target,
    list_targets,
    open_season,
    plan_nursery,
)
from firstsilk.work.nursery.plan_job import write_settings
from firstsilk.work.nursery.seasons import SeasonFacts, list_seasons, read_season_name
from firstsilk.work.nursery.sow import AsSown, Sown, record_sowing, settle_sowing, sow_as_planned
from firstsilk.work.nursery.sowing_calendar import read_sowing_calendar
from firstsilk.work.nursery.sowing_list import read_sowing
from firstsilk.work.occasion import Occasion
from firstsilk.work.seed.plan_seed import read_plan_seed
from firstsilk.work.seed.remnant import check_planned_increases

BLANK = {"targets": TARGET_COLUMNS, "as-sown": SOWN_COLUMNS}
SURES = ((0.8, "80 %"), (0.9, "90 %"), (0.95, "95 %"), (0.99, "99 %"))
WEEKS = (
    ("", "every day"),
    ("mon,tue,wed,thu,fri", "Monday to Friday"),
    ("mon,tue,wed,thu,fri,sat", "Monday to Saturday"),
)
KINDS_OF_TARGET = ("self", "cross", "testcross", "backcross", "sib")


def start_room(request: HttpRequest, on: Occasion, room: str) -> dict[str, object]:
    """What every page of the field rooms says: the room, the season asked for, and all seasons to choose from."""
    seasons = list_seasons(on)
    name = read_season_name(on, request.GET.get("season", ""))
    return {
        "room": room,
        "season": name,
        "seasons": seasons,
        "this": next((one for one in seasons if one.name == name), None),
        "on": on,
    }


def show_nursery(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The field map of a season, or what to do first where there is none."""
    told = start_room(request, on, "nursery")
    this = told["this"]
    if isinstance(this, SeasonFacts) and this.rows:
        field = read_field_map(on, this.name)
        told |= {"field": field, "map": draw_map(field), "key": list_key(field), "purposes": PURPOSES}
    return render(request, "nursery/nursery.html", told)


def start_season(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Open a season."""
    name = open_season(on, read_form_text(request, "name", wanted=True), sow_from=read_form_day(request, "sow_from"))
    messages.success(request, f"Season {name} is open. Write down what it is to make.")
    return _to("nursery-plan", name)


def _to(page: str, season: str) -> HttpResponse:
    return redirect(f"{reverse(page)}?season={season}")


def show_plan(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Targets and the plan they lead to; sent, it adds or drops targets, or fixes the plan."""
    told = start_room(request, on, "nursery")
    season = str(told["season"])
    if request.method == "POST":
        return _change_plan(request, on, season)
    targets = list_targets(on, season) if season else ()
    told |= {"cautions": CAUTIONS_SHORT}
    told |= {"targets": targets, "kinds": KINDS_OF_TARGET, "can_change": request.user.role in DESK}  # type: ignore[union-attr]
    if any(target.state == "draft" for target in targets):
        told |= _propose(request, on, season, told["this"])
        told |= _weigh_seed(on, season, told["settings"])  # type: ignore[arg-type]
    return render(request, "nursery/plan.html", told)


def _weigh_seed(on: Occasion, season: str, settings: PlanSettings) -> dict[str, object]:
    """Seed for all that the drafts want with these settings, or why it was not weighed."""
    try:
        return {"seed": read_plan_seed(on, season, settings.plants_per_row, settings.assurance)}
    except InputRefused as refused:
        return {"no_seed": str(refused)}


def _propose(request: HttpRequest, on: Occasion, season: str, this: object) -> dict[str, object]:
    """The plan that the draft targets lead to, or why there is none."""
    told: dict[str, object] = {"settings": PlanSettings(date(int(season[:4]), 5, 15)), "sures": SURES}
    told |= {"weeks": WEEKS, "closed": request.GET.get("closed", ""), "weekdays": request.GET.get("weekdays", "")}
    try:
        settings = _read_settings(request.GET, season, this)
        told["settings"] = settings
        plan = plan_nursery(on, season, settings, patience="refuse")
    except InputRefused as refused:
        large = refused.refusal is not None and refused.refusal.code == "plan_is_large"
        return {**told, "plan": None, "no_plan": str(refused), "is_large": large}
    days = sorted({row.sow_on for row in plan.rows})
    pollinations = sum(row.pollinations for row in plan.rows if row.purpose != "male")
    told |= {"told_joint": tell_joint(plan.joint) if plan.joint else ()}
    told["remnant"] = check_planned_increases(on, plan.rows).findings
    return {**told, "plan": plan, "days": days, "last_day": days[-1] if days else None, "pollinations": pollinations}


def _read_settings(given: object, season: str, this: object) -> PlanSettings:
    """Settings from the address or a form; what is absent or no number stays as it is by default."""
    sow_from = this.sow_from if isinstance(this, SeasonFacts) and this.sow_from else date(int(season[:4]), 5, 15)
    asked: dict[str, object] = {}
    numbers = (
        ("rows_per_range", int),
        ("plants_per_row", int),
        ("assurance", float),
        ("last_sowing_days", int),
        ("male_sowings", int),
        ("female_sowings", int),
        ("rows_per_day", int),
    )
    for name, kind in numbers:
        try:
            asked[name] = kind(given.get(name, ""))  # type: ignore[attr-defined]
        except ValueError:
            continue
    for name, read in (("closed", read_closed), ("weekdays", read_weekdays)):
        try:
            asked[name] = read(given.get(name, ""))  # type: ignore[attr-defined]
        except ValueError as fault:
            raise refuse(name, f"The plan cannot be worked out: {fault}.", "Correct it and send again.") from None
    for name in ("sow_from", "cutoff_on", "last_safe_on"):
        try:
            asked[name] = date.fromisoformat(given.get(name, ""))  # type: ignore[attr-defined]
        except ValueError:
            continue
    return PlanSettings(**{"sow_from": sow_from, **asked})  # type: ignore[arg-type]


def _change_plan(request: HttpRequest, on: Occasion, season: str) -> HttpResponse:
    if not season:
        raise refuse("no_season", "There is no season yet.", "Open one first.")
    if "drop" in request.POST:
        number = read_form_whole(request, "drop") or 0
        drop_target(on, season, number)
        messages.success(request, f"Target {number} is off the plan.")
    elif "fix" in request.POST:
        this = next((one for one in list_seasons(on) if one.name == season), None)
        made = plan_nursery(on, season, _read_settings(request.POST, season, this), fix=True)
        messages.success(request, _tell_fixed(made))
        return _to("nursery", season)
    elif "work_out" in request.POST:
        this = next((one for one in list_seasons(on) if one.name == season), None)
        settings = _read_settings(request.GET, season, this)
        asked = {"season": season, "settings": write_settings(settings), "query": request.GET.urlencode()}
        return redirect("job", start_job(on, "sowing_days", asked))
    elif "table" in request.FILES:
        file = request.FILES["table"]
        wants, places = read_wants(table_from_bytes(file.read(), file.name or "upload.csv"))
        add_targets(on, season, wants, places)
        messages.success(request, f"{len(wants)} targets from {file.name} are on the plan.")
    else:
        want = _read_want(request)
        add_targets(on, season, [want])
        by = f" by {want.male}" if want.male else ""
        messages.success(request, f"The {want.kind} of {want.female}{by} is on the plan.")
    return _to("nursery-plan", season)


def _tell_fixed(made: NurseryPlan) -> str:
    short = f" {len(made.short)} targets stay drafts for want of seed." if made.short else ""
    return f"{len(made.rows)} rows are made and {made.kernels:,} kernels promised to them.{short}"


def _read_want(request: HttpRequest) -> Want:
    return Want(
        kind=read_form_text(request, "kind", wanted=True),
        female=read_form_text(request, "female", wanted=True),
        male=read_form_text(request, "male"),
        ears=read_form_whole(request, "ears", 1) or 4,
        kernels=read_form_whole(request, "kernels", 1),
        priority=read_form_whole(request, "priority", 1, 3) or 2,
        reason=read_form_text(request, "reason"),
    )


def show_sowing(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Rows to sow, and what was not sown as planned; sent, it notes what was sown and settles the seed."""
    told = start_room(request, on, "nursery")
    season = str(told["season"])
    if request.method == "POST":
        done = _record_sowing(request, on, season)
        booked = f"{done.settled} rows booked, {done.kernels:,} kernels out of their lots"
        messages.success(request, f"{done.noted} notes written; {booked}.")
        for finding in done.findings:
            messages.warning(request, finding.as_text())
        return _to("sowing", done.season)
    told |= {"list": read_sowing(on, season) if season else None, "corrections": KINDS["misplanted"].details}
    return render(request, "nursery/sowing.html", told)


def show_sowing_dates(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Who meets in the nursery as planned and sown, with which chance, and who is at risk."""
    told = start_room(request, on, "nursery")
    this = told["this"]
    if isinstance(this, SeasonFacts) and this.rows:
        try:
            found = read_meetings(on, this.name)
        except InputRefused as refused:
            return render(request, "nursery/sowing_dates.html", {**told, "no_meetings": str(refused)})
        says = f"{len(found.meetings)} crosses, {len(found.at_risk)} at risk."
        told |= {"found": found, "picture": draw_meetings(found.meetings, says) if found.meetings else ""}
    return render(request, "nursery/sowing_dates.html", told)


def _record_sowing(request: HttpRequest, on: Occasion, season: str) -> Sown:
    if "as_planned" in request.POST:
        return sow_as_planned(on, season, on.today)
    if "settle" in request.POST:
        return settle_sowing(on, season)
    if "table" in request.FILES:
        file = request.FILES["table"]
        rows, places = read_as_sown(table_from_bytes(file.read(), file.name or "upload.csv"))
        return record_sowing(on, season, rows, "file", places)
    row = read_form_whole(request, "row", 1)
    if row is None:
        raise refuse("field_empty", "The field row is empty.", "Write the row's number and send again.")
    how = read_form_text(request, "misplanted")
    sown_on = None if how == "skipped" else read_form_day(request, "sown") or on.today
    return record_sowing(on, season, [AsSown(row, sown_on, how, read_form_text(request, "remark"))])


def give_blank_table(request: HttpRequest, on: Occasion, which: str) -> HttpResponse:
    """An empty table to fill in: targets, or rows as sown."""
    columns = BLANK.get(which)
    if columns is None:
        raise Http404(which)
    return HttpResponse(
        csv_text(columns, []),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{which}.csv"'},
    )


def print_tags(request: HttpRequest, on: Occasion) -> HttpResponse:
    """Row tags as PDF."""
    from firstsilk.faces.paper.tags import render_row_tags
    from firstsilk.faces.paper.year import make_row_tags

    day = read_day_list(on, request.GET.get("season", ""))
    return give_pdf(render_row_tags(make_row_tags(day)), f"row-tags-{day.season}.pdf")


def print_walk_book(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The walk book as PDF."""
    from firstsilk.faces.paper.walkbook import render_walk_book
    from firstsilk.faces.paper.year import make_walk_book

    day = read_day_list(on, request.GET.get("season", ""), by_forecast=True)
    return give_pdf(render_walk_book(make_walk_book(on, day)), f"walk-book-{day.season}.pdf")


def print_sowing_calendar(request: HttpRequest, on: Occasion) -> HttpResponse:
    """The sowing calendar as PDF."""
    from firstsilk.faces.paper.sowing_calendar import render_sowing_calendar

    calendar = read_sowing_calendar(on, request.GET.get("season", ""))
    return give_pdf(render_sowing_calendar(calendar, on.today), f"sowing-calendar-{calendar.season}.pdf")
