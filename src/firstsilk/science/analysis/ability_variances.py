"""How much do crosses differ by their parents in general, and how much by the single cross?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import scipy.linalg

from firstsilk.answers import FirstsilkError
from firstsilk.science.analysis.cross_means import SAME, CrossMeans
from firstsilk.science.analysis.matings import LINE_TESTER, WITH_RECIPROCALS, Codes, Matings
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Array, Model, RandomTerm, Relationship, Residual

VARIANCES_BY = ("auto", "moments", "reml")
NAMES = ("gca_mother", "gca_father", "gca", "sca", "reciprocal", "residual")
EXACT = 1e-8
"""A combination of mean squares that misses a variance by no more than this stands for it alone."""


@dataclass(frozen=True, slots=True)
class Split:
    """One source: degrees of freedom, sum of squares, and what each variance adds to its expected sum of squares."""

    source: str
    df: int
    ss: float
    expected: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Variances:
    """Variances by name (None: not in the design, or not to be told), how they were found, and which came out below 0.

    `below_zero` holds the moment estimates that are given as 0; REML has none. `remark` says why REML was left.
    """

    values: Mapping[str, float | None]
    by: str
    below_zero: Mapping[str, float]
    at_bound: tuple[str, ...]
    remark: str


def code_parts(matings: Matings) -> dict[str, Array]:
    """The columns of each source over the crosses: (c, levels), in the order in which they are fitted."""
    mother, father = matings.crosses.T
    c = len(mother)
    to_mother, to_father = np.zeros((c, len(matings.mothers))), np.zeros((c, len(matings.fathers)))
    to_mother[np.arange(c), mother] = 1.0
    to_father[np.arange(c), father] = 1.0
    if matings.kind == LINE_TESTER:
        return {"gca_mother": to_mother, "gca_father": to_father, "sca": np.eye(c)}
    pairs = number_pairs(matings)
    to_pair = np.zeros((c, pairs.max() + 1))
    to_pair[np.arange(c), pairs] = 1.0
    parts = {"gca": to_mother + to_father, "sca": to_pair}
    if matings.griffing in WITH_RECIPROCALS:
        parts["reciprocal"] = to_pair * np.sign(father - mother)[:, None]
    return parts


def number_pairs(matings: Matings) -> Codes:
    """The number of each cross's pair of parents, whichever is the mother (c,)."""
    pairs = np.unique(np.sort(matings.crosses, axis=1), axis=0, return_inverse=True)[1]
    return np.asarray(pairs, dtype=np.intp).ravel()


def split_sums_of_squares(matings: Matings, means: CrossMeans) -> tuple[Split, ...]:
    """Sums of squares of records by source, after blocks, with their expectations when all sources are random.

    Notes
    -----
    Each source after those before it; mothers and fathers each after the other. The expected sum of squares of a
    source is its degrees of freedom times the residual variance plus, for each variance, the trace of the projection
    times that source's columns.
    """
    columns = {name: means.root.T @ part for name, part in code_parts(matings).items()}
    answer = scipy.linalg.solve_triangular(means.root, means.score, lower=True)
    common = means.root.T @ np.ones((len(answer), 1))
    before = np.asarray(common / np.linalg.norm(common), dtype=np.float64)
    splits = []
    for name, block in columns.items():
        if name == list(columns)[-1]:
            # All sources together leave nothing of the crosses, so the last is what the others leave.
            splits.append(_rest(name, answer, columns, before))
            continue
        first = np.hstack([before, _new_directions(columns["gca_father"], before)]) if name == "gca_mother" else before
        own = _new_directions(block, first)
        before = np.hstack([before, _new_directions(block, before)])
        expected = {other: float(np.sum((own.T @ column) ** 2)) for other, column in columns.items()}
        splits.append(Split(name, own.shape[1], float(np.sum((own.T @ answer) ** 2)), expected))
    return tuple(splits)


def _rest(source: str, answer: Array, columns: Mapping[str, Array], before: Array) -> Split:
    def size(values: Array) -> float:
        return float(np.sum((values - before @ (before.T @ values)) ** 2))

    df = len(answer) - before.shape[1]
    if not df:
        return Split(source, 0, 0.0, dict.fromkeys(columns, 0.0))
    return Split(source, df, size(answer), {name: size(column) for name, column in columns.items()})


