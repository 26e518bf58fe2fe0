"""Are many traits fitted side by side as each alone, in the order asked, whoever does it?"""

from __future__ import annotations

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Model, RandomTerm
from firstsilk.work.analysis.many_traits import fit_traits
from firstsilk.work.analysis.workers import Processes

Data = dict[str, list[object]]
MODEL = Model("any", (("site",),), (RandomTerm(("line",)),), genotype="line")


def lay(seed: int) -> Data:
    dice = np.random.default_rng(seed)
    data: Data = {"site": [], "line": [], "good": [], "same": [], "holes": [], "tall": []}
    for s in range(3):
        for k in range(12):
            for _ in range(2):
                y = s + k / 5 + dice.normal()
                row = (f"S{s}", f"L{k}", y, 5.0, None if dice.random() < 0.2 else y + dice.normal(), 100 + 9 * y)
                for name, cell in zip(data, row, strict=True):
                    data[name].append(cell)
    return data


TRAITS = ("tall", "same", "good", "holes")


def test_each_trait_is_fitted_as_it_would_be_alone_and_in_order() -> None:
    data = lay(1)
    told: list[tuple[int, int]] = []
    answers = fit_traits(data, MODEL, TRAITS, progress=lambda done, of: told.append((done, of)))
    assert tuple(answer.trait for answer in answers) == TRAITS
    assert told == [(1, 4), (2, 4), (3, 4), (4, 4)]
    for answer in answers:
        if answer.trait == "same":
            continue
        assert answer.found is not None
        alone = fit_mixed_model(data, Model(answer.trait, MODEL.fixed, MODEL.random, genotype="line"))
        assert answer.found.fit.reml_log_likelihood == alone.reml_log_likelihood
        assert answer.found.fit.random == alone.random
        assert answer.found.tests is not None


def test_a_trait_that_does_not_vary_is_refused_and_stops_no_other() -> None:
    same = fit_traits(lay(1), MODEL, TRAITS)[1]
    assert same.found is None
    assert same.lost is not None
    assert same.lost.code == "no_variation"


@pytest.mark.parametrize("count", [2, 3])
def test_any_number_of_workers_gives_the_same_bytes(count: int) -> None:
    data = lay(2)
    here, there = fit_traits(data, MODEL, TRAITS), fit_traits(data, MODEL, TRAITS, Processes(count))
    for one, two in zip(here, there, strict=True):
        assert (one.trait, one.lost) == (two.trait, two.lost)
        if one.found is None or two.found is None:
            assert one.found is two.found
            continue
        assert one.found.tests == two.found.tests
        assert one.found.differences == two.found.differences
        assert one.found.fit.random == two.found.fit.random
        assert one.found.fit.variances == two.found.fit.variances
        for term, covariance in one.found.fit.mean_covariance.items():
            assert covariance.tobytes() == two.found.fit.mean_covariance[term].tobytes()


def test_a_trait_that_is_no_column_or_named_twice_is_refused_before_any_work() -> None:
    with pytest.raises(InputRefused, match="no column 'sweet'"):
        fit_traits(lay(1), MODEL, ("good", "sweet"))
    with pytest.raises(InputRefused, match="'good' is named twice"):
        fit_traits(lay(1), MODEL, ("good", "good"))
