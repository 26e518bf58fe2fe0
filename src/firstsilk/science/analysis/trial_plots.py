"""What is one trial for a check of its plots: values in harvest order, and what entries and ground make of them?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.special
from numpy.typing import ArrayLike, NDArray

from firstsilk.answers import InputRefused, refuse
from firstsilk.science.analysis.columns import Column
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Array, Fit, Model, RandomTerm

LEAST_ENTRIES = 6
LEAST_SPARE = 6
LEAST_IN_GROUP = 3
"""Fewer entries, or fewer plots beyond one for each entry, tell nothing of a single plot; a row or column of
fewer plots on the mean nothing of the ground (choices of ours)."""


@dataclass(frozen=True, slots=True)
class TrialPlots:
    """The plots of one trial in harvest order (n,): `values` by trait, nan where there is none.

    `place` is the place of each plot among those given; `field_row` and `field_col` are None where not known. `passes`
    numbers the travels through the field: runs of plots in one row, or in one column, whichever the order follows.
    """

    values: Mapping[str, Array]
    entry: tuple[str, ...]
    rep: tuple[str, ...]
    field_row: NDArray[np.intp] | None
    field_col: NDArray[np.intp] | None
    passes: NDArray[np.intp]
    place: NDArray[np.intp]

    @property
    def n(self) -> int:
        """How many plots there are."""
        return len(self.entry)


@dataclass(frozen=True, slots=True)
class TraitFit:
    """One trait of a trial, fitted: arrays (n,).

    `expected` is entry and ground together, `ground` all but the entry (the mean included), `left` what is left over,
    `studentised` that by its standard error; both are nan where the plot has no value. `free` is the number of degrees
    of freedom left to error; `p_entries` the chance of so great a likelihood of differing entries if they did not
    differ; `ground_terms` what the ground is made of.
    """

    trait: str
    expected: Array
    ground: Array
    left: Array
    studentised: Array
    entry_variance: float
    residual_variance: float
    free: float
    p_entries: float
    ground_terms: tuple[str, ...]


def arrange_trial(
    values: Mapping[str, ArrayLike],
    entry: Sequence[str],
    rep: Sequence[str] | None = None,
    field_row: ArrayLike | None = None,
    field_col: ArrayLike | None = None,
    order: ArrayLike | None = None,
) -> TrialPlots:
    """Put the plots of a trial into harvest order and find its passes.

    Parameters
    ----------
    values
        By trait, (n,); nan for a plot without a value.
    entry, rep
        Names (n,); rep None: not known.
    field_row, field_col
        Place in the field (n,), whole numbers; both or neither.
    order
        A number for each plot (n,) that rises as the plots were harvested; None: the order in which they are given.

    Raises
    ------
    InputRefused
        If lengths differ, there is no plot, or an order number stands twice.

    Notes
    -----
    Checked by ``tests/science/test_plot_doubts.py``.
    """
    n = len(entry)
    arrays = {trait: np.asarray(one, dtype=np.float64) for trait, one in values.items()}
    rank = np.arange(n) if order is None else np.asarray(order, dtype=np.float64)
    grid = [None if one is None else np.asarray(one, dtype=np.intp) for one in (field_row, field_col)]
    told = [*arrays.values(), rank, *[one for one in grid if one is not None]]
    if not n or not arrays or any(len(one) != n for one in told) or (rep is not None and len(rep) != n):
        raise refuse("lengths_differ", "Values, entries and places must have one value for each of one or more plots")
    if len(np.unique(rank)) != n:
        raise refuse("order_twice", "Two plots have the same place in harvest order", "Give each its own.")
    place = np.argsort(rank, kind="stable").astype(np.intp)
    row, col = (None if one is None else one[place] for one in grid)
    return TrialPlots(
        {trait: one[place] for trait, one in arrays.items()},
        tuple(entry[at] for at in place),
        tuple("1" if rep is None else rep[at] for at in place),
        row,
        col,
        _number_passes(n, row, col),
        place,
    )


def _number_passes(n: int, row: NDArray[np.intp] | None, col: NDArray[np.intp] | None) -> NDArray[np.intp]:
    if row is None or col is None:
        return np.zeros(n, dtype=np.intp)
    turns = [np.diff(line) != 0 for line in (row, col)]
    fewer = turns[0] if np.sum(turns[0]) <= np.sum(turns[1]) else turns[1]
    return np.concatenate([[0], np.cumsum(fewer)]).astype(np.intp)


def fit_trait(trial: TrialPlots, trait: str, leave_out: NDArray[np.bool_] | None = None) -> TraitFit:
    """Give entries and ground their share of a trait.

    Parameters
    ----------
    trial
        The plots.
    trait
        Which of its values.
    leave_out
        Plots (n,) whose value is not to be used.

    Returns
    -------
    TraitFit
        What is expected of each plot and what is left over.

    Raises
    ------
    InputRefused
        If too few plots or entries have values, or they tell nothing.

    Notes
    -----
    Entries random; ground: replicates, rows and columns of the field, all random, as far as the lay-out lets them be
    told apart. `p_entries` from the likelihood ratio D of the fits with and without entries:
    half of it at 0, half as chi-squared on 1 degree of freedom, since a variance of 0 lies on the bound.

    References
    ----------
    Stram & Lee 1994 Biometrics 50:1171 (the mixture).

    Checked by
    ----------
    tests/science/test_plot_doubts.py
    """
    values = trial.values[trait].copy()
    if leave_out is not None:
        values[leave_out] = np.nan
    _check_enough(trial, values, trait)
    data: dict[str, Column] = {"value": values, "entry": list(trial.entry), "rep": list(trial.rep)}
    if trial.field_row is not None and trial.field_col is not None:
        data |= {"row": trial.field_row.tolist(), "col": trial.field_col.tolist()}
    terms = _choose_ground(trial, ~np.isnan(values))
    while True:
        random = tuple(RandomTerm(term) for term in terms)
        try:
            fit = fit_mixed_model(data, Model("value", (), (RandomTerm(("entry",)), *random)))
            without = fit_mixed_model(data, Model("value", (), random))
            break
        except InputRefused:
            if not terms:
                raise
            terms = terms[:-1]
    gain = 2.0 * (fit.reml_log_likelihood - without.reml_log_likelihood)
    p_entries = 0.5 * float(scipy.special.chdtrc(1, gain)) if gain > 0 and fit.variance("entry") > 0 else 1.0
    return _tell(trial, trait, fit, p_entries, tuple(term for (term,) in terms))


def _check_enough(trial: TrialPlots, values: Array, trait: str) -> None:
    told = [name for name, value in zip(trial.entry, values, strict=True) if not np.isnan(value)]
    entries = len(set(told))
    if entries < LEAST_ENTRIES or len(told) - entries < LEAST_SPARE:
        raise refuse(
            "too_few_plots",
            f"{len(told)} plots of {entries} entries tell {trait}: too few to check one by the others",
            f"At least {LEAST_ENTRIES} entries and {LEAST_SPARE} plots more than entries are needed.",
        )


def parts_alike(one: Sequence[object], other: Sequence[object]) -> bool:
    """Whether two columns (n,) part the plots into the same groups."""
    return len(set(zip(one, other, strict=True))) == len(set(one)) == len(set(other))


def _choose_ground(trial: TrialPlots, told: NDArray[np.bool_]) -> tuple[tuple[str, ...], ...]:
    """Replicates, rows and columns, each where it groups plots in a way of its own, with plots enough in a group."""
    lines = [("rep", np.unique(trial.rep, return_inverse=True)[1])]
    if trial.field_row is not None and trial.field_col is not None:
        lines += [("row", trial.field_row), ("col", trial.field_col)]
    found: dict[str, NDArray[np.intp]] = {}
    for name, codes in lines:
        own = np.unique(codes[told], return_inverse=True)[1]
        n_groups = int(own.max()) + 1
        alike = any(parts_alike(own.tolist(), old.tolist()) for old in found.values())
        if 1 < n_groups <= len(own) // LEAST_IN_GROUP and not alike:
            found[name] = own
    return tuple((name,) for name in found)


def _tell(trial: TrialPlots, trait: str, fit: Fit, p_entries: float, terms: tuple[str, ...]) -> TraitFit:
    if fit.records is None:
        raise refuse("too_large", f"{trait}: the trial is too large for its plots to be checked one by one")
    effects = {(line.term, line.level): line.value for line in fit.random}
    lines = {"rep": trial.rep, "row": trial.field_row, "col": trial.field_col}
    ground = np.full(trial.n, fit.fixed[0].estimate)
    for term in terms:
        ground += [effects.get((term, str(level)), 0.0) for level in np.asarray(lines[term]).tolist()]
    expected = ground + [effects.get(("entry", name), 0.0) for name in trial.entry]
    left, studentised = np.full((2, trial.n), np.nan)
    left[fit.records.kept], studentised[fit.records.kept] = fit.records.residual, fit.records.studentised
    error = fit.variance("residual")
    with np.errstate(divide="ignore", invalid="ignore"):
        free = float(np.nansum((left / studentised) ** 2)) / error
    entry_variance = fit.variance("entry")
    return TraitFit(trait, expected, ground, left, studentised, entry_variance, error, free, p_entries, terms)
