"""Does a paper sheet come back whole: printed order, each note once, the same states as a phone's tally?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from firstsilk.answers import InputRefused
from firstsilk.records.models import KeyedSheet, Note, Tag, Worker
from firstsilk.science.flowering.bags import read_bags
from firstsilk.science.flowering.notes import POLLINATION_TYPES
from firstsilk.science.flowering.paper_boxes import BAG_TYPES, Line
from firstsilk.work.flowering.chain import as_note
from firstsilk.work.flowering.day import read_day_list
from firstsilk.work.flowering.day_close import read_day_standing
from firstsilk.work.flowering.keying import find_entries, list_sheets, read_sheet, save_lines
from firstsilk.work.flowering.notes import NoteDraft, write_notes
from firstsilk.work.flowering.settle_sheets import read_settling, settle_sheet
from firstsilk.work.flowering.sheets_out import count_left, print_bag_sheets, print_sheets, take_bag_tags
from firstsilk.work.flowering.states import read_states
from firstsilk.work.flowering.work_rules import Rule, set_rule
from tests.factories import (
    make_line,
    make_lot,
    make_row,
    make_season,
    make_station,
    make_target,
    occasion,
    sign_in,
    take_note,
)

pytestmark = pytest.mark.django_db

DAY = date(2031, 7, 22)
ON = occasion(DAY, "ann")
OTHER = occasion(DAY, "bo")


@pytest.fixture
def field():
    """A self, a female with one male, that male, and a female with two."""
    season = make_season(make_station(held=DAY))
    lots = [make_lot(make_line(season.station, name)) for name in ("E1", "E2", "E3")]
    lines = [lot.line for lot in lots]
    rows = [
        make_row(season, 1, lines[0], "self", make_target(season, 1, lines[0]), lots[0]),
        make_row(season, 2, lines[0], "female", make_target(season, 2, lines[0], lines[1]), lots[0]),
        make_row(season, 3, lines[1], "male", None, lots[1]),
        make_row(season, 4, lines[0], "female", make_target(season, 3, lines[0], lines[2]), lots[0]),
        make_row(season, 5, lines[2], "male", None, lots[2]),
        make_row(season, 6, lines[2], "male", None, lots[2]),
        make_row(season, 7, lines[1], "filler", None, lots[1]),
    ]
    for row in rows:
        take_note(occasion(DAY), row, "sown", date(2031, 5, 12))
        take_note(occasion(DAY), row, "silk", date(2031, 7, 20))
        take_note(occasion(DAY), row, "shed", date(2031, 7, 20))
    return rows


def print_one(kind="tally", **more):
    (sheet,) = print_sheets(ON, read_day_list(ON), kind, **more)
    return sheet


def at_of(sheet, row) -> int:
    return next(at for at, line in enumerate(sheet.lines) if line.row.tag == row.tag)


def tally(sheet, rows) -> dict[int, Line]:
    """The day's facts as they stand on a card."""
    return {
        at_of(sheet, rows[0]): Line("", "", (("pollinated", 5), ("shoot_bagged", 4), ("wet_pollen", 1))),
        at_of(sheet, rows[1]): Line("", "", (("pollinated", 6),)),
        at_of(sheet, rows[2]): Line("", "", (("tassel_bagged", 3),)),
        at_of(sheet, rows[3]): Line("", "6", (("pollinated", 2), ("silk_exposed", 1))),
    }


def by_phone(rows) -> None:
    """The same facts as a phone's row-end tallies write them."""
    write_notes(
        ON,
        [
            NoteDraft("pollinated", rows[0].tag, "5", "self"),
            NoteDraft("shoot_bagged", rows[0].tag, "4"),
            NoteDraft("spoiled", rows[0].tag, "1", "wet_pollen"),
            NoteDraft("pollinated", rows[1].tag, "6", "cross", rows[2].tag),
            NoteDraft("tassel_bagged", rows[2].tag, "3"),
            NoteDraft("pollinated", rows[3].tag, "2", "cross", rows[5].tag),
            NoteDraft("spoiled", rows[3].tag, "1", "silk_exposed"),
        ],
    )


