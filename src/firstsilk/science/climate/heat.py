"""How many heat units did a day bring, in a named scale?

Three scales are offered to people: `chu` (Ontario corn heat units), `gdd_c` (growing degree days 10/30 °C) and
`gdd_f` (the same at 50/86 °F). `heat_forms` holds every published form of each under a name; the formulas stand in
`chu`, `degree_days`, `degree_day_curves` and `hourly_heat`, and those most used can be had from here.
"""

from __future__ import annotations

from typing import get_args

from numpy.typing import ArrayLike

from firstsilk.science.climate.chu import (
    CHU_NIGHT_4_44,
    CHU_ONTARIO,
    CHU_PRAIRIE,
    CHU_UNFLOORED,
    ChuConstants,
    count_chu,
    find_chu_end_c,
    find_chu_peak_c,
)
from firstsilk.science.climate.degree_day_curves import count_gdd_sine, count_gdd_triangle
from firstsilk.science.climate.degree_days import (
    GDD_C,
    GDD_F,
    DegreeDayLimits,
    count_gdd_capped,
    count_gdd_from_means,
    count_gdd_mean_clamped,
    count_gdd_plain,
)
from firstsilk.science.climate.heat_forms import Scale, count_by_form
from firstsilk.science.climate.temperatures import (
    F_PER_C,
    FREEZING_F,
    FloatArray,
    Unit,
    convert_c_to_f,
    convert_f_to_c,
)

__all__ = [
    "CHU_NIGHT_4_44",
    "CHU_ONTARIO",
    "CHU_PRAIRIE",
    "CHU_UNFLOORED",
    "FREEZING_F",
    "F_PER_C",
    "GDD_C",
    "GDD_F",
    "SCALES",
    "ChuConstants",
    "DegreeDayLimits",
    "FloatArray",
    "Scale",
    "Unit",
    "convert_c_to_f",
    "convert_f_to_c",
    "count_chu",
    "count_gdd_capped",
    "count_gdd_from_means",
    "count_gdd_mean_clamped",
    "count_gdd_plain",
    "count_gdd_sine",
    "count_gdd_triangle",
    "find_chu_end_c",
    "find_chu_peak_c",
    "heat_units",
]

SCALES: tuple[Scale, ...] = get_args(Scale)


def heat_units(tmin: ArrayLike, tmax: ArrayLike, scale: Scale, unit: Unit = "c") -> FloatArray:
    """Count heat units of each day in one of the three scales.

    Parameters
    ----------
    tmin, tmax
        Daily minimum and maximum [`unit`], same shape.
    scale
        ``chu``, ``gdd_c`` or ``gdd_f``.
    unit
        The unit of the temperatures, ``c`` or ``f``; they are converted only if the scale needs the other.

    Returns
    -------
    FloatArray
        Heat units a day [`scale`], same shape; NaN where a temperature is NaN.

    Raises
    ------
    ValueError
        If the scale or the unit is not one of those named.

    Notes
    -----
    See `count_chu` and `count_gdd_capped`. ``tmin > tmax`` is not looked for here; see `climate.weather`.

    Checked by ``tests/outside/test_agronomy.py`` and ``tests/properties/test_heat_laws.py``.
    """
    if scale not in SCALES or unit not in ("c", "f"):
        raise ValueError(f"heat units have the scales {', '.join(SCALES)} and the units c, f; not {scale!r}, {unit!r}")
    return count_by_form(tmin, tmax, scale, "", unit)
