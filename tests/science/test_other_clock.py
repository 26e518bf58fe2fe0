"""Is the hint of another scale of heat units nothing where it must be, and right where it is known?"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstsilk.science.flowering.other_clock import find_clock_shifts

DAYS = 120
NORMAL = 18.0 + 6.0 * np.sin(np.arange(DAYS) / DAYS * np.pi)
OTHER = 9.0 + 4.0 * np.sin(np.arange(DAYS) / DAYS * np.pi)
SOWN = np.array([0, 7, 16])
UNITS = np.array([900.0, 1000.0, 1100.0])


def test_a_normal_season_hints_at_nothing():
    assert find_clock_shifts((NORMAL, OTHER), (NORMAL, OTHER), SOWN, UNITS) == pytest.approx([0, 0, 0], abs=1e-4)


@given(st.lists(st.floats(5.0, 30.0), min_size=DAYS, max_size=DAYS), st.floats(0.2, 3.0))
def test_scales_in_proportion_hint_at_nothing(season, share):
    here = np.array(season)
    found = find_clock_shifts((here, here * share), (NORMAL, NORMAL * share), SOWN, UNITS)
    assert found == pytest.approx([0, 0, 0], abs=1e-3)


def test_a_season_that_the_other_scale_sees_slower_needs_more_units():
    # The other scale runs at 0.9 of its usual pace in each day: its total comes when this one has a ninth more.
    found = find_clock_shifts((NORMAL, OTHER * 0.9), (NORMAL, OTHER), SOWN[:1], UNITS[:1])
    flat = find_clock_shifts(
        (np.full(DAYS, 20.0), np.full(DAYS, 9.0)), (np.full(DAYS, 20.0), np.full(DAYS, 10.0)), SOWN, UNITS
    )
    assert flat == pytest.approx(UNITS / 9.0, abs=1e-3)
    assert float(found[0]) > 50.0
    faster = find_clock_shifts((NORMAL, OTHER * 1.1), (NORMAL, OTHER), SOWN, UNITS)
    assert (faster < 0.0).all()


def test_a_row_sown_later_than_usual_starts_in_warmer_days():
    # The other scale gives a third of this one's units at first, and half from day 20 on.
    this = np.full(DAYS, 20.0)
    other = np.where(np.arange(DAYS) < 20, 20.0 / 3.0, 10.0)
    sown, need = np.array([-1, 19]), np.array([800.0, 800.0])
    found = find_clock_shifts((this, other), (this, other), sown, need, usually_sown=-1)
    # Usually: 20 days at 20/3, then 20 at 10: 333.3 in all; sown on day 19 that is 33.3 days, 667 units.
    assert found == pytest.approx([0.0, 1000.0 / 3.0 / 10.0 * 20.0 - 800.0], abs=1e-3)
    assert find_clock_shifts((this, other), (this, other), sown, need) == pytest.approx([0.0, 0.0], abs=1e-3)


def test_days_that_do_not_suffice_hint_at_nothing():
    found = find_clock_shifts((NORMAL, OTHER * 0.1), (NORMAL, OTHER), SOWN, UNITS)
    assert found.tolist() == [0.0, 0.0, 0.0]
    assert find_clock_shifts((NORMAL, OTHER), (NORMAL, OTHER), SOWN[:1], np.array([1e6])).tolist() == [0.0]


def test_days_without_any_units_do_no_harm():
    cold = NORMAL.copy()
    cold[20:60] = 0.0
    found = find_clock_shifts((cold, np.where(cold > 0.0, OTHER, 0.0)), (NORMAL, OTHER), SOWN, np.full(3, 300.0))
    assert np.isfinite(found).all()
    assert np.abs(found).max() < 60.0
