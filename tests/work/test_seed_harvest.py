"""Is the father of every kernel the one that the notes name, and is no lot made where they cannot tell?"""

from __future__ import annotations

from datetime import date

import pytest

from firstsilk.answers import InputRefused
from firstsilk.records.models import Line, Lot, LotOrigin, Row, Station
from firstsilk.work.flowering.notes import NoteDraft, take_back, write_notes
from firstsilk.work.flowering.states import read_states
from firstsilk.work.seed.harvest import Picked, make_lots, record_harvest
from firstsilk.work.seed.harvest_list import read_harvest
from firstsilk.work.seed.lots import read_lot
from tests.factories import make_line, make_lot, make_row, make_season, make_station, occasion, take_note

pytestmark = pytest.mark.django_db

JULY = occasion(date(2031, 7, 25))
ON = occasion(date(2031, 10, 1))


@pytest.fixture
def field():
    """Row 1 of E1 to be crossed or selfed; rows 2 and 3 males of M, row 4 of N; row 5 an F1 to be selfed."""
    station = make_station()
    season = make_season(station)
    lines = {name: make_line(station, name) for name in ("E1", "M", "N")}
    lines["F"] = make_line(station, "E1/M", method="cross", mother=lines["E1"], father=lines["M"], generation="F1")
    rows = {1: make_row(season, 1, lines["E1"], "female")}
    rows |= {number: make_row(season, number, lines[name], "male") for number, name in ((2, "M"), (3, "M"), (4, "N"))}
    rows[5] = make_row(season, 5, lines["F"])
    return rows


def pollinate(row, detail, ears, male=None, bag=""):
    return take_note(JULY, row, "pollinated", ears, detail=detail, male=male.tag if male else "", bag=bag)


def shell(*picked):
    return record_harvest(ON, "2031", [Picked(*one) for one in picked])


def test_a_cross_becomes_a_lot_whose_mother_and_father_are_known(field):
    pollinate(field[1], "cross", 4, field[2])
    shell((1, 3, 400))
    made = make_lots(ON, "2031")
    assert not made.findings
    lot = made.lots[0]
    assert (lot.name, lot.line, lot.male, lot.kernels, lot.is_new_line) == ("2031-0001", "E1/M", "M", 400, False)
    page = read_lot(ON, lot.tag)
    assert page.stock.kernels == 400
    origin = page.origins[0]
    assert (origin.mother, origin.row, origin.father, origin.male_row) == ("E1", 1, "M", 2)


def test_two_male_rows_of_one_line_are_one_father(field):
    pollinate(field[1], "cross", 4, field[2])
    pollinate(field[1], "cross", 2, field[3])
    shell((1, 6, 700))
    made = make_lots(ON, "2031")
    assert [lot.kernels for lot in made.lots] == [700]
    assert not made.findings


def test_a_cross_that_is_new_gets_its_line_with_pedigree_and_generation(field):
    pollinate(field[1], "cross", 4, field[4])
    shell((1, 3, 300))
    assert make_lots(ON, "2031").lots[0].is_new_line
    line = Line.objects.get(name="E1/N")
    assert (line.method, line.mother.name, line.father.name, line.generation) == ("cross", "E1", "N", "F1")


def test_the_self_of_a_fixed_line_is_more_of_it_and_of_a_cross_a_new_line(field):
    pollinate(field[1], "self", 4, field[1])
    pollinate(field[5], "self", 4)
    shell((1, 3, 300), (5, 4, 500))
    lines = {lot.row: (lot.line, lot.is_new_line) for lot in make_lots(ON, "2031").lots}
    assert lines == {1: ("E1", False), 5: ("(E1/M)-B", True)}
    grown = Line.objects.get(name="(E1/M)-B")
    assert (grown.method, grown.mother.name, grown.father, grown.generation) == ("self", "E1/M", None, "F2")


def test_open_pollinated_ears_of_a_fixed_line_are_never_that_line(field):
    pollinate(field[1], "open", 4)
    shell((1, 3, 300))
    assert make_lots(ON, "2031").lots[0].line == "E1/open"
    assert Lot.objects.get().origin == "open_pollinated"


def test_lots_are_made_once(field):
    pollinate(field[1], "cross", 4, field[2])
    shell((1, 3, 400))
    make_lots(ON, "2031")
    again = make_lots(ON, "2031")
    assert again.lots == ()
    assert again.findings == ()
    assert Lot.objects.count() == 1