def states_of(rows):
    return read_states(rows[0].station, {row.tag for row in rows})


def test_same_facts_by_phone_by_paper_keyed_once_and_twice_give_the_same_states(field) -> None:
    from django.db import transaction

    found = {}
    for way in ("phone", "once", "twice"):
        with transaction.atomic():
            if way == "phone":
                by_phone(field)
            else:
                sheet = print_one(workers=["W07"])
                lines = tally(sheet, field)
                save_lines(ON, sheet.code, 1, lines)
                if way == "twice":
                    at = at_of(sheet, field[1])
                    save_lines(OTHER, sheet.code, 2, {**lines, at: Line("", "", (("pollinated", 9),))})
                    assert settle_sheet(ON, sheet.code, {(at, "pollinated"): "6"}) == 7
                else:
                    assert settle_sheet(ON, sheet.code) == 7
            found[way] = states_of(field)
            transaction.set_rollback(True)
    assert found["phone"] == found["once"] == found["twice"]
    assert found["once"][field[1].tag].pollinations[0].male == field[2].tag
    assert found["once"][field[3].tag].pollinations[0].male == field[5].tag


def test_settled_notes_are_of_paper_by_the_card_on_its_day_and_each_once(field) -> None:
    sheet = print_one(workers=["W07"])
    save_lines(ON, sheet.code, 1, tally(sheet, field))
    assert Note.objects.filter(source="paper").count() == 0
    later = occasion(date(2031, 7, 24), "cy")
    assert settle_sheet(later, sheet.code) == 7
    assert settle_sheet(later, sheet.code) == 0
    notes = Note.objects.filter(source="paper")
    assert notes.count() == 7
    assert {(one.worker, one.taken_on) for one in notes} == {("W07", DAY)}
    with pytest.raises(InputRefused, match="is settled"):
        save_lines(ON, sheet.code, 1, tally(sheet, field))


def test_codes_are_new_with_every_print_and_rows_stand_in_walking_order(field) -> None:
    first, second = print_one(), print_one()
    bags = [*take_bag_tags(ON, 5), *take_bag_tags(ON, 5)]
    assert len({first.code, second.code, *bags}) == 12
    assert Tag.objects.filter(hangs_on="bag").count() == 10
    assert Tag.objects.filter(hangs_on="sheet").count() == 2
    places = [(line.row.field_row, line.row.field_col) for line in first.lines]
    assert places == sorted(places)
    assert [line.tag for line in read_sheet(ON, first.code).lines][: len(places)] == [
        one.row.tag for one in first.lines
    ]


def test_sheets_are_parted_over_workers_and_no_row_stands_on_two_of_the_same_round(field) -> None:
    sheets = print_sheets(ON, read_day_list(ON), "tally", workers=["W07", "W08"])
    assert {sheet.worker for sheet in sheets} <= {"W07", "W08"}
    tasks = [(task.do, task.number) for sheet in sheets for line in sheet.lines for task in line.tasks]
    assert len(tasks) == len(set(tasks)) > 4
    with pytest.raises(InputRefused, match="no names"):
        print_sheets(ON, read_day_list(ON), "tally", workers=["Anna Long Name"])


def test_worker_gets_no_task_that_the_rule_of_the_age_band_bars(field) -> None:
    Worker.objects.create(station=field[0].station, code="W07", age_band="under_16")
    set_rule(ON, Rule("under_16", ("pollinate",)))
    day = read_day_list(ON)
    sheets = print_sheets(ON, day, "tally", workers=["W07", "W08"])
    done = {sheet.worker: {task.do for line in sheet.lines for task in line.tasks} for sheet in sheets}
    assert "pollinate" not in done["W07"]
    assert "pollinate" in done["W08"]
    assert count_left(day, "tally", sheets) == 0
    alone = print_sheets(ON, day, "tally", workers=["W07"])
    assert count_left(day, "tally", alone) == sum(task.do == "pollinate" for task in day.tasks) > 0


