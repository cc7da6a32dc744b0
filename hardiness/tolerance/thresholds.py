"""Kill thresholds as plants show them, without a model: a table by selection, and curves beside the model's.

A plant that was lost at one exposure and came through a colder one contradicts a fixed threshold (freezes differ in
more than their temperature): it is counted, and left out of Turnbull's estimate. Rows of protected plants show nothing
here.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr

from hardiness import schema
from hardiness.errors import FitError
from hardiness.tolerance.floors import check_temperatures
from hardiness.tolerance.plain import Turnbull, binomial_limits, spearman_karber, turnbull
from hardiness.tolerance.rows import stands_open


def kill_intervals(table: pd.DataFrame, grade: int) -> pd.DataFrame:
    """Between which exposures each plant's kill threshold lies.

    Parameters
    ----------
    table : DataFrame
        Checked observations.
    grade : int
        The grade that counts as lost.

    Returns
    -------
    DataFrame
        Columns ``plant, selection, warmest_fatal_c, coldest_survived_c, contradicts``: the threshold is at or above
        the one and below the other [degC]; NaN where that end is open.

    Examples
    --------
    >>> rows = pd.DataFrame({"plant": ["p", "p"], "selection": "S", "exposure_c": [-6.0, -9.0], "grade": [1, 5],
    ...                      "grade_low": [1, 5]})
    >>> kill_intervals(rows, 5)[["warmest_fatal_c", "coldest_survived_c", "contradicts"]].values.tolist()
    [[-9.0, -6.0, False]]
    """
    rows = table.loc[stands_open(table), ["plant", "selection", "exposure_c", "grade", "grade_low"]]
    rows = rows.assign(
        fatal=rows["exposure_c"].where(rows["grade_low"] >= grade),
        survived=rows["exposure_c"].where(rows["grade"] < grade),
    )
    plants = rows.groupby(["selection", "plant"], sort=True).agg(
        warmest_fatal_c=("fatal", "max"), coldest_survived_c=("survived", "min")
    )
    plants["contradicts"] = plants["warmest_fatal_c"] >= plants["coldest_survived_c"]
    return plants.dropna(how="all", subset=["warmest_fatal_c", "coldest_survived_c"]).reset_index()


def plain_table(table: pd.DataFrame, grade: int) -> pd.DataFrame:
    """What each selection shows by itself: Turnbull's median, Spearman and Karber's mean, limits at the coldest.

    Parameters
    ----------
    table : DataFrame
        Checked observations.
    grade : int
        The grade that counts as lost.

    Returns
    -------
    DataFrame
        Columns of ``schema.PLAIN``; temperatures in degC, NaN where there is no estimate.
    """
    intervals = dict(iter(kill_intervals(table, grade).groupby("selection")))
    rows = table[stands_open(table) & ((table["grade_low"] >= grade) | (table["grade"] < grade)).to_numpy()]
    found = []
    for selection, own in rows.groupby("selection", sort=True):
        plants = intervals[selection]
        sound = plants[~plants["contradicts"]]
        left, right = _turnbull_of(sound).middle() if len(sound) else (np.nan, np.nan)
        lost = (own["grade_low"] >= grade).to_numpy()
        coldest = (own["exposure_c"] == own["exposure_c"].min()).to_numpy()
        exposed, killed = int(coldest.sum()), int((coldest & lost).sum())
        least, most = binomial_limits(killed, exposed)
        found.append(
            (selection, len(plants), int(plants["contradicts"].sum()), _finite(-right), _finite(-left),
             *_mean_threshold(own["exposure_c"].to_numpy(float), lost), own["exposure_c"].min(), exposed, killed, least,
             most)
        )  # fmt: skip
    return pd.DataFrame(found, columns=schema.column_names(schema.PLAIN))


def plain_curves(table: pd.DataFrame, temperatures_c: Sequence[float], grade: int) -> xr.DataArray:
    """Share of each selection's plants that come through, by temperature, from Turnbull's estimate alone.

    Parameters
    ----------
    table : DataFrame
        Checked observations.
    temperatures_c : sequence of float
        Held temperatures. [degC]
    grade : int
        The grade that counts as lost.

    Returns
    -------
    DataArray, dims (selection, temperature, bound)
        Least and most the estimate allows: inside an interval without a plant the share is not known. [1]

    Raises
    ------
    FitError
        If a temperature is not finite.
    """
    temperatures = check_temperatures(temperatures_c)
    intervals = kill_intervals(table, grade)
    sound = intervals[~intervals["contradicts"]]
    names = sorted(set(sound["selection"]))
    shares = np.empty((len(names), temperatures.size, 2))
    for row, name in enumerate(names):
        # A plant is lost at a temperature at or below its threshold: when -temperature has reached it.
        least, most = _turnbull_of(sound[sound["selection"] == name]).reached(-temperatures)
        shares[row] = 1.0 - np.column_stack([most, least])
    return xr.DataArray(
        shares,
        dims=("selection", "temperature", "bound"),
        coords={
            "selection": names,
            "temperature": ("temperature", temperatures, {"units": "degC", "long_name": "held temperature",
                                                          "units_metadata": "temperature: on_scale"}),
            "bound": ["least", "most"],
        },
        name="share_coming_through",
        attrs={"units": "1", "long_name": f"share of plants that come through without reaching grade {grade}",
               "estimate": "Turnbull"},
    )  # fmt: skip


def _turnbull_of(plants: pd.DataFrame) -> Turnbull:
    left = (-plants["coldest_survived_c"]).fillna(-np.inf)
    right = (-plants["warmest_fatal_c"]).fillna(np.inf)
    return turnbull(left.to_numpy(float), right.to_numpy(float))


def _mean_threshold(exposures: np.ndarray, lost: np.ndarray) -> tuple[float, float]:
    """Spearman and Karber's mean and its standard error; every row counts as a plant of its own."""
    if not lost.any() or lost.all():
        return np.nan, np.nan
    try:
        middle = spearman_karber(-exposures, np.ones(lost.size), lost)
    except FitError:  # the shares do not span 0 to 1: no estimate
        return np.nan, np.nan
    return -middle.value, middle.standard_error


def _finite(value: float) -> float:
    return float(value) if np.isfinite(value) else np.nan
