"""Does an ear go from its bag to its lot with mother, fathers, generation, numbers, in whatever order it is noted?"""

from __future__ import annotations

from datetime import date

import pytest

from firstsilk.answers import InputRefused
from firstsilk.records.models import Line, Lot, LotOrigin, Movement, Note
from firstsilk.work.audit import audit_books
from firstsilk.work.flowering.notes import NoteDraft, take_back, write_notes
from firstsilk.work.seed.crates import give_crate_tags, list_crates, note_crated, note_moisture
from firstsilk.work.seed.ear_counts import read_ear_book
from firstsilk.work.seed.from_where import read_from_where
from firstsilk.work.seed.harvest import make_lots
from firstsilk.work.seed.lot_notes import settle_lot_notes
from firstsilk.work.seed.lots import read_lot
from firstsilk.work.seed.picking import note_picked, read_pick_list
from firstsilk.work.seed.shelling import read_shelling, shell_ears, undo_shelling
from tests.factories import make_line, make_row, make_season, make_station, make_target, occasion, take_note

pytestmark = pytest.mark.django_db

JULY = occasion(date(2031, 7, 25))
SEPTEMBER = occasion(date(2031, 9, 25))
OCTOBER = occasion(date(2031, 10, 5), "sadie")


@pytest.fixture
def field():
    """Row 1 E1 crossed, rows 2 and 3 males M and N, row 4 the S1 family EK12-3 selfed."""
    station = make_station()
    season = make_season(station)
    e1, m, n = (make_line(station, name) for name in ("E1", "M", "N"))
    source = make_line(station, "EK12", method="founder", generation="S0")
    derived = {"derived_from": source, "derived_plant": "3", "derived_generation": "S0"}
    family = make_line(station, "EK12-3", method="self", mother=source, selfings=1, generation="S1", **derived)
    return {
        1: make_row(season, 1, e1, "female", make_target(season, 1, e1, m)),
        2: make_row(season, 2, m, "male"),
        3: make_row(season, 3, n, "male"),
        4: make_row(season, 4, family, "self", make_target(season, 2, family)),
    }


def bag_tassel(row, bag, on=JULY):
    return take_note(on, row, "tassel_bagged", 1, date(2031, 7, 24), bag=bag)


def pollinate(row, bag, kind="cross", ears=1, male="", **more):
    return take_note(JULY, row, "pollinated", ears, detail=kind, bag=bag, male=male, worker="W07", **more)


def shell(codes, kernels, **more):
    return shell_ears(OCTOBER, "2031", codes, kernels, worker="W12", **more)


def origin_of(lot):
    return [
        (one.row.number, one.male_row.number if one.male_row else None, one.bag, round(one.share_frac, 6))
        for one in LotOrigin.objects.filter(lot__tag=lot).select_related("row", "male_row").order_by("male_row__number")
    ]


def stock(tag):
    return sum(Movement.objects.filter(lot__tag=tag).values_list("kernels", flat=True))


def test_an_ear_goes_by_its_bag_from_the_tassel_to_a_lot_that_says_all_of_it(field):
    bag_tassel(field[2], "AB01")
    pollinate(field[1], "AB01")
    assert note_picked(SEPTEMBER, "2031", ["AB01"], worker="W08") == ("bag AB01 of row 1: 1 picked",)
    (crate,) = give_crate_tags(SEPTEMBER, 1)
    assert "AB01 of row 1 is in crate" in note_crated(SEPTEMBER, "2031", crate, ["AB01"])[0]
    assert note_moisture(OCTOBER, "2031", f"{crate[:4]}-{crate[4:]}", 12.5).endswith("12.5 %")
    (dry,) = list_crates(OCTOBER, "2031").crates
    assert (dry.state, dry.ears, dry.days, dry.last_pct) == ("dry", 1, 10, 12.5)
    bench = read_shelling(OCTOBER, "2031", ["AB01"], crate)
    assert (bench.ears[0].males, bench.ears[0].kind, bench.in_crate, bench.cautions) == ("row 2 (M)", "cross", 1, ())
    done = shell(["AB01"], 140)
    assert (done.line, done.generation, done.kernels, done.findings) == ("E1/M", "F1", 140, ())
    assert origin_of(done.tag) == [(1, 2, "AB01", 1.0)]
    line = Line.objects.get(name="E1/M")
    assert (line.mother.name, line.father.name) == ("E1", "M")
    (behind,) = read_from_where(OCTOBER, done.tag).pollinations
    assert (behind.row, behind.bag, behind.males, behind.worker) == (1, "AB01", (("row 2 (M)", 1.0),), "W07")
    assert list_crates(OCTOBER, "2031").crates[0].state == "empty"
    again = make_lots(OCTOBER, "2031", ears_apart=True)
    assert (again.lots, again.findings) == ((), ())


