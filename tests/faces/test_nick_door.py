"""Does `firstsilk nick` give dates whose chances anyone can count again, and refuse what cannot be answered?"""

from __future__ import annotations

import csv
import math
from datetime import date, timedelta
from itertools import product
from pathlib import Path

import pytest

from firstsilk.faces.files.tables import write_table
from firstsilk.science.climate.heat import heat_units
from tests.faces.calling import call, one_object, rows_of, write

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "nick"
WINDOW = ("--sow-from", "2031-05-12", "--sow-to", "2031-05-24")
CROSSES = "cross,female,male,priority\nc1,A,B,1\nc2,C,B,2\nc3,B,A,3\n"
LINES = "line,units_to_silk,units_to_shed\nA,1290,1270\nB,1400,1380\nC,1500,1450\n"


@pytest.fixture(scope="module")
def past():
    """Heat units by day of the example's ten years, as the heat door counts them."""
    with (EXAMPLE / "weather.csv").open() as file:
        days = [
            (date.fromisoformat(row["date"]), float(row["tmin_c"]), float(row["tmax_c"]))
            for row in csv.DictReader(file)
        ]
    units = heat_units([low for _, low, _ in days], [high for _, _, high in days], "chu")
    return {day: float(heat) for (day, _, _), heat in zip(days, units, strict=True)}


def flowers(past, sown: date, units: float) -> date | None:
    day, total = sown, 0.0
    while total < units:
        day += timedelta(days=1)
        if day not in past:
            return None
        total += past[day]
    return day


def count_met(past, females, males, silk_units, shed_units, silk_days=5, shed_days=5, share=0.5):
    """Years met, by the definition and nothing else."""
    met = 0
    for year in range(2021, 2031):
        flying: set[date] = set()
        for sown in males:
            day = flowers(past, sown.replace(year=year), shed_units)
            flying |= {day + timedelta(days=step) for step in range(shed_days)} if day else set()
        ok = False
        for sown in females:
            day = flowers(past, sown.replace(year=year), silk_units)
            silks = [day + timedelta(days=step) for step in range(silk_days)] if day else []
            ok |= bool(silks) and sum(one in flying for one in silks) / silk_days >= share
        met += ok
    return met


def ask(capsys, tmp_path, *more, crosses=CROSSES, lines=LINES, weather=EXAMPLE / "weather.csv", window=WINDOW):
    files = (write(tmp_path, crosses, "crosses.csv"), write(tmp_path, lines, "lines.csv"), weather)
    return call(capsys, "nick", *files, *window, *more)


def dates(text: str) -> list[date]:
    return [date.fromisoformat(part) for part in text.split(";")]


@pytest.mark.parametrize(
    "more",
    [
        (),
        ("--male-sowings", "2"),
        ("--male-sowings", "2", "--female-sowings", "2", "--silk-days", "3", "--shed-days", "2", "--share", "0.7"),
        ("--plants", "--male-sowings", "2"),
        ("--silk-days", "1", "--shed-days", "1", "--rows-per-day", "1"),
    ],
)
def test_each_chance_can_be_counted_again_from_its_dates(capsys, tmp_path, past, more):
    code, out, _ = ask(capsys, tmp_path, *more)
    assert code == 0
    given = dict(zip(more[::2], more[1::2], strict=False)) if "--plants" not in more else {}
    windows = {
        "silk_days": int(given.get("--silk-days", 5)),
        "shed_days": int(given.get("--shed-days", 5)),
        "share": float(given.get("--share", 0.5)),
    }
    needs = {"A": (1290, 1270), "B": (1400, 1380), "C": (1500, 1450)}
    parents = {"c1": "AB", "c2": "CB", "c3": "BA"}
    rows = rows_of(out)
    assert list(rows[0])[:5] == ["cross", "female_sown", "male_sown", "p_meet", "years"]
    for row in rows:
        female, male = parents[row["cross"]]
        met = count_met(
            past, dates(row["female_sown"]), dates(row["male_sown"]), needs[female][0], needs[male][1], **windows
        )
        assert row["years"] == "10"
        assert float(row["p_meet"]) == pytest.approx(met / 10)
    by_cross = {row["cross"]: row for row in rows}
    assert by_cross["c1"]["male_sown"] == by_cross["c2"]["male_sown"]


def test_no_other_dates_do_better(capsys, tmp_path, past):
    narrow = ("--silk-days", "2", "--shed-days", "2", "--share", "1")
    window = ("--sow-from", "2031-05-12", "--sow-to", "2031-05-15")
    near = "line,units_to_silk,units_to_shed\nA,1320,1365\nB,1400,1380\nC,1425,1395\n"
    code, out, _ = ask(capsys, tmp_path, *narrow, "--json", window=window, lines=near)
    assert code == 0
    told = one_object(out)
    days = [date(2031, 5, 12) + timedelta(days=step) for step in range(4)]
    met = {}
    for pair, silk, shed in (("AB", 1320, 1380), ("CB", 1425, 1380), ("BA", 1400, 1365)):
        for f, m in product(days, days):
            met[pair, f, m] = count_met(past, [f], [m], silk, shed, 2, 2, 1.0)
    best = max(
        met["AB", a, mb] + met["CB", c, mb] / 2 + met["BA", b, ma] / 4 for a, b, c, ma, mb in product(days, repeat=5)
    )
    assert 0 < best < 17.5
    assert told["objective"] == pytest.approx(best / 10)
    assert told["bound"] == pytest.approx(best / 10)
    assert told["gap"] == 0
    assert told["objective"] == pytest.approx(
        sum(row["p_meet"] * weight for row, weight in zip(told["rows"], (1, 0.5, 0.25), strict=True))
    )


