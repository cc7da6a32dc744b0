"""Columns lined up by blanks are read where it is plain which word names which cell; an empty cell is a fault."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import numpy as np
import pytest

from hardiness.read.previewing import preview_logger
from hardiness.read.recognition import Asked
from tests.read.readers import read_file, refusal_of, times_of

read = partial(read_file, default_timezone="UTC")
refusal = partial(refusal_of, default_timezone="UTC")
TIMES = ["2023-01-14T06:05:00", "2023-01-14T06:20:00", "2023-01-14T06:35:00"]
CELSIUS = [-3.2, -13.4, 0.5]

# Files as they are written: name of the column of times, of that of temperatures, lines.
LINED_UP = {
    "one name for both": ("Date Time", "Temp (°C)", """\
Date Time          Temp (°C)
2023-01-14 06:05   -3.2
2023-01-14 06:20   -13.4
2023-01-14 06:35   0.5
"""),
    "numbers to the right": ("Date + Time", "Temp", """\
Date       Time  Temp  RH
2023-01-14 06:05  -3.2 88
2023-01-14 06:20 -13.4 88
2023-01-14 06:35   0.5 88
"""),
    "names of two words": ("Date Time", "Air temp", """\
Date       Time   Air temp   RH
2023-01-14 06:05      -3.2   88
2023-01-14 06:20     -13.4   88
2023-01-14 06:35       0.5   88
"""),
    "one blank between": ("Date + Time", "Temp", """\
Date Time Temp RH
2023-01-14 06:05 -3.2 88
2023-01-14 06:20 -13.4 88
2023-01-14 06:35 0.5 88
"""),
    "one name, one blank": ("Time + Time of day", "Temp", """\
Time Temp RH
2023-01-14 06:05 -3.2 88
2023-01-14 06:20 -13.4 88
2023-01-14 06:35 0.5 88
"""),
    "indented, with a line below the names": ("Date + Time", "Temp", """\
  Station 4, exported by the logger's program on 2023-02-01 10:00

   Date         Time     Temp     RH
   ----------   -----   -----   ----
   2023-01-14   06:05    -3.2     88
   2023-01-14   06:20   -13.4     88
   2023-01-14   06:35     0.5     88
"""),
    "units below": ("Date + Time", "Temp", """\
Date        Time    Temp   RH
                     °C    %
14.01.2023  06:05   -3,2   88
14.01.2023  06:20  -13,4   88
14.01.2023  06:35    0,5   88
"""),
    "no header": ("column 1 + column 2", "column 3", """\
2023-01-14 06:05:00  -3.2
2023-01-14 06:20:00 -13.4
2023-01-14 06:35:00   0.5
"""),
    "month by name": ("column 1", "column 2", """\
14 Jan 2023 06:05     -3.2
14 Jan 2023 06:20    -13.4
14 Jan 2023 06:35      0.5
"""),
    "quotes": ("Time", "Temp", """\
"Time"              "Temp"
"2023-01-14 06:05"  "-3.2"
"2023-01-14 06:20"  "-13.4"
"2023-01-14 06:35"  "0.5"
"""),
    "one instant in a cell": ("time", "temp_c", """\
time temp_c
2023-01-14T06:05Z -3.2
2023-01-14T06:20Z -13.4
2023-01-14T06:35Z 0.5
"""),
    "words for no reading": ("Date + Time", "Temp", """\
Date        Time    Temp   RH
2023-01-14  06:05   -3.2   88
2023-01-14  06:10    NaN   88
2023-01-14  06:20  -13.4   --
2023-01-14  06:35    0.5   88
"""),
}  # fmt: skip


@pytest.fixture
def write(tmp_path: Path):
    def write_file(text: str) -> Path:
        path = tmp_path / "l1.txt"
        path.write_text(text, encoding="utf-8")
        return path

    return write_file


@pytest.mark.parametrize("name", LINED_UP)
def test_columns_lined_up_by_blanks_are_read(write, name):
    time, temperature, text = LINED_UP[name]
    logger = read(write(text))
    assert (logger.time_column, logger.temperature_column) == (time, temperature)
    assert times_of(logger) == TIMES
    assert logger.air_temperature.values.tolist() == CELSIUS


def test_humidity_stands_under_its_own_name(write):
    logger = read(write(LINED_UP["numbers to the right"][2]))
    assert logger.conditions["relative_humidity"].tolist() == [88, 88, 88]


@pytest.mark.parametrize("row", ["2023-01-14 06:50             91", "2023-01-14 06:50  1.5", "2023-01-14 06:50 1 91 x"])
def test_a_row_with_another_number_of_cells_is_a_fault(write, row):
    text = refusal(write(f"{LINED_UP['one blank between'][2]}{row}\n"))
    cells = len(row.split())
    assert f"l1.txt, row 5: found {cells} cells; accepted: 4 cells, as the header has. A cell left empty" in text


def test_a_cell_left_out_of_the_first_row_is_a_fault_without_a_header_too(write):
    rows = ["2023-01-14 05:50         88", *(f"2023-01-14 06:{minute}   -3.2  88" for minute in (20, 35, 50))]
    text = refusal(write("".join(f"{row}\n" for row in rows)), temperature_column="2")
    assert "row 1: found 2 cells; accepted: 3 cells" in text


def test_an_odd_cell_is_a_fault_with_its_row_and_column(write):
    text = refusal(write(LINED_UP["numbers to the right"][2].replace(" 0.5", "warm")))
    assert "l1.txt, row 4, column Temp: found 'warm'" in text


@pytest.mark.parametrize("header", ["Air temperature   Moment of reading   Humidity", "Date Time Air temp"])
def test_a_header_of_which_it_is_not_plain_what_it_names_is_refused(write, header):
    rows = "2023-01-14 06:05 -3.2 1 2 3\n2023-01-14 06:20 -3.4 1 2 3\n"
    text = refusal(write(f"{header}\n{rows}"))
    assert f"row 1: found columns lined up by blanks below '{' '.join(header.split())}'" in text
    assert "put a tab between its cells" in text


def test_a_delimiter_comes_before_blanks(write):
    logger = read(
        write("Date, Time, Temp\n2023-01-14, 06:05, -3.2\n2023-01-14, 06:20, -13.4\n2023-01-14, 06:35, 0.5\n")
    )
    assert logger.time_column == "Date + Time"
    assert logger.air_temperature.values.tolist() == CELSIUS


def test_a_preview_names_the_blanks(write):
    preview = preview_logger(write(LINED_UP["one name for both"][2]), Asked("l1.txt", "UTC"))
    assert preview.delimiter == "two blanks or more"
    assert [column.name for column in preview.columns] == ["Date Time", "Temp (°C)"]


def test_lined_up_columns_are_read_block_by_block(write, monkeypatch):
    rows = [f"2023-01-{day:02d}  {hour:02d}:00  {-hour / 10:>6.1f}" for day in range(1, 32) for hour in range(24)]
    path = write("Date        Time    Temp\n" + "\n".join(rows) + "\n")
    whole = read(path)
    monkeypatch.setattr("hardiness.read.slices.BLOCK", 500)
    pieces = read(path)
    expected = np.datetime64("2023-01-01", "ns") + np.arange(24 * 31) * np.timedelta64(1, "h")
    for logger in (whole, pieces):
        np.testing.assert_array_equal(logger.air_temperature.time.values, expected)
        np.testing.assert_array_equal(logger.air_temperature.values, 0 - np.tile(np.arange(24) / 10, 31))
