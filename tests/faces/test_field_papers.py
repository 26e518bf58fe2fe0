"""Do the day's sheets and bag tags read back, in three languages, without names, and by command and page alike?"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
import zxingcpp

from firstsilk.faces.command.main import run
from firstsilk.faces.paper.bag_tags import BAG_TAG_PAPER
from firstsilk.faces.paper.cards import render_sheets, write_sheets
from firstsilk.faces.paper.drawings import DRAWINGS
from firstsilk.faces.paper.press import picture_page
from firstsilk.faces.paper.words import LANGUAGES, list_cautions, read_words, say_day
from firstsilk.records.models import Account, KeyedSheet, Note, Tag, Worker
from firstsilk.science.flowering.paper_boxes import BOXES
from firstsilk.work.flowering.day import read_day_list
from firstsilk.work.flowering.sheets_out import LINES_A_SHEET, print_bag_sheets, print_sheets
from tests.factories import make_line, make_lot, make_row, make_season, make_station, make_target, occasion, sign_in
from tests.factories import take_note as note

pytestmark = pytest.mark.django_db

DAY = date(2031, 7, 22)
ON = occasion(DAY)


@pytest.fixture
def rows():
    """A self, a female and its male, in flower; a crew of codes, one of them under age, and an account with a name."""
    station = make_station(held=DAY)
    season = make_season(station)
    mother, male = (make_lot(make_line(station, name)) for name in ("E1", "E2"))
    made = [
        make_row(season, 1, mother.line, "self", make_target(season, 1, mother.line), mother),
        make_row(season, 2, mother.line, "female", make_target(season, 2, mother.line, male.line), mother),
        make_row(season, 3, male.line, "male", None, male),
    ]
    for row in made:
        note(ON, row, "sown", date(2031, 5, 12), date(2031, 5, 12))
        note(ON, row, "silk", date(2031, 7, 21))
        note(ON, row, "shed", date(2031, 7, 21))
    Worker.objects.create(station=station, code="W07", age_band="under_16")
    Account.objects.create(username="matilda", station=station, role="technician")
    return made


def codes_on(pdf: bytes, page: int = 1) -> list[str]:
    return sorted(code.text for code in zxingcpp.read_barcodes(picture_page(pdf, page)))


def test_day_is_written_as_each_language_writes_it() -> None:
    written = ["22 July 2031", "22 juillet 2031", "22 de julio de 2031"]
    assert [say_day(language, DAY) for language in LANGUAGES] == written


def test_every_language_has_every_word_and_every_box_its_picture() -> None:
    words = {language: read_words(language) for language in LANGUAGES}
    for language in LANGUAGES:
        assert words[language].keys() == words["en"].keys()
        assert len(list_cautions(language)) == 6
    own = [key for key in words["en"] if key.startswith("paper.")]
    assert len(own) > 25
    same = [key for key in own if words["en"][key] == words["fr"][key]]
    same = [key for key in same if key not in ("paper.bag.type", "paper.day")]
    assert same == []
    assert {box.key for boxes in BOXES.values() for box in boxes} <= DRAWINGS.keys()


@pytest.mark.parametrize(("kind", "language"), [("tally-cards", "en"), ("tally-cards", "fr"), ("walk-sheets", "es")])
def test_sheet_from_the_command_carries_its_code_and_says_it_in_the_language(rows, tmp_path, kind, language) -> None:
    out = tmp_path / "sheet.pdf"
    line = [kind, "--language", language, "--worker", "W07", "--out", str(out), "--today", "2031-07-22"]
    assert run(line) == 0
    sheet = KeyedSheet.objects.get()
    assert codes_on(out.read_bytes()) == [sheet.sheet]
    assert (sheet.worker, sheet.day) == ("W07", DAY)


def test_bag_tags_read_back_and_are_never_given_twice(rows, tmp_path) -> None:
    seen: set[str] = set()
    for turn in range(2):
        out = tmp_path / f"bags-{turn}.pdf"
        assert run(["bag-tags", "--count", str(BAG_TAG_PAPER.per_sheet + 1), "--out", str(out)]) == 0
        codes = [*codes_on(out.read_bytes()), *codes_on(out.read_bytes(), 2)]
        assert len(codes) == BAG_TAG_PAPER.per_sheet + 1
        assert seen.isdisjoint(codes)
        seen |= set(codes)
    assert set(Tag.objects.filter(hangs_on="bag").values_list("code", flat=True)) == seen


def test_card_says_rows_check_signs_tasks_and_cautions_and_no_name(rows) -> None:
    for kind in BOXES:
        sheets = print_sheets(ON, read_day_list(ON), kind, ["W07"])
        for language in LANGUAGES:
            data = write_sheets(sheets, "Eskerholm", "Etc/UTC", language)
            (page,) = data["pages"]
            assert [line["number"] for line in page["lines"]] == ["0001", "0002", "0003"]
            assert [line["check"] for line in page["lines"]] == [row.tag[-1] for row in rows]
            assert page["lines"][1]["male"] == "0003"
            assert len(data["cautions"]) == 6
            text = json.dumps(data).lower()
            for hidden in ("matilda", "under_16", "tests", "age_band"):
                assert hidden not in text


@pytest.mark.parametrize("kind", list(BOXES))
def test_full_sheet_with_many_sprayed_rows_is_still_one_page(rows, kind) -> None:
    (sheet,) = print_sheets(ON, read_day_list(ON), kind, ["W07"])
    one = sheet.lines[0].row
    ends = [datetime(2031, 7, 23 + turn, 14, 30, 20, tzinfo=UTC) for turn in range(4)]
    shut = tuple(replace(one, number=2 * at, no_entry_until=ends[at % 4]) for at in range(1, 200))
    full = replace(sheet, lines=(sheet.lines * 10)[: LINES_A_SHEET[kind]], shut=shut)
    # A sheet that ran over would stand where the second is looked for, and the print would be refused.
    assert render_sheets([full, replace(full, code=rows[0].tag)], "Eskerholm", "Etc/UTC", "fr").startswith(b"%PDF-")
    page = write_sheets([full], "Eskerholm", "Etc/UTC", "en")["pages"][0]
    assert page["shut"][0].startswith("0002, 0010, 0018")
    assert page["shut"][0].endswith("+ 40 until 24 July 2031, 14:31")
    assert page["shut"][2].startswith("0006, 0008, 0014")
    assert page["shut"][2].endswith("+ 89")


def test_line_with_many_males_leaves_them_to_the_leader_and_cuts_no_number(rows) -> None:
    (sheet,) = print_sheets(ON, read_day_list(ON), "tally", ["W07"])
    cross = sheet.lines[1]
    for males, said in (
        ((3,), "pollen of row 0003"),
        ((3, 4), "pollen of row 0003 / 0004"),
        ((3, 4, 5), "pollen: ask"),
    ):
        page = write_sheets([replace(sheet, lines=(replace(cross, males=males),))], "E", "Etc/UTC", "en")["pages"][0]
        assert page["lines"][0]["do"].startswith(said)
        assert page["lines"][0]["male"] == ("0003" if len(males) == 1 else "")


def test_no_field_paper_of_the_year_names_a_person_or_tells_an_age(rows, monkeypatch) -> None:
    from firstsilk.faces.paper import bag_sheets, bag_tags, lists, press, tags, walkbook
    from firstsilk.faces.paper.year import make_day_sheet, make_row_tags, make_walk_book

    printed: list[str] = []

    def keep(sheet, data, tagged=True):
        printed.append(json.dumps(data, default=str).lower())
        return b"%PDF-"

    for module in (bag_sheets, lists, press, tags, walkbook):
        monkeypatch.setattr(module, "print_sheet", keep)
    day = read_day_list(ON)
    tags.render_row_tags(make_row_tags(day), check=False)
    walkbook.render_walk_book(make_walk_book(ON, day))
    lists.render_day_sheet(make_day_sheet(ON, day, "W07"))
    for module in (bag_sheets, press):
        monkeypatch.setattr(module, "check_print", lambda *_: None)
    bag_tags.render_bag_tags(["0000002Y"])
    bag_sheets.render_bag_sheets(print_bag_sheets(ON, "", 1, ["W07"]), "Eskerholm")
    assert len(printed) == 5
    for text in printed:
        assert not any(hidden in text for hidden in ("matilda", "under_16", "16_17", "age_band"))


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (["tally-cards", "--language", "de"], "not in the language 'de'"),
        (["tally-cards", "--today", "2031-03-01"], "no task for this sheet"),
        (["tally-cards", "--worker", "Matilda Long Name"], "no names"),
        (["bag-tags", "--count", "0"], "cannot be printed"),
    ],
)
def test_what_cannot_be_printed_is_a_sentence_takes_no_code_and_leaves_no_file(rows, tmp_path, capsys, line, said):
    before = Tag.objects.count()
    assert run([*line, "--out", str(tmp_path / "no.pdf")]) == 1
    assert said in capsys.readouterr().err
    assert not list(tmp_path.iterdir())
    assert Tag.objects.count() == before


def test_table_of_a_sheet_is_filled_in_keyed_and_settled_by_command(rows, tmp_path, capsys) -> None:
    (sheet,) = print_sheets(ON, read_day_list(ON), "tally", ["W07"])
    table = tmp_path / "sheet.csv"
    assert run(["paper-sheets", sheet.code, "--out", str(table)]) == 0
    text = table.read_text(encoding="utf-8").splitlines()
    head = text[0].split(",")
    cells = dict.fromkeys(head, "") | {"sheet": sheet.code, "line": "1", "pollinated": "60"}
    table.write_text("\n".join([text[0], ",".join(cells[name] for name in head)]), encoding="utf-8")
    assert run(["key-in", str(table), "--settle"]) == 1
    assert "60, usually at most 24. Is it so?" in (told := capsys.readouterr().err)
    assert "--sure" in told
    assert Note.objects.filter(source="paper").count() == 0
    assert run(["key-in", str(table), "--settle", "--sure"]) == 0
    assert Note.objects.get(source="paper").value == "60"
    table.write_text(f"sheet,line,pollinated,feet\n{sheet.code},1,many,2\n", encoding="utf-8")
    assert run(["key-in", str(table)]) == 1
    told = capsys.readouterr().err
    assert "'feet' is no box of a sheet" in told
    assert "line 2, column pollinated" in told


def test_sheet_is_printed_keyed_compared_and_settled_on_its_pages(rows, client) -> None:
    station = rows[0].station
    sign_in(client, station, "crew_leader")
    answer = client.post("/flowering/paper/print/", {"kind": "tally", "workers": "W07", "language": "fr"})
    assert answer.content.startswith(b"%PDF-")
    code = KeyedSheet.objects.get().sheet
    page = client.get("/flowering/paper/").content.decode()
    assert "not keyed yet" in page
    assert client.get("/flowering/paper/", {"sheet": code.lower()}).url == f"/flowering/paper/{code}/"
    where = f"/flowering/paper/{code}/"
    page = client.get(where).content.decode()
    assert page.index('name="l-0-shoot_bagged"') < page.index('name="l-1-shoot_bagged"')
    sent = {"l-0-pollinated": "3", "l-1-pollinated": "2", "worker": "W07"}
    assert client.post(where, sent).status_code == 302
    assert client.post(where, {"l-0-pollinated": "three"}).status_code == 422
    script = client.post(where, {"l-0-pollinated": "three"}, headers={"X-Keying": "1"})
    assert "no count" in script.json()["no"]
    assert client.get(f"{where}?entry=2").status_code == 422
    sign_in(client, station, "technician")
    assert 'value="3"' not in client.get(f"{where}?entry=2").content.decode()
    assert client.post(f"{where}?entry=2", {**sent, "l-0-pollinated": "4"}).status_code == 302
    page = client.get(f"{where}settle/").content.decode()
    assert "Keyed differently" in page
    assert client.post(f"{where}settle/", {"worker": "W07"}).status_code == 422
    choice = {"c-0-pollinated": "other", "other-0-pollinated": "5", "worker": "W07"}
    assert client.post(f"{where}settle/", choice).status_code == 302
    assert client.post(f"{where}settle/", choice).status_code == 302
    assert sorted(Note.objects.filter(source="paper").values_list("value", flat=True)) == ["2", "5"]
    assert "settled" in client.get("/flowering/paper/").content.decode()


def test_sheet_that_was_never_used_waits_no_longer_and_a_keyed_one_does(rows, client) -> None:
    sign_in(client, rows[0].station, "crew_leader")
    first, second = (print_sheets(ON, read_day_list(ON), "tally", ["W07"])[0] for _ in range(2))
    assert client.post("/flowering/paper/", {"drop": first.code}).status_code == 302
    assert "not used" in client.get("/flowering/paper/").content.decode()
    assert client.post("/flowering/paper/", {"drop": first.code}).status_code == 422
    client.post(f"/flowering/paper/{second.code}/", {"l-0-pollinated": "3"})
    assert client.post("/flowering/paper/", {"drop": second.code}).status_code == 422
    settled = dict(KeyedSheet.objects.values_list("sheet", "settled_at"))
    assert settled[first.code] is not None
    assert settled[second.code] is None
    assert Note.objects.filter(source="paper").count() == 0


def test_row_written_by_hand_is_looked_up_and_a_slip_is_told(rows, client) -> None:
    sign_in(client, rows[0].station, "crew_leader")
    (sheet,) = print_sheets(ON, read_day_list(ON), "tally", ["W07"])
    asked = {"sheet": sheet.code, "row": rows[1].tag}
    assert client.get("/flowering/paper/row/", asked).json() == {
        "number": 2,
        "line": "E1",
        "most": dict.fromkeys([box.key for box in BOXES["tally"]], 24) | {"shoot_bagged": 48},
    }
    wrong = client.get("/flowering/paper/row/", {**asked, "row": rows[1].tag[1:]})
    assert wrong.status_code == 422
    assert "sign 1, 0, is missing" in wrong.json()["no"]


def test_page_of_paper_asks_as_often_for_ten_sheets_as_for_one(rows, client) -> None:
    sign_in(client, rows[0].station, "crew_leader")
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    counts = []
    for more in (1, 9):
        for _ in range(more):
            print_sheets(ON, read_day_list(ON), "tally", ["W07"])
        with CaptureQueriesContext(
            connection,
        ) as asked:
            client.get("/flowering/paper/")
        counts.append(len(asked))
    assert counts[0] == counts[1]
