"""What does a mixed model say, worked out slowly and plainly with full matrices?

Written from the formulas of the text books alone: nothing that the engine computes is used, only the values in which
a `Model` is written down. Every covariance is built record by record, every inverse is taken outright.

What is left open by `Model` is settled so. A surface in each level of `within` spans the range of that level's own
records. Its plane (the axes and their product, all centred over those records) counts as fixed, the rest has no part of
it; its columns follow the fixed terms, level by level. The variances of a surface are (surface, axis) or, own to a
level, (surface, axis:level). The nugget is ("nugget", level), the rest of the residual ("residual", level).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import scipy.linalg
import scipy.optimize
from numpy.typing import NDArray

from firstsilk.science.analysis.models import Fit, Model, RandomTerm, Relationship, Surface

Array = NDArray[np.float64]
Data = Mapping[str, Sequence[object] | NDArray[np.generic]]


@dataclass(frozen=True)
class Values:
    """Values of all parameters of a model.

    Variances by (term, level), correlations by (axis, level of within), loadings by (term, factor from 1, level).
    """

    variances: Mapping[tuple[str, str], float]
    correlations: Mapping[tuple[str, str], float] = field(default_factory=dict)
    loadings: Mapping[tuple[str, int, str], float] = field(default_factory=dict)

    def variance(self, term: str, level: str = "") -> float:
        """The variance of a term at a level, or else the one common to all its levels."""
        if (term, level) in self.variances:
            return self.variances[term, level]
        return self.variances[term, level.split(":")[0] if ":" in level else ""]

    def correlation(self, axis: str, level: str) -> float:
        return self.correlations.get((axis, level), self.correlations.get((axis, ""), math.nan))


def values_of(fit: Fit) -> Values:
    """The values at which a fit stopped."""
    return Values(
        {(line.term, line.level): line.value for line in fit.variances},
        {(line.axis, line.level): line.value for line in fit.correlations},
        {(line.term, line.factor, line.level): line.value for line in fit.loadings},
    )


@dataclass(frozen=True)
class Part:
    """Something random: what it is called, its levels, incidence Z (n, q) and, at given values, covariance G (q, q)."""

    term: str
    levels: tuple[str, ...]
    incidence: Array
    covariance: Callable[[Values], Array]


@dataclass(frozen=True)
class Answer:
    """What the model says at given values.

    `fixed` and `means` are (estimate, error) by (term, level); `random` (value, error, reliability or None); `shares`
    what each random term and surface adds to the fitted values (n,), "ground" the correlated residual less its nugget.
    """

    log_likelihood: float
    fixed: dict[tuple[str, str], tuple[float, float]]
    fixed_covariance: Array
    means: dict[tuple[str, str], tuple[float, float]]
    random: dict[tuple[str, str], tuple[float, float, float | None]]
    shares: dict[str, Array]
    fitted: Array
    residual: Array
    projection: Array


def textbook(y: Array, X: Array, V: Array) -> float:
    """REML log-likelihood as it is written in books: dense, with inverses and determinants."""
    inverse = np.linalg.inv(V)
    inner = X.T @ inverse @ X
    P = inverse - inverse @ X @ np.linalg.inv(inner) @ X.T @ inverse
    n, p = X.shape
    return -0.5 * float(
        (n - p) * math.log(2 * math.pi) + np.linalg.slogdet(V)[1] + np.linalg.slogdet(inner)[1] + y @ P @ y
    )


def by_contrasts(y: Array, X: Array, V: Array) -> float:
    """The same by another way: the likelihood of contrasts free of X, and the size of X itself."""
    contrasts = scipy.linalg.null_space(X.T)
    C = contrasts.T @ V @ contrasts
    z = contrasts.T @ y
    size = np.linalg.slogdet(C)[1] + np.linalg.slogdet(X.T @ X)[1]
    return -0.5 * float(len(z) * math.log(2 * math.pi) + size + z @ np.linalg.solve(C, z))


# ---------------------------------------------------------------- records


def name_of(value: object) -> str:
    """How a class is called: text without blanks around it; a whole number without decimals."""
    if isinstance(value, float | np.floating):
        return str(int(value)) if float(value).is_integer() else repr(float(value))
    return str(value).strip()


def levels_of(names: Sequence[str]) -> list[str]:
    """Each class once: by size if all are numbers, else in text order."""
    try:
        return sorted(set(names), key=float)
    except ValueError:
        return sorted(set(names))


def is_missing(value: object) -> bool:
    return value is None or value == "" or (isinstance(value, float | np.floating) and math.isnan(value))


@dataclass(frozen=True)
class Table:
    """The records with a response: classes by name (texts), numbers by name, response, places among all records."""

    y: Array
    texts: dict[str, list[str]]
    numbers: dict[str, Array]
    kept: list[int]

    def levels(self, name: str) -> list[str]:
        return levels_of(self.texts[name])

    def cells(self, names: Sequence[str]) -> list[tuple[str, ...]]:
        """The combination of levels of several columns on each record."""
        return [tuple(self.texts[name][k] for name in names) for k in range(len(self.y))]


def read_table(data: Data, model: Model) -> Table:
    response = list(data[model.response])
    kept = [k for k, value in enumerate(response) if not is_missing(value)]
    grids = [axis for surface in model.surfaces for axis in surface.grid] + list(model.residual.grid or ())
    numbers = {}
    for name in {*model.numeric, *grids, *([model.weights] if model.weights else [])} & set(data):
        numbers[name] = np.array([float(str(data[name][k])) for k in kept])
    texts = {name: [name_of(data[name][k]) for k in kept] for name in data if name not in model.numeric}
    return Table(np.array([float(str(response[k])) for k in kept]), texts, numbers, kept)


# ---------------------------------------------------------------- fixed part


def code(level: str, levels: Sequence[str], kept: str, sum_coded: bool) -> float:
    """The entry of a level in the column of `kept`: 1 in its own, 0 elsewhere, or -1 for the last if sum coded."""
    if sum_coded and level == levels[-1]:
        return -1.0
    return float(level == kept)


def fixed_names(table: Table, model: Model) -> list[tuple[str, str, tuple[tuple[str, str], ...]]]:
    """All fixed columns: term, level, and (column, level kept) of each class column in it."""
    sets = [frozenset(term) for term in model.fixed]
    found: list[tuple[str, str, tuple[tuple[str, str], ...]]] = [("intercept", "", ())]
    for term in model.fixed:
        choices: list[list[tuple[str, str]]] = []
        whole = []
        for name in term:
            if name in model.numeric:
                continue
            rest = frozenset(term) - {name}
            levels = table.levels(name)
            if rest and rest not in sets:
                choices.append([(name, level) for level in levels])
                whole.append(True)
            else:
                left = levels[:-1] if name in model.sum_coded else levels[1:]
                choices.append([(name, level) for level in left])
                whole.append(False)
        cells = list(itertools.product(*choices))
        if len(term) > 1 and len(whole) == len(term) and all(whole):
            cells = cells[1:]
        found += [(":".join(term), ":".join(level for _, level in cell), cell) for cell in cells]
    return found


def plane_of(table: Table, surface: Surface) -> list[tuple[str, str, Array]]:
    """What a surface leaves unpenalised beside a constant, centred in each level: term, level, column (n,)."""
    found = []
    for level in table.levels(surface.within) if surface.within else [""]:
        inside = np.array([not surface.within or table.texts[surface.within][k] == level for k in range(len(table.y))])
        columns = [table.numbers[axis] - np.mean(table.numbers[axis][inside]) for axis in surface.grid]
        names = list(surface.grid)
        if len(columns) == 2:
            columns.append(columns[0] * columns[1])
            names.append(surface.name)
        for name, column in zip(names, columns, strict=True):
            found.append((name, level, np.where(inside, column - np.mean(column[inside]), 0.0)))
    return found


def fixed_row(table: Table, model: Model, texts: Mapping[str, str], numbers: Mapping[str, float]) -> list[float]:
    """One row of the design, for given classes and numbers."""
    row = []
    terms = {":".join(term): term for term in model.fixed}
    for term, _, cell in fixed_names(table, model):
        value = 1.0
        for name, kept in cell:
            value *= code(texts[name], table.levels(name), kept, name in model.sum_coded)
        for name in terms.get(term, ()):
            value *= numbers[name] if name in model.numeric else 1.0
        row.append(value)
    return row


def build_fixed(table: Table, model: Model) -> tuple[list[tuple[str, str]], Array]:
    """What the fixed columns are called, and the columns (n, p)."""
    names = [(term, level) for term, level, _ in fixed_names(table, model)]
    planes = [part for surface in model.surfaces for part in plane_of(table, surface)]
    rows = []
    for k in range(len(table.y)):
        texts = {name: values[k] for name, values in table.texts.items()}
        rows.append(fixed_row(table, model, texts, {name: float(v[k]) for name, v in table.numbers.items()}))
    columns = [column for _, _, column in planes]
    return names + [(name, level) for name, level, _ in planes], np.column_stack([np.array(rows), *columns])


def mean_rows(table: Table, model: Model) -> dict[tuple[str, str], Array]:
    """For each level of each fixed term of classes: the mean of the rows of all combinations that share it.

    Planes of surfaces count as at their middle, where they are 0.
    """
    classes = list(dict.fromkeys(name for term in model.fixed for name in term if name not in model.numeric))
    numbers = {name: float(np.mean(values)) for name, values in table.numbers.items()}
    cells = list(itertools.product(*(table.levels(name) for name in classes)))
    rows = np.array([fixed_row(table, model, dict(zip(classes, cell, strict=True)), numbers) for cell in cells])
    planes = sum(len(plane_of(table, surface)) for surface in model.surfaces)
    rows = np.hstack([rows, np.zeros((len(rows), planes))])
    found = {}
    for term in model.fixed:
        if any(name in model.numeric for name in term):
            continue
        for wanted in itertools.product(*(table.levels(name) for name in term)):
            share = [
                all(dict(zip(classes, c, strict=True))[n] == w for n, w in zip(term, wanted, strict=True))
                for c in cells
            ]
            found[":".join(term), ":".join(wanted)] = rows[share].mean(axis=0)
    return found


# ---------------------------------------------------------------- random part


def pattern_of(term: RandomTerm, table: Table) -> tuple[list[str], Array]:
    """The levels of the first column of a term, and how they are related."""
    related = term.relationship
    if related is None:
        levels = table.levels(term.columns[0])
        return levels, np.eye(len(levels))
    if isinstance(related, Relationship):
        return list(related.names), np.asarray(related.matrix, dtype=np.float64)
    to_level = related.to_level.toarray()
    return list(related.names), to_level @ np.linalg.inv(related.precision.toarray()) @ to_level.T


def incidence_of(cells: Sequence[tuple[str, ...]], wanted: Sequence[tuple[str, ...]]) -> Array:
    return np.array([[float(cell == one) for one in wanted] for cell in cells])


def build_term(table: Table, model: Model, term: RandomTerm) -> Part:
    """The combinations of its levels that have records; related ones wholly, in each combination of the others."""
    if term.factors:
        return build_factors(table, term)
    multiplier = np.ones(len(table.y))
    for name in term.columns:
        multiplier = multiplier * (table.numbers[name] if name in model.numeric else 1.0)
    classes = [name for name in term.columns if name not in model.numeric]
    cells = table.cells(classes)
    by = table.texts[term.variance_by] if term.variance_by else [""] * len(cells)
    if term.relationship is None:
        wanted = sorted(set(cells))
        K = np.eye(len(wanted))
        at = [by[cells.index(cell)] for cell in wanted]
    else:
        firsts, pattern = pattern_of(term, table)
        tails = [cell[1:] for cell in cells]
        wanted = [(first, *tail) for tail in sorted(set(tails)) for first in firsts]
        K = np.kron(np.eye(len(set(tails))), pattern)
        at = [by[tails.index(cell[1:])] for cell in wanted]

    def covariance(values: Values) -> Array:
        known = term.variance
        size = np.sqrt([known if known is not None else values.variance(term.name, level) for level in at])
        return np.asarray(size[:, None] * K * size)

    Z = incidence_of(cells, wanted) * multiplier[:, None]
    return Part(term.name, tuple(":".join(cell) for cell in wanted), Z, covariance)


def build_factors(table: Table, term: RandomTerm) -> Part:
    """Levels of the first column (related or not) x levels of the second: K (x) (L L' + diag(psi))."""
    firsts, K = pattern_of(term, table)
    seconds = table.levels(term.columns[1])
    wanted = list(itertools.product(firsts, seconds))

    def covariance(values: Values) -> Array:
        L = np.array([[values.loadings[term.name, f + 1, s] for f in range(term.factors)] for s in seconds])
        return np.kron(K, L @ L.T + np.diag([values.variance(term.name, s) for s in seconds]))

    Z = incidence_of(table.cells(term.columns), wanted)
    return Part(term.name, tuple(":".join(pair) for pair in wanted), Z, covariance)


# ---------------------------------------------------------------- surfaces


def cubic(u: Array) -> Array:
    """The cubic B-spline on the knots 0, 1, 2, 3, 4, from truncated powers (Eilers & Marx 2010, appendix)."""
    total = sum((-1) ** m * math.comb(4, m) * np.maximum(u - m, 0.0) ** 3 for m in range(5)) / 6.0
    return np.where((u > 0) & (u < 4), total, 0.0)


def spline_basis(x: Array, knots: int, low: float, high: float) -> Array:
    """The values (n, knots) of `knots` cubic B-splines that cover low to high and 0.001 of it more at both ends.

    As in the general library mgcv 1.8.41, ``bs="ps", m=c(2, 2)``.
    """
    start, stop = low - 0.001 * (high - low), high + 0.001 * (high - low)
    step = (stop - start) / (knots - 3)
    return np.column_stack([cubic((x - start) / step + 3.0 - j) for j in range(knots)])


def difference_penalty(knots: int) -> Array:
    D = np.diff(np.eye(knots), n=2, axis=0)
    return D.T @ D


def build_surface(table: Table, surface: Surface) -> list[Part]:
    """One part for each level of `within`, less the plane that fits it best over its records."""
    parts = []
    for level in table.levels(surface.within) if surface.within else [""]:
        inside = np.array([not surface.within or table.texts[surface.within][k] == level for k in range(len(table.y))])
        positions = [table.numbers[axis][inside] for axis in surface.grid]
        bases, axes = [], []
        for x, knots in zip(positions, surface.knots, strict=True):
            low, high = float(np.min(x)), float(np.max(x))
            bases.append(spline_basis(x, knots, low, high))
            E = spline_basis(np.linspace(low, high, knots), knots, low, high)
            axes.append((difference_penalty(knots), E.T @ E))
        humps, plane = bases[0], np.column_stack([np.ones(len(positions[0])), positions[0]])
        if len(bases) == 2:
            humps = np.array([np.kron(a, b) for a, b in zip(*bases, strict=True)])
            plane = np.column_stack([plane, positions[1], positions[0] * positions[1]])
        Z = np.zeros((len(table.y), humps.shape[1]))
        Z[inside] = humps - plane @ np.linalg.lstsq(plane, humps, rcond=None)[0]
        keys = [(surface.name, f"{axis}:{level}" if level else axis) for axis in surface.grid]

        def covariance(
            values: Values, axes: list[tuple[Array, Array]] = axes, keys: list[tuple[str, str]] = keys
        ) -> Array:
            return spread_of(axes, [values.variance(*key) for key in keys])

        name = f"{surface.name}:{level}" if level else surface.name
        parts.append(Part(name, tuple(str(k) for k in range(Z.shape[1])), Z, covariance))
    return parts


def penalty_of(axes: Sequence[tuple[Array, Array]], sizes: Sequence[float]) -> Array:
    """P / s1 on one axis, P1 (x) M2 / s1 + M1 (x) P2 / s2 on two (`axes` holds P and M of each)."""
    if len(axes) == 1:
        return axes[0][0] / sizes[0]
    (P1, M1), (P2, M2) = axes
    return np.asarray(np.kron(P1, M2) / sizes[0] + np.kron(M1, P2) / sizes[1])


def spread_of(axes: Sequence[tuple[Array, Array]], sizes: Sequence[float]) -> Array:
    """A generalised inverse of the penalty, exact at variances of any size and at 0.

    With U'MU = 1 and U'PU diagonal on each axis the penalty becomes diagonal: d1 / s1 + d2 / s2. What it leaves free
    is given no variance, being in the fixed part.
    """
    if len(axes) == 1:
        axes, sizes = [axes[0], (np.zeros((1, 1)), np.eye(1))], [sizes[0], 1.0]
    found = [scipy.linalg.eigh(P, M) for P, M in axes]
    rough = [np.where(roots > 1e-9 * max(roots[-1], 1e-300), roots, 0.0) for roots, _ in found]
    over = np.add.outer(rough[0] * sizes[1], rough[1] * sizes[0])
    spread = np.where(over > 0, sizes[0] * sizes[1] / np.where(over > 0, over, 1.0), 0.0)
    # An axis without variance is straight; the other one still bends along it.
    for k, (size, other) in enumerate(((sizes[0], sizes[1]), (sizes[1], sizes[0]))):
        if size == 0 and other > 0:
            bent = other / np.where(rough[1 - k] > 0, rough[1 - k], np.inf)
            straight = rough[k] == 0
            spread = np.outer(straight, bent) if k == 0 else np.outer(bent, straight)
    U = np.kron(found[0][1], found[1][1])
    return np.asarray(U * spread.ravel() @ U.T)


# ---------------------------------------------------------------- residual


def build_residual(table: Table, model: Model, values: Values) -> tuple[Array, Array]:
    """The correlated part of the residual covariance, and the independent (or wholly known) part, both (n, n)."""
    residual, n = model.residual, len(table.y)
    if residual.covariance is not None:
        return np.zeros((n, n)), np.asarray(residual.covariance)[np.ix_(table.kept, table.kept)]
    by = table.texts[residual.variance_by] if residual.variance_by else [""] * n
    known = residual.variance
    sizes = np.array([known if known is not None else values.variance("residual", level) for level in by])
    weights = table.numbers[model.weights] if model.weights else np.ones(n)
    if residual.grid is None:
        return np.zeros((n, n)), np.diag(sizes / weights)
    assert model.weights is None, "weights beside correlated ground have no meaning here"
    within = table.texts[residual.within] if residual.within else [""] * n
    ground = np.sqrt(np.outer(sizes, sizes)) * np.array([[one == two for two in within] for one in within])
    for axis in residual.grid:
        steps = np.abs(np.subtract.outer(table.numbers[axis], table.numbers[axis]))
        ground = ground * np.array([values.correlation(axis, level) for level in within])[:, None] ** steps
    nuggets = np.array([values.variance("nugget", level) if residual.nugget else 0.0 for level in by])
    return ground, np.diag(nuggets)


# ---------------------------------------------------------------- the answer


class Layout:
    """Records, fixed columns (n, p) with their names, and the random parts of a data set and model."""

    def __init__(self, data: Data, model: Model) -> None:
        self.model = model
        self.table = read_table(data, model)
        self.names, self.fixed = build_fixed(self.table, model)
        self.parts = [build_term(self.table, model, term) for term in model.random]
        for surface in model.surfaces:
            self.parts += build_surface(self.table, surface)

    def covariance(self, values: Values) -> Array:
        """V (n, n)."""
        ground, rest = build_residual(self.table, self.model, values)
        return sum((p.incidence @ p.covariance(values) @ p.incidence.T for p in self.parts), ground + rest)


def evaluate(data: Data, model: Model, values: Values) -> Answer:
    """What a model says at given values of its parameters."""
    at = Layout(data, model)
    table, y, X, V = at.table, at.table.y, at.fixed, at.covariance(values)
    inverse = np.linalg.inv(V)
    covariance = np.linalg.inv(X.T @ inverse @ X)
    beta = covariance @ X.T @ inverse @ y
    P = inverse - inverse @ X @ covariance @ X.T @ inverse
    errors = np.sqrt(np.diag(covariance))
    means = {
        key: (float(row @ beta), math.sqrt(float(row @ covariance @ row)))
        for key, row in (mean_rows(table, model) if model.fixed else {}).items()
    }
    random: dict[tuple[str, str], tuple[float, float, float | None]] = {}
    shares: dict[str, Array] = {}
    for part in at.parts:
        G, Z = part.covariance(values), part.incidence
        effects = G @ Z.T @ P @ y
        spread = np.diag(G - G @ Z.T @ P @ Z @ G)
        for level, value, error, before in zip(part.levels, effects, spread, np.diag(G), strict=True):
            told = 1.0 - float(error) / float(before) if before > 0 else None
            random[part.term, level] = (float(value), math.sqrt(max(float(error), 0.0)), told)
        shares[part.term] = Z @ effects
    # Without a nugget nothing of a correlated residual can be told apart: it is all left over.
    ground, rest = build_residual(table, model, values)
    shares["ground"] = ground @ P @ y if np.any(ground) and np.any(rest) else np.zeros(len(y))
    fitted = X @ beta + sum(shares.values())
    estimates = zip(at.names, zip(beta.tolist(), errors.tolist(), strict=True), strict=True)
    return Answer(textbook(y, X, V), dict(estimates), covariance, means, random, shares, fitted, y - fitted, P)


# ---------------------------------------------------------------- the top


Slot = tuple[str, tuple[str | int, ...]]


def list_parameters(table: Table, model: Model) -> list[Slot]:
    """What is to be estimated: kind (variance, correlation, loading) and key."""
    found: list[Slot] = []
    for term in model.random:
        if term.factors:
            seconds = table.levels(term.columns[1])
            # Loadings may be turned: factor f starts at the f-th level.
            pairs = [(f, s) for f in range(term.factors) for s in seconds[f:]]
            found += [("loading", (term.name, f + 1, s)) for f, s in pairs]
            found += [("variance", (term.name, s)) for s in seconds]
        elif term.variance is None:
            levels = table.levels(term.variance_by) if term.variance_by else [""]
            found += [("variance", (term.name, level)) for level in levels]
    for surface in model.surfaces:
        for level in table.levels(surface.within) if surface.within else [""]:
            found += [("variance", (surface.name, f"{axis}:{level}" if level else axis)) for axis in surface.grid]
    residual = model.residual
    levels = table.levels(residual.variance_by) if residual.variance_by else [""]
    for axis in residual.grid or ():
        for level in table.levels(residual.within) if residual.within else [""]:
            found.append(("correlation", (axis, level)))
    if residual.nugget:
        found += [("variance", ("nugget", level)) for level in levels]
    if residual.covariance is None and residual.variance is None:
        found += [("variance", ("residual", level)) for level in levels]
    return found


def gather(table: Table, model: Model, numbers: Sequence[float] | Array) -> Values:
    """Values from numbers in the order of `list_parameters`; loadings that are fixed at 0 are added."""
    parts: dict[str, dict] = {"variance": {}, "correlation": {}, "loading": {}}  # type: ignore[type-arg]
    for term in model.random:
        for f, s in itertools.product(range(term.factors), table.levels(term.columns[-1]) if term.factors else []):
            parts["loading"][term.name, f + 1, s] = 0.0
    for (kind, key), number in zip(list_parameters(table, model), numbers, strict=True):
        parts[kind][key] = float(number)
    return Values(parts["variance"], parts["correlation"], parts["loading"])


class Likelihood:
    """The REML log-likelihood of one data set and model as a function of the numbers of `list_parameters`."""

    def __init__(self, data: Data, model: Model) -> None:
        self.layout = Layout(data, model)
        self.keys = list_parameters(self.layout.table, model)

    def values(self, numbers: Sequence[float] | Array) -> Values:
        return gather(self.layout.table, self.layout.model, numbers)

    def __call__(self, numbers: Sequence[float] | Array) -> float:
        V = self.layout.covariance(self.values(numbers))
        try:
            np.linalg.cholesky(V)
        except np.linalg.LinAlgError:
            return -math.inf
        return textbook(self.layout.table.y, self.layout.fixed, V)

    def slope(self, numbers: Sequence[float] | Array) -> Array:
        """Central differences, steps of 1e-5 of each number's size."""
        at = np.asarray(numbers, dtype=float)
        found = np.zeros(len(at))
        for k, (kind, _) in enumerate(self.keys):
            step = np.zeros(len(at))
            step[k] = 1e-5 * max(abs(at[k]), 1e-3)
            down = at - step
            if kind == "variance" and down[k] < 0:
                down, high = at, self(at + step)
                found[k] = (high - self(at)) / step[k]
            else:
                found[k] = (self(at + step) - self(down)) / (2 * step[k])
        return found


def maximise(data: Data, model: Model, starts: Sequence[float] = (0.05, 0.3, 1.0, 3.0)) -> tuple[float, Values]:
    """The best log-likelihood and values from several starts (shares of the response's variance); tiny problems only.

    Variances are kept at 0 or above, that of the residual above 0; correlations from -0.98 to 0.999.
    """
    climb = Likelihood(data, model)
    total = float(np.var(climb.layout.table.y))
    bounds: list[tuple[float | None, float | None]] = []
    for kind, key in climb.keys:
        lowest = 1e-6 * total if key[0] == "residual" else 0.0
        bounds.append({"variance": (lowest, None), "correlation": (-0.98, 0.999), "loading": (None, None)}[kind])
    unit = np.array([{"variance": total, "correlation": 1.0, "loading": math.sqrt(total)}[k] for k, _ in climb.keys])
    scaled = [tuple(None if end is None else end / u for end in pair) for pair, u in zip(bounds, unit, strict=True)]

    def downhill(at: Array) -> float:
        value = -climb(at * unit)
        return value if math.isfinite(value) else 1e10

    best: tuple[float, Array] = (-math.inf, np.zeros(len(unit)))
    for share in starts:
        first = np.array(
            [{"variance": share, "correlation": 0.4, "loading": math.sqrt(share)}[k] for k, _ in climb.keys]
        )
        steep = scipy.optimize.minimize(
            downhill, first, jac=lambda at: -climb.slope(at * unit) * unit, bounds=scaled, method="L-BFGS-B",
            options={"ftol": 1e-15, "gtol": 1e-9, "maxiter": 500},
        )  # fmt: skip
        found = steep.x
        if len(unit) <= 5:
            # Values of some hundreds carry a rounding error near 1e-12: a simplex asked for less never ends.
            options = {"xatol": 1e-9, "fatol": 1e-11, "maxiter": 4000}
            found = scipy.optimize.minimize(downhill, found, bounds=scaled, method="Nelder-Mead", options=options).x
        if -downhill(found) > best[0]:
            best = (-downhill(found), found * unit)
    return best[0], climb.values(best[1])
