"""Files in, text cells out: encodings, delimiters, XLSX number formats, and every fault of form by its place."""

import datetime as dt
import io
import os
import random
import subprocess
import sys
import warnings
import zipfile
from importlib.util import find_spec

import openpyxl
import pytest

from hardiness.errors import InputError
from hardiness.read.number_formats import formatted_number
from hardiness.read.tables import MAX_BYTES, read_table
from hardiness.schema import PLANTS, SCORES, SELECTIONS, SENSORS


@pytest.fixture
def read(tmp_path):
    """Write bytes, text or a workbook to a file and read it as a table."""

    def write_and_read(content, table=SELECTIONS, name="selections.csv", **options):
        path = tmp_path / name
        if isinstance(content, openpyxl.Workbook):
            content.save(path)
        elif isinstance(content, bytes):
            path.write_bytes(content)
        else:
            path.write_bytes(content.encode())
        return read_table(path, table, **options)

    return write_and_read


@pytest.fixture
def sheet():
    """Make a workbook of one sheet from rows of values; a value may be (value, number format)."""

    def make(rows, title="Sheet1"):
        book = openpyxl.Workbook()
        book.active.title = title
        for row, values in enumerate(rows, start=1):
            for column, value in enumerate(values, start=1):
                cell = book.active.cell(row, column)
                if isinstance(value, tuple):
                    cell.value, cell.number_format = value
                else:
                    cell.value = value
        return book

    return make


def cells(raw, column):
    return [row.cells[column] for row in raw.rows]


def problems(call, *arguments, **options):
    with pytest.raises(InputError) as caught:
        call(*arguments, **options)
    return [str(problem) for problem in caught.value.problems]


TEXT = "selection,notes\nOL-07,früh – spät\n007,plain\n"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_unicode_files_are_read_without_a_word(read, encoding):
    raw = read(TEXT.encode(encoding))
    assert cells(raw, "selection") == ["OL-07", "007"]
    assert cells(raw, "notes") == ["früh – spät", "plain"]
    assert raw.said == []


def test_a_western_encoding_is_a_guess_and_is_said(read):
    raw = read(TEXT.encode("cp1252"))
    assert cells(raw, "notes")[0] == "früh – spät"
    assert raw.said == ["selections.csv is not in UTF-8: it was read as Windows-1252. Check the letters with accents."]
    latin = read(b"selection,notes\nOL-07,\x81\xe9\n")  # 0x81 is no letter of Windows-1252
    assert cells(latin, "notes") == ["\x81é"] and "Latin-1" in latin.said[0]


def test_a_broken_byte_in_a_utf8_file_is_refused_with_its_line(read):
    broken = "selection,notes\nOL-07,früh\nOL-08,spät\n".encode().replace("ä".encode(), b"\xff")
    (found,) = problems(read, broken)
    assert found == (
        "selections.csv: found bytes that are no UTF-8 text (near line 3); accepted: a text in UTF-8. "
        "Save the file again as 'CSV UTF-8'."
    )


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_delimiter_and_line_ends_are_found(read, delimiter, end):
    lines = [["plant", "selection", "rootstock"], ["T1", "OL-07", "stock P"], ["T2", "OL-08", "own"]]
    raw = read(end.join(delimiter.join(line) for line in lines), PLANTS)
    assert raw.columns == lines[0]
    assert [list(row.cells.values()) for row in raw.rows] == lines[1:]
    assert raw.decimal_comma == (delimiter == ";")


def test_a_comma_in_a_semicolon_header_does_not_mislead(read):
    raw = read("selection;seed_parent;notes\nOL-07;OL-02;a, b, c, d\n")
    assert raw.rows[0].cells == {"selection": "OL-07", "seed_parent": "OL-02", "notes": "a, b, c, d"}


def test_a_one_column_file_needs_no_delimiter(read):
    assert cells(read("Selection\nOL-07\nOL-08\n"), "selection") == ["OL-07", "OL-08"]


def test_quotes_commas_and_line_breaks_inside_cells_are_kept_and_rows_count_as_in_a_spreadsheet(read):
    raw = read('selection,notes\n"OL ""x"", 7","two\nlines"\n\nOL-08,plain\n')
    assert raw.rows[0].cells == {"selection": 'OL "x", 7', "notes": "two\nlines"}
    assert [row.number for row in raw.rows] == [2, 4]  # a cell on two lines is one row, a blank row is a row


def test_a_preamble_and_blank_lines_shift_the_rows(read):
    raw = read("sep=;\r\n\r\nselection;notes\r\nOL-07;x\r\n")
    assert raw.columns == ["selection", "notes"] and raw.rows[0].number == 4


