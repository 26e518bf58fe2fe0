"""How far can predictions of untested lines be trusted, family by family?

Tested lines are predicted as if they had not been tested, in two ways. *Within families*: a part of every family at a
time, so that each has sisters among the tested; this is how lines of a family in which some were tested will fare.
*Across families*: a whole family at a time; so will a new family. How well the order of predicted and measured values
agrees within a family is its predictive ability, a correlation. It is no more than the measured values allow: noisy
trials lower it though predictions be good.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.lineage.prediction import GenomicFit, predict_left_out

LEAST_FOR_ABILITY = 8
"""Tested lines of a family below which its own correlation is not told: with 7 its interval is wider than 1. Ours."""
LEAST_IN_FOLD = 3
"""Lines of a family in each fold, as far as they go: of 2 only their difference is left within the fold. Ours."""
LEAST_FREEDOM = 3
"""Lines less folds below which no interval exists."""
DEALS = 20
"""How often families are dealt into folds anew: one deal is a matter of luck. Ours."""
RANKS_WELL = 0.4
"""Predictive ability from which a family is called well ranked, if its interval lies above 0 too: ours."""
LEAST_SPREAD = 0.15**2
"""Least variance of z between families: few families tell it badly, and none are wholly alike. Ours: intervals held in
some nine of ten cases with it, in 82 to 87 of 100 without, in simulated programmes of three families."""
RELATIVE_FROM = 0.25
"""Share of a line's relationship with itself from which one of another family is called its relative: half sibs of
inbred, unrelated parents have it on the base of the founders. Ours."""
NORMAL_95 = 1.959963984540054
NO_FAMILY = ""

Numbers = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Ability:
    """Correlation of predicted with measured values [-1 to 1], its 95 % interval, lines behind it; NaN if untold.

    `freedom` is the lines less the folds that they were dealt into, 0 if untold. `slope` of measured on predicted: 1 is
    right, below 1 the predictions are spread too far.
    """

    lines: int
    freedom: float
    ability: float
    low: float
    high: float
    slope: float


@dataclass(frozen=True, slots=True)
class FamilyTrust:
    """How far predictions of one family can be trusted: lines, relatives in training, abilities, code, words.

    `shrunk` is the ability within the family drawn towards that of all; it decides.

    `trust` is `ranks_well`, `ranks_roughly`, `not_shown` or `not_measured`; `reliability` is the mean over its untested
    lines (of the tested ones if there are none), `relatives` counts its tested lines and others related to those.
    """

    family: str
    tested: int
    untested: int
    relatives: int
    reliability: float
    within: Ability
    across: Ability
    shrunk: Ability
    trust: str
    words: str


@dataclass(frozen=True, slots=True)
class Validation:
    """Predicted values of the tested lines left out (m,) each way, abilities over all families, and family by family.

    `within` and `across` pool the correlations inside families by their z values; `overall` is the plain correlation
    over all lines, left out as within families, and holds the differences between families too.
    """

    left_out_within: Numbers
    left_out_across: Numbers
    within: Ability
    across: Ability
    overall: Ability
    families: tuple[FamilyTrust, ...]


def deal_folds(families: Sequence[str], folds: int, dice: np.random.Generator) -> NDArray[np.intp]:
    """The fold of each line, every family dealt out as evenly as it goes, shape (m,).

    Parameters
    ----------
    families
        Family of each line (m,).
    folds
        Number of folds, at least 2; a family of fewer than 3 lines a fold goes into fewer folds, 2 at the least.
    dice
        Where the order within a family, and the folds of a small one, come from.

    Raises
    ------
    InputRefused
        If `folds` is below 2 or above the number of lines.

    Checked by
    ----------
    tests/science/test_trust.py
    """
    if not 2 <= folds <= len(families):
        raise refuse("folds_odd", f"{folds} folds of {len(families)} lines cannot be dealt.", "Name 2 to that many.")
    dealt = np.empty(len(families), dtype=np.intp)
    for family in sorted(set(families)):
        members = dice.permutation([at for at, name in enumerate(families) if name == family])
        labels = dice.permutation(folds)[: max(2, min(folds, len(members) // LEAST_IN_FOLD))]
        dealt[members] = labels[np.arange(len(members)) % len(labels)]
    return dealt


def measure_ability(predicted: Numbers, measured: Numbers, dealt: NDArray[np.intp]) -> Ability:
    """Correlation of predicted with measured values, its 95 % interval, and the slope of measured on predicted.

    Parameters
    ----------
    predicted
        Values of m lines as foretold when left out, once for each deal (d, m); NaN where not told.
    measured
        Their measured values (m,).
    dealt
        The fold of each line in each deal (d, m).

    Notes
    -----
    Within folds: the mean of each fold is taken from both first. What is left out lowers the mean of those kept if it
    lies high, so that between folds predicted and measured run against each other: this would hide much of the ability
    of a small family. Deals are joined by the mean of their z = atanh r. Interval by Fisher's z with the lines less the
    folds as degrees of freedom f: tanh(z -+ 1.96 / sqrt(f - 2)). NaN below 8 lines, or where either does not vary.

    References
    ----------
    Fisher 1921, Metron 1:3. The centring within folds is derived here.

    Checked by
    ----------
    tests/science/test_trust.py
    """
    told = np.isfinite(predicted).all(axis=0)
    n = int(told.sum())
    figures = []
    if n >= LEAST_FOR_ABILITY:
        figures = [
            _correlate(one[told], measured[told], folds[told]) for one, folds in zip(predicted, dealt, strict=True)
        ]
    if not figures or any(figure is None for figure in figures):
        return Ability(n, 0.0, math.nan, math.nan, math.nan, math.nan)
    z, slope, freedom = np.mean([figure for figure in figures if figure is not None], axis=0).tolist()
    return Ability(n, freedom, math.tanh(z), *_interval(z, freedom - 2.0), slope)


def _correlate(one: Numbers, other: Numbers, folds: NDArray[np.intp]) -> tuple[float, float, float] | None:
    """z of the correlation within folds, slope of the other on the one, and degrees of freedom."""
    within = [values - _average(values, folds) for values in (one, other)]
    sums = [
        float(left @ right) for left, right in ((within[0], within[0]), (within[0], within[1]), (within[1], within[1]))
    ]
    freedom = len(one) - len(np.unique(folds))
    if sums[0] <= 1e-20 * float(one @ one) or sums[2] <= 1e-20 * float(other @ other) or freedom < LEAST_FREEDOM:
        return None
    found = sums[1] / math.sqrt(sums[0] * sums[2])
    return math.atanh(max(min(found, 1.0 - 1e-12), -1.0 + 1e-12)), sums[1] / sums[0], float(freedom)


def _average(values: Numbers, folds: NDArray[np.intp]) -> Numbers:
    """The mean of each value's fold."""
    _, place = np.unique(folds, return_inverse=True)
    average: Numbers = (np.bincount(place, values) / np.bincount(place))[place]
    return average


