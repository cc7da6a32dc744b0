"""CSV or XLSX -> rows of text cells that remember their file and row.

Encoding and delimiter are found, not asked for: UTF-8 with or without a byte order mark, UTF-16 with one, else
Windows-1252 or Latin-1 (and that is said); ``,``, ``;`` or tab, whichever makes the header row a header row. Rows are
counted as a spreadsheet counts them: the header is row 1 unless something stands above it, a cell with line breaks in
it is part of one row. What the cells mean is not decided here: see :mod:`hardiness.read.records`.
"""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from hardiness.errors import InputError, Problem
from hardiness.read.workbook import Grid, column_letters, column_name, is_workbook, read_grid
from hardiness.schema import Table

DELIMITERS = (",", ";", "\t")
MAX_BYTES = 50_000_000  # some 500,000 rows; a bigger file is no table of plants
MAX_LINE = 1_000_000  # characters
MAX_HEADER = 65_536  # characters
_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"  # an OLE file: XLS, or XLSX under a password
_CONTROL_SHARE = 0.01  # more control characters than this and the file is no text


@dataclass(frozen=True, slots=True)
class RawRow:
    """One row of a file: its number as a spreadsheet counts it, and its cells by column."""

    number: int
    cells: dict[str, str]


@dataclass(frozen=True, slots=True)
class RawTable:
    """A file's cells as text.

    Parameters
    ----------
    file : str
        The file's name, as the user gave it.
    columns : list of str
        Column names: trimmed, in lower case, spaces as underscores; known or not.
    rows : list of RawRow
        All rows that are not blank.
    said : list of str
        Sentences for the user: what was assumed in reading.
    decimal_comma : bool
        Whether a comma in a number can only be a decimal comma (the delimiter is ``;``).
    problems : list of Problem
        What is wrong with rows of the file, held back; those rows are not among ``rows``.
    """

    file: str
    columns: list[str]
    rows: list[RawRow]
    said: list[str] = field(default_factory=list)
    decimal_comma: bool = False
    problems: list[Problem] = field(default_factory=list)


def read_table(path: Path, table: Table, *, name: str | None = None, hold: bool = False) -> RawTable:
    r"""Read a CSV or XLSX file as rows of text.

    Parameters
    ----------
    path : Path
        The file. Its content decides what it is, not its ending.
    table : Table
        The table it should hold: its columns tell the delimiter, its name the sheet.
    name : str, optional
        The file's name for messages; None: the name of ``path``.
    hold : bool, default False
        Whether what is wrong with single rows is held back in the table, for a caller that lists it beside what is
        wrong with the cells of the others.

    Returns
    -------
    RawTable

    Raises
    ------
    InputError
        With every fault of the file's form: no such file, empty, no text, no header row, no rows, a column name
        twice; unless held back, a row with too few or too many cells, a formula.

    Examples
    --------
    >>> import tempfile
    >>> from hardiness.schema import SELECTIONS
    >>> path = Path(tempfile.mkdtemp()) / "selections.csv"
    >>> _ = path.write_text("Selection;Seed parent\n007;OL-02\n")
    >>> raw = read_table(path, SELECTIONS)
    >>> raw.columns, raw.rows[0].number, raw.rows[0].cells
    (['selection', 'seed_parent'], 2, {'selection': '007', 'seed_parent': 'OL-02'})
    """
    file = path.name if name is None else name
    data = _bytes_of(path, file)
    if is_workbook(data):
        grid, decimal_comma = read_grid(data, table, file), False
    else:
        grid, decimal_comma = _csv_grid(data, table, file)
    return _assemble(grid, file, decimal_comma, hold=hold)


def _bytes_of(path: Path, file: str) -> bytes:
    try:
        size = path.stat().st_size
        if size > MAX_BYTES:
            raise InputError(
                Problem(f"a file of {size / 1e6:,.0f} MB", f"a table of at most {MAX_BYTES / 1e6:.0f} MB", file=file)
            )
        data = path.read_bytes()
    except (FileNotFoundError, IsADirectoryError, NotADirectoryError, PermissionError) as error:
        raise InputError(Problem(f"no file to read ({error.strerror})", "a CSV or XLSX file", file=file)) from None
    if not data.strip():
        raise InputError(Problem("an empty file", "a header row and at least one row below it", file=file))
    if data.startswith(_OLD_WORKBOOK):
        hint = "Open it in a spreadsheet and save it as XLSX or CSV, without a password."
        raise InputError(
            Problem("a workbook of the old kind, or one under a password", "CSV or XLSX", file=file, hint=hint)
        )
    return data


def _csv_grid(data: bytes, table: Table, file: str) -> tuple[Grid, bool]:
    text, said = _decode(data, file)
    grid = Grid(said=said)
    preamble, delimiter = _delimiter(text, table, file)
    records = csv.reader(_lines(text, file), delimiter=delimiter, strict=True)
    number = 0
    while True:
        try:
            cells = next(records)
        except StopIteration:
            break
        except csv.Error as error:
            hint = 'A quote (") in a quoted cell is written twice, and every quote that opens must close.'
            place = Problem(f"a row that cannot be read ({error})", "cells in CSV form", file=file, row=number + 1,
                            hint=hint)  # fmt: skip
            raise InputError([*grid.problems, place]) from None
        number += 1
        if number <= preamble or not any(cell.strip() for cell in cells):
            continue
        if grid.header_row == 0:
            grid.header_row, grid.header = number, cells
            continue
        _check_width(cells, grid, file, number, delimiter)
        grid.rows.append((number, cells))
    return grid, delimiter == ";"


