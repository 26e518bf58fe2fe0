"""Does `firstsilk morning` say what the season page says, as sentences, tables and one object?"""

from __future__ import annotations

from datetime import date

import pytest

from firstsilk.records.models import WeatherDay
from firstsilk.work.flowering.morning import read_morning
from tests.faces.calling import call, one_object, rows_of
from tests.factories import (
    make_line,
    make_lot,
    make_row,
    make_season,
    make_station,
    make_target,
    make_weather,
    occasion,
    take_note,
)

pytestmark = pytest.mark.django_db

SOWN, DAY = date(2031, 5, 12), date(2031, 7, 22)
ON = occasion(DAY)
TODAY = ("--today", "2031-07-22")


@pytest.fixture
def season():
    station = make_station(held=DAY)
    make_weather(station, 2028, DAY)
    made = make_season(station)
    female, male = make_line(station, "F1"), make_line(station, "M1")
    target = make_target(made, 9, female, male)
    rows = [
        make_row(made, 9, female, "female", target, make_lot(female)),
        make_row(made, 10, male, "male", None, make_lot(male)),
    ]
    for row in rows:
        take_note(occasion(SOWN), row, "sown", SOWN)
    take_note(ON, rows[1], "shed", DAY)
    return made


def test_sentences_are_those_of_the_page_and_say_what_they_rest_on(capsys, season):
    code, out, err = call(capsys, "morning", *TODAY)
    told = read_morning(ON)
    lines = out.splitlines()
    assert (code, err) == (0, "")
    assert lines[: len(told.sentences)] == list(told.sentences)
    assert "Rests on 2 rows" in lines[-1]
    assert "Not considered: hail" in lines[-1]


def test_each_table_holds_what_the_page_shows(capsys, season, tmp_path):
    told = read_morning(ON)
    crosses = rows_of(call(capsys, "morning", *TODAY, "--by", "crosses")[1])
    assert [(row["female"], row["male"], row["male_rows"]) for row in crosses] == [("F1", "M1", "10")]
    assert float(crosses[0]["p_meet"]) == pytest.approx(told.crosses[0].p_meet, abs=0.001)
    rows = rows_of(call(capsys, "morning", *TODAY, "--by", "rows")[1])
    assert [row["row"] for row in rows] == ["9", "10"]
    assert (rows[0]["silk_seen"], rows[1]["shed_seen"]) == ("", "2031-07-22")
    assert rows[0]["silk_p10"] <= rows[0]["silk_p50"] <= rows[0]["silk_p90"]
    target = tmp_path / "flowering.csv"
    _, out, _ = call(capsys, "morning", *TODAY, "--out", target)
    days = rows_of(target.read_text())
    assert {row["what"] for row in days} == {"silk", "shed"}
    assert sum(float(row["expected"]) for row in days if row["what"] == "silk") == pytest.approx(1.0, abs=0.1)
    assert "Of 1 cross none is at risk." in out
    assert call(capsys, "morning", *TODAY, "--by", "crew")[1].startswith("date,p10,p50,p90,workers_p50")
    assert rows_of(call(capsys, "morning", *TODAY, "--by", "frost")[1]) == []


def test_one_object_holds_all_of_it_and_comes_out_the_same_twice(capsys, season):
    code, out, _ = call(capsys, "morning", *TODAY, "--json")
    told = one_object(out)
    assert code == 0
    assert (told["season"], told["stage"], told["reading_age_days"]) == ("2031", "flowering", 0)
    assert told["sentences"][0]["part"] == "moved"
    assert told["rows"] == told["flowering"]
    assert [row["row"] for row in told["row_days"]] == [9, 10]
    assert told["crosses"][0]["target"] == 9
    assert told["no_forecast"] is None
    assert call(capsys, "morning", *TODAY, "--json")[1] == out


def test_without_weather_it_says_so_and_gives_empty_tables(capsys, season):
    WeatherDay.objects.all().delete()
    code, out, _ = call(capsys, "morning", *TODAY, "--json")
    told = one_object(out)
    assert code == 0
    assert "no weather" in told["no_forecast"]
    assert told["flowering"] == []
    assert told["crosses"][0]["p_meet"] is None
    assert told["reading_age_days"] is None


def test_a_season_that_is_none_and_a_wrong_table_are_one_sentence(capsys, season):
    code, out, err = call(capsys, "morning", "--season", "1999")
    assert (code, out) == (1, "")
    assert "There is no season '1999'" in err
    assert call(capsys, "morning", "--by", "moon")[0] == 2
