"""Whatever dialect a logger writes its readings in, the same readings are read back."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hardiness.read.loggers import read_logger

DATES = {
    "%Y-%m-%d": None,
    "%Y/%m/%d": None,
    "%d.%m.%Y": "DMY",
    "%d/%m/%Y": "DMY",
    "%m/%d/%Y": "MDY",
    "%d-%m-%y": "DMY",
    "%m/%d/%y": "MDY",
    "%y-%m-%d": "YMD",
    "%d-%b-%Y": None,
    "%d %B %Y": None,
    "%b %d, %Y": None,
    "%Y%m%d": None,
}
CLOCKS = ("%H:%M:%S", "%H:%M:%S.%f", "%I:%M:%S %p", "%I:%M:%S%p")
HEADERS = {"C": ("Temp (°C)", "Temperature, °C", "air_temp_c"), "F": ("Temp (°F)", "T [F]"), "K": ("T [K]", "temp_k")}


@dataclass(frozen=True)
class Dialect:
    """One way to write readings, drawn at random."""

    delimiter: str
    comma: bool
    date: str
    clock: str
    columns: int
    quotes: bool
    unit: str
    header: int
    unit_in_cells: bool
    decimals: int
    minus: str
    offset: int
    offset_in: str
    index: bool
    extras: bool
    preamble: bool
    footer: bool
    newline: str
    encoding: str
    newest_first: bool


dialects = st.builds(
    Dialect,
    delimiter=st.sampled_from(",;\t|"),
    comma=st.booleans(),
    date=st.sampled_from(list(DATES)),
    clock=st.sampled_from(CLOCKS),
    columns=st.sampled_from([1, 2]),
    quotes=st.booleans(),
    unit=st.sampled_from("CFK"),
    header=st.integers(0, 1),
    unit_in_cells=st.booleans(),
    decimals=st.integers(0, 4),
    minus=st.sampled_from(["-", "−"]),
    offset=st.integers(-11, 13),
    offset_in=st.sampled_from(["cells", "header", "option"]),
    index=st.booleans(),
    extras=st.booleans(),
    preamble=st.booleans(),
    footer=st.booleans(),
    newline=st.sampled_from(["\n", "\r\n"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
    newest_first=st.booleans(),
)
starts = st.datetimes(datetime(1990, 1, 2), datetime(2089, 12, 1)).map(lambda each: each.replace(microsecond=0))
temperatures = st.lists(st.one_of(st.none(), st.floats(-40, 40, allow_nan=False)), min_size=2, max_size=30).filter(any)


def write(dialect: Dialect, times: list[datetime], celsius: list[float | None]) -> tuple[str, list[float | None]]:
    """Write readings; also give the temperatures as far as the digits tell them. [degC]"""
    zone = timezone(timedelta(hours=dialect.offset))
    suffix = f"{dialect.offset:+03d}:00" if dialect.offset_in == "cells" else ""
    quote = '"' if dialect.quotes or dialect.delimiter == "," else ""
    names = ["Date", "Clock time"] if dialect.columns == 2 else ["Date Time"]
    if dialect.offset_in == "header":
        names[-1] += f", GMT{dialect.offset:+03d}:00"
    header = [*names, "Reading" if dialect.unit_in_cells else HEADERS[dialect.unit][dialect.header]]
    rows, told = [], []
    for time, warmth in zip(times, celsius, strict=True):
        local = time.replace(tzinfo=UTC).astimezone(zone)
        stamps = [local.strftime(dialect.date), local.strftime(dialect.clock) + suffix]
        cells = stamps if dialect.columns == 2 else [" ".join(stamps)]
        if warmth is None:
            text = ""
            told.append(None)
        else:
            number = {"C": warmth, "F": warmth * 1.8 + 32, "K": warmth + 273.15}[dialect.unit]
            text = f"{number:.{dialect.decimals}f}"
            value = float(text)
            told.append({"C": value, "F": (value - 32) / 1.8, "K": value - 273.15}[dialect.unit])
            text = text.replace("-", dialect.minus).replace(".", "," if dialect.comma else ".")
            text += f" °{dialect.unit}" if dialect.unit_in_cells else ""
        rows.append([*cells, text])
    if dialect.extras:
        header, rows = [*header, "Humidity (%)", "Battery (V)", ""], [[*row, "88", "3.6", ""] for row in rows]
    if dialect.index:
        header, rows = ["#", *header], [[str(n), *row] for n, row in enumerate(rows, start=1)]
    lines = [dialect.delimiter.join(f"{quote}{cell}{quote}" for cell in row) for row in [header, *rows]]
    if dialect.preamble:
        lines = ["Logger: lower block", f"Serial{dialect.delimiter}1234567890", "", *lines]
    if dialect.footer:
        lines += ["", "End of data"]
    return dialect.newline.join(lines) + dialect.newline, told


@pytest.mark.filterwarnings("error")
@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True)
@given(dialects, starts, st.integers(1, 3 * 3600), temperatures)
def test_readings_written_in_any_dialect_are_read_back(dialect, start, seconds, celsius):
    times = [start + timedelta(seconds=seconds * n) for n in range(len(celsius))]
    if dialect.newest_first:
        times, celsius = times[::-1], celsius[::-1]
    text, told = write(dialect, times, celsius)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "l1.csv"
        path.write_bytes(text.encode(dialect.encoding))
        logger = read_logger(
            path,
            timezone=f"UTC{dialect.offset:+03d}:00" if dialect.offset_in == "option" else None,
            default_timezone="UTC",
            date_order=DATES[dialect.date],
        )
    kept = [(time, value) for time, value in zip(times, told, strict=True) if value is not None]
    expected = np.array([time for time, _ in kept], "datetime64[ns]")
    np.testing.assert_array_equal(logger.air_temperature.time.values, expected)
    np.testing.assert_allclose(logger.air_temperature.values, [value for _, value in kept], atol=1e-9, rtol=0)
    assert logger.missing == len(celsius) - len(kept)
    assert logger.timezone_from == ("option" if dialect.offset_in == "option" else "file")
    assert logger.unit == {"C": "degC", "F": "degF", "K": "kelvin"}[dialect.unit]
