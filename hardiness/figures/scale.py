"""The shared temperature scale of a page: cold on the left, always; degC below, degF above (or the other way round)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from hardiness import words
from hardiness.figures.sheet import LAYER, Sheet
from hardiness.figures.style import HAIRLINE, QUIET, Sizes
from hardiness.figures.typeface import width_mm
from hardiness.units import to_celsius

STEPS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
OTHER = {"C": "F", "F": "C"}
LEAST_LENGTH_C = 4.0  # [K] of a scale around few temperatures


@dataclass(frozen=True, slots=True)
class Scale:
    """Where a temperature lies across a page.

    Parameters
    ----------
    cold_c, warm_c : float
        Ends of the scale. [degC]
    left, right : float
        Where they lie. [mm]
    """

    cold_c: float
    warm_c: float
    left: float
    right: float

    def x(self, celsius: float) -> float:
        """Find the position of a temperature, held within the scale. [mm].

        Parameters
        ----------
        celsius : float
            [degC]

        Returns
        -------
        float
            From the left edge of the page. [mm]
        """
        held = min(max(celsius, self.cold_c), self.warm_c)
        return self.left + (held - self.cold_c) / (self.warm_c - self.cold_c) * (self.right - self.left)

    def outside(self, celsius: float) -> bool:
        """Whether a temperature lies beyond an end of the scale.

        Parameters
        ----------
        celsius : float
            [degC]

        Returns
        -------
        bool
        """
        return not self.cold_c <= celsius <= self.warm_c

    def ticks(self, units: str, size: float) -> list[tuple[float, str]]:
        """List the round temperatures to label, far enough apart for their type.

        Parameters
        ----------
        units : str
            ``"C"`` or ``"F"``.
        size : float
            Size of the labels. [pt]

        Returns
        -------
        list of (float, str)
            Position [mm] and label, from the cold end.

        Examples
        --------
        >>> [label for _, label in Scale(-12.0, 0.0, 0.0, 60.0).ticks("C", 6.0)]
        ['−12', '−10', '−8', '−6', '−4', '−2', '0']
        """
        cold, warm = words.shown(self.cold_c, units), words.shown(self.warm_c, units)
        apart = 2.0 * max(width_mm(words.number(end, 0), size) for end in (cold, warm, -10.0))
        per_unit = (self.right - self.left) / (warm - cold)
        whole = (step for step in STEPS if step >= 1.0 and step * per_unit >= apart)
        step = next(whole, STEPS[-1])
        first = math.ceil(cold / step - 1e-9)
        last = math.floor(warm / step + 1e-9)
        return [(self.x(to_celsius(i * step, units)), words.number(i * step, 0)) for i in range(first, last + 1)]


def temperature_ends(values: Sequence[float], *, air: float = 0.4) -> tuple[float, float]:
    """Choose whole degrees around temperatures, with a little air, no nearer than :data:`LEAST_LENGTH_C`.

    Parameters
    ----------
    values : sequence of float
        NaN counts nowhere. [degC]
    air : float
        At each end. [K]

    Returns
    -------
    tuple of float
        [degC]

    Examples
    --------
    >>> temperature_ends([-9.2, -3.1]), temperature_ends([])
    ((-10.0, -2.0), (-12.0, 0.0))
    """
    known = [value for value in values if math.isfinite(value)]
    if not known:
        return (-12.0, 0.0)
    cold, warm = float(math.floor(min(known) - air)), float(math.ceil(max(known) + air))
    short = max(LEAST_LENGTH_C - (warm - cold), 0.0)
    return cold - math.ceil(short / 2), warm + math.ceil(short / 2)


def draw_grid(sheet: Sheet, scale: Scale, units: str, size: float, top: float, bottom: float) -> None:
    """Draw a hairline down the page at each labelled temperature of the trial's unit.

    Parameters
    ----------
    sheet : Sheet
    scale : Scale
    units : str
        The trial's unit.
    size : float
        Size of the labels that stand at the lines. [pt]
    top, bottom : float
        Ends of the lines. [mm]
    """
    for x, _ in scale.ticks(units, size):
        sheet.stroke([(x, top), (x, bottom)], HAIRLINE, 0.4, LAYER.grid)


def draw_labels(sheet: Sheet, scale: Scale, units: str, sizes: Sizes, baseline: float, tick: float) -> None:
    """Write one row of temperatures in one unit, which stands at its warm end once.

    Parameters
    ----------
    sheet : Sheet
    scale : Scale
    units : str
        ``"C"`` or ``"F"``.
    sizes : Sizes
    baseline : float
        Where the labels stand. [mm]
    tick : float
        Where the short ticks begin at the panel; they point towards the labels. [mm]
    """
    ticks = scale.ticks(units, sizes.small)
    length = 0.7 if baseline > tick else -0.7
    for x, label in ticks:
        sheet.stroke([(x, tick), (x, tick + length)], QUIET, 0.4)
        sheet.write(x, baseline, label, sizes.small, colour=QUIET, align="center", column=f"axis-{baseline:.1f}")
    unit = f"°{units}"
    beyond = max(x for x, _ in ticks) + 0.5 * width_mm(ticks[-1][1], sizes.small) + 0.8 if ticks else scale.right
    sheet.write(beyond, baseline, unit, sizes.small, colour=QUIET, column=f"axis-{baseline:.1f}")
