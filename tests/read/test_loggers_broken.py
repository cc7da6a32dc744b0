"""Each broken file is refused with what is wrong and where, all faults at once, in bounded time and memory."""

from __future__ import annotations

import tempfile
import time
import tracemalloc
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hardiness.errors import InputError, Problem
from hardiness.read.loggers import read_logger

DATA = Path(__file__).parents[1] / "data" / "broken"
LOGGERS = DATA.with_name("loggers")
PIECES = [b"", b"\n", b",", b";", b'"', b"x", b"\xff", b" ", b"9", b"-", b"2023-", b"\r", b":"]  # what damage writes
DAMAGED = "The file was damaged on its card or in copying"
YEAR = "a clock that was never set"

# file: (row, column, beginning of what was found, part of the hint) of every problem, in order
BROKEN: dict[str, list[tuple[int | str | None, str | None, str, str | None]]] = {
    "archive.csv": [(None, None, "a zip archive", "Export the readings as CSV")],
    "bare_decimal_comma.csv": [(1, None, "rows of 3 cells below a header of 2 ('Time', 'Temp (C)')", "semicolon")],
    "beyond_antarctica.csv": [(3, "Temp (C)", "-89 C, and below -60 C in 1 of 2 rows", "--unit")],
    "code_for_nothing.csv": [
        (3, "Temp (C)", "-9999 C, and below -60 C in 1 of 4 rows", "empty its cell"),
        (4, "Temp (C)", "4000 C, and above 70 C in 1 of 4 rows", "--unit"),
    ],
    "contradiction.csv": [("2 and 4", "Temp (C)", "-1 C and -1.3 C at 2023-02-03 23:00:00 UTC", "Two loggers")],
    "cut_off.csv": [(4, "Time", "'2023-02-03 23'", None)],
    "document.csv": [(None, None, "a PDF document", "Export the readings as CSV")],
    "empty.csv": [(None, None, "an empty file", None)],
    "far_epochs.csv": [(3, "unix_ms", "'7258118400000'", YEAR), (4, "unix_ms", "'9999999999999'", YEAR)],
    "far_years.csv": [
        (2, "Time", "'1031-02-03 23:00'", YEAR),
        (4, "Time", "'1849-12-31 23:59'", YEAR),
        (5, "Time", "'2200-01-01 00:00'", YEAR),
        (6, "Time", "'9999-02-03 23:30'", YEAR),
    ],
    "garbage.csv": [
        (3, "Time", "'2023-02-03 2315x'", None),
        (4, "Temp (C)", "'cold'", None),
        (5, "Time", "an empty cell", None),
        (6, "Temp (C)", "'-3.0.1'", None),
    ],
    "header_only.csv": [(1, None, "a header ('Time', 'Temp (C)') and no readings below it", None)],
    "header_only_below_a_preamble.csv": [(3, None, "a header ('Time', 'Temp (C)', 'Humidity (%)') and no", None)],
    "junk.csv": [(None, None, "bytes that are no text", "Export the readings as CSV")],
    "kelvin_unsaid.csv": [(2, "Temp", "272.15 C, and above 70 C in 2 of 2 rows", "--unit K.")],
    "mixed_header.csv": [(1, None, "rows of 3 cells below a header of 2 ('Date', 'Temp (C)')", None)],
    "netcdf.csv": [(None, None, "a NetCDF or HDF5 file", "Export the readings as CSV")],
    "no_such_noon.csv": [(3, "Time", "'02/13/2023 13:15 PM'", None)],
    "no_such_time.csv": [
        (2, "Time", "'2023-02-29 23:00', a day that does not exist", None),
        (3, "Time", "'2023-13-03 23:15', a day that does not exist", None),
        (4, "Time", "'2023-02-03 24:30'", None),
        (5, "Time", "'2023-02-03 23:60'", None),
    ],
    "no_temperature.csv": [
        (None, None, "no column of temperatures", "'Humidity (%)', 'Battery (V)'; name it with --temperature-column"),
    ],
    "no_temperatures.csv": [(2, "Temp (C)", "no row with a temperature", None)],
    "no_times.csv": [
        (1, None, "no column of times", "'sample', 'value'; name them with --time-column and --temperature-column"),
    ],
    "nul_bytes.csv": [(3, None, "4 NUL bytes", DAMAGED), (5, None, "6 NUL bytes", DAMAGED)],
    "old_workbook.csv": [(None, None, "a workbook or document in an old office format", "Export the readings as CSV")],
    "only_clocks.csv": [(1, None, "no column of times", "'Time', 'Temp (C)'")],
    "only_dates.csv": [(None, None, "dates in 'Date' and no time of day", "'Date', 'Temp (C)'")],
    "order_unknown.csv": [
        (2, "Time", "dates that could be day/month/year or month/day/year", "--date-order DMY or --date-order MDY"),
    ],
    "order_unknown_short_year.csv": [
        (2, "Time", "dates that could be day/month/year or month/day/year or year/month/day", "--date-order YMD"),
    ],
    "picture.csv": [(None, None, "a PNG picture", "Export the readings as CSV")],
    "prose.csv": [(None, None, "lines of one cell each", None)],
    "short_row.csv": [(3, None, "1 cell", None)],
    "some_offsets.csv": [(3, "Time", "'2023-02-03 23:15' without an offset", None)],
    "two_numbers.csv": [(None, None, "several columns of numbers ('Channel 1', 'Channel 2')", "--temperature-column")],
    "two_temperatures.csv": [
        (None, None, "several columns of temperatures ('Air temp (C)', 'Soil temp (C)')", "--temperature-column"),
    ],
    "two_times.csv": [(None, None, "several columns of times ('Local time'; 'UTC time')", "--time-column")],
    "two_units.csv": [
        (None, "Temp (C)", "more than one unit (C in the header 'Temp (C)', F in the cell in row 2)", None),
    ],
    "two_units_above.csv": [(None, "Temp (C)", "more than one unit (C in the header 'Temp (C)', F in row 1)", None)],
    "two_zones.csv": [(None, None, "several zones (UTC+02:00 in row 1; UTC+01:00 in row 2)", "--timezone")],
    "unclear_letters.csv": [(3, "Time", "'2023-02-03 23:15 CST'", None)],
    "white_space.csv": [(None, None, "a file with nothing but white space", None)],
    "long_rows.csv": [(3, None, "3 cells", "semicolon or tab")],
    "noon_unsaid.csv": [
        ("2 and 5", "Temp (C)", "-1 C and 5 C at 2023-02-03 11:00:00 UTC", "a 12-hour clock without AM and PM"),
        ("3 and 6", "Temp (C)", "-1.5 C and 6 C at 2023-02-03 11:30:00 UTC", "a 12-hour clock without AM and PM"),
    ],
    "other_unit.csv": [(2, "Temp", "'-1.0 mV'", None)],
    "thousands_unquoted.csv": [(1, None, "rows of 4 cells below a header of 3", "need quotes")],
    "three_temperatures.csv": [
        (
            None, None, "several columns of temperatures ('T1 (°C)', 'T2 (°C)', 'T3 (°C)')",
            "hardiness add readings three_temperatures.csv --channel 'T1 (°C)=SENSOR-1' --channel 'T2 (°C)=SENSOR-2'"
            " --channel 'T3 (°C)=SENSOR-3'",
        ),
    ],
    "two_orders.csv": [(2, "Time", "'14/02/2023 23:00', a day that does not exist", None)],
    "two_probes.csv": [
        ("2 and 3", "Temp (C)", "-1 C and -5 C at 2023-02-03 23:00:00 UTC", "--sensor-column"),
        ("4 and 5", "Temp (C)", "-1 C and -5.5 C at 2023-02-03 23:15:00 UTC", "--sensor-column"),
    ],
    "workbook.csv": [(None, None, "a workbook (xlsx, ods)", "Export the readings as CSV")],
}  # fmt: skip
HEADER = b"Time,Temp (C)\n"