def _new_directions(block: Array, before: Array) -> Array:
    """Orthonormal directions that `block` adds to those of `before`."""
    size = float(np.linalg.norm(block))
    rest = block
    for _ in range(2):
        rest = rest - before @ (before.T @ rest)
    left, sizes, _ = np.linalg.svd(rest, full_matrices=False)
    return np.asarray(left[:, sizes > SAME * size], dtype=np.float64)


def estimate_variances(
    matings: Matings, splits: tuple[Split, ...], residual: float | None, by: str, known: float | None
) -> Variances:
    """Variances of the sources taken as random.

    Notes
    -----
    Moments: each variance is the combination of mean squares whose expectation is that variance and nothing else; it
    is None if there is none, and 0 if it comes out below 0. REML: blocks fixed; where no error is left over and none
    is known, or the fit refuses, moments are used and `remark` says so.
    """
    remark = ""
    if by == "reml" or (by == "auto" and not matings.balanced):
        if residual is None:
            remark = "no error is left over, so variances are by moments"
        else:
            try:
                return _by_reml(matings, known)
            except FirstsilkError as no:
                remark = f"variances are by moments, for REML said: {no}"
    found = _by_moments(splits, residual)
    below = {name: value for name, value in found.items() if value is not None and value < 0}
    values = {name: 0.0 if name in below else found.get(name) for name in NAMES}
    return Variances(values, "moments", below, tuple(below), remark)


def _by_moments(splits: tuple[Split, ...], residual: float | None) -> dict[str, float | None]:
    used = [split for split in splits if split.df]
    names = [split.source for split in splits]
    # One row a mean square: what the residual and each variance add to its expectation.
    rows = [[1.0, *(split.expected[name] / split.df for name in names)] for split in used]
    squares = [split.ss / split.df for split in used]
    if residual is not None:
        rows.append([1.0, *(0.0 for _ in names)])
        squares.append(residual)
    table = np.array(rows).T
    found: dict[str, float | None] = {"residual": residual}
    for at, name in enumerate(names, 1):
        wanted = np.zeros(len(table))
        wanted[at] = 1.0
        weights = np.linalg.lstsq(table, wanted, rcond=None)[0]
        exact = bool(np.max(np.abs(table @ weights - wanted)) < EXACT)
        found[name] = float(weights @ np.array(squares)) if exact else None
    return found


def write_model(matings: Matings, known: float | None) -> tuple[dict[str, list[object]], Model]:
    """The records and the mixed model of crosses: blocks fixed, GCA, SCA and reciprocal effects random.

    Levels are called x0, x1 ... in the order of `code_parts`; a GCA of one set of parents, of which each cross holds
    two, has the crosses as levels and their shared parents as relationship.
    """
    names = [f"x{at}" for at in range(len(matings.crosses))]
    data: dict[str, list[object]] = {"y": list(matings.response)}
    random = []
    for source, part in code_parts(matings).items():
        if np.all(part.sum(axis=1) == 1.0) and np.all((part == 0.0) | (part == 1.0)):
            data[source] = [f"x{at}" for at in np.argmax(part, axis=1)[matings.cross]]
            random.append(RandomTerm((source,)))
            continue
        data[source] = [names[at] for at in matings.cross]
        random.append(RandomTerm((source,), Relationship(tuple(names), part @ part.T)))
    fixed: tuple[tuple[str, ...], ...] = ()
    if len(np.unique(matings.block)) > 1:
        data["block"] = [f"b{at}" for at in matings.block]
        fixed = (("block",),)
    return data, Model("y", fixed, tuple(random), Residual(variance=known))


def _by_reml(matings: Matings, known: float | None) -> Variances:
    fit = fit_mixed_model(*write_model(matings, known))
    remark = "" if fit.converged else f"REML stopped after {fit.iterations} steps before it was done"
    own = {line.term: line.value for line in fit.variances}
    return Variances({name: own.get(name) for name in NAMES}, "reml", {}, fit.at_bound, remark)
