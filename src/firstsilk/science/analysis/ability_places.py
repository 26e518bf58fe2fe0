"""Is a parent as good a partner at each place, and how much do crosses change order between places?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from firstsilk.answers import FirstsilkError, InputRefused, refuse
from firstsilk.science.analysis.ability import estimate_ability
from firstsilk.science.analysis.ability_variances import write_model
from firstsilk.science.analysis.columns import Column
from firstsilk.science.analysis.cross_means import adjust_for_blocks
from firstsilk.science.analysis.matings import Matings, arrange_matings
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Model, RandomTerm
from firstsilk.science.analysis.records import arrange_records, classify, label_of

AT = "environment"


@dataclass(frozen=True, slots=True)
class PlaceEffect:
    """The GCA of one parent at one place, by least squares on that place's crosses alone; None without an error."""

    environment: str
    parents: str
    parent: str
    value: float
    se: float | None


@dataclass(frozen=True, slots=True)
class PlaceAbility:
    """Crosses over places: their means place by place, variances over all plots, GCA by place, places left out.

    `means` has one record for each cross at each place, places as blocks. `variances` are by REML: GCA, SCA and what
    they do differently from place to place (``gca:environment`` and the like); None where `remark` says why.
    """

    means: Matings
    variances: Mapping[str, float | None] | None
    gca: tuple[PlaceEffect, ...]
    left_out: Mapping[str, str]
    remark: str


def split_by_place(
    data: Mapping[str, Column],
    names: tuple[str, str, str, str | None],
    environment: str,
    kind: str,
    griffing: int | None = None,
) -> PlaceAbility:
    """Combining ability at each place, and the variances between places.

    Parameters
    ----------
    data
        Columns of equal length.
    names
        Columns of mother, father, response and block (or None); blocks count within their place.
    environment
        Column of the place, or of the place and year.
    kind, griffing
        As for `arrange_matings`.

    Returns
    -------
    PlaceAbility
        The means of crosses by place are adjusted for the blocks of that place.

    Raises
    ------
    InputRefused
        If a column is absent or a cell empty, there is one place only, or the means of the crosses of a place cannot
        be told for its blocks.

    Notes
    -----
    Over all plots: place and block fixed, GCA and SCA and their interactions with the place random, one residual.

    References
    ----------
    Matzinger, Sprague & Cockerham 1959 Agronomy Journal 51:346 (diallels over places).

    Checked by
    ----------
    tests/science/test_ability_engine.py
    """
    if environment not in data:
        raise refuse("column_missing", f"The records have no column {environment!r}", column=environment)
    mother, father, response, block = names
    if environment in (mother, father, response, block):
        raise refuse("column_twice", f"Column {environment!r} cannot be the environment as well")
    kept = np.flatnonzero([value is not None and label_of(value) != "" for value in data[response]])
    places = classify(environment, data[environment], kept)
    if len(places.levels) < 2:
        raise refuse("one_place", f"Column {environment!r} names one place only ({places.levels[0]!r})")
    parts = {}
    for at, level in enumerate(places.levels):
        inside = kept[places.codes == at]
        parts[level] = {name: [data[name][k] for k in inside] for name in names if name}
    means = _collapse(parts, names, kind, griffing)
    gca, left_out = _place_by_place(parts, names, kind, means.griffing)
    variances, remark = _vary(parts, names, kind, means.griffing)
    return PlaceAbility(means, variances, gca, left_out, remark)


_Parts = Mapping[str, Mapping[str, Column]]


def _collapse(parts: _Parts, names: tuple[str, str, str, str | None], kind: str, griffing: int | None) -> Matings:
    """One record for each cross at each place; the places are the blocks."""
    told: dict[str, list[object]] = {"mother": [], "father": [], "mean": [], AT: []}
    mother, father, response, block = names
    for level, part in parts.items():
        own = {
            "mother": part[mother],
            "father": part[father],
            "mean": part[response],
            "block": part.get(block or "", []),
        }
        try:
            cells = arrange_cells(own, block is not None)
        except InputRefused as no:
            raise InputRefused(f"{level}: {no}") from None
        for (one, two), value in cells:
            for name, cell in (("mother", one), ("father", two), ("mean", value), (AT, level)):
                told[name].append(cell)
    return arrange_matings(told, "mother", "father", "mean", AT, kind, griffing)


def arrange_cells(part: Mapping[str, Column], blocked: bool) -> list[tuple[tuple[str, str], float]]:
    """The mean of each cross of one place, at the average of its blocks; both directions apart."""
    pairs = [(label_of(a), label_of(b)) for a, b in zip(part["mother"], part["father"], strict=True)]
    crosses = sorted(set(pairs))
    at = {pair: k for k, pair in enumerate(crosses)}
    block = (
        classify("block", part["block"], np.arange(len(pairs))).codes
        if blocked
        else np.zeros(len(pairs), dtype=np.intp)
    )
    numbers = np.array([[k, k] for k in range(len(crosses))], dtype=np.intp)
    told = tuple(a for a, _ in crosses), tuple(b for _, b in crosses)
    values = arrange_records(part, Model("mean")).response
    cross = np.array([at[pair] for pair in pairs], dtype=np.intp)
    blocks = tuple(str(k) for k in np.unique(block)) if blocked else ()
    whole = Matings("line-tester", None, *told, numbers, cross, block, blocks, values, (), 0, 0)
    return list(zip(crosses, adjust_for_blocks(whole).values.tolist(), strict=True))


def _place_by_place(
    parts: _Parts, names: tuple[str, str, str, str | None], kind: str, griffing: int | None
) -> tuple[tuple[PlaceEffect, ...], dict[str, str]]:
    told: list[PlaceEffect] = []
    left_out: dict[str, str] = {}
    for level, part in parts.items():
        try:
            found = estimate_ability(arrange_matings(part, *names, kind, griffing), variances_by="moments")
        except InputRefused as no:
            left_out[level] = str(no)
            continue
        for name, values in found.gca.items():
            errors = found.gca_se[name]
            told += [
                PlaceEffect(level, name, parent, value, None if errors is None else errors[parent])
                for parent, value in values.items()
            ]
    return tuple(told), left_out


def _vary(
    parts: _Parts, names: tuple[str, str, str, str | None], kind: str, griffing: int | None
) -> tuple[dict[str, float | None] | None, str]:
    """Variances over all plots, by REML; None and why where the records do not tell them."""
    mother, father, response, block = names
    every: dict[str, list[object]] = {name: [] for name in ("mother", "father", "y", "cell", AT)}
    for level, part in parts.items():
        cells: Column = part[block] if block else [""] * len(part[response])
        every["mother"] += list(part[mother])
        every["father"] += list(part[father])
        every["y"] += list(part[response])
        every["cell"] += [f"{level} {label_of(cell)}" for cell in cells]
        every[AT] += [level] * len(cells)
    matings = arrange_matings(every, "mother", "father", "y", "cell", kind, griffing)
    if matings.left_out:
        return None, "parents themselves stand among the crosses, so variances over places are not worked out"
    data, model = write_model(matings, None)
    data[AT] = every[AT]
    varied = (*model.random, *(_at_places(term) for term in model.random))
    try:
        fit = fit_mixed_model(data, replace(model, random=varied))
    except FirstsilkError as no:
        return None, f"variances over places were not found, for REML said: {no}"
    remark = "" if fit.converged else f"REML stopped after {fit.iterations} steps before it was done"
    return {line.term: line.value for line in fit.variances}, remark


def _at_places(term: RandomTerm) -> RandomTerm:
    return replace(term, columns=(*term.columns, AT))
