"""Does the seed room book what it weighs, tests, splits, mixes, places and gives up, and say no in time?"""

from __future__ import annotations

from datetime import date

import pytest

from firstsilk.answers import InputRefused
from firstsilk.faces.command.main import run
from firstsilk.records.models import GerminationTest, Lot, LotOrigin, Movement, Reservation, Site, Trial, Weighing
from firstsilk.work.nursery.sow import settle_sowing
from firstsilk.work.seed.germination_tests import list_germination, record_germination
from firstsilk.work.seed.lots import list_lots, move_seed, read_lot
from firstsilk.work.seed.places import list_box, place_lot
from firstsilk.work.seed.promises import list_given_up, list_promises, release_row, release_trial, renew_trial
from firstsilk.work.seed.splits import bulk_lots, split_lot
from firstsilk.work.seed.weighing import weigh_lot
from tests.factories import make_line, make_lot, make_row, make_season, make_station, occasion, sign_in

pytestmark = pytest.mark.django_db

ON = occasion(date(2031, 6, 1))


@pytest.fixture
def station():
    return make_station()


@pytest.fixture
def lot(station):
    """200 kernels, 50 of them promised to a row."""
    made = make_lot(make_line(station, "E1"), kernels=200)
    make_row(make_season(station), 1, made.line, lot=made, kernels=50, reserve=True)
    return made


def refusal_of(call, *given, **more):
    with pytest.raises(InputRefused) as refused:
        call(*given, **more)
    return refused.value.refusal.code


def test_a_weighing_shows_before_and_after_and_books_the_difference(lot):
    shown = weigh_lot(ON, lot.tag, 45.0, [25.0], 100, book=False)
    assert (shown.before, shown.after, shown.change, shown.booked) == (200, 180, -20, False)
    assert not Weighing.objects.exists()
    done = weigh_lot(ON, lot.tag, 45.0, [25.0], 100)
    assert (done.before, done.after, done.booked) == (200, 180, True)
    page = read_lot(ON, lot.name)
    assert [(one.kernels, one.reason, one.stock_after) for one in page.movements][-1] == (-20, "counted", 180)
    assert page.kernel_weight_mg == pytest.approx(250.0)
    assert Weighing.objects.get().sample_kernels == 100


def test_a_weighing_that_finds_what_is_written_moves_nothing_and_stays_on_record(lot):
    weigh_lot(ON, lot.tag, 50.0, [25.0], 100)
    weigh_lot(ON, lot.tag, 50.0)
    assert Movement.objects.count() == 1
    assert Weighing.objects.filter(sample_g__isnull=True).count() == 1


def test_a_weighing_far_from_the_books_asks_for_the_right_lot(lot):
    assert weigh_lot(ON, lot.tag, 40.0, [25.0], 100, book=False).cautions == ()
    assert weigh_lot(ON, lot.tag, 39.75, [25.0], 100, book=False).cautions == (
        "The scale finds 20% fewer than in the books: look whether this is the right lot.",
    )
    assert "22% more" in weigh_lot(ON, lot.tag, 61.0, [25.0], 100, book=False).cautions[0]


def test_a_weighing_below_what_is_promised_is_booked_and_told(lot):
    done = weigh_lot(ON, lot.tag, 10.0, [5.0, 5.0], 20)
    assert done.after == 40
    assert "More seed is promised (50 kernels) than the lot holds." in done.cautions
    assert any("Only 40 kernels were counted" in told for told in done.cautions)


def test_the_newest_germination_test_is_shown_and_the_older_stay(lot):
    Lot.objects.filter(pk=lot.pk).update(germination_tested_on=date(2030, 12, 1))
    found = record_germination(ON, lot.tag, 100, 80, date(2031, 5, 20), "cold test")
    assert [(one.tested_on, one.seeds, one.germinated) for one in found.tests] == [
        (date(2031, 5, 20), 100, 80),
        (date(2030, 12, 1), 400, 380),
    ]
    newest, brought = found.tests
    assert newest.low_frac < 0.80 < newest.high_frac
    assert "not an official test" in newest.caution
    assert (brought.is_official, brought.caution, brought.remark) == (True, "", "came with the lot")
    page = read_lot(ON, lot.tag)
    assert (page.stock.germination_frac, page.germination_seeds) == (0.80, 100)


def test_an_older_test_entered_later_does_not_become_the_newest(lot):
    record_germination(ON, lot.tag, 100, 80, date(2031, 5, 20))
    record_germination(ON, lot.tag, 400, 390, date(2031, 1, 10))
    assert read_lot(ON, lot.tag).stock.germination_frac == 0.80
    earlier = occasion(date(2031, 3, 1))
    assert read_lot(earlier, lot.tag).stock.germination_frac == 390 / 400
    assert [one.germination_seeds for one in list_lots(earlier).lots] == [400]
    assert len(list_germination(earlier, lot.tag).tests) == 1


