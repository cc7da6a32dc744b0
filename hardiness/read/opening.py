"""The first lines of a logger's export: the delimiter, the header, and the cells of the rows below it.

In: a file's beginning. Out: an :class:`Opening`. The rows themselves tell the delimiter (the one that makes times and
numbers of most of them); the header is the line with the names asked for, else the nearest with a word for time.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from hardiness.errors import InputError, Problem
from hardiness.read.column_words import TIME_WORDS
from hardiness.read.grid import Grid, kind_of
from hardiness.read.text import Text

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
SAMPLE = 1 << 18  # [bytes] of the file's beginning
SAMPLE_LINES = 250  # a preamble has some tens of lines
_ALIGNED_HINT = "Columns lined up by spaces? Save the file as CSV, or put a tab between its cells."
HEADER_LINES = 4  # names, and below them units, kinds of value and a line left empty
_TIME_KINDS = {"moment", "epoch", "date"}
_DATA_KINDS = _TIME_KINDS | {"clock", "number", "degrees"}


@dataclass(frozen=True, slots=True)
class Opening:
    """How a file begins.

    Parameters
    ----------
    delimiter : str
        Between cells.
    header : int, optional
        Row of the columns' names; None where the file has none.
    body : int
        Where the first row after the header begins. [bytes]
    body_row : int
        Its row number.
    grid : Grid
        Columns, and the first rows below the header.
    headings : list of str
        For each column its name, and what stands below it in a header of several rows.
    above : list of str
        The lines above the header.
    said : list of str
        Sentences for the user.
    """

    delimiter: str
    header: int | None
    body: int
    body_row: int
    grid: Grid
    headings: list[str]
    above: list[str]
    said: list[str] = field(default_factory=list)


def read_opening(text: Text, *, file: str, wanted: list[str]) -> Opening:
    """Find delimiter and header.

    Parameters
    ----------
    text : Text
        The file's lines.
    file : str
        Its name, for messages.
    wanted : list of str
        Names of columns that the user gave.

    Returns
    -------
    Opening

    Raises
    ------
    InputError
        If there is no header and no readings, no delimiter, no row with a time, or rows are wider than the header.
    """
    head = text.piece(0, SAMPLE)
    lines = _sample(head)
    rows = {mark: [split_line(line, mark) for line in lines] for mark in DELIMITERS}
    kinds = {mark: [[kind_of(cell) for cell in cells] for cells in rows[mark]] for mark in DELIMITERS}
    timed = {
        mark: [n for n, row in enumerate(kinds[mark]) if len(row) > 1 and _TIME_KINDS & {*row}] for mark in DELIMITERS
    }
    mark = max(DELIMITERS, key=lambda each: (_sense(kinds[each], timed[each]), _lines_alike(rows[each])))
    if not timed[mark]:
        _refuse_untimed(rows[mark], file, wanted)
    first, header = _first_reading(rows[mark], kinds[mark], timed[mark], wanted)
    start = first if header is None else header + 1
    said: list[str] = []
    below: list[list[str]] = []
    if header is None:
        width = Counter(len(rows[mark][n]) for n in timed[mark]).most_common(1)[0][0]
        columns = [f"column {n}" for n in range(1, width + 1)]
        said.append("The file has no header: columns are named by their number.")
    else:
        columns = named_columns(rows[mark][header])
        while start < first and not _DATA_KINDS & {*kinds[mark][start]}:
            start += 1
        below = [row for row in rows[mark][header + 1 : start] if any(row)]
        if below:
            said.append(f"The header is taken from rows {header + 1} to {start}.")
    _refuse_narrow_header([rows[mark][n] for n in timed[mark] if n >= start], columns, mark, file, start)
    body = 0
    for _ in range(start):
        body = head.index(b"\n", body) + 1
    return Opening(
        mark,
        None if header is None else header + 1,
        body,
        start + 1,
        Grid(file, columns, rows[mark][start:], kinds[mark][start:]),
        [" ".join([name, *(row[n] for row in below if n < len(row))]) for n, name in enumerate(columns)],
        lines[: first if header is None else header],
        said,
    )


def _sample(head: bytes) -> list[str]:
    lines = head.split(b"\n", SAMPLE_LINES)[: SAMPLE_LINES + 1]
    if len(lines) > 1:
        lines.pop()  # cut off by the end of the sample, or empty after the last line feed
    return [line.decode("utf-8", "replace").strip(" \r") for line in lines]


def named_columns(cells: list[str]) -> list[str]:
    """Name columns by the header's cells; empty ones by their number, empty ones at the end not at all.

    Parameters
    ----------
    cells : list of str
        The header.

    Returns
    -------
    list of str

    Examples
    --------
    >>> named_columns(["", "Time", "Temp", ""])
    ['column 1', 'Time', 'Temp']
    """
    while cells and not cells[-1]:
        cells = cells[:-1]
    return [cell or f"column {n}" for n, cell in enumerate(cells, start=1)]


def split_line(line: str, mark: str) -> list[str]:
    """Split a line into cells without their quotes; a delimiter inside quotes parts nothing.

    Parameters
    ----------
    line : str
        Without its line feed.
    mark : str
        The delimiter.

    Returns
    -------
    list of str

    Examples
    --------
    >>> split_line('"Date Time, GMT-05:00","Temp, °C"', ",")
    ['Date Time, GMT-05:00', 'Temp, °C']
    """
    cells = line.split(mark)
    if line.count('"') and line.count('"') % 2 == 0:
        cells, joined = [], cells
        for cell in joined:
            if cells and cells[-1].count('"') % 2:
                cells[-1] += mark + cell
            else:
                cells.append(cell)
    return [cell.strip().removeprefix('"').removesuffix('"').replace('""', '"').strip() for cell in cells]


def _sense(kinds: list[list[str]], timed: list[int]) -> int:
    """Count what a delimiter makes of the lines: a whole time, and a temperature or nothing beside it."""
    whole = [bool({"moment", "epoch"} & {*kinds[n]} or {"date", "clock"} <= {*kinds[n]}) for n in timed]
    beside = [bool({"number", "degrees", "missing"} & {*kinds[n]}) for n in timed]
    return len(timed) + sum(whole) + sum(beside)


def _lines_alike(rows: list[list[str]]) -> int:
    """Count the lines that have the usual number of cells, where that is above one."""
    widths = Counter(len(row) for row in rows if len(row) > 1)
    return max(widths.values(), default=0)


def _first_reading(
    rows: list[list[str]], kinds: list[list[str]], timed: list[int], wanted: list[str]
) -> tuple[int, int | None]:
    """Find the first line with a time where most have one, and the header above it.

    A preamble has times too ("Start, 2023-01-14 06:00"): a line that is no more like the others than that is passed
    over, where there is a header below it.
    """
    places = Counter((n, kind) for line in timed for n, kind in enumerate(kinds[line]) if kind in _TIME_KINDS)
    last = {place: line for line in timed for place in enumerate(kinds[line])}
    usual = max(places, key=lambda place: (places[place], last[place]))
    inside = [line for line in timed if usual in enumerate(kinds[line])]
    filled = Counter(place for line in inside for place in enumerate(kinds[line]) if place[1] in _DATA_KINDS)
    alike = {place for place, size in filled.items() if 2 * size > len(inside)}
    like = [line for line in inside if len(alike & {*enumerate(kinds[line])}) >= min(2, len(alike))]
    first = inside[0]
    if like and like[0] != first:
        header = _header_above(rows, kinds, like[0], timed, wanted)
        if header is not None and header > first:
            return like[0], header
    return first, _header_above(rows, kinds, first, timed, wanted)


def _header_above(
    rows: list[list[str]], kinds: list[list[str]], first: int, timed: list[int], wanted: list[str]
) -> int | None:
    """Find the header: the line with the wanted names, else the nearest with a word for time, else the nearest."""
    width = Counter(len(rows[n]) for n in timed).most_common(1)[0][0]
    names = {name.strip().lower() for each in wanted for name in (each, *each.split("+"))}
    filled = [n for n in range(first - 1, -1, -1) if any(rows[n])]
    ranks: dict[int, int] = {}
    for distance, n in enumerate(filled):
        if sum(1 for cell in rows[n] if cell) < 2 or _DATA_KINDS & {*kinds[n]}:
            continue
        if names & {cell.lower() for cell in rows[n]}:
            ranks[n] = 3
        elif distance < HEADER_LINES and any(TIME_WORDS.search(cell) for cell in rows[n]):
            ranks[n] = 2
        elif distance < HEADER_LINES and len(rows[n]) >= width - 1:
            ranks[n] = 1
    return max(ranks, key=ranks.__getitem__) if ranks else None  # of equal ones the nearest: it was put in first


def _refuse_narrow_header(rows: list[list[str]], columns: list[str], mark: str, file: str, row: int) -> None:
    """Refuse a file whose rows mostly have more cells than its header: which name is whose is not known."""
    width = Counter(len(named_columns(cells)) for cells in rows).most_common(1)[0][0]
    if width > len(columns):
        comma = "Cells with a comma in them need quotes, or a semicolon or tab between cells." if mark == "," else None
        names = ", ".join(f"'{name}'" for name in columns)
        found = f"rows of {width} cells below a header of {len(columns)} ({names})"
        raise InputError(Problem(found, "a name for each cell", file=file, row=row, hint=comma))


def _refuse_untimed(rows: list[list[str]], file: str, wanted: list[str]) -> None:
    widths = Counter(len(row) for row in rows if len(row) > 1)
    if not widths:
        raise InputError(
            Problem(
                "lines of one cell each",
                f"cells with a {', '.join(DELIMITERS.values())} between them: a time and a temperature in each row",
                file=file,
                hint=_ALIGNED_HINT if any("  " in row[0] for row in rows if row) else None,
            )
        )
    width = widths.most_common(1)[0][0]
    header = next(n for n, row in enumerate(rows) if len(row) == width)
    columns = ", ".join(f"'{cell}'" for cell in rows[header])
    if not any(any(row) for row in rows[header + 1 :]):
        found = f"a header ({columns}) and no readings below it"
        raise InputError(Problem(found, "readings", file=file, row=header + 1))
    hint = f"The columns are {columns}; name them with --time-column and --temperature-column."
    if {"year", "month", "day"} <= {cell.strip().casefold() for cell in rows[header]}:
        hint = "Put year, month, day, hour and minute together into one column."
    if wanted:
        hint = f"The columns are {columns}; none of the first rows has a time in any of them."
    raise InputError(
        Problem("no column of times", "dates and times such as 2023-01-14 06:05", file=file, row=header + 1, hint=hint)
    )
