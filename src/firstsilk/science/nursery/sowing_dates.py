"""On which dates are the parents of a set of crosses sown, chosen together, and how well do they then meet?

Turns lines, crosses and past years into the tables of `meeting`, lets `sowing_exact` choose, and tells what came of it
for each cross. Any dates can be judged, also on years that they were not chosen on.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import comb

import numpy as np

from firstsilk.science.nursery.meeting import FloatArray, Windows, find_shed_span, list_patterns
from firstsilk.science.nursery.sowing_choice import Mating, Parent, SowingProblem, is_within_rows
from firstsilk.science.nursery.sowing_exact import RELATIVE_GAP, choose_labels
from firstsilk.science.nursery.sowing_ground import Ground, judge_patterns, lay_ground
from firstsilk.science.nursery.sowing_question import (
    LATE_COST_FRAC,
    MOST_TABLE_CELLS,
    SPLIT_COST_FRAC,
    LineNeeds,
    Measure,
    PastHeat,
    PlannedCross,
    Role,
    SowingRules,
)

FEW_CELLS = 200_000
"""Cells of all tables up to which the tie of the plain measure is proven too (a choice of ours)."""
ENOUGH_OF_GRAIN = 0.49
"""Share of one year met of the lightest cross: a bound so near proves the sum of years met, since all ties together are
worth less than half of it."""


@dataclass(frozen=True, slots=True)
class CrossChance:
    """How one cross meets under some dates.

    Attributes
    ----------
    years, years_met
        Past years, and those in which it met by the plain measure at the lines' mean units.
    overlap_days
        Mean silk days of a year that see pollen, plain.
    ears_frac
        Plants measure: expected share of the good ears wanted; None if it was not asked for.
    """

    years: int
    years_met: int
    overlap_days: float
    ears_frac: float | None = None

    @property
    def p_meet(self) -> float:
        """Share of the past years in which the cross met."""
        return self.years_met / self.years


@dataclass(frozen=True, slots=True)
class SowingDates:
    """Dates for all parents, how each cross meets, and the proof.

    Attributes
    ----------
    days
        Sowing days of each role, after the first possible one.
    chances
        One for each cross, in the order given.
    objective, bound
        Weighted sum over crosses of what was maximised, and what no choice of dates can exceed. With plants, late days
        and further sowings cost a little of it.
    how
        What proved the bound.
    """

    days: Mapping[Role, tuple[int, ...]]
    chances: tuple[CrossChance, ...]
    objective: float
    bound: float
    how: str

    @property
    def gap_frac(self) -> float:
        """Share of the bound by which these dates may fall short of the best."""
        return max(0.0, self.bound - self.objective) / self.bound if self.bound > 0 else 0.0


def choose_sowing_dates(
    crosses: Sequence[PlannedCross],
    lines: Mapping[str, LineNeeds],
    heat: PastHeat,
    rules: SowingRules,
    windows: Windows | None = None,
    measure: Measure = "plain",
    draws: int = 4,
    seed: int = 1,
    starts: Sequence[Mapping[Role, tuple[int, ...]]] = (),
    relative_gap: float = RELATIVE_GAP,
) -> SowingDates:
    """Choose the sowing days of all parents together.

    Parameters
    ----------
    crosses, lines
        What is to be crossed, and what is known of each line.
    heat
        Past years.
    rules
        What the field allows.
    windows
        Windows and shares; the defaults of `meeting` if None.
    measure
        ``plain``: the weighted sum of shares of years met. ``plants``: of expected shares of good ears.
    draws
        Draws of the lines' uncertain units in each past year (plants only).
    seed
        Of the draws and the random starts.
    starts
        Days known to be good, to begin from.
    relative_gap
        How near to its bound a choice must come.

    Raises
    ------
    ValueError
        If there is no year, day or cross, a line crosses itself, the rows do not fit, or the tables grow too large.

    Notes
    -----
    With plants a cross is worth a little less for late days and further sowings (`LATE_COST_FRAC`, `SPLIT_COST_FRAC`).
    Ties of the plain measure go to more silk days that see pollen (proven up to `FEW_CELLS`), then to fewer sowings,
    then to earlier days; the last two as far as moves of one parent, or of all linked ones by a day, find them.
    """
    _check_question(crosses, heat, rules)
    windows = windows or Windows()
    ground = lay_ground(crosses, lines, heat, rules.days, windows, measure, draws, seed)
    problem, grain = _set_problem(crosses, lines, rules, ground, len(heat.daily))
    labels = [_find_labels(problem, ground.roles, rules.days, start) for start in starts]
    begins = [label for label in labels if label is not None]
    cells = sum(one.worth.size for one in problem.matings)
    # In large questions the tie is left to moves: what is proven is that no dates meet more.
    enough = ENOUGH_OF_GRAIN * grain if measure == "plain" and cells > FEW_CELLS else 0.0
    found = choose_labels(problem, begins, seed, relative_gap, enough)
    days = {
        role: tuple(rules.days[at] for at in problem.parents[place].patterns[found.labels[place]])
        for place, role in enumerate(ground.roles)
    }
    chances = judge_sowing_dates(crosses, lines, heat, days, windows, measure, draws, seed)
    objective, bound = found.worth, found.bound
    if measure == "plain":
        # Sums of shares of years met lie on a grid; what is told beyond it is only the tie.
        objective, bound = weigh_chances(crosses, chances), np.floor(bound / grain + 1e-6) * grain
    return SowingDates(days, chances, objective, max(objective, float(bound)), found.how)


def judge_sowing_dates(
    crosses: Sequence[PlannedCross],
    lines: Mapping[str, LineNeeds],
    heat: PastHeat,
    days: Mapping[Role, tuple[int, ...]],
    windows: Windows | None = None,
    measure: Measure = "plain",
    draws: int = 4,
    seed: int = 1,
) -> tuple[CrossChance, ...]:
    """Tell how each cross meets when its parents are sown on these days.

    Parameters
    ----------
    days
        Sowing days of every role, after the first possible one.

    Notes
    -----
    ``years_met`` is always plain and at the lines' mean units, so that anyone can count it again from the dates.
    """
    windows = windows or Windows()
    every = tuple(sorted({day for pattern in days.values() for day in pattern}))
    at = {day: place for place, day in enumerate(every)}
    chosen = {role: tuple(at[day] for day in pattern) for role, pattern in days.items()}
    plain = lay_ground(crosses, lines, heat, every, windows, "plain", 1, seed)
    wide = lay_ground(crosses, lines, heat, every, windows, "plants", draws, seed) if measure == "plants" else None
    years = len(heat.daily)
    told = []
    for cross in crosses:
        female, male = chosen["female", cross.female], chosen["male", cross.male]
        met, overlap = judge_patterns(plain, cross, (female,), (male,))
        ears = None if wide is None else float(judge_patterns(wide, cross, (female,), (male,))[0][0, 0])
        told.append(CrossChance(years, round(float(met[0, 0]) * years), float(overlap[0, 0]), ears))
    return tuple(told)


def weigh_chances(crosses: Sequence[PlannedCross], chances: Sequence[CrossChance], measure: Measure = "plain") -> float:
    """The weighted sum over crosses of what a measure maximises."""
    worth = [one.p_meet if measure == "plain" else one.ears_frac or 0.0 for one in chances]
    return float(sum(cross.weight * each for cross, each in zip(crosses, worth, strict=True)))


def _check_question(crosses: Sequence[PlannedCross], heat: PastHeat, rules: SowingRules) -> None:
    if not crosses or not rules.days or not len(heat.daily):
        raise ValueError("at least one cross, one sowing day and one past year are needed")
    if any(cross.female == cross.male for cross in crosses):
        raise ValueError("a line cannot be crossed with itself")
    if any(not cross.weight > 0 for cross in crosses):
        raise ValueError("every cross counts for more than 0")
    if rules.male_sowings < 1 or rules.female_sowings < 1:
        raise ValueError("every parent is sown at least once")


def _set_problem(
    crosses: Sequence[PlannedCross],
    lines: Mapping[str, LineNeeds],
    rules: SowingRules,
    ground: Ground,
    n_years: int,
) -> tuple[SowingProblem, float]:
    """The problem over patterns, and the grid of the plain measure's sums."""
    _check_size(crosses, lines, rules, ground)
    parents = [_parent(role, lines[role[1]], rules) for role in ground.roles]
    at = {role: place for place, role in enumerate(ground.roles)}
    pairs = [(at["female", cross.female], at["male", cross.male]) for cross in crosses]
    if ground.measure == "plants":
        find_shed_span(ground.windows)
    lightest = min(cross.weight for cross in crosses)
    grain = lightest / n_years
    # Small enough that all overlaps together never outweigh one year met of the lightest cross.
    tie = 0.5 * grain / sum(cross.weight for cross in crosses)
    tables: dict[int, FloatArray] = {}
    # Male by male, so that only one male's table is held at a time.
    for place in sorted(range(len(crosses)), key=lambda one: pairs[one][1]):
        cross, (female, male) = crosses[place], pairs[place]
        if (cross.male, parents[male].patterns) not in ground.served:
            ground.served.clear()
        worth, overlap = judge_patterns(ground, cross, parents[female].patterns, parents[male].patterns)
        if ground.measure == "plain":
            worth = worth + tie * overlap / ground.windows.silk_days
        else:
            worth = worth * _keep_after_cost(parents[female], rules)[:, None] * _keep_after_cost(parents[male], rules)
            worth = worth * _keep_ripe(parents[female], lines[cross.female])[:, None]
        tables[place] = cross.weight * worth
    matings = tuple(Mating(female, male, tables[place]) for place, (female, male) in enumerate(pairs))
    return SowingProblem(tuple(parents), matings, rules.rows_per_day, len(rules.days)), grain