def test_second_keying_is_blind_and_by_another_person(field) -> None:
    sheet = print_one(workers=["W07"])
    save_lines(ON, sheet.code, 1, tally(sheet, field))
    assert all(line.keyed is None for line in read_sheet(OTHER, sheet.code, 2).lines)
    with pytest.raises(InputRefused, match="the first time"):
        save_lines(ON, sheet.code, 2, tally(sheet, field))
    save_lines(OTHER, sheet.code, 2, {0: Line("", "", (("pollinated", 1),))})
    with pytest.raises(InputRefused, match="the second time"):
        save_lines(OTHER, sheet.code, 1, {})


def test_differences_are_told_cell_by_cell_and_none_may_stay_open(field) -> None:
    sheet = print_one(workers=["W07"])
    save_lines(ON, sheet.code, 1, tally(sheet, field))
    changed = {**tally(sheet, field), at_of(sheet, field[3]): Line("", "5", (("pollinated", 3), ("silk_exposed", 1)))}
    save_lines(OTHER, sheet.code, 2, changed)
    at = at_of(sheet, field[3])
    found = [(one.at, one.key, one.first, one.second) for one in read_settling(ON, sheet.code).differences]
    assert found == [(at, "male", field[5].tag, field[4].tag), (at, "pollinated", "2", "3")]
    with pytest.raises(InputRefused, match="2 cells differ"):
        settle_sheet(ON, sheet.code)
    assert Note.objects.filter(source="paper").count() == 0
    settle_sheet(ON, sheet.code, {(at, "male"): field[4].tag, (at, "pollinated"): "3"})
    (note,) = Note.objects.filter(source="paper", tag=field[3].tag, kind="pollinated")
    assert (note.value, note.male) == ("3", field[4].tag)


def test_row_written_by_hand_is_read_by_tag_and_a_mistyped_one_is_told_its_sign(field) -> None:
    sheet = print_one(workers=["W07"])
    at = len(sheet.lines)
    wrong = field[6].tag[:4] + ("2" if field[6].tag[4] != "2" else "3") + field[6].tag[5:]
    with pytest.raises(InputRefused, match="sign 5 is"):
        save_lines(ON, sheet.code, 1, {at: Line(wrong, "", (("pollinated", 1),))})
    with pytest.raises(InputRefused, match="the row is not said"):
        save_lines(ON, sheet.code, 1, {at: Line("", "", (("pollinated", 1),))})
    save_lines(ON, sheet.code, 1, {at: Line("7", "3", (("pollinated", 1),))})
    assert read_sheet(ON, sheet.code).lines[at].number == 7
    settle_sheet(ON, sheet.code)
    (note,) = Note.objects.filter(source="paper")
    assert (note.tag, note.male, note.detail) == (field[6].tag, field[2].tag, "cross")


def test_code_of_a_sheet_mistyped_is_told_its_sign_and_a_row_is_no_sheet(field) -> None:
    sheet = print_one()
    wrong = sheet.code[:2] + ("7" if sheet.code[2] != "7" else "8") + sheet.code[3:]
    with pytest.raises(InputRefused, match="is no sheet: sign 3"):
        read_sheet(ON, wrong)
    with pytest.raises(InputRefused, match="There is no sheet"):
        read_sheet(ON, field[0].tag)


@pytest.mark.parametrize(
    ("at", "line", "said"),
    [
        (90, Line("", "", (("pollinated", 1),)), "no line 91"),
        (0, Line("", "", (("rated", 1),)), "no box 'rated'"),
        (0, Line("", "", (("pollinated", -1),)), "-1 cannot be"),
        (0, Line("", "", (("pollinated", 10_000),)), "10000 cannot be"),
        (0, Line("", "99", (("pollinated", 1),)), "no row '99'"),
    ],
)
def test_cell_that_cannot_be_is_refused_with_its_line_and_nothing_is_kept(field, at, line, said) -> None:
    sheet = print_one()
    with pytest.raises(InputRefused, match=said):
        save_lines(ON, sheet.code, 1, {1: Line("", "", (("pollinated", 1),)), at: line})
    assert find_entries(sheet_station(field), sheet.code)[1].cells["lines"] == {}


def sheet_station(field):
    return field[0].station


