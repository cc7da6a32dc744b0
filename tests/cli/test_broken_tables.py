"""Files that are no table, and names that are hard to keep: refused with every fault named, or kept as they were."""

import csv
import io
import os
import zipfile

import openpyxl
import pytest

from tests.cli.conftest import Line, files_under, hardiness, refused

HARD_NAMES = [
    "a, b",
    'the "old" one',
    "007",
    "1e5",
    "nan",
    "None",
    "NULL",
    "TRUE",
    "-5",
    "=1+1",
    "@SUM(A1)",
    "Żółć-№3",
    "\u05d6\u05d9\u05ea",  # right to left
    "オリーブ 7号",
    "🫒",
    "a'b; drop table plants",
    "..",
    "a/b\\c",
    "2031-12-14",
    "100%_x",
    "\u0645\u06cc\u200c\u062e\u0648\u0627\u0647\u0645",  # with a joiner that cannot be seen but belongs there
]


def quoted(*rows: list[str]) -> str:
    stream = io.StringIO()
    csv.writer(stream, lineterminator="\n").writerows(rows)
    return stream.getvalue()


def workbook(*rows: list[object]) -> bytes:
    book, stream = openpyxl.Workbook(), io.BytesIO()
    for row in rows:
        book.active.append(row)
    book.save(stream)
    return stream.getvalue()


def test_all_problems_of_a_file_are_listed_at_once_with_their_place(planted: Line):
    text = (
        "plant,selection,rootstock,planted_on,grown_in,lost_to\n"
        "T7,OL-07,own,2022-02-30,ground,\n"
        "T8,OL-07,,01/04/2022,groun,\n"
        ",OL-07,own,,,frost\n"
        "T7,OL-07,own,,,\n"
        "T9,OL-07,own,2022-04-01,,cold,x\n"
    )
    ended = refused(planted, "plants", text, "p.csv")
    places = [line.split(": found ")[0] for line in ended.problems("p.csv")]
    assert places == [
        "p.csv, row 2, column planted_on",
        "p.csv, row 3, column rootstock",
        "p.csv, row 3, column planted_on",
        "p.csv, row 3, column grown_in",
        "p.csv, row 4, column plant",
        "p.csv, row 4, column lost_to",
        "p.csv, row 5",
        "p.csv, row 6",
    ]
    assert all("; accepted: " in line for line in ended.problems("p.csv"))
    for text in ("'2022-02-30'", "'01/04/2022'", "Did you mean 'ground'?", "cold, other or unknown", "row 2 has"):
        assert text in ended.err
    assert "8 problems; nothing was stored." in ended.err


@pytest.mark.parametrize(
    "table, text, places",
    [
        (
            "scores",
            "plant,scored_on,grade,observer,more\nT1,2023-02-01,9,A,\nT999,2023-02-01,1,A,\nT2,2020-02-01,1,A,\n"
            "T998,2023-02-01,nine,A,\nT3,01.02.2023,1,A,\nT3,2023-02-01,1,A,x,y\n",
            [": column", "2, column grade", "3, column plant", "4, column scored_on", "5, column grade",
             "5, column plant", "6, column scored_on", "7"],
        ),
        (
            "plants",
            "plant,selection,rootstock,planted_on,removed_on,copy_of\nX1,OL-99,own,,,\nX2,OL-07,,,,\n"
            "X3,OL-07,own,2022-04-01,2021-04-01,\nX4,OL-07,own,2022-04-31,2021-04-01,X4\nX5,,own,,,\n",
            ["2, column selection", "3, column rootstock", "4, column removed_on", "5, column planted_on",
             "5, column copy_of", "6, column selection"],
        ),
        ("freeze_notes", "from,to,block,set_aside\n2023-01-10,2023-01-09,A,yes\n2023-01-10,2023-01-11,,maybe\n"
         "2023-01-10,2023-01-12,B,yes\n", ["2, column to", "3, column set_aside", "4, column block"]),
        ("scores", "plant,scored_on,grade\nT9,2023-02-30,7\nT1,2023-02-31,1\n,,\n",
         ["2, column scored_on", "2, column grade", "2, column plant", "3, column scored_on"]),
        ("plants", "plant,selection,rootstock\n,OL-99,own\n,OL-07,own\n",
         ["2, column plant", "2, column selection", "3, column plant"]),
    ],
)  # fmt: skip
def test_cells_rows_and_what_they_refer_to_are_listed_together(planted: Line, table, text, places):
    ended = refused(planted, table, text, "t.csv")
    found = [line.split(" found ")[0].rstrip(":") for line in ended.problems("t.csv")]
    assert [name.replace("t.csv, row ", "").replace("t.csv: ", ": ") for name in found] == [
        "t.csv" if place == ": column" else place for place in places
    ]
    assert f"{len(places)} problems; nothing was stored." in ended.err


