"""How moist is the air, and how strongly does it dry: vapour pressure, deficit, dew point?

The forms of FAO Irrigation and Drainage Paper 56 (Allen et al. 1998), chapter 3; Sonntag 1990 stands beside them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

ES_AT_0_KPA = 0.6108
"""Saturation vapour pressure at 0 °C. Allen et al. 1998, eq. 11 (Sonntag 1990: 0.6112)."""
ES_SLOPE = 17.27
"""Allen et al. 1998, eq. 11."""
ES_OFFSET_C = 237.3
"""Allen et al. 1998, eq. 11."""
PSYCHROMETER_ASPIRATED = 0.000662
"""Coefficient of an aspirated psychrometer [1/°C]. Allen et al. 1998, eq. 16 (0.0008 natural, 0.0012 indoors)."""
PRESSURE_AT_SEA_KPA = 101.3
"""Allen et al. 1998, eq. 7."""
PSYCHROMETRIC_PER_KPA = 0.000665
"""Psychrometric constant per kPa of air pressure [1/°C]. Allen et al. 1998, eq. 8."""


def saturation_pressure_kpa(temperature_c: ArrayLike) -> FloatArray:
    """Give the saturation vapour pressure over water.

    Parameters
    ----------
    temperature_c
        Air temperature [°C], any shape.

    Returns
    -------
    FloatArray
        Vapour pressure [kPa], same shape.

    Notes
    -----
    ``0.6108 exp(17.27 T / (T + 237.3))``, for air temperatures of the growing season.

    References
    ----------
    Allen R.G. et al. 1998, FAO Irrigation and Drainage Paper 56, eq. 11.

    Checked by ``tests/outside/test_agronomy.py`` (es_kpa, es_kpa_metpy).
    """
    temperature = np.asarray(temperature_c, dtype=np.float64)
    return np.asarray(ES_AT_0_KPA * np.exp(ES_SLOPE * temperature / (temperature + ES_OFFSET_C)))


def saturation_pressure_sonntag_kpa(temperature_c: ArrayLike) -> FloatArray:
    """Give the saturation vapour pressure over water by Sonntag 1990 [kPa].

    Notes
    -----
    ``ln e[Pa] = -6096.9385/T + 21.2409642 - 0.02711193 T + 0.00001673952 T^2 + 2.433502 ln T``, T in K
    (constants from memory).

    Checked by ``tests/outside/test_agronomy.py`` (vpd_kpa_xclim_sonntag90).
    """
    kelvin = np.asarray(temperature_c, dtype=np.float64) + 273.15
    power = -6096.9385 / kelvin + 21.2409642 - 2.711193e-2 * kelvin + 1.673952e-5 * kelvin**2
    return np.asarray(np.exp(power + 2.433502 * np.log(kelvin)) / 1000.0)


def daily_saturation_pressure_kpa(tmin_c: ArrayLike, tmax_c: ArrayLike) -> FloatArray:
    """Give a day's saturation vapour pressure: the mean of that at its minimum and at its maximum [kPa].

    Notes
    -----
    The pressure at the mean temperature would be too low. Allen et al. 1998, eq. 12.

    Checked by ``tests/outside/test_agronomy.py`` (es_kpa).
    """
    return (saturation_pressure_kpa(tmin_c) + saturation_pressure_kpa(tmax_c)) / 2.0


def vapour_pressure_from_humidity_kpa(
    tmin_c: ArrayLike, tmax_c: ArrayLike, humidity_max_pct: ArrayLike, humidity_min_pct: ArrayLike
) -> FloatArray:
    """Give a day's vapour pressure from the two temperatures and the two relative humidities.

    Parameters
    ----------
    tmin_c, tmax_c
        Daily minimum and maximum [°C], same shape.
    humidity_max_pct, humidity_min_pct
        Highest and lowest relative humidity of the day [%], same shape.

    Returns
    -------
    FloatArray
        Actual vapour pressure [kPa].

    References
    ----------
    Allen et al. 1998, eq. 17: the cool hour is the humid one.

    Checked by ``tests/outside/test_agronomy.py`` (ea_rhmaxmin).
    """
    cool = saturation_pressure_kpa(tmin_c) * np.asarray(humidity_max_pct, dtype=np.float64)
    warm = saturation_pressure_kpa(tmax_c) * np.asarray(humidity_min_pct, dtype=np.float64)
    return np.asarray((cool + warm) / 200.0)


def vapour_pressure_from_bulbs_kpa(
    dry_c: ArrayLike, wet_c: ArrayLike, pressure_kpa: ArrayLike, coefficient: float = PSYCHROMETER_ASPIRATED
) -> FloatArray:
    """Give the vapour pressure from a dry and a wet bulb [°C] at an air pressure [kPa].

    References
    ----------
    Allen et al. 1998, eq. 15 and 16.

    Checked by ``tests/outside/test_agronomy.py`` (ea_psychrometer).
    """
    dry, wet = np.asarray(dry_c, dtype=np.float64), np.asarray(wet_c, dtype=np.float64)
    drop = coefficient * np.asarray(pressure_kpa, dtype=np.float64) * (dry - wet)
    return np.asarray(saturation_pressure_kpa(wet) - drop)


def vapour_deficit_kpa(temperature_c: ArrayLike, humidity_pct: ArrayLike) -> FloatArray:
    """Give the vapour pressure deficit of air at one temperature [°C] and relative humidity [%], in kPa.

    Checked by ``tests/outside/test_agronomy.py`` (vpd_kpa_fao).
    """
    dryness = 1.0 - np.asarray(humidity_pct, dtype=np.float64) / 100.0
    return np.asarray(saturation_pressure_kpa(temperature_c) * dryness)


def daily_vapour_deficit_kpa(
    tmin_c: ArrayLike, tmax_c: ArrayLike, humidity_max_pct: ArrayLike, humidity_min_pct: ArrayLike
) -> FloatArray:
    """Give a day's vapour pressure deficit [kPa] from two temperatures [°C] and two relative humidities [%].

    Checked by ``tests/outside/test_agronomy.py`` (vpd_kpa).
    """
    actual = vapour_pressure_from_humidity_kpa(tmin_c, tmax_c, humidity_max_pct, humidity_min_pct)
    return np.asarray(daily_saturation_pressure_kpa(tmin_c, tmax_c) - actual)


def dew_point_c(vapour_pressure_kpa: ArrayLike) -> FloatArray:
    """Give the temperature at which a vapour pressure saturates the air.

    Parameters
    ----------
    vapour_pressure_kpa
        Actual vapour pressure [kPa], above 0, any shape.

    Returns
    -------
    FloatArray
        Dew point [°C]; the exact inverse of `saturation_pressure_kpa`.

    References
    ----------
    Allen et al. 1998, eq. 11 turned round.

    Checked by ``tests/outside/test_agronomy.py`` (dew_point_c, dew_point_c_fao, dew_point_c_metpy).
    """
    power = np.log(np.asarray(vapour_pressure_kpa, dtype=np.float64) / ES_AT_0_KPA)
    return np.asarray(ES_OFFSET_C * power / (ES_SLOPE - power))


def dew_point_from_humidity_c(temperature_c: ArrayLike, humidity_pct: ArrayLike) -> FloatArray:
    """Give the dew point [°C] of air at a temperature [°C] and a relative humidity [%] above 0.

    Checked by ``tests/outside/test_agronomy.py`` (dew_point_c).
    """
    share = np.asarray(humidity_pct, dtype=np.float64) / 100.0
    return dew_point_c(saturation_pressure_kpa(temperature_c) * share)


def relative_humidity_pct(temperature_c: ArrayLike, dew_c: ArrayLike) -> FloatArray:
    """Give the relative humidity [%] from temperature and dew point [°C].

    Checked by ``tests/outside/test_agronomy.py`` (rh_from_dewpoint).
    """
    return np.asarray(100.0 * saturation_pressure_kpa(dew_c) / saturation_pressure_kpa(temperature_c))


def air_pressure_kpa(altitude_m: ArrayLike) -> FloatArray:
    """Give the mean air pressure [kPa] at an altitude [m]: ``101.3 ((293 - 0.0065 z)/293)^5.26``.

    References
    ----------
    Allen et al. 1998, eq. 7.

    Checked by ``tests/outside/test_agronomy.py`` (pressure_kpa).
    """
    return np.asarray(
        PRESSURE_AT_SEA_KPA * ((293.0 - 0.0065 * np.asarray(altitude_m, dtype=np.float64)) / 293.0) ** 5.26
    )


def psychrometric_constant_kpa_c(pressure_kpa: ArrayLike) -> FloatArray:
    """Give the psychrometric constant [kPa/°C] at an air pressure [kPa]: ``0.000665 P``.

    References
    ----------
    Allen et al. 1998, eq. 8.

    Checked by ``tests/outside/test_agronomy.py`` (psychrometric_const).
    """
    return np.asarray(PSYCHROMETRIC_PER_KPA * np.asarray(pressure_kpa, dtype=np.float64))