def _check_size(
    crosses: Sequence[PlannedCross], lines: Mapping[str, LineNeeds], rules: SowingRules, ground: Ground
) -> None:
    """Refuse what would not fit into memory, before any of it is made."""
    patterns = {}
    for role in ground.roles:
        places, most = _allow_days(role, lines[role[1]], rules)
        patterns[role] = sum(comb(len(places), size) for size in range(1, most + 1))
    pairs = sum(patterns["female", cross.female] * patterns["male", cross.male] for cross in crosses)
    served = max(patterns.values()) * ground.workable.size
    if max(pairs, served) > MOST_TABLE_CELLS:
        raise ValueError("so many days, sowings and crosses at once are too many; allow fewer days or fewer sowings")


def _allow_days(role: Role, line: LineNeeds, rules: SowingRules) -> tuple[list[int], int]:
    """Positions of the days that a line may be sown on in a role, and on how many of them at once."""
    places = list(range(len(rules.days)))
    if role[0] == "female" and line.last_female_day is not None:
        places = [at for at in places if rules.days[at] <= line.last_female_day] or [0]
    allowed = rules.female_sowings if role[0] == "female" else rules.male_sowings
    return places, min(allowed, len(places), line.most_sowings or allowed)


def _parent(role: Role, line: LineNeeds, rules: SowingRules) -> Parent:
    rows = line.rows_female if role[0] == "female" else line.rows_male
    return Parent(list_patterns(*_allow_days(role, line, rules)), rows)


