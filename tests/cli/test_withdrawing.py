"""``hardiness withdraw``: rows and uploads stop counting, nothing is deleted, and --undo brings it back."""

import pytest

from tests.cli.conftest import Line, as_csv, files_under, readings

DEAD = "plant,scored_on,grade\nT1,2023-02-20,5\nT2,2023-02-20,1\n"


def refused(line: Line, *words) -> str:
    """Run what must be refused, and see that nothing has changed."""
    before = line.state
    ended = line(*words)
    assert ended.code == 2, ended.err
    assert ended.out == ""
    assert line.state == before
    return ended.err


def test_withdrawn_rows_stop_counting_and_come_back(planted: Line):
    planted.added("scores", DEAD, "s.csv")
    file = planted.file("plant,scored_on\nT1,2023-02-20\n")
    ended = planted.done("withdraw", "scores", file)
    assert "1 row of scores" in ended.err
    assert ended.out == ""
    assert list(planted.held("scores")["plant"]) == ["T2"]
    again = planted.done("withdraw", "scores", file)
    assert "nothing has changed" in again.err
    back = planted.done("withdraw", "scores", file, "--undo")
    assert "1 row of scores" in back.err
    assert list(planted.held("scores")["plant"]) == ["T1", "T2"]
    assert "nothing has changed" in planted.done("withdraw", "scores", file, "--undo").err


def test_nothing_is_deleted_and_history_says_who_and_when(planted: Line, monkeypatch):
    planted.added("scores", DEAD, "s.csv")
    before = files_under(planted.folder)
    monkeypatch.setenv("HARDINESS_WHO", "RM")
    file = planted.file("plant,scored_on\nT1,2023-02-20\n", "wrong.csv")
    planted.done("withdraw", "scores", file)
    planted.done("withdraw", "scores", file, "--undo")
    assert set(before) <= set(files_under(planted.folder))
    acts = [row for row in planted.csv("history") if "withdraw" in row["action"]]
    assert [(row["who"], row["action"], row["table"], row["key"], row["file"]) for row in acts] \
        == [("RM", "withdraw", "scores", "T1, 2023-02-20", "wrong.csv"),
            ("RM", "undo withdraw", "scores", "T1, 2023-02-20", "wrong.csv")]  # fmt: skip
    assert '"grade":5' in acts[0]["old"] and acts[0]["new"] == ""
    assert '"grade":5' in acts[1]["new"] and acts[1]["old"] == ""
    assert all(row["at"].startswith("20") and row["at"][-6] in "+-" for row in acts)


@pytest.mark.parametrize(
    "table, rows, key",
    [
        ("selections", "selection,notes\nOL-20,x\n", "selection\nOL-20\n"),
        ("plants", "plant,selection,rootstock\nT20,OL-07,own\n", "plant\nT20\n"),
        ("sensors", "sensor\nL20\n", "sensor\nL20\n"),
        ("scores", "plant,scored_on,grade,observer\nT1,2023-02-20,1,RM\n",
         "plant,scored_on,observer\nT1,2023-02-20,RM\n"),
        ("freeze_notes", "from,to,block,note\n2023-01-10,2023-01-11,A,x\n", "from,to,block\n2023-01-10,2023-01-11,A\n"),
    ],
)  # fmt: skip
def test_rows_of_every_table_can_be_withdrawn_by_their_key(planted: Line, table, rows, key):
    before = planted.held(table)
    planted.added(table, rows)
    planted.done("withdraw", table, planted.file(key))
    assert planted.held(table).equals(before)
    planted.done("withdraw", table, planted.file(key), "--undo")
    assert len(planted.held(table)) == len(before) + 1


def test_the_file_that_brought_the_rows_can_name_them(planted: Line):
    planted.added("scores", DEAD, "s.csv")
    planted.done("withdraw", "scores", planted.file(DEAD))
    assert planted.held("scores").empty


def test_what_others_rest_on_is_not_withdrawn(planted: Line):
    planted.added("scores", DEAD)
    said = refused(planted, "withdraw", "selections", planted.file("selection\nOL-07\n"))
    assert "'T1'" in said and "'T2'" in said and "'OL-07'" in said
    said = refused(planted, "withdraw", "plants", planted.file("plant\nT1\nT3\n"))
    assert "'T1'" in said and "'T3'" not in said  # T3 has no score
    plants = planted.csv("uploads")[2]["upload"]
    assert "'T1'" in refused(planted, "withdraw", "upload", plants[:10])


def test_a_sensor_that_plants_name_is_withdrawn_and_that_is_said(planted: Line):
    planted.added("plants", "plant,selection,rootstock,sensor\nT3,CK-A,own,L1\n")
    ended = planted.done("withdraw", "sensors", planted.file("sensor\nL1\n"))
    assert "Sensor 'L1' of plant 'T3' has no record and no readings any more." in ended.err
    assert planted.held("sensors").empty


