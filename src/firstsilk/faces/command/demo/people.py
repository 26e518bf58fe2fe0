"""Who is in the invented crew, by code, what may they do, and what was sprayed?"""

from __future__ import annotations

from datetime import date, datetime, time

from firstsilk.faces.command.demo.run import At
from firstsilk.invented.people import CREW, LEADER
from firstsilk.work.flowering.people import PersonWritten, add_person
from firstsilk.work.flowering.sprays import post_spray
from firstsilk.work.flowering.work_rules import Rule, set_rule
from firstsilk.work.occasion import Occasion

SPRAYED = (6, 12)
"""A day between counting stands and the first shoots, so that no work of the year waits for it."""
LAST_ROWS, SHUT_HOURS = 12, 48.0
"""Rows at the end of the field sprayed in July, and the hours for which nobody goes in."""


def write_crew(season: str, at: At, last_row: int) -> None:
    """The crew and its leader, in teams; a rule for 16 and 17; a spray in June with its interval."""
    year = int(season)
    spring = date(year, 5, 10)
    for one in (*CREW, LEADER):
        first = date(year, 7, one.july_day) if one.july_day else spring
        add_person(at(first), PersonWritten(one.code, one.band, one.team, first, first))
    barred = ("knives", "machines", "driving", "sprays", "treated_seed")
    set_rule(at(spring), Rule("16_17", barred, 8.0, 40.0, time(6), time(20)))
    day = at(date(year, *SPRAYED))
    ended = datetime.fromisoformat(f"{day.today.isoformat()}T17:30")
    post_spray(day, season, "an invented herbicide", (1, last_row), ended, 12.0)


def post_july_spray(on: Occasion, season: str, last_row: int) -> None:
    """The end of the field is sprayed before work and shut for two days; everybody else works on."""
    ended = datetime.fromisoformat(f"{on.today.isoformat()}T05:30")
    post_spray(on, season, "an invented insecticide", (last_row - LAST_ROWS + 1, last_row), ended, SHUT_HOURS)
