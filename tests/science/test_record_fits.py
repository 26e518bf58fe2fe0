"""Does a fit say of each record what textbook matrices say: fitted, left over, and how far out that is?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Fit, Model, RandomTerm, Residual
from tests.twin_trials import MODELS, columns, incidence, small_trial

Array = NDArray[np.float64]


def left_and_studentised(y: Array, X: Array, V: Array, R: Array) -> tuple[Array, Array]:
    """R P y and (P y)_i / sqrt(P_ii), as they are written in books."""
    inverse = np.linalg.inv(V)
    P = inverse - inverse @ X @ np.linalg.inv(X.T @ inverse @ X) @ X.T @ inverse
    return R @ P @ y, P @ y / np.sqrt(np.diag(P))


def check(fit: Fit, y: Array, left: Array, studentised: Array) -> None:
    told = fit.records
    assert told is not None
    assert told.residual == pytest.approx(left, abs=1e-8)
    assert told.fitted == pytest.approx(y - left, abs=1e-8)
    assert told.studentised == pytest.approx(studentised, abs=1e-8)
    assert not told.ground.any()


@pytest.mark.parametrize("seed", [1, 2])
def test_records_when_residuals_differ_and_records_have_weights_then_textbook(seed: int) -> None:
    data = small_trial(seed, holes=True)
    y = np.array(data["y"], dtype=float)
    fit = fit_mixed_model(data, MODELS["residuals by site"])
    X = np.hstack([np.ones((len(y), 1)), incidence(columns(data, "site"))[:, 1:]])
    Z = incidence(columns(data, "line"))
    spread = [fit.variance("residual", site) for site in columns(data, "site")]
    R = np.diag(np.array(spread) / np.array(data["w"], dtype=float))
    check(fit, y, *left_and_studentised(y, X, R + fit.variance("line") * Z @ Z.T, R))


def test_records_when_the_covariance_is_known_then_textbook_and_in_record_order() -> None:
    data = small_trial(3, holes=True)
    y = np.array(data["y"], dtype=float)
    n = len(y)
    at = np.arange(n)
    R = 0.4 ** np.abs(at[:, None] - at) * np.outer(1 + at / n, 1 + at / n)
    holed = dict(data)
    holed["y"] = [None if k == 5 else value for k, value in enumerate(data["y"])]
    model = Model("y", (("site",),), (RandomTerm(("line",)),), Residual(covariance=R))
    fit = fit_mixed_model(holed, model)
    kept = np.delete(at, 5)
    X = np.hstack([np.ones((n, 1)), incidence(columns(data, "site"))[:, 1:]])[kept]
    Z = incidence(columns(data, "line"))[kept]
    inside = R[np.ix_(kept, kept)]
    assert fit.records is not None
    assert fit.records.kept.tolist() == kept.tolist()
    check(fit, y[kept], *left_and_studentised(y[kept], X, inside + fit.variance("line") * Z @ Z.T, inside))


def test_records_when_an_entry_fixed_has_one_record_then_it_has_no_studentised_residual() -> None:
    data: dict[str, list[object]] = {"e": ["a", "a", "b", "b", "c"], "y": [1.0, 2.0, 4.0, 3.5, 9.0]}
    told = fit_mixed_model(data, Model("y", (("e",),))).records
    assert told is not None
    assert np.isnan(told.studentised).tolist() == [False, False, False, False, True]
    assert told.fitted[4] == pytest.approx(9.0)


def test_records_when_values_are_scaled_and_shifted_then_only_the_scale_follows() -> None:
    data = small_trial(4, holes=False)
    model = replace(MODELS["one residual"])
    moved = dict(data)
    moved["y"] = [100.0 + 7.0 * float(str(value)) for value in data["y"]]
    plain, other = fit_mixed_model(data, model).records, fit_mixed_model(moved, model).records
    assert plain is not None
    assert other is not None
    assert other.studentised == pytest.approx(plain.studentised, abs=1e-6)
    assert other.residual == pytest.approx(7.0 * plain.residual, abs=1e-6)
