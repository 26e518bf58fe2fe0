"""How does a temperature read in the other unit?"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
Unit = Literal["c", "f"]

F_PER_C = 1.8
"""Fahrenheit degrees in one Celsius degree, by definition; also gdd_f per gdd_c."""
FREEZING_F = 32.0
"""0 °C in °F, by definition."""


def convert_f_to_c(temperature_f: ArrayLike) -> FloatArray:
    """Convert temperatures from °F to °C.

    Parameters
    ----------
    temperature_f
        Temperature [°F], any shape.

    Returns
    -------
    FloatArray
        Temperature [°C], same shape.

    Notes
    -----
    ``(f - 32) / 1.8``, by definition. Checked by ``tests/outside/test_agronomy.py`` (f_to_c).
    """
    return (np.asarray(temperature_f, dtype=np.float64) - FREEZING_F) / F_PER_C


def convert_c_to_f(temperature_c: ArrayLike) -> FloatArray:
    """Convert temperatures from °C to °F.

    Parameters
    ----------
    temperature_c
        Temperature [°C], any shape.

    Returns
    -------
    FloatArray
        Temperature [°F], same shape.

    Notes
    -----
    ``1.8 c + 32``, by definition. Checked by ``tests/properties/test_heat_laws.py`` (there and back).
    """
    return np.asarray(temperature_c, dtype=np.float64) * F_PER_C + FREEZING_F
