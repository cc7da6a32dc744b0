"""Sentences beside figures: what was come through, what a claim is worth, and no digit that is not known."""

from __future__ import annotations

import pytest

from hardiness.sentences import (
    came_through,
    claim_worth,
    decimals_of,
    evidence_words,
    held_temperature,
    measured,
    spelled,
)

NAN = float("nan")


def told(**changes):
    cell = {"coldest_survived_c": -9.4, "came": 2, "met": 3, "killed": 0, "plants": 5, "tested_to_c": -9.4,
            "warmest_fatal_c": NAN, "held_h": 3.0}  # fmt: skip
    return came_through(**(cell | changes))


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({}, "Came through −9.4 °C for 3 h on two of three plants; never tested colder."),
        ({"units": "F"}, "Came through 15.1 °F for 3 h on two of three plants; never tested colder."),
        ({"held_h": 0.0}, "Came through a minimum of −9.4 °C on two of three plants; never tested colder."),
        ({"came": 1, "met": 1}, "Came through −9.4 °C for 3 h on the one plant that met it; never tested colder."),
        (
            {"tested_to_c": -11.2, "warmest_fatal_c": -9.8, "killed": 3},
            "Came through −9.4 °C for 3 h on two of three plants; none came through colder, tested to −11.2 °C.",
        ),
        # A loss in a milder freeze is never kept back.
        (
            {"tested_to_c": -11.2, "warmest_fatal_c": -8.1, "killed": 1},
            "Came through −9.4 °C for 3 h on two of three plants, though one of five died at −8.1 °C; none came "
            "through colder, tested to −11.2 °C.",
        ),
        (
            {"warmest_fatal_c": -8.1, "killed": 3, "units": "F"},
            "Came through 15.1 °F for 3 h on two of three plants, though three of five died, the mildest loss at "
            "17.4 °F; never tested colder.",
        ),
        (
            {"warmest_fatal_c": -9.36, "killed": 1},
            "Came through −9.4 °C for 3 h on two of three plants; never tested colder.",
        ),
        ({"came": 14, "met": 20}, "Came through −9.4 °C for 3 h on 14 of 20 plants; never tested colder."),
        (
            {"coldest_survived_c": NAN, "met": 2, "warmest_fatal_c": -7.5},
            "None of two plants came through; the mildest loss was at −7.5 °C for 3 h.",
        ),
        (
            {"coldest_survived_c": NAN, "met": 1, "warmest_fatal_c": -7.5},
            "The one plant did not come through; the mildest loss was at −7.5 °C for 3 h.",
        ),
        ({"tested_to_c": NAN}, "Never tested: no plant has met a freeze and been scored after it."),
        # Colder by less than is printed is no colder.
        ({"tested_to_c": -9.44}, "Came through −9.4 °C for 3 h on two of three plants; never tested colder."),
    ],
)
def test_what_was_come_through_is_one_sentence(changes, sentence):
    assert told(**changes) == sentence


@pytest.mark.parametrize(
    ("probability", "put"),
    [
        (0.95, "is well supported by this trial"),
        (0.949, "is likely to hold"),
        (0.5, "is neither shown nor refuted"),
        (0.1, "is unlikely to hold"),
        (0.049, "does not hold in this trial"),
    ],
)
def test_a_claim_is_worth_what_its_probability_says(probability, put):
    assert claim_worth(-7.0, "label", probability, beyond_tested=False) == f"The claim of −7.0 °C (label) {put}."


def test_an_untested_claim_is_never_called_carried():
    said = claim_worth(-12.0, "", 0.99, beyond_tested=True)
    assert said == (
        "The claim of −12.0 °C would hold if its plants are like the rest of the trial, and was never tested that cold."
    )
    assert "unlikely to hold, and was never tested" in claim_worth(-12.0, "", 0.1, beyond_tested=True)


@pytest.mark.parametrize(
    ("sd", "decimals"), [(0.04, 1), (0.9, 1), (1.0, 1), (9.99, 1), (10.0, 0), (120.0, 0), (0.0, 1), (NAN, 1)]
)
def test_a_figure_has_the_digits_its_standard_deviation_allows(sd, decimals):
    assert decimals_of(sd) == decimals


def test_figures_carry_sign_unit_and_spread():
    assert measured(-9.42, 0.58) == "−9.4 ± 0.6 °C"
    assert measured(-9.4, 12.3) == "−9 ± 12 °C"
    assert held_temperature(-9.44, 0.5, "C") == "−9.4 °C for 0.5 h"
    assert [spelled(n) for n in (0, 1, 12, 13, 1250)] == ["no", "one", "twelve", "13", "1,250"]


def test_every_class_of_evidence_is_explained():
    for evidence in ("bracketed", "all survived", "all died", "untested"):
        assert evidence_words(evidence).startswith(f"{evidence}: ")
    with pytest.raises(KeyError):
        evidence_words("likely")
