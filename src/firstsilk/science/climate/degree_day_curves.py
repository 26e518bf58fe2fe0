"""How many degree days lie under a temperature curve that is drawn through a day's minimum and maximum?

The curve is a sine or a triangle; a double one takes the second half of the day down to the next day's minimum. Above
the upper temperature development stays (horizontal cutoff), slows by as much as the temperature is above it
(intermediate) or stops (vertical). All of it comes from two quantities: degree days above a threshold, and the share
of the day spent above it.
"""

from __future__ import annotations

from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike

from firstsilk.science.climate.degree_days import DegreeDayLimits
from firstsilk.science.climate.temperatures import FloatArray

Curve = Literal["sine", "triangle"]
Cutoff = Literal["none", "horizontal", "intermediate", "vertical"]
CURVES: tuple[Curve, ...] = get_args(Curve)
CUTOFFS: tuple[Cutoff, ...] = get_args(Cutoff)


def count_gdd_curve(
    tmin: ArrayLike, tmax: ArrayLike, limits: DegreeDayLimits, curve: Curve, cutoff: Cutoff = "horizontal"
) -> FloatArray:
    """Count degree days under a single sine or triangle.

    Parameters
    ----------
    tmin, tmax
        Daily minimum and maximum [unit of `limits`], same shape, ``tmin <= tmax``.
    limits
        Lower and upper temperature; the upper one is not looked at without a cutoff.
    curve
        ``sine`` or ``triangle``.
    cutoff
        ``none``, ``horizontal``, ``intermediate`` or ``vertical``: what happens above the upper temperature.

    Returns
    -------
    FloatArray
        Degree days a day, 0 or more; NaN where a temperature is NaN.

    Raises
    ------
    ValueError
        If the curve or the cutoff is not one of those named.

    Notes
    -----
    With A(h) the degree days above a threshold h, S(h) the share of the day above it, L and U the limits: none
    ``A(L)``; horizontal ``A(L) - A(U)``; vertical ``A(L) - A(U) - (U - L) S(U)``; intermediate ``A(L) - 2 A(U)``, but
    never below the vertical cutoff, which is what the calculator of the reference gives on very hot days (its printed
    values for 59/103 °F and 68/107 °F). With mean M and half range a, where h is crossed, a sine has
    ``A = ((M - h)(pi/2 - t) + a cos t) / pi``, ``S = (pi/2 - t) / pi`` with ``t = asin((h - M) / a)``; a triangle has
    ``A = (tmax - h)^2 / (2 (tmax - tmin))``, ``S = (tmax - h) / (tmax - tmin)``.

    References
    ----------
    Zalom F.G. et al. 1983, Degree-Days: the Calculation and Use of Heat Units in Pest Management, University of
    California (cited by its users, not seen); UC IPM, degree-day concepts and glossary; Baskerville G.L., Emin P. 1969,
    Ecology 50:514-517.

    Checked by ``tests/outside/test_degree_day_curves.py`` (values of the UC IPM calculator, all curves and cutoffs),
    ``tests/outside/test_agronomy.py`` and, against adding up moments, ``tests/properties/test_heat_laws.py``.
    """
    if curve not in CURVES or cutoff not in CUTOFFS:
        raise ValueError(f"curves are {', '.join(CURVES)}, cutoffs {', '.join(CUTOFFS)}; not {curve!r}, {cutoff!r}")
    low, high = np.asarray(tmin, dtype=np.float64), np.asarray(tmax, dtype=np.float64)
    whole, _ = _above(low, high, limits.lower, curve)
    if cutoff == "none":
        return whole
    over, share = _above(low, high, limits.upper, curve)
    if cutoff == "horizontal":
        return np.asarray(whole - over)
    # What is left of two equal numbers may be less than nothing by a rounding.
    stopped = np.maximum(whole - over - (limits.upper - limits.lower) * share, 0.0)
    return np.asarray(stopped if cutoff == "vertical" else np.maximum(whole - 2.0 * over, stopped))


def count_gdd_double_curve(
    tmin: ArrayLike,
    tmax: ArrayLike,
    next_tmin: ArrayLike,
    limits: DegreeDayLimits,
    curve: Curve,
    cutoff: Cutoff = "horizontal",
) -> FloatArray:
    """Count degree days under a double sine or triangle: up from this minimum, down to the next day's.

    Parameters
    ----------
    tmin, tmax, next_tmin
        Daily minimum, maximum and the minimum of the day after [unit of `limits`], same shape. A next minimum above
        this maximum counts as this maximum: the half day has no range.
    limits, curve, cutoff
        As in `count_gdd_curve`.

    Returns
    -------
    FloatArray
        Degree days a day, 0 or more: the mean of the two half days.

    References
    ----------
    UC IPM, degree-day glossary; Allen J.C. 1976, Environ. Entomol. 5:388-396 (cited by its users, not seen).

    Checked by ``tests/outside/test_degree_day_curves.py`` (values of the UC IPM calculator).
    """
    high = np.asarray(tmax, dtype=np.float64)
    evening = np.minimum(np.asarray(next_tmin, dtype=np.float64), high)
    halves = (count_gdd_curve(low, high, limits, curve, cutoff) for low in (tmin, evening))
    return np.asarray(sum(halves) / 2.0)


def count_gdd_sine(tmin: ArrayLike, tmax: ArrayLike, limits: DegreeDayLimits) -> FloatArray:
    """Count degree days under a single sine with a horizontal cutoff; see `count_gdd_curve`.

    Checked by ``tests/outside/test_agronomy.py`` (gdd_f_sine_hcut, gdd_c_sine_hcut).
    """
    return count_gdd_curve(tmin, tmax, limits, "sine")


def count_gdd_triangle(tmin: ArrayLike, tmax: ArrayLike, limits: DegreeDayLimits) -> FloatArray:
    """Count degree days under a single triangle with a horizontal cutoff; see `count_gdd_curve`.

    Checked by ``tests/outside/test_agronomy.py`` (gdd_f_triangle_hcut).
    """
    return count_gdd_curve(tmin, tmax, limits, "triangle")


def _above(low: FloatArray, high: FloatArray, threshold: float, curve: Curve) -> tuple[FloatArray, FloatArray]:
    """Degree days above a threshold, and the share of the day above it; NaN stays NaN."""
    # Where the curve does not cross the threshold the numbers below are not used; keep them finite there.
    crossing = (low < threshold) & (high > threshold)
    span = np.where(crossing, high - low, 1.0)
    if curve == "sine":
        mean, half = (high + low) / 2.0, (high - low) / 2.0
        angle = np.arcsin(np.clip((threshold - mean) / np.where(crossing, half, 1.0), -1.0, 1.0))
        share = (np.pi / 2.0 - angle) / np.pi
        crossed = (mean - threshold) * share + half * np.cos(angle) / np.pi
    else:
        share = (high - threshold) / span
        crossed = (high - threshold) ** 2 / (2.0 * span)
    whole = (high + low) / 2.0 - threshold
    unknown = np.isnan(low) | np.isnan(high)
    days = np.where(low >= threshold, whole, np.where(crossing, crossed, 0.0))
    # A day that stays at the threshold is not above it.
    shares = np.where((low >= threshold) & (high > threshold), 1.0, np.where(crossing, share, 0.0))
    return np.where(unknown, np.nan, days), np.where(unknown, np.nan, shares)
