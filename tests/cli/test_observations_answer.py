"""``hardiness observations``: what the model sees, what is said about it, and what was left out and why."""

import pytest

from tests.cli.conftest import Line, as_csv, readings, refused

COLUMNS = [
    "plant", "selection", "rootstock", "freeze", "event", "sensor", "winter", "exposure_c", "exposure_sd_c",
    "sensor_sd_c", "grade", "grade_low", "near", "protected", "scored_on", "freezes", "provisional",
]  # fmt: skip


@pytest.fixture
def winter(planted: Line) -> Line:
    """Three freezes of one winter, to -5, -8 and -7.5 C."""
    nights = {"2022-12-05": -5.0, "2023-01-10": -8.0, "2023-02-10": -7.5}
    planted.added("readings", as_csv(readings(nights)), "l1.csv", "--sensor", "L1")
    return planted


def scores(line: Line, *rows: str) -> None:
    line.added("scores", "\n".join(["plant,scored_on,grade,protected,observer", *rows, ""]))


def seen(line: Line, *columns: str) -> list[tuple[str, ...]]:
    return [tuple(row[name] for name in columns) for row in line.csv("observations")]


def left_out(line: Line) -> list[tuple[str, str]]:
    return [(row["plant"], row["reason"]) for row in line.done("observations", "--left-out", "-").rows]


def test_a_row_has_exactly_its_columns(winter: Line):
    scores(winter, "T1,2022-12-20,1,,", "T1,2023-03-20,3,no,RM")
    ended = winter.done("observations", "--csv", "-")
    assert ended.header == COLUMNS
    wanted = {
        "plant": "T1", "selection": "OL-07", "rootstock": "stock P", "freeze": "2023-01-10 L1", "event": "2023-01-10",
        "sensor": "L1", "winter": "2022-23", "exposure_c": "-8.0", "exposure_sd_c": "0.3", "sensor_sd_c": "0.3",
        "grade": "3", "grade_low": "3", "near": "2", "protected": "", "scored_on": "2023-03-20", "freezes": "2",
        "provisional": "false",
    }  # fmt: skip
    assert ended.rows[1] == wanted
    assert [(row["grade"], row["near"], row["freezes"]) for row in ended.rows] == [("1", "1", "1"), ("3", "2", "2")]


def test_damage_carried_over_is_no_new_damage(winter: Line):
    scores(winter, "T1,2022-12-20,3,,", "T1,2023-01-25,3,,", "T1,2023-03-20,4,,")
    assert seen(winter, "grade", "grade_low") == [("3", "3"), ("3", "0"), ("4", "4")]


def test_an_early_score_is_provisional_until_a_later_one(winter: Line):
    scores(winter, "T1,2023-02-12,2,,")
    ended = winter.done("observations", "--csv", "-")
    assert [row["provisional"] for row in ended.rows] == ["true"]
    assert "1 provisional" in ended.err
    scores(winter, "T1,2023-03-20,3,,")
    assert seen(winter, "grade", "provisional") == [("3", "false")]
    assert ("T1", "superseded") in left_out(winter)


def test_a_score_too_early_closes_no_window_once_another_freeze_has_followed(winter: Line):
    scores(winter, "T1,2023-01-13,2,,", "T1,2023-03-20,3,,")
    assert seen(winter, "scored_on", "freezes") == [("2023-03-20", "3")]
    assert ("T1", "early") in left_out(winter)


def test_of_several_observers_the_worst_counts_and_a_wide_difference_is_for_a_second_look(winter: Line):
    scores(winter, "T1,2023-03-20,1,,RM", "T1,2023-03-20,3,,AB", "T2,2023-03-20,1,,RM", "T2,2023-03-20,2,,AB")
    ended = winter.done("observations", "--csv", "-")
    assert [(row["plant"], row["grade"]) for row in ended.rows] == [("T1", "3"), ("T2", "2")]
    look = [line for line in ended.err.splitlines() if line.startswith("look again")]
    assert len(look) == 1 and "T1" in look[0] and "2023-03-20" in look[0]


def test_a_death_taken_back_by_a_later_grade_is_said(winter: Line):
    scores(winter, "T1,2023-03-20,5,,", "T1,2023-05-02,3,,")
    ended = winter.done("observations", "--csv", "-")
    assert "T1 was scored dead on 2023-03-20, grade 3 on 2023-05-02: it lives" in ended.err
    assert [row["grade"] for row in ended.rows] == ["3"]


