"""What do we know of each line's flowering, success and set, from its record, its own past rows and the programme's?"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

from firstsilk.records.models import Line, Station
from firstsilk.science.seed.line_rates import LineCounts, learn_programme, rate_line
from firstsilk.science.seed.pollinations import EarRates, expect_pollinations
from firstsilk.work.nursery.units import FloweringUnits, read_units
from firstsilk.work.seed.success import count_lines, plan_tries
from firstsilk.work.standing import read_kept_names

MANY_POLLINATIONS = 50_000
"""From here on chance evens out, and what is needed on average is planned (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class LineRates:
    """Units to silk and shed in the station's scale, what a pollination of the line gives, how many pollinations and
    ears of its own that rests on, and whose units stand in where it has none."""

    line: str
    units_to_silk: float | None
    units_to_shed: float | None
    ear_rates: EarRates
    own_pollinations: int
    own_ears: int
    units_source: str = "own"

    @property
    def success_frac(self) -> float:
        """Good ears per pollination."""
        return self.ear_rates.success_frac

    @property
    def kernels_per_ear(self) -> float:
        """Kernels of a good ear on average."""
        return self.ear_rates.kernels_per_ear

    def ears_for(self, ears: int, kernels: int | None) -> int:
        """Good ears needed to have at least so many ears and, where kernels are asked for, so many kernels."""
        return max(ears, math.ceil(kernels / self.kernels_per_ear)) if kernels else ears

    def pollinations_for(self, ears: int, kernels: int | None, assurance: float = 0.95) -> int:
        """Pollinations that give so many good ears and, where kernels are asked for, so many kernels, so surely.

        Ears differ in their kernels, so that kernels ask for more pollinations than the ears that hold them on average;
        and a line of which little is known asks for more than one that is known well.
        """
        on_average = expect_pollinations(self.ear_rates, ears, kernels or 0)
        if on_average > MANY_POLLINATIONS:
            return math.ceil(on_average)
        return plan_tries(self.ear_rates, ears, kernels or 0, assurance)


def read_line_rates(station: Station, names: Iterable[str], day: date) -> dict[str, LineRates]:
    """The rates of each named line on a day: its own records shrunk to the programme's mean.

    Notes
    -----
    Success and set are those of `work.seed.success`: learnt once, from all lines, and shown there line by line. A
    record merged into another line has the rates of the line kept.
    """
    counts, _ = count_lines(station, day)
    programme = learn_programme(tuple(counts.values()))
    lines = list(Line.objects.filter(station=station, name__in=set(names)))
    units = read_units(station, lines, day)
    kept = read_kept_names(station, day)
    return {
        line.name: _tell_rates(units[line.name], own, rate_line(own, programme))
        for line in lines
        for own in [replace(counts.get(kept.get(line.name, line.name), LineCounts("")), line=line.name)]
    }


def _tell_rates(units: FloweringUnits, own: LineCounts, ear_rates: EarRates) -> LineRates:
    return LineRates(own.line, units.silk, units.shed, ear_rates, own.pollinations, own.shelled_ears, units.source)
