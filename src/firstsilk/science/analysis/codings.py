"""How do the fixed terms become columns of numbers, and which of them can be estimated?"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.linalg
import scipy.sparse

from firstsilk.answers import InputRefused, refuse
from firstsilk.science.analysis.connections import check_joined
from firstsilk.science.analysis.models import Array, Model
from firstsilk.science.analysis.records import Records

# A column of length 1 that lies this close to the earlier ones is taken as made of them.
DEPENDENT = 1e-9


@dataclass(frozen=True, slots=True)
class Factor:
    """One column inside a fixed term: for classes its coding (levels x coded columns), for numbers its mean."""

    column: str
    codes: scipy.sparse.csr_array | None
    names: tuple[str, ...]
    mean: float = 0.0


@dataclass(frozen=True, slots=True)
class FixedTerm:
    """One coded fixed term; `first` is the first of its columns that is kept (1 if the first cell is dropped)."""

    name: str
    factors: tuple[Factor, ...]
    first: int
    levels: tuple[str, ...]


def plan_terms(records: Records, model: Model) -> tuple[FixedTerm, ...]:
    """Decide how each fixed term is coded; the intercept is the first term, without factors.

    Notes
    -----
    A class column inside a term loses its first level (or is coded to sum to zero) if the term without that
    column is in the model too, so that the columns span just what the shorter terms leave. A term of classes
    none of whose parts are in the model is coded by its cells, the first cell dropped. Main effects of classes whose
    levels fall into groups without a common record are refused, naming the groups.
    """
    sets = [frozenset(term) for term in model.fixed]
    for at, term in enumerate(model.fixed):
        if len(set(term)) < len(term) or sets[at] in sets[:at] or not term:
            raise refuse("term_twice", f"The fixed term {':'.join(term)!r} repeats a column or stands twice")
    check_joined([records.classes[term[0]] for term in model.fixed if len(term) == 1 and term[0] in records.classes])
    planned = [FixedTerm("intercept", (), 0, ("",))]
    for term in model.fixed:
        factors = tuple(_factor(name, term, sets, records, model) for name in term)
        by_cells = len(term) > 1 and all(f.codes is not None and f.codes.shape[0] == f.codes.shape[1] for f in factors)
        names = [f.names for f in factors if f.codes is not None]
        levels = tuple(":".join(parts) for parts in itertools.product(*names))
        planned.append(FixedTerm(":".join(term), factors, int(by_cells), levels[int(by_cells) :]))
    return tuple(planned)


def _factor(name: str, term: Sequence[str], sets: Sequence[frozenset[str]], records: Records, model: Model) -> Factor:
    if name in records.numbers:
        return Factor(name, None, (), float(np.mean(records.numbers[name])))
    levels = records.classes[name].levels
    if len(levels) < 2:
        raise refuse("one_level", f"Column {name!r} has one level only ({levels[0]!r}), so it cannot be a fixed term")
    rest = frozenset(term) - {name}
    unit = scipy.sparse.eye_array(len(levels), format="csr")
    if rest and rest not in sets:
        return Factor(name, unit, levels)
    if name in model.sum_coded:
        last = scipy.sparse.csr_array(-np.ones((1, len(levels) - 1)))
        return Factor(name, scipy.sparse.vstack([unit[:-1, :-1], last], format="csr"), levels[:-1])
    return Factor(name, unit[:, 1:], levels[1:])


def build_design(terms: Sequence[FixedTerm], records: Records) -> Array:
    """The columns of all fixed terms side by side, (n x p)."""
    return np.hstack([_expand(term, {}, records) for term in terms])


def _expand(term: FixedTerm, at: Mapping[str, int], records: Records | None) -> Array:
    """Multiply the factors of a term: over all records, or (without records) at fixed levels, else averaged."""
    block = np.ones((records.n if records else 1, 1))
    for factor in term.factors:
        block = (block[:, :, None] * _values(factor, at, records)[:, None, :]).reshape(len(block), -1)
    return block[:, term.first :]


def _values(factor: Factor, at: Mapping[str, int], records: Records | None) -> Array:
    if factor.codes is None:
        return records.numbers[factor.column][:, None] if records else np.array([[factor.mean]])
    if records:
        return np.asarray(factor.codes[records.classes[factor.column].codes].toarray(), dtype=np.float64)
    if factor.column in at:
        return np.asarray(factor.codes[[at[factor.column]]].toarray(), dtype=np.float64)
    return np.asarray(factor.codes.toarray().mean(axis=0, keepdims=True), dtype=np.float64)


def plan_means(terms: Sequence[FixedTerm], records: Records) -> list[tuple[str, tuple[str, ...], Array]]:
    """For each fixed term of classes only: its name, its levels, and the combination of coefficients of each mean."""
    planned = []
    for term in terms:
        if not term.factors or any(factor.codes is None for factor in term.factors):
            continue
        columns = [records.classes[factor.column] for factor in term.factors]
        cells = list(itertools.product(*(range(len(column.levels)) for column in columns)))
        rows = [
            np.hstack(
                [_expand(other, dict(zip((c.name for c in columns), cell, strict=True)), None) for other in terms]
            )
            for cell in cells
        ]
        levels = tuple(":".join(c.levels[k] for c, k in zip(columns, cell, strict=True)) for cell in cells)
        planned.append((term.name, levels, np.vstack(rows)))
    return planned


def orthonormalise(design: Array, terms: Sequence[FixedTerm]) -> tuple[Array, Array]:
    """Write the design as orthonormal columns times an upper triangle.

    Raises
    ------
    InputRefused
        If a column is empty or made of earlier ones, naming all such columns: they cannot be estimated.
    """
    lengths = np.linalg.norm(design, axis=0)
    scaled = design / np.where(lengths > 0, lengths, 1.0)
    if design.shape[1] <= design.shape[0]:
        Q, R = np.linalg.qr(scaled)
        if np.min(np.abs(np.diag(R))) > DEPENDENT:
            return Q, R * lengths
    raise _not_estimable(scaled, terms)


def _not_estimable(scaled: Array, terms: Sequence[FixedTerm]) -> InputRefused:
    names = [(term.name, level) for term in terms for level in term.levels]
    kept: list[Array] = []
    empty, made = [], []
    for at, (term, level) in enumerate(names):
        rest = scaled[:, at].copy()
        for _ in range(2):
            for direction in kept:
                rest -= direction * (direction @ rest)
        told = f"{term} {level}".strip()
        if not np.any(scaled[:, at]):
            empty.append(told)
        elif (left := float(np.linalg.norm(rest))) <= DEPENDENT:
            made.append(told)
        else:
            kept.append(rest / left)
    return not_estimable(empty, made)


def not_estimable(empty: Sequence[str], made: Sequence[str]) -> InputRefused:
    """What to say of fixed columns that no record has, and of those made of earlier ones."""
    parts = [f"no record has {_listed(empty)}"] if empty else []
    parts += [f"{_listed(made)} cannot be told from the terms before"] if made else []
    return refuse(
        "not_estimable",
        f"These fixed effects cannot be estimated: {'; '.join(parts)}",
        "Leave the term out, or make it random.",
        columns=", ".join(dict.fromkeys(name.split(" ")[0] for name in [*empty, *made])),
        effects="; ".join([*empty, *made]),
    )


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names[:12]) + (f" and {len(names) - 12} more" if len(names) > 12 else "")


def back_to_coefficients(upper: Array, values: Array) -> Array:
    """Solve for the coefficients of the design's own columns."""
    return np.asarray(scipy.linalg.solve_triangular(upper, values), dtype=np.float64)