def test_the_order_in_which_it_is_noted_does_not_matter(field):
    early = shell(["1 AB01"], 140)
    assert (early.tag, early.findings[0].code) == ("", "no_pollination")
    note_picked(SEPTEMBER, "2031", ["1 AB01"], 1)
    pollinate(field[1], "AB01")
    bag_tassel(field[2], "AB01")
    (made,) = make_lots(OCTOBER, "2031").lots
    assert (made.line, made.male, made.kernels, origin_of(made.tag)) == ("E1/M", "M", 140, [(1, 2, "AB01", 1.0)])
    assert read_from_where(OCTOBER, made.tag).pollinations[0].bag == "AB01"


def test_a_bulk_of_pollen_gives_its_males_with_shares(field):
    bag_tassel(field[2], "AB02")
    take_note(JULY, field[3], "tassel_bagged", 3, date(2031, 7, 24), bag="AB02")
    pollinate(field[1], "AB02")
    done = shell(["AB02"], 100)
    assert origin_of(done.tag) == [(1, 2, "AB02", 0.25), (1, 3, "AB02", 0.75)]


def test_ears_of_one_cross_go_into_one_lot_and_of_another_father_into_another(field):
    for bag, male in (("AB01", 2), ("AB02", 2), ("AB03", 3)):
        bag_tassel(field[male], bag)
        pollinate(field[1], bag)
    first, second, third = shell(["AB01"], 100), shell(["AB02"], 90), shell(["AB03"], 80)
    assert (first.is_new_lot, second.is_new_lot, third.is_new_lot) == (True, False, True)
    assert first.tag == second.tag != third.tag
    assert (stock(first.tag), second.before, stock(third.tag)) == (190, 100, 80)
    assert origin_of(first.tag) == [(1, 2, "", 1.0)]
    assert {one.bag for one in read_from_where(OCTOBER, first.tag).pollinations} == {"AB01", "AB02"}
    again = make_lots(OCTOBER, "2031", ears_apart=True)
    assert (again.lots, again.findings) == ((), ())


def test_each_selfed_ear_is_a_line_and_lot_of_its_own_or_a_bulk_on_purpose(field):
    for at in range(1, 5):
        pollinate(field[4], f"S{at}", "self")
    assert [shell([bag], 90).line for bag in ("S1", "S2")] == ["EK12-3-1", "EK12-3-2"]
    both = shell(["S3", "S4"], 151)
    assert (both.line, stock(both.tag)) == ("EK12-3-B", 151)
    assert {one.bag for one in read_from_where(OCTOBER, both.tag).pollinations} == {"S3", "S4"}
    with pytest.raises(InputRefused, match="noted already"):
        shell(["S1"], 90)
    for apart in (True, False):
        again = make_lots(OCTOBER, "2031", ears_apart=apart)
        assert (again.lots, again.findings) == ((), ())


def test_looking_writes_nothing(field):
    pollinate(field[4], "S1", "self")
    look = shell(["S1"], 90, book=False)
    assert (look.line, look.booked) == ("EK12-3-1", False)
    assert not Lot.objects.exists()
    assert not Line.objects.filter(name="EK12-3-1").exists()
    assert read_ear_book(OCTOBER, "2031").rows[0].ears.kernels == 0


def test_shelling_is_undone_by_notes_and_a_movement_against_it_and_done_again(field):
    pollinate(field[4], "S1", "self")
    done = shell(["S1"], 90)
    assert undo_shelling(OCTOBER, done.tag) == 90
    assert stock(done.tag) == 0
    assert Movement.objects.filter(lot__tag=done.tag).count() == 2
    with pytest.raises(InputRefused, match="still stands"):
        undo_shelling(OCTOBER, done.tag)
    again = shell(["S1"], 88)
    assert (again.tag, again.line, stock(again.tag)) == (done.tag, "EK12-3-1", 88)


