"""Which of a file's first lines are readings, and which one above them is the header.

In: the first lines, split by one delimiter, with what each cell looks like. Out: numbers of lines. A line with a time
is a reading where most such lines have one at that place; times may also be given in parts.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from hardiness.read.column_words import TIME_WORDS
from hardiness.read.grid import Grid
from hardiness.read.part_words import TimeColumns, names_whole_date, parts_said, value_of
from hardiness.read.time_numbers import parts_in_numbers
from hardiness.read.time_parts import find_parts

TIME_KINDS = {"moment", "epoch", "date"}
DATA_KINDS = TIME_KINDS | {"clock", "number", "degrees"}
HEADER_LINES = 4  # names, and below them units, kinds of value and a line left empty

Rows = list[list[str]]


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


def timed_lines(kinds: Rows) -> list[int]:
    """Find the lines with a time in one of several cells.

    Parameters
    ----------
    kinds : list of list of str
        What the cells of each line look like.

    Returns
    -------
    list of int
    """
    return [n for n, row in enumerate(kinds) if len(row) > 1 and TIME_KINDS & {*row}]


def lines_in_parts(
    rows: Rows, kinds: Rows, timed: list[int], *, unnamed: bool, named: Sequence[str] = ()
) -> tuple[list[int], int | None]:
    """Find the lines whose times are given in parts.

    Parameters
    ----------
    rows, kinds : list of list of str
        The lines' cells, and what each looks like.
    timed : list of int
        Lines that have a whole time; below the header of parts there are none.
    unnamed : bool
        Whether also numbers without names count.
    named : sequence of str
        Names of columns that the user gave.

    Returns
    -------
    lines : list of int
    header : int or None
        The line that names the parts, where one does.
    """
    for pieces in (parts_said(name) for name in named if "+" in name):
        columns = [column.casefold() for _, column in pieces]
        if all(column.isdigit() for column in columns):
            places, header = [int(column) - 1 for column in columns], None
        else:
            heading = (n for n, cells in enumerate(rows) if {*columns} <= {cell.casefold() for cell in cells})
            header = next(heading, None)
            if header is None:
                continue
            heads = [cell.casefold() for cell in rows[header]]
            places = [heads.index(column) for column in columns]
        below = range((header or -1) + 1, len(rows))
        return [n for n in below if len(rows[n]) > max(places) and all(kinds[n][p] != "text" for p in places)], header
    words = (n for n, row in enumerate(kinds) if len(row) > 2 and not DATA_KINDS & {*row})
    header = next((n for n in words if names_whole_date(rows[n])), None)
    if header is not None and not any(n > header for n in timed):
        grid = Grid("", named_columns(rows[header]), rows[header + 1 :], kinds[header + 1 :])
        if (parts := find_parts(grid)) is not None:
            return [header + 1 + n for n in _lines_of(grid, parts)], header
    if not unnamed:
        return [], None
    widths = Counter(len(row) for row in rows if len(row) > 3)
    for width, _ in widths.most_common(1):
        numbers = [n for n, row in enumerate(kinds) if len(row) == width and row.count("number") >= width // 2]
        grid = Grid("", [f"column {n}" for n in range(1, width + 1)], [rows[n] for n in numbers], [])
        if (parts := parts_in_numbers(grid)) is not None:
            return [numbers[n] for n in _lines_of(grid, parts)], None
    return [], None


def _lines_of(grid: Grid, time: TimeColumns) -> list[int]:
    """List the rows of which every part is one; of dates and times of day it is enough that something stands there."""
    return [
        n for n, row in enumerate(grid.cells)
        if len(row) > max(time.places) and all(
            row[place] if part in ("date", "time") else value_of(row[place], part) is not None
            for part, place in zip(time.parts, time.places, strict=True)
        )
    ]  # fmt: skip


def first_reading(
    kinds: Rows, timed: list[int], above: tuple[Rows, Rows], wanted: Sequence[str]
) -> tuple[int, int | None]:
    """Find the first line with a time where most have one, and the header above it.

    A preamble has times too ("Start, 2023-01-14 06:00"): a line that is no more like the others than that is passed
    over, where there is a header below it.

    Parameters
    ----------
    kinds : list of list of str
        What the cells of each line look like.
    timed : list of int
        Lines with a time.
    above : (list of list of str, list of list of str)
        The lines' cells, and what they look like, as a header may be parted.
    wanted : sequence of str
        Names of columns that the user gave.

    Returns
    -------
    first : int
    header : int or None
    """
    places = Counter((n, kind) for line in timed for n, kind in enumerate(kinds[line]) if kind in TIME_KINDS)
    last = {place: line for line in timed for place in enumerate(kinds[line])}
    usual = max(places, key=lambda place: (places[place], last[place]))
    inside = [line for line in timed if usual in enumerate(kinds[line])]
    filled = Counter(place for line in inside for place in enumerate(kinds[line]) if place[1] in DATA_KINDS)
    alike = {place for place, size in filled.items() if 2 * size > len(inside)}
    like = [line for line in inside if len(alike & {*enumerate(kinds[line])}) >= min(2, len(alike))]
    first = inside[0]
    if like and like[0] != first:
        header = header_above(*above, like[0], timed, wanted)
        if header is not None and header > first:
            return like[0], header
    return first, header_above(*above, first, timed, wanted)


def first_like(kinds: Rows, first: int, timed: Sequence[int]) -> int:
    """Find the first row of a file without a header: the rows above the first whole one that are like it.

    A slip in the very first row must not make it a line of a preamble, which is passed over.

    Parameters
    ----------
    kinds : list of list of str
        What the cells of each line look like.
    first : int
        The first line with a time.
    timed : sequence of int
        Lines with a time.

    Returns
    -------
    int

    Examples
    --------
    >>> whole = ["moment", "number", "number"]
    >>> first_like([["number"] * 3, ["moment", "missing", "number"], whole, whole], 2, [2, 3])
    1
    """
    usual = Counter(tuple(kinds[n]) for n in timed).most_common(1)[0][0]
    for n in range(first - 1, -1, -1):
        pairs = list(zip(kinds[n], usual, strict=False))
        untimed = any(other in TIME_KINDS and kind not in (other, "missing") for kind, other in pairs)
        alike = sum(kind == other for kind, other in pairs)
        if untimed or len(kinds[n]) > len(usual) or "text" in kinds[n] or alike < min(2, len(usual)):
            return n + 1
    return 0


def header_above(rows: Rows, kinds: Rows, first: int, timed: list[int], wanted: Sequence[str]) -> int | None:
    """Find the header: the line with the wanted names, else the nearest with a word for time, else the nearest.

    Parameters
    ----------
    rows, kinds : list of list of str
        The lines' cells, and what each looks like.
    first : int
        The first reading.
    timed : list of int
        Lines with a time.
    wanted : sequence of str
        Names of columns that the user gave.

    Returns
    -------
    int or None
    """
    width = Counter(len(rows[n]) for n in timed).most_common(1)[0][0]
    names = {name.strip().lower() for each in wanted for name in (each, *(column for _, column in parts_said(each)))}
    filled = [n for n in range(first - 1, -1, -1) if any(rows[n])]
    ranks: dict[int, int] = {}
    for distance, n in enumerate(filled):
        if sum(1 for cell in rows[n] if cell) < 2 or DATA_KINDS & {*kinds[n]}:
            continue
        if names & {cell.lower() for cell in rows[n]}:
            ranks[n] = 3
        elif distance < HEADER_LINES and any(TIME_WORDS.search(cell) for cell in rows[n]):
            ranks[n] = 2
        elif distance < HEADER_LINES and len(rows[n]) >= width - 1:
            ranks[n] = 1
    return max(ranks, key=ranks.__getitem__) if ranks else None  # of equal ones the nearest: it was put in first
