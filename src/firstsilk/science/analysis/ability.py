"""What does each parent give its crosses in general, and what does a cross give beyond that?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import scipy.stats

from firstsilk.answers import InputRefused, refuse
from firstsilk.science.analysis.ability_variances import (
    VARIANCES_BY,
    Split,
    Variances,
    code_parts,
    estimate_variances,
    split_sums_of_squares,
)
from firstsilk.science.analysis.cross_means import SAME, CrossMeans, adjust_for_blocks
from firstsilk.science.analysis.matings import LINE_TESTER, SHOWN, WITH_RECIPROCALS, Matings
from firstsilk.science.analysis.models import Array


@dataclass(frozen=True, slots=True)
class CrossEffect:
    """An effect of one cross; None where it cannot be told (one direction only), its error None without an error."""

    mother: str
    father: str
    value: float | None
    se: float | None


@dataclass(frozen=True, slots=True)
class AbilityAnova:
    """One line of the analysis of variance; `f` and `p` against the residual."""

    source: str
    df: float | None
    ss: float | None
    ms: float | None
    f: float | None
    p: float | None


@dataclass(frozen=True, slots=True)
class Ability:
    """Combining ability: effects by name, their standard errors, variances, analysis of variance.

    `gca` holds one set of parents (`gca`) or two (`gca_mother`, `gca_father`); `gca_se` likewise. `se` holds typical
    standard errors, `percent` the shares of the sum of squares of crosses (line x tester).
    """

    mean: float
    gca: Mapping[str, Mapping[str, float]]
    gca_se: Mapping[str, Mapping[str, float] | None]
    sca: tuple[CrossEffect, ...]
    reciprocal: tuple[CrossEffect, ...]
    variances: Variances
    anova: tuple[AbilityAnova, ...]
    se: Mapping[str, float | None]
    percent: Mapping[str, float] | None


def estimate_ability(
    matings: Matings,
    error_ms: float | None = None,
    error_df: float | None = None,
    variances_by: str = "auto",
) -> Ability:
    """General and specific combining ability, reciprocal effects, variances and analysis of variance.

    Parameters
    ----------
    matings
        As `arrange_matings` gives them.
    error_ms, error_df
        Mean square of the error of a record, and its degrees of freedom, if known from elsewhere: needed where crosses
        stand once.
    variances_by
        ``moments``, ``reml``, or ``auto``: moments if every cross stands equally often in each block, else REML.

    Returns
    -------
    Ability
        Effects in the unit of the response; variances and sums of squares in its square, of single records.

    Raises
    ------
    InputRefused
        If blocks or parents cannot be told apart by the crosses there are (they are named), or the error has no
        meaning.

    Notes
    -----
    Cross means are adjusted for blocks by least squares. Effects are least squares on the cross means, all alike in
    weight, with GCA of a set adding to 0: x_ij = m + g_i + g_j + s_ij + r_ij, r_ij = -r_ji = half the difference of
    the directions. With all crosses there these are Griffing's formulas (methods 1 to 4, effects fixed) or the plain
    means of line x tester; with crosses missing, SCA is what GCA alone leaves. Standard errors of a diallel are those
    of the effects; those of line x tester are of the mean over which the effect is taken, as is common for that
    design: root (Me / rt), (Me / rl), (Me / r). Sums of squares are those of records, GCA after blocks (mothers after
    fathers and the other way round), then SCA, then reciprocal.

    References
    ----------
    Griffing 1956 Australian Journal of Biological Sciences 9:463; Kempthorne 1957 An Introduction to Genetic
    Statistics p.468; Comstock & Robinson 1952 (line x tester as design II); Kempthorne & Curnow 1961 Biometrics
    17:229 (crosses missing by plan).

    Checked by
    ----------
    tests/outside/test_ability_published.py, tests/science/test_ability.py
    """
    _check_error(error_ms, error_df, variances_by)
    means = adjust_for_blocks(matings)
    ms, df = _residual(means, error_ms, error_df)
    maps = map_effects(matings)
    splits = split_sums_of_squares(matings, means)
    scale = None if ms is None else math.sqrt(ms)
    gca, gca_se, se = _tell_gca(matings, maps, means, scale)
    sca, reciprocal = _tell_crosses(matings, maps, means, scale)
    return Ability(
        float(maps.mean @ means.values),
        gca,
        gca_se,
        sca,
        reciprocal,
        estimate_variances(matings, splits, ms, variances_by, error_ms),
        _anova(means, splits, ms, df),
        {**se, **_typical_errors(matings, maps, means, scale)},
        _percent(splits) if matings.kind == LINE_TESTER else None,
    )


def _check_error(error_ms: float | None, error_df: float | None, variances_by: str) -> None:
    if variances_by not in VARIANCES_BY:
        raise refuse(
            "method_unknown", f"{variances_by!r} is no way to variances", f"Name one of: {', '.join(VARIANCES_BY)}."
        )
    for name, value in (("mean square", error_ms), ("number of degrees of freedom", error_df)):
        if value is not None and not (math.isfinite(value) and value > 0):
            raise refuse("error_not_usable", f"The {name} of the error must be above 0; it is {value}")


def _residual(means: CrossMeans, error_ms: float | None, error_df: float | None) -> tuple[float | None, float | None]:
    if error_ms is not None:
        return error_ms, error_df
    if means.residual_df < 1:
        return None, None
    return means.residual_ss / means.residual_df, float(means.residual_df)


@dataclass(frozen=True, slots=True)
class EffectMaps:
    """What turns cross means (c,) into effects: the mean (c,), GCA by set (p, c), SCA and reciprocal (crosses, c).

    A row of `sca` or `reciprocal` of nan stands for what the crosses cannot tell.
    """

    mean: Array
    gca: Mapping[str, Array]
    sca: Array
    reciprocal: Array
    sca_names: tuple[tuple[str, str], ...]
    reciprocal_names: tuple[tuple[str, str], ...]


def map_effects(matings: Matings) -> EffectMaps:
    """Least squares on cross means with GCA adding to 0, as linear maps.

    Raises
    ------
    InputRefused
        If the GCA of some parents cannot be told apart by the crosses there are; they are named.
    """
    parts = code_parts(matings)
    mains = {name: part for name, part in parts.items() if name.startswith("gca")}
    bases = {name: np.vstack([np.eye(part.shape[1] - 1), -np.ones(part.shape[1] - 1)]) for name, part in mains.items()}
    design = np.hstack([np.ones((len(matings.crosses), 1)), *(mains[name] @ bases[name] for name in mains)])
    upper = np.asarray(np.linalg.qr(design, mode="r"), dtype=np.float64)
    if len(design) < design.shape[1] or np.min(np.abs(np.diag(upper))) < SAME * np.max(np.abs(upper)):
        raise _not_told_apart(matings, mains)
    back = np.linalg.solve(upper.T @ upper, design.T)
    gca, start = {}, 1
    for name, basis in bases.items():
        gca[name] = basis @ back[start : start + basis.shape[1]]
        start += basis.shape[1]
    beyond = np.eye(len(design)) - design @ back
    if matings.kind == LINE_TESTER:
        names = tuple(matings.names(at) for at in range(len(design)))
        return EffectMaps(back[0], gca, beyond, np.zeros((0, len(design))), names, ())
    return _map_pairs(matings, back[0], gca, beyond)


def _map_pairs(matings: Matings, mean: Array, gca: Mapping[str, Array], beyond: Array) -> EffectMaps:
    """SCA of each pair: what is left, over both directions; reciprocal: half their difference."""
    both_ways = matings.griffing in WITH_RECIPROCALS
    at = {(int(a), int(b)): k for k, (a, b) in enumerate(matings.crosses)}
    untold = np.full(len(beyond), np.nan)
    sca, reciprocal, sca_names, names = [], [], [], []
    for a, b in sorted({(min(pair), max(pair)) for pair in at} if both_ways else at):
        one, other = at.get((a, b)), at.get((b, a)) if both_ways else None
        sca_names.append((matings.mothers[a], matings.mothers[b]))
        if one is not None and (a == b or not both_ways):
            sca.append(beyond[one])
            continue
        names.append(sca_names[-1])
        if one is None or other is None:
            sca.append(untold)
            reciprocal.append(untold)
            continue
        sca.append((beyond[one] + beyond[other]) / 2)
        half = np.zeros(len(beyond))
        half[one], half[other] = 0.5, -0.5
        reciprocal.append(half)
    rows = np.array(reciprocal) if reciprocal else np.zeros((0, len(beyond)))
    return EffectMaps(mean, gca, np.array(sca), rows, tuple(sca_names), tuple(names))


def _not_told_apart(matings: Matings, mains: Mapping[str, Array]) -> InputRefused:
    """Name the parents whose GCA can be shifted without a change to any cross."""
    whole = np.hstack(list(mains.values()))
    design = np.hstack([np.ones((len(whole), 1)), whole])
    _, sizes, right = np.linalg.svd(design)
    rank = int(np.sum(sizes > SAME * sizes[0]))
    free = right[rank:, 1:]
    start, named = 0, []
    sets = (matings.mothers, matings.fathers) if matings.kind == LINE_TESTER else (matings.mothers,)
    for names in sets:
        own = free[:, start : start + len(names)]
        # A shift of the whole set alike is no difference between its parents.
        moves = np.max(np.abs(own - own.mean(axis=1, keepdims=True)), axis=0) > 1e-6
        named += [name for name, moved in zip(names, moves, strict=True) if moved]
        start += len(names)
    told = ", ".join(named[:SHOWN]) + (f" and {len(named) - SHOWN} more" if len(named) > SHOWN else "")
    return refuse(
        "not_told_apart",
        f"The crosses there are do not join these parents, so their GCA cannot be told: {told}",
        "Add crosses that join them, or analyse them apart.",
    )


def _errors(rows: Array, means: CrossMeans, scale: float | None) -> Array | None:
    """Standard errors of linear maps of the cross means."""
    if scale is None:
        return None
    return np.asarray(scale * np.sqrt(np.maximum(np.sum((rows @ means.spread) * rows, axis=1), 0.0)), dtype=np.float64)


def _tell_gca(
    matings: Matings, maps: EffectMaps, means: CrossMeans, scale: float | None
) -> tuple[dict[str, dict[str, float]], dict[str, dict[str, float] | None], dict[str, float | None]]:
    gca: dict[str, dict[str, float]] = {}
    errors: dict[str, dict[str, float] | None] = {}
    typical: dict[str, float | None] = {}
    for name, rows in maps.gca.items():
        parents = matings.fathers if name == "gca_father" else matings.mothers
        gca[name] = dict(zip(parents, (rows @ means.values).tolist(), strict=True))
        told = rows + maps.mean if matings.kind == LINE_TESTER else rows
        own = _errors(told, means, scale)
        errors[name] = None if own is None else dict(zip(parents, own.tolist(), strict=True))
        apart = _differences(rows @ means.spread @ rows.T, scale)
        typical[name] = _typical(own) if matings.kind != LINE_TESTER or apart is None else apart / math.sqrt(2.0)
        typical[f"{name}_difference"] = apart
    return gca, errors, typical


def _typical(errors: Array | None) -> float | None:
    """Root of the mean variance."""
    if errors is None or not len(errors):
        return None
    return float(np.sqrt(np.mean(errors**2)))


def _differences(covariance: Array, scale: float | None) -> float | None:
    """Root of the mean variance of a difference between two of them."""
    if scale is None:
        return None
    k = len(covariance)
    total = 2.0 * (k * float(np.trace(covariance)) - float(covariance.sum())) / (k * (k - 1))
    return scale * math.sqrt(max(total, 0.0))


def _tell_crosses(
    matings: Matings, maps: EffectMaps, means: CrossMeans, scale: float | None
) -> tuple[tuple[CrossEffect, ...], tuple[CrossEffect, ...]]:
    sca_errors = _errors(maps.sca, means, scale)
    if matings.kind == LINE_TESTER and scale is not None:
        sca_errors = scale * np.sqrt(np.diag(means.spread))
    sca = _list_crosses(maps.sca_names, maps.sca @ means.values, sca_errors)
    other = _list_crosses(maps.reciprocal_names, maps.reciprocal @ means.values, _errors(maps.reciprocal, means, scale))
    return sca, other


def _list_crosses(names: tuple[tuple[str, str], ...], values: Array, errors: Array | None) -> tuple[CrossEffect, ...]:
    return tuple(
        CrossEffect(
            mother,
            father,
            None if math.isnan(value) else float(value),
            None if errors is None or math.isnan(value) else float(errors[at]),
        )
        for at, ((mother, father), value) in enumerate(zip(names, values, strict=True))
    )


def _typical_errors(
    matings: Matings, maps: EffectMaps, means: CrossMeans, scale: float | None
) -> dict[str, float | None]:
    """Typical standard errors of SCA (crosses and, in methods 1 and 2, parents apart) and reciprocal effects."""
    if matings.kind == LINE_TESTER:
        apart = _differences(means.spread, scale)
        return {"sca": None if apart is None else apart / math.sqrt(2.0), "sca_difference": apart}
    known = ~np.isnan(maps.sca[:, 0])
    selfs = np.array([mother == father for mother, father in maps.sca_names])
    told = {"sca": _typical(_errors(maps.sca[known & ~selfs], means, scale))}
    if np.any(selfs):
        told["sca_parent"] = _typical(_errors(maps.sca[known & selfs], means, scale))
    if matings.griffing in WITH_RECIPROCALS:
        both = ~np.isnan(maps.reciprocal[:, 0])
        told["reciprocal"] = _typical(_errors(maps.reciprocal[both], means, scale))
    return told


def _anova(
    means: CrossMeans, splits: tuple[Split, ...], ms: float | None, df: float | None
) -> tuple[AbilityAnova, ...]:
    lines = []
    if means.block_df:
        lines.append(_tested("block", means.block_df, means.block_ss, ms, df))
    lines += [_tested(split.source, split.df, split.ss, ms, df) for split in splits]
    own = means.residual_df > 0
    ss = means.residual_ss if own else None
    lines.append(AbilityAnova("residual", means.residual_df if own else df, ss, ms, None, None))
    return tuple(lines)


def _tested(source: str, df: int, ss: float, error: float | None, error_df: float | None) -> AbilityAnova:
    if not df:
        return AbilityAnova(source, 0, 0.0, None, None, None)
    f = ss / df / error if error else None
    p = float(scipy.stats.f.sf(f, df, error_df)) if f is not None and error_df else None
    return AbilityAnova(source, df, ss, ss / df, f, p)


def _percent(splits: tuple[Split, ...]) -> dict[str, float] | None:
    total = sum(split.ss for split in splits)
    return {split.source: 100.0 * split.ss / total for split in splits} if total > 0 else None