def _check_width(cells: Sequence[str], grid: Grid, file: str, number: int, delimiter: str) -> None:
    """Note a row with other cells than the header; empty cells past the header's last are no matter."""
    wanted = len(grid.header)
    if len(cells) == wanted or (len(cells) > wanted and not any(cell.strip() for cell in cells[wanted:])):
        return
    shown = "a tab" if delimiter == "\t" else f"'{delimiter}'"
    hint = f"A cell that holds {shown} must stand in double quotes." if len(cells) > wanted else None
    grid.problems.append(
        Problem(f"{len(cells)} cells", f"{wanted} cells, as in the header row", file=file, row=number, hint=hint)
    )
    grid.faulty.add(number)


def _decode(data: bytes, file: str) -> tuple[str, list[str]]:
    """Bytes to text; a sentence where the encoding is a guess."""
    said: list[str] = []
    try:
        if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            text = data.decode("utf-16")
        else:
            text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        if error.encoding.startswith("utf-16") or _mostly_utf8(data):
            row = data[: error.start].count(b"\n") + 1
            raise InputError(
                Problem(f"bytes that are no {error.encoding.upper()} text (near line {row})", "a text in UTF-8",
                        file=file, hint="Save the file again as 'CSV UTF-8'.")
            ) from None  # fmt: skip
        text, encoding = _western(data)
        said.append(f"{file} is not in UTF-8: it was read as {encoding}. Check the letters with accents.")
    head = text[:MAX_HEADER]
    controls = sum(1 for character in head if character < " " and character not in "\t\r\n\x0b\x0c")
    if "\0" in text or controls > _CONTROL_SHARE * len(head):
        raise InputError(Problem("bytes that are no text", "a CSV file (UTF-8) or an XLSX workbook", file=file))
    return text, said


def _mostly_utf8(data: bytes) -> bool:
    """Whether letters outside ASCII are mostly good UTF-8: then a bad byte is damage, not another encoding."""
    text = data.decode("utf-8", errors="surrogateescape")
    bad = sum(1 for character in text if "\udc80" <= character <= "\udcff")
    good = sum(1 for character in text if character > "\x7f") - bad
    return good >= bad


def _western(data: bytes) -> tuple[str, str]:
    try:
        return data.decode("cp1252"), "Windows-1252"
    except UnicodeDecodeError:
        return data.decode("latin-1"), "Latin-1"


def _lines(text: str, file: str) -> Iterator[str]:
    """Lines with their ends, none longer than a table's line can be."""
    for number, line in enumerate(io.StringIO(text, newline=""), start=1):
        if len(line) > MAX_LINE:
            raise InputError(
                Problem(f"a line of {len(line):,} characters (line {number})",
                        f"lines of at most {MAX_LINE:,} characters", file=file)
            )  # fmt: skip
        yield line


def _delimiter(text: str, table: Table, file: str) -> tuple[int, str]:
    """Find the delimiter that makes the first row that is not blank a header row; rows of a preamble are counted.

    A first line ``sep=;``, which some spreadsheets write and read, is such a preamble.
    """
    preamble = 0
    lines = io.StringIO(text, newline="")
    start = lines.readline(MAX_HEADER)
    if start.strip().strip('"').lower() in {f"sep={delimiter}" for delimiter in (",", ";")} | {"sep=\t", "sep="}:
        preamble = 1
        start = lines.readline(MAX_HEADER)
    while start and not start.strip(" \t\r\n,;"):
        start = lines.readline(MAX_HEADER)
    if len(start) >= MAX_HEADER:
        raise InputError(
            Problem(f"a first line of more than {MAX_HEADER:,} characters",
                    f"a header row: {', '.join(table.names)}", file=file)
        )  # fmt: skip
    return preamble, max(DELIMITERS, key=lambda delimiter: _header_likeness(start, delimiter, table))


def _header_likeness(line: str, delimiter: str, table: Table) -> tuple[int, int]:
    cells = next(csv.reader([line], delimiter=delimiter), [])
    return sum(column_name(cell) in table.names for cell in cells), len(cells)


def _assemble(grid: Grid, file: str, decimal_comma: bool, *, hold: bool) -> RawTable:
    """Name the columns, drop the empty ones, and raise with all that is wrong with the file's form."""
    problems: list[Problem] = []
    if grid.header_row == 0:
        raise InputError(Problem("no header row", "a header row and at least one row below it", file=file))
    names = [column_name(cell) for cell in grid.header]
    places: dict[str, list[str]] = {}
    for index, column in enumerate(names):
        if column:
            places.setdefault(column, []).append(column_letters(index))
        elif row := next((number for number, cells in grid.rows if len(cells) > index and cells[index].strip()), None):
            problems.append(
                Problem(f"cells under no column name (first in row {row})", "a name in the header row for each column",
                        file=file, row=grid.header_row, column=column_letters(index))
            )  # fmt: skip
    for column, letters in places.items():
        if len(letters) > 1:
            problems.append(
                Problem(f"the name {len(letters)} times (columns {', '.join(letters)})", "each column name once",
                        file=file, row=grid.header_row, column=column)
            )  # fmt: skip
    if not grid.rows:
        problems.append(Problem("no rows below the header", "at least one row", file=file))
    if problems or grid.header_row in grid.faulty or (grid.problems and not hold):
        raise InputError([*grid.problems, *problems])
    named = [(index, column) for index, column in enumerate(names) if column]
    rows = [
        RawRow(number, {column: cells[index] if index < len(cells) else "" for index, column in named})
        for number, cells in grid.rows
        if number not in grid.faulty
    ]
    return RawTable(file, [column for _, column in named], rows, grid.said, decimal_comma, grid.problems)
