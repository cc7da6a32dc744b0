"""What a station tells of the air beside its temperature: humidity, dew point, wind, sky.

Each condition has one unit inside, whatever a file writes. A value that no air has is left out, and that is said.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from hardiness.read.station_data import Floats
from hardiness.words import count

RELATIVE_HUMIDITY, DEW_POINT, WIND_SPEED, CLOUD = "relative_humidity", "dew_point", "wind_speed", "cloud_area_fraction"
WIND_FROM = "wind_from_direction"


@dataclass(frozen=True, slots=True)
class Condition:
    """One condition of the air.

    Parameters
    ----------
    standard_name : str
        Of the CF conventions.
    units : str
        Unit inside.
    long_name : str
        In words.
    short_name : str
        In few words.
    least, most : float
        No air has less, or more. [units]
    """

    standard_name: str
    units: str
    long_name: str
    short_name: str
    least: float
    most: float


CONDITIONS = {
    RELATIVE_HUMIDITY: Condition("relative_humidity", "%", "relative humidity over water", "humidity", 1.0, 100.0),
    DEW_POINT: Condition("dew_point_temperature", "degC", "dew point", "dew point", -80.0, 35.0),
    WIND_SPEED: Condition("wind_speed", "m s-1", "mean wind", "wind", 0.0, 75.0),  # [m s-1] past the strongest means
    WIND_FROM: Condition(
        "wind_from_direction", "degree", "direction that the wind comes from", "wind direction", 0.0, 360.0
    ),
    CLOUD: Condition("cloud_area_fraction", "1", "share of the sky under cloud", "sky", 0.0, 1.0),
}


def without_impossible_conditions(given: Mapping[str, Floats]) -> tuple[dict[str, Floats], list[str]]:
    """Take out what no air has, and conditions of which nothing is left.

    Parameters
    ----------
    given : mapping of str to numpy.ndarray of float64
        By the names of :data:`CONDITIONS`, in their units; NaN where missing.

    Returns
    -------
    conditions : dict of str to numpy.ndarray of float64
        In the order of :data:`CONDITIONS`.
    said : list of str
        Sentences for the user.

    Examples
    --------
    >>> kept, said = without_impossible_conditions({"wind_speed": np.array([2.0, 468.7])})
    >>> kept["wind_speed"].tolist(), said
    ([2.0, nan], ['1 value of mean wind that no air has (below 0 or above 75 m s-1) left out.'])
    """
    kept, said = {}, []
    for name, condition in CONDITIONS.items():
        if name not in given:
            continue
        values = np.asarray(given[name], np.float64)
        outside = (values < condition.least) | (values > condition.most)
        if outside.any():
            span = f"below {condition.least:g} or above {condition.most:g} {condition.units}"
            said.append(
                f"{count(int(outside.sum()), 'value')} of {condition.long_name} that no air has ({span}) left out."
            )
        values = np.where(outside, np.nan, values)
        if np.isfinite(values).any():
            kept[name] = values
    return kept, said
