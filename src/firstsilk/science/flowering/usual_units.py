"""Do heat units to a stage look like those of their scale, or like those of another?

The ranges of chu and gdd_f overlap: 1,300 can be either, and no look at the number tells. A number that lies outside is
worth a word, since units of one scale looked up in the sums of another give dates that are weeks off.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from firstsilk.science.climate.heat_forms import Scale
from firstsilk.science.flowering.ripe_chance import USUAL_BLACK_LAYER

Stage = Literal["silk", "shed", "black layer"]

USUAL_SILK: dict[Scale, tuple[float, float]] = {
    "chu": (800.0, 2300.0),
    "gdd_f": (700.0, 1900.0),
    "gdd_c": (390.0, 1050.0),
}
"""Units from sowing to silk or shed. Hybrids take about 1,450 to 1,700 chu (Barker, Better Crops by Barker) and 1,144
to 1,273 gdd_f (HPRCC coefficients; 1,200 Lauer, Wisconsin); the margins for early hybrids and late lines are ours."""


def find_usual_units(stage: Stage, scale: Scale) -> tuple[float, float]:
    """The lowest and highest usual units from sowing to a stage, in a scale."""
    return USUAL_BLACK_LAYER[scale] if stage == "black layer" else USUAL_SILK[scale]


def find_fitting_scales(units: float, stage: Stage) -> tuple[Scale, ...]:
    """The scales in which such a number would be usual for the stage.

    Notes
    -----
    Checked by ``tests/science/test_usual_units.py``.
    """
    spans = USUAL_BLACK_LAYER if stage == "black layer" else USUAL_SILK
    return tuple(scale for scale, (low, high) in spans.items() if low <= units <= high)


def doubt_units(units: Sequence[float | None], stage: Stage, scale: Scale) -> tuple[list[int], str]:
    """Find the numbers of a column that are unusual for its scale.

    Parameters
    ----------
    units
        Heat units from sowing to the stage, of each line or hybrid (n,); None is unknown and never doubted.
    stage, scale
        What they lead to, and the scale that they are said to be in.

    Returns
    -------
    list of int, str
        Places of the unusual numbers, in order, and what to say of them: the usual span, and the scales that most of
        them would fit.

    Notes
    -----
    Checked by ``tests/science/test_usual_units.py``.
    """
    low, high = find_usual_units(stage, scale)
    odd = [at for at, value in enumerate(units) if value is not None and not low <= value <= high]
    fits = [name for at in odd for name in find_fitting_scales(units[at] or 0.0, stage)]
    likely = [name for name in USUAL_SILK if 2 * fits.count(name) > len(odd)]
    other = f"; it would be usual for {' or '.join(likely)}" if likely else ""
    return odd, f"this is unusual for {scale}, where {low:,.0f} to {high:,.0f} lead to {stage}{other}"
