"""Which records take part in a fit, and which class or number has each in each column?"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.analysis.columns import Column, read_numbers, take_values, tell_apart
from firstsilk.science.analysis.models import Array, Model

LARGEST, SMALLEST = 1e60, 1e-60
"""Sizes beyond which squares and products of numbers would leave what a computer holds (choices of ours)."""


@dataclass(frozen=True, slots=True)
class Classes:
    """A column of classes: its levels in order, and the level number of each record (n,)."""

    name: str
    levels: tuple[str, ...]
    codes: NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Records:
    """The records that take part: response (n,), classes and numbers by column, relative precision (n,).

    `grid` holds the positions (n,) by column that surfaces and correlated ground speak of.
    """

    response: Array
    classes: Mapping[str, Classes]
    numbers: Mapping[str, Array]
    weights: Array
    kept: NDArray[np.intp]
    n_dropped: int
    grid: Mapping[str, Array] = field(default_factory=dict)

    @property
    def n(self) -> int:
        """How many records take part."""
        return len(self.response)


def arrange_records(data: Mapping[str, Column], model: Model) -> Records:
    """Take from the columns what the model names, leaving out records without a response.

    Raises
    ------
    InputRefused
        If a column is absent, lengths differ, a value is empty, no number or beyond all size, the response explains
        itself, or a known variance has no meaning.
    """
    used, positions = _columns_used(model), _grid_columns(model)
    _check_model(model, used)
    for name in [model.response, *used, *positions, *([model.weights] if model.weights else [])]:
        if name not in data:
            raise refuse(
                "column_missing", f"The model names column {name!r}, which the records do not have", column=name
            )
        if len(data[name]) != len(data[model.response]):
            raise refuse("lengths_differ", f"Column {name!r} has another number of records than {model.response!r}")
    response = _numbers_or_nan(data[model.response], model.response, np.arange(len(data[model.response])))
    kept = np.flatnonzero(~np.isnan(response))
    if not len(kept):
        raise refuse("no_records", f"No record has a value of {model.response!r}")
    numbers = {name: _numbers(data[name], name, kept) for name in used if name in model.numeric}
    classes = {name: classify(name, data[name], kept) for name in used if name not in model.numeric}
    weights = _numbers(data[model.weights], model.weights, kept) if model.weights else np.ones(len(kept))
    grid = {name: _numbers(data[name], name, kept) for name in positions}
    for name, values in [
        (model.response, response[kept]),
        *numbers.items(),
        *grid.items(),
        (model.weights or "", weights),
    ]:
        _check_size(name, values, kept)
    if np.any(weights <= 0):
        bad = int(np.argmax(weights <= 0))
        where = f"Column {model.weights!r}, record {int(kept[bad]) + 1}"
        raise refuse("weight_not_positive", f"{where}: a weight must be above 0 ({weights[bad]:g})")
    return Records(response[kept], classes, numbers, weights, kept, len(response) - len(kept), grid)


def _check_model(model: Model, used: Sequence[str]) -> None:
    """Refuse a response that explains itself, and known variances that are no numbers."""
    if model.response in [*used, model.weights]:
        raise refuse(
            "response_twice", f"Column {model.response!r} is the response; it cannot be a term or weights as well"
        )
    for name, variance in [
        *((term.name, term.variance) for term in model.random),
        ("residual", model.residual.variance),
    ]:
        if variance is not None and not math.isfinite(variance):
            raise refuse("variance_not_usable", f"The known variance of {name!r} must be a number; it is {variance}")


def _check_size(name: str, values: Array, kept: NDArray[np.intp]) -> None:
    size = np.abs(values)
    bad = int(np.argmax(size))
    if size[bad] > LARGEST or 0 < size[bad] < SMALLEST:
        told = "large" if size[bad] > 1 else "small"
        raise refuse(
            "number_beyond_size",
            f"Column {name!r}, record {int(kept[bad]) + 1}: {values[bad]:g} is too {told}",
            "Give the column in another unit.",
        )


def _columns_used(model: Model) -> list[str]:
    names = [name for term in model.fixed for name in term]
    for term in model.random:
        names += [*term.columns, *([term.variance_by] if term.variance_by else [])]
    residual = model.residual
    names += [name for name in (residual.variance_by, residual.within, residual.together, model.genotype) if name]
    names += [surface.within for surface in model.surfaces if surface.within]
    return list(dict.fromkeys(names))


def _grid_columns(model: Model) -> list[str]:
    names = [name for surface in model.surfaces for name in surface.grid]
    return list(dict.fromkeys([*names, *(model.residual.grid or ())]))


def _numbers(values: Column, name: str, kept: NDArray[np.intp]) -> Array:
    found = _numbers_or_nan(values, name, kept)
    if np.any(np.isnan(found)):
        bad = int(kept[int(np.argmax(np.isnan(found)))]) + 1
        raise refuse("value_missing", f"Column {name!r}, record {bad}: the value is missing")
    return found


def _numbers_or_nan(values: Column, name: str, kept: NDArray[np.intp]) -> Array:
    taken = take_values(values, kept)
    found = read_numbers(taken)
    if found is None:
        found = np.array([_number(value, name, int(at)) for value, at in zip(taken, kept, strict=True)])
    return found


def _number(value: object, name: str, at: int) -> float:
    if value is None or value == "":
        return math.nan
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        raise refuse("not_a_number", f"Column {name!r}, record {at + 1}: {value!r} is not a number") from None
    if math.isinf(number):
        raise refuse("not_a_number", f"Column {name!r}, record {at + 1}: {value!r} is not finite")
    return number


def classify(name: str, values: Column, kept: NDArray[np.intp]) -> Classes:
    """Sort the levels of a column (numbers by size, else text order) and number the records.

    Raises
    ------
    InputRefused
        If a value is missing, or one number is written in two ways (``1`` and ``1.0``).
    """
    distinct, where = tell_apart(take_values(values, kept))
    labels = [label_of(value) for value in distinct]
    if "" in labels:
        missing = np.array([label == "" for label in labels])[where]
        bad = int(kept[int(np.argmax(missing))]) + 1
        raise refuse("value_missing", f"Column {name!r}, record {bad}: the class is missing")
    levels = sorted(set(labels))
    sizes = [_size(level) for level in levels]
    if not any(math.isnan(size) for size in sizes):
        levels = [level for _, level in sorted(zip(sizes, levels, strict=True))]
        for one, two in itertools.pairwise(levels):
            if float(one) == float(two):
                raise refuse(
                    "level_twice", f"Column {name!r}: {one!r} and {two!r} are the same number; write it one way"
                )
    at_level = {level: code for code, level in enumerate(levels)}
    return Classes(name, tuple(levels), np.array([at_level[label] for label in labels], dtype=np.intp)[where])


def label_of(value: object) -> str:
    """The name of a class: text trimmed, a whole number without decimals, missing as empty text."""
    if value is None:
        return ""
    if isinstance(value, float | np.floating):
        if math.isnan(value):
            return ""
        return str(int(value)) if float(value).is_integer() else repr(float(value))
    return str(value).strip()


def _size(level: str) -> float:
    try:
        size = float(level)
    except ValueError:
        return math.nan
    return size if math.isfinite(size) else math.nan
