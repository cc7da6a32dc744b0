"""Tables for people: what a terminal shows at 80 and 160 characters, and what a pipe gets."""

import re
import shutil
import subprocess
import sys

import pandas as pd
import pytest

from hardiness.commands.printing import heading, print_table
from hardiness.schema import Column
from hardiness.settings import Settings
from tests.cli.conftest import Line, Terminal, as_csv, copied, environment, hardiness, readings, writing_to

LIGHT = ("freezes", "exposures", "observations", "history", "uploads")  # verbs that fit nothing


def plain(text: str) -> list[str]:
    return re.sub(r"\x1b\[[0-9;]*m", "", text).splitlines()


def shown(line: Line, monkeypatch, width: int, *words: str) -> list[str]:
    """What a terminal of a width shows."""
    monkeypatch.setenv("COLUMNS", str(width))
    screen = Terminal()
    assert writing_to(screen, *words, "--trial", line.folder) == 0
    return plain(screen.getvalue())


@pytest.fixture(scope="module")
def at_80(fitted: Line):
    """What a terminal of 80 characters shows, by verb."""
    with pytest.MonkeyPatch.context() as patch:
        return {verb: shown(fitted, patch, 80, verb) for verb in (*LIGHT, "floors", "compare", "claims")}


def test_no_line_is_wider_than_80_characters_and_no_cell_is_cut(at_80):
    for verb, lines in at_80.items():
        assert len(lines) > 3, verb
        assert max(len(line) for line in lines) <= 80, verb
        assert "…" not in "".join(lines), verb


@pytest.mark.parametrize("width", [50, 160])
@pytest.mark.parametrize("verb", LIGHT)
def test_nor_wider_than_another_terminal(fitted: Line, monkeypatch, verb, width):
    lines = shown(fitted, monkeypatch, width, verb)
    assert len(lines) > 3
    assert max(len(line) for line in lines) <= width


def test_the_columns_that_matter_most_are_there_at_80(at_80):
    wanted = {
        "freezes": ["freeze", "minimum", "duration", "held", "h ≤"],
        "exposures": ["plant", "selection", "freeze", "minimum", "held"],
        "observations": ["plant", "selection", "rootstock", "freeze", "exposure", "grade", "scored on"],
        "floors": ["selection", "rootstock", "tested", "low", "high", "floor", "claimable", "killed"],
        "compare": ["difference", "probability", "shared"],
        "claims": ["claimed", "probability", "half holds", "beyond", "floor"],
        "history": ["at", "action", "key", "change"],
        "uploads": ["upload", "file", "table", "counts"],
    }
    for verb, lines in at_80.items():
        head = " ".join(lines[: next(n for n, line in enumerate(lines) if re.search(r"\d{3}|OL-|CK-", line))])
        assert [name for name in wanted[verb] if name not in head] == [], verb


def test_probabilities_are_never_quite_sure(at_80):
    for verb in ("compare", "claims"):
        assert not re.search(r"\s(1\.00|0\.00)\s", "\n".join(at_80[verb]))


def test_columns_left_out_are_named_with_the_way_to_them(fitted: Line, monkeypatch, capsys):
    shown(fitted, monkeypatch, 80, "freezes")
    said = capsys.readouterr().err
    assert "left out" in said and "degree hours °C·h" in said and "--csv" in said
    shown(fitted, monkeypatch, 400, "freezes")
    assert "left out" not in capsys.readouterr().err


def test_a_pipe_gets_every_column_and_a_line_a_row(fitted: Line):
    for verb in LIGHT:
        lines = fitted.done(verb).out.splitlines()
        assert len(lines) == 1 + len(fitted.csv(verb)), verb
    printed = fitted.done("freezes").out.splitlines()[0]
    assert all(name in printed for name in ("starts", "ends", "coverage", "degree hours °C·h", "sd °C", "held 4h °C"))


def test_a_terminal_that_is_very_narrow_still_shows_the_first_column(fitted: Line, monkeypatch):
    lines = shown(fitted, monkeypatch, 10, "freezes")
    assert any("2023-01-10 L1" in line for line in lines)


