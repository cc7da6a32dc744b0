"""One selection in sentences: numbers as fine as they are known, open ends said in words, claims held to evidence."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from hardiness import schema
from hardiness.plainwords import Told, explain_selection, listed_cells, shift_words
from hardiness.sentences import chance, rounded


def table(columns, *rows):
    return pd.DataFrame(rows, columns=schema.column_names(columns))


FLOORS = table(
    schema.FLOORS,
    ("OL-07", "own", 2, 4, 1, -8.0, -9.6, -9.6, "bracketed", "none", "cell", -9.24, -10.6, -8.1, -8.02),
    ("OL-07", "stock P", 1, 2, 0, -9.6, np.nan, -9.6, "all survived", "cold", "trial", -12.3, -16.0, -9.3, -9.6),
    ("OL-07", "stock T", 1, 1, 1, np.nan, -8.0, -8.0, "all died", "warm", "prior", -6.0, -8.0, -4.0, np.nan),
    ("OL-07", "stock X", 0, 0, 0, np.nan, np.nan, np.nan, "untested", "none", "", np.nan, np.nan, np.nan, np.nan),
    ("OL-08", "own", 1, 1, 0, -5.0, np.nan, -5.0, "all survived", "cold", "trial", -9.0, -12.0, -7.0, -5.0),
)
OBSERVATIONS = pd.DataFrame(
    [
        ("T1", "OL-07", "own", "2031-12-14 L1", "2031-32", -8.0, 2, 2),
        ("T2", "OL-07", "own", "2032-12-20 L1", "2032-33", -9.6, 5, 5),
        ("T3", "OL-07", "stock P", "2032-12-20 L1", "2032-33", -9.6, 1, 1),
        ("T4", "OL-07", "stock T", "2031-12-14 L1", "2031-32", -8.0, 5, 5),
        ("T9", "OL-08", "own", "2031-12-14 L1", "2031-32", -5.0, 0, 0),
    ],
    columns=["plant", "selection", "rootstock", "freeze", "winter", "exposure_c", "grade", "grade_low"],
)
INFLUENCE = table(
    schema.INFLUENCE,
    ("OL-07", "own", "plant", "T2", -9.24, -0.83, np.nan),
    ("OL-07", "own", "plant", "T1", -9.24, 0.21, np.nan),
    ("OL-07", "own", "freeze", "2032-12-20", -9.24, -0.91, -1.12),
    ("OL-07", "stock P", "plant", "T3", -12.3, 0.03, np.nan),
)
SENSITIVITY = table(
    schema.SENSITIVITY,
    ("OL-07", "own", "both", 0.5, -9.0, 0.22, 0.9),
    ("OL-07", "own", "both", 2.0, -9.3, -0.04, 1.1),
)
CLAIMS = table(
    schema.CLAIMS,
    ("OL-07", "own", -12.0, "a neighbour", 0.1, 0.42, True, -9.24),
    ("OL-07", "stock P", -9.0, "", 0.999, 1.0, False, -12.3),
)


@pytest.fixture
def told():
    return Told("OL-07", FLOORS, OBSERVATIONS, INFLUENCE, SENSITIVITY, CLAIMS, grade=5, worst=5)


@pytest.fixture
def paragraphs(told):
    return listed_cells(explain_selection(told)).split("\n\n")


def test_what_was_met_opens_it(paragraphs):
    assert paragraphs[0] == (
        "OL-07: 2 plants on its own roots, 1 plant on stock P and 1 plant on stock T, scored 4 times in 2 winters, "
        "2031-32 to 2032-33. The freezes it was scored after went from −8.0 °C to −9.6 °C. Before any score the model "
        "only guesses how far plants and grades lie apart."
    )
    assert len(paragraphs) == 5


def test_a_bracketed_cell_gives_figure_interval_pulls_priors_and_claim(paragraphs):
    own = paragraphs[1]
    assert own.startswith("On its own roots: 2 plants, 1 died: T2 at −9.6 °C (2032-12-20 L1);")
    assert "Floor (where 9 in 10 come through): −9.0 °C; nine times in ten between −10.5 °C and −8.0 °C." in own
    assert "What may be claimed: −8.0 °C." in own
    assert (
        "Without plant T2 the floor would be about 0.8 °C colder, "
        "without the freeze of 2032-12-20 about 1.1 °C colder." in own
    )
    assert "With half that guess the floor would be 0.2 °C warmer; with double, the same." in own
    assert "Never tested there: anything colder than −9.6 °C." in own
    assert (
        "The claim of −12.0 °C (a neighbour) is colder than anything tested there. The probability that 9 in 10 "
        "come through it is 0.10; that half do, 0.42." in own
    )


def test_a_cell_of_one_plant_would_be_untested_without_it(told):
    pulled = pd.concat([INFLUENCE, table(schema.INFLUENCE, ("OL-08", "own", "plant", "T9", -9.0, 0.7, np.nan),
                                         ("OL-08", "own", "freeze", "2031-12-14 L1", -9.0, 0.9, 1.2))])  # fmt: skip
    more = OBSERVATIONS.iloc[[4]].assign(freeze="2032-12-20 L1", exposure_c=-5.5)
    text = " ".join(explain_selection(replace(told, selection="OL-08", influence=pulled)))
    assert "Without plant T9 it would be untested. Without the freeze of 2031-12-14 L1 it would be untested." in text
    twice = replace(told, selection="OL-08", influence=pulled, observations=pd.concat([OBSERVATIONS, more]))
    text = " ".join(explain_selection(twice))
    assert ("Without plant T9 it would be untested. Without the freeze of 2031-12-14 L1 the estimate behind it would "
            "be about 1.2 °C warmer.") in text  # fmt: skip


@pytest.mark.parametrize(
    "freezes, said",
    [(["f1", "f1"], "The freeze it was scored after went to −9.5 °C."),
     (["f1", "f2"], "The freezes it was scored after went to −9.5 °C.")],
)  # fmt: skip
def test_one_temperature_is_no_range(told, freezes, said):
    rows = OBSERVATIONS.iloc[:2].assign(freeze=freezes, exposure_c=[-9.5, -9.52])
    assert said in explain_selection(replace(told, observations=rows))


def test_open_ends_are_said_in_words_and_no_median_is_given(paragraphs):
    alive, dead = paragraphs[2], paragraphs[3]
    assert "none died" in alive and "lies at or below −9.6 °C, which may be claimed" in alive
    assert "−12.3" not in alive and "−16" not in alive
    assert "No single plant or freeze moves the estimate behind it" in alive
    assert "above −8.0 °C, where the first was lost" in dead and "none came through" in dead
    assert "nothing may be claimed" in dead and "what the trade knows beforehand" in dead


def test_untested_cells_and_unscored_selections_say_so(paragraphs, told):
    assert paragraphs[4].startswith("On stock X: never tested.")
    unknown = explain_selection(Told("OL-99", FLOORS, OBSERVATIONS, INFLUENCE, SENSITIVITY, CLAIMS, 5, 5))
    assert unknown == ["OL-99 has no score of an unprotected plant: nothing is known of it from this trial."]
    assert set(told.of("OL-08").observations["plant"]) == {"T9"}


def test_a_claim_is_of_life_also_where_the_floor_is_of_a_lower_grade(told):
    text = listed_cells(explain_selection(replace(told, grade=3)))
    assert "The probability that 9 in 10 come through it alive is 0.10; that half do, 0.42." in text
    assert "alive" not in listed_cells(explain_selection(told))


def test_a_cell_with_scores_that_say_nothing_of_the_grade_was_not_left_unscored(told):
    scored = FLOORS.assign(scores=np.where(FLOORS["evidence"] == "untested", 2, FLOORS["scores"]))
    text = listed_cells(explain_selection(replace(told, floors=scored, grade=3)))
    assert "On stock X: never tested for grade 3. What its plants showed may have stood before the freeze." in text
    assert "No plant there has met" not in text


def test_fahrenheit_trials_read_fahrenheit(told):
    text = listed_cells(
        explain_selection(Told("OL-07", FLOORS, OBSERVATIONS, INFLUENCE, SENSITIVITY, CLAIMS, 5, 5, units="F"))
    )
    assert "°C" not in text and "1.5 °F colder" in text and "10.4 °F (a neighbour)" in text


def test_another_grade_is_named(told):
    text = " ".join(explain_selection(Told("OL-07", FLOORS, OBSERVATIONS, INFLUENCE, SENSITIVITY, CLAIMS, 2, 5)))
    assert "2 reached grade 2" in text or "1 reached grade 2" in text
    assert "died" not in text


@pytest.mark.parametrize(
    ("half", "text"), [(0.3, "−9.4 °C"), (1.2, "−9.4 °C"), (1.3, "−9.5 °C"), (2.9, "−9.5 °C"), (3.1, "−9 °C")]
)
def test_a_figure_is_as_fine_as_its_interval(half, text):
    assert rounded(-9.42, half) == text


def test_chances_are_never_certain_and_small_shifts_are_none():
    assert [chance(value) for value in (0.0, 0.0099, 0.5, 0.991, 1.0)] == [
        "below 0.01", "below 0.01", "0.50", "above 0.99", "above 0.99",
    ]  # fmt: skip
    assert [shift_words(value) for value in (0.049, -0.051, 1.0)] == ["the same", "0.1 °C colder", "1.0 °C warmer"]
