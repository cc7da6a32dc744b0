"""``hardiness add`` for the five tables of records: taken whole, the same file again, updates, history."""

import csv
import io

import openpyxl
import pytest

from tests.cli.conftest import Line, files_under, refused

TABLES = {
    "selections": (
        "selection,seed_parent,pollen_parent,origin,role,claimed_floor,claim_source,notes\n"
        'OL-07,CK-A,,seedling,candidate,-12 C,"a letter, 1998",by the gate\n'
        "CK-A,,,clone,check,10 F,,\n",
        {"selection": ["OL-07", "CK-A"], "claimed_floor": ["-12 C", "10 F"], "claim_source": ["a letter, 1998", ""]},
    ),
    "plants": (
        "plant,selection,rootstock,block,row,place,sensor,grafted_on,planted_on,removed_on,lost_to,grown_in,copy_of,notes\n"
        "007,OL-07,stock P,A,3,12,L1; L2,2021-03-02,2022-04-01,2024-05-01,cold,ground,M1,first\n"
        "T2,CK-A,Own,,,,,,,,,container,,\n",
        {"plant": ["007", "T2"], "rootstock": ["stock P", "own"], "sensor": ["L1; L2", ""]},
    ),
    "sensors": (
        "sensor,kind,block,latitude,longitude,elevation_m,height_m,shielded,accuracy_c,offset_c,notes\n"
        "L1,logger,A,40.41,-3.71,655,1.5,yes,0.3,-0.2,\nL2,station,,,,,,no,,,far\n",
        {"sensor": ["L1", "L2"], "kind": ["logger", "station"], "offset_c": [-0.2, None]},
    ),
    "scores": (
        "plant,scored_on,grade,protected,observer,notes\n"
        "007,2023-02-20,2,cover,RM,\n007,2023-02-20,Shoot tips killed,no,,\nT2,2023-02-21,0,,RM,dry\n",
        {"plant": ["007", "007", "T2"], "grade": [2, 2, 0], "protected": ["cover", "no", ""]},
    ),
    "freeze_notes": (
        "from,to,block,note,set_aside\n2023-01-10,2023-01-12,A,sprinklers on,no\n2023-02-01,2023-02-01,,indoors,yes\n",
        {"block": ["A", ""], "note": ["sprinklers on", "indoors"], "set_aside": ["no", "yes"]},
    ),
}  # fmt: skip
ORDER = ("selections", "sensors", "plants", "scores", "freeze_notes")


def as_workbook(text: str) -> bytes:
    """The same table as XLSX, numbers as numbers."""
    book = openpyxl.Workbook()
    for row in csv.reader(io.StringIO(text)):
        book.active.append([float(cell) if cell.lstrip("-").replace(".", "", 1).isdigit() else cell for cell in row])
        for cell, text in zip(book.active[book.active.max_row], row, strict=True):
            if text == "007":
                cell.value, cell.number_format = 7, "000"
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_every_table_is_taken_whole_from_csv_and_xlsx(line: Line, form):
    for table in ORDER:
        text, wanted = TABLES[table]
        rows = text.count("\n") - 1
        ended = line.added(table, text if form == "csv" else as_workbook(text), f"{table}.{form}")
        assert f"{table}.{form} ({table}): {rows} rows added." in ended.err
        assert ended.out == ""
        held = line.held(table)
        assert len(held) == rows
        for column, values in wanted.items():
            found = [None if value != value else value for value in held[column]]
            assert found == values, column


def test_columns_may_come_in_any_order_and_some_be_left_out(line: Line):
    line.added("selections", "notes,selection\nby the gate,OL-07\n")
    held = line.held("selections").iloc[0]
    assert (held["selection"], held["notes"], held["role"]) == ("OL-07", "by the gate", "")


def test_what_a_file_leaves_empty_about_a_shield_is_said(line: Line):
    ended = line.added("sensors", "sensor,shielded\nL1,\nL2,no\nL3,yes\n")
    assert "shield" in ended.err and "L1" in ended.err
    assert "L2" not in ended.err and "L3" not in ended.err
    quiet = line.added("sensors", "sensor,notes\nL2,far\n")
    assert "shield" not in quiet.err  # the file says nothing about it, and the sensor has one word on it
    again = line.added("sensors", "sensor,notes\nL1,near\n")
    assert "shield" in again.err


def test_the_same_file_again_changes_nothing_and_says_so(line: Line):
    for table in ORDER:
        line.added(table, TABLES[table][0], f"{table}.csv")
        before = line.state
        for name in (f"{table}.csv", "under-another-name.csv"):
            ended = line.added(table, TABLES[table][0], name)
            assert "same file" in ended.err and "nothing has changed" in ended.err
            assert f"'{table}.csv'" in ended.err  # the name it came by first
        assert line.state == before


