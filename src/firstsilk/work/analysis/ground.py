"""How much of what was measured on a plot is the ground, and what is left over once the entry has its share too?

Needs no books: columns in, one value for each plot out. The models that are tried stand in one place, `_list_models`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from firstsilk.answers import InputRefused, refuse
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Fit, Model, RandomTerm

GROUND_TERMS = {"replicate": "replicate", "field_row": "field row", "field_col": "field column"}
"""The random terms that make up the ground, and how a person calls them."""


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
    """One model to be tried: with the entries or without, and which terms make up the ground."""

    entries: bool
    ground: tuple[str, ...]


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
    Mixed model by REML: ground = replicate + field row + field column, all random, as far as the lay-out has them and
    can tell them apart. A ground that bends within a row is seen only as far as rows and columns add up to it.

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
    }
    placed = all(field_row[at] is not None and field_col[at] is not None for at in kept)
    said: list[str] = [] if placed else ["Not every plot has a place in the field: the ground is told by replicates."]
    tried, fit = _fit_first(data, _list_models(data, placed), entries_fixed, said)
    said += [f"{GROUND_TERMS.get(term, term).capitalize()}: no variance found." for term in fit.at_bound]
    return _split(data, kept, len(values), tried, fit, entries_fixed, said)


def _list_models(data: dict[str, list[object]], placed: bool) -> list[_Try]:
    """The models that are tried, the fullest first: the one place where the ground is decided on."""
    terms = ["replicate"] if len(set(data["replicate"])) > 1 else []
    if placed:
        terms += [axis for axis in ("field_row", "field_col") if _adds(data, axis, terms)]
    models = [_Try(True, tuple(terms[:size])) for size in range(len(terms), -1, -1)]
    return [*models, _Try(False, tuple(terms))]


def _adds(data: dict[str, list[object]], axis: str, terms: Sequence[str]) -> bool:
    """Whether an axis has several levels, fewer than plots, and does not part the plots as another term does."""
    levels = set(data[axis])
    if not 1 < len(levels) < len(data[axis]):
        return False
    return not any(_parts_alike(data[axis], data[term]) for term in terms)


def _parts_alike(one: Sequence[object], other: Sequence[object]) -> bool:
    return len(set(zip(one, other, strict=True))) == len(set(one)) == len(set(other))


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
        if last is not None:
            said.append(f"A fuller model could not be fitted: {last}")
        if not tried.entries:
            said.append("Entries cannot be told from what is left over: no entry stands twice.")
        return tried, fit
    raise refuse("no_model", f"These plots carry no model: {last}", "Add replicates or plots.") from last


def _model(tried: _Try, entries_fixed: bool) -> Model:
    fixed: tuple[tuple[str, ...], ...] = (("entry",),) if tried.entries and entries_fixed else ()
    random = [RandomTerm(("entry",))] if tried.entries and not entries_fixed else []
    random += [RandomTerm((term,)) for term in tried.ground]
    return Model("value", fixed, tuple(random))


def _split(
    data: dict[str, list[object]],
    kept: Sequence[int],
    n: int,
    tried: _Try,
    fit: Fit,
    entries_fixed: bool,
    said: Sequence[str],
) -> GroundTrend:
    effects = {(line.term, line.level): line.value for line in fit.random}
    fixed = tried.entries and entries_fixed
    means = tuple(EntryMean(one.level, one.value, one.se) for one in fit.means if one.term == "entry") if fixed else ()
    worth = {one.entry: one.value for one in means}
    general = fit.fixed[0].estimate
    ground: list[float | None] = [None] * n
    left: list[float | None] = [None] * n
    for k, at in enumerate(kept):
        entry = str(data["entry"][k])
        own = worth[entry] if fixed else general + effects.get(("entry", entry), 0.0)
        under = sum(effects.get((term, str(data[term][k])), 0.0) for term in tried.ground)
        ground[at], left[at] = under, float(str(data["value"][k])) - own - under
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
    words += [f"{GROUND_TERMS[term]} (random)" for term in tried.ground]
    return " + ".join(words) or "mean alone"
