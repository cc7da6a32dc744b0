"""A logger's export saved as an XLSX workbook tells the same readings as its CSV; a sheet is never chosen unsaid."""

from __future__ import annotations

import datetime as dt
import re
import zipfile
from functools import partial
from pathlib import Path

import openpyxl
import pytest

from hardiness.read.previewing import preview_logger
from hardiness.read.recognition import Asked
from tests.read.readers import read_file, refusal_of, times_of

read = partial(read_file, default_timezone="UTC")
refusal = partial(refusal_of, default_timezone="UTC")
AT = [dt.datetime(2023, 1, 14, 23, 30) + n * dt.timedelta(minutes=15) for n in range(4)]
TIMES = ["2023-01-14T23:30:00", "2023-01-14T23:45:00", "2023-01-15T00:00:00", "2023-01-15T00:15:00"]
CELSIUS = [-0.1, -1.25, 0.3, 1.0]

# header and rows, as a spreadsheet keeps them
SHEETS = {
    "instants": [["Time", "Temp (°C)"], *([at, value] for at, value in zip(AT, CELSIUS, strict=True))],
    "dates and times of day": [
        ["Date", "Time", "Temp (°C)"],
        *([at.date(), at.time(), value] for at, value in zip(AT, CELSIUS, strict=True)),
    ],
    "texts": [
        ["Zeit", "Temp (°C)"],
        *([f"{at:%d.%m.%Y %H:%M}", str(value).replace(".", ",")] for at, value in zip(AT, CELSIUS, strict=True)),
    ],
    "parts": [
        ["Year", "Month", "Day", "Hour", "Minute", "Temp (°C)"],
        *([at.year, at.month, at.day, at.hour, at.minute, v] for at, v in zip(AT, CELSIUS, strict=True)),
    ],
    "a preamble": [
        ["Report of a logger"], ["Exported", dt.datetime(2023, 2, 1, 10, 0)], [], ["Time", "Temp (°C)", "Note"],
        *([at, value, "a\tb\nc"] for at, value in zip(AT, CELSIUS, strict=True)),
    ],
}  # fmt: skip


TYPES = "http://schemas.openxmlformats.org/package/2006/content-types"


def rewritten(path: Path, member: str, pattern: bytes, instead: bytes) -> Path:
    """Write a workbook once more, with something in one of its files exchanged."""
    with zipfile.ZipFile(path) as package:
        parts = {name: package.read(name) for name in package.namelist()}
    parts[member], times = re.subn(pattern, instead, parts[member])
    assert times == 1
    with zipfile.ZipFile(path, "w") as package:
        for name, content in parts.items():
            package.writestr(name, content)
    return path


def book_of(path: Path, **sheets: list[list[object]]) -> Path:
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    book.save(path)
    return path


@pytest.mark.parametrize("name", SHEETS)
def test_a_workbook_tells_the_same_readings(tmp_path, name):
    logger = read(book_of(tmp_path / "l1.xlsx", Data=SHEETS[name]))
    assert times_of(logger) == TIMES
    assert logger.air_temperature.values.tolist() == CELSIUS
    assert logger.rows.tolist() == [n + len(SHEETS[name]) - 3 for n in range(4)]
    assert not any("sheet" in sentence for sentence in logger.said)


def test_the_sheet_with_the_readings_is_read_and_that_is_said(tmp_path):
    about = [["Serial number", "123"], ["Interval", "15 min"]]
    logger = read(book_of(tmp_path / "l1.xlsx", About=about, Data=SHEETS["instants"] + SHEETS["instants"][-1:]))
    assert times_of(logger) == TIMES
    assert "The sheet 'Data' was read, and not 'About'." in logger.said


def test_of_two_sheets_of_readings_none_is_chosen(tmp_path):
    text = refusal(book_of(tmp_path / "l1.xlsx", A=SHEETS["instants"], B=SHEETS["parts"]))
    assert "found 2 sheets that could hold readings ('A' and 'B'); accepted: one sheet of readings" in text


