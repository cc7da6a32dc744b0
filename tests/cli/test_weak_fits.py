"""Trials that can tell little get their figures with a sentence beside them, whichever verb prints them."""

import pytest

from hardiness.trial import open_trial
from tests.cli.conftest import Line, as_csv, copied, readings

ONE_ROW = "Only 1 row: the figures say little more than the prior, what was assumed before any score."
NOTHING_HURT = "Every row has grade 0: nothing was hurt, so every floor is open to the cold side."
ALL_DEAD = "Every row has grade 5: nothing came through, so every floor is open to the warm side."
ONE_FREEZE = "One freeze alone cannot tell what the freeze did from what the plants are: a second one will."
VERBS = [("floors",), ("floors", "--csv", "-"), ("floors", "--explain", "OL-07"), ("claims",), ("claims", "--csv", "-"),
         ("ranks",), ("fit",), ("fit", "--csv", "-")]  # fmt: skip
OF_PAIRS = [("compare",), ("compare", "--csv", "-"), ("ranks", "--each-check"), ("rootstocks",)]


def frozen_once(template: Line, beside, scores: str) -> Line:
    made = copied(template, beside)
    made.added("selections", "selection,claimed_floor\nOL-07,-12 C\nCK-A,-9 C\nOL-09,-5 C\n")
    made.added("readings", as_csv(readings({"2023-01-10": -7.0})), "l1.csv", "--sensor", "L1")
    made.added("scores", f"plant,scored_on,grade\n{scores}")
    return made


@pytest.fixture(scope="module")
def one_row(planted_template, tmp_path_factory):
    return frozen_once(planted_template, tmp_path_factory.mktemp("one"), "T1,2023-02-20,0\n")


@pytest.fixture(scope="module", params=[(0, NOTHING_HURT), (5, ALL_DEAD)], ids=["all-well", "all-dead"])
def one_grade(planted_template, tmp_path_factory, request):
    grade, said = request.param
    scores = "".join(f"T{plant},2023-02-20,{grade}\n" for plant in (1, 2, 3))
    return frozen_once(planted_template, tmp_path_factory.mktemp("same"), scores), said


@pytest.mark.parametrize("verb", VERBS, ids=" ".join)
def test_one_row_is_said_once_beside_the_figures(one_row, verb):
    ended = one_row.done(*verb)
    assert [ended.err.count(said) for said in (ONE_ROW, NOTHING_HURT, ONE_FREEZE)] == [1, 1, 1], ended.err
    assert ended.out and ONE_ROW not in ended.out


@pytest.mark.parametrize("verb", VERBS + OF_PAIRS, ids=" ".join)
def test_one_grade_only_is_said_once_beside_the_figures(one_grade, verb):
    line, said = one_grade
    ended = line.done(*verb)
    assert ended.err.count(said) == 1 and ended.err.count(ONE_FREEZE) == 1, ended.err


def test_what_is_said_of_losses_is_of_the_grade_asked_for(planted_template, tmp_path):
    scores = "".join(f"T{plant},2023-02-20,{grade}\n" for plant, grade in ((1, 3), (2, 3), (3, 4)))
    line = frozen_once(planted_template, tmp_path, scores)
    lost, of_grade = "No plant was lost: every floor", "reached grade"
    assert [line.done("floors").err.count(said) for said in (lost, of_grade)] == [1, 0]
    for verb in (("floors", "--grade", "3"), ("floors", "--grade", "3", "--csv", "-")):
        assert [line.done(*verb).err.count(said) for said in (lost, of_grade)] == [0, 0]
    assert "Only 1 row that reached grade 4: every floor rests on" in line.done("floors", "--grade", "4").err


def test_one_table_of_the_checks_says_it_too(one_row):
    for verb in (("checks", "--csv", "-"), ("checks", "--table", "influence", "--csv", "-")):
        assert one_row.done(*verb).err.count(ONE_ROW) == 1


@pytest.mark.parametrize("name, says", [("survival", 1), ("exposure_grade", 0)])
def test_figures_of_the_model_say_it_too(one_row, tmp_path, name, says):
    assert one_row.done("figure", name, tmp_path / "figure.png").err.count(ONE_ROW) == says


def test_paper_says_it_too(one_row, tmp_path):
    ended = one_row.done("card", tmp_path / "card.pdf")
    assert ended.err.count(ONE_ROW) == 1
    assert one_row.done("chart", tmp_path / "chart.png").err.count(ONE_ROW) == 1


def test_a_sound_trial_is_told_nothing_of_the_kind(fitted):
    for verb in (("floors",), ("compare",), ("claims",), ("ranks",), ("fit",)):
        told = fitted.done(*verb).err
        assert "Only" not in told and "Every row" not in told and "One freeze alone" not in told


def test_python_has_it_with_the_table(one_row):
    with open_trial(one_row.folder) as trial:
        assert trial.floors().attrs["cautions"][0] == ONE_ROW
        assert trial.fit().compare().attrs["cautions"] == trial.fit().cautions
        assert trial.fit().cautions[:3] == [ONE_ROW, NOTHING_HURT, ONE_FREEZE]


def test_one_day_is_no_span_and_one_temperature_is_no_range(one_row):
    assert "Freezes met: on 10 Jan of 2022-23." in one_row.done("floors").err
    told = one_row.done("floors", "--explain", "OL-07").out
    assert "The freeze it was scored after went to −7.0 °C." in told and "went from" not in told


def test_claims_that_no_score_can_be_held_against_are_named(one_row):
    ended = one_row.done("claims", "--csv", "-")
    assert {row["selection"] for row in ended.rows} == {"OL-07"}
    assert "Claims without a score to hold them against: CK-A (-9 C) and OL-09 (-5 C)." in ended.err


def test_claims_are_printed_with_the_words_of_floors(one_grade, fitted):
    line, said = one_grade
    printed = line.done("claims").out
    for row in line.csv("claims"):
        assert row["floor_c"]  # the median stays in the file
    assert printed.count("at or below" if said == NOTHING_HURT else "above −7.0") == 3
    both = fitted.done("claims").out.splitlines()
    of_cell = {(name, stock): text for text in both for name in ("OL-01", "OL-02, red") for stock in ("own", "stock P")
               if name in text and stock in text}  # fmt: skip
    assert "at or below" in of_cell["OL-01", "own"] and "at or below" not in of_cell["OL-02, red", "own"]


def test_claims_count_plants_in_containers_where_asked(planted_template, tmp_path):
    line = frozen_once(planted_template, tmp_path, "T1,2023-02-20,0\nT3,2023-02-20,4\n")
    line.added("plants", "plant,selection,rootstock,grown_in\nT3,CK-A,own,container\n")
    assert {row["selection"] for row in line.csv("claims")} == {"OL-07"}
    assert {row["selection"] for row in line.csv("claims", "--containers")} == {"OL-07", "CK-A"}


def test_more_best_than_selections_is_said(fitted):
    assert "so that each is among the best" not in fitted.done("ranks", "--best", "1").err
    said = fitted.done("ranks", "--best", "3", "--csv", "-").err
    assert ("No more than 3 to choose from, so that each is among the best: 3 selections on its own roots, "
            "2 selections on stock P and 3 selections over all.") in said  # fmt: skip
