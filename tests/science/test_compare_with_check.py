"""Is the chance of beating the check the one that the errors imply?"""

from __future__ import annotations

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.comparisons import compare_with_check, least_significant_difference
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Model, RandomTerm

NAMES = ("A", "B", "K")
VALUES = np.array([1.0, -0.5, 0.0])
ERRORS = np.array([[0.5, 0.1, 0.1], [0.1, 0.5, 0.1], [0.1, 0.1, 0.3]])


def test_chance_when_the_difference_is_known_then_from_the_normal_table() -> None:
    found = compare_with_check(NAMES, VALUES, ERRORS, "K")
    assert [one.entry for one in found] == ["A", "B"]
    assert found[0].se == pytest.approx(np.sqrt(0.5 + 0.3 - 0.2))
    # Phi(1 / .7745967) = Phi(1.2909944) = .90165, Phi(-.6454972) = .25930: standard normal table.
    assert [one.probability for one in found] == pytest.approx([0.90165, 0.25930], abs=1e-5)


def test_chance_when_less_is_wanted_then_the_complement() -> None:
    more = compare_with_check(NAMES, VALUES, ERRORS, "K")
    less = compare_with_check(NAMES, VALUES, ERRORS, "K", more_is_better=False)
    for one, two in zip(more, less, strict=True):
        assert one.probability + two.probability == pytest.approx(1.0)
        assert one.difference == -two.difference


def test_chance_when_nothing_is_uncertain_then_0_a_half_or_1() -> None:
    found = compare_with_check(("A", "B", "C", "K"), np.array([1.0, -1.0, 0.0, 0.0]), np.zeros((4, 4)), "K")
    assert [one.probability for one in found] == [1.0, 0.0, 0.5]


def test_chance_when_the_check_is_absent_or_shapes_differ_then_refused() -> None:
    with pytest.raises(InputRefused, match="'Z' is not among the entries"):
        compare_with_check(NAMES, VALUES, ERRORS, "Z")
    with pytest.raises(InputRefused, match="need 3 values"):
        compare_with_check(NAMES, VALUES[:2], ERRORS, "K")


def test_chance_when_many_trials_are_simulated_then_kept_as_often_as_promised() -> None:
    """Of differences given a chance between 60 and 90 %, that share is truly better (400 trials of 8 entries)."""
    dice = np.random.default_rng(11)
    promised, kept = [], []
    names = [f"L{k}" for k in range(8)]
    model = Model("y", (("site",),), (RandomTerm(("line",), variance=1.0),), genotype="line")
    for _ in range(400):
        truth = dice.normal(size=8)
        y = np.concatenate([truth + shift + dice.normal(size=8) for shift in (0.0, 1.0, 3.0)])
        data = {"y": y, "line": names * 3, "site": [s for s in "ABC" for _ in range(8)]}
        fit = fit_mixed_model(data, model)
        values = np.array([line.value for line in fit.random])
        for one in compare_with_check(names, values, fit.random_covariance["line"], "L0"):
            if 0.6 < one.probability < 0.9:
                promised.append(one.probability)
                kept.append(truth[names.index(one.entry)] > truth[0])
    # About 900 pairs; pairs of one trial share the check, so allow three standard errors of about .02.
    assert np.mean(kept) == pytest.approx(np.mean(promised), abs=0.06)


def test_lsd_when_24_degrees_of_freedom_then_from_the_table_of_t() -> None:
    # t(.975, 24) = 2.0639 (table of Student's t) times sqrt(2 x .36 / 3) = 1.0110997.
    assert least_significant_difference(0.36, 3, 24) == pytest.approx(1.0110997, abs=1e-6)
    with pytest.raises(InputRefused, match="above 0"):
        least_significant_difference(0.36, 0, 24)
