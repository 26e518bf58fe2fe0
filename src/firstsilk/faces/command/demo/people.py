"""Who is in the invented crew, by code, what may they do, and what was sprayed before anybody came to pollinate?"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime

from firstsilk.work.flowering.people import PersonWritten, add_person
from firstsilk.work.flowering.sprays import post_spray
from firstsilk.work.flowering.work_rules import Rule, set_rule
from firstsilk.work.occasion import Occasion

SPRAYED = (6, 12)
"""A day between counting stands and the first shoots, so that no work of the year waits for it."""
NEW_ON = (7, 23)


def write_crew(season: str, at: Callable[[date], Occasion], last_row: int) -> None:
    """Four people with the phones and one new in July, a rule for 16 and 17, and one spray with its interval.

    Nobody has a team, so that the day's list stays one list for all; the Flowering > People page gives teams.
    """
    year = int(season)
    spring, new = date(year, 5, 10), date(year, *NEW_ON)
    for code in ("W01", "W02", "W03", "W04"):
        add_person(at(spring), PersonWritten(code, "adult", first_day=spring, trained_on=spring))
    add_person(at(new), PersonWritten("W05", "16_17", first_day=new, trained_on=new))
    set_rule(at(spring), Rule("16_17", ("knives", "machines", "driving", "sprays", "treated_seed"), 8.0, 40.0))
    day = at(date(year, *SPRAYED))
    ended = datetime.fromisoformat(f"{day.today.isoformat()}T17:30")
    post_spray(day, season, "an invented herbicide", (1, last_row), ended, 12.0)
