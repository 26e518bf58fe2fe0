"""Are the humps of a smooth axis those of the textbook, and is a straight axis what is left of a bent one?"""

from __future__ import annotations

import numpy as np
import pytest
import scipy.interpolate

from firstsilk.science.analysis.splines import plan_axis


def test_axis_when_laid_out_then_humps_sum_to_one_and_reach_over_four_at_most() -> None:
    axis = plan_axis(3.0, 18.0, 9)
    humps = axis.humps(np.linspace(3.0, 18.0, 50)).toarray()
    assert humps.sum(axis=1) == pytest.approx(np.ones(50))
    assert (humps > 0).sum(axis=1).max() <= 4
    assert humps.min() >= 0


def test_axis_when_values_are_a_cubic_then_the_humps_hold_it_exactly() -> None:
    at = np.linspace(-2.0, 5.0, 60)
    humps = plan_axis(-2.0, 5.0, 8).humps(at).toarray()
    wanted = 1.0 - 2.0 * at + 0.3 * at**2 - 0.1 * at**3
    assert humps @ np.linalg.lstsq(humps, wanted, rcond=None)[0] == pytest.approx(wanted, abs=1e-10)


def test_axis_when_compared_with_one_hump_by_scipy_then_the_same() -> None:
    axis = plan_axis(0.0, 10.0, 7)
    low, high = -0.01, 10.01
    knots = low + (high - low) / 4 * np.arange(-3, 8)
    at = np.linspace(0.0, 10.0, 33)
    for k in range(7):
        one = scipy.interpolate.BSpline(knots, np.eye(7)[k], 3)
        assert axis.humps(at).toarray()[:, k] == pytest.approx(one(at), abs=1e-12)


def test_wiggles_when_there_are_none_then_two_roots_are_0_and_belong_to_straight_lines() -> None:
    axis = plan_axis(1.0, 9.0, 6)
    assert axis.wiggles[:2] == pytest.approx([0.0, 0.0], abs=0.0)
    assert axis.wiggles[2] > 1e-6
    assert axis.shapes.T @ axis.mass @ axis.shapes == pytest.approx(np.eye(6), abs=1e-9)
    for straight in (np.ones(6), np.arange(6.0)):
        assert axis.penalty @ straight == pytest.approx(np.zeros(6), abs=1e-12)


def test_axis_when_straightened_then_its_lines_are_what_the_humps_make_of_straight_coefficients() -> None:
    axis = plan_axis(1.0, 9.0, 6)
    straight = axis.straighten()
    at = np.linspace(1.0, 9.0, 17)
    lines = straight.humps(at).toarray()
    assert lines[:, 0] == pytest.approx(np.ones(17))
    assert np.diff(lines[:, 1]) == pytest.approx(np.full(16, np.diff(lines[:, 1])[0]))
    assert straight.size == 2
    assert not straight.penalty.any()
    assert straight.shapes.T @ straight.mass @ straight.shapes == pytest.approx(np.eye(2), abs=1e-12)