def test_the_same_rows_in_another_file_are_unchanged(line: Line):
    line.added("selections", "selection,notes\nOL-07,first\nOL-08,second\n")
    ended = line.added("selections", "notes,selection\nsecond,OL-08\nfirst,OL-07\n", "other.csv")
    assert "2 unchanged" in ended.err and "updated" not in ended.err and "->" not in ended.err


def test_a_changed_row_is_an_update_shown_old_to_new_and_kept(line: Line):
    line.added("selections", "selection,notes,role\nOL-07,first,candidate\nOL-08,,check\n", "a.csv")
    ended = line.added("selections", "selection,notes\nOL-07,by the well\nOL-08,new\nOL-09,\n", "b.csv")
    assert "b.csv (selections): 1 row added, 2 updated." in ended.err
    assert "OL-07, notes: first -> by the well" in ended.err
    assert "OL-08, notes: (empty) -> new" in ended.err
    assert list(line.held("selections")["role"]) == ["candidate", "check", ""]  # a column not given stays
    emptied = line.added("selections", "selection,notes\nOL-08,\n", "c.csv")
    assert "OL-08, notes: new -> (empty)" in emptied.err
    kept = [row for row in line.csv("history") if row["action"] == "update" and row["key"] == "OL-07"]
    assert [(row["old"], row["new"], row["file"]) for row in kept] \
        == [('{"notes":"first"}', '{"notes":"by the well"}', "b.csv")]  # fmt: skip
    assert "notes: first -> by the well" in line.done("history").out


def test_an_update_in_a_key_of_several_columns_names_them_all(planted: Line):
    planted.added("scores", "plant,scored_on,grade,observer\nT1,2023-02-20,2,RM\nT1,2023-02-20,1,\n")
    ended = planted.added("scores", "plant,scored_on,grade,observer\nT1,2023-02-20,3,RM\n")
    assert "T1 2023-02-20 RM, grade: 2 -> 3" in ended.err
    assert sorted(planted.held("scores")["grade"]) == [1, 3]


def test_history_and_uploads_say_who_when_what_and_from_which_file(line: Line, monkeypatch):
    monkeypatch.setenv("HARDINESS_WHO", "RM")
    line.added("selections", "selection\nOL-07\nOL-08\n", "a.csv")
    ended = line.done("history", "--csv", "-")
    assert ended.header == ["at", "who", "action", "table", "key", "old", "new", "upload", "file"]
    rows = [row for row in ended.rows if row["action"] == "add"]
    assert [(row["who"], row["table"], row["key"], row["file"]) for row in rows] \
        == [("RM", "selections", "OL-07", "a.csv"), ("RM", "selections", "OL-08", "a.csv")]  # fmt: skip
    assert rows[0]["at"].endswith(("+01:00", "+02:00"))  # Madrid's own time
    upload = line.csv("uploads")[0]
    assert (upload["file"], upload["table"], upload["rows"], upload["counts"]) == ("a.csv", "selections", "2", "true")
    assert len(upload["upload"]) == 64 and rows[0]["upload"] == upload["upload"]
    assert f"uploads/{upload['upload']}" in files_under(line.folder)
    assert (line.folder / "uploads" / upload["upload"]).read_bytes() == b"selection\nOL-07\nOL-08\n"
    printed = line.done("uploads").out
    assert upload["upload"][:12] in printed and upload["upload"] not in printed


@pytest.mark.parametrize(
    "table, text, row, column, found, accepted",
    [
        ("plants", "plant,selection,rootstock\nT8,OL-7,own\n", 2, "selection", "'OL-7'", "Did you mean 'OL-07'?"),
        ("scores", "plant,scored_on,grade\nT1,2023-02-20,1\nt1,2023-02-20,1\n", 3, "plant", "'t1'", "a plant of the"),
        ("scores", "plant,scored_on,grade\nT1,2022-03-31,1\n", 2, "scored_on", "2022-03-31", "from 2022-04-01 on"),
        ("freeze_notes", "from,to\n2023-01-10,2023-01-09\n", 2, "to", "2023-01-09", "from 2023-01-10 on"),
        ("plants", "plant,selection,rootstock,removed_on\nT1,OL-07,own,2022-03-01\n", 2, "removed_on", "2022-03-01",
         "2022-04-01"),
        ("plants", "plant,selection,rootstock,copy_of\nT8,OL-07,own,T8\n", 2, "copy_of", "'T8', the plant itself",
         "original seedling"),
        ("freeze_notes", "from,to,block,set_aside\n2023-01-10,2023-01-11,a,yes\n", 2, "block",
         "block 'a', where nothing stands", "('A'); empty is the whole site. Did you mean 'A'?"),
    ],
)  # fmt: skip
def test_what_refers_to_nothing_or_stands_before_its_time_is_refused(
    planted: Line, table, text, row, column, found, accepted
):
    ended = refused(planted, table, text, f"{table}.csv")
    assert f"{table}.csv, row {row}, column {column}: found " in ended.err
    assert found in ended.err and accepted in ended.err


