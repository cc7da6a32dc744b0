r"""Dew point, wet bulb and ice bulb of air, by the formulas of the WMO guide.

Saturation vapour pressure over water and over ice follows Magnus' formula,

.. math:: e(t) = 6.112\,\mathrm{hPa}\,\exp\frac{a\,t}{b + t},

with a = 17.62, b = 243.12 degC over water and a = 22.46, b = 272.62 degC over ice; the wet or ice bulb t' of a
ventilated psychrometer solves

.. math:: e = e(t') - A\,p\,(t - t'),

with A = 6.53e-4 (1 + 9.44e-4 t') per K for a wet bulb and 5.75e-4 per K for an ice bulb (WMO-No. 8, *Guide to
Instruments and Methods of Observation*, part I, ch. 4, annex 4.B; its pressure factor of 1.004 is left out). Relative
humidity is that over water, also below 0 degC, as instruments report it.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from hardiness.errors import InputError, Problem
from hardiness.weather.gaps import FloatArray

AT_ZERO_HPA = 6.112  # [hPa] saturation vapour pressure at 0 degC
WATER, ICE = (17.62, 243.12), (22.46, 272.62)  # [1], [degC] Magnus over each
SEA_LEVEL_HPA = 1013.25  # [hPa] ICAO standard atmosphere
_HALVINGS = 60  # the bracket then is narrower than a float can tell
_LOWEST_C = -90.0  # [degC] colder than air anywhere


def vapour_pressure(celsius: npt.ArrayLike, *, over_ice: bool = False) -> FloatArray:
    """Give the saturation vapour pressure.

    Parameters
    ----------
    celsius : array-like of float
        Temperature. [degC]
    over_ice : bool, default False
        Over ice rather than water.

    Returns
    -------
    ndarray of float
        [hPa]

    Examples
    --------
    >>> vapour_pressure([0.0, 20.0]).round(2).tolist()
    [6.11, 23.33]
    """
    a, b = ICE if over_ice else WATER
    t = np.asarray(celsius, dtype=float)
    pressure: FloatArray = AT_ZERO_HPA * np.exp(a * t / (b + t))
    return pressure


def dew_point(celsius: npt.ArrayLike, humidity_percent: npt.ArrayLike) -> FloatArray:
    """Give the dew point: where air that is cooled at steady pressure is saturated over water.

    Parameters
    ----------
    celsius : array-like of float
        Air temperature. [degC]
    humidity_percent : array-like of float
        Relative humidity over water, above 0 and up to 100. [%]

    Returns
    -------
    ndarray of float
        NaN where either is missing. [degC]

    Raises
    ------
    InputError
        If a humidity is not above 0 and up to 100.

    Examples
    --------
    >>> float(dew_point(0.0, 50.0).round(2))
    -9.2
    """
    t, humidity = _checked(celsius, humidity_percent)
    a, b = WATER
    log = np.log(humidity / 100) + a * t / (b + t)
    dew: FloatArray = b * log / (a - log)
    return dew


def wet_bulb(
    celsius: npt.ArrayLike,
    humidity_percent: npt.ArrayLike,
    *,
    over_ice: bool = False,
    pressure_hpa: float = SEA_LEVEL_HPA,
) -> FloatArray:
    """Give the wet bulb: how cold a ventilated wet surface becomes; with ``over_ice`` one covered with ice.

    Parameters
    ----------
    celsius : array-like of float
        Air temperature. [degC]
    humidity_percent : array-like of float
        Relative humidity over water, above 0 and up to 100. [%]
    over_ice : bool, default False
        Ask for the ice bulb, which a wet surface reaches once it is frozen; above 0 degC no ice lasts. The ice bulb of
        nearly saturated freezing air is above the air: it gathers frost.
    pressure_hpa : float, default 1013.25
        Air pressure. [hPa]

    Returns
    -------
    ndarray of float
        NaN where a value is missing, and for an ice bulb where it would be above 0 degC. [degC]

    Raises
    ------
    InputError
        If a humidity is not above 0 and up to 100.

    Examples
    --------
    >>> float(wet_bulb(20.0, 50.0).round(2)), float(wet_bulb(0.0, 50.0, over_ice=True).round(2))
    (13.84, -2.96)
    """
    t, humidity = np.broadcast_arrays(*_checked(celsius, humidity_percent))
    vapour = humidity / 100 * vapour_pressure(t)
    low, high = np.full(t.shape, _LOWEST_C), t + 1.0  # over ice freezing air may be above saturation
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        constant = 5.75e-4 if over_ice else 6.53e-4 * (1 + 9.44e-4 * middle)
        too_warm = vapour_pressure(middle, over_ice=over_ice) - constant * pressure_hpa * (t - middle) > vapour
        low, high = np.where(too_warm, low, middle), np.where(too_warm, middle, high)
    bulb: FloatArray = np.where(np.isnan(t) | np.isnan(vapour), np.nan, (low + high) / 2)
    if over_ice:
        bulb = np.where(bulb > 0, np.nan, bulb)
    return bulb


def _checked(celsius: npt.ArrayLike, humidity_percent: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    t, humidity = np.asarray(celsius, dtype=float), np.asarray(humidity_percent, dtype=float)
    wrong = humidity[(humidity <= 0) | (humidity > 100)]
    if wrong.size:
        some = ", ".join(f"{value:g}" for value in np.unique(wrong)[:3])
        raise InputError(Problem(f"relative humidities of {some} %", "above 0 and up to 100 %", column="humidity"))
    return t, humidity