def refused(path: Path, **options: object) -> tuple[Problem | str, ...]:
    with pytest.raises(InputError) as error:
        read_logger(path, timezone=None, default_timezone="UTC", **options)  # type: ignore[arg-type]
    return error.value.problems


def test_every_stored_broken_file_is_in_a_test():
    assert {path.name for path in DATA.iterdir()} == {*BROKEN, "many_faults.csv"}


@pytest.mark.parametrize("name", BROKEN)
def test_every_broken_file_is_refused_with_its_faults_and_their_places(name):
    problems = refused(DATA / name)
    assert len(problems) == len(BROKEN[name]), problems
    for problem, (row, column, found, hint) in zip(problems, BROKEN[name], strict=True):
        assert isinstance(problem, Problem)
        assert (problem.file, problem.row, problem.column) == (name, row, column)
        assert problem.found.startswith(found)
        assert hint is None or hint in (problem.hint or "")
        assert problem.accepted


def test_twenty_faults_are_listed_and_all_are_counted():
    problems = refused(DATA / "many_faults.csv")
    assert len(problems) == 21
    assert [problem.row for problem in problems[:20] if isinstance(problem, Problem)] == list(range(3, 23))
    assert problems[20] == "many_faults.csv: 28 more faults like these, 48 in all."


def test_faults_of_rows_unit_and_order_are_told_together(tmp_path):
    path = tmp_path / "l1.csv"
    path.write_text(
        "Time,Temp (C)\n03/02/2023 20:00,200\nlater,-1\n03/02/2023 20:15,cold\n03/02/2023 20:30,-2\n", encoding="utf-8"
    )
    text = "\n".join(str(problem) for problem in refused(path, unit="F"))
    for part in ("row 3, column Time: found 'later'", "row 4, column Temp (C): found 'cold'", "--date-order DMY",
                 "more than one unit", "200 C, and above 70 C"):  # fmt: skip
        assert part in text


