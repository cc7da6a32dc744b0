"""Temperatures with units: the one strict pint registry, used where a person or a file gives a unit.

Inside the package temperatures are floats in degC and durations floats in hours. A temperature on the scale
("10 F" is -12.2 degC) and a difference ("10 F" is 5.6 K) are two functions, never one.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import pint

from hardiness.errors import UnitsError

registry: pint.UnitRegistry[float] = pint.UnitRegistry(autoconvert_offset_to_baseunit=False, cache_folder=None)

UNIT_NAMES = {
    "c": "degC", "°c": "degC", "degc": "degC", "deg c": "degC", "celsius": "degC", "℃": "degC",
    "f": "degF", "°f": "degF", "degf": "degF", "deg f": "degF", "fahrenheit": "degF", "℉": "degF",
    "k": "kelvin", "kelvin": "kelvin", "degk": "kelvin",
}  # fmt: skip
LETTERS = {"degC": "c", "degF": "f", "kelvin": "k"}
_QUANTITY = re.compile(r"^\s*([+\-−]?\d+(?:[.,]\d+)?)\s*([^\d\s].*?)\s*$")


@dataclass(frozen=True, slots=True)
class Temperature:
    """A temperature as it was given: number, unit, and its value in degC.

    Parameters
    ----------
    value : float
        The number as given.
    unit : str
        ``"degC"``, ``"degF"`` or ``"kelvin"``.
    celsius : float
        The same temperature. [degC]
    """

    value: float
    unit: str
    celsius: float

    @property
    def label(self) -> str:
        """The temperature as a column name says it: ``-5_c``, ``28_f``."""
        return f"{self.value:g}_{LETTERS[self.unit]}"

    def __str__(self) -> str:
        return f"{self.value:g} {LETTERS[self.unit].upper()}"


def unit_named(text: str) -> str:
    """Name the temperature unit that a person wrote.

    Parameters
    ----------
    text : str
        ``C``, ``°F``, ``degC``, ``Kelvin``, ... in any case.

    Returns
    -------
    str
        ``"degC"``, ``"degF"`` or ``"kelvin"``.

    Raises
    ------
    UnitsError
        If it is none of them.

    Examples
    --------
    >>> unit_named("°F")
    'degF'
    """
    try:
        return UNIT_NAMES[text.strip().lower()]
    except KeyError:
        raise UnitsError(f"found unit '{text}'; accepted: C, F or K.") from None


def to_celsius(value: float, unit: str) -> float:
    """Convert a temperature on the scale to degC.

    Parameters
    ----------
    value : float
        The number, in ``unit``.
    unit : str
        ``C``, ``F`` or ``K`` in any of the spellings of :func:`unit_named`.

    Returns
    -------
    float
        The temperature. [degC]

    Examples
    --------
    >>> round(to_celsius(28, "F"), 4)
    -2.2222
    """
    return float(registry.Quantity(value, unit_named(unit)).to("degC").magnitude)


def to_fahrenheit(celsius: float) -> float:
    """Convert a temperature on the scale from degC to degF.

    Parameters
    ----------
    celsius : float
        The temperature. [degC]

    Returns
    -------
    float
        The same temperature. [degF]

    Examples
    --------
    >>> round(to_fahrenheit(-10.0), 6)
    14.0
    """
    return float(registry.Quantity(celsius, "degC").to("degF").magnitude)


def difference_to_fahrenheit(kelvin: float) -> float:
    """Convert a temperature difference from K (degC steps) to degF steps.

    Parameters
    ----------
    kelvin : float
        The difference. [K]

    Returns
    -------
    float
        The same difference. [delta degF]

    Examples
    --------
    >>> round(difference_to_fahrenheit(1.0), 6)
    1.8
    """
    return float(registry.Quantity(kelvin, "delta_degC").to("delta_degF").magnitude)


def parse_temperature(text: str) -> Temperature:
    """Read a temperature with its unit, such as ``"-12 C"`` or ``"10 F"``.

    Parameters
    ----------
    text : str
        A number and a unit; decimal comma and the minus sign are understood.

    Returns
    -------
    Temperature

    Raises
    ------
    UnitsError
        If there is no number, no unit, or the unit is unknown.

    Examples
    --------
    >>> parse_temperature("28 F").label, round(parse_temperature("28 F").celsius, 4)
    ('28_f', -2.2222)
    """
    match = _QUANTITY.match(text)
    if match is None:
        raise UnitsError(f"found '{text}'; accepted: a number with a unit, such as '-12 C' or '10 F'.")
    value = float(match[1].replace("−", "-").replace(",", "."))
    unit = unit_named(match[2])
    return Temperature(value, unit, to_celsius(value, unit))


def parse_difference(text: str) -> float:
    """Read a temperature difference with its unit, such as ``"-0.3 C"`` or ``"0.5 F"``.

    Parameters
    ----------
    text : str
        A number and a unit of temperature; decimal comma and the minus sign are understood.

    Returns
    -------
    float
        The difference. [K]

    Raises
    ------
    UnitsError
        If there is no number, no unit, or the unit is unknown.

    Examples
    --------
    >>> parse_difference("-0.3 C"), round(parse_difference("0.9 F"), 6)
    (-0.3, 0.5)
    """
    given = parse_temperature(text)
    steps = {"degC": "delta_degC", "degF": "delta_degF", "kelvin": "kelvin"}[given.unit]
    return given.value if given.unit == "degC" else float(registry.Quantity(given.value, steps).to("kelvin").magnitude)
