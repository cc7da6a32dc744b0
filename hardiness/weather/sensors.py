"""The sensors of a trial, with what an empty field means, and the order in which a plant asks them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from hardiness.settings import Settings
from hardiness.weather.exposure import ACCURACY_C
from hardiness.weather.gaps import FloatArray

EARTH_RADIUS_KM = 6371.0  # [km] mean radius


def sensors_known(sensors: pd.DataFrame, names: Iterable[str] = ()) -> pd.DataFrame:
    """List all sensors, with what an empty field means.

    Parameters
    ----------
    sensors : pandas.DataFrame
        The sensors table.
    names : iterable of str
        Sensors that have readings; one that is not in the table is a logger with empty fields.

    Returns
    -------
    pandas.DataFrame
        Indexed by sensor: kind (empty: logger), block, latitude, longitude [degree], elevation_m [m], shielded (empty:
        yes; as bool), accuracy_c (empty: 0.5) [K], offset_c (empty: 0) [K].

    Examples
    --------
    >>> known = sensors_known(pd.DataFrame({"sensor": ["L1"], "accuracy_c": [0.2]}), ["L1", "L2"])
    >>> known["accuracy_c"].tolist(), known["kind"].tolist()
    ([0.2, 0.5], ['logger', 'logger'])
    """
    table = sensors.set_index("sensor")
    table = table.reindex([*table.index, *sorted(set(names) - set(table.index))])

    def text(name: str) -> pd.Series[str]:
        return pd.Series(texts(table[name]) if name in table else "", table.index, dtype=object)

    def number(name: str) -> pd.Series[float]:
        column = table[name] if name in table else pd.Series(np.nan, table.index)
        return pd.to_numeric(column).astype(float)

    return pd.DataFrame(
        {
            "kind": text("kind").replace("", "logger"),
            "block": text("block"),
            "latitude": number("latitude"),
            "longitude": number("longitude"),
            "elevation_m": number("elevation_m"),
            "shielded": text("shielded") != "no",
            "accuracy_c": number("accuracy_c").fillna(ACCURACY_C),
            "offset_c": number("offset_c").fillna(0.0),
        }
    )


def texts(column: pd.Series[str]) -> list[str]:
    """List a column of text, with ``""`` for what is missing.

    Parameters
    ----------
    column : pandas.Series
        Text, None or NaN.

    Returns
    -------
    list of str

    Examples
    --------
    >>> texts(pd.Series(["A", None]))
    ['A', '']
    """
    return ["" if pd.isna(value) else str(value) for value in column]


@dataclass(frozen=True, slots=True)
class SensorOrders:
    """The order in which the plants of a trial ask its sensors; see :func:`sensor_orders`.

    Parameters
    ----------
    known : frozenset of str
        All sensors.
    of_block : dict of str to tuple of str
        The loggers of each block, by name.
    common : tuple of str
        The trial's only logger (none where there are several), then the stations by distance.
    """

    known: frozenset[str]
    of_block: dict[str, tuple[str, ...]]
    common: tuple[str, ...]

    def of_plant(self, named: str, block: str) -> list[str]:
        """List the sensors that may speak for a plant, best first.

        Parameters
        ----------
        named : str
            The plant's ``sensor`` field: one or several, ``;`` between. A name that is no sensor is passed over.
        block : str
            Its block, or empty.

        Returns
        -------
        list of str
            Each sensor once.
        """
        own = [name.strip() for name in named.split(";")]
        asked = dict.fromkeys([*own, *self.of_block.get(block, ()), *self.common])
        return [name for name in asked if name in self.known]


def sensor_orders(known: pd.DataFrame, settings: Settings) -> SensorOrders:
    """Put the sensors in the order in which plants ask them.

    First those the plant names, then its block's loggers by name, then the trial's only logger, then the stations by
    distance from the trial (those with no known distance last, by name).

    Parameters
    ----------
    known : pandas.DataFrame
        As :func:`sensors_known` returns it.
    settings : Settings
        Of the trial: its latitude and longitude.

    Returns
    -------
    SensorOrders

    Examples
    --------
    >>> table = pd.DataFrame({"sensor": ["L2", "L1", "S9"], "kind": ["", "", "station"], "block": ["A", "A", ""]})
    >>> sensor_orders(sensors_known(table), Settings("Hill", "Europe/Lisbon")).of_plant("L2", "A")
    ['L2', 'L1', 'S9']
    """
    loggers = sorted(known.index[known["kind"] == "logger"])
    stations = known[known["kind"] == "station"].sort_index()
    place = [np.nan if degrees is None else degrees for degrees in (settings.latitude, settings.longitude)]
    away = great_circle_km(place[0], place[1], stations["latitude"].to_numpy(), stations["longitude"].to_numpy())
    by_distance = stations.index[np.argsort(away, kind="stable")]  # NaN comes last
    of_block: dict[str, tuple[str, ...]] = {}
    for name, block in known["block"].loc[loggers].items():
        if block:
            of_block[block] = (*of_block.get(block, ()), str(name))
    only = loggers if len(loggers) == 1 else []
    return SensorOrders(frozenset(known.index), of_block, (*only, *by_distance))


def between_sensors(known: pd.DataFrame, settings: Settings) -> tuple[FloatArray, FloatArray]:
    """Measure the distance and the height between each two sensors; a logger without a place stands at the trial's.

    Parameters
    ----------
    known : pandas.DataFrame
        As :func:`sensors_known` returns it.
    settings : Settings
        Of the trial: its place.

    Returns
    -------
    away, higher : ndarray of float
        A row and a column for each sensor: how far apart they are [km], and how much higher the ground lies at the
        row's sensor than at the column's [m]; NaN where it is not known, and between two that both have no place.

    Examples
    --------
    >>> table = pd.DataFrame({"sensor": ["L1", "S9"], "kind": ["", "station"], "elevation_m": [None, 600.0]})
    >>> away, higher = between_sensors(sensors_known(table), Settings("Hill", "UTC", elevation_m=480.0))
    >>> higher.tolist()
    [[nan, -120.0], [120.0, 0.0]]
    """
    found = []
    for names in (("latitude", "longitude"), ("elevation_m",)):
        own = known[list(names)].to_numpy(dtype=float, copy=True)
        trial = [getattr(settings, name) for name in names]
        lent = np.isnan(own).any(axis=1) & (known["kind"] == "logger").to_numpy()
        own[lent] = [np.nan if value is None else value for value in trial]
        if len(names) == 2:
            rows = [great_circle_km(north, east, own[:, 0], own[:, 1]) for north, east in own]
            between = np.array(rows).reshape(len(own), len(own))
        else:
            between = own[:, 0][:, None] - own[:, 0][None, :]
        between[np.ix_(lent, lent)] = np.nan
        found.append(between)
    return found[0], found[1]


def great_circle_km(latitude: float, longitude: float, latitudes: FloatArray, longitudes: FloatArray) -> FloatArray:
    r"""Measure the distance from one place to others along the globe, by the haversine formula.

    .. math::

        d = 2R\,\arcsin\sqrt{\sin^2\frac{\Delta\varphi}{2}
            + \cos\varphi_1\cos\varphi_2\sin^2\frac{\Delta\lambda}{2}}

    Parameters
    ----------
    latitude, longitude : float
        Of the one place. [degree]
    latitudes, longitudes : ndarray of float
        Of the others. [degree]

    Returns
    -------
    ndarray of float
        Distances; NaN where a place is not known. [km]

    Examples
    --------
    >>> great_circle_km(0.0, 179.0, np.array([0.0]), np.array([-179.0])).round(1).tolist()
    [222.4]
    """
    north, others_north = np.radians(latitude), np.radians(latitudes)
    half_north, half_east = (others_north - north) / 2, np.radians(longitudes - longitude) / 2
    squared = np.sin(half_north) ** 2 + np.cos(north) * np.cos(others_north) * np.sin(half_east) ** 2
    distance: FloatArray = 2 * EARTH_RADIUS_KM * np.arcsin(np.sqrt(np.clip(squared, 0.0, 1.0)))
    return distance