def _keep_after_cost(parent: Parent, rules: SowingRules) -> FloatArray:
    """What each pattern of a parent leaves of a cross's worth, for late days and further sowings (patterns,)."""
    late = np.array([rules.days[pattern[-1]] - rules.days[0] for pattern in parent.patterns])
    more = np.array([len(pattern) - 1 for pattern in parent.patterns])
    return np.maximum(0.0, 1.0 - LATE_COST_FRAC * late) * np.maximum(0.0, 1.0 - SPLIT_COST_FRAC * more)


def _keep_ripe(female: Parent, line: LineNeeds) -> FloatArray:
    """What frost leaves of a female's worth, the mean over the days of each pattern (patterns,)."""
    if line.keep_female_frac is None:
        return np.ones(len(female.patterns))
    kept = np.asarray(line.keep_female_frac)
    return np.array([kept[list(pattern)].mean() for pattern in female.patterns])


def _find_labels(
    problem: SowingProblem, roles: Sequence[Role], days: Sequence[int], start: Mapping[Role, tuple[int, ...]]
) -> list[int] | None:
    """Days handed in as patterns; None if they are none of the patterns, or too many rows a day."""
    at = {day: place for place, day in enumerate(days)}
    labels = []
    for place, role in enumerate(roles):
        pattern = tuple(at.get(day, -1) for day in start.get(role, ()))
        if pattern not in problem.parents[place].patterns:
            return None
        labels.append(problem.parents[place].patterns.index(pattern))
    return labels if is_within_rows(problem, labels) else None
