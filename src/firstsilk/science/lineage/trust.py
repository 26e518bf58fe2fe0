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
RANKS_WELL = 0.4
"""Predictive ability from which a family is called well ranked, if its interval lies above 0 too: ours."""
RELATIVE_FROM = 0.25
"""Share of a line's relationship with itself from which one of another family is called its relative: half sibs of
inbred, unrelated parents have it on the base of the founders. Ours."""
NORMAL_95 = 1.959963984540054
NO_FAMILY = ""

Numbers = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Ability:
    """Correlation of predicted with measured values [-1 to 1], its 95 % interval, lines behind it; NaN if untold.

    `slope` of measured on predicted: 1 is right, below 1 the predictions are spread too far.
    """

    lines: int
    ability: float
    low: float
    high: float
    slope: float


@dataclass(frozen=True, slots=True)
class FamilyTrust:
    """How far predictions of one family can be trusted: lines, relatives in training, abilities, code, words.

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
        Number of folds, at least 2.
    dice
        Where the order within a family comes from.

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
    turn = 0
    for family in sorted(set(families)):
        members = dice.permutation([at for at, name in enumerate(families) if name == family])
        for at in members:
            dealt[at] = turn % folds
            turn += 1
    return dealt


def measure_ability(predicted: Numbers, measured: Numbers) -> Ability:
    """Correlation of predicted with measured values, its 95 % interval, and the slope of measured on predicted.

    Notes
    -----
    Interval by Fisher's z: tanh(atanh r -+ 1.96 / sqrt(n - 3)). Lines of a family share their tested relatives, so it
    is somewhat too narrow. NaN below 8 lines, or where either does not vary.

    References
    ----------
    Fisher 1921, Metron 1:3.

    Checked by
    ----------
    tests/science/test_trust.py
    """
    told = np.isfinite(predicted)
    one, other = predicted[told], measured[told]
    n = len(one)
    if n < LEAST_FOR_ABILITY or np.ptp(one) == 0.0 or np.ptp(other) == 0.0:
        return Ability(n, math.nan, math.nan, math.nan, math.nan)
    found = float(np.clip(np.corrcoef(one, other)[0, 1], -1.0, 1.0))
    slope = float(np.cov(one, other)[0, 1] / np.var(one, ddof=1))
    return Ability(n, found, *_interval(found, 1.0 / math.sqrt(n - 3)), slope)


def pool_abilities(abilities: Sequence[Ability]) -> Ability:
    """Abilities of several families as one: z values weighted by n - 3; NaN if none was told.

    Checked by
    ----------
    tests/science/test_trust.py
    """
    told = [one for one in abilities if math.isfinite(one.ability)]
    lines = sum(one.lines for one in told)
    if not told:
        return Ability(lines, math.nan, math.nan, math.nan, math.nan)
    weights = np.array([one.lines - 3.0 for one in told])
    z = np.arctanh(np.clip([one.ability for one in told], -1.0 + 1e-12, 1.0 - 1e-12))
    mean = float(np.tanh(weights @ z / weights.sum()))
    slope = float(weights @ np.array([one.slope for one in told]) / weights.sum())
    return Ability(lines, mean, *_interval(mean, 1.0 / math.sqrt(weights.sum())), slope)


def _interval(ability: float, spread: float) -> tuple[float, float]:
    z = math.atanh(max(min(ability, 1.0 - 1e-12), -1.0 + 1e-12))
    return math.tanh(z - NORMAL_95 * spread), math.tanh(z + NORMAL_95 * spread)


def validate_predictions(
    fit: GenomicFit,
    relationship: Numbers,
    families: Sequence[str],
    folds: int,
    dice: np.random.Generator,
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

    Raises
    ------
    InputRefused
        As `deal_folds`.

    Checked by
    ----------
    tests/science/test_trust.py
    """
    among = [families[at] for at in fit.tested]
    dealt = deal_folds(among, folds, dice)
    within = predict_left_out(fit, dealt)
    number = {name: at for at, name in enumerate(dict.fromkeys(among))}
    across = np.full(len(among), np.nan)
    if len(number) > 1:
        across = predict_left_out(fit, np.array([number[name] for name in among], dtype=np.intp))
        across[[name == NO_FAMILY for name in among]] = np.nan
    by_family: dict[str, tuple[Ability, Ability]] = {}
    for name in sorted({name for name in families if name != NO_FAMILY}):
        at = np.flatnonzero([one == name for one in among])
        by_family[name] = (
            measure_ability(within[at], fit.response[at]),
            measure_ability(across[at], fit.response[at]),
        )
    pooled = [pool_abilities([both[way] for both in by_family.values()]) for way in (0, 1)]
    trust = tuple(_trust_family(name, both, fit, relationship, families, by_family) for name, both in by_family.items())
    return Validation(within, across, pooled[0], pooled[1], measure_ability(within, fit.response), trust)


def _trust_family(
    family: str,
    abilities: tuple[Ability, Ability],
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
    elif math.isfinite(abilities[0].ability):
        trust, words = _judge_measured(abilities[0])
    else:
        trust, words = _judge_unmeasured([both[1] for name, both in by_family.items() if name != family])
    told = f"Family {family}, {len(untested)} untested: {words}"
    told += f" Tested relatives: {relatives}, of the family itself {len(tested)}."
    return FamilyTrust(family, len(tested), len(untested), relatives, reliability, *abilities, trust, told)


def _judge_measured(ability: Ability) -> tuple[str, str]:
    """A family with enough tested lines: its own ability, left out a part at a time."""
    figure = f"predicted and measured go together by {ability.ability:.2f} ({ability.low:.2f} to {ability.high:.2f})"
    figure += f" in its {ability.lines} tested lines"
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