def test_a_share_brought_without_its_day_is_repeated_in_the_remark(lot):
    found = record_germination(ON, lot.tag, 50, 40)
    assert found.tests[0].remark == "before: 95% of 400 seeds, day unknown"


@pytest.mark.parametrize(
    ("seeds", "grown", "day", "code"),
    [
        (0, 0, None, "germination_counts"),
        (10, 11, None, "germination_counts"),
        (10, -1, None, "germination_counts"),
        (10, 5, date(2031, 6, 2), "tested_later"),
        (10, 5, date(2029, 6, 2), "tested_before"),
    ],
)
def test_a_germination_test_that_cannot_be_is_refused(lot, seeds, grown, day, code):
    assert refusal_of(record_germination, ON, lot.tag, seeds, grown, day) == code
    assert not GerminationTest.objects.exists()


def test_a_split_leaves_its_parent_and_knows_it(lot):
    made = split_lot(ON, lot.tag, 60, "E1-30 b", "for Tarn End")
    assert (made.kernels, made.parents[0].before, made.parents[0].after) == (60, 200, 140)
    page = read_lot(ON, made.tag)
    assert (page.stock.kernels, page.stock.germination_frac, page.origin) == (60, 0.95, "lots")
    assert [(one.parent_lot, one.share_frac) for one in page.origins] == [("E1-30", 1.0)]
    assert read_lot(ON, lot.tag).stock.kernels == 140


def test_a_bulk_has_its_parents_by_shares_that_add_up_to_1(station, lot):
    other = make_lot(lot.line, kernels=100, year=2028)
    third = make_lot(lot.line, kernels=100, year=2029)
    made = bulk_lots(ON, [(lot.tag, 10), (other.name, 20), (third.name, 40)], "E1 bulk")
    assert [one.share_frac for one in made.parents] == [10 / 70, 20 / 70, 40 / 70]
    assert sum(LotOrigin.objects.values_list("share_frac", flat=True)) == pytest.approx(1, abs=1e-12)
    assert (made.kind, made.year, made.kernels, made.line) == ("bulk", 2028, 70, "E1")
    assert read_lot(ON, made.tag).stock.germination_frac is None
    assert [read_lot(ON, one.tag).stock.kernels for one in (lot, other, third)] == [190, 80, 60]


def test_a_bulk_of_two_lines_needs_to_be_told_which_line_it_is(station, lot):
    other = make_lot(make_line(station, "E2"), kernels=100)
    make_line(station, "Mixture")
    parts = [(lot.tag, 10), (other.tag, 10)]
    assert refusal_of(bulk_lots, ON, parts, "M") == "bulk_of_lines"
    assert bulk_lots(ON, parts, "M", "Mixture").line == "Mixture"


@pytest.mark.parametrize(
    ("kernels", "name", "code"),
    [
        (201, "new", "stock_too_small"),
        (151, "new", "stock_promised"),
        (0, "new", "kernels_wrong"),
        (5, "E1-30", "lot_name_taken"),
        (5, " ", "lot_name_taken"),
        (5, "n" * 61, "lot_name_long"),
    ],
)
def test_a_split_that_cannot_be_is_refused_and_nothing_moves(lot, kernels, name, code):
    assert refusal_of(split_lot, ON, lot.tag, kernels, name) == code
    assert (Movement.objects.count(), Lot.objects.count()) == (1, 1)


def test_a_bulk_of_one_lot_or_of_the_same_twice_is_refused(lot):
    assert refusal_of(bulk_lots, ON, [(lot.tag, 5)], "b") == "bulk_of_one"
    assert refusal_of(bulk_lots, ON, [(lot.tag, 5), (lot.name, 5)], "b") == "lot_twice"


def test_two_lots_in_one_slot_are_told_and_an_empty_lot_lies_nowhere(station, lot):
    other, gone = make_lot(make_line(station, "E2"), kernels=10), make_lot(make_line(station, "E3"), kernels=0)
    for one in (lot, gone):
        assert place_lot(ON, one.tag, "A", "3", "12").findings == ()
    placed = place_lot(ON, other.tag, "a", "3", "12")
    assert [one.code for one in placed.findings] == ["slot_shared"]
    assert "E1-30, E2-30" in placed.findings[0].message
    assert placed.after == "a / 3 / 12"
    box = list_box(ON, "A", "3")
    assert ([one.name for one in box.lots], len(box.findings)) == (["E1-30", "E2-30"], 1)
    assert place_lot(ON, other.tag, "A", "3", "13").findings == ()
    assert list_box(ON, box="3").findings == ()
    assert list_box(ON, "B").lots == ()