def pool_abilities(abilities: Sequence[Ability]) -> Ability:
    """Abilities of several families as one: z values weighted by their freedom less 2; NaN if none was told.

    Checked by
    ----------
    tests/science/test_trust.py
    """
    told = [one for one in abilities if math.isfinite(one.ability)]
    lines = sum(one.lines for one in told)
    if not told:
        return Ability(lines, 0.0, math.nan, math.nan, math.nan, math.nan)
    weights = np.array([one.freedom - 2.0 for one in told])
    z = float(weights @ np.arctanh([one.ability for one in told]) / weights.sum())
    slope = float(weights @ np.array([one.slope for one in told]) / weights.sum())
    return Ability(lines, float(weights.sum()) + 2.0, math.tanh(z), *_interval(z, float(weights.sum())), slope)


def shrink_abilities(abilities: Sequence[Ability]) -> tuple[Ability, ...]:
    """Each ability drawn towards that of all families, the more the less it is known; as they are if one alone is told.

    Notes
    -----
    On z = atanh r with variance v = 1 / (f - 2): the true z of families spread around their mean with the variance
    t, found by moments and 0.15 squared at the least. Drawn in, z is (z/v + mean/t) / (1/v + 1/t) with the variance
    1 / (1/v + 1/t), to which that of the mean is added as far as it counts. Of many families some look well ranked
    by luck; this takes the luck out.

    References
    ----------
    DerSimonian & Laird 1986, Controlled Clinical Trials 7:177 (t by moments); Efron & Morris 1975, J. Am. Stat. Assoc.
    70:311 (drawing in).

    Checked by
    ----------
    tests/science/test_trust.py
    """
    told = [one for one in abilities if math.isfinite(one.ability)]
    if len(told) < 2:
        return tuple(abilities)
    weights = np.array([one.freedom - 2.0 for one in told])
    z = np.arctanh([one.ability for one in told])
    mean = float(weights @ z / weights.sum())
    excess = float(weights @ (z - mean) ** 2) - (len(told) - 1)
    spread = max(LEAST_SPREAD, excess / float(weights.sum() - (weights**2).sum() / weights.sum()))
    of_mean = weights / (1.0 + weights * spread)
    mean = float(of_mean @ z / of_mean.sum())
    return tuple(_shrink(one, mean, 1.0 / float(of_mean.sum()), spread) for one in abilities)


def _shrink(one: Ability, mean: float, mean_variance: float, spread: float) -> Ability:
    if not math.isfinite(one.ability):
        return one
    own = spread * (one.freedom - 2.0) / (1.0 + spread * (one.freedom - 2.0))
    z = own * math.atanh(one.ability) + (1.0 - own) * mean
    variance = own / (one.freedom - 2.0) + (1.0 - own) ** 2 * mean_variance
    return Ability(one.lines, one.freedom, math.tanh(z), *_interval(z, 1.0 / variance), one.slope)


def _interval(z: float, weight: float) -> tuple[float, float]:
    spread = NORMAL_95 / math.sqrt(weight)
    return math.tanh(z - spread), math.tanh(z + spread)


