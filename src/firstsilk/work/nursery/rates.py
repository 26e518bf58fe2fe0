"""What do we know of each line's flowering, success and set, from its record and its own past rows?"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from firstsilk.records.models import Line, Row, Station
from firstsilk.science.nursery.counts import KERNELS_PER_EAR, SUCCESS_FRAC, count_pollinations
from firstsilk.science.seed.pollinations import EarRates, expect_pollinations, plan_pollinations
from firstsilk.work.flowering.states import read_states
from firstsilk.work.nursery.units import FloweringUnits, read_units

PRIOR_POLLINATIONS = 20
PRIOR_EARS = 10
"""How many pollinations and ears the published mean counts for, beside a line's own (a choice of ours)."""
MANY_POLLINATIONS = 50_000
"""From here on chance evens out, and what is needed on average is planned (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class LineRates:
    """Units to silk and shed in the station's scale, good ears per pollination, kernels per good ear, how many
    pollinations and ears of its own a line's rates rest on, and whose units stand in where it has none."""

    line: str
    units_to_silk: float | None
    units_to_shed: float | None
    success_frac: float
    kernels_per_ear: float
    own_pollinations: int
    own_ears: int
    units_source: str = "own"

    def ears_for(self, ears: int, kernels: int | None) -> int:
        """Good ears needed to have at least so many ears and, where kernels are asked for, so many kernels."""
        return max(ears, math.ceil(kernels / self.kernels_per_ear)) if kernels else ears

    def pollinations_for(self, ears: int, kernels: int | None, assurance: float = 0.95) -> int:
        """Pollinations that give so many good ears and, where kernels are asked for, so many kernels, so surely.

        Ears differ in their kernels, so that kernels ask for more pollinations than the ears that hold them on average.
        """
        if not kernels:
            return count_pollinations(ears, self.success_frac, assurance)
        rates = EarRates(self.success_frac, self.kernels_per_ear)
        on_average = expect_pollinations(rates, ears, kernels)
        if on_average > MANY_POLLINATIONS:
            return math.ceil(on_average)
        return plan_pollinations(rates, ears, kernels, assurance)


def read_line_rates(station: Station, names: Iterable[str], up_to: date | None = None) -> dict[str, LineRates]:
    """The rates of each named line, its own records up to a day shrunk towards the published mean.

    Notes
    -----
    success = (ears picked + m x mean) / (pollinations + m) with m = `PRIOR_POLLINATIONS`; kernels per ear likewise.
    Rows are counted once picked.
    """
    wanted = set(names)
    done: dict[str, list[int]] = {}
    rows = Row.objects.filter(station=station, line__name__in=wanted).select_related("line")
    states = read_states(station, [row.tag for row in rows], up_to)
    for row in rows:
        state = states.get(row.tag)
        if state is None or not state.ears_picked:
            continue
        sums = done.setdefault(row.line.name, [0, 0, 0, 0])
        if state.ears_pollinated:
            sums[0] += state.ears_pollinated
            sums[1] += min(state.ears_picked, state.ears_pollinated)
        if state.kernels:
            sums[2] += state.ears_picked
            sums[3] += state.kernels
    lines = list(Line.objects.filter(station=station, name__in=wanted))
    units = read_units(station, lines)
    return {line.name: _rates(line.name, units[line.name], done.get(line.name, [0, 0, 0, 0])) for line in lines}


def _rates(name: str, units: FloweringUnits, sums: list[int]) -> LineRates:
    tries, good, ears, kernels = sums
    success = (good + PRIOR_POLLINATIONS * SUCCESS_FRAC) / (tries + PRIOR_POLLINATIONS)
    per_ear = (kernels + PRIOR_EARS * KERNELS_PER_EAR) / (ears + PRIOR_EARS)
    return LineRates(name, units.silk, units.shed, success, per_ear, tries, ears, units.source)
