"""What is a mixed model, written down, and what does a fit of it say?

Values only: a `Model` is handed in, a `Fit` comes back. Nothing here computes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import scipy.sparse
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Relationship:
    """How the levels of a column are related: names and a square covariance pattern, used as it is."""

    names: tuple[str, ...]
    matrix: Array


@dataclass(frozen=True, slots=True)
class SparseRelationship:
    """How the levels of a column are related, by the sparse inverse of the covariance pattern of their sources.

    Levels (m) are combinations `to_level` (m, q) of q sources, whose covariance pattern has the inverse `precision`
    (q, q) and the log-determinant `log_size`; `diagonal` (m,) is the pattern's diagonal at the levels. So a pattern
    that is singular over the levels, such as that of a cross beside its two inbred parents, is an ordinary case.
    """

    names: tuple[str, ...]
    precision: scipy.sparse.csr_array
    to_level: scipy.sparse.csr_array
    log_size: float
    diagonal: Array


@dataclass(frozen=True, slots=True)
class RandomTerm:
    """One random term: a main effect or an interaction of the named columns.

    `relationship` applies to the first of `columns`. `variance_by` gives each level of that column its own
    variance. `variance`, if given, is known and not estimated. A column named in `Model.numeric` multiplies
    (a random slope, independent of every other term). `factors`, with two columns, makes the covariance across
    levels of the second factor-analytic of that order: loadings times loadings turned, plus a variance of its own
    for each level.
    """

    columns: tuple[str, ...]
    relationship: Relationship | SparseRelationship | None = None
    variance_by: str | None = None
    variance: float | None = None
    factors: int = 0

    @property
    def name(self) -> str:
        """The column names joined by ``:``."""
        return ":".join(self.columns)


@dataclass(frozen=True, slots=True)
class Surface:
    """A smooth ground trend over one or two number columns (`grid`), by cubic B-splines, `knots` of them on each axis.

    Wiggliness along each axis has a variance of its own. `within` gives each level of that column its own surface.
    """

    grid: tuple[str, ...]
    knots: tuple[int, ...]
    within: str | None = None

    @property
    def name(self) -> str:
        """The column names joined by ``:``."""
        return ":".join(self.grid)


@dataclass(frozen=True, slots=True)
class Residual:
    """The residual: one variance, or one for each level of `variance_by`, or a wholly known covariance.

    `covariance` (n records x n records, in record order) is taken as it is: nothing of it is estimated.
    `variance`, if given, is known and not estimated. `grid` names two columns of whole numbers: neighbours are
    correlated along both (first-order autoregressive), with correlations of their own in each level of `within`;
    `nugget` adds an independent part to each record. `variance_by` then rules both variances. `together` names the
    column of plots: the two levels of `variance_by` (two traits) are then correlated within each plot.
    """

    variance_by: str | None = None
    covariance: Array | None = None
    variance: float | None = None
    grid: tuple[str, ...] | None = None
    within: str | None = None
    nugget: bool = False
    together: str | None = None


@dataclass(frozen=True, slots=True)
class Model:
    """A linear mixed model. An intercept always comes first; classes are coded 0/1, the first level dropped.

    `weights` names a column of known relative precisions: the residual variance of a record is divided by it.
    `genotype` names the column that heritability and reliability speak of.
    """

    response: str
    fixed: tuple[tuple[str, ...], ...] = ()
    random: tuple[RandomTerm, ...] = ()
    residual: Residual = field(default_factory=Residual)
    numeric: tuple[str, ...] = ()
    sum_coded: tuple[str, ...] = ()
    weights: str | None = None
    genotype: str | None = None
    surfaces: tuple[Surface, ...] = ()


@dataclass(frozen=True, slots=True)
class VarianceLine:
    """One variance: 0 exactly and without standard error at its bound."""

    term: str
    level: str
    value: float
    se: float | None


@dataclass(frozen=True, slots=True)
class CorrelationLine:
    """One correlation between neighbours along an axis (a grid column)."""

    term: str
    axis: str
    level: str
    value: float
    se: float | None


@dataclass(frozen=True, slots=True)
class LoadingLine:
    """How strongly a level of a factor-analytic term's second column goes with one factor (counted from 1)."""

    term: str
    factor: int
    level: str
    value: float
    se: float | None


@dataclass(frozen=True, slots=True)
class FixedLine:
    """One fixed coefficient."""

    term: str
    level: str
    estimate: float
    se: float


@dataclass(frozen=True, slots=True)
class MeanLine:
    """One marginal mean: other factors averaged equally, numbers at their mean, random effects at 0."""

    term: str
    level: str
    value: float
    se: float


@dataclass(frozen=True, slots=True)
class RandomLine:
    """One predicted random effect; `se` is the root of its prediction error variance."""

    term: str
    level: str
    value: float
    se: float
    reliability: float | None


@dataclass(frozen=True, slots=True)
class Heritability:
    """Three heritabilities of an entry's result over the whole trial or series; None where one has no meaning."""

    cullis: float | None
    piepho: float | None
    entry_mean: float | None


@dataclass(frozen=True, slots=True)
class RecordFit:
    """What a fit says of each record that took part, all (n,).

    `kept` is the record's place among those given; `fitted` all fixed and random effects together; `residual` what
    is left over (conditional); `studentised` that divided by its own standard error, nan where it has none;
    `ground` the part of `fitted` that surfaces and correlated ground make up.
    """

    kept: NDArray[np.intp]
    fitted: Array
    residual: Array
    studentised: Array
    ground: Array


@dataclass(frozen=True, slots=True)
class Fit:
    """Everything a fit says. The names are those of the `fit` door.

    `gradient` is the largest slope of the REML log-likelihood per unit of log variance that is left (0 at the
    top), `at_bound` the variances that are exactly 0. `mean_covariance` holds, by term, the covariance matrix of
    the marginal means in the order of `means`; `random_covariance` the prediction error covariance of the
    `genotype` main effect in the order of `random`; a large fit keeps neither for a term of more than 3,000 levels.
    `difference_variance` is the mean variance of a difference between two levels, by term: of marginal means, and
    of the predictions of the `genotype` main effect's levels that have records.
    """

    n: int
    n_dropped: int
    reml_log_likelihood: float
    variances: tuple[VarianceLine, ...]
    correlations: tuple[CorrelationLine, ...]
    fixed: tuple[FixedLine, ...]
    means: tuple[MeanLine, ...]
    random: tuple[RandomLine, ...]
    heritability: Heritability | None
    converged: bool
    gradient: float
    at_bound: tuple[str, ...]
    iterations: int
    mean_covariance: Mapping[str, Array]
    random_covariance: Mapping[str, Array]
    difference_variance: Mapping[str, float]
    loadings: tuple[LoadingLine, ...] = ()
    records: RecordFit | None = None
    effective_df: float | None = None

    def variance(self, term: str, level: str = "") -> float:
        """The variance of a term (at a level, if it has one for each)."""
        return next(line.value for line in self.variances if (line.term, line.level) == (term, level))
