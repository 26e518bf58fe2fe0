"""Does each published rule start and stop a season where it says, in north and south, with days missing or to come?"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from firstsilk.science.climate.normal_means import find_mean_dates, find_normal_means
from firstsilk.science.climate.season_rules import RULES, Season, find_rule, find_season

DAYS = [date(2031, 1, 1) + timedelta(days=step) for step in range(365)]
WAVE = 5.0 - 15.0 * np.cos((np.arange(365) - 15) / 365 * 2 * np.pi)
"""Daily means from -10 °C in mid-January to 20 °C in mid-July."""


def weather(**minima):
    """Minima 5 under and maxima 5 over the wave, kept above frost from April to November but on named days."""
    low = WAVE - 5.0
    mild = np.array([4 <= day.month <= 11 for day in DAYS])
    low = np.where(mild, np.maximum(low, 0.5), low)
    high = 2 * WAVE - low
    for name, value in minima.items():
        at = DAYS.index(date(2031, int(name[1:3]), int(name[3:])))
        low[at] = value
    return low, high


def season(name, normals=None, south=False, start=None, days=DAYS, **minima):
    low, high = weather(**minima)
    return find_season(find_rule(name), 2031, days, low[: len(days)], high[: len(days)], normals, south, start)


def test_the_first_frost_of_the_autumn_ends_the_season_the_day_before_and_one_of_spring_does_not() -> None:
    told = season("ontario-frost", d0520=-4.0, d0924=-2.0, d1001=-6.0)
    assert told == Season(2031, date(2031, 5, 1), date(2031, 9, 23), "frost")
    assert season("saskatchewan", d0924=-3.0, d1001=-3.1).ends == date(2031, 9, 30)
    assert season("saskatchewan").starts == date(2031, 5, 15)


def test_the_long_term_mean_ends_it_where_it_falls_before_the_frost() -> None:
    normals = find_normal_means(DAYS, WAVE)
    _, falls = find_mean_dates(normals, 12.0)
    assert falls is not None
    # The wave is at 12 °C where its cosine is -7/15, in mid-September; smoothing over a month bends it little.
    assert abs((date(2031, *falls) - date(2031, 9, 17)).days) <= 2
    told = season("ontario", normals, d1020=-3.0)
    assert (told.ends, told.ended_by) == (date(2031, *falls) - timedelta(days=1), "mean")
    assert season("ontario", normals, d0901=-3.0).ended_by == "frost"


def test_a_calendar_end_is_counted_itself_and_frost_does_not_touch_it() -> None:
    told = season("federal", d0901=-5.0)
    assert told == Season(2031, date(2031, 4, 1), date(2031, 10, 31), "calendar")
    assert season("newfoundland").ends == date(2031, 9, 30)
    assert season("newfoundland", d0910=-2.0).ends == date(2031, 9, 9)


def test_a_warm_start_is_the_third_day_running_and_may_wait_for_the_long_term_mean() -> None:
    normals = find_normal_means(DAYS, WAVE)
    plain = season("ontario-before-2009", normals).starts
    first = next(day for day, mean in zip(DAYS, WAVE, strict=True) if mean > 12.8)
    assert plain == first + timedelta(days=2)
    low, high = weather()
    hot = [DAYS.index(date(2031, 4, at)) for at in (3, 4, 5)]
    high[hot] = 40.0
    rule = find_rule("ontario-before-2009")
    assert find_season(rule, 2031, DAYS, low, high, normals).starts == date(2031, 4, 5)
    waiting = find_rule("ontario-before-2009-normal")
    assert find_season(waiting, 2031, DAYS, low, high, normals).starts == plain


def test_a_missing_day_breaks_a_warm_run() -> None:
    low, high = np.full(5, 10.0), np.full(5, 20.0)
    days = [date(2031, 5, at) for at in (1, 2, 4, 5, 6)]
    told = find_season(find_rule("newfoundland"), 2031, days, low, high)
    assert told.starts == date(2031, 5, 6)


def test_a_season_that_the_days_do_not_close_has_no_end_yet() -> None:
    assert season("ontario-frost", days=DAYS[:200]) == Season(2031, date(2031, 5, 1), None, "")
    free = find_season(find_rule("ontario-frost"), 2031, DAYS, np.full(365, 1.0), np.full(365, 20.0))
    assert free == Season(2031, date(2031, 5, 1), date(2031, 12, 31), "year")
    cold = find_season(find_rule("newfoundland"), 2031, DAYS, np.full(365, 0.0), np.full(365, 8.0))
    assert cold == Season(2031, None, None, "")


def test_a_start_that_is_given_takes_the_place_of_the_rules_own() -> None:
    assert season("ontario-frost", start=(5, 18), d0924=-2.0).starts == date(2031, 5, 18)
    assert season("prairie", start=(5, 18), d0924=-2.0).ends == date(2031, 9, 23)
    with pytest.raises(ValueError, match="tells no start"):
        season("prairie")


def test_in_the_south_the_dates_move_by_half_a_year() -> None:
    days = [date(2031, 7, 1) + timedelta(days=step) for step in range(366)]
    low = np.full(366, 8.0)
    for frost in (date(2031, 12, 10), date(2032, 3, 20)):
        low[days.index(frost)] = -2.5
    told = find_season(find_rule("ontario-frost"), 2031, days, low, low + 12.0, south=True)
    # The frost of 10 December is one of spring there.
    assert told == Season(2031, date(2031, 11, 1), date(2032, 3, 19), "frost")
    federal = find_season(find_rule("federal"), 2031, days, low, low + 12.0, south=True)
    assert (federal.starts, federal.ends) == (date(2031, 10, 1), date(2032, 4, 30))


def test_long_term_dates_that_do_not_exist_are_none_and_the_south_looks_from_july() -> None:
    normals = find_normal_means(DAYS, WAVE)
    assert find_mean_dates(normals, 25.0) == (None, None)
    assert find_mean_dates(normals, -30.0)[1] is None
    turned = find_normal_means(DAYS, np.roll(WAVE, 182))
    reaches, falls = find_mean_dates(turned, 12.0, south=True)
    assert reaches is not None
    assert falls is not None
    assert reaches[0] in (11, 12)
    assert falls[0] in (2, 3)


def test_leap_days_stand_with_28_february_and_years_are_counted() -> None:
    days = [date(2028, 2, 27) + timedelta(days=step) for step in range(4)]
    normals = find_normal_means([*days, date(2031, 2, 28)], [1.0, 2.0, 4.0, 9.0, np.nan])
    assert normals.n_years == 1
    assert np.isfinite(normals.mean_c[57:60]).all()
    assert np.isnan(normals.mean_c[60])


def test_every_rule_says_what_it_does_and_who_published_it_and_others_are_unknown() -> None:
    assert all(rule.says and rule.source for rule in RULES)
    with pytest.raises(ValueError, match="there are ontario, ontario-frost"):
        find_rule("quebec")
    with pytest.raises(ValueError, match="needs the long-term mean"):
        season("ontario")
