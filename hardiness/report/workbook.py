"""The tables of a trial as one workbook: a sheet each, units in the second row, and no cell that is a formula."""

from __future__ import annotations

import io
import re
import unicodedata
import zipfile
from collections.abc import Sequence

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.cell.cell import Cell
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter
from openpyxl.worksheet._write_only import WriteOnlyWorksheet

from hardiness.report.tables import FORMULA_STARTS, NamedTable, cell_value, columns_table
from hardiness.settings import Settings

MOST_ROWS = 1_000_000  # of a sheet, heads not counted
WIDEST = 44  # characters
NOWHEN = (1980, 1, 1, 0, 0, 0)  # the first day that a zip archive can name
_SHEETS = re.compile(rb"(<dcterms:(created|modified)[^>]*>)[^<]*(</dcterms:)")


def workbook_bytes(tables: Sequence[NamedTable], settings: Settings) -> bytes:
    """Write tables as XLSX, byte for byte the same for the same tables.

    Parameters
    ----------
    tables : sequence of NamedTable
    settings : Settings
        For the time zone.

    Returns
    -------
    bytes
        A sheet per table: names, units, then the rows; a first sheet tells what every column is.
    """
    book = Workbook(write_only=True)
    for table in (columns_table(tables), *tables):
        _fill(book.create_sheet(table.name), table, settings)
    buffer = io.BytesIO()
    book.save(buffer)
    return _undated(buffer.getvalue())


def _fill(sheet: WriteOnlyWorksheet, table: NamedTable, settings: Settings) -> None:
    sheet.freeze_panes = "A3"
    columns = table.columns
    texts = [[cell_value(value, column, settings) for value in table.frame[column.name]] for column in columns]
    for number, (column, values) in enumerate(zip(columns, texts, strict=True), start=1):
        widest = max([len(column.name), *(len(str(value)) for value in values[:500])])
        sheet.column_dimensions[  # type: ignore[attr-defined]
            get_column_letter(number)
        ].width = min(widest, WIDEST) + 2
    sheet.append([_head(sheet, column.name, bold=True) for column in columns])
    sheet.append([_head(sheet, column.unit or "", bold=False) for column in columns])
    for row in list(zip(*texts, strict=True))[:MOST_ROWS]:
        sheet.append([_cell(sheet, value) for value in row])


def _head(sheet: WriteOnlyWorksheet, text: str, *, bold: bool) -> Cell:
    cell = WriteOnlyCell(sheet, value=text)
    cell.font = Font(bold=bold, italic=not bold)
    cell.alignment = Alignment(vertical="top")
    return cell


def _cell(sheet: WriteOnlyWorksheet, value: object) -> object:
    if not isinstance(value, str):
        return value
    # What XML cannot hold goes; a workbook with it would not open.
    text = "".join(" " if unicodedata.category(letter) == "Cc" else letter for letter in value)
    if not text.startswith(FORMULA_STARTS):
        return text
    cell = WriteOnlyCell(sheet, value=text)
    cell.data_type = "s"  # a text, whatever it begins with
    cell.quotePrefix = True  # and it stays one when the cell is edited
    return cell


def _undated(content: bytes) -> bytes:
    """Write the archive anew without the hour at which it was made."""
    buffer = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as old,
        zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for name in old.namelist():
            data = old.read(name)
            if name == "docProps/core.xml":
                data = _SHEETS.sub(rb"\g<1>1980-01-01T00:00:00Z\g<3>", data)
            entry = zipfile.ZipInfo(name, NOWHEN)
            entry.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(entry, data)
    return buffer.getvalue()
