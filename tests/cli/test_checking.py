"""``hardiness checks`` and ``hardiness floors --explain``."""

import pytest

from hardiness import schema
from hardiness.commands.checking import TABLES


@pytest.mark.slow
def test_checks_print_rows_and_sentences(fitted):
    ended = fitted.done("checks")
    assert ended.out.startswith("check ") and "predicted from" in ended.out
    assert "Grade 5: " not in ended.err and "Grade 5 or worse: 3 of " in ended.err
    assert ended.err.count("Without plant ") == 1 and "3 rows reached grade 5." in ended.err


def test_one_table_as_csv_and_the_plot(fitted, tmp_path):
    ended = fitted.done("checks", "--table", "calibration", "--csv", "-", "--figure", tmp_path / "plot.png")
    assert ended.header == schema.column_names(TABLES["calibration"])
    assert {row["grade"] for row in ended.rows} == set("12345")
    assert f"The calibration plot is {tmp_path / 'plot.png'}." in ended.err
    assert (tmp_path / "plot.png").read_bytes().startswith(b"\x89PNG")


def test_checks_of_an_empty_trial_give_the_header_and_a_sentence(line):
    ended = line.done("checks", "--csv", "-")
    assert ended.header == schema.column_names(schema.CHECKS) and ended.rows == []
    assert "nothing to check" in ended.err


def test_a_selection_is_explained_in_sentences(fitted):
    ended = fitted.done("floors", "--explain", "OL-01")
    assert ended.out.startswith("OL-01: 2 plants on its own roots and 2 plants on stock P, scored 8 times in 2 winters")
    assert "On stock P: 2 plants, none died" in ended.out
    assert "The claim of −12.0 °C (a letter, 1998) is colder than anything tested there" in ended.out
    assert "With half that guess the estimate behind it would be" in ended.out
    assert "estimate for the places and winters tested" in ended.err


def test_a_selection_without_a_score_is_untested(fitted):
    ended = fitted.done("floors", "--explain", "OL-03")
    assert "nothing is known of it from this trial" in ended.out and "never tested" in ended.out


def test_an_unknown_selection_is_offered_a_near_name(fitted):
    ended = fitted("floors", "--explain", "OL-1")
    assert ended.code == 2 and ended.out == ""
    assert "found 'OL-1'; accepted: a selection of the trial. Did you mean 'OL-01'?" in ended.err