def test_the_object_names_years_and_options(capsys, tmp_path):
    code, out, _ = ask(capsys, tmp_path, "--json", "--plants", "--seed", "4")
    told = one_object(out)
    assert code == 0
    assert told["measure"] == "plants"
    assert told["past_years"] == list(range(2021, 2031))
    assert told["options"]["seed"] == 4
    assert all(0 <= row["ears_frac"] <= 1 for row in told["rows"])
    assert math.isclose(told["bound"], told["objective"], rel_tol=1e-5)


@pytest.mark.parametrize("more", [(), ("--plants", "--male-sowings", "2", "--rows-per-day", "2")])
def test_the_same_question_gives_the_same_bytes(capsys, tmp_path, more):
    assert ask(capsys, tmp_path, *more, "--json") == ask(capsys, tmp_path, *more, "--json")


def test_closed_days_weekdays_last_safe_day_and_rows_a_day_are_kept(capsys, tmp_path):
    more = ("--closed", "2031-05-13,2031-05-14", "--weekdays", "mon,tue,wed,thu", "--last-safe", "2031-05-21")
    code, out, _ = ask(capsys, tmp_path, *more, "--rows-per-day", "1", "--male-sowings", "1")
    assert code == 0
    used: dict[tuple[str, str], str] = {}
    for row, (female, male) in zip(rows_of(out), ("AB", "CB", "BA"), strict=True):
        used["female", female], used["male", male] = row["female_sown"], row["male_sown"]
    # Monday 12 and 19, Thursday 15 and 22, Tuesday 20, Wednesday 21: five days are open, one row each.
    assert sorted(used.values()) == ["2031-05-12", "2031-05-15", "2031-05-19", "2031-05-20", "2031-05-21"]
    code, _, told = ask(capsys, tmp_path, *more, "--rows-per-day", "1", "--closed", "2031-05-12,2031-05-13,2031-05-14")
    assert (code, told) == (1, told)
    assert "the rows do not fit on the sowing days" in told


def test_a_line_with_rows_of_its_own_and_most_sowings_keeps_to_them(capsys, tmp_path):
    lines = "line,units_to_silk,units_to_shed,max_sowings,rows_male\nA,1290,1270,,\nB,1400,1380,1,3\nC,1500,1450,,\n"
    code, out, _ = ask(capsys, tmp_path, "--male-sowings", "2", "--rows-per-day", "3", "--plants", lines=lines)
    assert code == 0
    rows = rows_of(out)
    assert ";" not in rows[0]["male_sown"]
    assert rows[0]["male_sown"] not in {row["female_sown"] for row in rows}


def test_a_parent_that_never_flowers_never_meets(capsys, tmp_path):
    weather = "date,tmin_c,tmax_c\n" + "".join(
        f"{date(2030, 1, 1) + timedelta(days=step)},8,20\n" for step in range(365)
    )
    lines = LINES.replace("C,1500", "C,99999")
    code, out, told = ask(capsys, tmp_path, lines=lines, weather=write(tmp_path, weather))
    assert code == 0
    assert [row["p_meet"] for row in rows_of(out)] == ["1", "0", "1"]
    assert "So few years" in told


def test_years_that_stop_too_early_are_left_out_and_named(capsys, tmp_path):
    text = (EXAMPLE / "weather.csv").read_text()
    kept = "".join(line for line in text.splitlines(keepends=True) if not "2025-06-20" <= line[:10] <= "2025-09-30")
    kept = "".join(line for line in kept.splitlines(keepends=True) if line[:10] != "2027-05-12")
    code, out, told = ask(capsys, tmp_path, weather=write(tmp_path, kept))
    assert code == 0
    assert {row["years"] for row in rows_of(out)} == {"8"}
    assert "2025 is left out: 2025-06-20 is missing" in told


def test_the_season_to_come_is_no_past_year(capsys, tmp_path):
    code, out, _ = ask(capsys, tmp_path, window=("--sow-from", "2030-05-12", "--sow-to", "2030-05-20"))
    assert code == 0
    assert {row["years"] for row in rows_of(out)} == {"9"}
    code, _, told = ask(capsys, tmp_path, window=("--sow-from", "2021-05-12", "--sow-to", "2021-05-20"))
    assert code == 1
    assert told.startswith("weather.csv: there is no whole past year before 2021 from 05-12 on. Give daily weather")


