"""Hardiness half-zones: bands of the mean yearly minimum of a place, as the map of the United States draws them.

Lower edge of the k-th half-zone, k = 0..25: -60 + 5 k degF (USDA Plant Hardiness Zone Map, 2023); an edge belongs to
the warmer one. A half-zone speaks of a place's usual coldest night, not of what a plant came through.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from hardiness.units import to_celsius, to_fahrenheit

COLDEST_F, STEP_F, COUNT = -60.0, 5.0, 26
_AT_EDGE = 1e-6  # [K] a temperature converted from degF sits a rounding error off its edge
SOURCE = (
    "Bands: half-zones of the USDA Plant Hardiness Zone Map (2023), edges at −60 + 5k °F. A half-zone is the mean of a "
    "place's coldest nights, year by year: in many a year it gets colder there."
)


@dataclass(frozen=True, slots=True)
class HalfZone:
    """One half-zone: its name and edges. [degC]."""

    name: str
    cold_c: float
    warm_c: float


def half_zones() -> tuple[HalfZone, ...]:
    """List the half-zones, coldest first.

    Returns
    -------
    tuple of HalfZone

    Examples
    --------
    >>> zone = half_zones()[14]
    >>> zone.name, round(zone.cold_c, 2), round(zone.warm_c, 2)
    ('8a', -12.22, -9.44)
    """
    edges = [to_celsius(COLDEST_F + STEP_F * step, "F") for step in range(COUNT + 1)]
    return tuple(HalfZone(f"{k // 2 + 1}{'ab'[k % 2]}", edges[k], edges[k + 1]) for k in range(COUNT))


def half_zone_of(celsius: float) -> str:
    """Name the half-zone whose band a temperature lies in; empty outside all of them.

    Parameters
    ----------
    celsius : float
        [degC]

    Returns
    -------
    str

    Examples
    --------
    >>> half_zone_of(-10.0), half_zone_of(to_celsius(10, "F")), half_zone_of(-60.0)
    ('8a', '8a', '')
    """
    step = math.floor((to_fahrenheit(celsius + _AT_EDGE) - COLDEST_F) / STEP_F)
    return half_zones()[step].name if 0 <= step < COUNT else ""
