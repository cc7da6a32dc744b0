"""A text file as lines of clean UTF-8, or why it is no text.

In: the path of a file that someone calls a logger's export. Out: its lines (:class:`hardiness.read.text.Text`) in
UTF-8, without a byte order mark, also of a gzipped file or an XLSX workbook. UTF-8 and UTF-16 are recognised; other
bytes are read as Windows-1251 where they are Cyrillic words, else as Windows-1252, which has Latin-1's degree sign. The
first megabyte is looked at before the rest is read, so that a picture or a film costs nothing; and no file is ever held
in memory as a whole.
"""

from __future__ import annotations

import codecs
import gzip
import re
import tempfile
import zlib
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO, cast

from hardiness.errors import InputError, Problem
from hardiness.read.sheet_text import write_sheet
from hardiness.read.text import PIECE, Scan, Text, pieces_of, scan_stream

HEAD = 1 << 20  # [bytes] looked at before the rest is read
IN_MEMORY = 1 << 25  # [bytes] what had to be put into UTF-8 lies on the disk when it is larger
LONGEST_LINE = 1 << 16  # [bytes] a line of readings is some tens of bytes, a wide one a few thousand
CONTROL_SHARE = 0.02  # more control characters than this and the file is no text
EXPORT_HINT = "Export the readings as CSV (delimited text) and give that file."
LISTED = 20  # faults listed one by one; more are counted
TEXT = "a delimited text file (CSV) of readings"

