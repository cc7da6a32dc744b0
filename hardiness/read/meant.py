"""What a file's numbers mean: codes for "no reading", parts of a degree, and whether the unit taken can be right.

In: numbers as they stand in the file. Out: numbers in whole degrees, codes left out, and sentences; temperatures that
no air has are problems, a unit that nobody stated and that makes odd temperatures is asked about, never changed.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hardiness.errors import InputError, Problem
from hardiness.read.degrees import COLDEST_C, WARMEST_C, to_degc
from hardiness.read.dialect import Dialect
from hardiness.read.faults import Faults
from hardiness.read.fields import GOOD, MISSING, Fields
from hardiness.units import LETTERS
from hardiness.words import count

Floats = NDArray[np.float64]

LEAST_READINGS = 24  # fewer say little about a winter
LEAST_DAYS = np.timedelta64(2, "D")
NEVER_BELOW_C, HOT_C = (
    15.0,
    45.0,
)  # [degC] whole files above the first, or with readings above the second, are asked about
NEVER_ABOVE_F = 40.0  # [degF] the same of files taken as degF
_PARTS = {10: "tenths", 100: "hundredths", 1000: "thousandths"}
_CODE = re.compile(r"[+\-−–]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d{1,3})?")


def parse_codes(texts: Sequence[str]) -> tuple[float, ...]:
    """Read the numbers that stand for "no reading".

    Parameters
    ----------
    texts : sequence of str
        Each a number as the file has it, or several with semicolons between.

    Returns
    -------
    tuple of float
        Each once, from the least.

    Raises
    ------
    InputError
        If one is no number.

    Examples
    --------
    >>> parse_codes(["-127", "327,67; -127"])
    (-127.0, 327.67)
    """
    codes = set()
    parts = [part.strip(" \"'") for each in texts for part in each.split(";")]  # quotes that a shell left
    for text in filter(None, parts):
        if not _CODE.fullmatch(text):
            raise InputError(Problem(f"'{text}' for --missing", "a number as it stands in the file, such as -127"))
        codes.add(float(re.sub("[−–]", "-", text).replace(",", ".")))
    return tuple(sorted(codes))


def leave_out_codes(fields: Fields, codes: Sequence[float], column: str, whose: str) -> list[str]:
    """Take the numbers that stand for "no reading" out, and count them.

    Parameters
    ----------
    fields : Fields
        Changed: these rows have no temperature.
    codes : sequence of float
        As they stand in the file.
    column : str
        Name of the column.
    whose : str
        Who said so, to end the sentence; empty where the user did now.

    Returns
    -------
    list of str
        A sentence for each number found.
    """
    said = []
    for code in codes:
        rows = fields.number == code
        if size := int(np.count_nonzero(rows)):
            fields.number[rows] = np.nan
            fields.temperature_state[rows] = MISSING
            said.append(f"{code:g} stands for no reading in {count(size, 'row')} of '{column}'{whose}.")
    return said


def in_whole_degrees(fields: Fields, dialect: Dialect, faults: Faults) -> tuple[int, list[str], list[Problem | str]]:
    """Bring tenths of a degree, or other parts that the header says numbers are counted in, to whole degrees.

    Parameters
    ----------
    fields : Fields
        Changed.
    dialect : Dialect
        What the header says.
    faults : Faults
        For the cells.

    Returns
    -------
    parts : int
        What numbers were divided by.
    said : list of str
    problems : list of Problem or str
    """
    scale = dialect.scale
    if scale is None:
        return 1, [], []
    name = dialect.temperature_name
    if fields.decimals and not scale.sure:
        return 1, [], []  # "0.1 °C" is then the last digit
    if fields.decimals:
        broken = np.flatnonzero(fields.number % 1 > 0)
        row = int(fields.rows[broken[0]]) if broken.size else dialect.body_row
        found = f"{faults.cell(row, dialect.temperature)} under a header that says {_PARTS[scale.parts]} of a degree"
        hint = "Take the scale out of the header if these are whole degrees."
        return 1, [], [Problem(found, "whole numbers, or a header without a scale", faults.file, row, name, hint)]
    good = np.flatnonzero(fields.temperature_state == GOOD)
    if not good.size:
        return 1, [], []
    shown = fields.number[good[0]]
    fields.number /= scale.parts
    fields.decimals += len(str(scale.parts)) - 1
    said = f"'{name}' counts {_PARTS[scale.parts]} of a degree: {shown:g} is read as {shown / scale.parts:g}."
    doubt = "" if scale.sure else " If these are whole degrees, take the scale out of the header."
    return scale.parts, [said + doubt], []


def ask_unit(celsius: Floats, numbers: Floats, utc: NDArray[np.datetime64], unit: str, column: str) -> list[str]:
    """Ask whether a unit that nobody stated is right, where it makes temperatures that few winters have.

    Parameters
    ----------
    celsius, numbers : numpy.ndarray of float64
        [degC, and as the file has them]
    utc : numpy.ndarray of datetime64
        When. [UTC]
    unit : str
        As it was taken.
    column : str
        Name of the column.

    Returns
    -------
    list of str
        One sentence, or none.
    """
    if celsius.size < LEAST_READINGS or not utc.size:
        return []
    times = utc[~np.isnat(utc)]
    if not times.size or times.max() - times.min() < LEAST_DAYS:
        return []
    letter, least, most = LETTERS[unit].upper(), float(np.nanmin(numbers)), float(np.nanmax(numbers))
    odd = other = ""
    if unit == "degC" and float(celsius.min()) >= NEVER_BELOW_C:
        odd, other = f"never below {least:g}", "F"
    elif unit == "degC" and float(celsius.max()) > HOT_C:
        odd, other = f"up to {most:g}", "F"
    elif unit == "degF" and most < NEVER_ABOVE_F:
        odd, other = f"never above {most:g}", "C"
    return [f"Are these {letter}? '{column}' is {odd}: if it is in {other}, say --unit {other}."] if odd else []


def judge_extremes(
    celsius: Floats,
    numbers: Floats,
    rows: NDArray[np.signedinteger[Any]],
    place: tuple[str, str],
    *,
    unit: str,
    parts: int,
    stated: bool,
) -> list[Problem | str]:
    """Find the coldest and the warmest temperature that no air has: mostly another unit, or a code for "nothing".

    Parameters
    ----------
    celsius, numbers : numpy.ndarray of float64
        [degC, and in the unit taken]
    rows : numpy.ndarray of int
        Row of each.
    place : (str, str)
        Names of the file and of the column.
    unit : str
        As it was taken.
    parts : int
        What the file's numbers were divided by: a code is named as it stands.
    stated : bool
        Whether the file or the user states the unit.

    Returns
    -------
    list of Problem or str
        One for each end.
    """
    every = _outside(celsius)
    if not every.any():
        return []
    ends = dict.fromkeys(numbers[at] for at in (np.argmin(celsius), np.argmax(celsius)) if every[at])
    hint = "If the number stands for no reading, empty its cell."
    if np.isin(numbers[every], list(ends)).all():  # many different numbers are no code
        codes, quote = ";".join(f"{number * parts:g}" for number in ends), "'" if len(ends) > 1 else ""
        hint = f"If the number stands for no reading, say --missing {quote}{codes}{quote}, or empty its cell."
    if stated:
        hint += " If the unit stated is wrong, take it out of the file and give --unit."
    else:
        units = {letter.upper(): other for other, letter in LETTERS.items() if other != unit}
        fitting = [letter for letter, other in units.items() if not _outside(to_degc(numbers, other)).any()]
        if fitting:
            hint = f"Is the unit right? It is given with --unit {' or '.join(fitting)}. {hint}"
    problems: list[Problem | str] = []
    for worst, outside, side in (
        (np.argmin, celsius < COLDEST_C, f"below {COLDEST_C:g} C"),
        (np.argmax, celsius > WARMEST_C, f"above {WARMEST_C:g} C"),
    ):
        if outside.any():
            at = int(worst(celsius))
            size = f"{np.count_nonzero(outside)} of {rows.size} rows"
            text = f"{numbers[at]:g} {LETTERS[unit].upper()}, and {side} in {size}"
            accepted = f"air temperatures from {COLDEST_C:g} C to {WARMEST_C:g} C"
            problems.append(Problem(text, accepted, place[0], int(rows[at]), place[1], hint))
    return problems


def _outside(celsius: Floats) -> NDArray[np.bool_]:
    return np.asarray((celsius < COLDEST_C) | (celsius > WARMEST_C))
