"""A logger's export saved as an XLSX workbook -> the text of its sheet, a line a row, tabs between cells.

In: the workbook. Out: UTF-8 in which a row has the number that the spreadsheet shows, so that it is read like any other
export. Dates and times are written as ISO 8601, numbers in shortest decimals. Which of several sheets holds the
readings is not guessed where two could.
"""

from __future__ import annotations

import datetime as dt
import warnings
import zipfile
import zlib
from collections.abc import Sequence
from itertools import islice
from typing import Any, BinaryIO

import openpyxl
from openpyxl.utils.exceptions import InvalidFileException

from hardiness.errors import InputError, Problem
from hardiness.read.number_formats import general_number
from hardiness.words import listed

MOST_UNPACKED = 1 << 31  # [bytes] a full sheet of a million rows unpacks to a few hundred megabytes
MOST_HELD = 1 << 28  # [bytes] of all that is no sheet: texts and styles are held in memory as a whole
MOST_ROWS = 1 << 20  # of a sheet
# What openpyxl makes of a damaged package; bad XML is a SyntaxError of every parser that it takes.
_BROKEN = (InvalidFileException, zipfile.BadZipFile, zlib.error, EOFError, SyntaxError, KeyError, ValueError, TypeError,
           AttributeError, IndexError)  # fmt: skip
_MILLISECOND = dt.timedelta(milliseconds=1)
_BREAKS = str.maketrans(dict.fromkeys("\t\r\n\x0b\x0c\x00\x85\u2028\u2029", " "))


def write_sheet(workbook: BinaryIO, into: BinaryIO, file: str) -> list[str]:
    """Write the sheet of readings as text.

    Parameters
    ----------
    workbook : binary file
    into : binary file
        Where to; afterwards it stands at its beginning.
    file : str
        The workbook's name, for messages.

    Returns
    -------
    list of str
        Which sheet was read, where there are several.

    Raises
    ------
    InputError
        If it is no sound XLSX workbook, or several of its sheets could hold the readings.
    """
    try:
        with zipfile.ZipFile(workbook) as parts:
            sizes = {part.filename: part.file_size for part in parts.infolist()}
        held = sum(size for part, size in sizes.items() if not part.startswith("xl/worksheets/"))
        for size, most in ((sum(sizes.values()), MOST_UNPACKED), (held, MOST_HELD)):
            if size > most:
                raise _no_workbook(f"a workbook that unpacks to {size} bytes", file)
        with warnings.catch_warnings():
            # openpyxl warns of what it does not carry along (validation lists, styles): values need none of it
            warnings.simplefilter("ignore", UserWarning)
            book = openpyxl.load_workbook(workbook, read_only=True, data_only=True)
            try:
                shown = [sheet for sheet in book.worksheets if sheet.sheet_state == "visible"] or book.worksheets
                for sheet in shown:
                    sheet.reset_dimensions()  # some programs write a wrong size: rows beyond it would be lost
                name, said = _choose(shown, file) if len(shown) > 1 else (shown[0].title, [])
                widest = 0
                for n, row in enumerate(book[name].iter_rows(), start=1):
                    if n > MOST_ROWS:
                        raise _no_workbook(f"a sheet of more than {MOST_ROWS} rows", file)
                    line = "\t".join(map(_text_of, row)).rstrip("\t")
                    columns = line.count("\t") + 1 if line else 0
                    widest = max(widest, columns)
                    # an empty cell at the end of a row may not be there at all: each has as many as the header
                    into.write((line + "\t" * (widest - columns if columns else 0) + "\n").encode())
            finally:
                book.close()
    except OSError as error:
        if error.errno is not None:
            raise  # the machine's: a full disk
        raise _no_workbook("a ZIP file without a workbook in it", file) from None  # so openpyxl says it
    except _BROKEN as error:
        if isinstance(error, InputError):
            raise
        raise _no_workbook("a workbook (xlsx, ods) that cannot be read", file) from None
    into.seek(0)
    return said


def _no_workbook(found: str, file: str) -> InputError:
    hint = "Export the readings as CSV (delimited text) and give that file."
    return InputError(Problem(found, "a delimited text file (CSV), or a sound XLSX workbook", file, hint=hint))


def _choose(shown: Sequence[Any], file: str) -> tuple[str, list[str]]:
    """Choose the sheet with most rows; another that has half as many could be a second logger."""
    sizes = {
        sheet.title: sum(1 for row in islice(sheet.values, MOST_ROWS) if any(value not in (None, "") for value in row))
        for sheet in shown
    }
    name = max(sizes, key=sizes.__getitem__)
    could = [each for each, size in sizes.items() if 2 * size > sizes[name]]
    if len(could) > 1:
        found = f"{len(could)} sheets that could hold readings ({listed([repr(each) for each in could])})"
        hint = "Save each sheet as a file of its own, as CSV or XLSX."
        raise InputError(Problem(found, "one sheet of readings", file, hint=hint))
    others = [repr(each) for each, size in sizes.items() if each != name and size]
    return name, [f"The sheet '{name}' was read, and not {listed(others)}."] if others else []


def _text_of(cell: Any) -> str:
    """Write one cell."""
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, dt.datetime):
        rounded = value + _MILLISECOND / 2
        value = rounded - dt.timedelta(microseconds=rounded.microsecond % 1000)
        if value.time() == dt.time() and "h" not in str(cell.number_format).casefold():
            return value.date().isoformat()  # a date beside times of day in a column of their own
        return value.isoformat(" ")
    if isinstance(value, dt.time):
        return value.isoformat()
    if isinstance(value, int | float) and not isinstance(value, bool):
        return general_number(value)
    return str(value).translate(_BREAKS)
