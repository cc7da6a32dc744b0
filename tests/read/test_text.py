"""A text is read by pieces: any range, any line, whatever ends the lines, and without ever holding the whole file."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hardiness.errors import InputError
from hardiness.read import text as module
from hardiness.read.plaintext import open_plaintext
from hardiness.read.text import Text, scan_stream

LINES = st.lists(st.text("ab,;\u00e9\u00b0 ", max_size=12), min_size=1, max_size=30)


def opened(path: Path) -> tuple[str, list[str], int]:
    """Encoding, lines and size of a file as the reader sees it."""
    with open_plaintext(path, file=path.name) as plain:
        return plain.encoding, [plain.text.line(n) for n in range(1, plain.text.lines + 1)], plain.text.size


@settings(max_examples=150, deadline=None, derandomize=True)
@given(LINES, st.integers(2, 40), st.booleans())
def test_every_line_is_found_by_its_row_however_small_the_pieces(lines, piece, ended):
    data = "\n".join(lines).encode() + (b"\n" if ended else b"")
    expected = data.decode().removesuffix("\n").split("\n") if data else []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "PIECE", piece)
        text = Text.of(data)
        assert text.lines == len(expected)
        assert [text.line(row) for row in range(1, text.lines + 1)] == [line.strip(" \r") for line in expected]
        whole = data if data.endswith(b"\n") or not data else data + b"\n"
        assert text.size == len(whole)
        assert text.piece(0, text.size) == whole
        assert b"".join(text.piece(at, at + piece) for at in range(0, text.size, piece)) == whole


@settings(max_examples=100, deadline=None, derandomize=True)
@given(LINES, st.integers(1, 30), st.binary(max_size=3))
def test_a_look_by_pieces_tells_what_a_look_at_the_whole_does(lines, piece, tail):
    data = "\n".join(lines).encode() + tail
    try:
        data.decode()
        is_utf8 = True
    except UnicodeDecodeError:
        is_utf8 = False
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "PIECE", piece)
        scan = scan_stream(io.BytesIO(data), 0, len(data))
    assert scan.is_utf8 == is_utf8
    assert int(scan.breaks.sum()) == data.count(b"\n")
    by_row = {n: line.count(b"\x00") for n, line in enumerate(data.split(b"\n"), start=1) if b"\x00" in line}
    assert scan.nuls == by_row


def test_the_length_of_a_line_is_measured_over_pieces(monkeypatch):
    monkeypatch.setattr(module, "PIECE", 8)
    text = Text.of(b"time\n" + b"7" * 100 + b"\nend")
    assert (text.length_of_line(0), text.length_of_line(5), text.length_of_line(106)) == (4, 100, 3)


@pytest.mark.parametrize(
    ("data", "encoding"),
    [
        ("t;°C\n1;2\n".encode(), "utf-8"),
        ("t;°C\n1;2\n".encode("utf-8-sig"), "utf-8"),
        ("t;°C\n1;2\n".encode("latin-1"), "cp1252"),
        ("t;°C\n1;2\n".encode("utf-16"), "utf-16"),
        ("t;°C\n1;2\n".encode("utf-16-be"), "utf-16"),
        ("t;°C\r1;2\r".encode(), "utf-8"),
        ("t;°C\r1;2".encode("latin-1"), "cp1252"),
        ("t;°C\r\n1;2\r\n\x1a".encode(), "utf-8"),
    ],
)
def test_every_encoding_and_line_end_gives_the_same_lines(tmp_path, data, encoding):
    path = tmp_path / "l1.csv"
    path.write_bytes(data)
    found, lines, _ = opened(path)
    assert (found, [line for line in lines if line]) == (encoding, ["t;°C", "1;2"])


def test_a_character_cut_by_the_end_of_a_piece_is_one_character(tmp_path, monkeypatch):
    monkeypatch.setattr(module, "PIECE", 5)
    path = tmp_path / "l1.csv"
    path.write_bytes("t,°°°°°\n1,2\n".encode("utf-16"))
    assert opened(path)[1] == ["t,°°°°°", "1,2"]
    path.write_bytes("t,°°°°°\n1,2\n".encode())
    assert opened(path)[:2] == ("utf-8", ["t,°°°°°", "1,2"])


def test_what_had_to_be_put_into_utf8_lies_on_the_disk_when_it_is_large(tmp_path, monkeypatch):
    monkeypatch.setattr("hardiness.read.plaintext.IN_MEMORY", 1000)
    path = tmp_path / "l1.csv"
    rows = [f"2023-02-03 {n // 60:02d}:{n % 60:02d};-1,5 °C" for n in range(600)]
    path.write_bytes(("Time;Temp\n" + "\n".join(rows) + "\n").encode("latin-1"))
    encoding, lines, size = opened(path)
    assert (encoding, len(lines), lines[-1]) == ("cp1252", 601, rows[-1])
    assert size == len(("Time;Temp\n" + "\n".join(rows) + "\n").encode())


def test_nul_bytes_are_told_by_row_over_pieces(tmp_path, monkeypatch):
    monkeypatch.setattr(module, "PIECE", 7)
    path = tmp_path / "l1.csv"
    path.write_bytes(b"Time,Temp\n2023,\x00\x00\x00\n" + b"2023,1\n" * 20 + b"20\x0023,1\n")
    with pytest.raises(InputError) as error:
        opened(path)
    assert [(problem.row, problem.found) for problem in error.value.problems] == [
        (2, "3 NUL bytes"),
        (23, "1 NUL byte"),
    ]
