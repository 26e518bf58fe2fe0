"""What is a choice made of? Values only."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from firstsilk.answers import Place
from firstsilk.work.occasion import Basis

VERDICTS = ("go_on", "wait", "stop")

MOISTURE_PRICE_KG_HA = 100.0
"""What one point of moisture at harvest is worth in yield, to start with: common practice, no source. It follows from
grain price, drying cost and how often the season ends first, so every region sets its own."""
LEAST_ERECT_FRAC = 0.85
"""Share of plants that should stand at harvest, to start with: common practice, no source."""


@dataclass(frozen=True, slots=True)
class ChoiceSettings:
    """How many go on, how many wait, and the bars.

    Parameters
    ----------
    of
        ``line``, ``hybrid``, or empty: lines where lines have estimates, else hybrids.
    go_on, wait
        How many at most.
    least_erect_frac
        Under this share standing a candidate stops [0 to 1].
    moisture_price_kg_ha
        Yield given for one point of moisture less than the checks [kg/ha].
    least_probability
        Under this chance of out-yielding the checks a candidate does not go on [0 to 1].
    least_sites
        From fewer sites a candidate waits.
    """

    of: str = ""
    go_on: int = 10
    wait: int = 20
    least_erect_frac: float = LEAST_ERECT_FRAC
    moisture_price_kg_ha: float = MOISTURE_PRICE_KG_HA
    least_probability: float = 0.2
    least_sites: int = 2


@dataclass(frozen=True, slots=True)
class Candidate:
    """One line or hybrid up for a verdict: figures, the verdict they propose, and why.

    `difference_kg_ha` is its yield less that of the checks (of all entries where there is no check);
    `merit_kg_ha` that difference with moisture priced in; `in_tie` says that it lies within its error of the cut.
    """

    line: str
    of: str
    group: str
    generation: str
    yield_kg_ha_15_5: float
    se_kg_ha: float | None
    reliability: float | None
    difference_kg_ha: float
    difference_se_kg_ha: float | None
    better_probability: float | None
    moisture_difference_pct: float | None
    erect_frac: float | None
    n_plots: int
    n_sites: int
    n_years: int
    merit_kg_ha: float
    rank: int
    in_tie: bool
    verdict: str
    reason: str
    decided: str = ""
    decided_reason: str = ""


@dataclass(frozen=True, slots=True)
class ChoicePage:
    """All candidates of a year in order of merit, the settings, and what was left out."""

    year: int
    of: str
    settings: ChoiceSettings
    analysis: int
    analysis_years: tuple[int, ...]
    checks: tuple[str, ...]
    candidates: tuple[Candidate, ...]
    cut_kg_ha: float | None
    not_considered: tuple[str, ...]
    basis: Basis

    def count(self, verdict: str) -> int:
        """How many get this verdict."""
        return sum(one.verdict == verdict for one in self.candidates)


@dataclass(frozen=True, slots=True)
class Decision:
    """What the breeder decides on one line or hybrid; the reason is needed where it differs from the proposal.

    `place` is where it stands in a table, for complaints.
    """

    line: str
    verdict: str
    reason: str = ""
    place: Place = field(default_factory=Place, compare=False)


@dataclass(frozen=True, slots=True)
class VerdictFacts:
    """One verdict as the books have it."""

    line: str
    of: str
    group: str
    year: int
    verdict: str
    proposed: str
    reason: str
    decided_on: date
    decided_by: str


@dataclass(frozen=True, slots=True)
class ChoiceList:
    """The standing verdicts of a year: the latest on each line or hybrid."""

    year: int
    verdicts: tuple[VerdictFacts, ...]
    n_written: int
    basis: Basis

    def count(self, verdict: str) -> int:
        """How many stand so."""
        return sum(one.verdict == verdict for one in self.verdicts)
