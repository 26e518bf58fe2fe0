"""What do earlier seasons and the pedigree say a line needs to flower, before this season's first note?

The prior that a forecast starts from. Records of a line count by their number; a line with few leans on the plant or
family that it was selfed from, a cross on both its parents, all on the programme's mean. Past seasons had shifts of
their own, which records of one season share. A first cross flowers before its parents' mean and loses half of that
lead with each selfing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from firstsilk.science.flowering.line_tree import (
    Evidence,
    LineTree,
    TreePosterior,
    gather_evidence,
    invert_pairs,
    solve_tree,
)
from firstsilk.science.flowering.spreads import Spreads

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

SEASON, LATE, CROWD, CLOCK, MEAN, HETEROSIS, PAST = (0, 1), 2, 3, 4, (5, 6), (7, 8), 9
"""Places of the shared unknowns: this season's shift, lateness of sowing, crowding, how much of the other scale's hint
is true, the programme's mean, heterosis; from `PAST` on two for each past season."""
KNOWN_ONLY = 5
"""Shared unknowns where every line's mean is given from outside, without pedigree or records."""
MEAN_SD_DAYS = 12.0
"""How unsure the programme's mean is before any record [days]."""
SCALE_PASSES = 12
SEASONS_WEIGHT, RECORDS_WEIGHT = 1.5, 15.0
"""For how many seasons and records the spreads handed in count, beside what the records show."""


@dataclass(frozen=True, slots=True)
class Learnt:
    """What records and pedigree say before the season's first note.

    `row_scale` and `season_scale` are how many times the variances handed in were found among records of one season,
    and among seasons: of silk or of shed, whichever is less.
    """

    tree: LineTree
    history: Evidence
    row_scale: float
    season_scale: float


@dataclass(frozen=True, slots=True)
class _Scales:
    """What records show: covariance of seasons' shifts (2, 2); times the usual variance of records within a season."""

    seasons: FloatArray
    records: float

    def is_near(self, other: _Scales) -> bool:
        moved = np.abs(self.seasons / other.seasons - 1.0).max()
        return bool(moved < 0.02 and abs(self.records / other.records - 1.0) < 0.02)


@dataclass(frozen=True, slots=True)
class LinesKnown:
    """Lines with their pedigree and records.

    Attributes
    ----------
    mother, father
        Places of the parents (lines,), -1 if unknown; `father` counts for crosses only.
    method
        ``founder``, ``founder_inbred``, ``cross``, ``self``, ``sib``, ``dh``, ``bulk`` or ``open``, as in pedigrees.
    selfings
        Generations of selfing of a ``self`` (lines,).
    mixed_frac
        Share of loci still heterozygous against a first cross of unrelated inbreds (lines,).
    record_line, record_season
        Line and season of each record (records,); season -1 for a figure of unknown or several seasons.
    record_units
        Units to silk and shed (records, 2) [scale of the station]; NaN where one is not known.
    record_count
        How many rows stand behind each record (records,).
    n_seasons
        Past seasons.
    clock_shift
        What the other scale hints at for each past season (seasons,) [units]; see `other_clock`. Empty: no hint.
    """

    mother: IntArray
    father: IntArray
    method: Sequence[str]
    selfings: IntArray
    mixed_frac: FloatArray
    record_line: IntArray
    record_season: IntArray
    record_units: FloatArray
    record_count: FloatArray
    n_seasons: int
    clock_shift: FloatArray


def pair_cov(alike: float, apart: float) -> FloatArray:
    """Covariance (2, 2) of two values that move together by one standard deviation and apart by another."""
    both, own = alike**2, apart**2
    return np.array([[both + own, both - own], [both - own, both + own]])


def row_cov(spreads: Spreads, pace: float) -> FloatArray:
    """Covariance of a row's own remainder (2, 2) [units squared]."""
    return pair_cov(spreads.row_days * pace, spreads.row_apart_days * pace)


def find_mixed_frac(
    mother: IntArray, method: Sequence[str], selfings: IntArray, cross_frac: FloatArray | None = None
) -> FloatArray:
    """Share of loci still heterozygous in each line (lines,), parents before children.

    Parameters
    ----------
    mother, method, selfings
        As in `LinesKnown`.
    cross_frac
        Share in each cross (lines,), one less the coancestry of its parents; 1 if not handed in.

    Notes
    -----
    Halved by each selfing, none in inbred founders and doubled haploids; a family kept by sibs or as a bulk keeps its
    mother's, an open-pollinated one has 1 (a choice of ours). Checked by ``tests/science/test_line_records.py``.
    """
    found = np.ones(len(mother))
    for at, how in enumerate(method):
        above = found[mother[at]] if mother[at] >= 0 else 1.0
        if how in ("founder_inbred", "dh"):
            found[at] = 0.0
        elif how == "self":
            found[at] = above * 0.5 ** int(selfings[at])
        elif how in ("sib", "bulk"):
            found[at] = above
        elif how == "cross" and cross_frac is not None:
            found[at] = cross_frac[at]
    return found