def validate_predictions(
    fit: GenomicFit,
    relationship: Numbers,
    families: Sequence[str],
    folds: int,
    dice: np.random.Generator,
    deals: int = DEALS,
) -> Validation:
    """Leave tested lines out within and across families, and say how far each family can be trusted.

    Parameters
    ----------
    fit
        The fit of all tested lines.
    relationship
        K (n, n) that was fitted.
    families
        Family of every line of the relationship (n,); empty where it is not known, which counts as one family that is
        neither left out whole nor called a family.
    folds
        Parts into which each family is dealt for the first way.
    dice
        Where the dealing comes from.
    deals
        How often families are dealt anew.

    Raises
    ------
    InputRefused
        As `deal_folds`.

    Checked by
    ----------
    tests/science/test_trust.py
    """
    among = [families[at] for at in fit.tested]
    dealt = np.stack([deal_folds(among, folds, dice) for _ in range(deals)])
    within = np.stack([predict_left_out(fit, one) for one in dealt])
    number = {name: at for at, name in enumerate(dict.fromkeys(among))}
    whole = np.array([[number[name] for name in among]], dtype=np.intp)
    across = np.full(whole.shape, np.nan)
    if len(number) > 1:
        across[0] = predict_left_out(fit, whole[0])
        across[0, [name == NO_FAMILY for name in among]] = np.nan
    by_family: dict[str, tuple[Ability, Ability]] = {}
    for name in sorted({name for name in families if name != NO_FAMILY}):
        at = np.flatnonzero([one == name for one in among])
        by_family[name] = (
            measure_ability(within[:, at], fit.response[at], dealt[:, at]),
            measure_ability(across[:, at], fit.response[at], whole[:, at]),
        )
    pooled = [pool_abilities([both[way] for both in by_family.values()]) for way in (0, 1)]
    shrunk = dict(zip(by_family, shrink_abilities([both[0] for both in by_family.values()]), strict=True))
    trust = tuple(_trust_family(name, shrunk[name], fit, relationship, families, by_family) for name in by_family)
    overall = measure_ability(within, fit.response, np.zeros_like(dealt))
    return Validation(within.mean(axis=0), across[0], pooled[0], pooled[1], overall, trust)


def _trust_family(
    family: str,
    shrunk: Ability,
    fit: GenomicFit,
    relationship: Numbers,
    families: Sequence[str],
    by_family: Mapping[str, tuple[Ability, Ability]],
) -> FamilyTrust:
    members = np.flatnonzero([name == family for name in families])
    tested = np.intersect1d(members, fit.tested)
    untested = np.setdiff1d(members, fit.tested)
    asked = untested if len(untested) else tested
    own = float(np.diag(relationship)[asked].mean())
    shared = relationship[np.ix_(asked, fit.tested)].mean(axis=0)
    relatives = int(((shared >= RELATIVE_FROM * own) | np.isin(fit.tested, tested)).sum())
    reliability = float(fit.reliability[asked].mean())
    if fit.genetic_variance == 0.0:
        trust, words = (
            "not_shown",
            "The markers explain no difference between the tested lines: every prediction is the mean.",
        )
    elif math.isfinite(shrunk.ability):
        trust, words = _judge_measured(shrunk)
    else:
        trust, words = _judge_unmeasured([both[1] for name, both in by_family.items() if name != family])
    told = f"Family {family}, {len(untested)} untested: {words}"
    told += f" Tested relatives: {relatives}, of the family itself {len(tested)}."
    return FamilyTrust(
        family, len(tested), len(untested), relatives, reliability, *by_family[family], shrunk, trust, told
    )


def _judge_measured(ability: Ability) -> tuple[str, str]:
    """A family with enough tested lines: its own ability, left out a part at a time."""
    figure = f"predicted and measured go together by {ability.ability:.2f} ({ability.low:.2f} to {ability.high:.2f})"
    figure += f", by its {ability.lines} tested lines and the other families"
    if ability.low <= 0.0:
        return "not_shown", f"{figure}. That may be chance: do not choose between its lines by prediction; test them."
    if ability.ability < RANKS_WELL:
        return "ranks_roughly", f"{figure}. Drop the lowest by it, but do not pick the best one by it."
    return "ranks_well", f"{figure}. Its lines can be ranked by it; test the best before they go on."


def _judge_unmeasured(others: Sequence[Ability]) -> tuple[str, str]:
    """A family with too few tested lines: what other families were worth when left out whole."""
    told = [one.ability for one in others if math.isfinite(one.ability)]
    few = f"fewer than {LEAST_FOR_ABILITY} of its lines were tested, so nothing is measured for it"
    if not told:
        return "not_measured", f"{few}, nor for another family left out whole. Test some of its lines first."
    spread = f"{min(told):.2f} to {max(told):.2f}" if len(told) > 1 else f"{told[0]:.2f}"
    return (
        "not_measured",
        f"{few}. Other families left out whole ({len(told)}) came to {spread}. Test some of its lines first.",
    )
