"""On which days does every parent flower, for every sowing day and scenario, and what is each pair of sowings worth?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from firstsilk.science.nursery.meeting import (
    FloatArray,
    IntArray,
    ServedTable,
    Windows,
    draw_scores,
    draw_units,
    find_flowering_table,
    judge_plain,
    judge_plants,
    serve_plain,
    serve_plants,
    spread_plants,
)
from firstsilk.science.nursery.sowing_question import LineNeeds, Measure, PastHeat, PlannedCross, Role, list_roles


@dataclass(slots=True)
class Ground:
    """All roles with their flowering days, for one measure."""

    measure: Measure
    windows: Windows
    roles: list[Role]
    flowering: dict[Role, IntArray]
    n_days: int
    workable: FloatArray
    served: dict[tuple[str, tuple[tuple[int, ...], ...]], ServedTable] = field(default_factory=dict)


def lay_ground(
    crosses: Sequence[PlannedCross],
    lines: Mapping[str, LineNeeds],
    heat: PastHeat,
    days: Sequence[int],
    windows: Windows,
    measure: Measure,
    draws: int,
    seed: int,
) -> Ground:
    """Flowering days of all roles on all sowing days, counted from the first that matters."""
    roles = list_roles(crosses)
    repeats = draws if measure == "plants" else 1
    daily = np.repeat(heat.daily, repeats, axis=0)
    units = _units_of(roles, lines, len(daily), seed if measure == "plants" else None)
    table = find_flowering_table(daily, np.asarray(days, dtype=np.int64), units)
    n_known = daily.shape[1]
    reached = table[table < n_known]
    margin = int(spread_plants(windows.plant_sd_days)[0][-1]) + windows.silk_days + windows.shed_days
    first = max(0, int(reached.min()) - margin) if reached.size else 0
    last = min(n_known, int(reached.max()) + margin + 1) if reached.size else 1
    workable = np.ones((len(heat.daily), n_known)) if heat.workable is None else heat.workable
    moved = np.where(table < n_known, table - first, last - first)
    flowering = {role: moved[at] for at, role in enumerate(roles)}
    return Ground(measure, windows, roles, flowering, last - first, np.repeat(workable[:, first:last], repeats, axis=0))


def _units_of(roles: Sequence[Role], lines: Mapping[str, LineNeeds], n_scenarios: int, seed: int | None) -> FloatArray:
    """Units of each role in each scenario (roles, scenarios): means, or drawn, a line's silk and shed together."""
    scores: dict[str, FloatArray] = {}
    if seed is not None:
        # In order of the names, so that neither the order of crosses nor of lines changes a draw.
        names = sorted({line for _, line in roles})
        for name, child in zip(names, np.random.SeedSequence(seed).spawn(len(names)), strict=True):
            scores[name] = draw_scores(np.random.default_rng(child), n_scenarios)
    units = np.empty((len(roles), n_scenarios))
    for at, (role, name) in enumerate(roles):
        line = lines[name]
        mean = line.units_to_silk if role == "female" else line.units_to_shed
        side = 0 if role == "female" else 1
        units[at] = draw_units(mean, line.sd_units, scores[name][side]) if name in scores else mean
    return units


def judge_patterns(
    ground: Ground,
    cross: PlannedCross,
    female_patterns: tuple[tuple[int, ...], ...],
    male_patterns: tuple[tuple[int, ...], ...],
) -> tuple[FloatArray, FloatArray]:
    """Worth of each pair of patterns under the ground's measure, and the overlap (plain; else empty)."""
    key = (cross.male, male_patterns)
    if key not in ground.served:
        shed = ground.flowering["male", cross.male]
        if ground.measure == "plain":
            ground.served[key] = serve_plain(shed, male_patterns, ground.n_days, ground.windows)
        else:
            ground.served[key] = serve_plants(shed, male_patterns, ground.workable, ground.windows)
    silk = ground.flowering["female", cross.female]
    if ground.measure == "plain":
        return judge_plain(ground.served[key], silk, female_patterns)
    worth = judge_plants(ground.served[key], silk, female_patterns, ground.windows.needed_frac)
    return worth, np.zeros((0, 0))
