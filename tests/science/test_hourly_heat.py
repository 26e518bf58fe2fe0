"""Do a day's hours add up to its degree days, with hours missing and none at all?"""

from __future__ import annotations

import numpy as np
import pytest

from firstsilk.science.climate.degree_days import GDD_C
from firstsilk.science.climate.heat_forms import count_by_form, count_hours_by_form


def test_hours_clamped_one_by_one_add_up_by_hand() -> None:
    # Six hours each of 4, 14, 34 and 20 °C: (0 + 4 + 20 + 10) / 4; their mean is 18, so 8.
    day = np.repeat([4.0, 14.0, 34.0, 20.0], 6)[None]
    assert count_hours_by_form(day, "gdd_c", "hourly") == pytest.approx([8.5])
    assert count_hours_by_form(day, "gdd_c", "hourly-mean") == pytest.approx([8.0])
    assert count_hours_by_form(day * 1.8 + 32, "gdd_c", "hourly", "f") == pytest.approx([8.5])
    assert count_hours_by_form(day, "gdd_f", "hourly") == pytest.approx([8.5 * 1.8])


def test_unknown_hours_take_the_mean_of_the_known_and_a_day_without_any_is_unknown() -> None:
    day = np.repeat([4.0, 14.0, 34.0, 20.0], 6)
    thinned = np.where(np.arange(24) % 2, np.nan, day)
    units = count_hours_by_form(np.stack([thinned, np.full(24, np.nan)]), "gdd_c", "hourly")
    assert units[0] == pytest.approx(8.5)
    assert np.isnan(units[1])


@pytest.mark.parametrize(("low", "high"), [(2.0, 15.0), (8.0, 35.0), (12.0, 26.0), (-5.0, 8.0)])
def test_many_hours_of_a_sine_are_the_sine_form_with_horizontal_cutoff(low, high):
    turn = (np.arange(24_000) + 0.5) / 24_000 * 2 * np.pi
    moments = (low + high) / 2 + (high - low) / 2 * np.sin(turn)
    expected = count_by_form([low], [high], "gdd_c", "sine-horizontal")
    assert count_hours_by_form(moments[None], "gdd_c", "hourly") == pytest.approx(expected, abs=1e-4)
    # The mean of the hours loses what lies below the base: never more than the sum hour by hour without a cap.
    uncapped = count_by_form([low], [high], "gdd_c", "sine")
    assert count_hours_by_form(moments[None], "gdd_c", "hourly-mean")[0] <= uncapped[0] + 1e-9


def test_corn_heat_units_of_hours_are_refused_with_the_reason() -> None:
    with pytest.raises(ValueError, match="no published hourly form"):
        count_hours_by_form(np.full((1, 24), 20.0), "chu", "hourly")
    with pytest.raises(ValueError, match="not from hours"):
        count_hours_by_form(np.full((1, 24), 20.0), "gdd_c", "clamped")
    assert GDD_C.lower == 10.0
