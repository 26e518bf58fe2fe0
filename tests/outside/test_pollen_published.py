"""Do the conditions of the pollination window agree with what is published?"""

from __future__ import annotations

import pytest

from firstsilk.science.flowering.pollen_window import (
    AFTER_SUNRISE_H,
    DRIES_UP_C,
    DRY_ENOUGH_PCT,
    OPENS_KPA,
    count_usable_minutes,
)


def test_conditions_are_the_published_ones():
    # Jarosz et al. 2005: shed starts at a deficit above 0.2-0.5 kPa.
    assert OPENS_KPA == (0.2, 0.5)
    # Jeschke 2023: relative humidity above 70 % cuts shed.
    assert DRY_ENOUGH_PCT == 70
    # Ogden & Hayes 1969: from two hours after sunrise to near sunset.
    assert AFTER_SUNRISE_H == 2
    # University of Nebraska 2019: above 35 °C; trade advice: drying at 37.8 °C (100 °F) and over.
    assert DRIES_UP_C == (35, 37.8)


@pytest.mark.parametrize(("deficit_kpa", "minutes"), [(0.0, 240), (0.5, 240), (1.0, 120), (2.0, 60), (4.0, 60)])
def test_half_of_germination_is_lost_in_one_to_four_hours(deficit_kpa, minutes):
    # Aylor 2004: 60-240 minutes, governed by the deficit summed over time; where in that range is ours.
    assert count_usable_minutes(deficit_kpa) == minutes