def test_more_ears_than_plants_are_shown_and_settled_all_the_same(field) -> None:
    sheet = print_one(workers=["W07"])
    take_note(ON, field[0], "stand", 8)
    save_lines(ON, sheet.code, 1, {at_of(sheet, field[0]): Line("", "", (("pollinated", 9),))})
    (odd,) = read_settling(ON, sheet.code).unusual
    assert (odd.number, odd.key, odd.value, odd.usual) == (1, "pollinated", 9, 8)
    assert settle_sheet(ON, sheet.code) == 1


def test_walk_sheet_says_what_was_seen_and_not_yet(field) -> None:
    sheet = print_one("walk", workers=["W07"])
    at = at_of(sheet, field[0])
    save_lines(ON, sheet.code, 1, {at: Line("", "", (("silk", 1), ("shed", 0), ("tassel_bagged", 2)))})
    assert settle_sheet(ON, sheet.code) == 3
    noted = set(Note.objects.filter(source="paper").values_list("kind", "value"))
    assert noted == {("silk", DAY.isoformat()), ("shed_not_yet", DAY.isoformat()), ("tassel_bagged", "2")}


def test_card_without_a_worker_code_asks_for_one_and_an_empty_one_makes_nothing(field) -> None:
    sheet = print_one()
    with pytest.raises(InputRefused, match="Nothing is keyed"):
        settle_sheet(ON, sheet.code)
    save_lines(ON, sheet.code, 1, tally(sheet, field))
    with pytest.raises(InputRefused, match="no worker code"):
        settle_sheet(ON, sheet.code)
    save_lines(ON, sheet.code, 1, {}, "W11")
    assert settle_sheet(ON, sheet.code) == 7
    assert [one.stands for one in list_sheets(ON)] == ["settled"]


def test_day_waits_for_a_sheet_that_is_keyed_and_not_settled(field) -> None:
    sheet = print_one(workers=["W07"])
    assert read_day_standing(ON).waits == ()
    save_lines(ON, sheet.code, 1, tally(sheet, field))
    (told,) = read_day_standing(ON).waits
    assert told == f"Paper sheet {sheet.code[:4]}-{sheet.code[4:]} is keyed in and not settled."
    settle_sheet(ON, sheet.code)
    assert read_day_standing(ON).waits == ()


def test_sheet_of_a_day_to_come_makes_no_notes_yet(field) -> None:
    sheet = print_one(workers=["W07"])
    save_lines(ON, sheet.code, 1, tally(sheet, field))
    with pytest.raises(InputRefused, match="after today"):
        settle_sheet(occasion(date(2031, 7, 21), "ann"), sheet.code)


def test_sheets_hold_worker_codes_and_neither_names_nor_age(field) -> None:
    Worker.objects.create(station=field[0].station, code="W07", age_band="under_16", team="A")
    sheet = print_one()
    record = KeyedSheet.objects.get(sheet=sheet.code)
    assert "under_16" not in str(record.cells) + str(sheet)
    assert replace(sheet, lines=()).team == "A"


MORNING = date(2031, 7, 23)
CROSS, SIB = BAG_TYPES.index("cross") + 1, BAG_TYPES.index("sib") + 1


def bag_lines(rows, bags) -> dict[int, Line]:
    """A bag for two rows, a bulk of two males, a bag not used, and one that somebody else hung."""
    cross = (("type", CROSS),)
    return {
        0: Line("2", "3", (*cross, ("pollinated", 2)), bags[0]),
        1: Line("4", "", (("pollinated", 1),), bags[0]),
        2: Line("", "5", cross, bags[1]),
        3: Line(rows[3].tag, rows[5].tag, (*cross, ("pollinated", 3)), bags[1]),
        4: Line("", "7", (("type", SIB),), bags[2]),
        5: Line("2", "", (("pollinated", 1),), bags[3]),
    }


