"""``hardiness ranks`` and ``rootstocks``: their columns, their options, what is said and what is refused."""

import pytest

from hardiness import schema
from tests.cli.conftest import Line, as_csv, readings


@pytest.fixture(scope="module")
def ranks(fitted: Line):
    return fitted.done("ranks", "--csv", "-")


def test_ranks_have_their_columns_and_every_tested_selection(ranks):
    assert ranks.header == schema.column_names(schema.RANKS)
    assert sorted((row["rootstock"], row["selection"]) for row in ranks.rows) == [
        ("all", "CK-A"), ("all", "OL-01"), ("all", "OL-02, red"), ("own", "CK-A"), ("own", "OL-01"),
        ("own", "OL-02, red"), ("stock P", "CK-A"), ("stock P", "OL-01"),
    ]  # fmt: skip
    assert {row["ranked"] for row in ranks.rows if row["rootstock"] == "stock P"} == {"2"}
    for row in ranks.rows:
        assert 1 <= int(row["rank_low"]) <= int(row["rank"]) <= int(row["rank_high"]) <= int(row["ranked"])


def test_the_only_check_has_no_rival_check(ranks):
    beats = {(row["rootstock"], row["selection"]): row["probability_hardier_than_checks"] for row in ranks.rows}
    assert beats["own", "CK-A"] == "" and 0.5 < float(beats["own", "OL-01"]) <= 1


def test_best_counts_how_many_the_best_are(fitted: Line):
    for best in ("1", "2"):
        rows = [row for row in fitted.done("ranks", "--best", best, "--csv", "-").rows if row["rootstock"] == "own"]
        assert sum(float(row["probability_among_best"]) for row in rows) == pytest.approx(int(best))
    assert fitted("ranks", "--best", "0").code == 2


def test_each_check_is_held_against_every_selection(fitted: Line):
    ended = fitted.done("ranks", "--each-check", "--csv", "-")
    assert ended.header == schema.column_names(schema.AGAINST_CHECKS)
    assert {row["check"] for row in ended.rows} == {"CK-A"} and len(ended.rows) == 5
    assert "speaks for its own pair" in ended.err


def test_what_is_said_beside_ranks(ranks, fitted: Line):
    assert "weighs all rivals at once" in ranks.err
    assert "The best are the first 3" in ranks.err and "estimate for the places and winters tested" in ranks.err
    printed = fitted.done("ranks")
    assert "OL-02, red" in printed.out and "probability among best" in printed.out


def test_rootstocks_have_their_columns_and_a_verdict(fitted: Line):
    ended = fitted.done("rootstocks", "--csv", "-")
    assert ended.header == schema.column_names(schema.ROOTSTOCKS)
    assert [(row["rootstock_a"], row["rootstock_b"], row["over"], row["shared_selections"]) for row in ended.rows] \
        == [("own", "stock P", "shared", "2"), ("own", "stock P", "any", "2")]  # fmt: skip
    for row in ended.rows:
        covers = float(row["low_c"]) <= 0 <= float(row["high_c"])
        assert (row["verdict"] == "not separable") == covers
    assert ("Not separable" in ended.err) == any(row["verdict"] == "not separable" for row in ended.rows)


@pytest.mark.parametrize("verb", ["ranks", "rootstocks"])
def test_an_empty_trial_prints_the_header_and_a_sentence(line: Line, verb):
    ended = line.done(verb, "--csv", "-")
    assert ended.rows == [] and ended.header
    assert ended.err.startswith("There is no")


@pytest.fixture
def family(planted: Line):
    """One winter of two selections whose seed parent is the same tree outside the trial."""
    planted.added("readings", as_csv(readings({"2023-01-10": -7.0})), "l1.csv", "--sensor", "L1")
    planted.added("scores", "plant,scored_on,grade\nT1,2023-02-20,0\nT2,2023-02-20,2\nT3,2023-02-20,5\n")
    assert "Pooled" not in planted.done("floors").err
    planted.added("selections", "selection,seed_parent\nOL-07,tree by gate\nCK-A,tree by gate\n")
    return planted


def test_floors_say_that_selections_are_pooled_with_their_kin(family: Line):
    assert "Pooled with their kin, by the parents in the register: 2 selections." in family.done("floors").err


def test_a_selection_that_descends_from_itself_is_refused_with_the_way_out(family: Line):
    family.added("selections", "selection,seed_parent\nOL-07,CK-A\nCK-A,OL-07\n")
    ended = family("floors")
    assert ended.code == 2 and ended.out == ""
    assert "'CK-A' <- 'OL-07' <- 'CK-A'" in ended.err or "'OL-07' <- 'CK-A' <- 'OL-07'" in ended.err
    assert "Correct seed_parent or pollen_parent" in ended.err
