"""The first lines of a logger's export: the delimiter, the header, and the cells of the rows below it.

In: a file's beginning. Out: an :class:`Opening`. The rows themselves tell the delimiter (the one that makes times and
numbers of most of them); the header is the line with the names asked for, else the nearest with a word for time.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from hardiness.errors import InputError, Problem
from hardiness.read.aligned import ALIGNED, ALIGNED_HINT, name_columns, refuse_header, split_aligned
from hardiness.read.grid import Grid, kind_of
from hardiness.read.opening_rows import (
    DATA_KINDS,
    Rows,
    first_like,
    first_reading,
    header_above,
    lines_in_parts,
    named_columns,
    timed_lines,
)
from hardiness.read.part_words import HOW_TO_NAME, names_whole_date
from hardiness.read.text import Text

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
MARKS = DELIMITERS | ALIGNED
SAMPLE = 1 << 18  # [bytes] of the file's beginning
SAMPLE_LINES = 250  # a preamble has some tens of lines
_BESIDE = {"number", "degrees", "missing"}
_MOST_SENSE = 3  # what a line can count in _sense


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


@dataclass(frozen=True, slots=True)
class _Lines:
    """The first lines as one delimiter splits them."""

    mark: str
    rows: Rows
    kinds: Rows
    timed: list[int]


def read_opening(text: Text, *, file: str, wanted: list[str], before: str | None = None) -> Opening:
    """Find delimiter and header.

    Parameters
    ----------
    text : Text
        The file's lines.
    file : str
        Its name, for messages.
    wanted : list of str
        Names of columns that the user gave.
    before : str, optional
        Columns of times chosen for the sensor's last files: they may make up the times of this one too.

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
    ways = [_split(lines, mark) for mark in DELIMITERS]
    filled = sum(1 for line in lines if line)
    if 2 * max(map(_sense, ways)) < _MOST_SENSE * filled:  # no delimiter makes sense of half of the lines
        ways += [_split(lines, mark) for mark in ALIGNED]
    parted, header = _in_parts(ways, [*wanted, before] if before else wanted)
    if parted is not None:
        best, first = parted, parted.timed[0]
        header = header_above(best.rows, best.kinds, first, best.timed, wanted) if header is None else header
    else:
        best = max(ways, key=lambda way: (_sense(way), way.mark in DELIMITERS, _lines_alike(way.rows)))
        if not best.timed:
            plain = max(ways[: len(DELIMITERS)], key=lambda way: _lines_alike(way.rows))
            _refuse_untimed(plain.rows, file, wanted)
        above = best if best.mark in DELIMITERS else ways[-1]  # words of a header stand one blank apart
        first, header = first_reading(best.kinds, best.timed, (above.rows, above.kinds), wanted)
    rows, kinds = best.rows, best.kinds
    start = first if header is None else header + 1
    said: list[str] = []
    below: Rows = []
    if header is None:
        start = first_like(kinds, first, best.timed)
        width = Counter(len(rows[n]) for n in best.timed).most_common(1)[0][0]
        columns = [f"column {n}" for n in range(1, width + 1)]
        said.append("The file has no header: columns are named by their number.")
    else:
        names = _names(lines, header, first, best)
        if names is None:
            raise refuse_header(file, header + 1, lines[header])
        columns = named_columns(names)
        while start < first and not DATA_KINDS & {*kinds[start]}:
            start += 1
        below = [_names(lines, n, first, best) or [] for n in range(header + 1, start) if any(rows[n])]
        if below:
            said.append(f"The header is taken from rows {header + 1} to {start}.")
    _refuse_narrow_header([rows[n] for n in best.timed if n >= start], columns, best.mark, file, start)
    body = 0
    for _ in range(start):
        body = head.index(b"\n", body) + 1
    return Opening(
        best.mark,
        None if header is None else header + 1,
        body,
        start + 1,
        Grid(file, columns, rows[start:], kinds[start:]),
        [" ".join([name, *(row[n] for row in below if n < len(row))]) for n, name in enumerate(columns)],
        lines[: start if header is None else header],
        said,
    )


def _sample(head: bytes) -> list[str]:
    lines = head.split(b"\n", SAMPLE_LINES)[: SAMPLE_LINES + 1]
    if len(lines) > 1:
        lines.pop()  # cut off by the end of the sample, or empty after the last line feed
    return [line.decode("utf-8", "replace").rstrip(" \r") for line in lines]


