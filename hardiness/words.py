"""Plain words for people: numbers with a minus sign, temperatures, hours, dates, counts.

In: floats in degC, hours, dates. Out: text as a grower reads it. No formula lives here, only rounding; a claimable
floor is rounded towards the warm side, so that print never says more than the evidence.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence

from hardiness.schema import OWN_ROOTS
from hardiness.units import Temperature, difference_to_fahrenheit, to_fahrenheit

MINUS = "−"  # U+2212; the hyphen is too short beside figures
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
SHARES = {0.5: "half", 0.75: "3 in 4", 0.8: "4 in 5", 0.9: "9 in 10", 0.95: "19 in 20"}
_ROUNDING = 1e-6  # a float such as -8.6 sits a rounding error off the tenth it stands for


def number(value: float, decimals: int = 1) -> str:
    """Write a number with a true minus sign and no negative zero.

    Parameters
    ----------
    value : float
        Any finite number.
    decimals : int, default 1
        Digits after the point.

    Returns
    -------
    str

    Examples
    --------
    >>> number(-9.42), number(-0.04), number(12.0, 0)
    ('−9.4', '0.0', '12')
    """
    text = f"{value:.{decimals}f}"
    return (text[1:] if float(text) == 0 and text.startswith("-") else text).replace("-", MINUS)


def three_digits(value: float) -> str:
    """Write a number of any size: three digits, and the whole of what is larger.

    Parameters
    ----------
    value : float

    Returns
    -------
    str

    Examples
    --------
    >>> three_digits(-0.7134), three_digits(2288.4), three_digits(60.0), three_digits(float("nan"))
    ('−0.713', '2,288', '60', 'nan')
    """
    text = f"{value:,.0f}" if abs(value) >= 999.5 else f"{value:.3g}"
    return text.replace("-", MINUS)


def shown(celsius: float, units: str) -> float:
    """Turn a temperature into the number the trial shows.

    Parameters
    ----------
    celsius : float
        The temperature. [degC]
    units : str
        ``"C"`` or ``"F"``.

    Returns
    -------
    float
        The same temperature in that unit.

    Examples
    --------
    >>> shown(-10.0, "C"), round(shown(-10.0, "F"), 6)
    (-10.0, 14.0)
    """
    return to_fahrenheit(celsius) if units == "F" else celsius


def temperature(celsius: float, units: str = "C", decimals: int = 1) -> str:
    """Write a temperature with its unit.

    Parameters
    ----------
    celsius : float
        The temperature. [degC]
    units : str, default "C"
        ``"C"`` or ``"F"``.
    decimals : int, default 1
        Digits after the point.

    Returns
    -------
    str

    Examples
    --------
    >>> temperature(-9.4), temperature(-9.4, "F")
    ('−9.4 °C', '15.1 °F')
    """
    return f"{number(shown(celsius, units), decimals)} °{units}"


def difference(kelvin: float, units: str = "C", decimals: int = 1) -> str:
    """Write a difference between temperatures with its unit: steps of a degree, from no zero.

    Parameters
    ----------
    kelvin : float
        The difference. [K]
    units : str, default "C"
        ``"C"`` or ``"F"``.
    decimals : int, default 1
        Most digits after the point; noughts at the end are left out.

    Returns
    -------
    str

    Examples
    --------
    >>> difference(1.4), difference(0.5, "F"), difference(0.1, "F", 2)
    ('1.4 °C', '0.9 °F', '0.18 °F')
    """
    text = number(difference_to_fahrenheit(kelvin) if units == "F" else kelvin, decimals)
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text} °{units}"


def claim_number(claimable_c: float, units: str = "C") -> str:
    """Write a claimable floor, rounded to the warm side: never colder than the evidence.

    Parameters
    ----------
    claimable_c : float
        The claimable floor. [degC]
    units : str, default "C"
        ``"C"`` or ``"F"``.

    Returns
    -------
    str

    Examples
    --------
    >>> claim_number(-8.68), claim_number(-8.6)
    ('−8.6', '−8.6')
    """
    return number(claim_shown(claimable_c, units))


def claim_shown(claimable_c: float, units: str = "C") -> float:
    """Round a claimable floor to the warm tenth, in the unit the trial shows.

    Parameters
    ----------
    claimable_c : float
        The claimable floor. [degC]
    units : str, default "C"
        ``"C"`` or ``"F"``.

    Returns
    -------
    float
        In that unit.

    Examples
    --------
    >>> claim_shown(-8.68)
    -8.6
    """
    return math.ceil(shown(claimable_c, units) * 10 - _ROUNDING) / 10


def floor_texts(
    open_end: str, floor_c: float, claimable_c: float, warmest_fatal_c: float, units: str = "C"
) -> tuple[str, str]:
    """Write a floor and a claimable floor: an end that no plant bounds is said in words.

    Parameters
    ----------
    open_end : str
        ``"cold"`` where all survived, ``"warm"`` where all died, else ``"none"``.
    floor_c, claimable_c, warmest_fatal_c : float
        NaN where missing. [degC]
    units : str, default "C"
        ``"C"`` or ``"F"``.

    Returns
    -------
    tuple of str
        Without units; two dashes where nothing is known.

    Examples
    --------
    >>> floor_texts("none", -9.42, -8.68, -11.0), floor_texts("cold", -12.4, -9.1, math.nan)
    (('−9.4', '−8.6'), ('at or below', '−9.1'))
    >>> floor_texts("warm", -4.2, math.nan, -5.1)
    ('above −5.1', 'none')
    """
    if open_end == "cold" and not math.isnan(claimable_c):
        return "at or below", claim_number(claimable_c, units)
    if open_end == "warm" and not math.isnan(warmest_fatal_c):
        return f"above {number(shown(warmest_fatal_c, units))}", "none"
    floor = "–" if math.isnan(floor_c) else number(shown(floor_c, units))
    return floor, "–" if math.isnan(claimable_c) else claim_number(claimable_c, units)


def threshold_text(threshold: Temperature, units: str) -> str:
    """Write a threshold as it was given; its unit only where the trial shows another one.

    Parameters
    ----------
    threshold : Temperature
        The threshold.
    units : str
        The trial's unit, ``"C"`` or ``"F"``.

    Returns
    -------
    str

    Examples
    --------
    >>> from hardiness.units import parse_temperature
    >>> threshold_text(parse_temperature("-8 C"), "C"), threshold_text(parse_temperature("28 F"), "C")
    ('−8', '28 °F')
    """
    text = f"{threshold.value:g}".replace("-", MINUS)
    own = {"degC": "C", "degF": "F", "kelvin": "K"}[threshold.unit]
    return text if own == units else f"{text} {'' if own == 'K' else '°'}{own}"


def hours(value: float) -> str:
    """Write a duration in hours: one decimal below ten, none above.

    Parameters
    ----------
    value : float
        The duration. [h]

    Returns
    -------
    str

    Examples
    --------
    >>> hours(6.54), hours(6.0), hours(31.2)
    ('6.5 h', '6 h', '31 h')
    """
    text = f"{value:.1f}" if value < 9.95 else f"{value:.0f}"
    return f"{text.removesuffix('.0')} h"


def day(date: dt.date) -> str:
    """Write a day without its year, the same in every locale.

    Parameters
    ----------
    date : datetime.date
        The day.

    Returns
    -------
    str

    Examples
    --------
    >>> day(dt.date(2031, 12, 14))
    '14 Dec'
    """
    return f"{date.day} {MONTHS[date.month - 1]}"


def count(amount: int, noun: str, plural: str | None = None) -> str:
    """Write how many of a thing.

    Parameters
    ----------
    amount : int
        How many.
    noun : str
        One of them.
    plural : str, optional
        Several of them; ``noun`` + ``s`` unless told.

    Returns
    -------
    str

    Examples
    --------
    >>> count(1, "plant"), count(1250, "plant"), count(0, "freeze"), count(2, "sheep", "sheep")
    ('1 plant', '1,250 plants', 'no freezes', '2 sheep')
    """
    several = plural or f"{noun}s"
    return f"no {several}" if amount == 0 else f"{amount:,} {noun if amount == 1 else several}"


def listed(texts: Sequence[str]) -> str:
    """Join texts as a sentence does.

    Parameters
    ----------
    texts : sequence of str

    Returns
    -------
    str

    Examples
    --------
    >>> listed(["a"]), listed(["a", "b", "c"])
    ('a', 'a, b and c')
    """
    return " and ".join(part for part in (", ".join(texts[:-1]), *texts[-1:]) if part)


def share(value: float) -> str:
    """Write a share of plants.

    Parameters
    ----------
    value : float
        Between 0 and 1.

    Returns
    -------
    str

    Examples
    --------
    >>> share(0.9), share(0.85)
    ('9 in 10', '85 %')
    """
    return SHARES.get(round(value, 6), f"{100 * value:g} %")


def on_stock(rootstock: str) -> str:
    """Say what a selection stands on.

    Parameters
    ----------
    rootstock : str
        Its name; ``own`` for own roots.

    Returns
    -------
    str

    Examples
    --------
    >>> on_stock("own"), on_stock("stock P")
    ('on its own roots', 'on stock P')
    """
    return "on its own roots" if rootstock == OWN_ROOTS else f"on {rootstock}"