def test_headings_are_bold_on_a_terminal_and_plain_in_a_pipe(fitted: Line, monkeypatch):
    screen = Terminal()
    writing_to(screen, "uploads", "--trial", fitted.folder)
    assert "\x1b[1m" in screen.getvalue()
    assert "\x1b" not in fitted.done("uploads").out


def test_wide_letters_keep_the_columns_straight(line: Line, monkeypatch):
    line.added("selections", "selection\nオリーブ\nOL-07\n")
    line.added("plants", "plant,selection,rootstock\nP1,オリーブ,own\nP2,OL-07,own\n")
    rows = shown(line, monkeypatch, 100, "floors")[-2:]
    columns = {row.index("own") + 4 * ("オリーブ" in row) for row in rows}  # four letters, each two characters wide
    assert len(columns) == 1


def test_notes_with_line_breaks_and_escapes_stay_on_their_line(line: Line):
    line.added("selections", 'selection,claim_source,notes\nOL-07,,"one\ntwo\tthree"\n')
    printed = line.done("history").out
    assert "one two three" in printed
    assert printed.count("\n") == 3


def test_fahrenheit_in_print_differences_without_the_32(fitted: Line, tmp_path, at_80):
    copy = copied(fitted, tmp_path)
    copy.retoml('units = "C"', 'units = "F"')
    printed = copy.done("compare").out.splitlines()
    assert "difference °F" in printed[0]
    in_c, in_f = (
        float(re.search(r"own +(\S+)", line)[1].replace("−", "-")) for line in (at_80["compare"][2], printed[1])
    )
    assert in_f == pytest.approx(in_c * 1.8, abs=0.05 * 1.8 + 0.05)
    assert "  15.8  " in copy.done("observations").out and "-9.0" in copy.csv("observations")[1]["exposure_c"]


@pytest.mark.parametrize(
    "column, units, text",
    [
        (Column("minimum_c", "", "number", "degC"), "C", "minimum °C"),
        (Column("minimum_c", "", "number", "degC"), "F", "minimum °F"),
        (Column("sd_c", "", "number", "K"), "F", "sd °F"),
        (Column("duration_h", "", "number", "h"), "C", "duration h"),
        (Column("degree_hours_c_h", "", "number", "K h"), "C", "degree hours °C·h"),
        (Column("fall_rate_c_per_h", "", "number", "K/h"), "C", "fall rate °C/h"),
        (Column("hours_le_-5_c", "", "number", "h"), "F", "h ≤ −5\u00a0°C"),
        (Column("hours_le_270_k", "", "number", "h"), "C", "h ≤ 270\u00a0K"),
        (Column("scored_on", "", "date"), "C", "scored on"),
    ],
)
def test_headings_say_the_unit_once(column, units, text):
    assert heading(column, units) == text


def test_a_table_without_rows_is_a_heading(capsys):
    print_table(pd.DataFrame({"plant": []}), [Column("plant", "")], Settings("Hill", "UTC"))
    assert capsys.readouterr().out == "plant\n"


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("script") is None, reason="no script(1) here")
def test_a_real_terminal_of_80_columns(tmp_path):
    folder = tmp_path / "t"
    assert hardiness("new", folder, "--name", "H", "--timezone", "UTC").code == 0
    line = Line(folder, tmp_path)
    line.added("readings", as_csv(readings({"2023-01-10": -7.0})), "l1.csv", "--sensor", "L1")
    command = f"stty cols 80; {sys.executable} -m hardiness.cli freezes --trial {folder}"
    ran = subprocess.run(["script", "-qec", command, "/dev/null"], capture_output=True, env=environment(), check=False)
    lines = plain(ran.stdout.decode())
    assert ran.returncode == 0
    assert any(text.startswith("2023-01-10 L1") for text in lines)
    table = [text for text in lines if "left out" not in text and "latitude" not in text]
    assert max(len(text) for text in table) <= 80