def test_header_names_are_tolerant_of_case_and_spaces(read):
    raw = read(" Plant , Scored on,GRADE\nT1,2026-02-10,3\n", SCORES)
    assert raw.columns == ["plant", "scored_on", "grade"]


def test_leading_zeros_and_formula_like_labels_stay_text(read):
    assert cells(read("selection\n007\n=1+1\n+5\n1e5\n"), "selection") == ["007", "=1+1", "+5", "1e5"]


def test_empty_cells_past_the_header_do_not_matter(read):
    raw = read("selection,notes,,\nOL-07,x,,\n,,,\n")
    assert raw.columns == ["selection", "notes"] and len(raw.rows) == 1


def test_all_faults_of_form_are_listed_at_once(read):
    text = "plant,selection,rootstock,plant,\nT1,OL-07,own,T1,\nT2,OL-07\nT3,OL-07,own,T3,x,y\n"
    assert problems(read, text, PLANTS, "plants.csv") == [
        "plants.csv, row 3: found 2 cells; accepted: 5 cells, as in the header row.",
        "plants.csv, row 4: found 6 cells; accepted: 5 cells, as in the header row. A cell that holds ',' must stand "
        "in double quotes.",
        "plants.csv, row 1, column E: found cells under no column name (first in row 4); accepted: a name in the "
        "header row for each column.",
        "plants.csv, row 1, column plant: found the name 2 times (columns A, D); accepted: each column name once.",
    ]


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "found an empty file"),
        (b" \n\n", "found an empty file"),
        (b",,\n,\n", "found no header row"),
        (b"selection,notes\n", "found no rows below the header"),
        (b"selection,notes\n,\n \n", "found no rows below the header"),
        (b"selection\0\n\0\n", "found bytes that are no text"),
        ("selection\nOL".encode("utf-16-le"), "found bytes that are no text"),
        (b"\xff\xfes\x00e\x00l", "found bytes that are no UTF-16"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1rest", "found a workbook of the old kind, or one under a password"),
        (b"PK\x03\x04 not a zip", "found a file that is no XLSX workbook"),
        (b'selection,notes\nOL-07,ok\nOL-08,"never closed\nOL-09,x\n', "row 3: found a row that cannot be read"),
        (b'selection,notes\nOL-07,"a" b\n', "row 2: found a row that cannot be read"),
        (b"x" * 70_000, "found a first line of more than 65,536 characters"),
        (b"selection,notes\n" + b"x" * 200_000 + b",\n", "row 2: found a row that cannot be read (field larger"),
        (b"selection,notes\n" + b"," * 1_100_000, "found a line of 1,100,000 characters (line 2)"),
    ],
)  # fmt: skip
def test_files_that_are_no_table_get_a_clear_sentence(read, content, sentence):
    found = problems(read, content)
    assert any(sentence in text for text in found), found
    assert all(text.startswith("selections.csv") for text in found)


def test_random_bytes_never_pass_for_a_table(read):
    random.seed(20260210)
    for _ in range(40):
        with pytest.raises(InputError):
            read(random.randbytes(random.randrange(1, 3000)))


def test_a_huge_file_is_refused_without_being_read(tmp_path):
    path = tmp_path / "selections.csv"
    with path.open("wb") as file:
        file.truncate(200_000_000)  # sparse: one line of 200 MB
    (found,) = problems(read_table, path, SELECTIONS)
    assert found == f"selections.csv: found a file of 200 MB; accepted: a table of at most {MAX_BYTES // 10**6} MB."


def test_a_file_that_is_not_there_is_the_users_fault(tmp_path):
    assert "found no file to read" in problems(read_table, tmp_path / "none.csv", PLANTS)[0]
    assert "found no file to read" in problems(read_table, tmp_path, PLANTS)[0]


def test_the_given_name_stands_in_messages(read):
    assert problems(read, b"", name="8f3a.tmp")[0].startswith("8f3a.tmp")
    raw = read("selection\nOL-07\n")
    assert raw.file == "selections.csv"


def test_a_name_of_its_own_hides_the_name_on_the_disk(tmp_path):
    path = tmp_path / "8f3a.tmp"
    path.write_text("selection\n")
    assert problems(read_table, path, SELECTIONS, name="from the phone.csv") == [
        "from the phone.csv: found no rows below the header; accepted: at least one row."
    ]


# ---- XLSX


