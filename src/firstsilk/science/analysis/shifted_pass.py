"""Were the plots of a pass recorded one plot early or late: do the values fit the plan moved by one plot far better?

The plan says which entry grew on each plot, and the other plots say what each entry gives. Every stretch of every pass
is set against the same stretch with its values moved by one plot; the likelihoods of all are weighed together.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import scipy.linalg
import scipy.special
from numpy.typing import NDArray

from firstsilk.science.analysis.models import Array
from firstsilk.science.analysis.trial_plots import TraitFit, TrialPlots

ODDS = 20.0
"""A trial is flagged where a shift somewhere makes its values this many times as likely as none. If nothing is shifted,
that can happen to at most 1 trial in 20, whatever the trial's shape, since the mean of that ratio is then 1 and it is
never negative (Markov's inequality). Measured it is far rarer, less than 1 in 200 (`docs/plot-quality.md`)."""
SHORTEST = 4
"""A shorter stretch is told by its plots, not as a shifted pass (a choice of ours)."""
FARTHEST = 3.5
"""A value further than so many standard deviations from its ground is a wild plot's and does not count here."""
ONE_PASS, ONE_REPLICATE, TO_THE_END = 0.6, 0.2, 0.2
"""Beforehand: a shift lies within one pass, runs on through several passes of one replicate, or goes on to the end of
the trial (choices of ours, as the next ones)."""
WHOLE, FROM_A_PLOT_ON, UP_TO_A_PLOT, INSIDE = 0.5, 0.25, 0.1, 0.15
"""Beforehand, within a pass: it is shifted whole, from a plot on, up to a plot, or between two."""
REPEATABILITIES = np.array([0.1, 0.25, 0.4, 0.6, 0.8])
"""Beforehand, the repeatability of a plot is any of these: the trial's own is too low where part of it is shifted (a
choice of ours)."""
NEAR = 2
"""First and last plot are told as the ones that are most likely to be right within so many plots."""
NEARLY_AS_LIKELY = 0.98
"""Among places whose surroundings are about as likely the most likely one is told (a choice of ours)."""

Direction = Literal["late", "early"]


@dataclass(frozen=True, slots=True)
class ShiftedPass:
    """A stretch in harvest order whose values fit the plan better when moved by one plot.

    `first` and `last` are places in harvest order; ``late``: each record holds what grew on the plot before it.
    `first_range` and `last_range` hold the true ones with 95 % chance, given that there is such a stretch. `odds` is
    how many times as likely the values are with a shift somewhere; `as_planned` and `moved` correlate the values with
    what the other plots expect there, as it stands and moved by one plot (nan where that cannot be told).
    """

    first: int
    last: int
    direction: Direction
    first_range: tuple[int, int]
    last_range: tuple[int, int]
    odds: float
    as_planned: float
    moved: float


@dataclass(frozen=True, slots=True)
class Ready:
    """Values made independent: `own` (n, T) less the ground of their place, `late` and `early` less that of the plot
    before and after, all of variance 1; `entry` (n,) numbers, `told` (n,) which count. For each of L repeatabilities:
    `precision` (L, T) is one over error variance; m plots of one entry add `worth[:, :, m]` (L, T) times their squared
    sums less `cost[:, m]` (L,) to the log-likelihood; `belief` (L,) is the log of its chance if nothing is shifted.
    """

    own: Array
    late: Array
    early: Array
    entry: NDArray[np.intp]
    told: NDArray[np.bool_]
    precision: Array
    worth: Array
    cost: Array
    belief: Array


def find_shifted_pass(trial: TrialPlots, fits: Sequence[TraitFit]) -> tuple[float, ShiftedPass | None]:
    """Weigh every stretch of every pass against itself moved by one plot.

    Parameters
    ----------
    trial
        The plots.
    fits
        Its traits as `fit_trait` gives them: those that were recorded together, on one travel.

    Returns
    -------
    tuple
        How many times as likely the values are with a shift somewhere as with none; and where it most likely is, None
        if that is less than `ODDS`.

    Notes
    -----
    Given ground and variances, the values of an entry are normal with covariance error (I + ratio J), so a stretch
    moved by one plot changes the likelihood only through the sums of the entries it holds: the ratio is exact, and
    what it expects of each plot comes from the other plots alone. Traits are first turned so that they are
    independent both between and within entries. At the plot where a shift begins or ends one record belongs to no
    plot. The odds are the mean of the ratios over all stretches, each with its weight beforehand.

    Checked by
    ----------
    tests/science/test_shifted_pass.py, tests/soak/prove_plot_quality.py
    """
    ready = _make_ready(trial, fits)
    first, last, late, weight = _weigh_all(trial, ready)
    log_odds = float(scipy.special.logsumexp(weight))
    odds = math.exp(min(log_odds, 700.0))
    if odds < ODDS:
        return odds, None
    chance = np.exp(weight - log_odds)
    return odds, _locate(trial, ready, first, last, late, chance, odds)


def _make_ready(trial: TrialPlots, fits: Sequence[TraitFit]) -> Ready:
    entry = np.unique(trial.entry, return_inverse=True)[1].astype(np.intp)
    values = np.column_stack([trial.values[one.trait] for one in fits])
    ground = np.column_stack([one.ground for one in fits])
    spread = np.sqrt([one.entry_variance + one.residual_variance for one in fits])
    with np.errstate(invalid="ignore"):
        told = np.all(np.abs(values - ground) <= FARTHEST * spread, axis=1)
    share, turn = _turn_traits(values - ground, entry, told, fits)
    at = np.arange(trial.n)
    beside = (at, np.maximum(at - 1, 0), np.minimum(at + 1, trial.n - 1))
    own, late, early = (np.where(told[:, None], values - ground[source], 0.0) @ turn for source in beside)
    repeatability = np.outer(REPEATABILITIES, share)
    precision, ratio = 1.0 / (1.0 - repeatability), repeatability / (1.0 - repeatability)
    size = 1.0 + ratio[:, :, None] * np.arange(int(np.bincount(entry).max()) + 3)
    worth = 0.5 * (ratio * precision)[:, :, None] / size
    cost = 0.5 * np.sum(np.log(size), axis=1)
    ready = Ready(own, late, early, entry, told, precision, worth, cost, np.zeros(len(REPEATABILITIES)))
    sums, n = _totals(ready)
    likely = np.sum(_gain(ready, sums, n), axis=1) + _alike(ready, ready.own[told])
    return replace(ready, belief=likely - scipy.special.logsumexp(likely))


def _turn_traits(
    values: Array, entry: NDArray[np.intp], told: NDArray[np.bool_], fits: Sequence[TraitFit]
) -> tuple[Array, Array]:
    """Repeatabilities against the largest, (T,), and the turn to traits independent between and within entries (T, T).

    Variances are those of the fits; correlations come from the sums of products between and within entries. Both
    suffer alike where a pass is shifted, so the directions do not, only the size of the repeatabilities.
    """
    error_sd = np.sqrt([one.residual_variance for one in fits])
    entry_sd = np.sqrt([one.entry_variance for one in fits])
    if len(fits) == 1:
        return np.ones(1), np.ones((1, 1)) / math.hypot(error_sd[0], entry_sd[0])
    Y, codes = values[told], np.unique(entry[told], return_inverse=True)[1]
    sizes = np.bincount(codes).astype(np.float64)
    sums = np.column_stack([np.bincount(codes, column) for column in Y.T])
    E = (Y.T @ Y - sums.T @ (sums / sizes[:, None])) / (len(Y) - len(sizes))
    means = sums / sizes[:, None] - Y.mean(axis=0)
    between = (means * sizes[:, None]).T @ means / (len(sizes) - 1)
    G = (between - E) * (len(sizes) - 1) / (len(Y) - np.sum(sizes**2) / len(Y))
    G, E = _with_sizes(G, np.maximum(entry_sd, 0.1 * error_sd)), _with_sizes(E, error_sd)
    roots, turn = scipy.linalg.eigh(G, G + E)
    return np.maximum(roots, 0.0) / np.max(roots), np.asarray(turn, dtype=np.float64)


def _with_sizes(covariance: Array, sd: Array) -> Array:
    """The nearest correlations that can be, of a covariance, with given standard deviations."""
    own = np.sqrt(np.maximum(np.diag(covariance), 1e-12 * np.max(np.abs(covariance))))
    correlation = np.clip(covariance / np.outer(own, own), -0.95, 0.95)
    np.fill_diagonal(correlation, 1.0)
    roots, directions = np.linalg.eigh(correlation)
    correlation = (directions * np.maximum(roots, 0.05)) @ directions.T
    own = np.sqrt(np.diag(correlation))
    return np.asarray(correlation / np.outer(own, own) * np.outer(sd, sd), dtype=np.float64)


def _weigh_all(trial: TrialPlots, ready: Ready) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.bool_], Array]:
    """All stretches: first and last place, whether late, log of weight beforehand times likelihood ratio."""
    passes, replicates = _list_runs(trial)
    shares = [ONE_PASS if passes else 0.0, ONE_REPLICATE if replicates else 0.0, TO_THE_END if len(passes) > 1 else 0.0]
    parts = []
    for runs, share in ((passes, shares[0]), (replicates, shares[1])):
        for run in runs:
            a, b, beforehand = _stretches(len(run))
            beforehand = beforehand + math.log(share / sum(shares) / (2 * len(runs)))
            for is_late, ratio in zip((True, False), _weigh_pass(ready, run), strict=True):
                parts.append((run[a], run[b], np.full(len(a), is_late), beforehand + ratio[a, b]))
    if shares[2]:
        at = np.arange(trial.n - SHORTEST + 1)
        share = math.log(shares[2] / sum(shares) / (2 * len(at)))
        for is_late in (True, False):
            ratio = _weigh_to_the_end(ready, is_late)[at]
            parts.append((at, np.full(len(at), trial.n - 1), np.full(len(at), is_late), share + ratio))
    if not parts:
        nothing = np.zeros(0, dtype=np.intp)
        return nothing, nothing, np.zeros(0, dtype=np.bool_), np.full(0, -np.inf)
    first, last, late, weight = (np.concatenate(columns) for columns in zip(*parts, strict=True))
    return first, last, late, weight