@pytest.mark.parametrize(
    ("place", "code"),
    [(("", " ", ""), "place_missing"), (("", "", "4"), "slot_alone"), (("A" * 21, "", ""), "place_too_long")],
)
def test_a_place_that_is_none_is_refused(lot, place, code):
    assert refusal_of(place_lot, ON, lot.tag, *place) == code


def test_a_promise_to_a_row_is_given_up_by_a_note_and_stays_given_up(lot):
    assert [(one.lot, one.kernels, one.used_for) for one in list_promises(ON).promises] == [
        ("E1-30", 50, "row 1 of 2031")
    ]
    done = release_row(ON, "2031", 1, "no room")
    assert (done.promises, done.kernels) == (1, 50)
    settle_sowing(ON, "2031")
    assert list_promises(ON, lot.tag).promises == ()
    assert read_lot(ON, lot.tag).stock.free == 200
    assert refusal_of(release_row, ON, "2031", 1) == "nothing_promised"


def test_a_promise_to_a_trial_is_given_up_and_one_of_a_past_year_is_found(station, lot):
    trial = Trial.objects.create(station=station, name="T30", year=2030, site=Site.objects.get(station=station))
    Reservation.objects.create(station=station, lot=lot, trial=trial, kernels=30, reserved_on=date(2030, 4, 1))
    assert [one.trial for one in list_promises(ON, only_past=True).promises] == ["T30"]
    assert release_trial(ON, "T30").kernels == 30
    assert list_promises(ON).kernels == 50
    assert refusal_of(release_trial, ON, "T30") == "nothing_promised"


def test_a_trials_promise_given_up_by_hand_is_renewed_while_its_seed_is_free(client, station, lot, capsys):
    trial = Trial.objects.create(station=station, name="T31", year=2031, site=Site.objects.get(station=station))
    for kernels in (30, 40):
        Reservation.objects.create(station=station, lot=lot, trial=trial, kernels=kernels, reserved_on=date(2031, 4, 1))
    held = list_promises(ON).kernels
    assert list_given_up(ON) == ()
    assert refusal_of(renew_trial, ON, "T31") == "nothing_given_up"
    release_trial(ON, "T31")
    assert [(one.trial, one.kernels, one.released_on) for one in list_given_up(ON)] == [("T31", 70, ON.today)]
    assert renew_trial(ON, "T31").kernels == 70
    assert (list_promises(ON).kernels, list_given_up(ON)) == (held, ())
    release_trial(ON, "T31")
    move_seed(ON, lot.tag, read_lot(ON, lot.tag).stock.free - 60, "sent")
    assert refusal_of(renew_trial, ON, "T31") == "stock_promised"
    move_seed(ON, lot.tag, read_lot(ON, lot.tag).stock.kernels + 10, "counted")
    sign_in(client, station, "technician")
    assert "70 kernels to trial T31" in client.get("/seed/store/?day=2031-06-01").content.decode()
    answer = client.post("/seed/store/?day=2031-06-01", {"renew": "T31"}, follow=True)
    assert "70 kernels are promised to trial T31 again" in answer.content.decode()
    release_trial(ON, "T31")
    assert run(["promises", "--renew-trial", "T31", "--today", "2031-06-01"]) == 0
    assert "promised to trial T31 again" in capsys.readouterr().err
    Movement.objects.create(
        station=station,
        lot=lot,
        kernels=-70,
        reason="packed",
        used_for="trial T31",
        moved_on=ON.today,
        recorded_at=ON.now,
    )
    release_trial(ON, "T31")
    assert list_given_up(ON) == ()  # its packets are packed


def test_a_test_by_replicates_is_entered_whole_and_held_against_the_table(client, station, lot, capsys):
    good = record_germination(ON, lot.tag, 400, 371, replicates=(92, 95, 90, 94))
    assert good.entered == ""
    assert good.tests[0].remark.startswith("replicates 92, 95, 90, 94;")
    assert refusal_of(record_germination, ON, lot.tag, 400, 370, None, "", (92, 95, 90, 94)) == "germination_counts"
    assert run(["germination", lot.tag, "--replicates", "95,94,96,80", "--today", "2031-06-01"]) == 0
    assert "differ more than chance allows (16 seeds, 11 at most): test again" in capsys.readouterr().err
    assert run(["germination", lot.tag, "--replicates", "95,many", "--today", "2031-06-01"]) == 1
    sign_in(client, station, "technician")
    sent = {"reason": "germination", "seeds": "", "germinated": "", "replicates": "99 98 90 99"}
    page = client.post(f"/seed/lots/{lot.tag}/?day=2031-06-01", sent, follow=True).content.decode()
    assert "test again" in page
    assert "386 of 400 seeds germinated" in page
    shown = client.get(f"/seed/lots/{lot.tag}/?day=2031-06-01").content.decode()
    assert "replicates 99, 98, 90, 99; The replicates differ" in shown