def test_a_row_that_was_never_added_is_named_with_a_near_one(planted: Line):
    planted.added("scores", DEAD)
    file = planted.file("plant,scored_on\nT2,2023-02-20\nT2,2023-02-21\n", "w.csv")
    said = refused(planted, "withdraw", "scores", file)
    assert said.startswith("w.csv, row 3: found ")
    assert "2023-02-21" in said and "Did you mean" in said and "2023-02-20" in said
    said = refused(planted, "withdraw", "scores", planted.file("scored_on\n2023-02-20\n", "w.csv"))
    assert "'plant'" in said


def test_an_upload_is_withdrawn_by_the_first_characters_of_its_hash(planted: Line):
    planted.added("scores", DEAD, "s.csv")
    hash_ = planted.csv("uploads")[-1]["upload"]
    ended = planted.done("withdraw", "upload", hash_[:8].upper())
    assert "'s.csv'" in ended.err and "2 rows of scores" in ended.err
    assert planted.held("scores").empty
    assert planted.csv("uploads")[-1]["counts"] == "false"
    assert "nothing has changed" in planted.done("withdraw", "upload", hash_).err
    same = planted.added("scores", DEAD, "s.csv")
    assert "withdrawn" in same.err and "--undo" in same.err and planted.held("scores").empty
    planted.done("withdraw", "upload", hash_[:8], "--undo", "--why", "the right walk after all")
    assert len(planted.held("scores")) == 2
    assert '"why":"the right walk after all"' in planted.csv("history")[-3]["new"]
    assert [row["action"] for row in planted.csv("history")][-3] == "undo withdraw upload"


def test_withdrawing_an_update_brings_the_earlier_values_back(line: Line):
    line.added("selections", "selection,notes\nOL-07,first\n", "a.csv")
    line.added("selections", "selection,notes\nOL-07,second\nOL-08,\n", "b.csv")
    line.done("withdraw", "upload", line.csv("uploads")[-1]["upload"])
    assert line.held("selections")[["selection", "notes"]].to_numpy().tolist() == [["OL-07", "first"]]


def test_withdrawn_readings_and_their_freezes_are_gone_until_undone(planted: Line):
    planted.added("readings", as_csv(readings({"2023-01-10": -7.0})), "l1.csv", "--sensor", "L1")
    hash_ = planted.csv("uploads")[-1]["upload"]
    assert len(planted.csv("freezes")) == 1
    ended = planted.done("withdraw", "upload", hash_[:12])
    assert "96 readings" in ended.err and "'L1'" in ended.err
    assert planted.csv("freezes") == []
    planted.done("withdraw", "upload", hash_[:12], "--undo")
    assert [row["freeze"] for row in planted.csv("freezes")] == ["2023-01-10 L1"]


@pytest.mark.parametrize("word, said", [("xyz1", "SHA-256"), ("abc", "4 or more"), ("00000000", "no upload begins")])
def test_a_hash_that_names_no_upload_is_refused(planted: Line, word, said):
    assert said in refused(planted, "withdraw", "upload", word)


def test_withdrawn_readings_do_not_come_back_against_what_was_added_since(planted: Line):
    planted.added("readings", as_csv(readings({"2023-01-10": -7.0})), "l1.csv", "--sensor", "L1")
    hash_ = planted.csv("uploads")[-1]["upload"]
    planted.done("withdraw", "upload", hash_)
    planted.added("readings", as_csv(readings({"2023-01-10": -9.0})), "l2.csv", "--sensor", "L1")
    said = refused(planted, "withdraw", "upload", hash_, "--undo")
    assert "'l2.csv'" in said and "L1" in said
    assert [row["minimum_c"] for row in planted.csv("freezes")] == ["-9.0"]


def test_of_many_rows_that_rest_on_what_is_withdrawn_twenty_are_listed(planted: Line):
    days = [f"2023-02-{day:02d}" for day in range(1, 29)]
    planted.added("scores", "\n".join(["plant,scored_on,grade", *(f"T1,{day},1" for day in days)]))
    err = refused(planted, "withdraw", "plants", planted.file("plant\nT1\n"))
    assert err.count("That row rests on it") == 20
    assert err.splitlines()[20:] == ["And 8 more rows like these.", "Nothing was stored."]


def test_rows_never_added_and_bad_dates_are_listed_with_what_rests_on_the_others(planted: Line):
    planted.added("scores", DEAD, "s.csv")
    err = refused(
        planted, "withdraw", "scores", planted.file("plant,scored_on\nT1,20.2.2023\nT3,2023-02-20\n", "w.csv")
    )
    assert [line.split(" found ")[0] for line in err.splitlines()[:2]] == ["w.csv, row 2, column scored_on:",
                                                                          "w.csv, row 3:"]  # fmt: skip
    err = refused(planted, "withdraw", "plants", planted.file("plant\nT1\nT9\n", "w.csv"))
    assert "w.csv, row 3: found plant 'T9', never added" in err and "scores, plant 'T1', scored_on 2023-02-20" in err
