"""Where marks stand on a strip of temperature: cold on the left, always. Numbers only; the templates draw."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from hardiness import words
from hardiness.units import to_celsius

EDGE = 3.0  # [%] of the strip kept free at both ends
STEPS = (1, 2, 5, 10, 20)  # degrees between the figures below a strip
MOST_FIGURES = 6


@dataclass(frozen=True, slots=True)
class Scale:
    """A scale of temperature.

    Parameters
    ----------
    cold_c, warm_c : float
        Its ends. [degC]
    units : str
        ``"C"`` or ``"F"``, for its figures.
    """

    cold_c: float
    warm_c: float
    units: str = "C"

    def at(self, celsius: float) -> float:
        """Say where a temperature stands; what lies beyond an end stands at it.

        Parameters
        ----------
        celsius : float
            [degC]

        Returns
        -------
        float
            From the left. [%]

        Examples
        --------
        >>> Scale(-10.0, 0.0).at(-10.0), Scale(-10.0, 0.0).at(-5.0), Scale(-10.0, 0.0).at(4.0)
        (3.0, 50.0, 97.0)
        """
        share = (min(max(celsius, self.cold_c), self.warm_c) - self.cold_c) / (self.warm_c - self.cold_c)
        return round(EDGE + (100 - 2 * EDGE) * share, 2)

    @property
    def figures(self) -> list[tuple[float, str]]:
        """Whole degrees in the trial's unit: where each stands [%], and its text."""
        low, high = words.shown(self.cold_c, self.units), words.shown(self.warm_c, self.units)
        step = next((step for step in STEPS if (high - low) / step <= MOST_FIGURES), STEPS[-1])
        values = range(math.ceil(low / step) * step, math.floor(high) + 1, step)
        return [(self.at(to_celsius(value, f"deg{self.units}")), words.number(value, 0)) for value in values]


def scale_over(values: Iterable[float], units: str = "C") -> Scale:
    """Make a scale on which all of some temperatures stand.

    Parameters
    ----------
    values : iterable of float
        Missing ones are passed over. [degC]
    units : str

    Returns
    -------
    Scale

    Examples
    --------
    >>> scale_over([-9.4, float("nan"), -2.0])
    Scale(cold_c=-10.0, warm_c=-1.0, units='C')
    """
    known = [value for value in values if math.isfinite(value)]
    cold, warm = (min(known), max(known)) if known else (-12.0, 0.0)
    cold, warm = float(math.floor(cold - 0.3)), float(math.ceil(warm + 0.3))
    return Scale(cold, warm, units) if warm - cold >= 4 else Scale(cold - 2, warm + 2, units)


@dataclass(frozen=True, slots=True)
class FloorMarks:
    """Where the marks of one floor stand, from the left [%]; None where there is no such mark.

    Parameters
    ----------
    low, high : float or None
        Ends of the thin line, 9 in 10.
    quarter_low, quarter_high : float or None
        Ends of the thick line, one in two.
    middle, tested, claimable, hearsay : float or None
        Dot, tick, flag, ring.
    said : str
        The same in words.
    """

    low: float | None = None
    high: float | None = None
    quarter_low: float | None = None
    quarter_high: float | None = None
    middle: float | None = None
    tested: float | None = None
    claimable: float | None = None
    hearsay: float | None = None
    said: str = ""


def floor_marks(row: Mapping[str, object], scale: Scale) -> FloorMarks:
    """Place the marks of one floor.

    Parameters
    ----------
    row : mapping
        A row of floors, with ``floor_q25_c``, ``floor_q75_c`` and ``claimed_floor_c``. An end that no plant bounds has
        no line: where all survived only the claimable figure stands, where all died no figure at all.
    scale : Scale

    Returns
    -------
    FloorMarks
    """

    def at(name: str) -> float | None:
        value = row.get(name)
        return scale.at(value) if isinstance(value, float) and math.isfinite(value) else None

    open_end = row["open_end"]
    bounded = open_end == "none"
    return FloorMarks(
        low=at("floor_low_c") if open_end != "cold" else None,
        high=at("floor_high_c") if open_end != "warm" else None,
        quarter_low=at("floor_q25_c") if bounded else None,
        quarter_high=at("floor_q75_c") if bounded else None,
        middle=at("floor_c") if bounded else None,
        tested=at("tested_to_c"),
        claimable=at("claimable_c"),
        hearsay=at("claimed_floor_c"),
        said=_said(row, scale.units),
    )


def _said(row: Mapping[str, object], units: str) -> str:
    numbers = {name: float(value) for name, value in row.items() if isinstance(value, float)}
    floor, claim = words.floor_texts(
        str(row["open_end"]), numbers["floor_c"], numbers["claimable_c"], numbers["warmest_fatal_c"], units
    )
    who = f"{row['selection']} {words.on_stock(str(row['rootstock']))}"
    if row["evidence"] == "untested":
        return f"{who}: untested."
    if row["open_end"] == "cold":
        return f"{who}: at or below {claim} °{units}, all survived."
    return f"{who}: floor {floor} °{units}, claimable {claim}{'' if claim == 'none' else f' °{units}'}."
