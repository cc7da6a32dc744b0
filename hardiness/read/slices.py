"""A text file's rows and cells as ranges of bytes, so that a million of them are read without a loop over rows.

In: UTF-8 bytes and a delimiter. Out: blocks of whole lines, the byte range of any column's cells in a block, and those
cells grouped by *shape*: the cell with every digit as ``0`` and every letter in lower case. Cells of one shape have
their parts at the same places (``2023-01-14`` and ``2023-11-02`` are both ``0000-00-00``), so a shape is understood
once and its cells are read column of bytes by column of bytes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hardiness.errors import InputError, Problem
from hardiness.read.aligned import ALIGNED, blanks_between
from hardiness.read.plaintext import LONGEST_LINE
from hardiness.read.text import Text

BLOCK = 1 << 20  # [bytes] some 40,000 rows: its arrays stay in the processor's cache
LONGEST_CELL = 80  # [bytes] no time or temperature is longer
MOST_SHAPES = 200  # of one length in one block; 12-hour times with names of months and weekdays have up to 168
FEW_SHAPES = 12  # of one length: numbers and dates in digits have no more
DIGIT = ord("0")
_QUOTE = ord('"')
_SHAPE = bytes(
    DIGIT if chr(byte).isdigit() and byte < 128 else byte + 32 if ord("A") <= byte <= ord("Z") else byte
    for byte in range(256)
)

Indices = NDArray[np.int64]
Bytes = NDArray[np.uint8]
Span = tuple[int, int]


def shape_of(cell: bytes) -> bytes:
    """Make the digits and letters of a cell alike.

    Parameters
    ----------
    cell : bytes

    Returns
    -------
    bytes
        Lower case, every digit a 0.

    Examples
    --------
    >>> shape_of(b"2023-01-14 6:05 PM")
    b'0000-00-00 0:00 pm'
    """
    return cell.translate(_SHAPE)


@dataclass(frozen=True, slots=True)
class Block:
    """Some whole lines of a file.

    Parameters
    ----------
    raw, shape : bytes
        The lines, and the same with digits and letters made alike.
    starts, ends : numpy.ndarray
        Byte range of each line, white space at its end cut off.
    marks, opens : numpy.ndarray
        Places of the delimiters, in order, where cells end; and those before which the next cells begin: of a run of
        blanks the last one, else the same.
    first_mark, counts : numpy.ndarray
        For each line the index of its first delimiter in ``marks``, and how many it has.
    first_row : int
        Row number of the first line, counted from 1.
    end : int
        Where the block ends in the file. [bytes]
    """

    raw: bytes
    shape: bytes
    starts: Indices
    ends: Indices
    marks: Indices
    opens: Indices
    first_mark: Indices
    counts: Indices
    first_row: int
    end: int

    def cells(self, column: int, lines: Indices) -> tuple[Indices, Indices, NDArray[np.bool_]]:
        """Find the cells of one column.

        Parameters
        ----------
        column : int
            Counted from 0.
        lines : numpy.ndarray of int64
            Which lines.

        Returns
        -------
        starts, ends : numpy.ndarray
            Their byte ranges; empty where the line has no such cell.
        present : numpy.ndarray of bool
            Whether the line reaches that far.
        """
        whole = lines.size == self.starts.size  # the usual block has no blank line: spare the copies
        starts, ends, counts, here = (
            values if whole else values[lines] for values in (self.starts, self.ends, self.counts, self.first_mark)
        )
        present, last = counts >= column, self.marks.size - 1
        if last >= 0:
            within = counts > column
            closing = self.marks[np.minimum(here + column, last)]
            ends = closing if within.all() else np.where(within, closing, ends)
            if column:
                starts = self.opens[np.minimum(here + column - 1, last)] + 1
        if not present.all():
            starts, ends = np.where(present, starts, 0), np.where(present, ends, 0)
        return starts, np.maximum(ends, starts), present

    def has_more(self, columns: int) -> NDArray[np.bool_]:
        """Tell which lines have something beyond their first ``columns`` cells (empty cells are nothing).

        Parameters
        ----------
        columns : int
            One or more.

        Returns
        -------
        ndarray of bool, dims (line,)
        """
        more = self.counts >= columns
        if more.any():
            mark = self.marks[np.minimum(self.first_mark + columns - 1, self.marks.size - 1)]
            more &= self.ends - mark > self.counts - columns + 1
        if more.any():  # quotes around nothing are nothing too
            bare = np.frombuffer(self.raw, np.uint8)
            filled = ~np.isin(bare, np.append(np.frombuffer(b'" \t\r', np.uint8), bare[self.marks[:1]]))
            so_far = np.concatenate(([0], np.cumsum(filled)))
            more &= so_far[self.ends] > so_far[mark + 1]
        return more


def blocks(text: Text, delimiter: str, *, start: int, first_row: int, file: str) -> Iterator[Block]:
    """Cut a file into blocks of whole lines.

    Parameters
    ----------
    text : Text
        The file's lines.
    delimiter : str
        Of :data:`hardiness.read.opening.MARKS`; inside quotes it parts nothing.
    start : int
        Where to begin: the start of a line. [bytes]
    first_row : int
        Row number of that line.
    file : str
        The file's name, for messages.

    Yields
    ------
    Block

    Raises
    ------
    InputError
        If a line is too long to be a row of readings, or the file became shorter while it was read.
    """
    mark = None if delimiter in ALIGNED else ord(delimiter)
    while start < text.size:
        raw = text.piece(start, start + BLOCK)
        whole = raw.rfind(b"\n") + 1
        if not whole:  # a line longer than a block: it is measured before it is kept
            length = text.length_of_line(start)
            _refuse_long_lines(np.array([length]), first_row, file)
            raw = text.piece(start, start + length + 1)
            whole = raw.rfind(b"\n") + 1
        if not whole:
            raise InputError(Problem("a file that is being changed", "a finished export", file=file, row=first_row))
        raw = raw[:whole]
        line_ends = np.flatnonzero(np.frombuffer(raw, np.uint8) == ord("\n"))
        line_starts = np.concatenate(([0], line_ends[:-1] + 1))
        _refuse_long_lines(line_ends - line_starts, first_row, file)
        ends = _without_space(np.frombuffer(raw, np.uint8), line_starts, line_ends, mark)
        if mark is None:
            line_starts, marks, opens = blanks_between(raw, delimiter, line_starts, ends)
        else:
            marks = opens = np.flatnonzero(np.frombuffer(raw, np.uint8) == mark)
        if _QUOTE in raw:
            outside = ~_quoted(np.frombuffer(raw, np.uint8), marks, line_starts)
            marks, opens = marks[outside], opens[outside]
        first_mark, counts = _marks_of_lines(marks, line_starts, line_ends)
        yield Block(
            raw, raw.translate(_SHAPE), line_starts, ends, marks, opens, first_mark, counts, first_row, start + whole
        )  # fmt: skip
        first_row += line_ends.size
        start += whole


def _refuse_long_lines(lengths: Indices, first_row: int, file: str) -> None:
    if lengths.max() > LONGEST_LINE:
        row = int(lengths.argmax())
        raise InputError(
            Problem(
                f"a line of {lengths[row]} bytes",
                f"one reading a line, no line longer than {LONGEST_LINE} bytes",
                file=file,
                row=first_row + row,
            )
        )


def _without_space(raw: Bytes, starts: Indices, ends: Indices, mark: int | None) -> Indices:
    """Move line ends before carriage returns and blanks, but never before a delimiter."""
    blank = np.zeros(256, bool)
    blank[[byte for byte in b" \t\r" if byte != mark]] = True
    ends = ends.copy()
    moving = np.flatnonzero((ends > starts) & blank[raw[np.maximum(ends - 1, 0)]])
    while moving.size:
        ends[moving] -= 1
        moving = moving[(ends[moving] > starts[moving]) & blank[raw[np.maximum(ends[moving] - 1, 0)]]]
    return ends


def _quoted(raw: Bytes, marks: Indices, line_starts: Indices) -> NDArray[np.bool_]:
    """Tell which delimiters stand inside quotes: after an odd number of quotes in their own line.

    A line with an odd number of quotes (an inch sign in a note) is taken as having none.
    """
    quotes = np.flatnonzero(raw == _QUOTE)
    line_of_mark = np.searchsorted(line_starts, marks, side="right") - 1
    before_line = np.searchsorted(quotes, np.append(line_starts, raw.size))
    before_mark = np.searchsorted(quotes, marks)
    even = np.diff(before_line) % 2 == 0
    inside = (before_mark - before_line[line_of_mark]) % 2 == 1
    return np.asarray(inside & even[line_of_mark])


def _marks_of_lines(marks: Indices, starts: Indices, ends: Indices) -> tuple[Indices, Indices]:
    lines = starts.size
    if lines and marks.size and marks.size % lines == 0:  # the usual file: every line has as many
        each = marks.size // lines
        if (marks[::each] >= starts).all() and (marks[each - 1 :: each] < ends).all():
            return np.arange(0, marks.size, each), np.full(lines, each)
    bounds = np.searchsorted(marks, np.append(starts, ends[-1] + 1))
    return bounds[:-1], np.diff(bounds)


def shapes(block: Block, starts: Indices, ends: Indices) -> Iterator[tuple[bytes | None, Indices, Bytes]]:
    """Group cells by shape.

    Parameters
    ----------
    block : Block
        Where the cells are.
    starts, ends : numpy.ndarray
        Their byte ranges.

    Yields
    ------
    shape : bytes or None
        The shape; None for cells that are too long, or of too many shapes, to be times or numbers.
    which : numpy.ndarray
        Which of the cells have it.
    cells : numpy.ndarray
        Their bytes, dims (cell, byte).
    """
    lengths = ends - starts
    if lengths.size and lengths.min() == lengths.max() <= LONGEST_CELL:
        groups = {int(lengths[0]): np.arange(lengths.size)}
    else:
        capped = np.minimum(lengths, LONGEST_CELL + 1).astype(np.uint8)
        groups = {length: np.flatnonzero(capped == length) for length in np.flatnonzero(np.bincount(capped)).tolist()}
    for length, which in groups.items():
        if length == 0 or length > LONGEST_CELL:
            yield None if length else b"", which, np.empty((which.size, 0), np.uint8)
            continue
        raw = _windows(block.raw, length)
        for n, (shape, chosen) in enumerate(_alike(_windows(block.shape, length)[starts[which]], which)):
            yield shape if n < MOST_SHAPES else None, chosen, raw[starts[chosen]].view(np.uint8).reshape(-1, length)


def _alike(forms: NDArray[np.bytes_], which: Indices) -> Iterator[tuple[bytes, Indices]]:
    """Group shapes of one length: peel off one after another; when there are many, sort, frequent ones first."""
    for _ in range(FEW_SHAPES):
        if not which.size:
            return
        first = bytes(forms[0])
        if forms.tobytes() == first * which.size:  # the usual column of times: compared at the speed of memory
            yield first, which
            return
        same = forms == forms[0]
        yield first, which[same]
        which, forms = which[~same], forms[~same]
    if which.size:
        names, group = np.unique(forms, return_inverse=True)
        order = np.argsort(group, kind="stable")
        parts = np.split(which[order], np.flatnonzero(np.diff(group[order])) + 1)
        yield from sorted(zip((bytes(name) for name in names), parts, strict=True), key=lambda part: -part[1].size)


def _windows(raw: bytes, length: int) -> NDArray[np.bytes_]:
    """See bytes as overlapping texts of one length, one beginning at each byte."""
    return np.ndarray((len(raw) - length + 1,), dtype=f"S{length}", buffer=raw, strides=(1,))


def whole_numbers(cells: Bytes, span: Span) -> NDArray[np.int64]:
    """Read the digits at one place of all cells as whole numbers.

    Parameters
    ----------
    cells : numpy.ndarray
        Bytes of cells of one shape, dims (cell, byte).
    span : tuple of int
        First byte and the byte after the last; at most 18 digits.

    Returns
    -------
    numpy.ndarray of int64

    Examples
    --------
    >>> cells = np.frombuffer(b"05:1012:45", np.uint8).reshape(2, 5)
    >>> whole_numbers(cells, (0, 2)).tolist(), whole_numbers(cells, (3, 5)).tolist()
    ([5, 12], [10, 45])
    """
    first, stop = span
    # the codes of the digits are summed, '0' taken away at the end: 32 bits are enough for eight of them
    values: NDArray[Any] = cells[:, first].astype(np.int32 if stop - first <= 8 else np.int64)
    for place in range(first + 1, stop):
        values *= 10
        values += cells[:, place]
    return values.astype(np.int64) - DIGIT * int("1" * (stop - first))
