"""Do the papers and commands that send people into the field carry the cautions?"""

from __future__ import annotations

from datetime import date

import pytest

from firstsilk.faces.command import crew_year, flowering_year
from firstsilk.faces.paper.lists import render_day_sheet
from firstsilk.faces.paper.sowing_calendar import render_sowing_calendar
from firstsilk.faces.paper.walkbook import render_walk_book
from firstsilk.work.cautions import CAUTIONS, CAUTIONS_SHORT, HEAT_CAUTION, LIMITS, SEED_CAUTION, UNDER_18
from firstsilk.work.occasion import Occasion
from tests.faces.test_paper import make_book, make_day, make_tasks, make_walk_rows, read_words
from tests.faces.test_sowing_paper import make_calendar


@pytest.mark.parametrize(
    "print_it",
    [lambda: render_walk_book(make_book(make_walk_rows(3, 3))), lambda: render_day_sheet(make_day(make_tasks(3)))],
    ids=["walk book", "day sheet"],
)
def test_prints_carry_every_caution_and_who_decides(print_it):
    words = read_words(print_it())
    for caution in CAUTIONS:
        assert f"{caution.name}. {caution.text}" in words
    assert LIMITS in words


@pytest.mark.parametrize(
    ("command", "wanted"),
    [
        (flowering_year.day, CAUTIONS_SHORT),
        (crew_year.crew_plan, CAUTIONS_SHORT),
        (crew_year.pollen_hours, (HEAT_CAUTION,)),
    ],
    ids=["day", "crew-plan", "pollen-hours"],
)
def test_commands_of_the_day_tell_the_cautions(on: Occasion, monkeypatch, capsys, command, wanted):
    monkeypatch.setattr(f"{command.__module__}.open_books", lambda *_: on)
    command()
    told = capsys.readouterr().err
    for caution in wanted:
        assert caution in told


def test_the_sowing_calendar_tells_treated_seed_heat_minors_and_who_decides():
    words = read_words(render_sowing_calendar(make_calendar(2, 1), date(2031, 5, 2)))
    for said in (SEED_CAUTION, HEAT_CAUTION, UNDER_18.text, LIMITS):
        assert said in words
