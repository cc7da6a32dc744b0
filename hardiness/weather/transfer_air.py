r"""How calm and clear each night was at a sensor that tells its wind, its sky or both.

.. math:: q = \frac{1}{1 + (w / w_0)^4} \cdot \frac{1}{1 + (n / n_0)^4}

:math:`w` is the mean wind and :math:`n` the mean cloud by night, 18 to 9 o'clock; :math:`w_0` is 5 mph, :math:`n_0` two
eighths. So a night is 1 when it is calm and clear, 0 when it is windy or overcast: the soft form of the split that
tells radiative freezes from others (:mod:`hardiness.weather.kinds`). Inversions, and so cold air in hollows, need both
(Snyder & de Melo-Abreu 2005, *Frost Protection*, FAO Environment and Natural Resources Series 10, vol. 1, ch. 1). A
sensor that tells but one of the two is taken by that one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import xarray as xr

from hardiness.read.conditions import CLOUD, WIND_SPEED
from hardiness.weather.clean import utc_times
from hardiness.weather.gaps import HOUR_NS, FloatArray
from hardiness.weather.kinds import CALM_M_PER_S, CLEAR, NIGHT
from hardiness.weather.transfer_nights import Nights

STEEPNESS = 4  # [1] of the fall from 1 to 0; common practice, no source
LEAST_VALUES = 5  # [1] by night: what a report every three hours gives
MOSTLY = 0.5  # [1] share of the nights told at all that wind, or sky, must know to be asked for
WIND_AND_SKY, WIND, SKY = "wind and sky", "wind", "sky"


def with_calm(nights: Nights, conditions: Mapping[str, xr.Dataset]) -> Nights:
    """Add how calm and clear the nights were, by each sensor's own wind and sky.

    Parameters
    ----------
    nights : Nights
        Sensors on common hours.
    conditions : mapping of str to xarray.Dataset
        By sensor, dims ``(time,)``, UTC: any of ``wind_speed`` [m s-1] and ``cloud_area_fraction`` [1], as
        :func:`hardiness.weather.air.conditions_that_count` gives them. Sensors that are not in ``nights`` are passed
        over.

    Returns
    -------
    Nights
        With ``calm`` and ``tells``.

    Examples
    --------
    >>> import pandas as pd
    >>> from zoneinfo import ZoneInfo
    >>> from hardiness.weather.series import series_of
    >>> from hardiness.weather.transfer_nights import nights_of
    >>> times = pd.date_range("2031-12-14T12", periods=72, freq="h")
    >>> nights = nights_of({"S9": series_of(times, np.zeros(72))}, ZoneInfo("UTC"))
    >>> wind = xr.Dataset({"wind_speed": ("time", np.repeat([0.5, 2.24, 9.0], 24))}, {"time": times})
    >>> told = with_calm(nights, {"S9": wind})
    >>> told.calm[:, 0].round(2).tolist(), told.tells
    ([1.0, 0.5, 0.0], ('wind',))
    """
    calm, tells = np.full(nights.minima.shape, np.nan), []
    for column, sensor in enumerate(nights.sensors):
        told = conditions.get(sensor)
        halves = {} if told is None or not nights.times.size else _halves(nights, told)
        calm[:, column] = np.prod(list(halves.values()), axis=0) if halves else np.nan
        tells.append({(True, True): WIND_AND_SKY, (True, False): WIND, (False, True): SKY, (False, False): ""}[
            WIND in halves, SKY in halves
        ])  # fmt: skip
    return replace(nights, calm=calm, tells=tuple(tells))


def mean_calm(calm: FloatArray) -> FloatArray:
    """Average how calm and clear each night was over the sensors that tell it.

    Parameters
    ----------
    calm : ndarray of float
        A row for each night, a column for each sensor; NaN where one does not tell. [1]

    Returns
    -------
    ndarray of float
        One for each night; NaN where none of them tells. [1]
    """
    number = np.isfinite(calm).sum(axis=1)
    total = np.nan_to_num(calm, nan=0.0).sum(axis=1)
    mean: FloatArray = np.divide(total, number, out=np.full(len(calm), np.nan), where=number > 0)
    return mean


def _halves(nights: Nights, told: xr.Dataset) -> dict[str, FloatArray]:
    """How calm by the wind, and how clear by the sky, each night was; what is known of too few nights is not in it."""
    known = {}
    for name, variable, half in ((WIND, WIND_SPEED, CALM_M_PER_S), (SKY, CLOUD, CLEAR)):
        if variable in told:
            values = _by_night(nights, told, variable)
            known[name] = 1 / (1 + (values / half) ** STEEPNESS)
    counts = {name: int(np.isfinite(values).sum()) for name, values in known.items()}
    most = max(counts.values(), default=0)
    return {name: known[name] for name, count in counts.items() if count and count >= MOSTLY * most}


def _by_night(nights: Nights, told: xr.Dataset, variable: str) -> FloatArray:
    """Mean of a variable between 18 and 9 o'clock of each night; NaN where fewer than five values are known."""
    hours = utc_times(told["time"].to_numpy()).astype(np.int64) // HOUR_NS - nights.times[0] // HOUR_NS
    values = told[variable].to_numpy().astype(np.float64)
    there = np.isfinite(values) & (hours >= 0) & (hours < nights.times.size)
    hours, values = hours[there], values[there]
    clock = nights.hour[hours]
    by_night = (clock >= NIGHT[0]) | (clock < NIGHT[1])
    night, count = nights.night[hours[by_night]], len(nights.minima)
    number = np.bincount(night, minlength=count)
    total = np.bincount(night, weights=values[by_night], minlength=count)
    mean: FloatArray = np.divide(total, number, out=np.full(count, np.nan), where=number >= LEAST_VALUES)
    return mean
