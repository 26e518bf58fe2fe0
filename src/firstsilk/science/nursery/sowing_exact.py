"""Which choice of sowing days is the best of all, proven?

Moves give a choice, loans a bound; what lies between is settled by a mixed-integer programme over the patterns and
pairs that the bound has not ruled out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from firstsilk.science.nursery.sowing_bound import Bound, bound_choice, count_slack, decode_bound, keep_patterns
from firstsilk.science.nursery.sowing_choice import (
    FloatArray,
    IntArray,
    SowingProblem,
    improve_choice,
    is_within_rows,
    place_rows,
    rebuild_part,
    settle_ties,
    sum_worth,
)

RELATIVE_GAP = 1e-6
"""A choice this near its bound is called the best."""
MOST_PAIRS = 150_000
"""Pairs of patterns that are still handed to the mixed-integer programme."""
SWEEPS, SWEEPS_WITH_PRICES = 300, 400
"""Rounds of the bound, without and with prices for rows a day."""
STARTS = 8
"""Random starts of the search by moves, beside the ones handed in."""
REBUILDS = 200
"""How often a part of the choice is taken apart where the bound is not reached."""
MOST_NODES = 2_000
"""Branches of the mixed-integer programme. A count and not a time, so that the same input gives the same days."""
MOST_SIMPLEX_STEPS = 400_000


@dataclass(frozen=True, slots=True)
class Solution:
    """A choice, what it is worth, and what no choice can exceed.

    Attributes
    ----------
    labels
        A pattern for each parent.
    worth, bound
        Worth of the choice, and the proven bound.
    how
        What proved the bound: ``bound`` (loans alone) or ``programme`` (mixed-integer).
    """

    labels: tuple[int, ...]
    worth: float
    bound: float
    how: str

    @property
    def gap_frac(self) -> float:
        """Share of the bound by which the choice may fall short; 0 if it is proven best."""
        short = max(0.0, self.bound - self.worth)
        return short / self.bound if self.bound > 0 else 0.0


def choose_labels(
    problem: SowingProblem,
    starts: Sequence[Sequence[int]] = (),
    seed: int = 1,
    relative_gap: float = RELATIVE_GAP,
    enough: float = 0.0,
) -> Solution:
    """Choose a pattern for each parent so that the crosses are worth most.

    Parameters
    ----------
    problem
        Parents, crosses, rows a day.
    starts
        Choices to begin from, beside our own.
    seed
        Of the random starts.
    relative_gap, enough
        The search ends when the choice is this near its bound, as a share of it or in worth, whichever is more.

    Returns
    -------
    Solution
        The same for the same input: no step is counted by time.

    Raises
    ------
    ValueError
        If the rows do not fit on the days.

    Notes
    -----
    Checked by ``tests/properties/test_sowing_laws.py`` against trying every choice.
    """
    first = place_rows(problem)
    if first is None:
        first = _solve_rows(problem)
    labels = _search(problem, [first, *starts], seed)
    worth = sum_worth(problem, labels)
    sweeps = SWEEPS if problem.rows_per_day is None else SWEEPS_WITH_PRICES
    bound = bound_choice(problem, sweeps, reached=worth, near=max(enough, relative_gap * max(worth, 1e-9)))
    decoded = decode_bound(bound)
    if is_within_rows(problem, decoded):
        labels = _better(problem, labels, improve_choice(problem, decoded))
        worth = sum_worth(problem, labels)
    near = max(enough, relative_gap * max(bound.value, 1e-9))
    if bound.value - worth > near:
        labels = _rebuild(problem, labels, seed)
        worth = sum_worth(problem, labels)
    how = "bound"
    best = bound.value
    if best - worth > near:
        closed = _close_gap(problem, bound, labels, near / max(best, 1e-9))
        if closed is not None:
            labels, best = _better(problem, labels, closed[0]), closed[1]
            how = "programme"
    labels = settle_ties(problem, labels)
    worth = sum_worth(problem, labels)
    return Solution(tuple(labels), worth, max(worth, min(best, bound.value)), how)


def _search(problem: SowingProblem, starts: Sequence[Sequence[int]], seed: int) -> list[int]:
    """The best that moves from all starts come to."""
    dice = np.random.default_rng(seed)
    begins = [list(start) for start in starts if is_within_rows(problem, start)]
    for _ in range(STARTS):
        shuffled = [int(dice.integers(len(parent.patterns))) for parent in problem.parents]
        if is_within_rows(problem, shuffled):
            begins.append(shuffled)
    best = begins[0]
    for begin in begins:
        best = _better(problem, best, improve_choice(problem, begin))
    return best


def _rebuild(problem: SowingProblem, labels: list[int], seed: int) -> list[int]:
    """Take parts of the choice apart and rebuild them, keeping what is better."""
    dice = np.random.default_rng([seed, 2])
    best = list(labels)
    # Without rows a day the programme is quick; with them it needs a good choice to rule others out.
    for _ in range(REBUILDS if problem.rows_per_day is not None else REBUILDS // 10):
        changed = rebuild_part(problem, best, dice)
        if changed is not None:
            best = _better(problem, best, improve_choice(problem, changed))
    return best


def _better(problem: SowingProblem, one: list[int], other: list[int]) -> list[int]:
    return other if sum_worth(problem, other) > sum_worth(problem, one) + 1e-12 else one


def _solve_rows(problem: SowingProblem) -> list[int]:
    """Any choice within the rows a day, by the programme; a `ValueError` if there is none."""
    every = tuple(np.arange(len(parent.patterns)) for parent in problem.parents)
    found = _run_programme(problem, every, [], None, 0.0)
    if found is None or found[0] is None:
        raise ValueError("the rows do not fit on the sowing days")
    return found[0]


def _close_gap(
    problem: SowingProblem, bound: Bound, labels: Sequence[int], relative_gap: float
) -> tuple[list[int], float] | None:
    """The best choice and its bound by the mixed-integer programme; None if too much is left for it."""
    reached = sum_worth(problem, labels)
    kept = keep_patterns(bound, reached)
    # The choice at hand stays in, so that the programme can begin with it.
    kept = tuple(np.union1d(keep, [label]) for keep, label in zip(kept, labels, strict=True))
    pairs = [_open_pairs(problem, bound, at, kept, reached) for at in range(len(problem.matings))]
    if sum(len(pair[0]) for pair in pairs) > MOST_PAIRS:
        return None
    found = _run_programme(problem, kept, pairs, labels, relative_gap)
    if found is None:
        return None
    chosen, best = found
    # Pairs ruled out are worth no more than what was reached.
    return list(labels) if chosen is None else chosen, max(min(best, bound.value), reached)


def _open_pairs(
    problem: SowingProblem, bound: Bound, mating: int, kept: Sequence[IntArray], reached: float
) -> tuple[IntArray, IntArray, FloatArray]:
    """Pairs of kept patterns of one cross that are worth something and not ruled out: positions and worth."""
    one = problem.matings[mating]
    inside = np.ix_(kept[one.female], kept[one.male])
    worth = one.worth[inside]
    slack = count_slack(problem, bound, mating)[inside]
    female, male = np.nonzero((worth > 0) & (slack <= bound.value - reached + 1e-9))
    return female, male, worth[female, male]


def _run_programme(
    problem: SowingProblem,
    kept: Sequence[IntArray],
    pairs: Sequence[tuple[IntArray, IntArray, FloatArray]],
    labels: Sequence[int] | None,
    relative_gap: float,
) -> tuple[list[int] | None, float] | None:
    """Maximise over one pattern for each parent and at most one pair for each cross, each pair within its patterns."""
    import highspy

    model = _Model()
    first = [model.add_columns(len(keep), 0.0, whole=True) for keep in kept]
    for start, keep in zip(first, kept, strict=True):
        model.add_row(1.0, 1.0, np.arange(start, start + len(keep)), np.ones(len(keep)))
    for one, (female, male, worth) in zip(problem.matings, pairs, strict=bool(pairs)):
        start = model.add_columns(len(worth), worth)
        columns = np.arange(start, start + len(worth))
        for parent, side in ((one.female, female), (one.male, male)):
            for at in np.unique(side):
                inside = columns[side == at]
                label = first[parent] + at
                model.add_row(-np.inf, 0.0, np.append(inside, label), np.append(np.ones(len(inside)), -1.0))
    _add_days(problem, kept, first, model)
    solver = _open_solver(relative_gap)
    solver.passModel(model.build())
    if labels is not None:
        _hand_over(solver, problem, kept, pairs, first, labels, model.n_columns)
    solver.run()
    if solver.getModelStatus() in (highspy.HighsModelStatus.kInfeasible, highspy.HighsModelStatus.kNotset):
        return None
    info = solver.getInfo()
    bound = float(info.mip_dual_bound)
    if info.primal_solution_status != 2:  # 2 is a feasible one
        return None, bound
    values = np.asarray(solver.getSolution().col_value)
    chosen = [int(keep[np.argmax(values[start : start + len(keep)])]) for start, keep in zip(first, kept, strict=True)]
    return chosen, bound


def _open_solver(relative_gap: float) -> Any:
    """A silent solver on one thread that counts its steps, not the time."""
    import highspy

    # The bare solver: the one with callbacks prints its name to standard output, where the answer of a door goes.
    solver = highspy._Highs()  # type: ignore[attr-defined]
    for name, value in (
        ("output_flag", False),
        ("threads", 1),
        ("parallel", "off"),
        ("random_seed", 1),
        ("mip_rel_gap", relative_gap),
        ("mip_abs_gap", 1e-9),
        ("mip_max_nodes", MOST_NODES),
        ("simplex_iteration_limit", MOST_SIMPLEX_STEPS),
    ):
        solver.setOptionValue(name, value)
    return solver


def _add_days(problem: SowingProblem, kept: Sequence[IntArray], first: Sequence[int], model: _Model) -> None:
    """Rows a day, where the field takes only so many."""
    if problem.rows_per_day is None:
        return
    loads = [problem.loads(at)[keep] for at, keep in enumerate(kept)]
    for day in range(problem.n_days):
        columns = np.concatenate(
            [start + np.flatnonzero(load[:, day]) for start, load in zip(first, loads, strict=True)]
        )
        rows = np.concatenate([load[load[:, day] > 0, day] for load in loads])
        if len(columns):
            model.add_row(-np.inf, float(problem.rows_per_day), columns, rows)


def _hand_over(
    solver: object,
    problem: SowingProblem,
    kept: Sequence[IntArray],
    pairs: Sequence[tuple[IntArray, IntArray, FloatArray]],
    first: Sequence[int],
    labels: Sequence[int],
    n_columns: int,
) -> None:
    """Begin the programme with the choice at hand."""
    import highspy

    values = np.zeros(n_columns)
    places = [int(np.searchsorted(keep, label)) for keep, label in zip(kept, labels, strict=True)]
    for start, place in zip(first, places, strict=True):
        values[start + place] = 1.0
    at = sum(len(keep) for keep in kept)
    for one, (female, male, worth) in zip(problem.matings, pairs, strict=True):
        same = np.flatnonzero((female == places[one.female]) & (male == places[one.male]))
        values[at + same] = 1.0
        at += len(worth)
    solution = highspy.HighsSolution()
    solution.col_value = values.tolist()
    solver.setSolution(solution)  # type: ignore[attr-defined]


class _Model:
    """Columns and rows gathered for the solver."""

    def __init__(self) -> None:
        self.n_columns = 0
        self.costs: list[FloatArray] = []
        self.whole: list[bool] = []
        self.lower: list[float] = []
        self.upper: list[float] = []
        self.starts = [0]
        self.indices: list[IntArray] = []
        self.values: list[FloatArray] = []

    def add_columns(self, n: int, cost: float | FloatArray, whole: bool = False) -> int:
        """Add columns within 0 and 1; returns the position of the first."""
        start = self.n_columns
        self.n_columns += n
        self.costs.append(np.broadcast_to(np.asarray(cost, dtype=np.float64), (n,)))
        self.whole += [whole] * n
        return start

    def add_row(self, lower: float, upper: float, indices: IntArray, values: FloatArray) -> None:
        """Add one constraint."""
        self.lower.append(lower)
        self.upper.append(upper)
        self.indices.append(indices)
        self.values.append(values)
        self.starts.append(self.starts[-1] + len(indices))

    def build(self) -> object:
        """The model as the solver takes it."""
        import highspy

        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = self.n_columns, len(self.lower)
        lp.col_cost_ = np.concatenate(self.costs)
        lp.col_lower_, lp.col_upper_ = np.zeros(self.n_columns), np.ones(self.n_columns)
        lp.row_lower_, lp.row_upper_ = np.array(self.lower), np.array(self.upper)
        lp.sense_ = highspy.ObjSense.kMaximize
        lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        lp.a_matrix_.start_ = np.array(self.starts, dtype=np.int32)
        lp.a_matrix_.index_ = np.concatenate(self.indices).astype(np.int32)
        lp.a_matrix_.value_ = np.concatenate(self.values)
        kinds = highspy.HighsVarType
        lp.integrality_ = [kinds.kInteger if whole else kinds.kContinuous for whole in self.whole]
        return lp
