"""What is each parent's combining ability likely to be, if parents are draws from a population?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.ability_variances import code_parts, write_model
from firstsilk.science.analysis.intervals import Contrast, estimate_contrasts
from firstsilk.science.analysis.matings import Matings
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Array, Fit, Model

AT_ONCE = 100


@dataclass(frozen=True, slots=True)
class Prediction:
    """A predicted effect; `low` and `high` hold the truth in 95 of 100 cases, None where that cannot be worked out."""

    mother: str
    father: str
    value: float
    se: float
    df: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Predictions:
    """Predictions by set of parents (one parent named) and of crosses (SCA), the fit's log-likelihood, remarks."""

    gca: Mapping[str, tuple[Prediction, ...]]
    sca: tuple[Prediction, ...]
    reml_log_likelihood: float
    remark: str


def predict_abilities(matings: Matings, known_residual: float | None = None) -> Predictions:
    """Predict GCA and SCA with all parents random, blocks fixed, variances by REML.

    Parameters
    ----------
    matings
        As `arrange_matings` gives them; any number of records of any crosses.
    known_residual
        Mean square of the error of a record, if known from elsewhere.

    Returns
    -------
    Predictions
        In the unit of the response, drawn towards 0 as far as the records are few.

    Raises
    ------
    InputRefused
        As `fit_mixed_model`: where variances cannot be told apart, or nothing is left over.

    Notes
    -----
    Best linear unbiased predictions and intervals as `estimate_contrasts` gives them. In a diallel GCA is worked out
    from the sums g_i + g_j that crosses show; where these do not tell the parents apart there is none.

    References
    ----------
    Henderson 1975 Biometrics 31:423.

    Checked by
    ----------
    tests/science/test_ability_engine.py
    """
    data, model = write_model(matings, known_residual)
    fit = fit_mixed_model(data, model)
    gca: dict[str, tuple[Prediction, ...]] = {}
    remark = "" if fit.converged else f"REML stopped after {fit.iterations} steps before it was done"
    for name, part in code_parts(matings).items():
        if not name.startswith("gca"):
            continue
        parents = matings.fathers if name == "gca_father" else matings.mothers
        rows = _rows_of(part, name == "gca")
        if rows is None:
            remark = "the crosses do not tell the GCA of single parents"
            continue
        told = _predict(data, model, fit, name, rows)
        gca[name] = tuple(
            _tell("" if name == "gca_father" else parent, parent if name == "gca_father" else "", one)
            for parent, one in zip(parents, told, strict=True)
        )
    pairs = code_parts(matings)["sca"]
    first = [matings.names(int(np.argmax(column))) for column in pairs.T]
    told = _predict(data, model, fit, "sca", [{f"x{at}": 1.0} for at in range(len(first))])
    sca = tuple(_tell(*names, one) for names, one in zip(first, told, strict=True))
    return Predictions(gca, sca, fit.reml_log_likelihood, remark)


def _rows_of(part: Array, of_sums: bool) -> list[dict[str, float]] | None:
    """How each parent's effect is put together from the levels of the fitted term; None if it cannot be."""
    if not of_sums:
        return [{f"x{at}": 1.0} for at in range(part.shape[1])]
    if np.linalg.matrix_rank(part) < part.shape[1]:
        return None
    back = np.linalg.pinv(part)
    return [{f"x{at}": float(w) for at, w in enumerate(row) if abs(w) > 1e-12} for row in back]


def _predict(
    data: Mapping[str, Sequence[object]], model: Model, fit: Fit, term: str, rows: Sequence[Mapping[str, float]]
) -> list[Contrast]:
    try:
        return [
            one
            for start in range(0, len(rows), AT_ONCE)
            for one in estimate_contrasts(data, model, fit, term, rows[start : start + AT_ONCE])
        ]
    except InputRefused as no:
        if no.refusal is None or no.refusal.code != "beyond_tests" or any(len(row) > 1 for row in rows):
            raise
    own = {line.level: line for line in fit.random if line.term == term}
    lines = [own[next(iter(row))] for row in rows]
    return [Contrast(line.value, line.se, None, np.nan, np.nan, line.se) for line in lines]


def _tell(mother: str, father: str, one: Contrast) -> Prediction:
    low, high = (None, None) if np.isnan(one.low) else (one.low, one.high)
    return Prediction(mother, father, one.value, one.se, one.df, low, high)