# First bytes of files given by mistake, from their formats' own descriptions.
_KINDS = (
    (b"PK\x03\x04", "a zip archive"),
    (b"PK\x05\x06", "a zip archive"),
    (b"\x89PNG\r\n\x1a\n", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"GIF8", "a GIF picture"),
    (b"%PDF-", "a PDF document"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "a workbook or document in an old office format (xls, doc)"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
    (b"Rar!\x1a\x07", "a rar archive"),
    (b"\x89HDF\r\n\x1a\n", "a NetCDF or HDF5 file"),
    (b"CDF\x01", "a NetCDF file"),
    (b"CDF\x02", "a NetCDF file"),
    (b"SQLite format 3\x00", "a database"),
    (b"{\\rtf", "a formatted document (rtf)"),
)
_XLSX_PARTS = (b"xl/", b"[Content_Types].xml")
_WORKBOOK_PARTS = (*_XLSX_PARTS, b"application/vnd.oasis.opendocument.spreadsheet")
_GZIP = b"\x1f\x8b"
MOST_UNPACKED = 1 << 32  # [bytes] of a gzipped file: four times the largest file tried
_CYRILLIC = re.compile(rb"[\xc0-\xff]{4}")  # four accented letters in a row are no Western word
_BREAKS = b"\n\r"
_CONTROLS = bytes(set(range(1, 32)) - set(b"\t\n\r\x0c\x1a"))  # NUL is told apart; \x1a: an old system's end mark


@dataclass(frozen=True, slots=True)
class PlainText:
    """A text file, opened.

    Parameters
    ----------
    text : Text
        Its lines, UTF-8.
    encoding : str
        What the file was written in; ``xlsx``: a workbook.
    said : list of str
        Sentences for the user.
    """

    text: Text
    encoding: str
    said: list[str] = field(default_factory=list)


@contextmanager
def open_plaintext(path: Path, *, file: str) -> Iterator[PlainText]:
    """Open a text file, whatever it is encoded in.

    Parameters
    ----------
    path : Path
        The file.
    file : str
        Its name, for messages.

    Yields
    ------
    PlainText
        Good until the end of the ``with`` block.

    Raises
    ------
    InputError
        If there is no such file, it cannot be unpacked, is empty, is no text (a workbook, a picture, an archive, ...),
        holds NUL bytes, or has a line too long to be a row of readings.
    """
    with ExitStack() as open_files:
        try:
            stream: BinaryIO = open_files.enter_context(path.open("rb"))
            head = stream.read(HEAD)
        except (FileNotFoundError, IsADirectoryError, PermissionError) as error:
            what = {FileNotFoundError: "no such file", IsADirectoryError: "a folder"}.get(
                type(error), "a file that may not be read"
            )
            raise InputError(Problem(what, "a file of readings", file=file)) from None
        if head.startswith(_GZIP):
            packed, stream = stream, open_files.enter_context(_spooled())
            _unpack(packed, stream, file)
            head = stream.read(HEAD)
        said: list[str] | None = None
        if head.startswith(_KINDS[0][0]) and any(part in head for part in _XLSX_PARTS):
            packed, stream = stream, open_files.enter_context(_spooled())
            said = write_sheet(packed, stream, file)
            head = stream.read(HEAD)
        _refuse_other_kinds(head, file)
        encoding = _encoding(head)
        _refuse_one_line(head, stream, file)
        start, stop = len(codecs.BOM_UTF8) if encoding == "utf-8-sig" else 0, stream.seek(0, 2)
        scan = None if encoding.startswith("utf-16") else scan_stream(stream, start, stop)
        if scan is None or not scan.is_utf8:
            if scan is not None:
                encoding = "cp1251" if _CYRILLIC.search(head) else "cp1252"
            stream = open_files.enter_context(_in_utf8(stream, start, stop, encoding))
            start, stop = 0, stream.seek(0, 2)
            scan = scan_stream(stream, start, stop)
        returns = not scan.breaks.any()
        if returns:
            scan = scan_stream(stream, start, stop, line_end=b"\r")
        _refuse_nul(stream, start, scan, file)
        stop = _without_end_marks(stream, start, stop)
        if not scan.is_filled or stop == start:
            raise InputError(Problem("a file with nothing but white space", TEXT, file=file))
        text = Text(stream, start, stop, scan, returns=returns)
        yield PlainText(text, encoding.removesuffix("-sig")[:6] if said is None else "xlsx", said or [])


def _in_utf8(stream: BinaryIO, start: int, stop: int, encoding: str) -> BinaryIO:
    """Copy a stream into UTF-8, piece by piece; what is large lies on the disk until it is closed."""
    copy = _spooled()
    decoder = codecs.getincrementaldecoder(encoding)(errors="replace")
    first = True
    for data in pieces_of(stream, start, stop):
        text = decoder.decode(data)
        copy.write((text.removeprefix("\ufeff") if first else text).encode())
        first = first and not text
    copy.write(decoder.decode(b"", final=True).encode())
    return copy


def _spooled() -> BinaryIO:
    """Open a file that lies on the disk only when it is large."""
    return cast(BinaryIO, tempfile.SpooledTemporaryFile(max_size=IN_MEMORY))


def _unpack(packed: BinaryIO, into: BinaryIO, file: str) -> None:
    """Unpack a gzipped file piece by piece, and go back to its beginning."""
    packed.seek(0)
    try:
        with gzip.GzipFile(fileobj=packed) as unpacked:
            while data := unpacked.read(PIECE):
                if into.tell() + len(data) > MOST_UNPACKED:
                    found = f"a gzip file that unpacks to more than {MOST_UNPACKED} bytes"
                    raise InputError(Problem(found, TEXT, file=file))
                into.write(data)
    except (EOFError, gzip.BadGzipFile, zlib.error) as error:
        raise InputError(Problem(f"a gzip file that cannot be unpacked ({error})", "a whole one", file=file)) from None
    into.seek(0)


def _without_end_marks(stream: BinaryIO, start: int, stop: int) -> int:
    """Find where a text ends without the end marks that an old system put behind it."""
    while stop > start:
        begin = max(start, stop - PIECE)
        stream.seek(begin)
        data = stream.read(stop - begin)
        stop = begin + len(data.rstrip(b"\x1a"))
        if stop > begin:
            break
    return stop


def _refuse_other_kinds(head: bytes, file: str) -> None:
    if not head:
        raise InputError(Problem("an empty file", TEXT, file=file))
    for magic, what in _KINDS:
        if head.startswith(magic):
            if what == "a zip archive" and any(part in head for part in _WORKBOOK_PARTS):
                what = "a workbook (xlsx, ods)"
            raise InputError(Problem(what, TEXT, file=file, hint=EXPORT_HINT))


def _encoding(head: bytes) -> str:
    if head.startswith(codecs.BOM_UTF8):
        return "utf-8-sig"
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    if len(head) >= 4:  # Latin text in UTF-16 without its mark: every other byte is NUL
        even, odd = head[0::2].count(0), head[1::2].count(0)
        if odd > 0.9 * (len(head) // 2) and not even:
            return "utf-16-le"
        if even > 0.9 * (len(head) // 2) and not odd:
            return "utf-16-be"
    return "utf-8"


def _refuse_one_line(head: bytes, stream: BinaryIO, file: str) -> None:
    """Refuse a long file without line breaks before the rest of it is read."""
    if len(head) == HEAD and not any(head.find(byte) >= 0 for byte in _BREAKS):
        size = stream.seek(0, 2)
        raise InputError(
            Problem(
                f"a file of {size} bytes with no line break in the first {HEAD}",
                f"one reading a line, no line longer than {LONGEST_LINE} bytes",
                file=file,
                row=1,
                hint=EXPORT_HINT,
            )
        )


def _refuse_nul(stream: BinaryIO, start: int, scan: Scan, file: str) -> None:
    stream.seek(start)
    head = stream.read(HEAD)
    if len(head) - len(head.translate(None, _CONTROLS)) > CONTROL_SHARE * len(head):
        raise InputError(Problem("bytes that are no text", TEXT, file=file, hint=EXPORT_HINT))
    hint = "The file was damaged on its card or in copying: export it anew, or cut these rows."
    problems: list[Problem | str] = [
        Problem(f"{count} NUL byte{'s' if count > 1 else ''}", "text", file=file, row=row, hint=hint)
        for row, count in list(scan.nuls.items())[:LISTED]
    ]
    if (others := len(scan.nuls) - LISTED) > 0:
        problems.append(f"{file}: {others} more rows with NUL bytes.")
    if problems:
        raise InputError(problems)
