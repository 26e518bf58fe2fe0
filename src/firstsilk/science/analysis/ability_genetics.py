"""What do the variances among crosses say of additive and dominance variance, and how much would be inherited?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from firstsilk.answers import refuse
from firstsilk.science.analysis.ability_variances import Variances
from firstsilk.science.analysis.matings import LINE_TESTER, Matings


@dataclass(frozen=True, slots=True)
class Genetics:
    """Genetic variances and heritabilities of the progeny; None where a variance is not in the design or not told.

    `additive` and `heritability` (narrow sense) hold ``mother``, ``father`` and ``both`` of two sets of parents, or
    ``gca`` of one set; `cross_mean` is the repeatability of the mean of a cross over its records.
    """

    additive: Mapping[str, float | None]
    dominance: float | None
    heritability: Mapping[str, float | None]
    cross_mean: float | None


def estimate_genetics(
    matings: Matings,
    variances: Variances,
    inbreeding: float | None = None,
    inbreeding_father: float | None = None,
    plant_variance: float | None = None,
) -> Genetics:
    """Turn variances among crosses into genetic variances and heritabilities.

    Parameters
    ----------
    matings, variances
        The crosses, and what `estimate_variances` says of them.
    inbreeding, inbreeding_father
        Inbreeding coefficient of the parents (of the fathers, if another), 0 to 1: 1 of inbred lines. None leaves out
        what needs it.
    plant_variance
        Variance among single plants of a plot, in the unit of the response squared: then heritability is that of a
        plant, else of a record.

    Returns
    -------
    Genetics
        In the unit of the response squared, and as shares.

    Raises
    ------
    InputRefused
        If an inbreeding coefficient or the variance among plants has no meaning.

    Notes
    -----
    Half sibs share (1 + F)/4 of the additive variance, so additive = 4/(1 + F) x variance of GCA (of both sets: the
    mean of the two); dominance = 4/((1 + F_mother)(1 + F_father)) x variance of SCA. heritability = additive /
    (variances of GCA and SCA + variance within), 4 s2m / s2p of Comstock & Robinson with F = 0. cross_mean =
    among / (among + residual / r), r the harmonic mean number of records. No epistasis, no linkage disequilibrium.

    References
    ----------
    Comstock & Robinson 1952 in Heterosis, p.494; Kempthorne 1957 An Introduction to Genetic Statistics p.468;
    Becker 1984 Manual of Quantitative Genetics p.83.

    Checked by
    ----------
    tests/outside/test_ability_published.py, tests/science/test_ability_engine.py
    """
    _check(inbreeding, inbreeding_father, plant_variance)
    values = variances.values
    sets = ("gca_mother", "gca_father") if matings.kind == LINE_TESTER else ("gca",)
    of_mother = inbreeding
    of_father = inbreeding if inbreeding_father is None else inbreeding_father
    additive: dict[str, float | None] = {}
    for name, F in zip(sets, (of_mother, of_father), strict=False):
        value = values[name]
        additive[name.removeprefix("gca_")] = None if value is None or F is None else 4.0 * value / (1.0 + F)
    if len(sets) == 2:
        each = [value for value in additive.values() if value is not None]
        additive["both"] = sum(each) / 2.0 if len(each) == 2 else None
    sca = values["sca"]
    dominance = None
    if sca is not None and of_mother is not None and of_father is not None:
        dominance = 4.0 * sca / ((1.0 + of_mother) * (1.0 + of_father))
    among = _among(matings, values)
    within = values["residual"] if plant_variance is None else plant_variance
    whole = None if among is None or within is None else among + within
    heritability = {name: None if value is None or not whole else value / whole for name, value in additive.items()}
    return Genetics(additive, dominance, heritability, _repeat(matings, among, values["residual"]))


def _check(inbreeding: float | None, inbreeding_father: float | None, plant_variance: float | None) -> None:
    for value in (inbreeding, inbreeding_father):
        if value is not None and not 0.0 <= value <= 1.0:
            raise refuse("inbreeding_not_usable", f"Inbreeding of parents lies between 0 and 1; it is {value}")
    if inbreeding is None and inbreeding_father is not None:
        raise refuse("inbreeding_not_usable", "Inbreeding of the fathers needs that of the mothers as well")
    if plant_variance is not None and not (math.isfinite(plant_variance) and plant_variance >= 0):
        raise refuse("variance_not_usable", f"The variance among plants must not be below 0; it is {plant_variance}")


def _among(matings: Matings, values: Mapping[str, float | None]) -> float | None:
    """The variance among crosses of parents drawn at random."""
    names = ["gca_mother", "gca_father", "sca"] if matings.kind == LINE_TESTER else ["gca", "gca", "sca", "reciprocal"]
    there = [values[name] for name in names if name != "reciprocal" or values[name] is not None]
    return None if any(value is None for value in there) else sum(value for value in there if value is not None)


def _repeat(matings: Matings, among: float | None, residual: float | None) -> float | None:
    if among is None or residual is None:
        return None
    records = 1.0 / float(np.mean(1.0 / np.bincount(matings.cross)))
    whole = among + residual / records
    return among / whole if whole > 0 else None
