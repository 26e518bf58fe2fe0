"""In what does a fit differ from the slow twin, at the values where the fit stopped, and is that a top?"""

from __future__ import annotations

import numpy as np

from firstsilk.science.analysis.models import Fit, Model
from tests.dense_reml import Answer, Data, Likelihood, Values, evaluate, values_of

# The furthest that a correlation is taken.
FURTHEST = 0.9989


def list_differences(data: Data, model: Model, fit: Fit) -> list[str]:
    """Everything that is not as the dense formulas have it; nothing if all is well.

    The log-likelihood to 1e-6; effects, errors and fitted values to 1e-5, or 1e-6 of a unit; slopes, per unit of log
    variance or the like, to 2e-4.
    """
    values = values_of(fit)
    answer = evaluate(data, model, values)
    told = [] if fit.converged else ["not converged"]
    if abs(fit.reml_log_likelihood - answer.log_likelihood) > 1e-6:
        told.append(f"log-likelihood {fit.reml_log_likelihood}, not {answer.log_likelihood}")
    told += _compare_lines(fit, answer)
    if fit.records is None:
        return [*told, "no records"]
    for name in ("fitted", "residual"):
        if not np.allclose(getattr(fit.records, name), getattr(answer, name), rtol=1e-5, atol=1e-5):
            told.append(f"{name} values")
    return told + _steep(data, model, values)


def _compare_lines(fit: Fit, answer: Answer) -> list[str]:
    """Fixed effects, means and random effects with their errors, by name."""
    told = []
    groups = (
        ({(x.term, x.level): (x.estimate, x.se) for x in fit.fixed}, answer.fixed),
        ({(x.term, x.level): (x.value, x.se) for x in fit.means}, answer.means),
        ({(x.term, x.level): (x.value, x.se) for x in fit.random}, {k: v[:2] for k, v in answer.random.items()}),
    )
    for found, wanted in groups:
        for key, pair in found.items():
            if key not in wanted:
                told.append(f"{key} is unknown")
            elif not np.allclose(pair, wanted[key], rtol=1e-5, atol=1e-6):
                told.append(f"{key}: {pair}, not {wanted[key]}")
    for line in fit.random:
        reliability = answer.random.get((line.term, line.level), (0.0, 0.0, line.reliability))[2]
        if line.reliability is None or reliability is None:
            told += [f"{line.level}: reliability"] if line.reliability is not reliability else []
        elif abs(line.reliability - reliability) > 1e-4:
            told.append(f"{line.level}: reliability {line.reliability}, not {reliability}")
    return told


def _steep(data: Data, model: Model, values: Values) -> list[str]:
    """Slopes that lead up: any inside, only those inwards at a bound."""
    climb = Likelihood(data, model)
    told = []
    at = np.array([_number(values, kind, key) for kind, key in climb.keys])
    for (kind, key), number, slope in zip(climb.keys, at, climb.slope(at), strict=True):
        if kind == "variance":
            steep = slope if number == 0 else abs(slope * number)
        elif kind == "correlation":
            steep = 0.0 if abs(number) > FURTHEST and slope * number > 0 else abs(slope * (1 - number**2))
        else:
            steep = abs(slope) * max(abs(number), 0.1)
        if steep > 2e-4:
            told.append(f"{kind} {key} at {number}: slope {slope}")
    return told


def _number(values: Values, kind: str, key: tuple[str | int, ...]) -> float:
    if kind == "variance":
        return values.variance(str(key[0]), str(key[1]))
    return {"correlation": values.correlations, "loading": values.loadings}[kind][key]  # type: ignore[index]
