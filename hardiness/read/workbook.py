"""An XLSX workbook -> a grid of text cells, each read as the sheet shows it.

A spreadsheet keeps a typed 007 as the number 7 and remembers only in the cell's number format how it looked: a label
that came as a number is read through that format, and that is said. What cannot be read honestly is refused by place:
formulas (their last result may be stale), error values, merged cells, labels that the spreadsheet turned into dates.
"""

from __future__ import annotations

import datetime as dt
import io
import warnings
import zipfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import openpyxl
from openpyxl.cell.cell import Cell, MergedCell
from openpyxl.utils import get_column_letter
from openpyxl.utils.exceptions import InvalidFileException
from openpyxl.worksheet.worksheet import Worksheet

from hardiness.errors import InputError, Problem
from hardiness.read.labels import FREE_TEXT, quote
from hardiness.read.number_formats import formatted_number, general_number
from hardiness.schema import Column, Table

MAX_UNPACKED = 200_000_000  # bytes; a table of 50,000 plants unpacks to a tenth of it
MAX_CELLS = 5_000_000  # rows x columns that a sheet may reach
_PLAIN_NUMBERS = ("row", "place")  # numbers by nature: nothing to say when one came as a number
_SHOWN = 5  # examples in a sentence


@dataclass(slots=True)
class Grid:
    """A file's cells before they are named: header row, rows with their numbers, what was said and what is wrong.

    ``faulty`` are the rows that a problem speaks of: their cells are not what was meant.
    """

    header_row: int = 0
    header: list[str] = field(default_factory=list)
    rows: list[tuple[int, list[str]]] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    faulty: set[int] = field(default_factory=set)


def column_name(text: str) -> str:
    """Bring a header cell to the form of column names.

    Parameters
    ----------
    text : str
        The header cell.

    Returns
    -------
    str
        Trimmed, in lower case, white space as underscores.

    Examples
    --------
    >>> column_name(" Scored  on ")
    'scored_on'
    """
    return "_".join(text.strip("\ufeff\u200b \t\r\n").lower().split())


def column_letters(index: int) -> str:
    """Name a column as a spreadsheet does.

    Parameters
    ----------
    index : int
        Counted from 0.

    Returns
    -------
    str

    Examples
    --------
    >>> column_letters(0), column_letters(27)
    ('A', 'AB')
    """
    return str(get_column_letter(index + 1))


def is_workbook(data: bytes) -> bool:
    """Tell a ZIP archive, as every XLSX workbook is one.

    Parameters
    ----------
    data : bytes
        The file.

    Returns
    -------
    bool

    Examples
    --------
    >>> is_workbook(b"plant,selection")
    False
    """
    return data.startswith(b"PK\x03\x04")


def read_grid(data: bytes, table: Table, file: str) -> Grid:
    """Read the sheet named as the table, else the first one.

    Parameters
    ----------
    data : bytes
        The workbook.
    table : Table
        What it should hold: the kinds of its columns decide how numbers and dates are read.
    file : str
        Its name, for messages.

    Returns
    -------
    Grid

    Raises
    ------
    InputError
        If it is no XLSX workbook, or a bigger one than a table can be.
    """
    with warnings.catch_warnings():
        # openpyxl warns of what it does not carry along (validation lists, styles): no reader of values needs them.
        warnings.simplefilter("ignore", UserWarning)
        book = _open(data, file)
    grid = Grid()
    sheet = _choose_sheet(book.worksheets, table, file, grid)
    if sheet.max_row * sheet.max_column > MAX_CELLS:
        raise InputError(
            Problem(f"a sheet that reaches cell {column_letters(sheet.max_column - 1)}{sheet.max_row}",
                    f"a table of at most {MAX_CELLS:,} cells", file=file,
                    hint="Delete the empty rows and columns beyond the table, or save it as CSV.")
        )  # fmt: skip
    reader = _CellReader(table, file, grid)
    for number, cells in enumerate(sheet.iter_rows(), start=1):
        if all(cell.value is None or (isinstance(cell.value, str) and not cell.value.strip()) for cell in cells):
            continue
        if grid.header_row == 0:
            grid.header_row = number
            grid.header = ["" if cell.value is None else str(cell.value) for cell in cells]
            reader.name_columns(grid.header)
        else:
            grid.rows.append((number, [reader.text_of(cell, index) for index, cell in enumerate(cells)]))
    _refuse_merged(sheet, grid, file)
    reader.say_numbers()
    return grid


def _open(data: bytes, file: str) -> openpyxl.Workbook:
    fault = Problem("a file that is no XLSX workbook", "CSV or XLSX", file=file,
                    hint="Open it in a spreadsheet and save it as XLSX or CSV.")  # fmt: skip
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            unpacked = sum(item.file_size for item in archive.infolist())
            if "xl/workbook.xml" not in archive.namelist():
                raise InputError(fault)
        if unpacked > MAX_UNPACKED:
            raise InputError(
                Problem(f"a workbook that unpacks to {unpacked / 1e6:,.0f} MB",
                        f"at most {MAX_UNPACKED / 1e6:.0f} MB", file=file)
            )  # fmt: skip
        return openpyxl.load_workbook(io.BytesIO(data), keep_links=False)
    except (zipfile.BadZipFile, zlib.error, EOFError, InvalidFileException, SyntaxError, KeyError, ValueError,
            TypeError, AttributeError, IndexError):  # fmt: skip
        # Whatever a damaged package makes of its parts: openpyxl does not gather it in one error. Bad XML is a
        # SyntaxError both of Python's own parser and of lxml, which openpyxl takes where it finds it.
        raise InputError(fault) from None


