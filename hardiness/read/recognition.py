"""What is recognised in a logger's export, as far as it goes: dialect, rows, instants, unit, and all that is wrong.

In: an opened text file, and what user, trial and the sensor's last files say. Out: a :class:`Recognition`, with the
readings of each sensor in it. Nothing is refused here: :mod:`hardiness.read.loggers` refuses what has a problem,
:mod:`hardiness.read.previewing` shows what there is of it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hardiness.errors import InputError, Problem
from hardiness.read.choices import NO_CHOICES, Choices
from hardiness.read.clock import parse_zone
from hardiness.read.companion_cells import judge_told
from hardiness.read.conditions import CONDITIONS
from hardiness.read.dates import DateOrder, decide_order, parse_date_order
from hardiness.read.degrees import to_degc
from hardiness.read.dialect import Dialect, find_dialect
from hardiness.read.faults import Faults, sort_rows
from hardiness.read.fields import GOOD, Fields
from hardiness.read.humidity_cells import leave_out_odd
from hardiness.read.instants import Instants, find_instants
from hardiness.read.layouts import EPOCH
from hardiness.read.marks import parse_marks, say_marks, say_unseen
from hardiness.read.meant import ask_unit, in_whole_degrees, judge_extremes, leave_out_codes, parse_codes
from hardiness.read.plaintext import PlainText
from hardiness.read.row_reading import read_fields
from hardiness.units import LETTERS, unit_named
from hardiness.words import count

_AT_A_TIME = 1 << 20  # rows

Floats = NDArray[np.float64]
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Asked:
    """What is said about a file by those who give it.

    Parameters
    ----------
    file : str
        Its name, for messages.
    default_timezone : str
        Zone where neither file nor user names one.
    timezone : str, optional
        Zone that the user gave.
    unit : str, optional
        ``C``, ``F`` or ``K``, as the user gave it.
    default_unit : str
        Unit where neither says.
    time_column, temperature_column, sensor_column : str, optional
        Columns that the user named.
    date_order : str, optional
        As the user gave it.
    last : Choices
        What was chosen for the sensor's last files.
    missing : str, optional
        Numbers that stand for "no reading", semicolons between.
    marks : str, optional
        What marks on readings mean, semicolons between: :func:`hardiness.read.marks.parse_marks`.

    Raises
    ------
    InputError
        If a zone, the date order, a number or a mark's meaning is none.
    UnitsError
        If a unit is none.
    """

    file: str
    default_timezone: str
    timezone: str | None = None
    unit: str | None = None
    default_unit: str = "C"
    time_column: str | None = None
    temperature_column: str | None = None
    sensor_column: str | None = None
    date_order: str | None = None
    last: Choices = NO_CHOICES
    missing: str | None = None
    marks: str | None = None

    def __post_init__(self) -> None:
        parse_codes([self.missing or ""])
        parse_marks(self.marks)
        for unit in (self.unit, self.default_unit, self.last.unit):
            if unit is not None:
                unit_named(unit)
        for order in (self.date_order, self.last.date_order):
            if order is not None:
                parse_date_order(order)
        for zone in (self.timezone, self.default_timezone, self.last.timezone):
            if zone is not None:
                parse_zone(zone)


@dataclass(slots=True)
class Series:
    """The readings of one sensor in a file, and what is wrong with them.

    Parameters
    ----------
    name : str
        The sensor, where a column names it; else empty.
    utc : numpy.ndarray of datetime64[ns]
        When, in the file's order; NaT where the time has a fault. [UTC]
    celsius : numpy.ndarray of float64
        [degC]
    rows : numpy.ndarray of int
        Row of each reading.
    instants : Instants
        Zone and order of dates.
    missing : int
        Rows without a temperature.
    conditions : dict of str to numpy.ndarray of float64
        Humidity and dew point at each reading, NaN where missing: :data:`hardiness.read.conditions.CONDITIONS`.
    """

    name: str
    utc: NDArray[np.datetime64]
    celsius: Floats
    rows: NDArray[np.signedinteger[Any]]
    instants: Instants
    missing: int
    conditions: dict[str, Floats] = field(default_factory=dict)


@dataclass(slots=True)
class Recognition:
    """What is known of a file.

    Parameters
    ----------
    file, encoding : str
        Its name, and what it is written in.
    dialect : Dialect, optional
        None where it could not be told.
    unit, unit_from : str
        ``degC``, ``degF`` or ``kelvin``, and who says so: ``file``, ``option``, ``last`` or ``default``.
    decimals, parts : int
        Most digits after the decimal sign, and numbers a degree: 10 where the file counts tenths.
    noons, size : int
        Rows with a 12-hour clock, and rows with a time.
    series : list of Series
        One, or one for each sensor that a column names.
    said : list of str
        Sentences for the user.
    problems : list of Problem or str
        All that is wrong.
    """

    file: str
    encoding: str
    dialect: Dialect | None = None
    unit: str = ""
    unit_from: str = ""
    decimals: int = 0
    parts: int = 1
    noons: int = 0
    size: int = 0
    series: list[Series] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    problems: list[Problem | str] = field(default_factory=list)


def recognise(
    plain: PlainText,
    asked: Asked,
    *,
    last_of: Callable[[str], str | None] | None = None,
    progress: Progress | None = None,
) -> Recognition:
    """Recognise what can be recognised in a file.

    Parameters
    ----------
    plain : PlainText
        The file.
    asked : Asked
        What is said about it.
    last_of : callable, optional
        Given a sensor's name that a column has, the zone last chosen for it, or None.
    progress : callable, optional
        Called now and then with bytes done and bytes in all.

    Returns
    -------
    Recognition
    """
    found = Recognition(asked.file, plain.encoding)
    try:
        dialect = find_dialect(
            plain.text, file=asked.file, time_column=asked.time_column, temperature_column=asked.temperature_column,
            sensor_column=asked.sensor_column, last=asked.last,
        )  # fmt: skip
        marks = parse_marks(asked.marks if asked.marks is not None else asked.last.marks)
        dialect = replace(dialect, marks=marks)
        found.dialect, found.said = dialect, [*plain.said, *dialect.said]
        fields = read_fields(plain.text, dialect, file=asked.file, progress=progress)
    except InputError as error:
        found.problems = list(error.problems)
        return found
    faults = Faults(plain.text, dialect, asked.file)
    zone_given = (asked.timezone or asked.last.timezone) is not None
    said, problems = judge_told(
        fields.told, dialect.companions, dialect.columns, file=asked.file, zone_given=zone_given
    )
    if len(fields.told.zones) == 1:
        place = f"the column '{dialect.columns[dialect.companions.zone or 0]}'"
        dialect = replace(dialect, zones=[(zone, place) for zone in fields.told.zones])
    whose = f", as for {asked.last.source}" if asked.marks is None else ""
    found.said += said + say_marks(fields.told.marks, dialect.marks, dialect.temperature_name, whose)
    flags = fields.told.flags
    constant = [size for _, size in flags.values()] == [int(np.count_nonzero(fields.temperature_state == GOOD))]
    if dialect.companions.flag is not None and not constant:  # what stands in every row tells none from another
        found.said += say_marks(flags, dialect.marks, dialect.columns[dialect.companions.flag], whose)
    found.said += say_unseen(parse_marks(asked.marks), [*fields.told.marks, *flags], dialect.temperature_name)
    fields, events, said = sort_rows(fields, faults)
    found.said += said + _leave_out_codes(fields, dialect, asked)
    found.parts, said, scale_problems = in_whole_degrees(fields, dialect, faults)
    found.said += said
    problems += scale_problems
    found.decimals, found.noons, found.size = fields.decimals, fields.noons, fields.rows.size
    found.unit, found.unit_from, unit_problems = _choose_unit(fields, dialect, asked)
    unit_problems = problems + unit_problems
    found.said += _settle_beside(fields, dialect, faults, found.unit)
    midnights, names = fields.midnights, fields.names
    later: list[Problem | str] = []
    questions: list[str] = []
    now = np.datetime64("now", "s")
    order = None if asked.date_order is None else parse_date_order(asked.date_order)
    parts, decided = _by_sensor(fields, dialect, asked, order)
    found.said += [decided.said] if decided and decided.said else []
    del fields  # what the columns held is used up series by series: there may be forty million rows
    for name, part in parts:
        last = replace(asked.last, timezone=last_of(name)) if name and last_of else asked.last
        instants = find_instants(
            part, dialect, faults, given_zone=asked.timezone, default_zone=asked.default_timezone,
            date_order=decided.order if decided else order, now=now, last=last,
        )  # fmt: skip
        later += [problem for problem in instants.problems if problem not in later]
        found.said += [sentence for sentence in instants.said if sentence not in found.said]
        part.let_go("nanoseconds", "time_state", "long")
        good = part.temperature_state == GOOD
        missing = int(np.count_nonzero(~good))
        instants = replace(
            instants, utc=instants.utc[good] if missing else instants.utc, order=decided or instants.order
        )
        if missing:
            part.keep(good)
        celsius = _in_degc(part.number, found.unit)
        column = (found.file, dialect.temperature_name)
        unit_problems += judge_extremes(
            celsius, part.number, part.rows, column, unit=found.unit, parts=found.parts,
            stated=found.unit_from in ("file", "option"),
        )  # fmt: skip
        if found.unit_from in ("last", "default"):
            questions += ask_unit(celsius, part.number, instants.utc, found.unit, dialect.temperature_name)
        found.series.append(Series(name, instants.utc, celsius, part.rows, instants, missing, part.beside))
        part.let_go("number")
    if not names and found.series:
        found.series[0].missing += events
    found.problems = faults.problems() + later + unit_problems
    if not any(series.celsius.size for series in found.series) and not found.problems:
        what = "a header and no readings below it" if not found.size else "no row with a temperature"
        found.problems.append(Problem(what, "readings", file=asked.file, row=dialect.body_row,
                                      column=dialect.temperature_name))  # fmt: skip
    if midnights and midnights >= found.size and not found.problems:
        found.problems.append(Problem("dates without a time of day", "readings with date and time", file=asked.file,
                                      column=dialect.time_name))  # fmt: skip
    found.said += _say_assumed(found, asked, midnights) + list(dict.fromkeys(questions))
    return found


def _by_sensor(
    fields: Fields, dialect: Dialect, asked: Asked, order: str | None
) -> tuple[list[tuple[str, Fields]], DateOrder | None]:
    """Part the rows by the sensor that each names; the order of their dates is then decided from all of them."""
    if fields.sensor is None:
        return [("", fields)], None
    decided = None
    if (fields.kind != EPOCH).any():
        try:
            decided = decide_order(
                fields.code, fields.kind, fields.nanoseconds, order=order, rows=fields.rows, file=asked.file,
                column=dialect.columns[dialect.time[0]], last=asked.last,
            )  # fmt: skip
        except InputError:
            return [("", fields)], None  # told once, for the whole file
    return [(name, fields.part(np.flatnonzero(fields.sensor == n))) for n, name in enumerate(fields.names)], decided


def _leave_out_codes(fields: Fields, dialect: Dialect, asked: Asked) -> list[str]:
    """Take out the numbers that stand for "no reading", as the user says now, else as for the last files."""
    given = asked.missing if asked.missing is not None else asked.last.missing
    whose = f", as for {asked.last.source}" if asked.missing is None else ""
    return leave_out_codes(fields, parse_codes([given or ""]), dialect.temperature_name, whose)


def _choose_unit(fields: Fields, dialect: Dialect, asked: Asked) -> tuple[str, str, list[Problem | str]]:
    """Choose the unit: as file or user state, else as last time, else the trial's; two statements are a problem."""
    stated = dialect.units + [(unit, f"the cell in row {row}") for unit, row in sorted(fields.told.units.items())]
    by_file = bool(stated)
    if asked.unit is not None:
        stated.append((unit_named(asked.unit), "the option --unit"))
    units = dict.fromkeys(unit for unit, _ in stated)
    if not units:
        if asked.last.unit is not None:
            return unit_named(asked.last.unit), "last", []
        return unit_named(asked.default_unit), "default", []
    problems: list[Problem | str] = []
    if len(units) > 1:
        places = ", ".join(f"{LETTERS[unit].upper()} in {place}" for unit, place in stated)
        hint = "Leave --unit out, or give the unit that the file states." if asked.unit is not None else None
        found, accepted = f"more than one unit ({places})", "one unit for all temperatures"
        problems.append(Problem(found, accepted, file=asked.file, column=dialect.temperature_name, hint=hint))
    return next(iter(units)), "file" if by_file else "option", problems