def _list_runs(trial: TrialPlots) -> tuple[list[NDArray[np.intp]], list[NDArray[np.intp]]]:
    """The places of each pass, and of each replicate that holds several passes and was harvested in one go."""
    passes = [np.flatnonzero(trial.passes == one) for one in range(int(trial.passes.max()) + 1)]
    rep = np.unique(trial.rep, return_inverse=True)[1]
    replicates = [np.flatnonzero(rep == one) for one in range(int(rep.max()) + 1)] if rep.max() else []
    in_one_go = [run for run in replicates if run[-1] - run[0] + 1 == len(run)]
    several = [run for run in in_one_go if trial.passes[run[0]] != trial.passes[run[-1]]]
    return [run for run in passes if len(run) >= SHORTEST], several


def _stretches(k: int) -> tuple[NDArray[np.intp], NDArray[np.intp], Array]:
    """Stretches of a pass of k plots: first, last, log of the weight beforehand (they sum to 1)."""
    a, b = np.triu_indices(k)
    long = b - a + 1 >= SHORTEST
    a, b = a[long], b[long]
    kind = np.select([(a == 0) & (b == k - 1), b == k - 1, a == 0], [0, 1, 2], 3)
    share = np.array([WHOLE, FROM_A_PLOT_ON, UP_TO_A_PLOT, INSIDE])
    counts = np.bincount(kind, minlength=4)
    share = share / np.sum(share[counts > 0])
    return a, b, np.log(share[kind] / counts[kind])