def test_a_label_stored_as_a_number_is_read_as_the_sheet_shows_it_and_that_is_said(read, sheet):
    book = sheet(
        [["Selection", "notes"], [(7, "000"), "a"], [(12.0, "General"), 4], [(7, '"OL-"00'), None], ["07", "b"]]
    )
    raw = read(book, name="selections.xlsx")
    assert cells(raw, "selection") == ["007", "12", "OL-07", "07"]
    assert cells(raw, "notes") == ["a", "4", "", "b"]
    assert raw.said == [
        "selections.xlsx, column selection: labels that came as numbers were taken as the sheet shows them: "
        "007 (row 2), 12 (row 3), OL-07 (row 4)."
    ]


def test_dates_numbers_and_yes_no_of_a_workbook(read, sheet):
    day = dt.datetime(2026, 2, 10)
    scores = read(
        sheet([["plant", "scored_on", "grade"], ["T1", day, 3], ["T2", dt.datetime(2026, 2, 10, 14, 30), 3.0],
               ["T3", dt.date(2026, 2, 11), "unharmed"]]), SCORES, "scores.xlsx")  # fmt: skip
    assert cells(scores, "scored_on") == ["2026-02-10", "2026-02-10", "2026-02-11"]
    assert cells(scores, "grade") == ["3", "3", "unharmed"]
    assert scores.said == ["scores.xlsx, column scored_on: a time of day beside 1 dates was left out."]
    sensors = read(
        sheet([["sensor", "latitude", "elevation_m", "shielded"], ["L1", 41.25, (1250, "#,##0"), True],
               ["L2", 0.1 + 0.2, (7, "000"), False]]), SENSORS, "sensors.xlsx")  # fmt: skip
    assert [list(row.cells.values()) for row in sensors.rows] == [
        ["L1", "41.25", "1250", "yes"],
        ["L2", "0.3", "7", "no"],
    ]


def test_a_claimed_floor_shown_with_its_unit_by_the_number_format_keeps_it(read, sheet):
    raw = read(sheet([["selection", "claimed_floor"], ["OL-07", (-12, '0" C"')]]), name="s.xlsx")
    assert cells(raw, "claimed_floor") == ["-12 C"]


def test_formulas_errors_merged_cells_and_labels_turned_into_dates_are_refused_by_place(read, sheet):
    book = sheet([["plant", "selection", "rootstock", "block"], ["T1", '="OL-"&7', "own", "A"],
                  [dt.datetime(2026, 3, 1), "#N/A", "own", None], ["T3", "OL-07", "own", dt.time(12, 30)],
                  [None, None, None, None]])  # fmt: skip
    book.active.merge_cells("D2:D3")
    book.active.merge_cells("A5:D6")  # blank, below the table
    assert problems(read, book, PLANTS, "plants.xlsx") == [
        "plants.xlsx, row 2, column selection: found the formula '=\"OL-\"&7'; accepted: a value. Copy the column, "
        "paste it as values over itself, and save again.",
        "plants.xlsx, row 3, column plant: found a date, 2026-03-01; accepted: a label as text. The spreadsheet has "
        "turned a label such as 3-1 into a date: format the column as text and type it again.",
        "plants.xlsx, row 3, column selection: found the error #N/A; accepted: a value.",
        "plants.xlsx, row 4, column block: found a time of day, 12:30:00; accepted: a label as text. The spreadsheet "
        "has turned a label such as 3-1 into a date: format the column as text and type it again.",
        "plants.xlsx, row 2: found merged cells D2:D3; accepted: one value in each cell. Part the merged cells and "
        "fill each of them.",
    ]


def test_the_sheet_named_as_the_table_is_read_else_the_first_and_that_is_said(read, sheet):
    book = sheet([["selection"], ["OL-01"]], "Cover")
    named = book.create_sheet("Selections")
    named.append(["selection"])
    named.append(["OL-07"])
    assert cells(read(book, name="s.xlsx"), "selection") == ["OL-07"]
    named.title = "Other"
    raw = read(book, name="s.xlsx")
    assert cells(raw, "selection") == ["OL-01"]
    assert raw.said == ["s.xlsx: the first sheet, 'Cover', was read; none is named 'selections'."]


def test_blank_rows_of_a_workbook_are_skipped_and_counted(read, sheet):
    raw = read(sheet([[None], [None], ["selection"], ["OL-07"], [" "], ["OL-08"], [None]]), name="s.xlsx")
    assert [(row.number, row.cells["selection"]) for row in raw.rows] == [(4, "OL-07"), (6, "OL-08")]


def test_a_cell_at_the_end_of_a_sheet_does_not_fill_the_memory(read, sheet):
    book = sheet([["selection"], ["OL-07"]])
    book.active.cell(1_048_576, 60).number_format = "0.00"
    (found,) = problems(read, book, name="s.xlsx")
    assert "found a sheet that reaches cell BH1048576" in found and "Delete the empty rows" in found


