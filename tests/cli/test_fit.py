"""The verb fit: what it prints, its options, and what trial.toml asks of every verb."""

import pytest

from hardiness import schema
from hardiness.commands.fitting import held_asked
from hardiness.errors import InputError
from tests.cli.conftest import Line, as_csv, readings

TERMS = ("hardening", "warmth", "years", "winter", "observer", "protection")


def estimates(line: Line, *words: str) -> dict[tuple[str, str], dict[str, str]]:
    return {(row["name"], row["label"]): row for row in line.csv("fit", *words)}


def test_scales_and_freezes_used_are_printed(fitted: Line):
    ended = fitted.done("fit")
    lines = ended.out.splitlines()
    assert any(text.startswith("scale  sigma  spread of one plant's answer") for text in lines)
    used = [text.split() for text in lines if text.startswith(("2023-01-1", "2024-01-1"))]
    assert [row[-2:] for row in used] == [["10", "1"], ["7", "2"]]  # rows fitted, plants lost
    assert "Reached by " in ended.err and "dependable below 0.7" in ended.err
    assert "estimate for the places and winters tested" in ended.err


def test_csv_holds_every_estimate(fitted: Line):
    ended = fitted.done("fit", "--csv", "-", "--winter", "effect")
    assert ended.header == [column.name for column in schema.ESTIMATES]
    found = {(row["kind"], row["name"], row["label"]): row for row in ended.rows}
    assert ("scale", "tau_winter", "between winters") in found
    winters = [found["random", "winter", label] for label in ("2022-23", "2023-24")]
    for row in winters:
        assert float(row["low_c"]) < float(row["estimate_c"]) < float(row["high_c"])


def test_terms_are_asked_for_by_option_or_by_trial_toml(fitted: Line):
    assert {name for name, _ in estimates(fitted)} == {"sigma", "tau_a", "tau_b", "tau_c", "tau_u", "tau_e"}
    path = fitted.folder / "trial.toml"
    before = path.read_text(encoding="utf-8")
    try:
        fitted.retoml('years = "leave out"', 'years = "effect"')
        found = estimates(fitted)
        assert ("years", "per year short of 3 since planting") in found
        assert "Floors stand for a plant planted 3 or more years ago." in fitted.done("floors").err
        assert "years" not in {name for name, _ in estimates(fitted, "--years", "leave out")}
        fitted.retoml('years = "effect"', 'years = "some"')
        refused = fitted("floors")
        assert refused.code == 2 and "model.years: found 'some'; accepted: 'effect' or 'leave out'." in refused.err
    finally:
        path.write_text(before, encoding="utf-8")


def test_protected_plants_are_fitted_and_prove_nothing(planted: Line):
    planted.added("readings", as_csv(readings({"2023-01-10": -7.0, "2024-01-12": -9.0})), "l1.csv", "--sensor", "L1")
    planted.added(
        "scores",
        "plant,scored_on,grade,protected\nT1,2023-02-20,1,\nT2,2023-02-20,4,\nT3,2023-02-20,0,cover\n"
        "T1,2024-02-20,3,\nT2,2024-02-20,5,\nT3,2024-02-20,1,cover\n",
    )
    assert "protected" not in {name for name, _ in estimates(planted)}
    found = estimates(planted, "--protection", "effect")
    assert float(found["protected", "cover"]["estimate_c"]) < 0.0
    planted.retoml('protection = "leave out"', 'protection = "effect"')
    floors = {(row["selection"], row["rootstock"]): row for row in planted.csv("floors")}
    assert floors["CK-A", "own"]["evidence"] == "untested" and floors["CK-A", "own"]["floor_c"] == ""
    assert floors["OL-07", "own"]["evidence"] == "bracketed"
    assert "2 protected or in a container and not counted" in planted.done("observations").err
    assert planted.csv("compare") == []
    assert "they prove nothing" in planted.done("floors").err


def test_durations_are_weighed(fitted: Line):
    ended = fitted.done("fit", "--held", "auto")
    assert "How well each held duration foretells the scores" in ended.out
    rows = [text.split() for text in ended.out.splitlines() if text.strip()[:3] in ("0.0", "1.0", "2.0", "4.0", "8.0")]
    assert [row[0] for row in rows] == ["0.0", "1.0", "2.0", "4.0", "8.0"]
    assert sum(float(row[3]) for row in rows) == pytest.approx(1.0, abs=0.03)
    assert "The scores cannot tell 0, 1, 2, 4 and 8 h held apart" in ended.err  # two freezes of one shape
    assert "The trial's own 1 h is kept." in ended.err and "explains the scores best" not in ended.err
    used = next(text for text in ended.out.splitlines() if text.startswith("2024-01-1"))
    own = next(text for text in fitted.done("fit").out.splitlines() if text.startswith("2024-01-1"))
    assert used.split() == own.split()  # fitted at the trial's own duration
    assert "What the model found at 1 h held" in ended.out and "Freezes and rows used at 1 h held" in ended.out


def test_floors_are_averaged_over_durations(fitted: Line):
    ended = fitted.done("fit", "--held", "average")
    assert "claimable" in ended.out and "OL-03" not in ended.out  # never scored
    assert ended.err.count("estimate for the places and winters tested") == 1


def test_one_duration_can_be_asked_for(fitted: Line):
    cold = [text for text in fitted.done("fit", "--held", "0").out.splitlines() if text.startswith("2024-01-1")]
    mild = [text for text in fitted.done("fit", "--held", "6 h").out.splitlines() if text.startswith("2024-01-1")]
    assert "−9.0" in cold[0] and "−9.0" not in mild[0]


@pytest.mark.parametrize(("text", "hours"), [("Auto", "auto"), ("average", "average"), ("4", 4.0), ("0.5 h", 0.5),
                                             (None, None)])  # fmt: skip
def test_a_held_duration_is_read(text, hours):
    assert held_asked(text) == hours


@pytest.mark.parametrize("text", ["best", "-1", "400", "", "4 days"])
def test_no_held_duration_is_refused(text):
    with pytest.raises(InputError, match="accepted: auto, average, or hours from 0 to 240"):
        held_asked(text)


@pytest.mark.parametrize("term", TERMS)
def test_a_term_wants_one_of_two_words(line: Line, term):
    ended = line("fit", f"--{term}", "maybe")
    assert ended.code == 2 and "leave out" in ended.err


def test_a_trial_without_scores_has_nothing_to_fit(planted: Line):
    ended = planted.done("fit", "--csv", "-")
    assert ended.rows == [] and ended.header[0] == "kind"
    assert "nothing to fit yet" in ended.err


def test_scores_of_no_freeze_are_a_fault_of_the_input(planted: Line):
    planted.added("scores", "plant,scored_on,grade\nT1,2023-02-20,1\n")
    ended = planted("fit")
    assert ended.code == 2 and ended.err.startswith("Nothing to fit: of 1 score none could be used.")