def test_what_was_shelled_stays_in_its_lot_when_notes_of_the_seed_room_are_booked(field):
    pollinate(field[4], "S1", "self")
    lot = shell(["S1"], 90).tag
    assert read_lot(OCTOBER, lot).cautions == ("No germination test is on record.",)
    write_notes(OCTOBER, [NoteDraft("taken", lot, "40")])
    assert [one.kernels for one in settle_lot_notes(OCTOBER).unbooked] == [-40]
    assert (settle_lot_notes(OCTOBER).unbooked, stock(lot)) == ((), 50)
    with pytest.raises(InputRefused, match="50 kernels are free, 90 came in"):
        undo_shelling(OCTOBER, lot)


def test_a_pollination_corrected_later_is_told_and_no_second_lot_is_made(field):
    wrong = pollinate(field[1], "AB01", male=field[2].tag)
    done = shell(["AB01"], 140)
    draft = NoteDraft("pollinated", field[1].tag, "1", "cross", field[3].tag, "AB01", replaces=wrong)
    write_notes(OCTOBER, [draft])
    again = make_lots(OCTOBER, "2031")
    assert [(one.code, "140" in one.message) for one in again.findings] == [("pollination_changed", True)]
    assert Lot.objects.count() == 1
    assert origin_of(done.tag) == [(1, 2, "AB01", 1.0)]
    (caution,) = read_from_where(OCTOBER, done.tag).cautions
    assert "row 3 (N)" in caution
    assert "made as from M" in caution
    undo_shelling(OCTOBER, done.tag, "wrong male")
    right = shell(["AB01"], 140)
    assert (right.line, right.tag != done.tag, stock(done.tag)) == ("E1/N", True, 0)


def test_ears_are_held_against_pollinations_by_row_and_by_bag(field):
    for bag in ("AB01", "AB02", "AB03"):
        pollinate(field[1], bag, male=field[2].tag)
    note_picked(SEPTEMBER, "2031", ["AB01"])
    note_picked(SEPTEMBER, "2031", ["AB02"], left="rotten")
    book = read_ear_book(SEPTEMBER, "2031")
    (row,) = book.rows
    assert (row.ears.pollinated, row.ears.picked, row.ears.left, row.ears.missing) == (3, 1, (("rotten", 1),), 1)
    assert [one.code for one in book.findings] == ["bag_not_seen"]
    take_note(SEPTEMBER, field[4], "ears_picked", 1, bag="AB03")
    take_note(SEPTEMBER, field[1], "ears_picked", 3)
    codes = {one.code for one in read_ear_book(SEPTEMBER, "2031").findings}
    assert codes >= {"ear_of_other_row", "more_ears_than_pollinated"}
    found = {one.finding.code for one in audit_books(OCTOBER).found}
    assert found >= {"ear_of_other_row", "more_ears_than_pollinated"}


def test_ears_crated_without_a_row_and_crates_nobody_knows_are_findings(field):
    (crate,) = give_crate_tags(SEPTEMBER, 1)
    write_notes(SEPTEMBER, [NoteDraft("crated", "", crate, bag="ZZ99"), NoteDraft("crated", field[1].tag, "nothing")])
    codes = sorted(one.code for one in list_crates(SEPTEMBER, "2031").findings)
    assert codes == ["crate_unknown", "ears_of_no_row"]
    assert {one.finding.code for one in audit_books(OCTOBER).found} >= {"ears_of_no_row"}
    with pytest.raises(InputRefused, match="no crate's tag"):
        note_moisture(SEPTEMBER, "2031", field[1].tag, 12)


def test_a_row_in_a_crate_counts_the_ears_whose_bags_were_not_scanned_there_on_their_own(field):
    pollinate(field[1], "AB01", male=field[2].tag)
    pollinate(field[1], "", male=field[2].tag, ears=4)
    note_picked(SEPTEMBER, "2031", ["AB01"])
    take_note(SEPTEMBER, field[1], "ears_picked", 3)
    one, other = give_crate_tags(SEPTEMBER, 2)
    note_crated(SEPTEMBER, "2031", one, ["AB01"])
    note_crated(SEPTEMBER, "2031", other, [field[1].tag])
    page = list_crates(SEPTEMBER, "2031")
    assert {crate.code: crate.ears for crate in page.crates} == {one: 1, other: 3}
    assert page.ears == 4


