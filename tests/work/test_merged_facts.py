"""Do the facts of two records that are one line count for the line kept, wherever something is counted by line?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from firstsilk.records.models import Line, Station
from firstsilk.science.seed.line_rates import LineCounts
from firstsilk.work.analysis.combining import read_combining_ability
from firstsilk.work.analysis.plots import read_plot_values
from firstsilk.work.lineage.merges import merge_lines, undo_merge
from firstsilk.work.nursery.rates import read_line_rates
from firstsilk.work.nursery.units import read_units
from firstsilk.work.seed.success import read_success
from firstsilk.work.standing import read_kept_names, read_standing
from tests.factories import make_line, make_row, make_season, make_station, occasion, take_note
from tests.trial_cast import make_grown_cast

pytestmark = pytest.mark.django_db
NOW = replace(occasion(date(2031, 10, 20)), who="command")
LATER = replace(occasion(date(2031, 10, 25)), who="command")
SOONER = replace(occasion(date(2031, 10, 10)), who="command")


@pytest.fixture
def station():
    """E1 and its other record F1, each with a row that was picked and shelled; E2 made from F1."""
    station = make_station()
    season = make_season(station)
    lines = [make_line(station, "E1", silk=None, shed=None), make_line(station, "F1", silk=1250, shed=1230)]
    make_line(station, "E2", silk=None, shed=None, method="self", mother=lines[1], selfings=1, generation="S1")
    make_line(station, "E3", silk=1350, shed=1330)
    for number, line in enumerate(lines, 1):
        row = make_row(season, number, line, sow_on=season.sow_from)
        take_note(SOONER, row, "pollinated", 10 * number, date(2031, 7, 25), detail="self")
        take_note(SOONER, row, "ears_picked", 8 * number, date(2031, 10, 1))
        take_note(SOONER, row, "shelled", 900 * number, date(2031, 10, 1))
    return station


def count(on, line=""):
    return {one.counts.line: one.counts for one in read_success(on, line).lines}


def test_success_when_two_records_are_one_line_then_both_count_for_the_line_kept(station):
    apart = {"E1": LineCounts("E1", 10, 8, 8, 900), "F1": LineCounts("F1", 20, 16, 16, 1800)}
    assert count(NOW) == apart
    merge_lines(NOW, "E1", "F1", "the same ear")
    together = {"E1": LineCounts("E1", 30, 24, 24, 2700)}
    assert count(NOW) == together
    assert count(NOW, "F1") == together
    assert count(SOONER) == apart
    undo_merge(LATER, "F1")
    assert count(LATER) == apart
    assert count(NOW) == together


def test_rates_of_the_plan_when_merged_then_the_same_whichever_record_is_named(station):
    merge_lines(NOW, "E1", "F1", "the same ear")
    rates = read_line_rates(station, ["E1", "F1"], NOW.today)
    assert rates["E1"].own_pollinations == rates["F1"].own_pollinations == 30
    assert rates["E1"].ear_rates == rates["F1"].ear_rates
    assert (rates["F1"].line, rates["F1"].units_to_silk, rates["F1"].units_source) == ("F1", 1250, "own")


def test_units_when_the_line_kept_has_none_then_those_of_the_other_record(station):
    lines = list(Line.objects.order_by("name"))
    before = read_units(station, lines, NOW.today)
    assert (before["E1"].source, before["E1"].silk) == ("programme", 1300)
    merge_lines(NOW, "E1", "F1", "the same ear")
    after = read_units(station, lines, NOW.today)
    assert [(after[name].silk, after[name].source) for name in ("E1", "F1", "E2")] == [
        (1250, "own"),
        (1250, "own"),
        (1250, "parents"),
    ]
    assert read_units(station, lines, SOONER.today) == before
    assert Line.objects.get(name="E1").units_to_silk is None


def test_units_when_both_records_have_some_then_those_of_the_line_kept_and_counted_once(station):
    merge_lines(NOW, "F1", "E3", "the same ear")
    units = read_units(station, Line.objects.all(), NOW.today)
    assert {units[name].silk for name in ("F1", "E3", "E1")} == {1250}
    assert units["E1"].source == "programme"


def test_records_merged_away_when_asked_then_the_line_that_stands_for_them_in_one_place(station):
    merge_lines(NOW, "E1", "F1", "the same ear")
    assert read_kept_names(station, NOW.today) == {"F1": "E1"}
    assert {pk: line.name for pk, line in read_standing(station, NOW.today).items()} == {
        Line.objects.get(name="F1").pk: "E1"
    }
    assert read_kept_names(station, SOONER.today) == {}


def test_plots_when_their_entry_was_merged_away_then_count_for_the_line_kept(on):
    on = replace(on, who="command")
    station = Station.objects.get()
    make_line(station, "E9", generation="S2")
    before = read_plot_values(station, [], "yield_kg_ha_15_5", on.today)
    assert {one.entry for one in before.plots} == {"E1/E2", "E3-1-4"}
    merge_lines(on, "E9", "E3-1-4", "the same ear")
    after = read_plot_values(station, [], "yield_kg_ha_15_5", on.today)
    assert {one.entry for one in after.plots} == {"E1/E2", "E9"}
    assert [one.value for one in after.plots] == [one.value for one in before.plots]
    assert {one.line for one in after.plots if one.entry == "E9"} == {Line.objects.get(name="E9").pk}
    assert after.hash() != before.hash()
    undo_merge(on, "E3-1-4")
    assert read_plot_values(station, [], "yield_kg_ha_15_5", on.today) == before


def test_testcrosses_when_two_lines_are_one_then_both_tell_of_the_line_kept():
    cast = make_grown_cast(6)
    on = replace(cast.on, who="command")
    before = {one.line: one.n_plots for one in read_combining_ability(on).lines}
    kept, gone = sorted(name for name in before if name.startswith("N"))[:2]
    merge_lines(on, kept, gone, "the same ear")
    after = {one.line: one.n_plots for one in read_combining_ability(on).lines}
    assert after.pop(kept) == before.pop(kept) + before.pop(gone)
    assert after == before