def learn_lines(
    known: LinesKnown, spreads: Spreads, pace: float, mean_units: FloatArray, dryness_frac: float = 0.0
) -> Learnt:
    """Build the tree that a forecast starts from, and what records say of it.

    Parameters
    ----------
    known
        Lines in any order that has parents before children.
    spreads
        Standard deviations and effects in days.
    pace
        Units of a normal day at flowering.
    mean_units
        The programme's mean (2,), before records; counted as sure to `MEAN_SD_DAYS`.
    dryness_frac
        How dry the month before flowering is, 0 (as usual) to 1 (no rain): silk is expected later, and less surely.

    Returns
    -------
    Learnt
        Tree and history as `forecast.forecast_flowering` takes them, and the scales found.

    Notes
    -----
    How far seasons and rows really lie apart is told by the records too, by expectation and maximisation: where heat
    units in this scale tell little of the plants' own clock, past seasons scatter, and the forecast gets wider.

    Variance within a family: with V among unrelated inbreds, selfing a plant of heterozygosity H for t generations
    gives ``V/2 H (1 - 2^-t)``, doubled haploids ``V/2 H``, a cross of parents ``V/8 (H1 + H2)`` (Falconer & Mackay
    1996, ch. 15, from memory). A cross stands at its parents' mean as earlier records tell them; what this season
    shows of the parents does not reach it.

    Checked by ``tests/science/test_line_records.py``.
    """
    line_cov = pair_cov(spreads.line_days * pace, spreads.line_apart_days * pace)
    scales = _Scales(season_cov(spreads, pace), 1.0)
    waiting = [at for at, how in enumerate(known.method) if how == "cross" and known.mother[at] >= 0]
    generations = [np.array(each, dtype=np.intp) for each in _order_crosses(known, waiting)]
    for _ in range(SCALE_PASSES if known.n_seasons else 1):
        shared = _start_shared(known, spreads, pace, mean_units, dryness_frac, scales)
        tree, history = _hang_lines(known, line_cov, shared), _read_records(known, spreads, pace, scales.records)
        for generation in generations:
            told = solve_tree(tree, history)
            tree = _place_crosses(tree, known, generation, told.mean, told.cov, line_cov)
        told = solve_tree(tree, history)
        before, scales = scales, _find_scales(known, told, spreads, pace)
        if scales.is_near(before):
            break
    # Drought moves silk alone; a scale that is not the plants' clock moves silk and shed.
    season_scale = float(np.min(np.diag(scales.seasons) / np.diag(season_cov(spreads, pace))))
    return Learnt(tree, history, scales.records, season_scale)


def _start_shared(
    known: LinesKnown,
    spreads: Spreads,
    pace: float,
    mean_units: FloatArray,
    dryness_frac: float,
    scales: _Scales,
) -> tuple[FloatArray, FloatArray]:
    n = PAST + 2 * known.n_seasons
    mean, cov = np.zeros(n), np.zeros((n, n))
    # A scale learnt from few seasons is itself unsure: the season to come may lie further out than they did.
    wider = 1.0 + 2.0 / (SEASONS_WEIGHT + known.n_seasons)
    mean[:KNOWN_ONLY], cov[:KNOWN_ONLY, :KNOWN_ONLY] = start_season(spreads, pace, dryness_frac, scales.seasons * wider)
    mean[list(MEAN)] = mean_units
    cov[np.ix_(MEAN, MEAN)] = pair_cov(MEAN_SD_DAYS * pace, spreads.line_apart_days * pace)
    mean[list(HETEROSIS)] = spreads.heterosis_days * pace
    cov[np.ix_(HETEROSIS, HETEROSIS)] = pair_cov(spreads.heterosis_sd_days * pace, 0.3 * pace)
    for season in range(known.n_seasons):
        at = PAST + 2 * season
        cov[at : at + 2, at : at + 2] = scales.seasons
    return mean, cov