def test_a_sensor_that_is_not_known_yet_is_said_and_the_plants_are_taken(planted: Line):
    plants = "plant,selection,rootstock,sensor\nT8,OL-07,own,L1;L12\nT9,OL-07,own,L12\n"
    ended = planted.added("plants", plants)
    assert "Sensor 'L12' of 2 plants has no record and no readings yet. Did you mean 'L1'?" in ended.err
    assert list(planted.held("plants")["sensor"])[3:] == ["L1;L12", "L12"]


def test_a_note_on_a_block_waits_for_plants(line: Line):
    ended = refused(line, "freeze_notes", "from,to,block,set_aside\n2023-01-10,2023-01-11,A,yes\n")
    assert "accepted: no block yet: add plants first; empty is the whole site." in ended.err
    line.added("freeze_notes", "from,to,set_aside\n2023-01-10,2023-01-11,yes\n")


def test_blocks_and_copies_that_nothing_else_knows_are_said_and_taken(planted: Line):
    rows = "T7,OL-07,own,B,,\nT8,OL-07,own,B,,T3\nT9,OL-07,own,B,L1,T33\nT10,OL-07,own,A,,T11\nT11,OL-07,own,A,,\n"
    ended = planted.added("plants", "plant,selection,rootstock,block,sensor,copy_of\n" + rows)
    assert "Block 'B' of 2 plants is one where no sensor hangs.\n" in ended.err  # the third names its sensor
    assert "Plant 'T9' is a copy of 'T33', which is no plant here. Did you mean 'T3'?" in ended.err
    assert ended.err.count("copy of") == 1
    near = planted.added("sensors", "sensor,block\nL2,a\n")
    assert "Block 'a' of sensor 'L2' is one where no plant stands. Did you mean 'A'?" in near.err
    named = planted.added("plants", "plant,selection,rootstock,block,sensor\nT12,OL-07,own,a1,L1\n")
    assert "Block 'a1' of plant 'T12' is one where no sensor hangs. Did you mean" in named.err


def test_a_note_whose_block_is_renamed_or_withdrawn_is_said(planted: Line):
    planted.added("plants", "plant,selection,rootstock,block\nT8,OL-07,own,B\n")
    planted.added("freeze_notes", "from,to,block,set_aside\n2023-01-10,2023-01-11,B,yes\n")
    sentence = "The freeze note from 2023-01-10 is about block 'B', where nothing stands any more: it has no effect."
    gone = planted.done("withdraw", "plants", planted.file("plant\nT8\n"))
    assert sentence in gone.err
    planted.done("withdraw", "plants", planted.file("plant\nT8\n"), "--undo")
    renamed = planted.added("plants", "plant,selection,rootstock,block\nT8,OL-07,own,C\n")
    assert sentence in renamed.err
    assert sentence not in planted.added("plants", "plant,selection,rootstock,block\nT9,OL-07,own,A\n").err


def test_a_plant_cannot_be_moved_past_its_scores(planted: Line):
    planted.added("scores", "plant,scored_on,grade\nT1,2023-02-20,1\n")
    ended = refused(planted, "plants", "plant,selection,rootstock,planted_on\nT1,OL-07,own,2023-04-01\n", "later.csv")
    assert "T1" in ended.err and "2023-02-20" in ended.err and "2023-04-01" in ended.err
    gone = refused(planted, "plants", "plant,selection,rootstock,removed_on\nT1,OL-07,own,2023-01-01\n", "gone.csv")
    assert "2023-01-01" in gone.err


def test_a_table_that_is_refused_once_can_be_mended_and_taken(planted: Line):
    refused(planted, "scores", "plant,scored_on,grade\nT1,2023-02-20,9\n", "s.csv")
    planted.added("scores", "plant,scored_on,grade\nT1,2023-02-20,5\n", "s.csv")
    assert list(planted.held("scores")["grade"]) == [5]


def test_a_plant_may_name_a_sensor_whose_readings_come_later_and_that_is_said(planted: Line):
    ended = planted.added("plants", "plant,selection,rootstock,sensor\nT8,OL-07,own,L1;L-2\n", "p.csv")
    assert "L-2" in ended.err
    assert [name.strip() for name in planted.held("plants")["sensor"].iloc[-1].split(";")] == ["L1", "L-2"]
