"""One breeding year by the work functions: from wishes to lots whose every kernel has a known mother and father."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from firstsilk.records.models import Line, Row
from firstsilk.work.flowering.chain import verify_chain
from firstsilk.work.flowering.day import read_day_list
from firstsilk.work.flowering.desk_notes import write_row_note
from firstsilk.work.flowering.notes import list_notes, take_back
from firstsilk.work.home import list_due
from firstsilk.work.nursery.field_map import read_field_map
from firstsilk.work.nursery.plan import PlanSettings, Want, add_targets, list_targets, open_season, plan_nursery
from firstsilk.work.nursery.sow import AsSown, record_sowing, sow_as_planned
from firstsilk.work.seed.harvest import Picked, make_lots, record_harvest
from firstsilk.work.seed.lots import list_lots, read_lot
from firstsilk.work.seed.stock import read_stock
from tests.factories import make_line, make_lot, make_station, make_weather, occasion

pytestmark = pytest.mark.django_db

SEASON = "2031"
SOW_FROM = date(2031, 5, 12)


@pytest.fixture
def station():
    """Two inbreds and a tester with seed, an F1 to be selfed, and weather to the end of the year."""
    made = make_station()
    make_weather(made, 2021, date(2031, 12, 31))
    early, late = make_line(made, "Early", 1180, 1160), make_line(made, "Late", 1260, 1240)
    make_lot(early)
    make_lot(late)
    make_lot(make_line(made, "Tester", 1230, 1210, is_tester=True))
    cross = {"method": "cross", "mother": early, "father": late, "generation": "F1", "pedigree": "Early/Late"}
    make_lot(make_line(made, "Early/Late", 1170, 1150, **cross))
    return made


def work_the_field(day):
    """Do what the day list asks, as a crew without a fault would."""
    on = occasion(day)
    listed = read_day_list(on, SEASON)
    for task in listed.tasks:
        row = listed.rows[task.number]
        if task.do == "look":
            for kind, expected in (("silk", row.silk_expected), ("shed", row.shed_expected)):
                seen = row.state.silk_on if kind == "silk" else row.state.shed_on
                if seen is None and expected is not None and not (kind == "silk" and row.purpose == "male"):
                    write_row_note(on, SEASON, kind if expected <= day else f"{kind}_not_yet", str(task.number))
        elif task.do == "pollinate":
            male = str(task.males[0]) if row.purpose == "female" else ""
            write_row_note(on, SEASON, "pollinated", str(task.number), str(task.count), detail=row.kind, male=male)
        elif task.do in ("shoot_bag", "tassel_bag"):
            write_row_note(on, SEASON, f"{task.do}ged", str(task.number), str(task.count))


def test_a_year_from_wishes_to_lots_keeps_every_kernel_and_its_parents(station):
    plan_in_spring(station)
    sow_in_may(station)
    flower_in_july()
    harvest_in_autumn(station)


def plan_in_spring(station):
    on = occasion(date(2031, 4, 10))
    open_season(on, SEASON, sow_from=SOW_FROM)
    wants = [
        Want("self", "Early/Late", ears=4, reason="F2 to select in"),
        Want("cross", "Early", "Late", ears=3),
        Want("testcross", "Late", "Tester", ears=3, priority=1),
    ]
    add_targets(on, SEASON, wants)
    planned = plan_nursery(on, SEASON, PlanSettings(SOW_FROM, rows_per_range=5), fix=True)
    assert planned.short == ()
    assert {target.state for target in list_targets(on, SEASON)} == {"planned"}
    assert sum(lot.reserved for lot in read_stock(station)) == planned.kernels
    assert {cell.state for cell in read_field_map(on, SEASON).cells} == {"planned"}


def sow_in_may(station):
    on = occasion(SOW_FROM)
    first = Row.objects.filter(purpose="self").first()
    record_sowing(on, SEASON, [AsSown(first.number, SOW_FROM, "short", "20")])
    for step in range(26):
        sow_as_planned(occasion(SOW_FROM + timedelta(days=step)), SEASON, SOW_FROM + timedelta(days=step))
    sown = {row.lot.name: 0 for row in Row.objects.select_related("lot")}
    for row in Row.objects.select_related("lot"):
        sown[row.lot.name] += 20 if row.pk == first.pk else row.kernels
    stock = {lot.name: lot for lot in read_stock(station)}
    assert all(stock[name].kernels == 500 - kernels for name, kernels in sown.items())
    assert all(lot.reserved == 0 for lot in stock.values())


def flower_in_july():
    day = date(2031, 7, 1)
    while day <= date(2031, 8, 5):
        work_the_field(day)
        if day == date(2031, 7, 25):
            write_a_wrong_note_and_take_it_back(day)
        day += timedelta(days=1)
    listed = read_day_list(occasion(day), SEASON)
    assert {one.standing for one in listed.progress} == {"enough"}
    assert verify_chain(occasion(day)).ok


def write_a_wrong_note_and_take_it_back(day):
    female = Row.objects.filter(purpose="female").first()
    write_row_note(occasion(day), SEASON, "pollinated", str(female.number), "3", detail="self")
    take_back(occasion(day), list_notes(occasion(day), limit=1)[0].note.id, "wrong row")


def harvest_in_autumn(station):
    on = occasion(date(2031, 10, 5))
    listed = read_day_list(on, SEASON)
    to_pick = [task for task in listed.tasks if task.do == "pick"]
    assert {task.number for task in to_pick} == {row.number for row in listed.rows.values() if row.wanted}
    record_harvest(on, SEASON, [Picked(task.number, task.count, 100 * task.count) for task in to_pick])
    before = sum(lot.kernels for lot in read_stock(station))
    made = make_lots(on, SEASON)
    assert made.findings == ()
    assert len(made.lots) == len(to_pick)
    harvested = sum(100 * task.count for task in to_pick)
    assert sum(lot.kernels for lot in read_stock(station)) == before + harvested
    for new in made.lots:
        check_parents(on, new.tag, listed.rows[new.row])
    assert list_lots(on, "2031-").kernels == harvested
    assert list_due(on).season_line.endswith("picked.")
    assert not make_lots(on, SEASON).lots


def check_parents(on, tag, row):
    page = read_lot(on, tag)
    line = Line.objects.select_related("mother", "father").get(name=page.stock.line)
    (origin,) = page.origins
    assert (origin.mother, origin.row) == (row.line, row.number)
    assert line.mother.name == row.line
    if row.kind == "self":
        assert (line.method, line.generation, line.father, origin.father) == ("self", "F2", None, "")
    else:
        male = next(one for one in read_day_list(on, SEASON).rows.values() if one.number == origin.male_row)
        assert (line.father.name, origin.father, male.line) == (row.male, row.male, row.male)
        assert line.kind == ("hybrid" if row.kind == "testcross" else "line")