def test_kernels_noted_after_the_lot_was_made_are_told(field):
    pollinate(field[1], "cross", 4, field[2])
    shell((1, 3, 400))
    make_lots(ON, "2031")
    shell((1, None, 60))
    found = make_lots(ON, "2031").findings
    assert [one.code for one in found] == ["kernels_changed"]
    assert "was made with 400 kernels, the notes now say 460" in found[0].message


def test_a_row_with_two_fathers_and_no_bags_makes_no_lot(field):
    pollinate(field[1], "cross", 4, field[2])
    pollinate(field[1], "cross", 2, field[4])
    shell((1, 6, 700))
    made = make_lots(ON, "2031")
    assert made.lots == ()
    assert [one.code for one in made.findings] == ["fathers_mixed"]
    assert "700 kernels cannot be told apart; pollinated as cross with M, cross with N" in made.findings[0].message


def test_a_row_with_two_fathers_is_told_apart_by_bags_and_the_rest_is_named(field):
    pollinate(field[1], "cross", 1, field[2], bag="B1")
    pollinate(field[1], "cross", 1, field[2], bag="B2")
    pollinate(field[1], "cross", 1, field[4], bag="B3")
    pollinate(field[1], "self", 1, bag="B4")
    shell((1, 1, 100, "B1"), (1, 1, 110, "B2"), (1, 1, 90, "B3"), (1, 1, 55))
    made = make_lots(ON, "2031")
    assert {(lot.name, lot.male, lot.kernels) for lot in made.lots} == {
        ("2031-0001x0002", "M", 210),
        ("2031-0001x0004", "N", 90),
    }
    assert [one.code for one in made.findings] == ["fathers_mixed"]
    assert "55 kernels" in made.findings[0].message


def test_a_wrong_pollination_when_taken_back_no_longer_stands_in_the_way(field):
    pollinate(field[1], "cross", 4, field[2])
    wrong = pollinate(field[1], "cross", 2, field[4])
    shell((1, 4, 500))
    assert not make_lots(ON, "2031").lots
    take_back(ON, wrong, "row misread")
    assert make_lots(ON, "2031").lots[0].male == "M"


@pytest.mark.parametrize(
    ("detail", "male", "code"),
    [
        ("cross", None, "father_unknown"),
        ("cross", "ZZZZZZZZ", "father_unknown"),
        ("cross", 1, "father_is_mother"),
        ("self", 2, "self_with_other_male"),
        ("grafted", 2, "kind_unknown"),
        ("backcross", 4, "progeny_unclear"),
    ],
)
def test_a_pollination_that_cannot_be_makes_no_lot_and_says_why(field, detail, male, code):
    tag = field[male].tag if isinstance(male, int) else male or ""
    write_notes(JULY, [NoteDraft("pollinated", field[1].tag, value="4", detail=detail, male=tag)])
    shell((1, 3, 300))
    made = make_lots(ON, "2031")
    assert made.lots == ()
    assert [one.code for one in made.findings] == [code]
    assert made.findings[0].message.startswith("row 1 (E1): ")


def test_one_row_that_cannot_be_does_not_stop_the_others(field):
    pollinate(field[1], "backcross", 4, field[4])
    pollinate(field[5], "self", 4)
    shell((1, 3, 300), (5, 3, 300))
    made = make_lots(ON, "2031")
    assert [lot.row for lot in made.lots] == [5]
    assert len(made.findings) == 1


def test_kernels_without_a_pollination_make_no_lot(field):
    shell((1, 3, 300))
    assert [one.code for one in make_lots(ON, "2031").findings] == ["no_pollination"]


def test_a_row_sown_from_another_line_gives_that_lines_seed(field):
    lot = make_lot(make_line(Row.objects.first().station, "X"))
    Row.objects.filter(number=1).update(lot=make_lot(Line.objects.get(name="E1")))
    take_note(JULY, field[1], "misplanted", lot.name, detail="other_lot")
    pollinate(field[1], "cross", 4, field[2])
    shell((1, 3, 300))
    assert make_lots(ON, "2031").lots[0].line == "X/M"


def test_a_name_that_another_lot_bears_is_not_taken(field):
    make_lot(Line.objects.get(name="N"), name="2031-0001")
    pollinate(field[1], "cross", 4, field[2])
    shell((1, 3, 300))
    assert make_lots(ON, "2031").lots[0].name == "2031-0001b"