def test_a_better_grade_after_a_settled_death_is_refused_with_the_way_out(winter: Line):
    scores(winter, "T1,2023-01-25,5,,")
    ended = refused(winter, "scores", "plant,scored_on,grade\nT1,2023-03-20,2\nT2,2023-03-20,2\n", "late.csv")
    assert "late.csv, row 2, column grade" in ended.err
    assert "2023-01-25" in ended.err and "hardiness withdraw scores" in ended.err
    winter.done("withdraw", "scores", winter.file("plant,scored_on\nT1,2023-01-25\n"))
    winter.added("scores", "plant,scored_on,grade\nT1,2023-03-20,2\nT2,2023-03-20,2\n", "late.csv")
    assert [row[0] for row in seen(winter, "plant")] == ["T1", "T2"]


def test_a_settled_death_is_not_brought_back_by_undoing_its_withdrawal(winter: Line):
    scores(winter, "T1,2023-01-25,5,,")
    death = winter.file("plant,scored_on\nT1,2023-01-25\n")
    winter.done("withdraw", "scores", death)
    scores(winter, "T1,2023-03-20,2,,")
    ended = winter("withdraw", "scores", death, "--undo")
    assert ended.code == 2
    assert "T1" in ended.err and "2023-03-20" in ended.err
    assert list(winter.held("scores")["grade"]) == [2]


def test_a_repeated_death_adds_nothing(winter: Line):
    scores(winter, "T1,2023-01-25,5,,", "T1,2023-03-20,5,,")
    assert seen(winter, "grade", "scored_on") == [("5", "2023-01-25")]
    assert ("T1", "already dead") in left_out(winter)


def test_protected_and_contained_plants_are_listed_and_not_fitted(winter: Line):
    winter.added("plants", "plant,selection,rootstock,block,grown_in,planted_on\nP1,OL-07,own,A,container,2022-04-01\n")
    scores(winter, "T1,2023-03-20,2,cover,", "P1,2023-03-20,2,,", "T2,2023-03-20,2,no,")
    assert seen(winter, "plant", "protected") == [("P1", "container"), ("T1", "cover"), ("T2", "")]
    ended = winter.done("observations")
    assert "3 observations of 3 plants: 2 protected or in a container" in ended.err
    rows = winter.done("observations", "--containers", "--csv", "-").rows
    assert {row["plant"]: row["protected"] for row in rows} == {"P1": "", "T1": "cover", "T2": ""}


def test_unscored_freezes_and_plants_taken_out_are_in_the_table_of_what_was_left_out(winter: Line):
    winter.added("plants", "plant,selection,rootstock,removed_on\nT1,OL-07,stock P,2023-02-20\n")
    scores(winter, "T1,2022-12-20,1,,", "T2,2022-12-20,1,,")
    found = left_out(winter)
    assert ("T1", "removed unscored") in found and ("T2", "not scored") in found
    ended = winter.done("observations")
    assert "removed unscored" in ended.err and "--left-out" in ended.err


def test_no_sensor_no_exposure_and_the_score_moves_to_no_older_freeze(winter: Line):
    winter.added("sensors", "sensor,kind,block\nL2,logger,B\n")
    winter.added("plants", "plant,selection,rootstock,block,planted_on\nT4,OL-07,own,B,2022-04-01\n")
    winter.added("readings", as_csv(readings({"2022-12-05": -4.0})), "l2.csv", "--sensor", "L2")
    scores(winter, "T4,2023-03-20,2,,")
    assert seen(winter, "plant") == []
    assert ("T4", "exposure unknown") in left_out(winter)
    assert "unknown" in winter.done("exposures").err


def test_csv_and_left_out_go_into_two_files(winter: Line, tmp_path):
    scores(winter, "T1,2023-03-20,2,,", "T1,2023-02-25,2,,")
    ended = winter.done("observations", "--csv", str(tmp_path / "o.csv"), "--left-out", str(tmp_path / "l.csv"))
    assert ended.out == ""
    assert (tmp_path / "o.csv").read_text().splitlines()[0] == ",".join(COLUMNS)
    assert (tmp_path / "l.csv").read_text().splitlines()[0] == "what,plant,freeze,scored_on,reason,detail"


def test_both_on_stdout_at_once_is_wrong_use(winter: Line):
    ended = winter("observations", "--csv", "-", "--left-out", "-")
    assert ended.code == 2
    assert "--left-out" in ended.err and ended.out == ""
