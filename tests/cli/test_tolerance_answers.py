"""``hardiness floors``, ``compare``, ``claims``: their columns, their options, what is printed, what is refused."""

import math

import pytest

from hardiness.tolerance import compare
from hardiness.trial import open_trial
from tests.cli.conftest import Line, copied

FLOORS = [
    "selection", "rootstock", "plants", "scores", "killed", "coldest_survived_c", "warmest_fatal_c", "tested_to_c",
    "evidence", "open_end", "rests_on", "floor_c", "floor_low_c", "floor_high_c", "claimable_c",
]  # fmt: skip
COMPARE = [
    "selection_a", "selection_b", "rootstock", "difference_c", "low_c", "high_c", "probability_a_hardier",
    "shared_winters",
]  # fmt: skip
CLAIMS = [
    "selection", "rootstock", "claimed_floor_c", "claim_source", "probability_holds", "probability_half_holds",
    "beyond_tested", "floor_c",
]  # fmt: skip
RED = "OL-02, red"


@pytest.fixture(scope="module")
def floors(fitted: Line):
    return fitted.done("floors", "--csv", "-")


def with_floor(rows):
    """All rows but that of the one cell without a score: what holds of floors is asked of five."""
    found = [row for row in rows if row["floor_c"]]
    assert len(found) == 5 == len(rows) - 1
    return found


def by_cell(rows):
    return {(row["selection"], row["rootstock"]): row for row in rows}


def test_floors_have_exactly_their_columns_and_a_row_per_registered_cell(floors):
    assert floors.header == FLOORS
    assert [(row["selection"], row["rootstock"]) for row in floors.rows] == [
        ("CK-A", "own"), ("CK-A", "stock P"), ("OL-01", "own"), ("OL-01", "stock P"), (RED, "own"), ("OL-03", "own"),
    ]  # fmt: skip


def test_counts_and_evidence_are_those_of_the_scores(floors):
    cells = by_cell(floors.rows)
    counts = ("plants", "scores", "killed", "coldest_survived_c", "warmest_fatal_c", "tested_to_c", "evidence",
              "open_end", "rests_on")  # fmt: skip
    assert [cells["CK-A", "own"][name] for name in counts] \
        == ["2", "3", "2", "-7.0", "-7.0", "-9.0", "bracketed", "none", "cell"]  # fmt: skip
    assert [cells["OL-01", "own"][name] for name in counts] \
        == ["2", "4", "0", "-9.0", "", "-9.0", "all survived", "cold", "trial"]  # fmt: skip
    assert [cells["CK-A", "stock P"][name] for name in counts] \
        == ["2", "2", "0", "-7.0", "", "-7.0", "all survived", "cold", "selection"]  # fmt: skip
    untested = cells["OL-03", "own"]
    assert untested["evidence"] == "untested"
    assert [untested[name] for name in FLOORS if name.endswith("_c")] == [""] * 7
    assert [untested[name] for name in ("plants", "scores", "killed")] == ["0", "0", "0"]


def test_a_floor_lies_in_its_interval_and_is_claimable_no_colder_than_tested(floors):
    for row in with_floor(floors.rows):
        low, middle, high = (float(row[name]) for name in ("floor_low_c", "floor_c", "floor_high_c"))
        assert low < middle < high
        claimable = float(row["claimable_c"])
        assert claimable >= float(row["tested_to_c"]) and claimable >= float(row["coldest_survived_c"])


def test_the_python_door_gives_the_same_floors(fitted: Line, floors):
    with open_trial(fitted.folder) as trial:
        table = trial.floors()
    names = ["selection", "evidence"]
    assert [[row[name] for name in names] for row in floors.rows] == table[names].to_numpy().tolist()
    for row, floor_c in zip(with_floor(floors.rows), table["floor_c"].dropna(), strict=True):
        assert math.isclose(float(row["floor_c"]), floor_c, rel_tol=1e-12)


