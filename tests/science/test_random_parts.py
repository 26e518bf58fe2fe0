"""Are the weights of mixtures those of slow drawing, are chances true where nothing is there, and who is refused?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import scipy.optimize

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.mixtures import find_mixture_chance, weigh_mixture
from firstsilk.science.analysis.models import Array, Model, RandomTerm, Residual, Surface
from firstsilk.science.analysis.random_parts import FittedModel, compare_fits, compare_models

Data = dict[str, list[object]]


def draw_weights(J: Array, draws: int, dice: np.random.Generator) -> Array:
    """How many parts stay positive when normal values are brought to the nearest without negative parts."""
    upper = np.linalg.cholesky(J).T
    counts = np.zeros(len(J) + 1)
    for point in dice.normal(size=(draws, len(J))):
        counts[int(np.sum(scipy.optimize.nnls(upper, point)[0] > 0))] += 1
    return counts / draws


@pytest.mark.parametrize("k", [1, 2, 3, 4])
def test_weights_are_those_of_slow_drawing(k: int) -> None:
    dice = np.random.default_rng(k)
    root = dice.normal(size=(k, k + 1))
    J = root @ root.T + 0.2 * np.eye(k)
    slow = draw_weights(J, 40_000, dice)
    # Four standard errors of 40,000 draws are at most 0.01.
    assert weigh_mixture(J) == pytest.approx(slow, abs=0.01)


def test_independent_variances_are_binomial() -> None:
    assert weigh_mixture(np.diag([1.0, 5.0, 0.1])) == pytest.approx([1 / 8, 3 / 8, 3 / 8, 1 / 8], abs=1e-12)
    five = [1, 5, 10, 10, 5, 1]
    assert weigh_mixture(np.eye(5)) == pytest.approx([one / 32 for one in five], abs=0.003)


def test_chances_fall_from_1_and_stay_below_the_plain_one() -> None:
    weights = weigh_mixture(np.array([[2.0, 0.7], [0.7, 1.0]]))
    chances = [find_mixture_chance(ratio, 0, weights) for ratio in (0.0, 0.1, 1.0, 5.0, 20.0)]
    assert chances[0] == pytest.approx(1.0)
    assert chances == sorted(chances, reverse=True)
    for ratio in (0.1, 1.0, 5.0):
        assert find_mixture_chance(ratio, 0, weights) < find_mixture_chance(ratio, 2, (1.0,))


def test_information_that_cannot_tell_two_variances_apart_is_refused() -> None:
    with pytest.raises(InputRefused, match="told apart"):
        weigh_mixture(np.ones((2, 2)))


def lay(dice: np.random.Generator) -> Data:
    """Crossed rows and columns without any effect of either."""
    data: Data = {"a": [], "b": [], "x": [], "y": []}
    for a in range(12):
        for b in range(12):
            row = (f"A{a}", f"B{b}", dice.normal(), dice.normal())
            for name, cell in zip(data, row, strict=True):
                data[name].append(cell)
    return data


A, B = RandomTerm(("a",)), RandomTerm(("b",))


def test_chances_are_true_where_nothing_is_there() -> None:
    """300 trials: a chance of 0.1 or less in 10 %, within four standard errors; the plain one is too careful."""
    dice = np.random.default_rng(11)
    found = [compare_models(lay(dice), Model("y"), Model("y", random=(A, B))) for _ in range(300)]
    share = float(np.mean([one.p <= 0.1 for one in found]))
    assert abs(share - 0.1) < 4 * np.sqrt(0.09 / 300)
    assert float(np.mean([one.p_plain <= 0.1 for one in found])) < share
    # Rows and columns are all but independent: their information shares the residual only.
    assert found[0].weights == pytest.approx((0.25, 0.5, 0.25), abs=0.02)


def test_a_comparison_from_fits_is_that_of_their_models() -> None:
    data = lay(np.random.default_rng(1))
    small, large = Model("y", random=(A,)), Model("y", random=(B, A))
    fits = [FittedModel(model, fit_mixed_model(data, model)) for model in (small, large)]
    assert compare_fits(data, *fits) == compare_models(data, small, large)


BASE = Model("y", (("x",),), (A,), numeric=("x",))


@pytest.mark.parametrize(
    ("small", "large", "said"),
    [
        (replace(BASE, fixed=()), replace(BASE, random=(A, B)), "fixed terms"),
        (BASE, replace(BASE, random=(A, B), response="x", fixed=()), "response"),
        (replace(BASE, random=(A, B)), BASE, "no term 'b'"),
        (BASE, BASE, "adds nothing"),
        (replace(BASE, residual=Residual("b")), BASE, "by 'b' in the smaller"),
        (BASE, replace(BASE, random=(A, RandomTerm(("b",), variance=1.0))), "is known"),
        (BASE, replace(BASE, random=(RandomTerm(("a",), variance=1.0), B)), "another relationship or known"),
    ],
)
def test_what_cannot_be_compared_is_refused(small: Model, large: Model, said: str) -> None:
    with pytest.raises(InputRefused, match=said):
        compare_models(lay(np.random.default_rng(2)), small, large)


def test_surfaces_are_not_compared() -> None:
    data = lay(np.random.default_rng(2))
    fit = fit_mixed_model(data, BASE)
    small = FittedModel(replace(BASE, surfaces=(Surface(("x",), (5,)),)), fit)
    with pytest.raises(InputRefused, match="Surfaces"):
        compare_fits(data, small, FittedModel(BASE, fit))


def test_fits_of_other_records_are_refused() -> None:
    data = lay(np.random.default_rng(3))
    fewer = {name: values[:-1] for name, values in data.items()}
    large = replace(BASE, random=(A, B))
    with pytest.raises(InputRefused, match="other records"):
        compare_fits(
            data, FittedModel(BASE, fit_mixed_model(fewer, BASE)), FittedModel(large, fit_mixed_model(data, large))
        )