def split_line(line: str, mark: str) -> list[str]:
    """Split a line into cells without their quotes; a delimiter inside quotes parts nothing.

    Parameters
    ----------
    line : str
        Without its line feed.
    mark : str
        The delimiter, of :data:`MARKS`.

    Returns
    -------
    list of str

    Examples
    --------
    >>> split_line('"Date Time, GMT-05:00","Temp, °C"', ",")
    ['Date Time, GMT-05:00', 'Temp, °C']
    """
    if mark in ALIGNED:
        return split_aligned(line, mark)
    cells = line.split(mark)
    if line.count('"') and line.count('"') % 2 == 0:
        cells, joined = [], cells
        for cell in joined:
            if cells and cells[-1].count('"') % 2:
                cells[-1] += mark + cell
            else:
                cells.append(cell)
    return [cell.strip().removeprefix('"').removesuffix('"').replace('""', '"').strip() for cell in cells]


def _split(lines: list[str], mark: str) -> _Lines:
    rows = [split_line(line, mark) for line in lines]
    kinds = [[kind_of(cell) for cell in cells] for cells in rows]
    timed = timed_lines(kinds)
    if mark in ALIGNED:  # blanks also stand inside of cells: a number must stand beside, and all rows be parted alike
        timed = [n for n in timed if _BESIDE & {*kinds[n]}]
    if mark in ALIGNED and timed:
        width, size = Counter(len(rows[n]) for n in timed).most_common(1)[0]
        timed = [n for n in timed if len(rows[n]) == width] if 2 * size > len(timed) else []
    return _Lines(mark, rows, kinds, timed)


def _in_parts(ways: list[_Lines], wanted: list[str]) -> tuple[_Lines | None, int | None]:
    """Find the delimiter, and the header, of a file that gives its times in parts."""
    untimed = not any(way.timed for way in ways)
    found = [
        (way, *lines_in_parts(way.rows, way.kinds, way.timed, unnamed=untimed, named=wanted if untimed else ()))
        for way in ways
    ]
    way, timed, header = max(found, key=lambda each: len(each[1]))
    return (_Lines(way.mark, way.rows, way.kinds, timed), header) if timed else (None, None)


def _names(lines: list[str], n: int, first: int, way: _Lines) -> list[str] | None:
    """Name the cells by one line of the header; None where columns lined up by blanks leave it open."""
    if way.mark in DELIMITERS:
        return way.rows[n]
    return name_columns(lines[n], lines[first], way.kinds[first], way.mark)


def _sense(way: _Lines) -> int:
    """Count what a delimiter makes of the lines: a whole time, and a temperature or nothing beside it."""
    whole = [bool({"moment", "epoch"} & {*way.kinds[n]} or {"date", "clock"} <= {*way.kinds[n]}) for n in way.timed]
    beside = [bool(_BESIDE & {*way.kinds[n]}) for n in way.timed]
    return len(way.timed) + sum(whole) + sum(beside)


def _lines_alike(rows: Rows) -> int:
    """Count the lines that have the usual number of cells, where that is above one."""
    widths = Counter(len(row) for row in rows if len(row) > 1)
    return max(widths.values(), default=0)


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
                hint=ALIGNED_HINT if any("  " in row[0] for row in rows if row) else None,
            )
        )
    width = widths.most_common(1)[0][0]
    header = next(n for n, row in enumerate(rows) if len(row) == width)
    columns = ", ".join(f"'{cell}'" for cell in rows[header])
    if not any(any(row) for row in rows[header + 1 :]):
        found = f"a header ({columns}) and no readings below it"
        raise InputError(Problem(found, "readings", file=file, row=header + 1))
    hint = f"The columns are {columns}; name them with --time-column and --temperature-column."
    if names_whole_date(rows[header]):
        hint = f"The columns are {columns}; name those that make up the time so: {HOW_TO_NAME}."
    if wanted:
        hint = f"The columns are {columns}; none of the first rows has a time in any of them."
    raise InputError(
        Problem("no column of times", "dates and times such as 2023-01-14 06:05", file=file, row=header + 1, hint=hint)
    )
