"""One cell of a records table: its text in, its value out, or a refusal that says what is accepted.

Dates are ISO 8601 (``2032-02-10``), times too, in the trial's zone unless they carry an offset; numbers are plausible
ones in the unit of their column, choices and grades are named in any case. Labels and free text: see
:mod:`hardiness.read.labels`.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from dataclasses import dataclass

from hardiness.errors import UnitsError, near_name
from hardiness.read.labels import FREE_TEXT, RefusedError, parse_label, parse_note, quote
from hardiness.read.wallclock import parse_time
from hardiness.read.years import FIRST_YEAR, LAST_YEAR, YEARS
from hardiness.schema import Column
from hardiness.settings import Settings
from hardiness.units import parse_temperature

# Plausible range of each number: wider than any orchard, narrow enough to catch a number in the wrong column.
RANGES = {
    "latitude": (-90.0, 90.0),
    "longitude": (-180.0, 180.0),
    "elevation_m": (-450.0, 6000.0),
    "height_m": (-5.0, 200.0),
    "accuracy_c": (0.0, 10.0),
    "offset_c": (-20.0, 20.0),
}
CLAIM_RANGE_C = (-90.0, 40.0)  # [degC] the coldest air ever measured, and far above any freeze
_UNITS_SAID = {"K": "°C", "degree": "degrees"}  # a step of a degree, as growers say it; these columns are never in °F
_ISO_DATE = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2})(?:[ T]00:00(?::00(?:\.0+)?)?)?")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_COMMA_NUMBER = re.compile(r"[+-]?[0-9]+,[0-9]+")
_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2}(?:,[0-9]{3})+")


@dataclass(frozen=True, slots=True)
class CellRules:
    """What the reading of a cell depends on besides its column.

    Parameters
    ----------
    settings : Settings
        The trial's, for its damage scale and its zone.
    decimal_comma : bool
        Whether the file's delimiter leaves no doubt that a comma in a number is a decimal comma.
    """

    settings: Settings
    decimal_comma: bool = False


def parse_cell(text: str, column: Column, rules: CellRules) -> object:
    """Read one cell by the kind of its column.

    Parameters
    ----------
    text : str
        The cell's text; white space around it does not count.
    column : Column
        Its column.
    rules : CellRules
        Damage scale, decimal comma.

    Returns
    -------
    str, datetime.date, float, int or None
        Empty text is ``""``, an empty date None, an empty number NaN. A time is ISO 8601 text in UTC.

    Raises
    ------
    RefusedError
        If the cell is required and empty, or is nothing of its kind.

    Examples
    --------
    >>> from hardiness.schema import SCORES
    >>> rules = CellRules(Settings("Hill", "Europe/Lisbon"))
    >>> parse_cell(" Unharmed", SCORES["grade"], rules), str(parse_cell("2032-02-10", SCORES["scored_on"], rules))
    (0, '2032-02-10')
    """
    if column.kind == "text":
        value = parse_note(text) if column.name in FREE_TEXT else parse_label(text, column.name)
        if column.required and not value:
            raise _empty(column)
        return value
    text = text.strip()
    if not text:
        if column.required:
            raise _empty(column)
        return {"date": None, "number": math.nan}.get(column.kind, "")
    if column.kind == "date":
        return _date(text)
    if column.kind == "time":
        return parse_time(text, rules.settings.zone)
    if column.kind == "number":
        return _number(text, column, rules.decimal_comma)
    if column.kind == "choice":
        return _choice(text, column)
    if column.kind == "temperature":
        return _temperature(text)
    return _grade(text, rules.settings, rules.decimal_comma)


def _empty(column: Column) -> RefusedError:
    return RefusedError("an empty cell", column.meaning)


def _date(text: str) -> dt.date:
    accepted = "a date such as 2032-02-10 (year-month-day)"
    match = _ISO_DATE.fullmatch(text)
    if match is None:
        slashes = re.fullmatch(r"[0-9]{1,4}[/.][0-9]{1,2}[/.][0-9]{1,4}", text)
        hint = "Day and month cannot be told apart in other forms." if slashes else None
        raise RefusedError(quote(text), accepted, hint)
    try:
        date = dt.date.fromisoformat(match[1])
    except ValueError:
        raise RefusedError(f"{quote(text)}, a day that does not exist", accepted) from None
    if not FIRST_YEAR <= date.year <= LAST_YEAR:
        raise RefusedError(quote(text), f"a date from {YEARS}")
    return date


def _number(text: str, column: Column, decimal_comma: bool) -> float:
    unit = f" in {_UNITS_SAID.get(column.unit, column.unit)}" if column.unit else ""
    plain = text.replace("−", "-")
    if _COMMA_NUMBER.fullmatch(plain) and (decimal_comma or not _THOUSANDS.fullmatch(plain)):
        plain = plain.replace(",", ".")
    if not _NUMBER.fullmatch(plain):
        hint = "A comma may part thousands or decimals: write a point." if _THOUSANDS.fullmatch(plain) else None
        raise RefusedError(quote(text), f"a number{unit}, without the unit", hint)
    value = float(plain)
    low, high = RANGES[column.name]
    if not low <= value <= high:
        raise RefusedError(quote(text), f"a number{unit} from {low:g} to {high:g}")
    return value


def _choice(text: str, column: Column) -> str:
    word = text.lower()
    if word not in column.choices:
        raise RefusedError(
            quote(text), f"{', '.join(column.choices[:-1])} or {column.choices[-1]}", near_name(word, column.choices)
        )
    return word


def _temperature(text: str) -> str:
    accepted = "a number with a unit, such as '-12 C' or '10 F'"
    try:
        celsius = parse_temperature(text).celsius
    except UnitsError:
        raise RefusedError(quote(text), accepted) from None
    low, high = CLAIM_RANGE_C
    if not low <= celsius <= high:
        raise RefusedError(f"{quote(text)}, which is {celsius:.4g} C", f"{accepted}, from {low:g} C to {high:g} C")
    return text


def _grade(text: str, settings: Settings, decimal_comma: bool) -> int:
    grades = settings.grades
    names = {" ".join(grade.lower().split()): index for index, grade in enumerate(grades)}
    word = " ".join(text.lower().split())
    if word in names:  # names first: a scale may be named by numbers of its own
        return names[word]
    if _COMMA_NUMBER.fullmatch(word) and (decimal_comma or not _THOUSANDS.fullmatch(word)):
        word = word.replace(",", ".")
    if re.fullmatch(r"[0-9]{1,3}(?:\.0*)?", word) and float(word) <= settings.worst:
        return int(float(word))
    scale = f"a grade 0-{settings.worst} (0 {grades[0]} ... {settings.worst} {grades[-1]}) or its name"
    raise RefusedError(quote(text), scale, near_name(word, list(names)))
