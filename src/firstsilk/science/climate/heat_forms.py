"""Which published form made a number of heat units, and how is it counted?

A scale says what the number is called (`chu`, `gdd_c`, `gdd_f`), a form by which published rule it was made. Two forms
of one scale are not the same units: they must never be added, compared or looked up in each other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from firstsilk.science.climate.chu import (
    CHU_NIGHT_4_44,
    CHU_ONTARIO,
    CHU_PRAIRIE,
    CHU_UNFLOORED,
    ChuConstants,
    count_chu,
)
from firstsilk.science.climate.degree_day_curves import (
    CURVES,
    CUTOFFS,
    Curve,
    Cutoff,
    count_gdd_curve,
    count_gdd_double_curve,
)
from firstsilk.science.climate.degree_days import (
    GDD_C,
    GDD_F,
    DegreeDayLimits,
    count_gdd_capped,
    count_gdd_mean_clamped,
    count_gdd_plain,
)
from firstsilk.science.climate.hourly_heat import count_gdd_hourly, count_gdd_hourly_mean
from firstsilk.science.climate.temperatures import FloatArray, Unit, convert_c_to_f, convert_f_to_c

Scale = Literal["chu", "gdd_c", "gdd_f"]
Needs = Literal["day", "next day", "hours"]

CLAMPING = "Nielsen 2020, Heat Unit Concepts Related to Corn Development, Purdue; Gilmore & Rogers 1958"
ONE_EQUATION = "McMaster & Wilhelm 1997, Agric. For. Meteorol. 87:291-300"
CURVE_SOURCE = "UC IPM, degree-day concepts; Zalom et al. 1983; Baskerville & Emin 1969, Ecology 50:514-517"


@dataclass(frozen=True, slots=True)
class HeatForm:
    """One published form: its name, its family of scales, what it needs of a day, what it does, who published it."""

    name: str
    family: Literal["chu", "gdd"]
    needs: Needs
    says: str
    source: str

    @property
    def scales(self) -> tuple[Scale, ...]:
        """The scales that can be counted by this form."""
        return ("chu",) if self.family == "chu" else ("gdd_c", "gdd_f")


CHU_CONSTANTS: dict[str, ChuConstants] = {
    "ontario": CHU_ONTARIO,
    "unfloored": CHU_UNFLOORED,
    "night-4.44": CHU_NIGHT_4_44,
    "prairie": CHU_PRAIRIE,
}
"""The published constants of corn heat units, by the name of their form."""

CUTOFF_WORDS: dict[Cutoff, str] = {
    "none": "no upper cutoff",
    "horizontal": "horizontal cutoff: no more is gained above the upper temperature",
    "intermediate": "intermediate cutoff: slower above the upper temperature, by as much as it is above it",
    "vertical": "vertical cutoff: nothing while above the upper temperature",
}

_CHU = (
    HeatForm(
        "ontario",
        "chu",
        "day",
        "3.33 and 0.084 by day, night base 4.4 °C, each part floored at 0",
        "Brown & Bootsma 1993, Agdex 111/31; Weather Innovations, Crop Heat Unit; OMAFRA 2025",
    ),
    HeatForm(
        "unfloored",
        "chu",
        "day",
        "the same without floors: a cool day can be negative",
        "Agriculture and Agri-Food Canada, open data 07875f11; Farmwest, CHU",
    ),
    HeatForm(
        "night-4.44",
        "chu",
        "day",
        "as ontario with the night base at 4.44 °C (40 °F)",
        "Bootsma et al. 1999 and Audet et al. 2012, as cited by xclim 0.62.0",
    ),
    HeatForm(
        "prairie",
        "chu",
        "day",
        "3.30 and 0.082 by day, night base 4.4 °C; floors assumed, the source does not say",
        "a Canadian prairie province's agriculture page",
    ),
)
_AVERAGES = (
    HeatForm("clamped", "gdd", "day", "both temperatures clamped to 10/30 °C (50/86 °F), then averaged", CLAMPING),
    HeatForm(
        "clamped-below", "gdd", "day", "both temperatures raised to the base, no upper limit (method 2)", ONE_EQUATION
    ),
    HeatForm("mean-clamped", "gdd", "day", "averaged, then the mean clamped to the limits (method 1)", ONE_EQUATION),
    HeatForm(
        "plain",
        "gdd",
        "day",
        "average less the base, never below 0, no upper limit",
        "OMAFRA, Publication 811, growing degree days; McMaster & Wilhelm 1997 (method 1 without upper limit)",
    ),
)
_HOURS = (
    HeatForm(
        "hourly",
        "gdd",
        "hours",
        "each hour clamped to the limits; degree hours / 24",
        "degree hours / 24 with the clamping on each hour: Luedeling, chillR 0.75, GDD",
    ),
    HeatForm("hourly-mean", "gdd", "hours", "mean of the hours less the base, never below 0", "xclim 0.62.0"),
)


def _name_curve(curve: Curve, cutoff: Cutoff, double: bool) -> str:
    return ("double-" if double else "") + curve + ("" if cutoff == "none" else f"-{cutoff}")


_CURVED: dict[str, tuple[Curve, Cutoff, bool]] = {
    _name_curve(curve, cutoff, double): (curve, cutoff, double)
    for double in (False, True)
    for curve in CURVES
    for cutoff in CUTOFFS
}
_CURVES = tuple(
    HeatForm(
        name,
        "gdd",
        "next day" if double else "day",
        f"{'double' if double else 'single'} {curve}, {CUTOFF_WORDS[cutoff]}",
        CURVE_SOURCE + ("; Allen 1976, Environ. Entomol. 5:388-396" if double else ""),
    )
    for name, (curve, cutoff, double) in _CURVED.items()
)

FORMS: tuple[HeatForm, ...] = (*_CHU, *_AVERAGES, *_CURVES, *_HOURS)
"""Every form offered, by family."""
DEFAULT_FORMS: dict[Scale, str] = {"chu": "ontario", "gdd_c": "clamped", "gdd_f": "clamped"}
"""The form of a scale where none is named: the one that plans, lines and forecasts use."""
LIMITS: dict[Scale, DegreeDayLimits] = {"gdd_c": GDD_C, "gdd_f": GDD_F}
"""Lower and upper temperature of the degree-day scales."""


def find_form(scale: Scale, name: str = "") -> HeatForm:
    """Find a form of a scale by its name; the scale's own if the name is empty.

    Raises
    ------
    ValueError
        If the scale has no form of that name, naming those it has.
    """
    wanted = name or DEFAULT_FORMS[scale]
    of_scale = [form for form in FORMS if scale in form.scales]
    found = next((form for form in of_scale if form.name == wanted), None)
    if found is not None:
        return found
    if scale == "chu" and any(form.name == wanted and form.needs == "hours" for form in FORMS):
        raise ValueError(
            "corn heat units have no published hourly form: their two parts are defined on a day's minimum and maximum"
        )
    names = ", ".join(form.name for form in of_scale)
    raise ValueError(f"the scale {scale} has no form {wanted!r}; it has {names}")


def count_by_form(
    tmin: ArrayLike,
    tmax: ArrayLike,
    scale: Scale,
    form: str = "",
    unit: Unit = "c",
    next_tmin: ArrayLike | None = None,
    limits: DegreeDayLimits | None = None,
) -> FloatArray:
    """Count heat units of each day in a scale and a named published form.

    Parameters
    ----------
    tmin, tmax
        Daily minimum and maximum [`unit`] (..., days), in order.
    scale
        ``chu``, ``gdd_c`` or ``gdd_f``.
    form
        Name of the form; the scale's own if empty. Forms of hours are counted by `count_hours_by_form`.
    unit
        Unit of the temperatures, ``c`` or ``f``; they are converted if the scale needs the other.
    next_tmin
        Minimum of the day after each day, for the double forms; the minima moved up by one day if absent. A last day
        whose next minimum is unknown takes its own, as the UC IPM calculator does.
    limits
        Other limits than the scale's, in the scale's unit; degree days only.

    Returns
    -------
    FloatArray
        Heat units a day [`scale`, `form`], same shape as `tmin`.

    Raises
    ------
    ValueError
        If the scale has no such form, the form needs hours, or limits are given for corn heat units.

    Notes
    -----
    Checked by ``tests/outside/test_degree_day_curves.py`` and ``tests/science/test_heat_forms.py``.
    """
    found = find_form(scale, form)
    if found.needs == "hours":
        raise ValueError(f"the form {found.name} needs hourly readings")
    low, high = (_convert(one, unit, "f" if scale == "gdd_f" else "c") for one in (tmin, tmax))
    if scale == "chu":
        if limits is not None:
            raise ValueError("corn heat units take no other limits")
        return count_chu(low, high, CHU_CONSTANTS[found.name])
    span = limits or LIMITS[scale]
    if found.name not in _CURVED:
        return _count_averaged(low, high, found.name, span)
    curve, cutoff, double = _CURVED[found.name]
    if not double:
        return count_gdd_curve(low, high, span, curve, cutoff)
    after = np.concatenate([low[..., 1:], low[..., -1:]], axis=-1)
    if next_tmin is not None:
        told = _convert(next_tmin, unit, "f" if scale == "gdd_f" else "c")
        after = np.where(np.isnan(told), low, told)
    return count_gdd_double_curve(low, high, after, span, curve, cutoff)


def count_hours_by_form(
    hours: ArrayLike, scale: Scale, form: str, unit: Unit = "c", limits: DegreeDayLimits | None = None
) -> FloatArray:
    """Count heat units of each day from its hours, in a scale and a named form.

    Parameters
    ----------
    hours
        Temperature of each hour [`unit`] (days, 24); NaN is unknown.
    scale, form, unit, limits
        As in `count_by_form`; the form is ``hourly`` or ``hourly-mean``.

    Returns
    -------
    FloatArray
        Heat units a day (days,).

    Raises
    ------
    ValueError
        If the scale has no such form, or it is not one of hours.
    """
    found = find_form(scale, form)
    if found.needs != "hours":
        raise ValueError(f"the form {found.name} is counted from a day's minimum and maximum, not from hours")
    span = limits or LIMITS[scale]
    grid = _convert(hours, unit, "f" if scale == "gdd_f" else "c")
    return count_gdd_hourly(grid, span) if found.name == "hourly" else count_gdd_hourly_mean(grid, span.lower)


def _count_averaged(low: FloatArray, high: FloatArray, name: str, span: DegreeDayLimits) -> FloatArray:
    if name == "clamped":
        return count_gdd_capped(low, high, span)
    if name == "clamped-below":
        return count_gdd_capped(low, high, DegreeDayLimits(span.lower, math.inf))
    if name == "mean-clamped":
        return count_gdd_mean_clamped(low, high, span)
    return count_gdd_plain(low, high, span.lower)


def _convert(temperature: ArrayLike, unit: Unit, wanted: Unit) -> FloatArray:
    if unit == wanted:
        return np.asarray(temperature, dtype=np.float64)
    return convert_c_to_f(temperature) if wanted == "f" else convert_f_to_c(temperature)
