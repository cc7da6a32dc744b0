"""Sensors that disagree about an event by more than their standard deviations explain.

Two sensors differ because one hangs lower, or because one reads wrong: the difference that is usual between them, their
distance and their heights stand beside each row, so that a grower can tell which.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from hardiness.schema import APART, column_names
from hardiness.settings import Settings
from hardiness.weather.gaps import FloatArray
from hardiness.weather.sensors import between_sensors, sensors_known

CLEARLY = 1.96  # [1] standard deviations: two sensors that agree differ by more in one event of twenty
LEAST_OTHERS = 3  # [1] other events that make a usual difference


def find_apart(freezes: pd.DataFrame, sensors: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """List the events and pairs of sensors whose minima lie apart; estimated freezes are left out.

    Parameters
    ----------
    freezes : pandas.DataFrame
        The freezes table.
    sensors : pandas.DataFrame
        The sensors table.
    settings : Settings
        Of the trial: its place stands for that of a logger without one.

    Returns
    -------
    pandas.DataFrame
        Columns of ``schema.APART``, in order of the events, then of the sensors' names.

    Examples
    --------
    >>> freezes = pd.DataFrame({"event": ["2031-12-14"] * 2, "sensor": ["L1", "L2"], "source": ["logger"] * 2})
    >>> freezes = freezes.assign(starts=pd.Timestamp("2031-12-14T20Z"), minimum_c=[-8.0, -5.0], sd_c=0.5)
    >>> apart = find_apart(freezes, pd.DataFrame({"sensor": ["L1", "L2"]}), Settings("Hill", "UTC"))
    >>> apart[["sensor_a", "sensor_b", "difference_c"]].values.tolist(), apart["sd_c"].round(2).tolist()
    ([['L1', 'L2', -3.0]], [0.71])
    """
    measured = freezes[freezes["source"] != "estimated"].sort_values("minimum_c", kind="stable")
    coldest = measured.drop_duplicates(["event", "sensor"])
    order = freezes.sort_values("starts", kind="stable")["event"].drop_duplicates()
    minima, spread = (
        coldest.pivot_table(index="event", columns="sensor", values=name).reindex(order)
        for name in ("minimum_c", "sd_c")
    )
    names, values = [str(name) for name in minima.columns], minima.to_numpy()
    spreads = spread.to_numpy()
    away, higher = between_sensors(sensors_known(sensors, names).loc[names], settings)
    rows: list[tuple[object, ...]] = []
    for a in range(len(names)):
        for b in range(a + 1, len(names)):
            apart = values[:, a] - values[:, b]
            sd = np.hypot(spreads[:, a], spreads[:, b])
            for event in np.flatnonzero(np.abs(apart) > CLEARLY * sd).tolist():
                usual = _usual(np.delete(apart, event))
                rows.append((minima.index[event], names[a], values[event, a], names[b], values[event, b], apart[event],
                             sd[event], usual, away[a, b], higher[a, b]))  # fmt: skip
    table = pd.DataFrame(rows, columns=column_names(APART))
    rank = {event: number for number, event in enumerate(order)}
    return table.sort_values("event", key=lambda events: events.map(rank), kind="stable", ignore_index=True)


def _usual(others: FloatArray) -> float:
    """Median difference [K] over the events that both saw."""
    known = others[np.isfinite(others)]
    return float(np.median(known)) if known.size >= LEAST_OTHERS else np.nan
