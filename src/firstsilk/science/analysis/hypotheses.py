"""What does it mean that a fixed term does nothing? The combinations of coefficients that are then 0."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.linalg

from firstsilk.science.analysis.codings import FixedTerm, build_design, plan_terms
from firstsilk.science.analysis.models import Array, Model
from firstsilk.science.analysis.records import Records


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """A term, and the combinations (m, p) of all coefficients that are 0 if it does nothing."""

    term: str
    combinations: Array


def plan_hypotheses(terms: Sequence[FixedTerm], records: Records, model: Model) -> tuple[Hypothesis, ...]:
    """Say for each fixed term but the intercept what is tested.

    Parameters
    ----------
    terms
        The coded terms, as `plan_terms` gives them.
    records
        The records that take part.
    model
        The model, for what its terms are.

    Returns
    -------
    tuple of Hypothesis
        In the order of the terms.

    Notes
    -----
    The same columns are coded once more so that every class sums to zero and every number is 0 at its mean; a term does
    nothing if all its coefficients are 0 then. So a main effect is the differences among its marginal means, the other
    classes averaged equally whatever their numbers of records (Yates 1934 J Am Stat Assoc 29:51, equally weighted
    means), and numbers at their mean. A number stays uncentred where a term that holds it stands without the term that
    is left when it is taken out (slopes by class without a mean for each class): then it is taken at 0. The
    combinations of a term are orthonormal in the coefficients of the fit, whose classes lack their first level: the
    degrees of freedom of `judge_together` depend, slightly, on such a choice; those of `judge_adjusted` do not.

    Checked by
    ----------
    tests/outside/test_fixed_tests_published.py, tests/science/test_fixed_tests.py
    """
    coded = plan_terms(records, replace(model, sum_coded=tuple(records.classes)))
    centred = replace(records, numbers=centre_numbers(records.numbers, model))
    Q, R = np.linalg.qr(build_design(coded, centred))
    to_coded = scipy.linalg.solve_triangular(R, Q.T @ build_design(terms, records))
    planned, first = [], 1
    for term in coded[1:]:
        own = to_coded[first : first + len(term.levels)]
        planned.append(Hypothesis(term.name, np.linalg.qr(own.T)[0].T))
        first += len(term.levels)
    return tuple(planned)


def centre_numbers(numbers: Mapping[str, Array], model: Model) -> dict[str, Array]:
    """Number columns less their mean, where that changes no other term (`plan_hypotheses`).

    Checked by
    ----------
    tests/outside/test_fixed_tests_published.py
    """
    sets: set[frozenset[str]] = {frozenset(term) for term in model.fixed} | {frozenset()}
    free = {name for name in numbers if all(term - {name} in sets for term in sets if name in term)}
    return {name: values - np.mean(values) if name in free else values for name, values in numbers.items()}
