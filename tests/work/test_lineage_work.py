"""Is a line's history told whole, are kin reckoned right from the books, and is a bad new line kept out?"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.answers import InputRefused
from firstsilk.records.models import Estimate, Line, Lot, Movement, Result, Season, Station, Target, Verdict
from firstsilk.work.lineage.kin import read_kinship
from firstsilk.work.lineage.line import read_line
from firstsilk.work.lineage.lines import list_lines
from firstsilk.work.lineage.newcomers import NewLine, add_line

pytestmark = pytest.mark.django_db

NOW = datetime(2031, 10, 1, 9, 0, tzinfo=UTC)
CHILD = NewLine("E4", stands_for="family", method="cross", mother="E1", father="E2")


def names_of(found):
    return [one.name for one in found.lines]


def test_lines_when_listed_come_by_name_with_their_seed(on):
    found = list_lines(on)
    assert names_of(found) == ["E1", "E1/E2", "E2", "E3-1", "E3-1-4"]
    assert found.groups == ("North", "South")
    first = found.lines[0]
    assert (first.n_lots, first.how, found.n_found, found.n_pages) == (1, "inbred founder", 5, 1)
    assert first.free_kernels == sum(Movement.objects.filter(lot__line__name="E1").values_list("kernels", flat=True))
    assert found.basis.as_text() == "Rests on 5 lines. Nothing was missing."


@pytest.mark.parametrize(
    ("asked", "wanted"),
    [
        ({"text": "e3"}, ["E3-1", "E3-1-4"]),
        ({"group": "North"}, ["E1"]),
        ({"kind": "hybrid"}, ["E1/E2"]),
        ({"kind": "tester"}, ["E2"]),
        ({"kind": "check"}, ["E1/E2"]),
        ({"text": "nothing so called"}, []),
    ],
)
def test_lines_when_filtered_are_those_meant(on, asked, wanted):
    assert names_of(list_lines(on, **asked)) == wanted


def test_lines_when_many_come_in_pages_and_a_page_too_far_is_the_last(on):
    station = Station.objects.get()
    Line.objects.bulk_create(Line(station=station, name=f"X{number:03}") for number in range(60))
    second = list_lines(on, text="X0", page=2)
    assert (second.n_found, second.n_pages, len(second.lines)) == (60, 2, 10)
    assert list_lines(on, text="X0", page=99).page == 2


def test_lines_when_listed_ask_the_books_as_often_for_ten_as_for_one(on):
    station = Station.objects.get()
    Line.objects.bulk_create(Line(station=station, name=f"X{number:03}") for number in range(10))
    with CaptureQueriesContext(connection) as one:
        list_lines(on, text="X001")
    with CaptureQueriesContext(connection) as ten:
        list_lines(on, text="X0")
    assert len(ten) == len(one)


def test_a_line_when_read_shows_its_tree_female_first_and_its_inbreeding(on):
    told = read_line(on, "E3-1-4")
    assert (told.tree.name, told.tree.female.name, told.tree.male) == ("E3-1-4", "E3-1", None)
    cross = told.tree.female.female
    assert (cross.name, cross.female.name, cross.male.name) == ("E1/E2", "E1", "E2")
    # Selfed twice from a cross of two unrelated inbreds: 1 - 1/4.
    assert told.inbreeding == pytest.approx(0.75)
    assert told.made == "Selfed, from E3-1."


def test_a_lines_history_begins_with_the_first_cross_and_steps_down_to_the_line(on):
    first = [(one.what, one.year, one.text) for one in read_line(on, "E3-1-4").timeline][:3]
    assert first == [
        ("descent", None, "E1/E2: cross of E1 × E2."),
        ("descent", None, "E3-1: selfed, from E1/E2."),
        ("made", None, "Selfed, from E3-1."),
    ]
    lot = Lot.objects.get(name="E3-30")
    Lot.objects.create(
        station=lot.station, line=Line.objects.get(name="E3-1"), name="X", tag="00000001", year=2028, origin="received"
    )
    assert [one.year for one in read_line(on, "E3-1-4").timeline][:3] == [None, 2028, None]


def test_what_plans_asked_of_a_line_stands_in_its_history_from_the_day_it_was_asked(on):
    line, other, season = Line.objects.get(name="E1"), Line.objects.get(name="E2"), Season.objects.get()
    told = {"station": season.station, "season": season, "ears_wanted": 4, "number": 91, "kind": "cross"}
    Target.objects.create(female=other, male=line, reason="Early.", asked_on=date(2031, 3, 4), **told)
    wanted = [one for one in read_line(on, "E1").timeline if one.what == "wanted" and one.day == date(2031, 3, 4)]
    assert [one.text for one in wanted] == ["Wanted in 2031: 4 ears, cross with E2: Early."]
    before = replace(on, today=date(2031, 3, 3))
    assert not [one for one in read_line(before, "E1").timeline if one.day == date(2031, 3, 4)]


def test_a_lines_closest_kin_when_told_have_seed_and_stand_by_coancestry(on):
    kin = read_line(on, "E3-1-4").kin
    # E3-1 and the cross have no seed; each inbred founder gave half of the line: 1/2.
    assert [(one.name, one.coancestry) for one in kin] == [("E1", 0.5), ("E2", 0.5)]


def test_a_line_when_read_shows_rows_lots_trials_and_what_happened_in_order(on):
    told = read_line(on, "E1")
    (row,) = told.rows
    assert (row.sown_on, row.silk_on, row.shed_on) == (date(2031, 5, 12), date(2031, 7, 26), date(2031, 7, 24))
    assert (row.stand, row.ears_picked, row.kernels) == (21, 14, 2900)
    assert [lot.name for lot in told.lots] == ["E1-30"]
    (trial,) = told.trials
    assert (trial.entry, trial.partner, trial.n_plots, trial.n_used) == ("E1/E2", "E2", 2, 2)
    days = [one.day for one in told.timeline if one.day]
    assert days == sorted(days)
    assert [one.what for one in told.timeline][:3] == ["made", "lot", "trial"]
    texts = " ".join(one.text for one in told.timeline)
    assert "Row sown in 2031 (1)." in texts
    assert "14 ears picked in 2031, 2,900 kernels shelled." in texts
    assert "1 nursery row" in told.basis.as_text()


def test_a_check_when_tried_is_compared_with_the_checks_mean_and_an_entry_too(on):
    (own,) = read_line(on, "E1/E2").trials
    assert own.versus_checks_kg_ha == pytest.approx(0.0)
    (other,) = read_line(on, "E3-1-4").trials
    # Plots 102 and 201 against 101 and 202, reckoned by hand from weight, moisture and 7.6 m².
    dry = [3.4 * 78.0, 3.1 * 78.4]
    checks = [7.12 * 75.9, 6.9 * 75.0]
    wanted = (sum(dry) - sum(checks)) / 2 / 84.5 * 10_000 / 7.6
    assert other.versus_checks_kg_ha == pytest.approx(wanted, abs=0.01)


def test_estimates_and_verdicts_when_later_than_today_are_not_shown(on):
    station, line = Station.objects.get(), Line.objects.get(name="E1")
    for day, value in ((date(2031, 9, 1), 900.0), (date(2031, 9, 20), 950.0), (date(2031, 11, 1), 999.0)):
        made = {"kind": "trial_analysis", "made_on": day, "made_at": NOW, "version": "1", "inputs_hash": "0"}
        answer = {"versus_checks": {f"gca {line.pk}": [12.0, 5.0, 0.97]}}
        result = Result.objects.create(station=station, settings={"years": [2030]}, answer=answer, **made)
        told = {"trait": "yield_kg_ha_15_5", "kind": "gca", "value": value, "se": 30.0, "n_plots": 8, "n_sites": 2}
        Estimate.objects.create(station=station, result=result, line=line, **told)
        decided = {"reason": f"on {day}", "decided_on": day, "decided_at": NOW}
        Verdict.objects.create(station=station, line=line, year=2031, verdict="wait", **decided)
    told = read_line(on, "E1")
    (estimate,) = told.estimates
    assert (estimate.value, estimate.years, estimate.versus_checks) == (950.0, (2030,), 12.0)
    assert [one.value for one in told.earlier_estimates] == [900.0]
    assert estimate.better_probability == 0.97
    assert [one.reason for one in told.verdicts] == ["on 2031-09-01", "on 2031-09-20"]
    assert told.facts.verdict == "wait"
    assert [one.day for one in told.timeline if one.what == "verdict"] == [date(2031, 9, 1), date(2031, 9, 20)]


def test_a_line_when_read_asks_the_books_as_often_for_ten_lots_as_for_one(on):
    station, line = Station.objects.get(), Line.objects.get(name="E1")
    with CaptureQueriesContext(connection) as before:
        read_line(on, "E1")
    for number in range(10):
        tag = f"0000{number:04}"
        Lot.objects.create(station=station, line=line, name=f"L{number}", tag=tag, origin="received", year=2030)
    with CaptureQueriesContext(connection) as after:
        read_line(on, "E1")
    assert len(after) == len(before)


def test_a_written_pedigree_when_it_cannot_be_read_is_told_not_hidden(on):
    Line.objects.filter(name="E3-1").update(pedigree="A/B/C")
    told = read_line(on, "E3-1")
    assert told.shares == ()
    assert "A/B/C" in told.pedigree_problem
    assert "A/B/C" in told.basis.as_text()


def test_a_pedigree_in_the_books_when_kinship_cannot_go_through_it_leaves_the_page_whole(on):
    Line.objects.filter(name="E1").update(method="founder")
    Line.objects.filter(name="E3-1").update(method="sib", mother=Line.objects.get(name="E1"), father=None)
    told = read_line(on, "E3-1-4")
    assert told.inbreeding is None
    assert told.kin == ()
    assert "kinship cannot be reckoned" in told.basis.as_text()


def test_an_unknown_line_when_asked_for_is_refused_with_names_alike(on):
    with pytest.raises(InputRefused, match=r"E3-1-4"):
        read_line(on, "E3-1-7")


def test_kinship_of_chosen_lines_is_what_their_pedigrees_give(on):
    table = read_kinship(on, ["E1", "E2", "E3-1-4", " E1 "])
    assert table.names == ("E1", "E2", "E3-1-4")
    assert table.inbreeding == pytest.approx((1.0, 1.0, 0.75))
    assert table.coancestry[0] == pytest.approx((1.0, 0.0, 0.5))
    assert table.coancestry[2] == pytest.approx((0.5, 0.5, 0.875))
    assert "2 founders are taken as unrelated" in table.basis.missing


@pytest.mark.parametrize("names", [["E1"], [], ["E1", "Nobody"], [f"N{number}" for number in range(41)]])
def test_kinship_of_one_or_too_many_or_unknown_lines_is_refused(on, names):
    with pytest.raises(InputRefused):
        read_kinship(on, names)


def test_a_new_cross_when_added_gets_its_pedigree_from_its_parents(on):
    added = add_line(on, CHILD)
    line = Line.objects.get(name="E4")
    assert (line.mother.name, line.father.name, line.pedigree) == ("E1", "E2", "E1/E2")
    assert added.findings == ()
    assert read_line(on, "E4").shares == (("E1", 0.5), ("E2", 0.5))


def test_a_new_self_when_added_keeps_its_mothers_pedigree(on):
    add_line(on, CHILD)
    add_line(on, NewLine("E4-2", stands_for="family", method="self", mother="E4", selfings=3))
    line = Line.objects.get(name="E4-2")
    assert (line.pedigree, line.selfings) == ("E1/E2", 3)
    assert read_line(on, "E4-2").inbreeding == pytest.approx(0.875)


@pytest.mark.parametrize(
    ("change", "codes"),
    [
        ({"name": ""}, {"line_nameless"}),
        ({"name": "e1"}, {"name_taken"}),
        ({"stands_for": ""}, {"stands_for_missing"}),
        ({"mother": "E9"}, {"parent_has_no_row"}),
        ({"method": "magic"}, {"method_unknown"}),
        ({"method": "founder"}, {"founder_with_parent"}),
        ({"method": "self"}, {"father_not_wanted"}),
        ({"pedigree": "E1/E2/E3"}, {"pedigree_unreadable"}),
        ({"kind": "hybrid", "method": "bulk"}, {"hybrid_not_crossed"}),
        ({"units_to_silk": -4.0, "stands_for": "herd"}, {"units_odd", "stands_for_missing"}),
    ],
)
def test_a_new_line_when_it_cannot_be_is_refused_and_not_stored(on, change, codes):
    with pytest.raises(InputRefused) as no:
        add_line(on, replace(CHILD, **change))
    assert {finding.code for finding in no.value.findings} == codes
    assert Line.objects.count() == 5


def test_a_new_line_when_its_pedigree_names_strangers_is_stored_with_a_warning(on):
    added = add_line(on, replace(CHILD, pedigree="E1*2/Z9"))
    assert [finding.code for finding in added.findings] == ["pedigree_strangers"]
    assert Line.objects.get(name="E4").pedigree == "E1*2/Z9"