def season_cov(spreads: Spreads, pace: float) -> FloatArray:
    """Covariance of a season's shift in silk and shed (2, 2) [units squared], before any season has told."""
    return pair_cov(spreads.season_days * pace, spreads.season_apart_days * pace)


def _find_scales(known: LinesKnown, told: TreePosterior, spreads: Spreads, pace: float) -> _Scales:
    """How many times the variances handed in are found among seasons, and among records within one."""
    seasons, n = SEASONS_WEIGHT * season_cov(spreads, pace), SEASONS_WEIGHT
    for each in range(known.n_seasons):
        at = slice(PAST + 2 * each, PAST + 2 * each + 2)
        seasons = seasons + told.shared_cov[at, at] + np.outer(told.shared_mean[at], told.shared_mean[at])
        n += 1.0
    whole = np.flatnonzero(~np.isnan(known.record_units).any(axis=1) & (known.record_season >= 0))
    records = RECORDS_WEIGHT
    if len(whole):
        line, design = known.record_line[whole], _design_records(known)[whole]
        turned = np.swapaxes(design, 1, 2)
        mixed = told.cross[line] @ turned
        around = told.cov[line] + mixed + np.swapaxes(mixed, 1, 2) + design @ told.shared_cov @ turned
        rest = known.record_units[whole] - told.mean[line] - design @ told.shared_mean
        own = np.linalg.inv(_record_cov(spreads, pace)) * known.record_count[whole, None, None]
        found = np.einsum("kij,kji->k", own, around + rest[:, :, None] * rest[:, None, :]) / 2.0
        records += float(np.minimum(found, 12.0).sum())
    return _Scales(
        seasons / n,
        float(np.clip(records / (RECORDS_WEIGHT + len(whole)), 0.3, 6.0)),
    )


def _record_cov(spreads: Spreads, pace: float) -> FloatArray:
    """Covariance of a record of one row about its line in its season: the row's own, and that dates are whole days."""
    return np.asarray(row_cov(spreads, pace) + (0.3 * pace) ** 2 * np.eye(2))


def _design_records(known: LinesKnown) -> FloatArray:
    """What each record has of the shared unknowns (records, 2, shared)."""
    n = len(known.record_line)
    design = np.zeros((n, 2, PAST + 2 * known.n_seasons))
    mixed = known.mixed_frac[known.record_line] if n else np.zeros(0)
    design[:, 0, HETEROSIS[0]] = design[:, 1, HETEROSIS[1]] = -mixed
    at = np.flatnonzero(known.record_season >= 0)
    place = PAST + 2 * known.record_season[at]
    design[at, 0, place] = design[at, 1, place + 1] = 1.0
    if len(known.clock_shift):
        design[at, 0, CLOCK] = design[at, 1, CLOCK] = known.clock_shift[known.record_season[at]]
    return design


def start_season(
    spreads: Spreads, pace: float, dryness_frac: float = 0.0, shift_cov: FloatArray | None = None
) -> tuple[FloatArray, FloatArray]:
    """Mean and covariance of the season's shift, lateness and crowding: the first `KNOWN_ONLY` shared unknowns.

    Notes
    -----
    Dry weather before flowering holds silk back and not shed, by an amount that is itself unsure.
    """
    mean, cov = np.zeros(KNOWN_ONLY), np.zeros((KNOWN_ONLY, KNOWN_ONLY))
    cov[:2, :2] = season_cov(spreads, pace) if shift_cov is None else shift_cov
    mean[0] = spreads.drought_days * dryness_frac * pace
    cov[0, 0] += (spreads.drought_sd_days * dryness_frac * pace) ** 2
    mean[LATE], cov[LATE, LATE] = spreads.late_days * pace, (spreads.late_sd_days * pace) ** 2
    mean[CROWD], cov[CROWD, CROWD] = spreads.crowding_days * pace, (spreads.crowding_sd_days * pace) ** 2
    mean[CLOCK], cov[CLOCK, CLOCK] = spreads.clock_frac, spreads.clock_sd_frac**2
    return mean, cov


