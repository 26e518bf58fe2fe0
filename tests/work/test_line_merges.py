"""Are two records that are one line read as one, with both histories, and is a merge that cannot be kept out?"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.answers import InputRefused
from firstsilk.records.models import (
    Estimate,
    Line,
    LineMerge,
    Lot,
    Movement,
    Reservation,
    Result,
    Station,
    Target,
    Verdict,
)
from firstsilk.work.choice.next_season import plan_next_season
from firstsilk.work.lineage.ancestry import find_line_coancestry, read_books
from firstsilk.work.lineage.kin import read_kinship
from firstsilk.work.lineage.line import read_line
from firstsilk.work.lineage.lines import list_lines
from firstsilk.work.lineage.merges import compare_records, list_merges, merge_lines, undo_merge
from firstsilk.work.lineage.names import add_line_name
from firstsilk.work.lineage.newcomers import NewLine, add_line
from firstsilk.work.nursery.plan import Want, add_targets, open_season
from firstsilk.work.occasion import stay_silent
from firstsilk.work.seed.lots import receive_lot
from firstsilk.work.seed.stock import read_lot_stock, read_stock
from firstsilk.work.trials.lay_out import design_trial
from firstsilk.work.trials.sowable import list_sowable
from firstsilk.work.trials.testcrosses import propose_testcrosses

pytestmark = pytest.mark.django_db

NOW = datetime(2031, 10, 1, 9, 0, tzinfo=UTC)
TWIN = NewLine("F1", stands_for="family", method="founder_inbred", generation="S7", group="North")


@pytest.fixture
def on(on):
    """The small station from its shell, where whoever sits there may merge."""
    return replace(on, who="command")


@pytest.fixture
def twins(on):
    """The small station with F1, another record of E1: a lot, a verdict, an estimate, and E4 = F1 x E2 made from it."""
    add_line(on, TWIN)
    add_line(on, NewLine("E4", stands_for="family", method="cross", mother="F1", father="E2"))
    receive_lot(on, "F1-lot", "F1", 300, "from the neighbours")
    station, line = Station.objects.get(), Line.objects.get(name="F1")
    decided = {"reason": "early", "decided_on": date(2031, 9, 20), "decided_at": NOW}
    Verdict.objects.create(station=station, line=line, year=2031, verdict="go_on", **decided)
    made = {"made_on": date(2031, 9, 1), "made_at": NOW, "version": "1", "inputs_hash": "0", "settings": {}}
    result = Result.objects.create(station=station, kind="trial_analysis", answer={}, **made)
    told = {"trait": "yield_kg_ha_15_5", "kind": "gca", "value": 900.0, "n_plots": 8, "n_sites": 2}
    Estimate.objects.create(station=station, result=result, line=line, **told)
    return on


@pytest.fixture
def merged(twins):
    merge_lines(twins, "E1", "F1", "the same ear, two books")
    return twins


def test_a_merge_when_made_is_listed_and_nothing_of_the_records_is_rewritten(twins):
    before = [list(model.objects.order_by("pk").values()) for model in (Line, Lot, Movement, Verdict, Estimate)]
    done = merge_lines(twins, "E1", "F1")
    assert (done.merge.kept, done.merge.gone, done.merge.merged_on, done.differences) == ("E1", "F1", twins.today, ())
    assert list_merges(twins).merges == (done.merge,)
    read_line(twins, "E1")
    assert [list(model.objects.order_by("pk").values()) for model in (Line, Lot, Movement, Verdict, Estimate)] == before


def test_the_page_of_the_line_kept_tells_both_histories_each_with_its_record(merged):
    told = read_line(merged, "E1")
    assert [(lot.name, lot.record) for lot in told.lots] == [("E1-30", ""), ("F1-lot", "F1")]
    assert [(one.verdict, one.record) for one in told.verdicts] == [("go_on", "F1")]
    assert [(one.entry, one.value, one.record) for one in told.estimates] == [("F1", 900.0, "F1")]
    assert [row.record for row in told.rows] == [""]
    assert {one.name for one in told.made_from_it} == {"E1/E2", "E4"}
    assert told.facts.free_kernels == sum(lot.free for lot in told.lots)
    assert {(one.what, one.record) for one in told.timeline} >= {("lot", ""), ("lot", "F1"), ("verdict", "F1")}
    assert "F1 was merged into E1: the same ear, two books." in [one.text for one in told.timeline]
    assert [(one.gone, one.reason) for one in told.merged] == [("F1", "the same ear, two books")]


def test_rows_and_trials_of_the_record_merged_away_stand_on_the_page_too(on):
    merge_lines(on, "E2", "E1", "found by markers")
    told = read_line(on, "E2")
    assert [(row.number, row.record) for row in told.rows] == [(1, "E1"), (2, "")]
    assert ("sown", "E1") in {(one.what, one.record) for one in told.timeline}


def test_the_record_merged_away_keeps_its_own_page_and_says_whose_it_is(merged):
    told = read_line(merged, "F1")
    assert (told.facts.name, told.facts.merged_into) == ("F1", "E1")
    assert [lot.name for lot in told.lots] == ["F1-lot"]
    assert told.facts.free_kernels == 300


def test_kinship_takes_the_record_merged_away_as_the_line_kept(merged):
    # E1/E2 and E4 are now full sibs of two unrelated inbreds: the same F1 twice over, (1 + 0) / 2.
    table = read_kinship(merged, ["E1/E2", "E4"])
    assert table.coancestry[0][1] == pytest.approx(0.5)
    assert read_kinship(merged, ["F1", "E2"]).names == ("E1", "E2")
    with pytest.raises(InputRefused, match="one line, E1"):
        read_kinship(merged, ["E1", "F1"])
    assert read_line(merged, "E4").tree.female.name == "E1"
    books = read_books(Station.objects.get(), merged.today)
    lines = [Line.objects.get(name=name) for name in ("F1", "E1", "E4")]
    found = find_line_coancestry(lines, books)
    assert (found["F1", "E1"], found["F1", "E4"]) == pytest.approx((1.0, 0.5))


def test_its_seed_counts_for_the_line_kept_in_lists_and_kin(merged):
    lines = {one.name: one for one in list_lines(merged).lines}
    assert (lines["E1"].n_lots, lines["F1"].n_lots, lines["F1"].merged_into) == (2, 0, "E1")
    kin = {one.name: one.free_kernels for one in read_line(merged, "E4").kin}
    assert kin["E1"] == lines["E1"].free_kernels
    assert "F1" not in kin


def test_nothing_new_is_asked_of_the_record_merged_away_and_the_line_kept_is_named(merged):
    open_season(merged, "2032")
    for want in (Want("self", "F1"), Want("cross", "E2", "F1")):
        with pytest.raises(InputRefused, match="one line with E1"):
            add_targets(merged, "2032", [want])
    with pytest.raises(InputRefused, match="Name E1"):
        add_line(merged, NewLine("E8", stands_for="family", method="self", mother="F1"))
    with pytest.raises(InputRefused, match="one line with E1"):
        design_trial(merged, "T", "", "tarn", 2032, ["F1", "E2"], [], 1, 7.6, 20, 1, stay_silent)
    assert not Target.objects.exists()


def test_a_trial_takes_seed_of_both_records_for_the_line_kept(merged):
    station, own = Station.objects.get(), Lot.objects.get(name="E1-30")
    left = read_lot_stock(own).kernels
    gone = {"reason": "discarded", "moved_on": merged.today, "recorded_at": NOW}
    Movement.objects.create(station=station, lot=own, kernels=-left, **gone)
    design_trial(merged, "T", "", "tarn", 2032, ["E1"], ["E2"], 2, 7.6, 20, 1, stay_silent)
    promised = Reservation.objects.filter(trial__name="T").values_list("lot__name", "kernels")
    assert ("F1-lot", 40) in set(promised) or ("F1-lot", 20) in set(promised)
    assert "E1-30" not in dict(promised)
    assert {(lot.name, lot.line) for lot in read_stock(station, ["E1"])} == {("E1-30", "E1"), ("F1-lot", "E1")}


def test_the_next_season_and_testcrosses_pass_over_the_record_merged_away(merged):
    assert "F1" not in {one.line for one in propose_testcrosses(merged, 2031).testcrosses}
    wants = plan_next_season(merged, 2031).targets
    assert "F1" not in {one.female for one in wants} | {one.male for one in wants}
    assert "F1" not in {one.line for one in list_sowable(merged).entries}


def test_a_merge_when_looked_back_at_stands_from_its_day_to_the_day_it_is_undone(merged):
    later = replace(merged, today=date(2031, 11, 5))
    undo_merge(later, "F1")
    for day, kept in ((date(2031, 9, 30), ""), (merged.today, "E1"), (date(2031, 11, 4), "E1"), (later.today, "")):
        assert read_line(replace(merged, today=day), "F1").facts.merged_into == kept
    (then,) = list_merges(merged).merges
    (now,) = list_merges(later).merges
    assert (then.undone_on, now.undone_on, now.undone_by) == (None, later.today, "command")


def test_a_merge_of_a_merge_leads_to_the_last_line_kept(merged):
    add_line(merged, replace(TWIN, name="G1"))
    merge_lines(merged, "G1", "E1")
    assert [lot.name for lot in read_line(merged, "G1").lots] == ["E1-30", "F1-lot"]
    with pytest.raises(InputRefused, match="Name G1"):
        merge_lines(merged, "E2", "F1", "so it is")


def test_records_that_contradict_each_other_need_a_reason_and_the_facts_are_told(on):
    add_line(on, NewLine("K", kind="hybrid", stands_for="bulk"))
    with pytest.raises(InputRefused, match=r"kind \(line, hybrid\), .*how it was made \(inbred founder, founder\)"):
        merge_lines(on, "E1", "K", " ")
    add_line(on, NewLine("H", kind="hybrid", stands_for="bulk", method="cross", mother="E2", father="E1"))
    with pytest.raises(InputRefused, match=r"mother \(E1, E2\), father \(E2, E1\)") as no:
        merge_lines(on, "E1/E2", "H")
    assert no.value.refusal.code == "reason_missing"
    assert not LineMerge.objects.exists()
    done = merge_lines(on, "E1/E2", "H", "the tags had been swapped")
    assert [one.what for one in done.differences] == ["mother", "father"]


def test_records_from_different_plants_contradict_each_other_and_one_that_does_not_say_does_not(on):
    family = NewLine(
        "E1-3",
        stands_for="family",
        method="self",
        mother="E1",
        derived_from="E1",
        derived_plant="3",
        derived_generation="S0",
    )
    add_line(on, family)
    add_line(on, replace(family, name="E1-4", derived_plant="4", derived_generation="S1"))
    add_line(on, replace(family, name="E1x", derived_from="", derived_plant="", derived_generation=""))
    told = [one.as_text() for one in compare_records(on, "E1-3", "E1-4").differences]
    assert told == ["the plant it comes from (plant 3 of E1, plant 4 of E1)", "the generation of that plant (S0, S1)"]
    assert compare_records(on, "E1-3", "E1x").differences == ()


@pytest.mark.parametrize(
    ("kept", "gone", "code", "said"),
    [
        ("E1", "E1", "merge_of_one", "one record"),
        ("E1", "Nobody", "line_unknown", "Nobody"),
        ("E1", "E3-1-4", "merge_makes_loop", "E3-1-4 from E3-1 from E1/E2 from E1"),
        ("E3-1-4", "E1", "merge_makes_loop", "E3-1-4 from E3-1 from E1/E2 from E1"),
    ],
)
def test_a_merge_that_cannot_be_is_refused(on, kept, gone, code, said):
    with pytest.raises(InputRefused, match=said) as no:
        merge_lines(on, kept, gone, "a reason")
    assert no.value.refusal.code == code
    assert not LineMerge.objects.exists()


def test_a_loop_by_way_of_an_earlier_merge_is_refused(merged):
    # E4 comes from F1, which is E1 now.
    with pytest.raises(InputRefused, match="E4 from E1"):
        merge_lines(merged, "E1", "E4", "a reason")


def test_two_parents_of_one_cross_are_merged_only_if_they_are_fixed(on):
    add_line(on, NewLine("P1", stands_for="family"))
    add_line(on, NewLine("P2", stands_for="family"))
    add_line(on, NewLine("P3", stands_for="family", method="cross", mother="P1", father="P2"))
    with pytest.raises(InputRefused, match="P3 is a cross of P1 with P2"):
        merge_lines(on, "P1", "P2")
    merge_lines(on, "E1", "E2", "found by markers")
    assert read_line(on, "E1/E2").inbreeding == pytest.approx(1.0)


def test_the_same_merge_twice_is_refused_and_one_that_is_not_there_cannot_be_undone(merged):
    with pytest.raises(InputRefused, match="merged into E1 already"):
        merge_lines(merged, "E1", "F1")
    with pytest.raises(InputRefused, match="not merged"):
        undo_merge(merged, "E2")
    with pytest.raises(InputRefused, match="after 2031-09-01"):
        undo_merge(replace(merged, today=date(2031, 9, 1)), "F1")


def test_another_name_written_for_the_record_merged_away_still_finds_it(twins):
    add_line_name(twins, "F1", "The Stranger")
    merge_lines(twins, "E1", "The Stranger")
    open_season(twins, "2032")
    with pytest.raises(InputRefused, match="Name E1"):
        add_targets(twins, "2032", [Want("self", "The Stranger")])


def test_two_records_side_by_side_say_what_differs_and_why_not(on):
    sides = compare_records(on, "E1", "E2")
    assert (sides.kept.name, sides.gone.name, sides.no) == ("E1", "E2", None)
    assert [one.as_text() for one in sides.differences] == ["group (North, South)"]
    assert compare_records(on, "E1", "E3-1").no.code == "merge_makes_loop"
    assert not LineMerge.objects.exists()


def test_a_page_asks_the_books_as_often_for_ten_merged_records_as_for_one(merged):
    with CaptureQueriesContext(connection) as one:
        read_line(merged, "E1")
    for number in range(9):
        add_line(merged, replace(TWIN, name=f"T{number}"))
        receive_lot(merged, f"T{number}-lot", f"T{number}", 10, "from the neighbours")
        merge_lines(merged, "E1", f"T{number}")
    with CaptureQueriesContext(connection) as ten:
        told = read_line(merged, "E1")
    assert len(told.merged) == 10
    assert len(ten) == len(one)


def test_whoever_is_no_breeder_may_not_merge_nor_undo(merged):
    for change in (lambda on: merge_lines(on, "E1", "E2", "so it is"), lambda on: undo_merge(on, "F1")):
        with pytest.raises(InputRefused, match="A breeder merges them"):
            change(replace(merged, who="a-technician"))
