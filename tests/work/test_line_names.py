"""Does another name find its line wherever a name is asked for, and is a name never given to two?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from firstsilk.answers import InputRefused
from firstsilk.faces.files.station import read_station_files
from firstsilk.records.models import Line, LineName, Lot, Target
from firstsilk.work.bring.store import bring_station, check_against_books
from firstsilk.work.lineage.kin import read_kinship
from firstsilk.work.lineage.line import read_line
from firstsilk.work.lineage.lines import list_lines
from firstsilk.work.lineage.names import add_line_name, list_line_names
from firstsilk.work.lineage.newcomers import NewLine, add_line
from firstsilk.work.nursery.plan import Want, add_targets, open_season
from firstsilk.work.occasion import stay_silent
from firstsilk.work.seed.lots import receive_lot
from firstsilk.work.trials.lay_out import design_trial

pytestmark = pytest.mark.django_db


@pytest.fixture
def named(on):
    """The small station, in which E1 is also called Old North."""
    add_line_name(on, "E1", " Old  North ", "as the neighbours call it")
    return on


def test_another_name_when_added_is_listed_with_who_and_when(named):
    (told,) = list_line_names(named).names
    assert (told.name, told.line, told.remark) == ("Old North", "E1", "as the neighbours call it")
    assert (told.recorded_on, told.recorded_by) == (named.today, "tests")
    assert list_line_names(named, "Old North").names == (told,)
    assert list_line_names(named, "E2").names == ()


def test_another_name_when_added_twice_stands_once(named):
    add_line_name(named, "Old North", "Old North")
    assert LineName.objects.count() == 1


def test_another_name_when_looked_back_at_is_not_there_before_its_day(named):
    before = replace(named, today=date(2031, 9, 30))
    assert list_line_names(before).names == ()
    assert read_line(before, "E1").names == ()


def test_another_name_finds_the_line_on_its_page_in_the_list_and_in_kinship(named):
    told = read_line(named, "Old North")
    assert told.facts.name == "E1"
    assert [one.name for one in told.names] == ["Old North"]
    assert [one.name for one in list_lines(named, "old nor").lines] == ["E1"]
    assert read_kinship(named, ["Old North", "E2"]).names == ("E1", "E2")


def test_another_name_finds_the_line_in_a_plan_a_new_line_a_trial_and_a_lot(named):
    open_season(named, "2032")
    add_targets(named, "2032", [Want("cross", "E2", "Old North")])
    assert Target.objects.get().male.name == "E1"
    added = add_line(named, NewLine("E9", stands_for="family", method="cross", mother="Old North", father="E2"))
    assert (Line.objects.get(name="E9").mother.name, added.pedigree) == ("E1", "E1/E2")
    trial = design_trial(named, "T", "", "tarn", 2032, ["Old North"], ["E2"], 1, 7.6, 20, 1, stay_silent)
    assert {plot.entry for plot in trial.plots} == {"E1", "E2"}
    assert receive_lot(named, "north-new", "Old North", 100, "from a neighbour").stock.line == "E1"


def test_another_name_in_the_tables_of_a_station_is_read_as_the_line(named, small_station):
    called = {name: text.replace("\nE1,", "\nOld North,") for name, text in small_station.items()}
    called["lots.csv"] += "north-31,Old North,bulk,received,from a neighbour,2031,80,,,\n"
    tables = read_station_files({name: text.encode() for name, text in called.items()})
    assert not any(finding.stops for finding in check_against_books(named, tables))
    new = {one.table: one.new for one in bring_station(named, tables).counts}
    assert (new["lines"], new["lots"], new["rows"], new["plots"]) == (0, 1, 0, 0)
    assert Lot.objects.get(name="north-31").line.name == "E1"
    assert not Line.objects.filter(name="Old North").exists()


def test_names_of_one_line_are_no_two_lines(named):
    open_season(named, "2032")
    with pytest.raises(InputRefused, match="needs another line as male"):
        add_targets(named, "2032", [Want("cross", "E1", "Old North")])
    with pytest.raises(InputRefused, match="one line, E1"):
        read_kinship(named, ["Old North", "E1"])
    with pytest.raises(InputRefused) as no:
        design_trial(named, "T", "", "tarn", 2032, ["Old North", "E1"], [], 1, 7.6, 20, 1, stay_silent)
    assert {finding.code for finding in no.value.findings} == {"entry_twice"}


@pytest.mark.parametrize(
    ("line", "name", "code", "said"),
    [
        ("E2", "E1", "name_taken", "E1"),
        ("E2", "e1/e2", "name_taken", "E1/E2"),
        ("E1", "E1", "name_taken", "own name"),
        ("E2", "Old North", "name_taken", "another name of E1"),
        ("E2", "OLD NORTH", "name_taken", "another name of E1"),
        ("E2", "  ", "name_empty", "empty"),
        ("E2", "x" * 121, "name_unfit", "120 signs"),
        ("E2", "a\u202eb", "name_unfit", "do not print"),
        ("Nobody", "X", "line_unknown", "Nobody"),
    ],
)
def test_a_name_that_cannot_be_is_refused_and_names_whose_it_is(named, line, name, code, said):
    with pytest.raises(InputRefused, match=said) as no:
        add_line_name(named, line, name)
    assert no.value.refusal.code == code
    assert LineName.objects.count() == 1


def test_a_new_line_when_it_takes_another_lines_other_name_is_refused(named):
    with pytest.raises(InputRefused, match="another name of E1"):
        add_line(named, NewLine("old north", stands_for="family"))
