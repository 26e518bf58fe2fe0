"""Is a trial laid out as it should be, its seed promised once, and its packets booked out once?"""

from __future__ import annotations

from collections import Counter

import pytest

from firstsilk.answers import InputRefused
from firstsilk.records.models import Line, Movement, Plot, Reservation, Trial, Verdict
from firstsilk.work.occasion import stay_silent
from firstsilk.work.seed.stock import read_stock
from firstsilk.work.trials import testcrosses as crosses
from firstsilk.work.trials.lay_out import design_trial
from firstsilk.work.trials.packets import list_packets, pack_trial
from firstsilk.work.trials.reading import list_trials, read_trial
from firstsilk.work.trials.sowable import list_sowable
from tests.trial_cast import add_hybrids, add_lines, make_grown_cast, make_station

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast():
    made = make_station()
    add_hybrids(made, add_lines(made, 6), kernels=600)
    return made


ENTRIES = ("N-T/S01", "S-T/N00", "S-T/N02")
CHECKS = ("CHECK-1", "CHECK-2")


def lay_out(cast, name="FIRST-32", entries=ENTRIES, checks=CHECKS, reps=2, kernels=75, seed=3):
    return design_trial(
        cast.on, name, "FIRST", "tarn", 2032, entries, checks, reps, 8.0, kernels, seed, stay_silent
    )  # fmt: skip


def test_every_entry_stands_once_in_each_replicate_and_numbers_turn_at_the_row_end(cast):
    trial = lay_out(cast)
    assert Counter((plot.rep, plot.entry) for plot in trial.plots) == dict.fromkeys(
        [(rep, entry) for rep in ("1", "2") for entry in (*ENTRIES, *CHECKS)], 1
    )
    assert [(p.number, p.field_row, p.field_col) for p in trial.plots] == [
        *((k, 1, k) for k in range(1, 6)),
        *((k, 2, 11 - k) for k in range(6, 11)),
    ]
    assert {plot.entry for plot in trial.plots if plot.is_check} == set(CHECKS)
    assert len({plot.tag for plot in trial.plots}) == 10


def test_the_same_seed_gives_the_same_lay_out_and_another_seed_another(cast):
    first = [plot.entry for plot in lay_out(cast, "A", seed=1).plots]
    assert [plot.entry for plot in lay_out(cast, "B", seed=1).plots] == first
    assert [plot.entry for plot in lay_out(cast, "C", seed=2).plots] != first


def test_laying_out_promises_the_seed_of_each_entry(cast):
    lay_out(cast)
    reserved = {lot.line: lot.reserved for lot in read_stock(cast.station) if lot.reserved}
    assert reserved == dict.fromkeys((*ENTRIES, *CHECKS), 150)


def test_the_oldest_lot_that_covers_an_entry_is_taken_whole(cast):
    line = Line.objects.get(name="S-T/N00")
    cast.add_lot(line, 100, 2027, "too-small")
    cast.add_lot(line, 5000, 2028, "old-enough")
    lots = {plot.lot for plot in lay_out(cast).plots if plot.entry == "S-T/N00"}
    assert lots == {"old-enough"}


def test_packets_are_filled_from_several_lots_when_none_covers_all_and_never_mixed(cast):
    line = Line.objects.get(name="S-T/N00")
    cast.add_lot(line, 100, 2027, "one-packet")
    trial = lay_out(cast, reps=8, kernels=75, entries=("S-T/N00",), checks=("CHECK-1",))
    assert Counter(plot.lot for plot in trial.plots if plot.entry == "S-T/N00") == {"S-T/N00-2030": 8}
    again = lay_out(cast, "B", reps=1, kernels=75, entries=("S-T/N00",), checks=("CHECK-1",))
    assert {plot.lot for plot in again.plots if plot.entry == "S-T/N00"} == {"one-packet"}


def test_short_seed_is_refused_naming_each_entry_and_how_much_and_nothing_is_written(cast):
    with pytest.raises(InputRefused) as no:
        lay_out(cast, reps=4, kernels=200)
    facts = dict(no.value.refusal.facts)
    assert set(facts) == set(ENTRIES)
    assert facts["S-T/N00"] == "800 kernels wanted, 600 free, 200 missing"
    assert not Trial.objects.exists()
    assert not Plot.objects.exists()
    assert not Reservation.objects.exists()


def test_seed_promised_to_one_trial_is_not_promised_to_another(cast):
    lay_out(cast, "A", reps=4, kernels=100)
    with pytest.raises(InputRefused, match="S-T/N00: 400 kernels wanted, 200 free, 200 missing"):
        lay_out(cast, "B", reps=4, kernels=100)


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ({"entries": ("nobody", "S-T/N00")}, "line_unknown"),
        ({"entries": ("S-T/N00", "S-T/N00")}, "entry_twice"),
        ({"name": ""}, "trial_nameless"),
        ({"reps": 0}, "reps_out_of_bounds"),
        ({"kernels": 0}, "kernels_out_of_bounds"),
    ],
)
def test_a_trial_that_cannot_be_is_refused_with_its_code(cast, more, code):
    with pytest.raises(InputRefused) as no:
        lay_out(cast, **more)
    codes = {finding.code for finding in no.value.findings} | {no.value.refusal and no.value.refusal.code}
    assert code in codes


