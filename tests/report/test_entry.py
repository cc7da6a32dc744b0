"""Typing scores in: one key a plant, kept on disk at once, taken back, gone on with later."""

from __future__ import annotations

import csv
import datetime as dt

import pytest

from hardiness.errors import InputError
from hardiness.report.entry import Entry, Score, read_begun
from hardiness.report.walk import Stop
from tests.report.conftest import settings

DAY = dt.date(2032, 2, 14)
STOPS = [Stop(name, "OL-07", "own", "A", "1", str(n), 1 if n == 1 else None, dt.date(2032, 1, 20) if n == 1 else None)
         for n, name in enumerate(("T1", "T2", "T3"), 1)]  # fmt: skip


@pytest.fixture
def entry(tmp_path):
    return Entry(STOPS, tmp_path / "scores.csv", settings(), day=DAY, observer="A")


def rows(entry):
    with entry.path.open(encoding="utf-8", newline="") as file:
        return [(row["plant"], row["grade"], row["protected"], row["notes"]) for row in csv.DictReader(file)]


def test_a_key_is_on_disk_before_the_next_is_asked(entry):
    assert entry.question == "T1  OL-07 on own roots  block A, row 1, place 1  last 1 on 2032-01-20: "
    assert entry.press("2") == "2 shoot tips killed"
    assert rows(entry) == [("T1", "2", "", "")] and entry.stop is STOPS[1]
    entry.press("-")
    entry.press("5")
    assert rows(entry) == [("T1", "2", "", ""), ("T3", "5", "", "")] and entry.stop is None
    assert entry.question.startswith("All seen, 2 scores.")


def test_undo_goes_back_step_by_step_over_skips_too(entry):
    entry.press("0")
    entry.press("-")
    entry.press("3")
    assert entry.press("u") == "taken back: T3 3" and entry.stop is STOPS[2]
    assert entry.press("u") == "back to the one skipped" and entry.stop is STOPS[1]
    assert entry.press("u") == "taken back: T1 0" and entry.stop is STOPS[0]
    assert entry.press("u") == "nothing to undo" and rows(entry) == []


def test_a_grade_taken_back_keeps_what_was_said_of_the_plant(entry):
    entry.note("bark split")
    entry.cover("k")
    entry.press("4")
    assert entry.press("u") == "taken back: T1 4; its note and cover kept, now the grade"
    entry.press("1")
    assert rows(entry) == [("T1", "1", "sprinkler", "bark split")]
    entry.press("2")
    assert rows(entry)[-1] == ("T2", "2", "", "")


def test_a_note_and_a_cover_wait_for_the_grade_and_go_with_a_skip(entry):
    assert entry.note("  bark split,\n east side ") == "noted; now the grade"
    assert entry.cover("b") == "covered: bank; now the grade"
    entry.press("3")
    assert rows(entry) == [("T1", "3", "bank", "bark split, east side")]
    entry.note("gone?")
    assert entry.press("-") == "skipped (its note is dropped)"
    entry.press("1")
    assert rows(entry)[-1] == ("T3", "1", "", "")
    assert entry.cover("z").startswith("no such cover") and entry.note(" ") == "nothing noted; now the grade"


@pytest.mark.parametrize("key", ["6", "x", " ", "\x1b[A", "½", "٣"])
def test_another_key_changes_nothing_and_says_which_there_are(entry, key):
    assert entry.press(key).startswith("no such key. 0-5 the grade")
    assert not entry.path.exists() and entry.stop is STOPS[0]


def test_a_file_begun_earlier_goes_on_behind_its_last_plant_and_can_be_undone(entry):
    entry.press("0")
    entry.note("=SUM(A1)")
    entry.cover("s")
    entry.press("4")
    begun = read_begun(entry.path, settings())
    assert begun.day == DAY and begun.observer == "A"
    assert begun.scores == (Score("T1", 0), Score("T2", 4, "snow", "=SUM(A1)"))
    later = Entry(STOPS, entry.path, settings(), day=begun.day, observer=begun.observer, scores=begun.scores)
    assert later.stop is STOPS[2]
    assert later.press("u") == "taken back: T2 4; its note and cover kept, now the grade"
    assert later.stop is STOPS[1] and len(rows(later)) == 1


def test_a_file_of_something_else_is_refused(tmp_path):
    path = tmp_path / "scores.csv"
    assert read_begun(path, settings()) is None
    path.write_text("plant,scored_on,grade\nT1,2032-01-01,0\nT2,2032-01-02,0\n", encoding="utf-8")
    with pytest.raises(InputError, match="several days"):
        read_begun(path, settings())
    path.write_text("plant,selection\nT1,OL-07\n", encoding="utf-8")
    with pytest.raises(InputError, match="selection"):
        read_begun(path, settings())


def test_a_scale_with_more_grades_than_keys_is_refused(tmp_path):
    with pytest.raises(InputError, match="11 grades"):
        Entry(STOPS, tmp_path / "s.csv", settings(grades=tuple(f"grade {n}" for n in range(11))), day=DAY)