def test_what_is_said_beside_floors(floors):
    assert "estimate for the places and winters tested" in floors.err
    assert "early and late ones are harder" in floors.err
    assert "10 Jan" in floors.err and "12 Jan" in floors.err and "2022-23 and 2023-24" in floors.err


def test_more_survivors_asked_for_means_a_warmer_floor(fitted: Line, floors):
    half = by_cell(fitted.csv("floors", "--survive", "0.5"))
    for cell, row in by_cell(with_floor(floors.rows)).items():
        assert float(half[cell]["floor_c"]) < float(row["floor_c"])


def test_a_grade_is_named_by_number_or_name_and_said(fitted: Line, floors):
    by_number = fitted.done("floors", "--grade", "3", "--csv", "-")
    by_name = fitted.done("floors", "--grade", "Last summer's  WOOD killed", "--csv", "-")
    assert by_number.out == by_name.out
    counted = by_cell(by_number.rows)
    assert counted[RED, "own"]["killed"] == "2" and by_cell(floors.rows)[RED, "own"]["killed"] == "1"
    for cell, row in by_cell(with_floor(by_number.rows)).items():
        assert float(row["floor_c"]) > float(by_cell(floors.rows)[cell]["floor_c"])
    told = fitted.done("floors", "--grade", "3").err
    assert "grade 3" in told and "last summer's wood killed" in told and "90 %" in told


@pytest.mark.parametrize("grade", ["0", "6", "-1", "unharmed", "ded", "", "2.5", "²"])
def test_a_grade_that_is_none_lists_the_scale(fitted: Line, grade):
    ended = fitted("floors", "--grade", grade)
    assert ended.code == 2
    assert "--grade" in ended.err and "5 (dead down to the graft)" in ended.err and "(unharmed)" not in ended.err
    assert ended.out == ""


def test_a_near_grade_is_offered(fitted: Line):
    assert "Did you mean 'main limbs killed'?" in fitted("floors", "--grade", "main limb killed").err


@pytest.mark.parametrize("share", ["0", "1", "1.5", "-0.1", "90", "nan", "most"])
def test_a_share_that_is_none_is_refused_on_any_trial(fitted: Line, line: Line, share):
    for trial in (fitted, line):
        ended = trial("floors", "--survive", share)
        assert ended.code == 2
        assert "--survive" in ended.err and ended.out == ""


def test_printed_floors_say_open_ends_in_words_and_claim_nothing_untested(fitted: Line, floors):
    printed = fitted.done("floors").out.splitlines()
    cells = by_cell(floors.rows)
    lines = {next(key for key in cells if all(part in line for part in key)): line for line in printed[1:]}
    for cell, row in cells.items():
        if row["evidence"] == "all survived":
            assert "at or below" in lines[cell]
        if row["claimable_c"]:
            shown = float(lines[cell].split()[-1].replace("−", "-"))
            assert -1e-6 <= shown - float(row["claimable_c"]) < 0.1 + 1e-6  # rounded to the warm side
    assert lines["OL-03", "own"].split()[-1] == "–"
    floors_in_order = [float(cells[cell]["floor_c"]) for cell in lines if cells[cell]["floor_c"]]
    assert floors_in_order == sorted(floors_in_order)


def test_compare_has_exactly_its_columns_and_pairs_in_order(fitted: Line):
    ended = fitted.done("compare", "--csv", "-")
    assert ended.header == COMPARE
    pairs = [(row["selection_a"], row["selection_b"], row["rootstock"]) for row in ended.rows]
    assert sorted(pairs) == sorted([
        ("CK-A", "OL-01", "own"), ("CK-A", "OL-01", "stock P"), ("CK-A", "OL-01", "all"),
        ("CK-A", RED, "own"), ("CK-A", RED, "all"), ("OL-01", RED, "own"), ("OL-01", RED, "all"),
    ])  # fmt: skip
    assert all(a < b for a, b, _ in pairs)
    for row in ended.rows:
        assert float(row["low_c"]) < float(row["difference_c"]) < float(row["high_c"])
        a_is_hardier = float(row["difference_c"]) < 0
        assert (float(row["probability_a_hardier"]) > 0.5) == a_is_hardier
        assert int(row["shared_winters"]) in (1, 2)
    assert "estimate" in ended.err


