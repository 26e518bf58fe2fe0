"""Is every form found by its name, told with its source, and kept apart from the others?"""

from __future__ import annotations

import numpy as np
import pytest

from firstsilk.science.climate.degree_days import DegreeDayLimits
from firstsilk.science.climate.heat import SCALES, heat_units
from firstsilk.science.climate.heat_forms import DEFAULT_FORMS, FORMS, count_by_form, find_form

COOL, WARM = np.array([4.0, 12.0, -2.0]), np.array([20.0, 34.0, 15.0])


def test_every_form_has_a_name_of_its_own_a_rule_and_a_source() -> None:
    assert len({form.name for form in FORMS}) == len(FORMS)
    assert all(form.says and form.source for form in FORMS)


@pytest.mark.parametrize("scale", SCALES)
def test_a_scale_without_a_form_is_counted_by_the_form_of_plans(scale):
    assert (count_by_form(COOL, WARM, scale) == heat_units(COOL, WARM, scale)).all()
    assert find_form(scale).name == DEFAULT_FORMS[scale]


def test_forms_of_degree_days_give_what_was_worked_by_hand() -> None:
    # 4/20: clamped 10 and 20 -> 5; mean 12 -> 2. 12/34: clamped 12 and 30 -> 11; raised 12 and 34 -> 13; mean 23.
    # -2/15: clamped 10 and 15 -> 2.5; mean 6.5 -> 0.
    expected = {
        "clamped": [5.0, 11.0, 2.5],
        "clamped-below": [5.0, 13.0, 2.5],
        "mean-clamped": [2.0, 13.0, 0.0],
        "plain": [2.0, 13.0, 0.0],
    }
    for form, units in expected.items():
        assert count_by_form(COOL, WARM, "gdd_c", form) == pytest.approx(units)
        assert count_by_form(COOL, WARM, "gdd_f", form) == pytest.approx(1.8 * np.array(units))
    assert count_by_form([28.0], [38.0], "gdd_c", "mean-clamped") == pytest.approx([20.0])


def test_a_curve_without_cutoff_is_above_all_cutoffs_and_vertical_below_all() -> None:
    for curve in ("sine", "triangle", "double-sine", "double-triangle"):
        none, flat, slow, stop = (
            count_by_form(COOL, WARM, "gdd_c", name)
            for name in (curve, f"{curve}-horizontal", f"{curve}-intermediate", f"{curve}-vertical")
        )
        assert (none >= flat).all()
        assert (flat >= slow).all()
        assert (slow >= stop).all()


def test_a_double_curve_goes_down_to_the_next_minimum_and_the_last_day_to_its_own() -> None:
    double = count_by_form(COOL, WARM, "gdd_c", "double-sine")
    single = count_by_form(COOL, WARM, "gdd_c", "sine")
    other_half = count_by_form([12.0], [20.0], "gdd_c", "sine")
    assert double[0] == pytest.approx((single[0] + other_half[0]) / 2)
    assert double[-1] == pytest.approx(single[-1])


def test_other_limits_make_other_units_and_only_degree_days_take_them() -> None:
    assert count_by_form(COOL, WARM, "gdd_c", "plain", limits=DegreeDayLimits(5.0, 99.0)) == pytest.approx([7, 18, 1.5])
    with pytest.raises(ValueError, match="no other limits"):
        count_by_form(COOL, WARM, "chu", limits=DegreeDayLimits(5.0, 30.0))


@pytest.mark.parametrize(
    ("scale", "form", "told"),
    [
        ("chu", "sine", "it has ontario, unfloored, night-4.44, prairie"),
        ("gdd_c", "ontario", "has no form 'ontario'"),
        ("chu", "hourly", "no published hourly form"),
        ("gdd_c", "hourly", "needs hourly readings"),
    ],
)
def test_a_form_of_another_scale_is_refused_by_name(scale, form, told):
    with pytest.raises(ValueError, match=told):
        count_by_form(COOL, WARM, scale, form)
