"""Do the crew's rates and first days agree with what is published?"""

from __future__ import annotations

import math

import pytest

from firstsilk.science.flowering.crew import FIRST_DAYS, PUBLISHED_PER_HOUR, count_workers


def test_rate_of_all_steps_is_about_fifteen_an_hour():
    # Thayer & Down 1942 (abstract): 3.92 minutes of field labour a pollination.
    assert pytest.approx(15.3, abs=0.01) == PUBLISHED_PER_HOUR


def test_peak_day_of_forty_thousand_asks_for_43_workers():
    # Common practice, no source: 40,000 pollinations whose dates spread by 4.5 days, 15 an hour, 7 hours, 0.8; told as
    # 8.9 % of the season on the peak day, about 3,550 pollinations, and "42 workers". 3,550 / 84 = 42.3; up, it is 43.
    peak = 40_000 / (4.5 * math.sqrt(2 * math.pi))
    assert peak == pytest.approx(3_546, abs=1)
    assert peak / 84 == pytest.approx(42.2, abs=0.05)
    assert count_workers(peak, 15, 7, 0.8) == 43


def test_first_days_are_the_published_shares():
    # MMWR 2014: 20 % of the usual time on day one, adding at most 20 % a day.
    assert FIRST_DAYS["us-20"] == (0.2, 0.4, 0.6, 0.8)
    # Rutgers: a third on days 1-2, a half on days 3-4, two thirds on days 5-6.
    assert FIRST_DAYS["thirds"] == (1 / 3, 1 / 3, 1 / 2, 1 / 2, 2 / 3, 2 / 3)
