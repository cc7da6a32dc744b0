"""The bytes of a text file as clean UTF-8, or why it is no text.

In: the path of a file that someone calls a logger's export. Out: UTF-8 bytes without a byte order mark, every line
ended by a line feed. UTF-8 and UTF-16 are recognised; other bytes are read as Windows-1252, which has Latin-1's degree
sign. The first megabyte is looked at before the rest is read, so that a picture or a film costs nothing.
"""

from __future__ import annotations

import codecs
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from hardiness.errors import InputError, Problem

HEAD = 1 << 20  # [bytes] looked at before the rest is read
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
    (b"\x1f\x8b", "a gzip archive"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
    (b"Rar!\x1a\x07", "a rar archive"),
    (b"\x89HDF\r\n\x1a\n", "a NetCDF or HDF5 file"),
    (b"CDF\x01", "a NetCDF file"),
    (b"CDF\x02", "a NetCDF file"),
    (b"SQLite format 3\x00", "a database"),
    (b"{\\rtf", "a formatted document (rtf)"),
)
_WORKBOOK_PARTS = (b"xl/", b"[Content_Types].xml", b"application/vnd.oasis.opendocument.spreadsheet")
_BREAKS = b"\n\r"
_CONTROLS = bytes(set(range(1, 32)) - set(b"\t\n\r\x0c\x1a"))  # NUL is told apart; \x1a: an old system's end mark


@dataclass(frozen=True, slots=True)
class PlainText:
    """A text file's content.

    Parameters
    ----------
    data : bytes
        UTF-8, lines ended by a line feed (a carriage return before it may remain).
    encoding : str
        What the file was written in.
    """

    data: bytes
    encoding: str


def read_plaintext(path: Path, *, file: str) -> PlainText:
    """Read a text file, whatever it is encoded in.

    Parameters
    ----------
    path : Path
        The file.
    file : str
        Its name, for messages.

    Returns
    -------
    PlainText

    Raises
    ------
    InputError
        If there is no such file, it is empty, is no text (a workbook, a picture, an archive, ...), holds NUL bytes,
        or has a line too long to be a row of readings.
    """
    try:
        with path.open("rb") as stream:
            head = stream.read(HEAD)
            _refuse_other_kinds(head, file)
            encoding = _encoding(head)
            _refuse_one_line(head, stream, file)
            stream.seek(0)
            data = stream.read()
    except (FileNotFoundError, IsADirectoryError, PermissionError) as error:
        what = {FileNotFoundError: "no such file", IsADirectoryError: "a folder"}.get(
            type(error), "a file that may not be read"
        )
        raise InputError(Problem(what, "a file of readings", file=file)) from None
    data, encoding = _to_utf8(data, encoding)
    if b"\n" not in data:
        data = data.replace(b"\r", b"\n")
    data = data.rstrip(b"\x1a")
    _refuse_nul(data, file)
    if not data.strip():
        raise InputError(Problem("a file with nothing but white space", TEXT, file=file))
    return PlainText(data if data.endswith(b"\n") else data + b"\n", encoding)


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


def _to_utf8(data: bytes, encoding: str) -> tuple[bytes, str]:
    if encoding.startswith("utf-16"):
        return data.decode(encoding, errors="replace").removeprefix("\ufeff").encode(), encoding[:6]
    if encoding == "utf-8-sig":
        data = data[len(codecs.BOM_UTF8) :]
    if data.isascii():
        return data, "utf-8"
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace").encode(), "cp1252"
    return data, "utf-8"


def _refuse_nul(data: bytes, file: str) -> None:
    head = data[:HEAD]
    if len(head) - len(head.translate(None, _CONTROLS)) > CONTROL_SHARE * len(head):
        raise InputError(Problem("bytes that are no text", TEXT, file=file, hint=EXPORT_HINT))
    problems: list[Problem | str] = []
    row, position, others = 1, 0, 0
    while (at := data.find(b"\x00", position)) >= 0:
        row += data.count(b"\n", position, at)
        position = data.find(b"\n", at)
        position = len(data) if position < 0 else position
        if len(problems) == LISTED:
            others += 1
            continue
        count = data.count(b"\x00", at, position)
        found = f"{count} NUL byte{'s' if count > 1 else ''}"
        hint = "The file was damaged on its card or in copying: export it anew, or cut these rows."
        problems.append(Problem(found, "text", file=file, row=row, hint=hint))
    if others:
        problems.append(f"{file}: {others} more rows with NUL bytes.")
    if problems:
        raise InputError(problems)
