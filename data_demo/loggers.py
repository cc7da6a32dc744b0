"""What the sensors made of the air: their errors and mishaps, and the files they were read out to.

Every logger has a dialect of its own, and a new program or a new logger changes it between winters. The upper and
middle loggers follow the local clock; the lower one was set once and keeps UTC all year; the station says Z.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from weather import Hillside, rng_of

ZONE = "Europe/Lisbon"
PLACE_OF = {"L-UP": "upper", "L-MID": "middle", "L-LOW": "lower", "ST-9": "station"}
DEAD_BATTERY = ("L-UP", "2024-12-13T09:00", "2024-12-21T15:30")
IN_THE_FREEZER = ("L-MID", "2024-02-06T14:00", "2024-02-06T17:30", -17.2)
INDOORS = ("L-MID", "2024-02-06T11:30", "2024-02-07T09:30", 18.4)  # before and after the freezer


@dataclass(frozen=True)
class Readings:
    """The readings of one sensor in one winter, as it stored them: UTC and degC."""

    times: np.ndarray
    temperature_c: np.ndarray


def record(sensor: str, winter: str, side: Hillside) -> Readings:
    """Read the air with one sensor's errors, gaps and mishaps; one decimal of degC (the lower logger: of degF)."""
    rng = rng_of("sensor", sensor, winter)
    times, values = side.times, side.temperature_c[PLACE_OF[sensor]].copy()
    values += rng.normal(0.0, 0.05, values.size)
    if sensor == "L-UP":
        values += 0.15
    if sensor == "L-LOW":
        values -= 0.2
    if sensor == "L-MID":  # unshielded: it radiates to a clear night sky and reads low, some nights more than others
        nightly = np.repeat(rng.uniform(0.1, 0.8, times.size // 48), 48)
        values -= nightly * side.calm_night
        for name, start, end, indoors_c in (INDOORS, IN_THE_FREEZER):
            inside = (times >= np.datetime64(start)) & (times <= np.datetime64(end))
            values[inside] = indoors_c + rng.normal(0.0, 0.3, inside.sum()) if name == sensor else values[inside]
    keep = np.ones(times.size, dtype=bool)
    if sensor == DEAD_BATTERY[0]:
        keep = (times < np.datetime64(DEAD_BATTERY[1])) | (times > np.datetime64(DEAD_BATTERY[2]))
    if sensor == "ST-9":
        keep = np.arange(times.size) % 2 == 0  # hourly
    values = (np.round(values * 1.8 + 32.0, 1) - 32.0) / 1.8 if sensor == "L-LOW" else np.round(values, 1)
    return Readings(times[keep], values[keep])


def files_of(sensor: str, winter: str, readings: Readings) -> dict[str, bytes]:
    """Write one sensor's winter in the dialect of that year: file name -> content."""
    stem = {"L-UP": "upper", "L-MID": "middle", "L-LOW": "lower", "ST-9": "station"}[sensor] + f"_{winter}"
    if sensor == "ST-9":
        return {f"{stem}.csv": _station(readings)}
    if sensor == "L-LOW":
        late = winter >= "2024-25"
        return {f"{stem}.txt": (_tabs_24_hours if late else _tabs_12_hours)(readings)}
    if sensor == "L-MID":
        if winter == "2025-26":
            return {f"{stem}.csv": _commas(readings, heading="Local time,Temp (C)")}
        return {f"{stem}.csv": _semicolons(readings, "middle", "cp1252" if winter == "2023-24" else "utf-8")}
    if winter == "2023-24":  # read out in January, and again in spring with the last two weeks once more
        first = readings.times < np.datetime64("2024-01-21T10:00")
        second = readings.times >= np.datetime64("2024-01-07T10:00")
        return {
            f"{stem}_a.csv": _commas(_part(readings, first)),
            f"{stem}_b.csv": _commas(_part(readings, second)),
        }
    if winter == "2024-25":
        return {f"{stem}.csv": _commas(readings, heading="No.,time,temperature degC", numbered=True)}
    if winter == "2025-26":
        return {
            f"{stem}.csv": _semicolons(readings, "upper", "utf-8", missing=("2025-11-20T09:00", "2025-11-20T12:00"))
        }
    return {f"{stem}.csv": _commas(readings)}


def _part(readings: Readings, keep: np.ndarray) -> Readings:
    return Readings(readings.times[keep], readings.temperature_c[keep])


def _local(times: np.ndarray) -> pd.DatetimeIndex:
    return pd.DatetimeIndex(times).tz_localize("UTC").tz_convert(ZONE)


def _numbers(values: Iterable[float], decimal: str = ".") -> list[str]:
    return [f"{value:.1f}".replace("-0.0", "0.0").replace(".", decimal) for value in values]


def _bytes(lines: Iterable[str], encoding: str = "utf-8", end: str = "\n") -> bytes:
    return (end.join(lines) + end).encode(encoding)


def _commas(readings: Readings, heading: str = "time,temperature degC", numbered: bool = False) -> bytes:
    """Comma, ISO local time, decimal point."""
    times = _local(readings.times).strftime("%Y-%m-%d %H:%M")
    rows = zip(times, _numbers(readings.temperature_c), strict=True)
    lines = [
        f"{number},{time},{value}" if numbered else f"{time},{value}" for number, (time, value) in enumerate(rows, 1)
    ]
    return _bytes([heading, *lines])


def _semicolons(readings: Readings, block: str, encoding: str, missing: tuple[str, str] | None = None) -> bytes:
    """Lines about the logger, then semicolon, day.month.year, decimal comma; CR LF. Some cells may be empty."""
    local = _local(readings.times)
    values = _numbers(readings.temperature_c, ",")
    if missing is not None:
        empty = (readings.times >= np.datetime64(missing[0])) & (readings.times < np.datetime64(missing[1]))
        values = ["" if gone else value for value, gone in zip(values, empty, strict=True)]
    rows = zip(local.strftime("%d.%m.%Y"), local.strftime("%H:%M"), values, strict=True)
    head = [f"Logger;{block} block", "Interval;30 min", f"Readings;{len(values)}", "", "Date;Time;Temperature [°C]"]
    return _bytes([*head, *(";".join(row) for row in rows)], encoding, "\r\n")


def _tabs_12_hours(readings: Readings) -> bytes:
    """Byte order mark, tab, month/day/year, 12-hour clock of UTC, degF."""
    times = pd.DatetimeIndex(readings.times).strftime("%m/%d/%Y %I:%M %p")
    rows = zip(times, _numbers(readings.temperature_c * 1.8 + 32.0), strict=True)
    return _bytes(["Date Time\tTemperature (°F)", *("\t".join(row) for row in rows)], "utf-8-sig", "\r\n")


def _tabs_24_hours(readings: Readings) -> bytes:
    """Tab, month/day/year and time in two columns, UTC, degF, and the battery's voltage."""
    times = pd.DatetimeIndex(readings.times)
    volts = np.linspace(3.1, 2.8, times.size)
    rows = zip(times.strftime("%m/%d/%Y"), times.strftime("%H:%M"), _numbers(readings.temperature_c * 1.8 + 32.0),
               _numbers(volts), strict=True)  # fmt: skip
    return _bytes(["Date\tTime\tTemp (°F)\tBattery (V)", *("\t".join(row) for row in rows)])


def _station(readings: Readings) -> bytes:
    """Hourly, ISO 8601 with Z."""
    times = pd.DatetimeIndex(readings.times).strftime("%Y-%m-%dT%H:%MZ")
    rows = zip(times, _numbers(readings.temperature_c), strict=True)
    return _bytes(["time,air temperature (degC)", *(",".join(row) for row in rows)])