def _gain(ready: Ready, sums: Array, n: NDArray[np.intp]) -> Array:
    """What plots add to the log-likelihood by being of one entry, (L, ...): their sums (..., T), how many (...,)."""
    found = -ready.cost[:, n]
    for trait in range(sums.shape[-1]):
        found += ready.worth[:, trait][:, n] * sums[..., trait] ** 2
    return np.asarray(found, dtype=np.float64)


def _alike(ready: Ready, values: Array) -> Array:
    """The log-likelihood (L,) of values (m, T) if none were of one entry with another."""
    return np.asarray(
        -0.5 * np.sum(ready.precision * np.sum(values**2, axis=0) - len(values) * np.log(ready.precision), axis=1),
        dtype=np.float64,
    )


def _mix(ready: Ready, ratios: Array) -> Array:
    """Log-likelihood ratios at each repeatability (L, ...) as one, each weighed by its chance."""
    belief = ready.belief.reshape(-1, *[1] * (ratios.ndim - 1))
    return np.asarray(scipy.special.logsumexp(ratios + belief, axis=0), dtype=np.float64)


def _totals(ready: Ready) -> tuple[Array, NDArray[np.intp]]:
    sums = np.zeros((int(ready.entry.max()) + 1, ready.own.shape[1]))
    np.add.at(sums, ready.entry[ready.told], ready.own[ready.told])
    return sums, np.bincount(ready.entry[ready.told], minlength=len(sums)).astype(np.intp)


def _weigh_pass(ready: Ready, run: NDArray[np.intp]) -> tuple[Array, Array]:
    """Log-likelihood ratios (k, k) of each stretch [first, last] of a pass being late, and being early."""
    late = _weigh_after(ready, run, ready.late)
    early = _weigh_after(ready, run[::-1], ready.early)[::-1, ::-1].T
    return late, early


def _weigh_after(ready: Ready, run: NDArray[np.intp], moved: Array) -> Array:
    """Ratios (k, k) of each stretch of a run holding what grew one plot before in the run; the first holds nothing."""
    k = len(run)
    names, local = np.unique(ready.entry[run], return_inverse=True)
    all_sums, all_n = _totals(ready)
    sums, n = np.repeat(all_sums[names][None], k, axis=0), np.repeat(all_n[names][None], k, axis=0)
    found = np.zeros((k, k))
    total = np.zeros((len(ready.belief), k))

    def change(stretches: slice, entry: int, value: Array, by: int) -> None:
        before = _gain(ready, sums[stretches, entry], n[stretches, entry])
        sums[stretches, entry] += by * value
        n[stretches, entry] += by
        total[:, stretches] += _gain(ready, sums[stretches, entry], n[stretches, entry]) - before

    for b, at in enumerate(run):
        if ready.told[at]:
            change(slice(0, b + 1), local[b], ready.own[at], -1)
            total[:, b] += _gain(ready, ready.own[at], np.array(1))
            if b:
                change(slice(0, b), local[b - 1], moved[at], 1)
                total[:, :b] += (_alike(ready, moved[at][None]) - _alike(ready, ready.own[at][None]))[:, None]
        found[:, b] = _mix(ready, total)
    return found


