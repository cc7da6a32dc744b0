"""Any delimited export of a logger -> readings in degC and UTC.

In: a text file as a logger's program writes it. Out: a :class:`LoggerFile`. Delimiter, header and columns are found
(:mod:`hardiness.read.dialect`), cells are read (:mod:`hardiness.read.fields`), times become UTC
(:mod:`hardiness.read.instants`). What was assumed is said; what cannot be known is asked for; all faults of a file are
told at once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from hardiness.errors import InputError, Problem
from hardiness.read.clock import parse_zone
from hardiness.read.dates import parse_date_order
from hardiness.read.degrees import resolution_of, to_degc
from hardiness.read.dialect import Dialect, find_dialect
from hardiness.read.faults import Faults, sort_rows
from hardiness.read.fields import GOOD, Fields, read_fields
from hardiness.read.instants import find_instants
from hardiness.read.plaintext import read_plaintext
from hardiness.read.repeats import find_firsts
from hardiness.units import LETTERS, unit_named

COLDEST_C, WARMEST_C = -60.0, 70.0  # [degC] air anywhere that fruit grows, with room to spare

Times = NDArray[np.datetime64]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LoggerFile:
    """The readings of one file.

    Parameters
    ----------
    air_temperature : xarray.DataArray
        Readings in the file's order, each instant once, dims ``(time,)``, ``time`` in UTC. [degC]
    rows : numpy.ndarray of int64
        Row of each reading in the file.
    resolution_c : float
        Last digit of the file. [K]
    unit : str
        ``"degC"``, ``"degF"`` or ``"kelvin"``, as the file has it.
    timezone : str
        The zone or offset of the file's times; several offsets that its cells name have commas between.
    timezone_from : str
        ``"file"``, ``"option"`` or ``"default"``.
    time_column, temperature_column : str
        The columns read.
    interval_min : float
        Median step from a reading to the next, NaN for a single one. [min]
    missing : int
        Rows without a temperature.
    said : list of str
        Sentences for the user: what was assumed, passed over, left out.
    """

    air_temperature: xr.DataArray
    rows: NDArray[np.int64]
    resolution_c: float
    unit: str
    timezone: str
    timezone_from: str
    time_column: str
    temperature_column: str
    interval_min: float
    missing: int
    said: list[str] = field(default_factory=list)


def read_logger(
    path: Path,
    *,
    timezone: str | None,
    default_timezone: str,
    unit: str | None = None,
    default_unit: str = "C",
    time_column: str | None = None,
    temperature_column: str | None = None,
    date_order: str | None = None,
    name: str | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> LoggerFile:
    r"""Read a logger's export.

    Parameters
    ----------
    path : Path
        The file.
    timezone : str, optional
        Zone of its times, IANA or a fixed offset; an offset that the file itself states wins.
    default_timezone : str
        Zone where neither says.
    unit : str, optional
        ``C``, ``F`` or ``K``; it may not contradict the file.
    default_unit : str, default "C"
        Unit where neither says.
    time_column, temperature_column : str, optional
        Names (or numbers) of the columns, where they cannot be told; ``"Date + Time"`` names two.
    date_order : str, optional
        ``DMY``, ``MDY`` or ``YMD``, where it cannot be told.
    name : str, optional
        The file's name for messages; None: the name of ``path``.
    progress : callable, optional
        Called now and then with bytes done and bytes in all.

    Returns
    -------
    LoggerFile

    Raises
    ------
    InputError
        With every fault found: the file is no text, its columns cannot be told, cells are no times or no numbers,
        day and month cannot be told apart, its clock did not follow its zone, its unit is stated twice or makes no
        sense, or one instant has two temperatures.

    Notes
    -----
    A row without a temperature (empty, or a word such as ``NaN``) is counted in ``missing`` and left out. Of rows
    with the same instant the first stays when they agree to 0.06 K or the file's last digit. Times before 1990, or more
    than two days ahead of this computer's clock, are taken and said; those outside 1850 to 2199 are refused.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "l1.csv"
    ...     _ = path.write_text("Time;Temp (°F)\n14.01.2023 06:05;14,0\n14.01.2023 06:20;--\n", encoding="utf-8")
    ...     readings = read_logger(path, timezone="UTC+01:00", default_timezone="UTC")
    >>> print(readings.air_temperature.time.values[0], readings.air_temperature.values.round(6), readings.missing)
    2023-01-14T05:05:00.000000000 [-10.] 1
    """
    file = name or path.name
    given_unit = None if unit is None else unit_named(unit)
    order = None if date_order is None else parse_date_order(date_order)
    for zone in (timezone, default_timezone):
        if zone is not None:
            parse_zone(zone)
    data = read_plaintext(path, file=file).data
    dialect = find_dialect(data, file=file, time_column=time_column, temperature_column=temperature_column)
    faults = Faults(data, dialect, file)
    fields, events, said = sort_rows(read_fields(data, dialect, file=file, progress=progress), faults)
    said = dialect.said + said
    instants = find_instants(
        fields, dialect, faults, given_zone=timezone, default_zone=default_timezone, date_order=order,
        now=np.datetime64("now", "s"),
    )  # fmt: skip
    known_unit, problems = _choose_unit(fields, dialect, given_unit, file)
    used = known_unit or unit_named(default_unit)
    good = fields.temperature_state == GOOD
    read: slice | NDArray[np.bool_] = slice(None) if good.all() else good  # a view spares a copy
    celsius = to_degc(fields.number[read], used)
    problems = faults.problems() + instants.problems + problems
    problems += _implausible(
        celsius, fields.number[read], fields.rows[read], dialect, used, stated=known_unit is not None, file=file
    )
    if not good.any() and not problems:
        what = "a header and no readings below it" if not fields.rows.size else "no row with a temperature"
        problems.append(Problem(what, "readings", file=file, row=dialect.body_row, column=dialect.temperature_name))
    if fields.midnights and fields.midnights >= fields.rows.size and not problems:
        problems.append(Problem("dates without a time of day", "readings with date and time", file=file,
                                column=dialect.time_name))  # fmt: skip
    if problems:
        raise InputError(problems)
    said += instants.said
    if known_unit is None:
        said.append(f"Neither the file nor an option names the unit of '{dialect.temperature_name}': taken as"
                    f" {LETTERS[used].upper()}.")  # fmt: skip
    if fields.midnights:
        said.append(f"{fields.midnights} rows have a date without a time of day: read as midnight.")
    missing = events + int(np.count_nonzero(~good))
    if missing:
        said.append(f"{missing} row{'s have' if missing > 1 else ' has'} no temperature and gave no reading.")
    resolution = resolution_of(fields.decimals, used)
    first, interval, repeats = find_firsts(
        instants.utc[read], celsius, fields.rows[read],
        resolution_c=resolution, file=file, column=dialect.temperature_name,
    )  # fmt: skip
    if repeats:
        said.append(f"{repeats} row{'s repeat' if repeats > 1 else ' repeats'} an instant with the same temperature:"
                    " the first stays.")  # fmt: skip
    return LoggerFile(
        _readings(instants.utc[read][first], celsius[first]),
        fields.rows[read][first],
        resolution,
        used,
        instants.zone,
        instants.zone_from,
        dialect.time_name,
        dialect.temperature_name,
        interval,
        missing,
        said,
    )


def _choose_unit(
    fields: Fields, dialect: Dialect, given: str | None, file: str
) -> tuple[str | None, list[Problem | str]]:
    """Choose the unit that file or user state; two different statements are a problem."""
    stated = dialect.units + [(unit, f"the cell in row {row}") for unit, row in sorted(fields.units.items())]
    if given is not None:
        stated.append((given, "the option --unit"))
    units = dict.fromkeys(unit for unit, _ in stated)
    if len(units) < 2:
        return next(iter(units), None), []
    places = ", ".join(f"{LETTERS[unit].upper()} in {place}" for unit, place in stated)
    hint = "Leave --unit out, or give the unit that the file states." if given is not None else None
    found = f"more than one unit ({places})"
    problem = Problem(found, "one unit for all temperatures", file=file, column=dialect.temperature_name, hint=hint)
    return next(iter(units)), [problem]


def _implausible(
    celsius: Floats, numbers: Floats, rows: NDArray[np.int64], dialect: Dialect, unit: str, *, stated: bool, file: str
) -> list[Problem | str]:
    """Find the coldest and the warmest temperature that no air has: mostly another unit, or a code for "nothing"."""
    if not _outside(celsius).any():
        return []
    hint = "If the number stands for a missing reading, empty its cell."
    if stated:
        hint += " If the unit stated is wrong, take it out of the file and give --unit."
    else:
        units = {letter.upper(): other for other, letter in LETTERS.items() if other != unit}
        fitting = [letter for letter, other in units.items() if not _outside(to_degc(numbers, other)).any()]
        hint = f"Is the unit right? It is given with --unit {' or '.join(fitting) or 'C, F or K'}. {hint}"
    problems: list[Problem | str] = []
    for worst, outside, side in (
        (np.argmin, celsius < COLDEST_C, f"below {COLDEST_C:g} C"),
        (np.argmax, celsius > WARMEST_C, f"above {WARMEST_C:g} C"),
    ):
        if outside.any():
            at = int(worst(celsius))
            count = f"{np.count_nonzero(outside)} of {rows.size} rows"
            found = f"{numbers[at]:g} {LETTERS[unit].upper()}, and {side} in {count}"
            accepted = f"air temperatures from {COLDEST_C:g} C to {WARMEST_C:g} C"
            problems.append(Problem(found, accepted, file, int(rows[at]), dialect.temperature_name, hint))
    return problems


def _outside(celsius: Floats) -> NDArray[np.bool_]:
    return np.asarray((celsius < COLDEST_C) | (celsius > WARMEST_C))


def _readings(utc: Times, celsius: Floats) -> xr.DataArray:
    return xr.DataArray(
        celsius,
        {"time": ("time", utc, {"standard_name": "time", "long_name": "time"})},
        ("time",),
        "air_temperature",
        {
            "units": "degC",
            "standard_name": "air_temperature",
            "long_name": "air temperature",
            "units_metadata": "temperature: on_scale",
        },
    )
