"""How much of what was measured on a plot is the ground, and what is left over once the entry has its share too?

Needs no books: columns in, one value for each plot out. The models that are tried stand in one place, `_list_models`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from firstsilk.answers import InputRefused, refuse
from firstsilk.science.analysis.lags import correlate_lags
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Fit, Model, RandomTerm, Surface
from firstsilk.science.analysis.trial_plots import parts_alike

GROUND_TERMS = {"replicate": "replicate", "field_row": "field row", "field_col": "field column"}
"""The random terms that make up the ground, and how a person calls them."""
AXES = {"row_number": "field row", "col_number": "field column"}
"""The number columns over which the smooth surface lies, and how a person calls them."""
LEAST_STEPS, LEAST_HUMPS, MOST_HUMPS = 5, 4, 12
"""A surface bends along an axis of at least so many rows or columns; a hump for every two of them, within bounds (a
choice of ours)."""


ALIKE = 1.3
"""A surface is laid where next neighbours, without it, are alike by more than so many standard errors (a choice of ours
by planted fields: docs/pictures.md)."""


@dataclass(frozen=True, slots=True)
class EntryMean:
    """An entry's mean with the ground taken out, and its standard error, in the unit of the values."""

    entry: str
    value: float
    se: float


@dataclass(frozen=True, slots=True)
class GroundTrend:
    """Each plot's value split: mean + entry + `ground` + `left`, in the order given; None where a plot tells nothing.

    `means` are those of entries taken as fixed (empty where they are random); `mean_variance` half the mean variance of
    a difference between two of them; `ground_sd` and `left_sd` the spread of the two parts over the plots; `model` and
    `said` in words.
    """

    ground: tuple[float | None, ...]
    left: tuple[float | None, ...]
    means: tuple[EntryMean, ...]
    mean_variance: float | None
    ground_sd: float
    left_sd: float
    model: str
    said: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Try:
    """One model to be tried: with the entries or without, and which terms and which surface make up the ground."""

    entries: bool
    ground: tuple[str, ...]
    surface: Surface | None = None


def find_ground(
    values: Sequence[float | None],
    entries: Sequence[str],
    replicates: Sequence[str],
    field_row: Sequence[int | None],
    field_col: Sequence[int | None],
    entries_fixed: bool = False,
) -> GroundTrend:
    """Split each plot's value into mean, entry, ground and what is left over.

    Parameters
    ----------
    values
        What was measured on each plot (n,), any unit; None where it tells nothing.
    entries, replicates
        Of each plot (n,).
    field_row, field_col
        Where each plot lies (n,); one without a place takes part by its replicate alone where none has one.
    entries_fixed
        Take the entries as fixed and give their means; else as random, so that what is left over is not shared out
        among few plots of each.

    Returns
    -------
    GroundTrend
        The parts of each plot.

    Raises
    ------
    InputRefused
        If the plots carry no model at all.

    Notes
    -----
    Mixed model by REML: ground = replicate + field row + field column, random, as far as the lay-out has them and can
    tell them apart. Where next neighbours are still alike by what that leaves (entries random), a smooth surface over
    field rows and columns is laid as well: cubic B-splines, wiggles along each axis with a variance of their own. On a
    field that does not need it a surface would cost more than it gives. The ground averages 0 over the plots that tell
    a value.

    References
    ----------
    Eilers & Marx 1996 Statistical Science 11:89; Wood 2006 Biometrics 62:1025 (the surface).

    Checked by
    ----------
    tests/work/test_ground.py
    """
    kept = [at for at, value in enumerate(values) if value is not None and math.isfinite(value)]
    if not kept:
        raise refuse("no_plots", "No plot tells a value.", "Bring the plot data in first.")
    data: dict[str, list[object]] = {
        "value": [values[at] for at in kept],
        "entry": [entries[at] for at in kept],
        "replicate": [replicates[at] for at in kept],
        "field_row": [str(field_row[at]) for at in kept],
        "field_col": [str(field_col[at]) for at in kept],
        "row_number": [field_row[at] for at in kept],
        "col_number": [field_col[at] for at in kept],
    }
    placed = all(field_row[at] is not None and field_col[at] is not None for at in kept)
    said: list[str] = [] if placed else ["Not every plot has a place in the field: the ground is told by replicates."]
    tried, fit = _choose_model(data, placed, entries_fixed, said)
    said += [_say_bound(term) for term in fit.at_bound]
    if not fit.converged:
        said.append("The search for the variances stopped before the top: read the figures with care.")
    return _split(data, kept, len(values), tried, fit, entries_fixed, said)


def _say_bound(term: str) -> str:
    axis = AXES.get(term.rpartition(":")[2]) if ":" in term or term in AXES else None
    if axis is not None:
        return f"The surface came out straight along the {axis}s."
    return f"{GROUND_TERMS.get(term, term).capitalize()}: no variance found."


def _choose_model(
    data: dict[str, list[object]], placed: bool, entries_fixed: bool, said: list[str]
) -> tuple[_Try, Fit]:
    """The model of the ground, decided on here: blocks, and a surface only where they leave neighbours alike."""
    plain, surfaced = _list_models(data, placed)
    own: list[str] = []
    tried, fit = _fit_first(data, plain, False, own)
    if surfaced:
        alike = _look_at_neighbours(data, fit)
        if alike is not None and alike[0] > ALIKE * alike[1]:
            said.append(f"Without the surface next neighbours are alike: correlation {alike[0]:.2f}.")
            return _fit_first(data, [*surfaced, *plain], entries_fixed, said)
        said.append("No smooth surface: without one next neighbours are no more alike than chance gives.")
    said += own
    return (tried, fit) if not entries_fixed else _fit_first(data, plain, entries_fixed, [])