def test_a_bad_cell_is_not_held_against_other_rows(planted: Line):
    planted.added("scores", "plant,scored_on,grade\nT1,2023-02-20,5\n")
    planted.added("plants", "plant,selection,rootstock,planted_on,removed_on\nT1,OL-07,stock P,2022-04-01,2023-06-01\n")
    later = "plant,selection,rootstock,planted_on,removed_on\nT1,OL-07,stock P,1 May 2023,2023-05-01\n"
    (problem,) = refused(planted, "plants", later, "p.csv").problems("p.csv")  # its score lies before either date
    assert problem.startswith("p.csv, row 2, column planted_on: found '1 May 2023'")


def test_a_table_that_was_good_once_is_refused_by_a_shorter_scale(planted: Line):
    text = "plant,scored_on,grade\nT1,2023-02-20,5\n"
    planted.added("scores", text)
    path = planted.folder / "trial.toml"
    whole = path.read_text(encoding="utf-8")
    path.write_text(whole.replace("    'dead down to the graft',\n", ""), encoding="utf-8")
    assert path.read_text(encoding="utf-8") != whole
    ended = planted.add("scores", text)
    assert ended.code == 2 and "a grade 0-4" in ended.err


def test_formulas_in_a_workbook_are_listed_beside_the_faults_of_other_rows(planted: Line):
    book = workbook(["plant", "scored_on", "grade"], ["T1", "2023-02-20", "=1+1"], ["T9", "2023-02-20", 1])
    ended = refused(planted, "scores", book, "s.xlsx")
    places = [line.split(": found ")[0] for line in ended.problems("s.xlsx")]
    assert places == ["s.xlsx, row 2, column grade", "s.xlsx, row 3, column plant"]


def test_unknown_and_missing_columns_are_named_with_near_names(line: Line):
    ended = refused(line, "scores", "plnt,scored_on,grade,wind\nT1,2023-02-20,1,3\n", "s.csv")
    for text in ("'plnt'", "Did you mean 'plant'?", "'wind'", "'plant'"):
        assert text in ended.err
    assert "plant, scored_on, grade, protected, observer, notes" in ended.err


def test_grades_and_choices_name_the_scale_and_the_words(planted: Line):
    text = "plant,scored_on,grade,protected\nT1,2023-02-20,unharmd,blanket\nT2,2023-02-20,-1,\n"
    ended = refused(planted, "scores", text)
    assert "0-5" in ended.err and "0 unharmed" in ended.err and "5 dead down to the graft" in ended.err
    assert "Did you mean 'unharmed'?" in ended.err and "sprinkler" in ended.err and "'-1'" in ended.err


@pytest.mark.parametrize("claim", ["-12", "12 parsecs", "C", "-12 C or so", "-120 C", "five degrees"])
def test_a_claim_wants_a_number_with_a_unit(line: Line, claim):
    ended = refused(line, "selections", f"selection,claimed_floor\nOL-07,{claim}\n", "s.csv")
    assert f"s.csv, row 2, column claimed_floor: found '{claim}'" in ended.err and "'-12 C'" in ended.err


def test_a_date_far_off_is_refused_and_one_ahead_of_the_clock_is_taken_and_said(planted: Line):
    ended = refused(planted, "scores", "plant,scored_on,grade\nT1,1023-02-20,1\nT2,2999-02-20,1\n")
    for text in ("'1023-02-20'", "'2999-02-20'", "a date from 1850 to 2199"):
        assert text in ended.err
    ended = planted.added("scores", "plant,scored_on,grade\nT1,2199-02-20,1\n", "ahead.csv")
    assert "ahead.csv, column scored_on: 1 date lies after today, 20" in ended.err
    assert "; it is row 2, 2199-02-20." in ended.err
    assert len(planted.held("scores")) == 1