def test_two_options_settle_what_the_file_leaves_open():
    logger = read_logger(DATA / "order_unknown.csv", timezone="UTC", default_timezone="UTC", date_order="m/d/y")
    assert str(logger.air_temperature.time.values[0]).startswith("2023-03-02T20:00")
    logger = read_logger(DATA / "two_zones.csv", timezone="UTC+02:00", default_timezone="UTC")
    assert str(logger.air_temperature.time.values[0]).startswith("2023-02-03T21:00")
    logger = read_logger(DATA / "kelvin_unsaid.csv", timezone="UTC", default_timezone="UTC", unit="K")
    assert logger.air_temperature.values == pytest.approx([-1.0, -1.5])


def test_missing_files_and_folders_are_input_at_fault(tmp_path):
    assert "found no such file" in str(refused(tmp_path / "none.csv")[0])
    assert "found a folder" in str(refused(tmp_path)[0])


def test_a_film_of_one_line_costs_neither_time_nor_memory(tmp_path):
    path = tmp_path / "one_line.csv"
    with path.open("wb") as stream:
        stream.write(b"a" * (2 << 20))
        stream.truncate(200 << 20)  # a hole: it takes no room on the disk
    tracemalloc.start()
    began = time.monotonic()
    problem = refused(path)[0]
    took, peak = time.monotonic() - began, tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert str(problem).startswith("one_line.csv, row 1: found a file of 209715200 bytes with no line break")
    assert peak < 10 << 20
    assert took < 5


def test_a_line_too_long_for_a_row_is_refused_with_its_row(tmp_path):
    path = tmp_path / "long.csv"
    path.write_bytes(HEADER + b"2023-02-03 23:00,-1.0\n" + b"2" * 3_000_000 + b"\n2023-02-03 23:15,-1.0\n")
    problem = refused(path)[0]
    assert isinstance(problem, Problem)
    assert (problem.row, problem.found) == (3, "a line of 3000000 bytes")


def test_garbage_of_endless_variety_is_refused_in_bounded_time(tmp_path):
    path = tmp_path / "variety.csv"
    words = [f"{n:b}".replace("0", "ab").replace("1", ".") for n in range(1 << 15, 1 << 16)]
    good = b"2023-02-03 23:00,-1.0\n" * 400
    path.write_bytes(HEADER + good + "".join(f"{word},{word}\n" for word in words).encode())
    began = time.monotonic()
    problems = refused(path)
    # the good rows among them are not named
    assert [problem.row for problem in problems if isinstance(problem, Problem)] == list(range(402, 422))
    assert problems[-1] == "variety.csv: 32748 more faults like these, 32768 in all."
    assert time.monotonic() - began < 20


@pytest.mark.parametrize(
    "cell", [" " * 79 + "x", "-" * 80, "2023-" * 15, "0" * 80, '"' * 79 + "x", "e+" * 40, "٣" * 20]
)
def test_odd_cells_are_refused_quickly(tmp_path, cell):
    path = tmp_path / "odd.csv"
    path.write_text(
        f"Time;Temp (C)\n2023-02-03 23:00;-1\n2023-02-03 23:15;{cell}\n{cell};-1\n2023-02-03 23:30;-1\n",
        encoding="utf-8",
    )
    began = time.monotonic()
    problems = refused(path)
    assert {problem.row for problem in problems if isinstance(problem, Problem)} >= {4}
    assert time.monotonic() - began < 5


def test_memory_stays_within_six_times_the_file(tmp_path):
    path = tmp_path / "big.csv"
    days = [f"2023-{month:02d}-{day:02d}" for month in range(1, 13) for day in range(1, 29)]
    rows = [
        f"{day} {minute // 60:02d}:{minute % 60:02d},{minute % 200 / 10 - 10:.1f}"
        for day in days
        for minute in range(1440)
    ]
    path.write_text("Time,Temp (C)\n" + "\n".join(rows) + "\n", encoding="utf-8")
    tracemalloc.start()
    logger = read_logger(path, timezone="UTC", default_timezone="UTC")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert logger.rows.size == len(rows) == 336 * 1440
    assert peak < 6 * path.stat().st_size
    assert peak < 48 * len(rows) + (8 << 20)  # forty million rows, a file of a gigabyte, in two


@settings(max_examples=150, deadline=None, derandomize=True)
@given(st.data())
def test_a_damaged_file_is_read_or_refused_but_never_breaks_the_reader(data):
    source = data.draw(st.sampled_from(sorted(LOGGERS.iterdir())))
    content = bytearray(source.read_bytes())
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(content) - 1))
        content[at : at + data.draw(st.integers(0, 3))] = data.draw(st.sampled_from(PIECES))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "l1.csv"
        path.write_bytes(bytes(content))
        try:
            logger = read_logger(path, timezone=None, default_timezone="Europe/Madrid")
        except InputError as error:
            assert str(error)
        else:
            values = logger.air_temperature.values
            assert values.size == logger.rows.size > 0
            assert (abs(values) < 80).all()
            assert len({*logger.air_temperature.time.values.tolist()}) == values.size