def _hang_lines(known: LinesKnown, line_cov: FloatArray, shared: tuple[FloatArray, FloatArray]) -> LineTree:
    n = len(known.mother)
    parent = np.full(n, -1, dtype=np.intp)
    spread = np.tile(line_cov, (n, 1, 1))
    design = np.zeros((n, 2, len(shared[0])))
    design[:, 0, MEAN[0]] = design[:, 1, MEAN[1]] = 1.0
    for at, how in enumerate(known.method):
        mother = int(known.mother[at])
        if how == "founder" or (how == "open" and mother < 0):
            spread[at] = line_cov / 2.0
        if how not in ("self", "dh", "sib", "bulk", "open") or mother < 0:
            continue
        parent[at] = mother
        mixed = float(known.mixed_frac[mother])
        share = {"self": mixed * (1.0 - 0.5 ** int(known.selfings[at])), "dh": mixed}.get(how, 1.0)
        spread[at] = line_cov * max(share / 2.0, 0.01)
    return LineTree(parent, np.zeros((n, 2)), spread, design, *shared)


def _read_records(known: LinesKnown, spreads: Spreads, pace: float, scale: float) -> Evidence:
    n = len(known.record_line)
    design = _design_records(known)
    own = scale * _record_cov(spreads, pace)
    cov = np.tile(own, (n, 1, 1)) / np.maximum(known.record_count, 1.0)[:, None, None]
    # A figure of one season or of several, nobody knows which.
    cov[known.record_season < 0] += pair_cov(spreads.season_days * pace, spreads.season_apart_days * pace) / 2.0
    precision = invert_pairs(cov)
    gone = np.isnan(known.record_units)
    for column in (0, 1):
        single = gone[:, 1 - column] & ~gone[:, column]
        precision[single] = 0.0
        precision[single, column, column] = 1.0 / cov[single, column, column]
    precision[gone.all(axis=1)] = 0.0
    shift = np.einsum("kij,kj->ki", precision, np.where(gone, 0.0, known.record_units))
    return gather_evidence(len(known.mother), known.record_line, design, precision, shift)


def _order_crosses(known: LinesKnown, waiting: Sequence[int]) -> list[list[int]]:
    """Crosses by how many crosses lie above them: those of founders first."""
    depth = np.zeros(len(known.mother), dtype=np.intp)
    for at, how in enumerate(known.method):
        above = [int(each[at]) for each in (known.mother, known.father) if each[at] >= 0]
        depth[at] = max((int(depth[one]) for one in above), default=0) + (how == "cross")
    by_depth: dict[int, list[int]] = {}
    for at in waiting:
        by_depth.setdefault(int(depth[at]), []).append(at)
    return [by_depth[key] for key in sorted(by_depth)]


def _place_crosses(
    tree: LineTree, known: LinesKnown, crosses: IntArray, mean: FloatArray, cov: FloatArray, line_cov: FloatArray
) -> LineTree:
    """Stand crosses at their parents' mean; a parent that is not known is any line of the programme."""
    offset, spread, design = tree.offset.copy(), tree.spread.copy(), tree.root_design.copy()
    for at in crosses:
        one, other = int(known.mother[at]), int(known.father[at])
        if other < 0:
            offset[at] = mean[one] / 2.0
            design[at] /= 2.0
            spread[at] = cov[one] / 4.0 + line_cov * (2.0 + known.mixed_frac[one]) / 8.0
            continue
        offset[at], design[at] = (mean[one] + mean[other]) / 2.0, 0.0
        mixed = float(known.mixed_frac[one] + known.mixed_frac[other])
        spread[at] = (cov[one] + cov[other]) / 4.0 + line_cov * max(mixed / 8.0, 0.01)
    return replace(tree, offset=offset, spread=spread, root_design=design)


def design_rows(
    tree: LineTree, late_days: FloatArray, crowding: FloatArray, clock_shift: FloatArray, mixed_frac: FloatArray
) -> FloatArray:
    """What each row has of the shared unknowns (rows, 2, shared).

    Parameters
    ----------
    tree
        The tree, for its number of shared unknowns.
    late_days
        Days sown after the first sowing (rows,).
    crowding
        How crowded, in standard deviations (rows,); 0 where not known.
    clock_shift
        What the other scale hints at for each row (rows,) [units].
    mixed_frac
        Of each row's line (rows,); counts where the tree has heterosis.
    """
    design = np.zeros((len(late_days), 2, tree.n_shared))
    design[:, 0, SEASON[0]] = design[:, 1, SEASON[1]] = 1.0
    design[:, 0, LATE] = design[:, 1, LATE] = late_days
    design[:, 0, CROWD] = crowding
    design[:, 0, CLOCK] = design[:, 1, CLOCK] = clock_shift
    if tree.n_shared > KNOWN_ONLY:
        design[:, 0, HETEROSIS[0]] = design[:, 1, HETEROSIS[1]] = -mixed_frac
    return design
