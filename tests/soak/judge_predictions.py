"""Programmes with known truth: does the ability that is told of a family hold for its untested lines?

Three families of doubled haploids from four unrelated parents, ten chromosomes of 40 markers, a gene at every fourth;
some lines of each are tested. The truth is the correlation of predictions with values measured alike on 400 untested
sisters.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firstsilk.science.lineage.prediction import fit_genomic_values
from firstsilk.science.lineage.trust import validate_predictions

FAMILIES = (("AB", 0, 1), ("AC", 0, 2), ("BD", 1, 3))
UNTESTED = 400


@dataclass(frozen=True)
class Kind:
    """Lines tested of each family, and the standard deviation of the noise; that of the genes in a family is 1."""

    tested: int
    noise: float


KINDS = (Kind(15, 0.6), Kind(25, 1.0), Kind(50, 1.0), Kind(25, 2.0))


@dataclass(frozen=True)
class Told:
    """What was told of one family, and what its untested lines showed."""

    trust: str
    low: float
    high: float
    ability: float
    truth: float


def play(kind: Kind, seed: int) -> list[Told]:
    """One programme; families whose predictions do not differ are left out."""
    dice = np.random.default_rng(seed)
    parents = dice.integers(0, 2, (4, 400)) * 2
    size = kind.tested + UNTESTED
    doses = np.array([_gamete(dice, parents[a], parents[b]) for _, a, b in FAMILIES for _ in range(size)], dtype=float)
    names = [name for name, _, _ in FAMILIES for _ in range(size)]
    genes = (doses[:, ::4] @ dice.normal(size=100)).reshape(3, size)
    genes = (genes / math.sqrt(genes.var(axis=1).mean())).ravel()
    centred, share = doses - doses.mean(axis=0), doses.mean(axis=0) / 2
    related = centred @ centred.T / (2 * (share * (1 - share)).sum())
    tested = np.flatnonzero(np.arange(3 * size) % size < kind.tested)
    values = genes + dice.normal(0, kind.noise, len(genes))
    fit = fit_genomic_values(related, tested, values[tested])
    found = validate_predictions(fit, related, names, 5, dice)
    told = []
    for at, family in enumerate(found.families):
        untested = np.arange(at * size + kind.tested, (at + 1) * size)
        if math.isfinite(family.shrunk.ability) and np.ptp(fit.values[untested]) > 0:
            truth = float(np.corrcoef(fit.values[untested], values[untested])[0, 1])
            shrunk = family.shrunk
            told.append(Told(family.trust, shrunk.low, shrunk.high, shrunk.ability, truth))
    return told


def _gamete(dice: np.random.Generator, one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Ten chromosomes of 1.5 Morgan, crossing over without interference."""
    picked = []
    for _ in range(10):
        cuts = np.sort(dice.integers(1, 40, dice.poisson(1.5)))
        picked.append((dice.integers(2) + np.searchsorted(cuts, np.arange(40), side="right")) % 2)
    return np.where(np.concatenate(picked) == 0, one, other)


def judge(kind: Kind, runs: int) -> list[Told]:
    """So many programmes of one kind."""
    return [told for seed in range(runs) for told in play(kind, seed)]


def share_held(told: Sequence[Told]) -> float:
    """How often the interval held the truth."""
    return float(np.mean([one.low <= one.truth <= one.high for one in told]))


def tell(kind: Kind, told: Sequence[Told]) -> str:
    """One line of the table in docs/markers.md."""
    said = Counter(one.trust for one in told)
    mean = [np.mean([getattr(one, name) for one in told]) for name in ("ability", "truth")]
    shares = [f"{said[word] / len(told):.0%}" for word in ("ranks_well", "ranks_roughly", "not_shown")]
    figures = [f"{mean[0]:.2f}", f"{mean[1]:.2f}", f"{share_held(told):.0%}", *shares]
    return f"| {kind.tested} | {kind.noise} | {' | '.join(figures)} |"
