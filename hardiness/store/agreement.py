"""Two readings of one sensor at one time: they agree, and the first stays, or they contradict and are refused.

They agree when they differ by no more than the coarser file's last digit, and at least by 0.06 K: so much a reading
in tenths of a degree Celsius may lie from the same one in tenths of a degree Fahrenheit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from hardiness.errors import Problem
from hardiness.store.parts import Part, Times, Values, read_part, read_rows
from hardiness.words import difference, temperature

LEAST_TOLERANCE_C = 0.06  # [K]
_ROUNDING = 1e-9  # [K] two decimals that differ by exactly the tolerance agree, whatever their binary forms
_RUNS = 50  # runs of contradicting rows that are listed one by one


@dataclass(frozen=True, slots=True)
class FileReadings:
    """The readings of one file, in its order.

    Parameters
    ----------
    times : numpy.ndarray
        int64, UTC. [ns since 1970-01-01]
    values : numpy.ndarray
        float64. [degC]
    rows : numpy.ndarray
        Rows of the file, as a spreadsheet counts.
    resolution_c : float
        The file's last digit. [K]
    name : str
        The file's name.
    sensor : str
        Whose readings.
    """

    times: Times
    values: Values
    rows: npt.NDArray[np.int64]
    resolution_c: float
    name: str
    sensor: str


@dataclass(slots=True)
class Agreement:
    """What a comparison found: readings that are there already, and contradictions.

    Parameters
    ----------
    known : numpy.ndarray
        Which readings of the file are at a time that has one already, or that stands in the file before.
    problems : list of Problem or str
        Contradictions, as runs of rows.
    """

    known: npt.NDArray[np.bool_]
    problems: list[Problem | str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Others:
    """Readings to compare with, times rising, one a time; each knows its file and row."""

    times: Times
    values: Values
    source: npt.NDArray[np.int64]  # index into names, resolutions
    position: npt.NDArray[np.int64]  # index into that file's rows


def compare(readings: FileReadings, parts: Sequence[Part], units: str) -> Agreement:
    """Compare a file's readings with each other and with the readings of that sensor that count.

    Parameters
    ----------
    readings : FileReadings
        The file.
    parts : sequence of Part
        The sensor's parts that count, in the order of their intake.
    units : str
        ``"C"`` or ``"F"``: what contradictions are said in.

    Returns
    -------
    Agreement

    Raises
    ------
    StoreError
        If a part's file is gone or damaged.
    """
    low, high = int(readings.times.min()), int(readings.times.max())
    overlapping = [part for part in parts if part.last_ns >= low and part.first_ns <= high]
    if not overlapping and (np.diff(readings.times) > 0).all():
        return Agreement(np.zeros(readings.times.size, bool))  # nothing to compare with, not even itself
    own = len(overlapping)  # the file itself comes last: of its own repeats the first stays
    others = _lay_together([*(read_part(part) for part in overlapping), (readings.times, readings.values)])
    at = np.searchsorted(others.times, readings.times)
    source, position = others.source[at], others.position[at]
    known = (source != own) | (position != np.arange(readings.times.size))
    resolutions = np.array([*(part.resolution_c for part in overlapping), readings.resolution_c])
    tolerance = np.maximum(np.maximum(resolutions[source], readings.resolution_c), LEAST_TOLERANCE_C)
    wrong = np.flatnonzero(np.abs(readings.values - others.values[at]) > tolerance + _ROUNDING)
    agreement = Agreement(known)
    if wrong.size:
        rows = {
            index: read_rows(overlapping[index]) if index < own else readings.rows
            for index in np.unique(source[wrong]).tolist()
        }
        runs = _runs_of(wrong, source)
        for run in runs[:_RUNS]:
            other = overlapping[source[run[0]]] if source[run[0]] < own else None
            there = rows[int(source[run[0]])][position[run]]
            agreement.problems.append(
                _contradiction(readings, run, others.values[at[run]], there, float(tolerance[run[0]]), other, units)
            )
        if len(runs) > _RUNS:
            left = sum(run.size for run in runs[_RUNS:])
            agreement.problems.append(f"{readings.name}: {left} more readings contradict in the same way.")
    return agreement


def _lay_together(pairs: Sequence[tuple[Times, Values]]) -> _Others:
    times = np.concatenate([pair[0] for pair in pairs])
    values = np.concatenate([pair[1] for pair in pairs])
    source = np.repeat(np.arange(len(pairs)), [pair[0].size for pair in pairs])
    position = np.concatenate([np.arange(pair[0].size) for pair in pairs])
    order = np.argsort(times, kind="stable")
    times = times[order]
    first = np.ones(times.size, bool)
    first[1:] = times[1:] != times[:-1]
    kept = order[first]
    return _Others(times[first], values[kept], source[kept], position[kept])


def _runs_of(wrong: npt.NDArray[np.int64], source: npt.NDArray[np.int64]) -> list[npt.NDArray[np.int64]]:
    """Part the contradicting readings into runs: neighbours in the file, against one other file."""
    breaks = np.flatnonzero((np.diff(wrong) > 1) | (np.diff(source[wrong]) != 0)) + 1
    return np.split(wrong, breaks)


def _contradiction(
    readings: FileReadings,
    run: npt.NDArray[np.int64],
    values_there: Values,
    rows_there: npt.NDArray[np.int64],
    tolerance_c: float,
    other: Part | None,
    units: str,
) -> Problem:
    first = run[0]
    name = f"'{other.upload}'" if other else "this file"
    here, there = (temperature(float(value), units, 2) for value in (readings.values[first], values_there[0]))
    one = f"{here} at {_utc(readings.times[first])}, where row {rows_there[0]} of {name} has {there}"
    row: int | str = int(readings.rows[first])
    if run.size > 1:
        row = f"{readings.rows[first]}-{readings.rows[run[-1]]}"
        apart = float(np.max(np.abs(readings.values[run] - values_there)))
        one = (
            f"{run.size} readings of {name} with other values, up to {difference(apart, units, 2)} apart, to "
            f"{_utc(readings.times[run[-1]])}; the first: {one}"
        )
    accepted = f"readings of sensor '{readings.sensor}' that agree within {difference(tolerance_c, units, 2)}"
    hint = "Of two readings at one time, only one can be right: delete the wrong one."
    if other is not None:
        hint = (
            f"Is it the right sensor, and the right --timezone? If {name} is wrong, withdraw it: "
            f"hardiness withdraw upload {other.sha256[:12]}."
        )
    return Problem(one, accepted, file=readings.name, row=row, hint=hint)


def _utc(time_ns: np.int64) -> str:
    return f"{np.datetime64(int(time_ns), 'ns').astype('datetime64[s]')}Z"
