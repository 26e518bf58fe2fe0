"""Are success and set learnt from the notes that tell of them, and from no others?"""

from __future__ import annotations

from datetime import date

import pytest

from firstsilk.answers import InputRefused
from firstsilk.faces.command.main import run
from firstsilk.science.nursery.counts import KERNELS_PER_EAR, SUCCESS_FRAC
from firstsilk.science.seed.line_rates import EARS_LENT, POLLINATIONS_LENT, LineCounts
from firstsilk.science.seed.pollinations import EarRates, plan_pollinations
from firstsilk.work.seed.success import read_success
from tests.factories import make_line, make_row, make_season, make_station, occasion, take_note

pytestmark = pytest.mark.django_db
LAST, NOW = occasion(date(2030, 10, 20)), occasion(date(2031, 8, 10))


def _noted(row, day, pollinated, picked=None, kernels=None):
    take_note(NOW, row, "pollinated", pollinated, date(day.year, 7, 25), detail="self")
    if picked is not None:
        take_note(NOW, row, "ears_picked", picked, day)
    if kernels is not None:
        take_note(NOW, row, "shelled", kernels, day)


@pytest.fixture
def rows():
    station = make_station()
    lines = {name: make_line(station, name) for name in ("E1", "E2", "E3")}
    last, this = make_season(station, "2030", date(2030, 5, 12)), make_season(station, "2031")
    made = {
        name: make_row(season, number, lines[line], sow_on=season.sow_from)
        for name, season, number, line in (
            ("old", last, 1, "E1"),
            ("unshelled", last, 2, "E1"),
            ("empty", last, 3, "E2"),
            ("fresh", this, 1, "E1"),
            ("standing", this, 2, "E2"),
        )
    }
    _noted(made["old"], LAST.today, 10, 8, 960)
    _noted(made["unshelled"], LAST.today, 6, 9)
    _noted(made["empty"], LAST.today, 4)
    _noted(made["fresh"], NOW.today, 5, 2, 100)
    _noted(made["standing"], NOW.today, 7)
    return made


def _counts(on, line=""):
    return {one.counts.line: one.counts for one in read_success(on, line).lines}


def test_rows_count_once_picked_or_once_their_season_is_over(rows):
    assert _counts(NOW) == {"E1": LineCounts("E1", 21, 16, 10, 1060), "E2": LineCounts("E2", 4, 0, 0, 0)}


def test_notes_of_later_days_do_not_count(rows):
    assert _counts(LAST) == {"E1": LineCounts("E1", 16, 14, 8, 960)}
    assert _counts(occasion(date(2030, 8, 1))) == {}


def test_a_season_that_is_over_tells_of_what_was_not_picked_and_one_never_picked_tells_nothing(rows):
    never = make_season(rows["old"].station, "2029", date(2029, 5, 12))
    _noted(make_row(never, 1, rows["old"].line, sow_on=never.sow_from), date(2029, 10, 1), 30)
    assert _counts(NOW)["E1"].pollinations == 21
    assert _counts(occasion(date(2032, 8, 10)))["E2"] == LineCounts("E2", 11, 0, 0, 0)


def test_a_line_is_shrunk_to_the_programme_and_planned_with_what_is_behind_it(rows):
    (one,) = read_success(NOW, "E1", ears=3, kernels=300, assurance=0.9).lines
    success = (16 + POLLINATIONS_LENT * SUCCESS_FRAC) / (25 + POLLINATIONS_LENT)
    kernels = (1060 + EARS_LENT * KERNELS_PER_EAR) / (10 + EARS_LENT)
    rates = EarRates(
        (16 + POLLINATIONS_LENT * success) / (21 + POLLINATIONS_LENT),
        (1060 + EARS_LENT * kernels) / (10 + EARS_LENT),
        pollinations_behind=21 + POLLINATIONS_LENT,
        ears_behind=10 + EARS_LENT,
    )
    assert one.success_frac == pytest.approx(rates.success_frac, rel=1e-12)
    assert one.kernels_per_ear == pytest.approx(rates.kernels_per_ear, rel=1e-12)
    assert one.pollinations == plan_pollinations(rates, 3, 300, 0.9)
    assert one.chance is not None
    assert one.chance >= 0.9


def test_a_line_without_notes_is_planned_as_the_programme(rows):
    found = read_success(NOW, "E3", ears=2)
    (one,) = found.lines
    assert one.counts == LineCounts("E3")
    assert one.success_frac == pytest.approx(found.programme.success_frac)
    assert one.rows == 1


def test_without_any_notes_the_published_mean_stands_in_and_is_told():
    make_line(make_station(), "E1")
    found = read_success(NOW, "E1", ears=1)
    assert found.lines[0].success_frac == pytest.approx(SUCCESS_FRAC)
    assert found.basis.missing == ("rows whose ears were picked; the published mean stands in",)


def test_a_line_that_no_season_could_bring_so_far_does_not_hide_the_others(rows):
    found = {one.counts.line: one.pollinations for one in read_success(NOW, kernels=9_000_000).lines}
    assert found == {"E1": None, "E2": None}
    found = {one.counts.line: one.pollinations for one in read_success(NOW, kernels=3_000_000, assurance=0.5).lines}
    assert found["E1"] is not None
    assert found["E2"] is None or found["E2"] > found["E1"]


@pytest.mark.parametrize(
    ("wish", "told"),
    [
        ({"ears": 1, "assurance": 1.0}, "assurance 1.0"),
        ({"line": "E9"}, "no line 'E9'"),
        ({"ears": -1}, "cannot be wished"),
        ({"kernels": 10**9}, "cannot be wished"),
    ],
)
def test_a_wish_that_cannot_be_is_refused(rows, wish, told):
    with pytest.raises(InputRefused, match=told):
        read_success(NOW, **wish)


def test_command_gives_records_that_the_door_reads(rows, tmp_path, capsys):
    records, wishes = tmp_path / "records.csv", tmp_path / "need.csv"
    assert run(["success", "--kernels", "400", "--today", "2031-08-10", "--out", str(records)]) == 0
    assert "lent to a line as 20 pollinations and 10 ears" in capsys.readouterr().err
    told = dict(zip(*(line.split(",") for line in records.read_text().splitlines()[:2]), strict=True))
    assert (told["line"], told["pollinations"], told["kernels"]) == ("E1", "21", "1060")
    wishes.write_text("use,line,kernels\nincrease,E1,400\n")
    assert run(["pollinations-needed", str(wishes), str(records)]) == 0
    needed = capsys.readouterr().out.splitlines()[1].split(",")
    assert (needed[7], needed[8]) == (told["needed"], told["rows"])
    assert run(["success", "--assurance", "1"]) == 2
    assert run(["success", "E9", "--today", "2031-08-10"]) == 1