def test_a_line_that_bears_the_name_of_the_seed_and_is_another_stands_in_the_way(field):
    make_line(Row.objects.first().station, "E1/N")
    pollinate(field[1], "cross", 4, field[4])
    shell((1, 3, 300))
    made = make_lots(ON, "2031")
    assert [one.code for one in made.findings] == ["progeny_unclear"]
    assert "E1/N, and that is another line" in made.findings[0].message


def test_more_ears_than_pollinated_is_told_and_kept(field):
    pollinate(field[1], "cross", 4, field[2])
    done = shell((1, 6, None))
    assert [one.code for one in done.findings] == ["more_ears_than_pollinated"]
    assert done.noted == 1


@pytest.mark.parametrize(
    ("wrong", "told"), [((9, 1, 1), "no row 9"), ((1, -1, None), "-1 ears"), ((1, 1, 10**9), "kernels cannot")]
)
def test_a_harvest_table_with_one_wrong_row_is_refused_whole(field, wrong, told):
    with pytest.raises(InputRefused, match=told):
        shell((5, 1, 10), wrong)
    assert not read_harvest(ON, "2031").rows


def test_the_harvest_list_says_at_which_step_each_row_is(field):
    pollinate(field[1], "cross", 4, field[2])
    pollinate(field[5], "self", 4)
    assert {one.row.number: one.step for one in read_harvest(ON, "2031").rows} == {1: "pick", 5: "pick"}
    shell((1, 3, None), (5, 4, 500))
    assert {one.row.number: one.step for one in read_harvest(ON, "2031").rows} == {1: "shell", 5: "lot"}
    make_lots(ON, "2031")
    found = read_harvest(ON, "2031")
    assert {one.row.number: one.step for one in found.rows} == {1: "shell", 5: "done"}
    assert [name for name, _ in found.rows[1].lots] == ["2031-0005"]
    assert (found.ears_picked, found.kernels, found.count("done")) == (7, 500, 1)
    assert LotOrigin.objects.count() == 1


def bag(row, code, tassels=1):
    return take_note(JULY, row, "tassel_bagged", tassels, bag=code)


def test_a_father_that_only_the_bag_tells_is_the_father_and_the_lot_keeps_the_bag(field):
    pollinate(field[1], "cross", 4, bag="B7")
    bag(field[2], "B7")
    shell((1, 3, 400))
    lot = make_lots(ON, "2031").lots[0]
    assert (lot.line, lot.male) == ("E1/M", "M")
    origin = LotOrigin.objects.get()
    assert (origin.male_row.number, origin.bag, origin.share_frac) == (2, "B7", 1.0)


def test_a_bulk_of_pollen_makes_a_lot_with_a_set_of_fathers_and_their_shares(field):
    bag(field[2], "B7", 3)
    bag(field[4], "B7", 1)
    pollinate(field[1], "cross", 4, bag="B7")
    shell((1, 3, 400))
    made = make_lots(ON, "2031")
    assert [(lot.line, lot.male, lot.kernels, lot.is_new_line) for lot in made.lots] == [("E1/M+N", "M+N", 400, True)]
    line = Line.objects.get(name="E1/M+N")
    assert (line.method, line.mother.name, line.father, line.stands_for) == ("open", "E1", None, "bulk")
    assert Lot.objects.get().origin == "male_set"
    shares = {one.male_row.number: one.share_frac for one in LotOrigin.objects.all()}
    assert shares == {2: 0.75, 4: 0.25}
    assert make_lots(ON, "2031") == make_lots(ON, "2031")
    assert Lot.objects.count() == 1


def test_a_bulk_of_two_rows_of_one_line_is_a_cross_with_that_line(field):
    bag(field[2], "B7")
    bag(field[3], "B7")
    pollinate(field[1], "cross", 4, bag="B7")
    shell((1, 3, 400))
    assert make_lots(ON, "2031").lots[0].line == "E1/M"
    assert Lot.objects.get().origin == "pollinations"


def test_a_bulk_with_pollen_of_the_row_s_own_line_makes_no_lot(field):
    bag(field[2], "B7")
    bag(field[1], "B7")
    pollinate(field[1], "cross", 4, bag="B7")
    shell((1, 3, 400))
    assert [one.code for one in make_lots(ON, "2031").findings] == ["father_is_mother"]


def test_a_row_asked_alone_still_knows_the_father_in_its_bag(field):
    bag(field[4], "B7")
    pollinate(field[1], "cross", 4, bag="B7")
    (tally,) = read_states(Station.objects.get(), [field[1].tag])[field[1].tag].pollinations
    assert tally.male == field[4].tag
