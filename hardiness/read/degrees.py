"""Temperatures as loggers write them: cells -> numbers, their unit, and their last digit.

In: cells of one shape (see :mod:`hardiness.read.slices`). Out: numbers in the file's unit, and what the
cell itself says of the unit. A cell that stands for "no temperature" (empty, ``NaN``, ``--``, an event's word) is
missing, not wrong; any other text is wrong.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from hardiness.read.slices import Bytes, Span, whole_numbers
from hardiness.units import UNIT_NAMES, registry

COLDEST_C, WARMEST_C = -60.0, 70.0  # [degC] air anywhere that fruit grows, with room to spare
EXACT_DIGITS = 15  # a whole number of so many digits, divided by a power of ten, is the nearest float64

# What loggers write where there is no temperature: no number, a fault of the sensor, or an event in the row.
MISSING_WORDS = frozenset((
    "nan", "na", "n/a", "#n/a", "null", "nil", "none", "void", "missing", "not available", "no reading",
    "no data", "nodata", "no_data", "-", "--", "---", "----", "-----", "*", "**", "***", "****",
    "err", "error", "fail", "failed", "fault", "sensor error", "sensor fault", "open", "short", "ovl", "over", "under",
    "invalid", "logged", "event", "start", "started", "stop", "stopped", "end", "end of file", "button", "button down",
    "button up", "connected", "disconnected", "lo", "hi", "ol", "-ol", "-.-", "--.-", "---.-", "--.--", "---.--",
))  # fmt: skip

_BLANK = r"(?:[ \t\r]|\xc2\xa0|\xe2\x80\xaf)"
_MINUS = r"-|\xe2\x88\x92|\xe2\x80\x93"
_NUMBER = re.compile(
    (
        rf'{_BLANK}{{0,20}}"?{_BLANK}{{0,2}}(?=[-+.,0\xe2])(?:(?P<sign>\+|{_MINUS}){_BLANK}{{0,2}})?(?P<whole>0*)(?:[.,](?P<part>0*))?(?P<power>e[+-]?0{{1,3}})?'
        rf"{_BLANK}{{0,2}}(?P<unit>(?:[^\x00-\x7f]{{1,3}}|deg(?:rees?)?\.? ?)?(?:celsius|fahrenheit|kelvin|[cfk])"
        rf"|[^\x00-\x7f]{{3}})?"
        rf'{_BLANK}{{0,2}}"?{_BLANK}{{0,20}}'
    ).encode("latin-1")
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Number:
    """Where the parts of a number stand in all cells of one shape.

    Parameters
    ----------
    whole, part : (int, int)
        Byte ranges of the digits before and after the decimal sign.
    negative : bool
        Whether a minus sign stands before it.
    unit : str, optional
        ``"degC"``, ``"degF"`` or ``"kelvin"``, where the cell says so.
    power : (int, int), optional
        Byte range of a power of ten (``e-04``).
    """

    whole: Span
    part: Span
    negative: bool
    unit: str | None = None
    power: Span | None = None

    @property
    def decimals(self) -> int:
        """Digits after the decimal sign."""
        return self.part[1] - self.part[0]


@lru_cache(maxsize=4096)
def number_of(shape: bytes) -> Number | None:
    """Understand a shape as a temperature.

    Parameters
    ----------
    shape : bytes
        A cell with every digit as ``0`` and letters in lower case.

    Returns
    -------
    Number or None
        None where it is no number, or has another unit.

    Examples
    --------
    >>> number_of("−00,0 °c".encode()).unit, number_of(b"-0.00").decimals, number_of(b"00 %")
    ('degC', 2, None)
    """
    match = _NUMBER.fullmatch(shape)
    if match is None or not (match["whole"] or match["part"]):
        return None
    unit = None
    if match["unit"]:
        unit = _unit_of_cell(match["unit"].decode("utf-8", "replace"))
        if unit is None:
            return None
    part = match.span("part") if match["part"] else (0, 0)
    power = match.span("power") if match["power"] else None
    return Number(match.span("whole"), part, match["sign"] not in (None, b"+"), unit, power)


def _unit_of_cell(text: str) -> str | None:
    if text in UNIT_NAMES:
        return UNIT_NAMES[text]
    return UNIT_NAMES.get(re.sub(r"^deg(rees?)?|[^a-z]", "", text))


def read_numbers(number: Number, cells: Bytes) -> NDArray[np.float64]:
    """Read the numbers in cells of one shape, each the float nearest to its digits.

    Parameters
    ----------
    number : Number
        Where their parts stand.
    cells : numpy.ndarray
        Their bytes, dims (cell, byte).

    Returns
    -------
    numpy.ndarray of float64
        In the unit of the file.

    Examples
    --------
    >>> read_numbers(number_of(b"-00.0"), np.frombuffer(b"-12.3-04.5", np.uint8).reshape(2, 5)).tolist()
    [-12.3, -4.5]
    """
    digits = number.whole[1] - number.whole[0] + number.decimals
    if digits <= EXACT_DIGITS and number.power is None:
        values = np.zeros(len(cells), np.int64)
        if number.whole[1] > number.whole[0]:
            values += whole_numbers(cells, number.whole) * 10**number.decimals
        if number.decimals:
            values += whole_numbers(cells, number.part)
        numbers = values / 10**number.decimals
    else:
        first = min(number.whole[0], number.part[0]) if number.decimals else number.whole[0]
        last = (number.power or (number.part if number.decimals else number.whole))[1]
        texts = cells[:, first:last].copy()
        texts[texts == ord(",")] = ord(".")
        numbers = texts.view(f"S{last - first}")[:, 0].astype(np.float64)
    return np.asarray(0.0 - numbers if number.negative else numbers)  # 0 stays 0, not -0


def is_missing(shape: bytes) -> bool:
    """Tell whether a cell stands for no temperature.

    Parameters
    ----------
    shape : bytes
        The cell as :func:`hardiness.read.slices.shape_of` makes it.

    Returns
    -------
    bool

    Examples
    --------
    >>> is_missing(b'" NaN "'.lower()), is_missing(b""), is_missing(b"warm")
    (True, True, False)
    """
    text = " ".join(shape.decode("utf-8", "replace").replace('"', " ").split())
    return not text or text.replace("—", "-").replace("–", "-").replace("−", "-") in MISSING_WORDS


def to_degc(values: NDArray[np.float64], unit: str) -> NDArray[np.float64]:
    """Convert temperatures on the scale to degC.

    Parameters
    ----------
    values : numpy.ndarray
        In ``unit``.
    unit : str
        ``"degC"``, ``"degF"`` or ``"kelvin"``.

    Returns
    -------
    numpy.ndarray
        The same array where it is in degC already. [degC]

    Examples
    --------
    >>> to_degc(np.array([14.0, 32.0]), "degF").round(9).tolist()
    [-10.0, 0.0]
    """
    return values if unit == "degC" else np.asarray(registry.Quantity(values, unit).to("degC").magnitude)


def resolution_of(decimals: int, unit: str) -> float:
    """Convert the last digit of a file to K.

    Parameters
    ----------
    decimals : int
        Digits after the decimal sign.
    unit : str
        ``"degC"``, ``"degF"`` or ``"kelvin"``.

    Returns
    -------
    float
        [K]

    Examples
    --------
    >>> round(resolution_of(1, "degF"), 4), resolution_of(2, "degC")
    (0.0556, 0.01)
    """
    step = {"degC": "delta_degC", "degF": "delta_degF", "kelvin": "kelvin"}[unit]
    return float(registry.Quantity(10.0**-decimals, step).to("kelvin").magnitude)
