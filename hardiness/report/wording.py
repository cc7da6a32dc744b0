"""Cells of the report's tables: temperatures and dates as they are printed, in the trial's unit, without it."""

from __future__ import annotations

import datetime as dt
import math
import re

import pandas as pd

from hardiness import words
from hardiness.report.blocks import Head
from hardiness.schema import OWN_ROOTS
from hardiness.units import difference_to_fahrenheit

NOTHING = "–"
_QUANTITY = re.compile(rf"(?<=\d) (?=°|%|h\b|(?:{'|'.join(words.MONTHS)})\b)")


def glued(text: str) -> str:
    """Keep a number and its unit, and a day and its month, on one line.

    Parameters
    ----------
    text : str

    Returns
    -------
    str

    Examples
    --------
    >>> len(glued("−9.4 °C for 3 h").split(" "))
    3
    """
    return _QUANTITY.sub("\u00a0", text)


def degrees(celsius: float, units: str) -> str:
    """Write a temperature for a column that names the unit; a dash where missing.

    Parameters
    ----------
    celsius : float
        [degC]
    units : str
        ``"C"`` or ``"F"``.

    Returns
    -------
    str

    Examples
    --------
    >>> degrees(-9.42, "C"), degrees(float("nan"), "C")
    ('−9.4', '–')
    """
    return NOTHING if math.isnan(celsius) else words.number(words.shown(celsius, units))


def step(kelvin: float, units: str) -> str:
    """Write a difference of temperatures with its unit, shortest decimals.

    Parameters
    ----------
    kelvin : float
        [K]
    units : str
        ``"C"`` or ``"F"``.

    Returns
    -------
    str

    Examples
    --------
    >>> step(1.0, "C"), step(1.0, "F")
    ('1 °C', '1.8 °F')
    """
    size = difference_to_fahrenheit(kelvin) if units == "F" else kelvin
    return f"{words.number(size).removesuffix('.0')} °{units}"


def date_text(date: object) -> str:
    """Write a date as it is recorded; a dash where missing.

    Parameters
    ----------
    date : datetime.date or None

    Returns
    -------
    str

    Examples
    --------
    >>> date_text(dt.date(2032, 2, 14)), date_text(None)
    ('2032-02-14', '–')
    """
    if isinstance(date, dt.date) and not pd.isna(date):
        return date.isoformat()[:10]
    return NOTHING


def stock_name(rootstock: str) -> str:
    """Name a rootstock in a table.

    Parameters
    ----------
    rootstock : str

    Returns
    -------
    str

    Examples
    --------
    >>> stock_name("own"), stock_name("stock P")
    ('own roots', 'stock P')
    """
    return "own roots" if rootstock == OWN_ROOTS else rootstock


def degree_head(name: str, units: str) -> Head:
    """Head of a column of temperatures.

    Parameters
    ----------
    name : str
    units : str
        ``"C"`` or ``"F"``.

    Returns
    -------
    Head

    Examples
    --------
    >>> degree_head("tested to", "C").unit
    '°C'
    """
    return Head(name, f"°{units}", right=True)


def count_head(name: str) -> Head:
    """Head of a column of counts.

    Parameters
    ----------
    name : str

    Returns
    -------
    Head

    Examples
    --------
    >>> count_head("plants").right
    True
    """
    return Head(name, right=True)