def test_sowing_may_begin_on_the_29th_of_february_and_in_southern_spring(capsys, tmp_path):
    weather = "date,tmin_c,tmax_c\n" + "".join(
        f"{date(2028, 1, 1) + timedelta(days=step)},8,{18 + step % 7}\n" for step in range(1500)
    )
    path = write(tmp_path, weather)
    for window in (("2032-02-29", "2032-03-05"), ("2031-10-20", "2031-11-05")):
        code, out, _ = ask(capsys, tmp_path, window=("--sow-from", window[0], "--sow-to", window[1]), weather=path)
        assert code == 0
        assert {row["years"] for row in rows_of(out)} <= {"3", "4"}


def test_fahrenheit_spreadsheets_and_a_named_site_give_the_same(capsys, tmp_path):
    _, plain, _ = ask(capsys, tmp_path)
    with (EXAMPLE / "weather.csv").open() as file:
        rows = list(csv.DictReader(file))
    cells = [
        [site, row["date"], float(row["tmin_c"]) * 1.8 + 32, float(row["tmax_c"]) * 1.8 + 32]
        for site in ("here", "there")
        for row in rows
    ]
    path = tmp_path / "w.xlsx"
    write_table(path, ["site", "date", "tmin_f", "tmax_f"], cells)
    assert ask(capsys, tmp_path, "--site", "there", weather=path)[1] == plain
    code, _, told = ask(capsys, tmp_path, weather=path)
    assert code == 1
    assert "Name one with --site: here, there" in told
    assert ask(capsys, tmp_path, "--site", "nowhere", weather=path)[0] == 1


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"crosses": "cross,female,male\nc1,A,Z\n"}, "line 2, column male: this line is not in lines.csv (found: 'Z')"),
        ({"crosses": "cross,female,male\nc1,A,A\n"}, "line 2, column male: a line is not crossed with itself"),
        ({"crosses": "cross,female,male\nc1,A,B\nc1,C,B\n"}, "line 3, column cross: this cross is there twice"),
        ({"crosses": "cross,female,male\nc1,,B\n"}, "line 2, column female: the female is missing"),
        ({"crosses": "cross,female,male\n"}, "there is no line under the header"),
        ({"crosses": "cross,female\nc1,A\n"}, "column 'male' is missing"),
        ({"crosses": "cross,female,male,priority\nc1,A,B,0\n"}, "priority lies from 1 to 9"),
        ({"crosses": "cross,female,male,priority\nc1,A,B,high\n"}, "this is not a number"),
        ({"lines": LINES + "A,1290,1270\n"}, "line 5, column line: this line is there twice, first on line 2"),
        ({"lines": LINES.replace("A,1290", "A,")}, "lines.csv, line 2, column units_to_silk: the units of A, a female"),
        ({"lines": LINES.replace("1380", "")}, "column units_to_shed: the units of B, a male of cross c1, are missing"),
        ({"lines": LINES.replace("1290", "-5")}, "heat units are above 0"),
        ({"window": (*WINDOW, "--last-safe", "2031-05-01")}, "No day from"),
        ({"weather": "nothing.csv"}, "there is no such file"),
    ],
)  # fmt: skip
def test_bad_input_is_refused_in_a_sentence(capsys, tmp_path, changed, told):
    code, out, said = ask(capsys, tmp_path, **changed)
    assert (code, out) == (1, "")
    assert told in said
    assert "Traceback" not in said


@pytest.mark.parametrize(
    ("more", "window"),
    [
        ((), ("--sow-from", "2031-05-12", "--sow-to", "2031-05-11")),
        ((), ("--sow-from", "2031-05-12", "--sow-to", "2031-12-11")),
        ((), ("--sow-from", "2031-02-29", "--sow-to", "2031-03-11")),
        ((), ("--sow-from", "2031-05-12")),
        (("--share", "0"), WINDOW),
        (("--share", "nan"), WINDOW),
        (("--male-sowings", "0"), WINDOW),
        (("--silk-days", "0"), WINDOW),
        (("--closed", "someday"), WINDOW),
        (("--weekdays", "moonday"), WINDOW),
        (("--plants", "--plant-sd", "0"), WINDOW),
    ],
)
def test_wrong_options_end_with_2(capsys, tmp_path, more, window):
    code, out, said = ask(capsys, tmp_path, *more, window=window)
    assert (code, out) == (2, "")
    assert "Traceback" not in said


def test_a_line_that_is_only_a_male_needs_no_units_to_silk(capsys, tmp_path):
    lines = LINES.replace("1400", "")
    code, _, _ = ask(capsys, tmp_path, crosses="cross,female,male\nc1,A,B\n", lines=lines)
    assert code == 0


def test_too_many_combinations_are_refused_and_not_begun(capsys, tmp_path):
    window = ("--sow-from", "2031-05-12", "--sow-to", "2031-06-20")
    code, _, told = ask(capsys, tmp_path, "--male-sowings", "4", window=window)
    assert code == 1
    assert "allow fewer days or fewer sowings" in told