def _in_degc(numbers: Floats, unit: str) -> Floats:
    """Convert temperatures some at a time; those in degC already stay where they are."""
    if unit == "degC":
        return numbers
    celsius = np.empty_like(numbers)
    for at in range(0, numbers.size, _AT_A_TIME):
        celsius[at : at + _AT_A_TIME] = to_degc(numbers[at : at + _AT_A_TIME], unit)
    return celsius


def _settle_beside(fields: Fields, dialect: Dialect, faults: Faults, unit: str) -> list[str]:
    """Bring humidity and dew points to the units inside, leave out what is none, and say what is kept."""
    said = []
    for each in dialect.beside:
        values, name = fields.beside[each.condition], dialect.columns[each.column]
        if not each.unit:  # a dew point of which nobody names the unit has that of the temperatures
            values = fields.beside[each.condition] = _in_degc(values, unit)
        cell_of = partial(faults.cell, column=each.column)
        odd = leave_out_odd(values, fields.rows, each.condition, name, cell_of)
        if not np.isfinite(values).any():
            del fields.beside[each.condition]
            said += [*odd, f"'{name}' holds no {CONDITIONS[each.condition].short_name}."]
            continue
        said += [f"'{name}' is read too, as {CONDITIONS[each.condition].long_name}: hardiness freezes --air.", *odd]
    return said


def _say_assumed(found: Recognition, asked: Asked, midnights: int) -> list[str]:
    """Say what was taken where nobody says, and what was left out."""
    said = []
    if found.unit_from in ("last", "default") and found.dialect is not None:
        whose = f", as for {asked.last.source}" if found.unit_from == "last" else ""
        said.append(f"Neither the file nor an option names the unit of '{found.dialect.temperature_name}': taken as"
                    f" {LETTERS[found.unit].upper()}{whose}.")  # fmt: skip
    if midnights:
        have = f"{count(midnights, 'row')} {'has' if midnights == 1 else 'have'}"
        said.append(f"{have} a date without a time of day: read as midnight.")
    return said