def _weigh_to_the_end(ready: Ready, late: bool) -> Array:
    """Ratios (n,) of all plots from each on, to the end of the trial, being late (or early)."""
    sums, n = _totals(ready)
    size = len(ready.entry)
    moved = ready.late if late else ready.early
    found = np.zeros((len(ready.belief), size))
    total = np.zeros(len(ready.belief))

    def change(entry: int, value: Array, by: int) -> Array:
        before = _gain(ready, sums[entry], n[entry])
        sums[entry] += by * value
        n[entry] += by
        return _gain(ready, sums[entry], n[entry]) - before

    def alone(at: int) -> Array:
        return _gain(ready, ready.own[at], np.array(1))

    for a in range(size - 1, -1, -1):
        # One record belongs to no plot: the first of the stretch if late, the last of all if early.
        if ready.told[a]:
            total = total + change(int(ready.entry[a]), ready.own[a], -1)
            total = total + (alone(a) if late or a == size - 1 else 0.0)
        held, grew = (a + 1, a) if late else (a, a + 1)
        if a < size - 1 and ready.told[held]:
            total = total + _alike(ready, moved[held][None]) - _alike(ready, ready.own[held][None])
            total = total - (alone(held) if late else 0.0) + change(int(ready.entry[grew]), moved[held], 1)
        found[:, a] = total
    return _mix(ready, found)


def _locate(
    trial: TrialPlots,
    ready: Ready,
    first: NDArray[np.intp],
    last: NDArray[np.intp],
    late: NDArray[np.bool_],
    chance: Array,
    odds: float,
) -> ShiftedPass:
    """The stretch most likely to be right within `NEAR` plots at both ends, and the spans of its ends."""
    n = trial.n
    is_late = bool(np.sum(chance[late]) >= 0.5)
    chance = np.where(late == is_late, chance, 0.0)
    start = _most_likely(_gather(first, chance, n))
    end = _most_likely(_gather(last, np.where(np.abs(first - start) <= NEAR, chance, 0.0), n))
    same_end = np.where(np.abs(last - end) <= NEAR, chance, 0.0)
    same_start = np.where(np.abs(first - start) <= NEAR, chance, 0.0)
    spans = [_span(_gather(at, w, n)) for at, w in ((first, same_end), (last, same_start))]
    as_planned, moved = _correlate(ready, np.arange(start, end + 1), is_late)
    return ShiftedPass(start, end, "late" if is_late else "early", spans[0], spans[1], odds, as_planned, moved)


def _gather(at: NDArray[np.intp], chance: Array, n: int) -> Array:
    return np.bincount(at, chance, minlength=n).astype(np.float64)


def _most_likely(chance: Array) -> int:
    near = np.convolve(chance, np.ones(2 * NEAR + 1), mode="same")
    best = np.flatnonzero(near >= NEARLY_AS_LIKELY * near.max())
    return int(best[int(np.argmax(chance[best]))])


def _span(chance: Array) -> tuple[int, int]:
    share = np.cumsum(chance) / np.sum(chance)
    return int(np.searchsorted(share, 0.025)), int(np.searchsorted(share, 0.975))


def _correlate(ready: Ready, stretch: NDArray[np.intp], late: bool) -> tuple[float, float]:
    """Values of a stretch against the mean of the plots outside it, as planned and moved by one plot."""
    sums, n = _totals(ready)
    inside = stretch[ready.told[stretch]]
    np.subtract.at(sums, ready.entry[inside], ready.own[inside])
    np.subtract.at(n, ready.entry[inside], 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = np.where(n[:, None] > 0, sums / n[:, None], np.nan)[ready.entry]
    source = inside + (-1 if late else 1)
    within = (source >= stretch[0]) & (source <= stretch[-1])
    inside, source = inside[within], source[within]
    known = ~np.isnan(mean[inside, 0] + mean[source, 0])
    y = ready.own[inside[known]].ravel()
    told = []
    for at in (inside[known], source[known]):
        x = mean[at].ravel()
        enough = len(x) > 2 and np.ptp(x) > 0 and np.ptp(y) > 0
        told.append(float(np.corrcoef(x, y)[0, 1]) if enough else math.nan)
    return told[0], told[1]