def test_a_name_that_is_taken_is_refused(cast):
    lay_out(cast)
    with pytest.raises(InputRefused, match="already"):
        lay_out(cast)


def test_packing_moves_the_seed_out_and_ends_the_reservations_once(cast):
    lay_out(cast)
    listed = list_packets(cast.on, "FIRST-32")
    assert [packet.plot for packet in listed.packets] == list(range(1, 11))
    assert (listed.reserved_kernels, listed.packed_kernels, listed.is_packed) == (750, 0, False)
    packed = pack_trial(cast.on, "FIRST-32")
    assert (packed.reserved_kernels, packed.packed_kernels, packed.is_packed) == (0, 750, True)
    assert {lot.kernels for lot in read_stock(cast.station) if lot.line in ENTRIES} == {450}
    pack_trial(cast.on, "FIRST-32")
    assert sum(Movement.objects.filter(reason="packed").values_list("kernels", flat=True)) == -750


def test_packing_is_refused_whole_when_a_lot_lost_its_seed_meanwhile(cast):
    lay_out(cast)
    lot = read_stock(cast.station, ["S-T/N00"])[0]
    Movement.objects.create(
        station=cast.station, lot_id=lot.id, kernels=-500, reason="discarded", moved_on=cast.on.today,
        recorded_at=cast.on.now,
    )  # fmt: skip
    with pytest.raises(InputRefused, match="S-T/N00-2030: 50 kernels missing"):
        pack_trial(cast.on, "FIRST-32")
    assert not Movement.objects.filter(reason="packed").exists()
    assert list_packets(cast.on, "FIRST-32").reserved_kernels == 750


def test_packing_a_trial_that_holds_no_seed_is_refused():
    cast = make_grown_cast(2)
    with pytest.raises(InputRefused, match="holds no seed"):
        pack_trial(cast.on, "home-2031")


def test_the_list_of_trials_says_where_each_stands(cast):
    lay_out(cast)
    line = list_trials(cast.on).trials[0]
    assert (line.name, line.n_entries, line.n_plots, line.n_with_record, line.state) == (
        "FIRST-32", 5, 10, 0, "packets to fill",
    )  # fmt: skip
    pack_trial(cast.on, "FIRST-32")
    assert list_trials(cast.on).trials[0].state == "no plot data yet"
    assert "10 plots have no record yet" in read_trial(cast.on, "FIRST-32").basis.as_text()


def test_sowable_entries_are_hybrids_and_checks_with_free_seed_checks_first(cast):
    found = list_sowable(cast.on)
    assert [one.line for one in found.entries[:2]] == list(CHECKS)
    assert len(found.entries) == 8
    assert found.sites[0][0] == "home"


def make_lines_with_seed():
    cast = make_station()
    for line in [*add_lines(cast, 4), *Line.objects.filter(is_tester=True)]:
        cast.add_lot(line, 300)
    return cast


def test_untested_lines_meet_the_tester_of_the_opposite_group():
    found = crosses.propose_testcrosses(make_lines_with_seed().on, 2032)
    assert [(one.line, one.tester, one.to_do) for one in found.testcrosses] == [
        ("N00", "S-T", "cross"),
        ("N02", "S-T", "cross"),
        ("S01", "N-T", "cross"),
        ("S03", "N-T", "cross"),
    ]
    assert "not yet S2" in found.basis.as_text()


def test_a_hybrid_with_seed_needs_a_trial_and_not_a_cross():
    cast = make_station()
    add_hybrids(cast, add_lines(cast, 1), kernels=900)
    one = crosses.propose_testcrosses(cast.on, 2032).testcrosses[0]
    assert (one.hybrid, one.hybrid_kernels) == ("S-T/N00", 900)
    assert one.to_do == "seed is there: put the hybrid in a trial"


def test_a_line_without_seed_must_be_increased_first():
    cast = make_station()
    add_lines(cast, 1)
    one = crosses.propose_testcrosses(cast.on, 2032).testcrosses[0]
    assert one.to_do == "no free seed of the line and the tester: increase first"


def test_tested_and_stopped_lines_are_left_out_and_a_waiting_one_meets_the_next_tester():
    cast = make_grown_cast(3)
    n00, s01 = Line.objects.get(name="N00"), Line.objects.get(name="S01")
    Line.objects.create(station=cast.station, name="S-T2", method="founder_inbred", group="S", is_tester=True)
    for line, verdict in ((n00, "wait"), (s01, "stop")):
        Verdict.objects.create(
            station=cast.station, line=line, year=2031, verdict=verdict, reason="x", decided_on=cast.on.today,
            decided_at=cast.on.now,
        )  # fmt: skip
    found = crosses.propose_testcrosses(cast.on, 2032)
    assert [(one.line, one.tester) for one in found.testcrosses] == [("N00", "S-T2")]


def test_of_one_family_only_the_earliest_generation_with_seed_is_listed():
    cast = make_lines_with_seed()
    parent = Line.objects.get(name="N00")
    for at in range(3):
        child = Line.objects.create(
            station=cast.station, name=f"N00-{at}", method="self", mother=parent, generation="S3", group="N"
        )
        cast.add_lot(child, 200)
    assert not [
        one for one in crosses.propose_testcrosses(cast.on, 2032).testcrosses if one.line.startswith("N00-")
    ]  # fmt: skip
