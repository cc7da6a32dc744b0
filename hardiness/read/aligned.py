"""Columns lined up by blanks: lines split where blanks stand, and names given to the cells below them.

In: lines whose cells have one blank or more between them, or two or more where single ones stand inside of cells. Out:
cells, and the names of columns. A cell left empty cannot be told from the blanks around it: such rows are faults.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from hardiness.errors import InputError, Problem

TWO_BLANKS, BLANKS = "  ", " "
ALIGNED = {TWO_BLANKS: "two blanks or more", BLANKS: "blanks"}
ALIGNED_HINT = "Columns lined up by blanks? Save the file as CSV, or put a tab between its cells."
EMPTY_HINT = "A cell left empty cannot be told from blanks between cells: save the file as CSV, or write NaN into it."
_RUNS = {TWO_BLANKS: re.compile(r" {2,}"), BLANKS: re.compile(r" +")}
_BLANK = ord(" ")

Indices = NDArray[np.int64]
Span = tuple[int, int]


def spans_of(line: str, mark: str) -> list[Span]:
    """Find the cells of a line; blanks inside quotes part nothing.

    Parameters
    ----------
    line : str
    mark : str
        Of :data:`ALIGNED`.

    Returns
    -------
    list of (int, int)
        First character of each cell, and the one after its last.

    Examples
    --------
    >>> spans_of(" 2023-01-14 06:05   -3.2 ", "  ")
    [(1, 17), (20, 24)]
    """
    text = line.rstrip(" \r")
    quotes = [n for n, character in enumerate(text) if character == '"']
    quotes = quotes if len(quotes) % 2 == 0 else []
    start = len(text) - len(text.lstrip(" "))
    spans = []
    for run in _RUNS[mark].finditer(text, start):
        if sum(quote < run.start() for quote in quotes) % 2 == 0:
            spans.append((start, run.start()))
            start = run.end()
    return [*spans, (start, len(text))]


def split_aligned(line: str, mark: str) -> list[str]:
    """Split a line into cells without their quotes.

    Parameters
    ----------
    line : str
    mark : str
        Of :data:`ALIGNED`.

    Returns
    -------
    list of str
    """
    return [line[start:end].removeprefix('"').removesuffix('"').strip() for start, end in spans_of(line, mark)]


def blanks_between(raw: bytes, mark: str, line_starts: Indices, line_ends: Indices) -> tuple[Indices, Indices, Indices]:
    """Find the blanks between cells in whole lines.

    Parameters
    ----------
    raw : bytes
        The lines.
    mark : str
        Of :data:`ALIGNED`.
    line_starts, line_ends : numpy.ndarray of int64
        Byte range of each line, white space at its end cut off.

    Returns
    -------
    starts : numpy.ndarray of int64
        Where the first cell of each line begins.
    opens, closes : numpy.ndarray of int64
        First and last blank of each run that stands between two cells.
    """
    blank = np.frombuffer(raw, np.uint8) == _BLANK
    edges = np.flatnonzero(np.diff(np.concatenate(([False], blank, [False])).astype(np.int8)))
    first, last = edges[::2], edges[1::2] - 1
    line = np.searchsorted(line_starts, first, side="right") - 1
    leading, trailing = first == line_starts[line], first >= line_ends[line]
    starts = line_starts.copy()
    starts[line[leading]] = np.minimum(last[leading] + 1, line_ends[line[leading]])
    between = ~leading & ~trailing & (last - first + 1 >= len(mark))
    return starts, first[between], last[between]


def name_columns(header: str, row: str, kinds: Sequence[str], mark: str) -> list[str] | None:
    """Give the words of a header to the cells that stand below them.

    Parameters
    ----------
    header, row : str
        The header, and a row of readings.
    kinds : sequence of str
        What the row's cells look like.
    mark : str
        What parts the row.

    Returns
    -------
    list of str or None
        A name for each cell; None where that is not plain.

    Examples
    --------
    >>> kinds = ["date", "clock", "number", "number"]
    >>> name_columns("Time  Air (C)  RH", "2023-01-14 06:05  -3.2  88", kinds, " ")
    ['Time', 'Time of day', 'Air (C)', 'RH']
    >>> name_columns("Date       Time  Air temp   RH", "2023-01-14 06:05      -3.2   88", kinds, " ")
    ['Date', 'Time', 'Air temp', 'RH']
    """
    cells = spans_of(row, mark)
    clocks = [n + 1 for n, pair in enumerate(pairwise(kinds)) if pair == ("date", "clock")]
    lined_up = len(spans_of(header, TWO_BLANKS)) > 1
    if lined_up and (names := _names_above(header, cells, TWO_BLANKS) or _names_above(header, cells, BLANKS)):
        return names
    names = split_aligned(header, TWO_BLANKS if lined_up else BLANKS)
    if len(names) == len(cells) - 1 and len(clocks) == 1:  # one name stands for a date and its time of day
        names.insert(clocks[0], "Time of day")
    return names if len(names) == len(cells) else None


def _names_above(header: str, cells: Sequence[Span], mark: str) -> list[str] | None:
    """Give each cell the words that stand above it; None where one has none, or a word stands above none or several."""
    words: list[list[str]] = [[] for _ in cells]
    for start, end in spans_of(header, mark):
        above = [n for n, cell in enumerate(cells) if min(end, cell[1]) > max(start, cell[0])]
        if len(above) != 1:
            return None
        words[above[0]].append(header[start:end].strip('"'))
    return [" ".join(each) for each in words] if all(words) else None


def refuse_header(file: str, row: int, header: str) -> InputError:
    """Make the error that refuses a header of which it is not plain which word names which cell.

    Parameters
    ----------
    file : str
    row : int
        The header's.
    header : str

    Returns
    -------
    InputError
    """
    found = f"columns lined up by blanks below '{' '.join(header.split())}'"
    accepted = "a header with a name for each cell, above that cell"
    return InputError(Problem(found, accepted, file=file, row=row, hint=ALIGNED_HINT.partition("? ")[2]))