def test_a_bad_cell_is_a_fault_with_its_row_and_column(tmp_path):
    rows = [*SHEETS["instants"], [dt.datetime(2023, 1, 15, 0, 30), "cold"], ["soon", 1.0], [AT[-1], None]]
    text = refusal(book_of(tmp_path / "l1.xlsx", Data=rows))
    assert "l1.xlsx, row 6, column Temp (°C): found 'cold'" in text
    assert "l1.xlsx, row 7, column Time: found 'soon'" in text


def test_times_that_a_spreadsheet_keeps_as_fractions_of_a_day_are_whole_seconds(tmp_path):
    path = tmp_path / "l1.xlsx"
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    sheet.append(["Time", "Temp (°C)"])
    for n in range(96):
        sheet.append([44941 + n / 96, -1.0])
        sheet.cell(n + 2, 1).number_format = "dd/mm/yyyy hh:mm"
    book.save(path)
    times = times_of(read(path))
    assert times[:3] == ["2023-01-15T00:00:00", "2023-01-15T00:15:00", "2023-01-15T00:30:00"]
    assert {time[14:] for time in times} == {"00:00", "15:00", "30:00", "45:00"}


def test_a_damaged_workbook_is_refused_with_a_way_out(tmp_path):
    path = book_of(tmp_path / "l1.xlsx", Data=SHEETS["instants"])
    path.write_bytes(path.read_bytes()[:-200])
    assert "a workbook (xlsx, ods) that cannot be read" in refusal(path)
    assert "Export the readings as CSV" in refusal(path)


def test_a_preview_says_that_it_is_a_workbook(tmp_path):
    preview = preview_logger(book_of(tmp_path / "l1.xlsx", Data=SHEETS["instants"]), Asked("l1.xlsx", "UTC"))
    assert preview.encoding == "a workbook (XLSX)"
    assert [row.utc for row in preview.rows][:1] == ["2023-01-14 23:30"]


@pytest.mark.parametrize("size", ["A1", "A1:B3", "A1:A5", "A1:XFD1048576"])
def test_a_wrong_size_in_a_workbook_loses_no_reading(tmp_path, size):
    path = book_of(tmp_path / "l1.xlsx", Data=SHEETS["instants"])
    logger = read(
        rewritten(path, "xl/worksheets/sheet1.xml", rb'<dimension ref="[^"]*"', b'<dimension ref="%b"' % size.encode())
    )
    assert times_of(logger) == TIMES


def test_an_empty_cell_at_the_end_of_a_row_is_a_missing_temperature(tmp_path):
    rows = [*SHEETS["instants"], [AT[-1] + dt.timedelta(minutes=15)]]
    logger = read(book_of(tmp_path / "l1.xlsx", Data=rows))
    assert (times_of(logger), logger.missing) == (TIMES, 1)


def test_a_zip_file_of_something_else_is_refused(tmp_path):
    path = tmp_path / "letter.docx"
    with zipfile.ZipFile(path, "w") as package:
        package.writestr("[Content_Types].xml", f'<Types xmlns="{TYPES}"></Types>')
        package.writestr("word/document.xml", "<document/>")
    assert "letter.docx: found a ZIP file without a workbook in it" in refusal(path)


def test_cells_that_only_have_a_format_make_no_columns(tmp_path):
    book = openpyxl.Workbook()
    for row in SHEETS["instants"]:
        book.active.append(row)
    book.active.cell(1, 16384).number_format = "0.0"
    book.save(tmp_path / "l1.xlsx")
    preview = preview_logger(tmp_path / "l1.xlsx", Asked("l1.xlsx", "UTC"))
    assert [column.name for column in preview.columns] == ["Time", "Temp (°C)"]


@pytest.mark.parametrize(("limit", "most"), [("MOST_UNPACKED", 3000), ("MOST_HELD", 3000), ("MOST_ROWS", 4)])
def test_a_workbook_beyond_a_limit_is_refused(tmp_path, monkeypatch, limit, most):
    path = book_of(tmp_path / "l1.xlsx", Data=SHEETS["instants"])
    assert read(path).air_temperature.size == 4
    monkeypatch.setattr(f"hardiness.read.sheet_text.{limit}", most)
    assert "accepted: a delimited text file (CSV), or a sound XLSX workbook" in refusal(path)