@pytest.mark.parametrize(
    "content, said",
    [
        (b"", "an empty file"),
        (b"\n \n\t\n", "an empty file"),
        (b"selection,notes\n", "no rows below the header"),
        (b"selection,notes\n,\n", "no rows below the header"),
        (bytes(range(256)) * 40, "accepted"),
        (b"\x89PNG\r\n\x1a\n" + b"\x00" * 500, "accepted"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\x00" * 600, "XLSX"),
        (b"PK\x03\x04 no workbook", "accepted"),
        (b"selection\n\"OL-07\n", "accepted"),
        (b"selection,selection\nOL-07,OL-08\n", "2 times"),
        (b"selection,\nOL-07,what is this\n", "no column name"),
        (b"selection\n" + b"x" * 201 + b"\n", "at most 200 characters"),
        (b'selection\n"OL\n07"\n', "on one line"),
        (b"selection\nOL\x0007\n", "accepted"),
        (b"selection\n" + b"OL-06\n" * 40 + b"OL\x1b[31m07\n", "hidden characters"),
        ("selection\nOL\u202e07\n".encode(), "hidden characters"),
        (b"OL-07\nOL-08\n", "'selection'"),
        (b"just a sentence, with a comma.\nand another, here\n", "'selection'"),
    ],
)  # fmt: skip
def test_what_is_no_table_is_refused(line: Line, content, said):
    ended = refused(line, "selections", content, "broken.csv")
    assert "broken.csv" in ended.err
    assert said in ended.err
    assert "\x1b" not in ended.err


def test_no_file_and_a_folder_are_refused(line: Line, tmp_path):
    before = line.state
    for path in (tmp_path / "nowhere.csv", tmp_path, tmp_path / "nowhere" / "x.csv"):
        ended = line("add", "plants", path)
        assert ended.code == 2
        assert "no file to read" in ended.err
    assert line.state == before


def test_a_line_of_200_mb_is_refused_at_once(line: Line, tmp_path):
    path = tmp_path / "long.csv"
    with path.open("wb") as file:
        file.truncate(200_000_000)
    before = line.state
    for verb in ("add", "withdraw"):
        ended = line(verb, "plants", path)
        assert ended.code == 2
        assert "200 MB" in ended.err
    assert line.state == before


@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_hard_names_are_kept_letter_by_letter(line: Line, form):
    def file(*rows):
        return quoted(*rows) if form == "csv" else workbook(*rows)

    # A name that begins with = would be a formula in a workbook.
    names = [name for name in HARD_NAMES if form == "csv" or not name.startswith("=")]
    notes = [f'line one\nline "two", of {name}' for name in names]
    line.added("selections", file(["selection", "notes"], *zip(names, notes, strict=True)), f"s.{form}")
    held = line.held("selections")
    assert list(held["selection"]) == names
    assert list(held["notes"]) == notes
    rows = [[f"p {name}", name, f"on {name}", "2022-04-01"] for name in names]
    line.added("plants", file(["plant", "selection", "rootstock", "planted_on"], *rows), f"p.{form}")
    floors = line.csv("floors")
    assert sorted((row["selection"], row["rootstock"]) for row in floors) == sorted((n, f"on {n}") for n in names)
    assert {row["evidence"] for row in floors} == {"untested"}
    printed = line.done("floors").out
    assert all(name in printed for name in names)
    again = line.added("plants", file(["plant", "selection", "rootstock", "planted_on"], *rows)).err
    assert "nothing has changed" in again or f"{len(names)} unchanged" in again  # a workbook tells when it was saved


def test_a_number_in_a_workbook_that_lost_its_zeros_is_said(line: Line):
    ended = line.added("selections", workbook(["selection"], [7], [8.5]), "s.xlsx")
    assert list(line.held("selections")["selection"]) == ["7", "8.5"]
    assert "numbers" in ended.err and "selection" in ended.err


def test_formulas_in_a_workbook_are_refused_by_cell(line: Line):
    ended = refused(line, "selections", workbook(["selection", "notes"], ["OL-07", "=1+1"], ["=A2", ""]), "s.xlsx")
    assert "s.xlsx, row 2, column notes" in ended.err and "s.xlsx, row 3, column selection" in ended.err
    assert "formula" in ended.err


@pytest.mark.slow
def test_a_workbook_that_grows_without_end_is_refused(line: Line):
    stream = io.BytesIO(workbook(["selection"], ["OL-07"]))
    bomb = io.BytesIO()
    with zipfile.ZipFile(stream) as old, zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, b" " * 300_000_000 if name.endswith("sheet1.xml") else old.read(name))
    ended = refused(line, "selections", bomb.getvalue(), "bomb.xlsx")
    assert "bomb.xlsx" in ended.err


@pytest.mark.parametrize(
    "content, notes, said",
    [
        ("selection;notes\nOL-07;sød, dry\n".encode("utf-8-sig"), "sød, dry", ""),
        ("selection\tnotes\r\nOL-07\tsød\r\n".encode("utf-16"), "sød", ""),
        ("selection,notes\rOL-07,sød\r".encode("latin-1"), "sød", "not in UTF-8"),
        (b"trial of the hill\n\nSelection , Notes\nOL-07, dry \n", "dry", ""),
    ],
)  # fmt: skip
def test_what_spreadsheets_write_is_read(line: Line, content, notes, said):
    ended = line.add("selections", content, "s.csv")
    if ended.code == 2:  # text above the header is not promised; what is not read is said
        assert b"hill" in content and "s.csv" in ended.err
        return
    assert said in ended.err
    assert list(line.held("selections")["notes"]) == [notes]


def test_a_file_whose_name_cannot_be_written_down_is_taken(line: Line, tmp_path):
    path = os.fsencode(tmp_path / "s") + b"\xff.csv"
    try:
        with open(path, "wb") as file:
            file.write(b"selection\nOL-07\n")
    except OSError:
        pytest.skip("this file system wants names in UTF-8")
    line.done("add", "selections", os.fsdecode(path))
    assert list(line.held("selections")["selection"]) == ["OL-07"]
    assert len(line.csv("uploads")) == 1


def test_a_refused_first_file_leaves_no_folders_behind(line: Line):
    before = files_under(line.folder)
    assert hardiness("add", "selections", line.file("selection\n"), "--trial", line.folder).code == 2
    assert files_under(line.folder) == before == ["trial.toml"]
