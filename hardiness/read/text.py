"""The lines of a text file, read by pieces: a file of a gigabyte never stands in memory as a whole.

In: a stream of UTF-8 bytes. Out: any range of them, or any line by its row number. Every line ends with a line feed
here, whatever ends it in the file. Pieces are counted once, so that a row is found without reading all before it.
"""

from __future__ import annotations

import codecs
import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import BinaryIO, cast

import numpy as np
from numpy.typing import NDArray

PIECE = 1 << 20  # [bytes] read at a time


@dataclass(frozen=True, slots=True)
class Scan:
    """What is known of a stream's bytes once they were looked at.

    Parameters
    ----------
    breaks : numpy.ndarray of int64
        Line feeds in each piece.
    is_utf8 : bool
        Whether the bytes are UTF-8.
    is_filled : bool
        Whether anything but white space stands there.
    nuls : dict of int to int
        By row, how many NUL bytes it has.
    """

    breaks: NDArray[np.int64]
    is_utf8: bool
    is_filled: bool
    nuls: dict[int, int] = field(default_factory=dict)


class Text:
    """A text's lines, each ended by a line feed.

    Parameters
    ----------
    stream : binary file
        UTF-8; left open.
    start, stop : int
        Range of the stream's bytes that are the text.
    scan : Scan
        What a look at them has told.
    returns : bool
        Whether carriage returns end the lines.
    """

    def __init__(self, stream: BinaryIO, start: int, stop: int, scan: Scan, *, returns: bool = False) -> None:
        self._stream, self._start, self._stop, self._returns = stream, start, stop, returns
        self._rows = np.concatenate(([0], np.cumsum(scan.breaks)))  # rows that end before each piece
        whole = stop == start or self._raw(stop - 1, stop) == b"\n"
        self.size = stop - start + (not whole)
        self.lines = int(self._rows[-1]) + (not whole)

    @classmethod
    def of(cls, data: bytes) -> Text:
        r"""Make a text of bytes in memory.

        Parameters
        ----------
        data : bytes
            UTF-8.

        Returns
        -------
        Text

        Examples
        --------
        >>> text = Text.of(b"Time,Temp\n2023-01-14 06:05,-3.2")
        >>> text.lines, text.size, text.line(2)
        (2, 32, '2023-01-14 06:05,-3.2')
        """
        stream = cast(BinaryIO, io.BytesIO(data))
        return cls(stream, 0, len(data), scan_stream(stream, 0, len(data)))

    def _raw(self, start: int, stop: int) -> bytes:
        self._stream.seek(start)
        data = self._stream.read(stop - start)
        return data.replace(b"\r", b"\n") if self._returns else data

    def piece(self, start: int, stop: int) -> bytes:
        """Read a range of bytes.

        Parameters
        ----------
        start, stop : int
            Counted from the text's beginning; beyond its end is nothing.

        Returns
        -------
        bytes
        """
        data = self._raw(self._start + start, min(self._start + stop, self._stop))
        return data + b"\n" if start < self.size <= stop and self.size > self._stop - self._start else data

    def length_of_line(self, start: int) -> int:
        """Measure a line without keeping it.

        Parameters
        ----------
        start : int
            Where it begins. [bytes]

        Returns
        -------
        int
            Without its line feed. [bytes]
        """
        for at in range(start, self.size, PIECE):
            end = self.piece(at, at + PIECE).find(b"\n")
            if end >= 0:
                return at + end - start
        return self.size - start

    def line(self, row: int) -> str:
        """Get the text of a row.

        Parameters
        ----------
        row : int
            Counted from 1.

        Returns
        -------
        str
        """
        return self.bytes_of_line(row).decode("utf-8", "replace").strip(" \r")

    def bytes_of_line(self, row: int) -> bytes:
        """Get the bytes of a row, without its line feed.

        Parameters
        ----------
        row : int
            Counted from 1.

        Returns
        -------
        bytes
        """
        # the line begins after the (row - 1)th line feed: in the first piece by whose end so many have passed
        number = int(np.searchsorted(self._rows, row - 1)) - 1 if row > 1 else 0
        data = self.piece(number * PIECE, (number + 1) * PIECE)
        start = 0
        if row > 1:
            breaks = np.flatnonzero(np.frombuffer(data, np.uint8) == ord("\n"))
            start = int(breaks[row - 2 - int(self._rows[number])]) + 1
        while (end := data.find(b"\n", start)) < 0 and (number + 1) * PIECE < self.size:
            number += 1
            data = data[start:] + self.piece(number * PIECE, (number + 1) * PIECE)
            start = 0
        return data[start : end if end >= 0 else len(data)]


def pieces_of(stream: BinaryIO, start: int, stop: int) -> Iterator[bytes]:
    """Read a range of a stream piece by piece.

    Parameters
    ----------
    stream : binary file
        Where from.
    start, stop : int
        The range. [bytes]

    Yields
    ------
    bytes
    """
    for at in range(start, stop, PIECE):
        stream.seek(at)
        yield stream.read(min(PIECE, stop - at))


def scan_stream(stream: BinaryIO, start: int, stop: int, *, line_end: bytes = b"\n") -> Scan:
    r"""Look at all bytes of a range once.

    Parameters
    ----------
    stream : binary file
        Where from.
    start, stop : int
        The range. [bytes]
    line_end : bytes
        The byte that ends a line.

    Returns
    -------
    Scan

    Examples
    --------
    >>> scan = scan_stream(io.BytesIO(b"a,b\n1,\x00\x00\n"), 0, 9)
    >>> scan.breaks.tolist(), scan.is_utf8, scan.nuls
    ([2], True, {2: 2})
    """
    breaks, row, is_filled, is_utf8 = list[int](), 1, False, True
    nuls: dict[int, int] = {}
    decoder = codecs.getincrementaldecoder("utf-8")()
    pending = False
    for data in pieces_of(stream, start, stop):
        breaks.append(data.count(line_end))
        is_filled = is_filled or bool(data.strip(b" \t\r\n\x0b\x0c\x1a"))
        if is_utf8 and (pending or not data.isascii()):
            try:
                decoder.decode(data)
                pending = bool(decoder.getstate()[0])
            except UnicodeDecodeError:
                is_utf8 = False
        if b"\x00" in data:
            bare = np.frombuffer(data, np.uint8)
            rows = row + np.searchsorted(np.flatnonzero(bare == line_end[0]), np.flatnonzero(bare == 0))
            for each, count in zip(*np.unique(rows, return_counts=True), strict=True):
                nuls[int(each)] = nuls.get(int(each), 0) + int(count)
        row += breaks[-1]
    return Scan(np.array(breaks, np.int64), is_utf8 and not pending, is_filled, nuls)