def bags_by_phone(rows, bags) -> None:
    """The same facts, as a phone notes them on the evening and on the morning."""

    def note(day, kind, row, count, bag, detail="", male=""):
        taken = f"{day.isoformat()}T12:00:00"
        write_notes(occasion(MORNING), [NoteDraft(kind, row.tag, str(count), detail, male, bag, taken_local=taken)])

    for row, bag, type_ in ((2, 0, "cross"), (4, 1, "cross"), (5, 1, "cross"), (6, 2, "sib")):
        note(DAY, "tassel_bagged", rows[row], 1, bags[bag], type_)
    note(MORNING, "pollinated", rows[1], 2, bags[0], "cross", rows[2].tag)
    note(MORNING, "pollinated", rows[3], 1, bags[0], "cross", rows[2].tag)
    note(MORNING, "pollinated", rows[3], 3, bags[1], "cross")
    note(MORNING, "pollinated", rows[1], 1, bags[3], "cross")


def bags_of(rows):
    """Every bag with what holds for it, without the ids of its notes."""
    found = read_bags(as_note(one) for one in Note.objects.exclude(bag="").order_by("position"))
    uses = {bag.code: sorted(replace(use, note="").__repr__() for use in bag.uses) for bag in found}
    return [(bag.code, bag.shares, bag.tassels, bag.types, bag.put_on, uses[bag.code]) for bag in found]


def test_same_bags_by_phone_and_by_bag_sheet_keyed_once_and_twice_are_the_same(field) -> None:
    from django.db import transaction

    bags = take_bag_tags(ON, 4)
    found = {}
    for way in ("phone", "once", "twice"):
        with transaction.atomic():
            if way == "phone":
                bags_by_phone(field, bags)
            else:
                (sheet,) = print_bag_sheets(ON, "", 1, ["W07"])
                save_lines(ON, sheet.code, 1, bag_lines(field, bags))
                chosen = {}
                if way == "twice":
                    other = {**bag_lines(field, bags), 4: Line("", "7", (("type", SIB),), bags[3])}
                    save_lines(OTHER, sheet.code, 2, other)
                    chosen = {(4, "bag"): bags[2]}
                assert settle_sheet(occasion(MORNING, "ann"), sheet.code, chosen) == 8
                assert settle_sheet(occasion(MORNING, "ann"), sheet.code, chosen) == 0
                assert set(Note.objects.filter(source="paper").values_list("worker", "kind", "taken_on")) == {
                    ("W07", "tassel_bagged", DAY),
                    ("W07", "pollinated", MORNING),
                }
            found[way] = (states_of(field), bags_of(field))
            transaction.set_rollback(True)
    assert found["phone"] == found["once"] == found["twice"]
    assert next(bag[1] for bag in found["once"][1] if bag[0] == bags[1]) == tuple(
        sorted([(field[4].tag, 0.5), (field[5].tag, 0.5)])
    )


def test_bag_sheet_with_ears_waits_for_its_morning_and_one_without_does_not(field) -> None:
    bags = take_bag_tags(ON, 4)
    with_ears, without = print_bag_sheets(ON, "", 2, ["W07"])
    save_lines(ON, with_ears.code, 1, bag_lines(field, bags))
    save_lines(ON, without.code, 1, {0: Line("", "3", (), bags[0])})
    assert read_settling(ON, with_ears.code).n_notes == 8
    with pytest.raises(InputRefused, match="morning of 2031-07-23"):
        settle_sheet(ON, with_ears.code)
    assert settle_sheet(ON, without.code) == 1


def test_bag_of_no_type_takes_the_planned_one(field) -> None:
    (bag,) = take_bag_tags(ON, 1)
    (sheet,) = print_bag_sheets(ON, "", 1, ["W07"])
    save_lines(ON, sheet.code, 1, {0: Line("2", "", (("pollinated", 1),), bag)})
    settle_sheet(occasion(MORNING), sheet.code)
    (note,) = Note.objects.filter(source="paper")
    assert (note.kind, note.detail, note.male, note.bag) == ("pollinated", "cross", "", bag)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (Line("2", "", (("pollinated", 1),)), "line 1: the bag is not said"),
        (Line("", "", (("pollinated", 1),), "bag"), "the female row is not said"),
        (Line("2", "3", (), "bag"), "the ears are not said"),
        (Line("", "", (("type", 1),), "bag"), "a type without a row"),
        (Line("", "3", (("type", 99),), "bag"), "99 cannot be"),
        (Line("", "3", (), "row"), "it hangs on a row"),
        (Line("", "3", (), "slip"), "is no bag: sign 5 is"),
    ],
)
def test_line_of_a_bag_sheet_that_cannot_be_is_refused_and_says_why(field, line, said) -> None:
    (bag,) = take_bag_tags(ON, 1)
    slip = bag[:4] + ("2" if bag[4] != "2" else "3") + bag[5:]
    (sheet,) = print_bag_sheets(ON, "", 1)
    codes = {"bag": bag, "row": field[0].tag, "slip": slip, "": ""}
    with pytest.raises(InputRefused, match=said):
        save_lines(ON, sheet.code, 1, {0: replace(line, bag=codes[line.bag])})
    assert find_entries(sheet_station(field), sheet.code)[1].cells["lines"] == {}


