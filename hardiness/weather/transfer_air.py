r"""How calm and clear each night was at a sensor that tells its wind, its sky or both.

.. math:: q = \frac{2}{3} \cdot \frac{1}{1 + (w / w_0)^3} \cdot \frac{1}{1 + (n / n_0)^3}
    + \frac{1}{3} \, [w < w_0 \text{ and } n \le n_0]

:math:`w` is the mean wind and :math:`n` the mean cloud by night, 18 to 9 o'clock; :math:`w_0` is 5 mph, :math:`n_0` two
eighths: the split that tells radiative freezes from others (:mod:`hardiness.weather.kinds`). So a night is 1 when it is
calm and clear, 0 when it is windy or overcast, and falls softly between them, a third of it at the split itself, since
in some hollows cold air either gathers or does not; common practice, no source for this shape. Inversions, and so cold
air in hollows, need both (Snyder & de Melo-Abreu 2005, *Frost Protection*, FAO Environment and Natural Resources Series
10, vol. 1, ch. 1). A sensor that tells but one of the two is taken by that one.
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

STEEPNESS = 3  # [1] of the soft fall from 1 to 0
AT_SPLIT = 1 / 3  # [1] of the fall at the split itself
LEAST_VALUES = 5  # [1] by night: what a report every three hours gives
MOSTLY = 0.5  # [1] share of the nights told at all that wind, or sky, must know to be asked for
WIND_AND_SKY, WIND, SKY = "wind and sky", "wind", "sky"
SPLITS = {WIND: CALM_M_PER_S, SKY: CLEAR}  # [m/s], [1]


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
    >>> from hardiness.weather.transfer_nights import hours_of, nights_together
    >>> times, zone = pd.date_range("2031-12-14T12", periods=72, freq="h"), ZoneInfo("UTC")
    >>> nights = nights_together({"S9": hours_of(series_of(times, np.zeros(72)), zone)}, zone)
    >>> wind = xr.Dataset({"wind_speed": ("time", np.repeat([0.5, 2.24, 9.0], 24))}, {"time": times})
    >>> told = with_calm(nights, {"S9": wind})
    >>> told.calm[:, 0].round(2).tolist(), told.tells
    ([0.99, 0.33, 0.01], ('wind',))
    """
    calm, tells = np.full(nights.minima.shape, np.nan), []
    for column, sensor in enumerate(nights.sensors):
        told = conditions.get(sensor)
        known = {} if told is None or not nights.times.size else _known(nights, told)
        if known:
            calm[:, column] = _calm(known)
        tells.append({(True, True): WIND_AND_SKY, (True, False): WIND, (False, True): SKY, (False, False): ""}[
            WIND in known, SKY in known
        ])  # fmt: skip
    return replace(nights, calm=calm, tells=tuple(tells))


def _calm(known: Mapping[str, FloatArray]) -> FloatArray:
    soft = [1 / (1 + (values / SPLITS[name]) ** STEEPNESS) for name, values in known.items()]
    within = [values < CALM_M_PER_S if name == WIND else values <= CLEAR for name, values in known.items()]
    # soft is NaN wherever one of them is not known, and so is the sum
    calm: FloatArray = (1 - AT_SPLIT) * np.prod(soft, axis=0) + AT_SPLIT * np.all(within, axis=0)
    return calm


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


def _known(nights: Nights, told: xr.Dataset) -> dict[str, FloatArray]:
    """The mean wind and cloud of each night; what is known of too few nights is not in it."""
    means = {
        name: _by_night(nights, told, variable)
        for name, variable in ((WIND, WIND_SPEED), (SKY, CLOUD))
        if variable in told
    }
    counts = {name: int(np.isfinite(values).sum()) for name, values in means.items()}
    most = max(counts.values(), default=0)
    return {name: means[name] for name, count in counts.items() if count and count >= MOSTLY * most}


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