def test_the_pick_list_holds_ripe_rows_with_ears_still_on_the_plants(field):
    pollinate(field[1], "AB01", male=field[2].tag)
    pollinate(field[4], "S1", "self")
    assert [one.number for one in read_pick_list(occasion(date(2031, 9, 20)), "2031").rows] == []
    assert [one.number for one in read_pick_list(occasion(date(2031, 9, 20)), "2031").coming] == [1, 4]
    ripe = read_pick_list(SEPTEMBER, "2031", n_teams=2)
    assert [(one.number, one.ears, one.days, one.bags) for one in ripe.rows] == [
        (1, 1, 62, ("AB01",)),
        (4, 1, 62, ("S1",)),
    ]
    note_picked(SEPTEMBER, "2031", ["AB01"])
    assert [one.number for one in read_pick_list(SEPTEMBER, "2031").rows] == [4]


def test_ears_of_one_bag_picked_in_two_goes_add_up_and_a_bag_scanned_twice_is_the_same_ears(field):
    pollinate(field[1], "AB01", ears=4, male=field[2].tag)

    def count():
        (row,) = read_ear_book(SEPTEMBER, "2031").rows
        return row.ears.picked, row.ears.left, row.ears.missing

    note_picked(SEPTEMBER, "2031", ["AB01"], 1)
    note_picked(SEPTEMBER, "2031", ["AB01"], 1, left="rotten")
    assert count() == (1, (("rotten", 1),), 2)
    note_picked(SEPTEMBER, "2031", ["AB01"])
    assert count() == (3, (("rotten", 1),), 0)
    note_picked(SEPTEMBER, "2031", ["AB01"], 1)
    assert count() == (3, (("rotten", 1),), 0)


def test_a_scan_that_means_nothing_or_too_much_is_a_sentence(field):
    pollinate(field[1], "AB01", male=field[2].tag)
    pollinate(field[4], "AB01", "self")
    with pytest.raises(InputRefused, match="used on rows 1 and 4"):
        read_shelling(OCTOBER, "2031", ["AB01"])
    assert read_shelling(OCTOBER, "2031", ["4 AB01"]).ears[0].line == "EK12-3"
    for code, said in (("QQ77", "no bag that"), ("2 AB01", "used on row 1 and row 4")):
        with pytest.raises(InputRefused, match=said):
            read_shelling(OCTOBER, "2031", [code])
    with pytest.raises(InputRefused, match="not of row 1"):
        read_shelling(OCTOBER, "2031", ["1 AB01", "4 AB01"])


def test_kernels_far_off_what_an_ear_gives_are_told(field):
    pollinate(field[4], "S1", "self")
    assert not shell(["S1"], 140, book=False).cautions
    assert "would give some" in shell(["S1"], 1400, book=False).cautions[0]
    weighed = shell_ears(OCTOBER, "2031", ["S1"], None, 30.0, (25.0,), 100)
    assert (weighed.kernels, weighed.thousand_g, Lot.objects.get(tag=weighed.tag).kernel_weight_mg) == (
        120,
        250.0,
        250.0,
    )
    with pytest.raises(InputRefused, match="neither counted nor weighed"):
        shell_ears(OCTOBER, "2031", ["S1"])


def test_a_note_taken_back_brings_the_ear_back_to_the_list(field):
    pollinate(field[4], "S1", "self")
    note_picked(SEPTEMBER, "2031", ["S1"])
    with pytest.raises(InputRefused, match="already"):
        note_picked(SEPTEMBER, "2031", ["S1"])
    picked = read_ear_book(SEPTEMBER, "2031")
    assert picked.missing == 0
    take_back(SEPTEMBER, str(Note.objects.get(kind="ears_picked").uuid), "wrong bag")
    assert [one.number for one in read_pick_list(SEPTEMBER, "2031").rows] == [4]