def _look_at_neighbours(data: dict[str, list[object]], fit: Fit) -> tuple[float, float] | None:
    """How alike next neighbours are by what a fit leaves, and the standard error; None if that cannot be told."""
    assert fit.records is not None
    rows, cols = ([int(str(one)) for one in data[axis]] for axis in ("field_row", "field_col"))
    left = np.empty(len(rows))
    left[fit.records.kept] = fit.records.residual
    try:
        return correlate_lags(rows, cols, left.tolist()).pool_nearest()
    except InputRefused:
        return None


def _list_models(data: dict[str, list[object]], placed: bool) -> tuple[list[_Try], list[_Try]]:
    """The models that are tried, the fullest first: those of blocks alone, and those with a surface."""
    terms = ["replicate"] if len(set(data["replicate"])) > 1 else []
    if placed:
        terms += [axis for axis in ("field_row", "field_col") if _adds(data, axis, terms)]
    surface = _plan_surface(data) if placed else None
    plain = [_Try(True, tuple(terms[:size])) for size in range(len(terms), -1, -1)]
    plain += [_Try(False, tuple(terms)), _Try(False, ())]
    if surface is None:
        return plain, []
    parts = dict.fromkeys((tuple(terms), tuple(terms[:1]), ()))
    return plain, [*(_Try(True, part, surface) for part in parts), _Try(False, tuple(terms), surface)]


def _plan_surface(data: dict[str, list[object]]) -> Surface | None:
    """A surface over the axes that are long enough to bend; None where none is."""
    steps = {axis: len(set(data[axis])) for axis in AXES}
    grid = tuple(axis for axis, count in steps.items() if count >= LEAST_STEPS)
    if not grid:
        return None
    return Surface(grid, tuple(min(max(steps[axis] // 2 + 2, LEAST_HUMPS), MOST_HUMPS) for axis in grid))


def _adds(data: dict[str, list[object]], axis: str, terms: Sequence[str]) -> bool:
    """Whether an axis has several levels, fewer than plots, and does not part the plots as another term does."""
    levels = set(data[axis])
    if not 1 < len(levels) < len(data[axis]):
        return False
    return not any(parts_alike(data[axis], data[term]) for term in terms)


def _fit_first(
    data: dict[str, list[object]], models: Sequence[_Try], entries_fixed: bool, said: list[str]
) -> tuple[_Try, Fit]:
    last: InputRefused | None = None
    for tried in models:
        try:
            fit = fit_mixed_model(data, _model(tried, entries_fixed))
        except InputRefused as no:
            last = no
            continue
        if last is not None and tried.surface is not None and tried.entries:
            said.append("Rows and columns as such could not be told beside the surface.")
        elif last is not None:
            said.append(f"A fuller model could not be fitted: {last}")
        if not tried.entries:
            said.append("Entries cannot be told from what is left over: no entry stands twice.")
        return tried, fit
    raise refuse("no_model", f"These plots carry no model: {last}", "Add replicates or plots.") from last


def _model(tried: _Try, entries_fixed: bool) -> Model:
    fixed: tuple[tuple[str, ...], ...] = (("entry",),) if tried.entries and entries_fixed else ()
    random = [RandomTerm(("entry",))] if tried.entries and not entries_fixed else []
    random += [RandomTerm((term,)) for term in tried.ground]
    if tried.surface is None:
        return Model("value", fixed, tuple(random))
    return Model("value", fixed, tuple(random), numeric=tried.surface.grid, surfaces=(tried.surface,))


def _split(
    data: dict[str, list[object]],
    kept: Sequence[int],
    n: int,
    tried: _Try,
    fit: Fit,
    entries_fixed: bool,
    said: Sequence[str],
) -> GroundTrend:
    assert fit.records is not None
    fixed = tried.entries and entries_fixed
    means = tuple(EntryMean(one.level, one.value, one.se) for one in fit.means if one.term == "entry") if fixed else ()
    worth: Mapping[str, float] = {one.level: one.value for one in fit.random if one.term == "entry"}
    if fixed:
        worth = {one.entry: one.value for one in means}
    own = np.array([worth.get(str(entry), 0.0) for entry in data["entry"]])
    # What is fitted beside the entry is ground: blocks, rows, columns, the surface with its tilts.
    under = fit.records.fitted - own[fit.records.kept]
    ground: list[float | None] = [None] * n
    left: list[float | None] = [None] * n
    for k, value, rest in zip(fit.records.kept, under - under.mean(), fit.records.residual, strict=True):
        ground[kept[k]], left[kept[k]] = float(value), float(rest)
    return GroundTrend(
        tuple(ground),
        tuple(left),
        means,
        fit.difference_variance.get("entry", 0.0) / 2.0 if fixed and len(means) > 1 else None,
        _spread(ground),
        _spread(left),
        _in_words(tried, entries_fixed),
        tuple(said),
    )


def _spread(part: Sequence[float | None]) -> float:
    told = [one for one in part if one is not None]
    mean = sum(told) / len(told)
    return math.sqrt(sum((one - mean) ** 2 for one in told) / len(told))


def _in_words(tried: _Try, entries_fixed: bool) -> str:
    words = [f"entry ({'fixed' if entries_fixed else 'random'})"] if tried.entries else []
    if tried.surface is not None:
        words.append(f"smooth surface over {' and '.join(f'{AXES[axis]}s' for axis in tried.surface.grid)}")
    words += [f"{GROUND_TERMS[term]} (random)" for term in tried.ground]
    return " + ".join(words) or "mean alone"