def test_number_of_every_type_is_of_the_closed_list() -> None:
    assert set(POLLINATION_TYPES) - set(BAG_TYPES) == {"open", "isolated"}
    assert set(BAG_TYPES) <= set(POLLINATION_TYPES)


@pytest.mark.parametrize("language", ["en", "fr", "es"])
def test_bag_sheet_goes_out_by_command_and_comes_back_as_a_table(field, tmp_path, language) -> None:
    import zxingcpp

    from firstsilk.faces.command.main import run
    from firstsilk.faces.paper.press import picture_page

    (bag,) = take_bag_tags(ON, 1)
    out, table = tmp_path / "bags.pdf", tmp_path / "in.csv"
    assert run(["bag-sheets", "--language", language, "--out", str(out), "--today", "2031-07-22"]) == 0
    sheet = KeyedSheet.objects.get(kind="bag").sheet
    assert [code.text for code in zxingcpp.read_barcodes(picture_page(out.read_bytes(), 1))] == [sheet]
    table.write_text(f"sheet,line,bag,row,male,type,pollinated\n{sheet},1,{bag},2,3,{CROSS},4\n")
    day = ["--today", "2031-07-23"]
    assert run(["key-in", str(table), "--worker", "W07", "--settle", *day]) == 0
    assert set(Note.objects.filter(source="paper").values_list("kind", "bag", "value")) == {
        ("tassel_bagged", bag, "1"),
        ("pollinated", bag, "4"),
    }
    assert run(["paper-sheets", sheet, "--out", str(tmp_path / "back.csv"), *day]) == 0
    assert f"{bag[:4]}-{bag[4:]}" in (tmp_path / "back.csv").read_text()


def test_bag_sheet_is_printed_keyed_and_settled_on_its_pages(field, client) -> None:
    sign_in(client, field[0].station, "technician")
    (bag,) = take_bag_tags(ON, 1)
    printed = client.post("/flowering/paper/print/?day=2031-07-22", {"kind": "bag", "workers": "W07 W08", "count": "1"})
    assert printed.content.startswith(b"%PDF-")
    sheet = KeyedSheet.objects.get(kind="bag", worker="W08").sheet
    page = f"/flowering/paper/{sheet}/"
    told = client.get("/flowering/paper/row/", {"bag": bag[:7] + ("2" if bag[7] != "2" else "3")})
    assert (told.status_code, "sign 8 is" in told.json()["no"]) == (422, True)
    assert client.get("/flowering/paper/row/", {"bag": bag.lower()}).json() == {"bag": f"{bag[:4]}-{bag[4:]}"}
    line = {"l-0-bag": bag, "l-0-male": "3", "l-0-type": str(CROSS), "l-0-row": "2", "l-0-pollinated": "2"}
    assert client.post(page, line, HTTP_X_KEYING="1").json() == {"saved": 1}
    shown = client.get(page).content.decode()
    assert f'value="{bag[:4]}-{bag[4:]}"' in shown
    client.post(f"{page}settle/?day=2031-07-23", {"worker": "W08"})
    assert set(Note.objects.filter(source="paper").values_list("tag", "male", "bag", "value", "taken_on")) == {
        (field[2].tag, "", bag, "1", DAY),
        (field[1].tag, field[2].tag, bag, "2", MORNING),
    }