def _choose_sheet(sheets: Sequence[Worksheet], table: Table, file: str, grid: Grid) -> Worksheet:
    if not sheets:
        raise InputError(Problem("a workbook without a sheet", "a sheet with a header row", file=file))
    named = [sheet for sheet in sheets if column_name(sheet.title) == table.name]
    shown = [sheet for sheet in sheets if sheet.sheet_state == "visible"] or list(sheets)
    sheet = (named or shown)[0]
    if len(sheets) > 1 and not named:
        grid.said.append(f"{file}: the first sheet, '{sheet.title}', was read; none is named '{table.name}'.")
    return sheet


def _refuse_merged(sheet: Worksheet, grid: Grid, file: str) -> None:
    """Refuse merged cells that hold a value in the table's rows: one value would stand for many cells."""
    last = grid.rows[-1][0] if grid.rows else grid.header_row
    for merged in sheet.merged_cells.ranges:
        value = sheet.cell(merged.min_row, merged.min_col).value
        if grid.header_row <= merged.min_row <= last and value is not None:
            grid.problems.append(
                Problem(f"merged cells {merged.coord}", "one value in each cell", file=file, row=merged.min_row,
                        hint="Part the merged cells and fill each of them.")
            )  # fmt: skip
            grid.faulty.update(range(merged.min_row, merged.max_row + 1))


class _CellReader:
    """Turns cells into text by the kind of their column, and gathers problems and labels that came as numbers."""

    def __init__(self, table: Table, file: str, grid: Grid) -> None:
        self.table, self.file, self.grid = table, file, grid
        self.columns: list[Column | None] = []
        self.names: list[str] = []
        self.numbers: dict[str, list[tuple[int, str]]] = {}
        self.times_dropped: dict[str, int] = {}

    def name_columns(self, header: Sequence[str]) -> None:
        known = {column.name: column for column in self.table.columns}
        self.names = [column_name(text) for text in header]
        self.columns = [known.get(name) for name in self.names]

    def text_of(self, cell: Cell | MergedCell, index: int) -> str:
        value = cell.value
        if value is None:
            return ""
        column = self.columns[index]
        kind = "text" if column is None else column.kind
        if cell.data_type == "f":
            formula = getattr(value, "text", value)
            self._refuse(cell, index, f"the formula {quote(str(formula))}", "a value",
                         "Copy the column, paste it as values over itself, and save again.")  # fmt: skip
            return ""
        if cell.data_type == "e":
            self._refuse(cell, index, f"the error {value}", "a value")
            return ""
        if isinstance(value, bool):
            words = ("yes", "no") if column is not None and {"yes", "no"} <= set(column.choices) else ("TRUE", "FALSE")
            return words[0] if value else words[1]
        if isinstance(value, dt.datetime | dt.date | dt.time | dt.timedelta):
            return self._date_text(cell, index, value, kind)
        if isinstance(value, int | float):
            return self._number_text(cell, index, value, kind)
        return str(value)

    def _date_text(self, cell: Any, index: int, value: Any, kind: str) -> str:
        day = value.date() if isinstance(value, dt.datetime) else value
        if kind == "date" and isinstance(day, dt.date):
            if isinstance(value, dt.datetime) and value.time() != dt.time():
                self.times_dropped[self.names[index]] = self.times_dropped.get(self.names[index], 0) + 1
            return day.isoformat()
        if kind == "text" and self.names[index] not in FREE_TEXT and self.columns[index] is not None:
            kept = "a time of day" if not isinstance(value, dt.date) else "a date"
            self._refuse(cell, index, f"{kept}, {day}", "a label as text",
                         "The spreadsheet has turned a label such as 3-1 into a date: format the column as text "
                         "and type it again.")  # fmt: skip
            return ""
        if kind != "time" and isinstance(value, dt.datetime) and value.time() == dt.time():
            return day.isoformat()
        return str(value)

    def _number_text(self, cell: Any, index: int, value: float, kind: str) -> str:
        plain = general_number(value)
        if kind not in ("text", "temperature"):
            return plain
        text = formatted_number(value, cell.number_format) or plain
        name = self.names[index]
        if kind == "text" and self.columns[index] is not None and name not in (*FREE_TEXT, *_PLAIN_NUMBERS):
            self.numbers.setdefault(name, []).append((cell.row, text))
        return text

    def _refuse(self, cell: Any, index: int, found: str, accepted: str, hint: str | None = None) -> None:
        column = self.names[index] or column_letters(index)
        self.grid.problems.append(Problem(found, accepted, file=self.file, row=int(cell.row), column=column, hint=hint))
        self.grid.faulty.add(int(cell.row))

    def say_numbers(self) -> None:
        for name, found in self.numbers.items():
            shown = ", ".join(f"{text} (row {row})" for row, text in found[:_SHOWN])
            more = f" and {len(found) - _SHOWN} more" if len(found) > _SHOWN else ""
            self.grid.said.append(
                f"{self.file}, column {name}: labels that came as numbers were taken as the sheet shows them: "
                f"{shown}{more}."
            )
        for name, count in self.times_dropped.items():
            self.grid.said.append(f"{self.file}, column {name}: a time of day beside {count} dates was left out.")
