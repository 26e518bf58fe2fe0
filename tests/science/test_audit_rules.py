"""Does each rule of the audit find what breaks it, and leave in peace what does not?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from firstsilk.science.flowering.bagging_rules import check_pollinations
from firstsilk.science.flowering.rows import RowState, read_row_states
from firstsilk.science.lineage.derivation import Derivation
from firstsilk.science.lineage.line_rules import LineFacts, check_lines, count_selfings
from firstsilk.science.nursery.row_rules import PlannedRow, check_planned_row
from firstsilk.science.seed.lot_rules import LotFacts, OriginFacts, check_lot, check_lots
from firstsilk.science.trials.plot_rules import PlotFacts, TrialFacts, check_trial_records
from tests.science.test_note_checks import DAY, FEMALE, MALE, note

EAST = LineFacts("E1", "line", "founder_inbred", generation="S6", group="East")
WEST = LineFacts("W1", "line", "founder_inbred", generation="S6", group="West")
CROSS = LineFacts("E1/W1", "hybrid", "cross", "E1", "W1", generation="F1")
SELFED = LineFacts("N1", "line", "self", "E1/W1", "", 2, "S2", "East", Derivation("E1/W1", "3", "F1"))
GOOD = (EAST, WEST, CROSS, SELFED)


def codes_of(findings):
    assert not any(one.stops for one in findings)
    assert all(one.message and one.repair for one in findings)
    return [one.code for one in findings]


def line_codes(*lines):
    return codes_of([one for _, one in check_lines(lines)])


def test_good_lines_are_left_in_peace():
    assert line_codes(*GOOD) == []


@pytest.mark.parametrize(
    ("label", "depth"), [("S3", 3), ("F1", 0), ("F4", 3), ("BC2F2", 1), ("D1", 1), ("TC1", None), ("", None)]
)
def test_selfings_of_a_label(label, depth):
    assert count_selfings(label) == depth


@pytest.mark.parametrize(
    ("broken", "code"),
    [
        (replace(SELFED, generation="S3"), "generation_not_next"),
        (replace(SELFED, generation=""), "generation_not_told"),
        (replace(SELFED, father="W1"), "father_of_a_self"),
        (replace(SELFED, mother=""), "parent_not_told"),
        (replace(CROSS, father=""), "parent_not_told"),
        (replace(CROSS, father="E1"), "crossed_with_itself"),
        (replace(SELFED, derived=Derivation("N1", "3", "S1")), "derived_from_itself"),
        (replace(SELFED, derived=Derivation("W1", "3", "")), "derived_from_elsewhere"),
        (replace(SELFED, derived=Derivation("", "3", "")), "derived_from_not_told"),
        (replace(SELFED, derived=Derivation("E1/W1", "3", "F2")), "derived_generation_odd"),
        (
            replace(SELFED, generation="", selfings=0, method="sib", derived=Derivation("E1/W1", "3", "F2")),
            "derived_generation_odd",
        ),
        (replace(WEST, group="East"), "parents_of_one_group"),
        (replace(WEST, group=""), "group_not_told"),
        (replace(EAST, method="self", mother="N1", selfings=4), "pedigree_loop"),
    ],
)
def test_each_broken_line_is_found(broken, code):
    found = line_codes(*(broken if broken.name == one.name else one for one in GOOD))
    assert code in found
    assert found.count(code) == 1


def test_a_label_of_the_other_kind_for_the_same_generation_is_left_in_peace():
    assert line_codes(EAST, WEST, CROSS, replace(SELFED, generation="F3")) == []


def test_a_loop_is_told_once_with_its_way():
    lines = [
        LineFacts(name, "line", "sib", mother) for name, mother in (("A", "C"), ("B", "A"), ("C", "B"), ("D", "A"))
    ]
    ((_, loop),) = check_lines(lines)
    assert loop.message.endswith("A from C from B from A")


LOT = LotFacts(
    "L1",
    "N1",
    "pollinations",
    ((date(2030, 10, 1), 500, "harvested"), (date(2031, 5, 1), -400, "sown")),
    promised=100,
    origins=(OriginFacts("row 3 of 2030", "E1/W1"),),
    line_method="self",
    line_mother="E1/W1",
)
CROSSED = replace(
    LOT,
    line="E1/W1",
    line_method="cross",
    line_mother="E1",
    line_father="W1",
    origins=(OriginFacts("row 3 of 2030", "E1", "W1"),),
)


def test_good_lots_are_left_in_peace():
    assert check_lots([LOT, CROSSED]) == ()
    reciprocal = replace(CROSSED, origins=(OriginFacts("row 4 of 2030", "W1", "E1"),))
    assert check_lot(reciprocal) == ()


@pytest.mark.parametrize(
    ("broken", "code"),
    [
        (replace(LOT, moves=(*LOT.moves, (date(2031, 6, 1), -101, "sent"))), "lot_overdrawn"),
        (
            replace(LOT, moves=((date(2030, 4, 1), -400, "sown"), (date(2030, 10, 1), 500, "harvested"))),
            "lot_overdrawn",
        ),
        (replace(LOT, promised=101), "lot_overpromised"),
        (replace(LOT, origins=()), "lot_without_row"),
        (replace(LOT, origins=(), moves=((date(2030, 1, 1), 9, "opening"),), promised=0), "lot_without_origin"),
        (replace(LOT, origins=(OriginFacts("row 3 of 2030", "W9"),)), "lot_not_of_its_row"),
        (replace(CROSSED, origins=(OriginFacts("row 3 of 2030", "E1", "W9"),)), "lot_of_another_father"),
        (replace(LOT, origins=(LOT.origins[0], LOT.origins[0])), "shares_not_one"),
    ],
)
def test_each_broken_lot_is_found(broken, code):
    assert codes_of(check_lot(broken)) == [code]


def test_seed_that_comes_and_goes_on_one_day_is_no_overdraft():
    same = date(2031, 5, 1)
    assert check_lot(replace(LOT, moves=((same, -500, "sown"), (same, 500, "harvested")), promised=0)) == ()


ROW = PlannedRow(
    "row 5 of 2031", "E1", "female", 25, "L9", "E1", date(2030, 10, 1), "E1", "W1", 2, date(2031, 5, 12), 22, True
)


def test_a_good_row_is_left_in_peace():
    assert check_planned_row(ROW) == ()


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"lot_line": "W1"}, "row_of_another_lot"),
        ({"lot": "", "lot_line": "", "lot_came_on": None}, "row_without_lot"),
        ({"lot_came_on": date(2031, 9, 1)}, "sown_before_its_seed"),
        ({"stand": 26}, "more_plants_than_kernels"),
        ({"sown_on": None}, "sowing_not_told"),
        ({"female": "E2"}, "row_not_of_its_target"),
        ({"male_rows": 0}, "male_without_row"),
    ],
)
def test_each_broken_row_is_found(change, code):
    assert codes_of(check_planned_row(replace(ROW, **change))) == [code]


def made(*more, bagged=DAY - timedelta(days=1), kind="cross", today=None, ears=4):
    notes = [note("pollinated", FEMALE, ears, DAY, 80, detail="cross", male=MALE), *more]
    state = read_row_states(notes).get(FEMALE, RowState(FEMALE))
    mine = [one for one in notes if one.tag == FEMALE]
    return codes_of(check_pollinations(state, mine, {MALE: {bagged}} if bagged else {}, kind, today))


SILK = note("silk", value=DAY.isoformat(), on=DAY, at=50)


def test_a_good_pollination_is_left_in_peace():
    assert made(SILK, note("shoot_bagged", value=4, on=DAY, at=51)) == []
    assert made(SILK, bagged=None) == []


@pytest.mark.parametrize(
    ("found", "code"),
    [
        (lambda: made(SILK, bagged=DAY), "tassel_not_bagged"),
        (lambda: made(SILK, bagged=DAY - timedelta(days=3)), "tassel_not_bagged"),
        (lambda: made(SILK, kind="testcross"), "kind_not_planned"),
        (lambda: made(), "silk_not_told"),
        (lambda: made(note("silk", value="2031-07-27", on=DAY + timedelta(days=7), at=50)), "silk_not_out"),
        (lambda: made(SILK, note("shoot_bagged", value=3, on=DAY, at=51)), "more_ears_than_bags"),
        (lambda: made(SILK, note("shelled", value=90, at=52)), "kernels_without_ears"),
        (
            lambda: made(SILK, note("ears_picked", value=1, at=53), note("shelled", value=900, at=52)),
            "too_many_kernels",
        ),
    ],
)
def test_each_broken_pollination_is_found(found, code):
    assert found() == [code]


def test_a_silk_that_may_still_come_is_not_missed():
    assert made(today=DAY + timedelta(days=6)) == []
    assert made(today=DAY + timedelta(days=7)) == ["silk_not_told"]


def plots(**changes):
    laid = [
        PlotFacts(10 * rep + at, str(rep), entry, entry == "C", 7.0, 24.0, 60, 3)
        for rep in (1, 2)
        for at, entry in enumerate(("A", "B", "C"))
    ]
    laid[0] = replace(laid[0], **changes)
    return TrialFacts("T", "complete", 2, tuple(laid))


def test_a_good_trial_is_left_in_peace():
    assert check_trial_records(plots()) == ()


@pytest.mark.parametrize(
    ("changes", "codes"),
    [
        ({"moisture_pct": 7.9}, ["moisture_out_of_range"]),
        ({"moisture_pct": 45.1}, ["moisture_out_of_range"]),
        ({"weight_kg": 0.0}, ["weight_not_above_zero"]),
        ({"lodged": 61}, ["more_lodged_than_stood"]),
        ({"weight_kg": 0.0, "moisture_pct": 0.0, "rejected": True}, []),
        ({"entry": "B"}, ["plots_not_by_reps", "plots_not_by_reps"]),
    ],
)
def test_each_broken_plot_is_found(changes, codes):
    assert codes_of(check_trial_records(plots(**changes))) == codes


def test_a_check_that_lacks_in_a_replicate_is_found():
    whole = plots()
    moved = replace(
        whole, plots=(*whole.plots[:2], replace(whole.plots[2], entry="A", is_check=False), *whole.plots[3:])
    )
    assert "check_not_in_replicate" in codes_of(check_trial_records(moved))
