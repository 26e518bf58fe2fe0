"""What does an analysis of trials say? Values only."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from firstsilk.work.occasion import Basis

LESS_IS_BETTER = frozenset({"moisture_pct"})
NOT_CONSIDERED = (
    "trends inside a field (neighbouring plots are taken as alike only within a replicate)",
    "relationship between entries (each is predicted from its own plots)",
    "that the variances are themselves estimated, so with few trials the chances are somewhat too sure",
)


@dataclass(frozen=True, slots=True)
class EstimateFacts:
    """One estimate of one line or hybrid, and how it stands to the mean of the checks.

    `versus_checks` is estimate less checks, in the trait's own unit; `better_probability` the chance that it is truly
    better (less, where less is wanted).
    """

    line: str
    of: str
    group: str
    is_check: bool
    is_tester: bool
    kind: str
    value: float
    se: float | None
    reliability: float | None
    n_plots: int
    n_sites: int
    n_years: int
    versus_checks: float | None = None
    versus_se: float | None = None
    better_probability: float | None = None


@dataclass(frozen=True, slots=True)
class VarianceFacts:
    """One variance of the model, in words of the trial."""

    term: str
    level: str
    value: float
    se: float | None


@dataclass(frozen=True, slots=True)
class TrialQuality:
    """How far one trial can be trusted, from its own plots alone.

    `error_cv_pct` is the root of the residual variance in percent of the mean; `repeatability` that of an entry's
    mean; `check_gap` the plain mean of the checks less that of the other entries.
    """

    trial: str
    site: str
    year: int
    n_plots: int
    n_entries: int
    mean: float
    error_cv_pct: float | None
    repeatability: float | None
    check_gap: float | None
    words: str


@dataclass(frozen=True, slots=True)
class TrialAnalysis:
    """One analysis whole: the model, its variances, every estimate, the trials' quality, what it rests on."""

    result: int
    trait: str
    years: tuple[int, ...]
    made_on: date
    version: str
    inputs_hash: str
    seed: int | None
    model: str
    said: tuple[str, ...]
    mean: float
    heritability: float | None
    checks: tuple[str, ...]
    variances: tuple[VarianceFacts, ...]
    estimates: tuple[EstimateFacts, ...]
    quality: tuple[TrialQuality, ...]
    not_considered: tuple[str, ...]
    basis: Basis

    def of_kind(self, kind: str) -> tuple[EstimateFacts, ...]:
        """The estimates of one kind: ``blup``, ``blue`` or ``gca``."""
        return tuple(one for one in self.estimates if one.kind == kind)
