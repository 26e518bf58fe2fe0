"""Does the invented year live the whole field season, and do its books agree with themselves about it?"""

from __future__ import annotations

import json
import sqlite3
from collections import defaultdict

import pytest

from tests.journeys.test_demo_sums import ask, one, read_standing, sum_by_bag

pytestmark = pytest.mark.xdist_group("year")

SEASON = "SELECT tag FROM records_row WHERE season_id = (SELECT id FROM records_season WHERE name = '2031')"
FLOWERING = ("2031-07-08", "2031-08-02")


def test_people_have_codes_teams_and_a_day_of_training_and_two_without_phones_write_on_paper(demo_books) -> None:
    people = {row["code"]: row for row in ask(demo_books, "SELECT * FROM records_worker")}
    assert {row["team"] for row in people.values()} == {"", "A", "B", "C"}
    assert all(row["trained_on"] and row["first_day"] for row in people.values())
    assert {row["age_band"] for row in people.values()} == {"adult", "16_17"}
    on_paper = ask(
        demo_books, "SELECT DISTINCT worker FROM records_note WHERE source = 'paper' AND kind = 'pollinated'"
    )
    by_phone = ask(demo_books, "SELECT DISTINCT worker FROM records_note WHERE source = 'phone'")
    assert {row["worker"] for row in on_paper} <= {code for code, row in people.items() if row["team"] == "C"}
    assert not {row["worker"] for row in on_paper} & {row["worker"] for row in by_phone}
    assert {row["worker"] for row in by_phone} <= people.keys()


def test_whoever_pollinated_from_july_on_has_hours_on_that_day_and_few_are_long(demo_books) -> None:
    notes = read_standing(demo_books)
    made = {(note["worker"], note["taken_on"]) for note in notes if note["kind"] == "pollinated"}
    hours: dict[tuple[str, str], float] = defaultdict(float)
    for note in notes:
        if note["kind"] == "worked":
            assert note["tag"] == ""
            hours[note["worker"], note["taken_on"]] += float(note["value"])
    assert {(who, day) for who, day in made if day > "2031"} <= hours.keys()
    assert max(hours.values()) <= 10


def test_a_sheet_of_each_way_is_there_and_its_notes_came_once(demo_books) -> None:
    sheets = ask(demo_books, "SELECT * FROM records_keyedsheet ORDER BY day, entry")
    lines = {(row["day"], row["entry"]): len(json.loads(row["cells"])["lines"]) for row in sheets}
    assert all(row["settled_at"] for row in sheets)
    assert lines["2031-07-20", 1] == lines["2031-07-20", 2] > 10
    assert lines["2031-07-19", 1] == 0
    settled = ask(demo_books, "SELECT * FROM records_note WHERE source = 'paper' AND kind != 'worked'")
    assert {note["taken_on"] for note in settled} == {row["day"] for row in sheets if lines[row["day"], 1]}
    season = ask(demo_books, SEASON)
    assert {note["tag"] for note in settled} <= {row["tag"] for row in season}


def test_most_days_are_closed_some_late_and_a_few_things_are_left_to_settle(demo_books) -> None:
    closed = {row["day"]: row for row in ask(demo_books, "SELECT * FROM records_dayclose")}
    worked = "SELECT DISTINCT taken_on FROM records_note WHERE kind = 'worked' AND taken_on BETWEEN ? AND ?"
    days = {row["taken_on"] for row in ask(demo_books, worked, *FLOWERING)}
    assert days - closed.keys() == {"2031-07-26", "2031-07-31"}
    assert {day for day, row in closed.items() if row["remark"]} >= {"2031-07-17", "2031-07-21"}
    late = "SELECT count(*) FROM records_note WHERE taken_on = ? AND position > ?"
    assert {day for day, row in closed.items() if one(demo_books, late, day, row["head_position"])} == {
        "2031-07-17",
        "2031-07-21",
    }
    assert one(demo_books, "SELECT count(*) FROM records_noteaside") == 2
    assert one(demo_books, "SELECT count(*) FROM records_asidesettled") == 1
    torn = "SELECT replaces FROM records_note WHERE replaces IS NOT NULL GROUP BY replaces HAVING count(*) > 1"
    assert len(ask(demo_books, torn)) == 1


def test_bags_are_looked_at_again_and_ears_end_picked_left_or_lost(demo_books) -> None:
    tags = {row["tag"] for row in ask(demo_books, SEASON)}
    notes: dict[str, list[sqlite3.Row]] = defaultdict(list)
    for note in read_standing(demo_books):
        if note["tag"] in tags:
            notes[note["kind"]].append(note)
    looked = sum_by_bag(notes["rechecked"])
    assert looked > 200
    assert {note["worker"] for note in notes["rechecked"]} == {"L01"}
    made, lost = sum_by_bag(notes["pollinated"]), sum_by_bag(notes["spoiled"])
    picked, left = sum_by_bag(notes["ears_picked"]), sum_by_bag(notes["ears_left"])
    assert picked + left + lost <= made
    assert made - picked - left - lost < 10
    assert len([note for note in notes["ears_picked"] if note["bag"]]) > 40


def test_every_picked_ear_went_through_a_crate_that_was_dry_before_it_was_shelled(demo_books) -> None:
    crates = {row["code"] for row in ask(demo_books, "SELECT code FROM records_tag WHERE hangs_on = 'crate'")}
    standing = read_standing(demo_books)
    put = {(note["tag"], note["bag"]): note for note in standing if note["kind"] == "crated"}
    assert {note["value"] for note in put.values()} <= crates
    dry = {note["tag"]: note["taken_on"] for note in standing if note["kind"] == "dried" and float(note["value"]) <= 13}
    for note in standing:
        if note["kind"] == "shelled" and note["taken_on"] > "2031":
            loads = [load for (tag, _), load in put.items() if tag == note["tag"]]
            assert loads
            assert all(dry[load["value"]] <= note["taken_on"] for load in loads)


def test_ears_at_the_bench_are_movements_of_their_own_with_their_note(demo_books) -> None:
    question = """
        SELECT move.kernels, note.value, note.bag, lot.name, line.derived_plant FROM records_movement move
        JOIN records_note note ON note.uuid = move.note JOIN records_lot lot ON lot.id = move.lot_id
        JOIN records_line line ON line.id = lot.line_id WHERE move.reason = 'harvested'
    """
    moves = ask(demo_books, question)
    assert len(moves) > 20
    assert all(row["kernels"] == int(row["value"]) for row in moves)
    assert any(row["bag"] and row["derived_plant"] for row in moves)
    assert any(not row["bag"] for row in moves)


def test_rows_sprayed_in_july_had_no_work_but_that_of_one_who_went_in(demo_books) -> None:
    spray = ask(demo_books, "SELECT * FROM records_spray ORDER BY sprayed_at")[-1]
    inside = """
        SELECT note.* FROM records_note note JOIN records_row row ON row.tag = note.tag
        WHERE row.season_id = ? AND row.number BETWEEN ? AND ? AND note.taken_at > ? AND note.taken_at < ?
    """
    between = (spray["sprayed_at"], spray["no_entry_until"])
    notes = ask(demo_books, inside, spray["season_id"], spray["first_row"], spray["last_row"], *between)
    assert [(note["kind"], note["worker"]) for note in notes] == [("silk_not_yet", "W04")]