def test_compare_of_some_and_against_some(fitted: Line):
    def pairs(*words):
        return {(row["selection_a"], row["selection_b"]) for row in fitted.csv("compare", *words)}

    assert pairs("--selections", f'OL-01,"{RED}"') == {("OL-01", RED)}
    checks = pairs("--against", "checks")
    assert checks == pairs("--against", " CK-A ") == {("CK-A", "OL-01"), ("CK-A", RED)}


@pytest.mark.parametrize(
    "words, said",
    [
        (("--selections", "OL-1,CK-A"), ["'OL-1'", "Did you mean 'OL-01'?"]),
        (("--selections", "OL-03,CK-A"), ["'OL-03'", "no observation"]),
        (("--against", "CK-B"), ["'CK-B'"]),
        (("--selections", ""), ["--selections"]),
        (("--against", " , "), ["--against"]),
    ],
)
def test_compare_of_nobody_is_refused(fitted: Line, words, said):
    ended = fitted("compare", *words)
    assert ended.code == 2
    assert all(text in ended.err for text in said)
    assert ended.out == "" and "stored" not in ended.err


def test_against_checks_where_none_has_a_score_is_refused(fitted: Line, tmp_path):
    copy = copied(fitted, tmp_path)
    copy.added("selections", "selection,role\nCK-A,candidate\nOL-03,check\n")
    ended = copy("compare", "--against", "checks")
    assert ended.code == 2
    assert "--against checks" in ended.err and "no selection with role 'check'" in ended.err
    assert ended.out == ""


def test_a_check_that_only_stood_covered_stops_no_comparison_with_the_others(fitted: Line, tmp_path):
    copy = copied(fitted, tmp_path)
    copy.added("selections", "selection,role\nCK-B,check\n")
    copy.added("plants", "plant,selection,rootstock,planted_on\nG1,CK-B,own,2022-04-01\n")
    copy.added("scores", "plant,scored_on,grade,protected\nG1,2023-02-20,1,cover\n")
    pairs = copy.csv("compare", "--against", "checks")
    assert len(pairs) == 5 and {pair["selection_a"] for pair in pairs} == {"CK-A"}


def test_against_checks_before_anything_is_scored_is_no_fault(planted: Line):
    ended = planted.done("compare", "--against", "checks")
    assert ended.out.count("\n") == 1


def test_too_many_pairs_want_some_named(fitted: Line, monkeypatch):
    monkeypatch.setattr(compare, "MOST_PAIRS", 2)
    ended = fitted("compare", "--csv", "-")
    assert ended.code == 2
    assert "--selections" in ended.err and "--against checks" in ended.err and ended.out == ""
    assert len(fitted.csv("compare", "--against", "checks")) == 5


def test_claims_have_exactly_their_columns(fitted: Line, floors):
    ended = fitted.done("claims", "--csv", "-")
    assert ended.header == CLAIMS
    cells = by_cell(floors.rows)
    assert [(row["selection"], row["rootstock"]) for row in ended.rows] \
        == [("OL-01", "own"), ("OL-01", "stock P"), (RED, "own")]  # fmt: skip
    for row in ended.rows:
        cell = cells[row["selection"], row["rootstock"]]
        assert row["floor_c"] == cell["floor_c"]
        assert 0 <= float(row["probability_holds"]) <= float(row["probability_half_holds"]) <= 1
        beyond = float(row["claimed_floor_c"]) < float(cell["tested_to_c"])
        assert row["beyond_tested"] == str(beyond).lower()
    assert ended.rows[0]["claim_source"] == "a letter, 1998"
    assert math.isclose(float(ended.rows[2]["claimed_floor_c"]), (10 - 32) / 1.8)
    assert "survived once" in ended.err