MEMBERS = ["xl/worksheets/sheet1.xml", "xl/workbook.xml", "[Content_Types].xml"]
NO_WORKBOOK = "s.xlsx: found a file that is no XLSX workbook; accepted: CSV or XLSX."


def damaged_workbook(sheet, member: str) -> bytes:
    whole = io.BytesIO()
    sheet([["selection"], ["OL-07"]]).save(whole)
    damaged = io.BytesIO()
    with zipfile.ZipFile(whole) as old, zipfile.ZipFile(damaged, "w") as new:
        for item in old.namelist():
            new.writestr(item, old.read(item)[: 60 if item == member else None])
    return damaged.getvalue()


@pytest.mark.parametrize("member", MEMBERS)
def test_a_damaged_workbook_is_refused(read, sheet, member):
    (found,) = problems(read, damaged_workbook(sheet, member), name="s.xlsx")
    assert found.startswith(NO_WORKBOOK)


@pytest.mark.skipif(find_spec("lxml") is None, reason="lxml is not installed")
def test_a_damaged_workbook_is_refused_where_openpyxl_reads_by_lxml_too(tmp_path, sheet):
    code = (
        "import sys, openpyxl.xml\nfrom pathlib import Path\nfrom hardiness.errors import InputError\n"
        "from hardiness.read.tables import read_table\nfrom hardiness.schema import RECORD_TABLES\n"
        "assert openpyxl.xml.LXML\n"
        "for path in sys.argv[1:]:\n"
        "    try:\n        read_table(Path(path), RECORD_TABLES['selections'], name='s.xlsx')\n"
        "    except InputError as error:\n        print(error.problems[0])\n"
    )
    paths = [tmp_path / f"{number}.xlsx" for number in range(len(MEMBERS))]
    for path, member in zip(paths, MEMBERS, strict=True):
        path.write_bytes(damaged_workbook(sheet, member))
    ended = subprocess.run([sys.executable, "-c", code, *paths], capture_output=True, text=True, check=True,
                           env=os.environ | {"OPENPYXL_LXML": "True"})  # fmt: skip
    assert [line.startswith(NO_WORKBOOK) for line in ended.stdout.splitlines()] == [True] * len(MEMBERS)


def test_a_zip_bomb_is_refused_before_it_is_unpacked(read, monkeypatch):
    monkeypatch.setattr("hardiness.read.workbook.MAX_UNPACKED", 2_000_000)
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", b"<x/>")
        archive.writestr("xl/worksheets/sheet1.xml", b" " * 3_000_000)
    assert len(data.getvalue()) < 10_000
    assert "found a workbook that unpacks to 3 MB; accepted: at most 2 MB" in problems(read, data.getvalue())[0]


def test_what_a_spreadsheet_adds_to_a_workbook_warns_nobody(read, sheet):
    plain, dressed = io.BytesIO(), io.BytesIO()
    sheet([["selection"], ["OL-07"]]).save(plain)
    extension = b'<extLst><ext uri="{CCE6A557-97BC-4b89-ADB6-D9C93CAAB3DF}"/></extLst></worksheet>'
    with zipfile.ZipFile(plain) as old, zipfile.ZipFile(dressed, "w") as new:
        for item in old.namelist():
            new.writestr(item, old.read(item).replace(b"</worksheet>", extension))
    with pytest.warns(UserWarning, match="Data Validation"):
        openpyxl.load_workbook(io.BytesIO(dressed.getvalue()))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert cells(read(dressed.getvalue(), name="s.xlsx"), "selection") == ["OL-07"]


@pytest.mark.parametrize(
    ("value", "number_format", "shown"),
    [
        (7, "000", "007"),
        (1234, "000", "1234"),
        (0, "0", "0"),
        (0, "#", ""),
        (1207, "00-00", "12-07"),
        (12345, "00-00", "123-45"),
        (2.5, "0.00", "2.50"),
        (2.5, "0.##", "2.5"),
        (2.0, "0.##", "2"),
        (0.125, "0.00", "0.13"),  # half away from zero, as spreadsheets round
        (1234567, "#,##0", "1,234,567"),
        (0, "#,##0", "0"),
        (-12, '0" C"', "-12 C"),
        (-12, "0;(0)", "(12)"),
        (7, "[Red]000", "007"),
        (7, '"T"\\-0', "T-7"),
        (7, "General", None),
        (7, "@", None),
        (0.5, "0%", None),
        (7, "0.00E+00", None),
        (7, "# ?/?", None),
        (7, "[>5]0;00", None),
        (7, "", None),
    ],
)
def test_number_formats_show_what_a_spreadsheet_shows(value, number_format, shown):
    assert formatted_number(value, number_format) == shown
