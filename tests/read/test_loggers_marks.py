"""Marks on readings: never dropped unsaid, never guessed; the user says which mark readings and which mark none."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import pytest

from hardiness.read.choices import Choices
from tests.read.readers import read_file, refusal_of

read = partial(read_file, default_timezone="UTC")
refusal = partial(refusal_of, default_timezone="UTC")


@pytest.fixture
def write(tmp_path: Path):
    def write_file(header: str, *cells: str) -> Path:
        path = tmp_path / "l1.csv"
        rows = [f"2023-01-14 {6 + n:02d}:00;{cell}" for n, cell in enumerate(cells)]
        path.write_text("\n".join([header, *rows, ""]), encoding="utf-8")
        return path

    return write_file


@pytest.mark.parametrize(
    ("cell", "mark", "celsius"),
    [
        ("-2.1*", "*", -2.1),
        ("-2,1 *", "*", -2.1),
        ("-2.1 E", "E", -2.1),
        ("-2.1E", "E", -2.1),
        ("-2.1 A", "A", -2.1),
        ("-2.1s", "s", -2.1),
        ("<-40.0", "<", -40.0),
        ("< -40.0", "<", -40.0),
        ("~-2", "~", -2.0),
        ("[-2.1]", "[]", -2.1),
        ('"-2.1?"', "?", -2.1),
        ("−2.1**", "**", -2.1),
    ],
)
def test_a_marked_number_is_refused_until_it_is_said_what_the_mark_means(write, cell, mark, celsius):
    path = write("Time;Temp (C)", "1.0", cell)
    text = refusal(path)
    assert "row 3, column Temp (C): found " in text
    assert f"--mark '{mark}=reading' if numbers with it count as readings, --mark '{mark}=none' if they do not" in text
    assert read(path, marks=f"{mark}=reading").air_temperature.values.tolist() == [1.0, celsius]
    none = read(path, marks=f"{mark}=none")
    assert (none.air_temperature.values.tolist(), none.missing) == ([1.0], 1)


def test_a_mark_that_stands_nowhere_is_said(write):
    path = write("Time;Temp (F)", "21.0 F", "20.0*")
    said = read(path, marks="*=reading;F=none;E=none").said
    assert [each for each in said if "marks no temperature" in each] == [
        "'F' marks no temperature of 'Temp (F)'.",
        "'E' marks no temperature of 'Temp (F)'.",
    ]
    remembered = read(path, last=Choices(marks="*=reading;E=none", source="the last file of L1")).said
    assert not any("marks no temperature" in each for each in remembered)


def test_what_became_of_marks_is_said_with_its_count(write):
    said = read(write("Time;Temp (C)", "1.0", "2.0*", "3.0*", "4.0 e"), marks="*=reading;E=none").said
    assert "'*' in 'Temp (C)' marks readings that count, in 2 rows." in said
    assert "'E' in 'Temp (C)' means no reading, in 1 row." in said


@pytest.mark.parametrize("cell", ["-2.1 mV", "(2.1)", "-2.1 %", "2.1.3*", "abc*", "*-", "-2.1 EE"])
def test_what_is_no_marked_number_gets_no_such_hint(write, cell):
    assert "--mark" not in refusal(write("Time;Temp (C)", "1.0", cell))


def test_units_are_no_marks(write):
    logger = read(write("Time;Temp", "14.0 F", "14.0F"))
    assert logger.air_temperature.values.round(9).tolist() == [-10, -10]


@pytest.mark.parametrize("text", ["*", "*=maybe", "=none", "E=none;e=reading", "thirteen chars=none"])
def test_other_meanings_are_refused(write, text):
    assert "for --mark" in refusal(write("Time;Temp", "1.0"), marks=text)


def test_marks_are_those_of_the_last_file(write):
    path = write("Time;Temp (C)", "1.0", "2.0*")
    last = Choices.of({"marks": "*=none"}, "the last file of L1")
    remembered = read(path, last=last)
    assert remembered.air_temperature.values.tolist() == [1.0]
    assert "'*' in 'Temp (C)' means no reading, in 1 row, as for the last file of L1." in remembered.said
    assert read(path, last=last, marks="*=reading").air_temperature.values.tolist() == [1.0, 2.0]


FLAGGED = ("1.0;80;", "2.0;81;*", "3.0;82;E", "4.0;83;E")


@pytest.mark.parametrize("name", ["Flag", "Status", "Temp_flag", "QC", "Quality code"])
def test_flags_in_a_column_are_told_and_the_readings_kept(write, name):
    logger = read(write(f"Time;Temp (C);RH (%);{name}", *FLAGGED))
    assert logger.air_temperature.values.tolist() == [1, 2, 3, 4]
    said = " ".join(logger.said)
    assert f"'{name}' marks readings ('*' in 1 row, 'E' in 2 rows); they are read all the same." in said
    assert "--mark '*=none'" in said


def test_flags_that_mean_no_reading_take_theirs_out(write):
    logger = read(write("Time;Temp (C);RH (%);Flag", *FLAGGED), marks="E=none;*=reading")
    assert (logger.air_temperature.values.tolist(), logger.missing) == ([1, 2], 2)
    assert "'E' in 'Flag' means no reading, in 2 rows." in logger.said


def test_the_flags_of_another_quantity_are_not_the_temperatures(write):
    logger = read(write("Time;Temp (C);Temp flag;RH;RH flag", "1.0;;80;E", "2.0;*;80;E"), marks="E=none")
    assert logger.air_temperature.values.tolist() == [1, 2]
    assert any("'Temp flag' marks readings ('*' in 1 row)" in sentence for sentence in logger.said)


@pytest.mark.parametrize(("header", "flag"), [("Time;Temp (C);Flag", "A"), ("Time;Temp (C);Quality", "1")])
def test_a_flag_that_every_row_has_is_not_told(write, header, flag):
    assert "marks readings" not in " ".join(read(write(header, f"1.0;{flag}", f"2.0;{flag}")).said)


def test_letters_without_a_name_right_behind_the_temperature_are_flags(write):
    said = " ".join(read(write("Time;Temp (C);;RH", "1.0;;80", "2.0;E;80")).said)
    assert "'column 3' marks readings ('E' in 1 row)" in said
