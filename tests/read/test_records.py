"""Rows of text become typed tables, or every bad cell is listed at once."""

import csv
import datetime as dt
import io
import math
import unicodedata
from pathlib import Path
from tempfile import TemporaryDirectory
from types import SimpleNamespace

import openpyxl
import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from hardiness.errors import InputError
from hardiness.read.keys import key_text
from hardiness.read.records import parse_records, records_frame
from hardiness.read.tables import RawRow, RawTable, read_table
from hardiness.schema import FREEZE_NOTES, PLANTS, RECORD_TABLES, SCORES, SELECTIONS, SENSORS
from hardiness.settings import Settings

TRIAL = Settings("Hill", "Europe/Lisbon")
TODAY = dt.date(2026, 11, 25)


def parse(table, rows, *, today=TODAY, trial=TRIAL, **options):
    columns = list(rows[0])
    raw = RawTable(f"{table.name}.csv", columns, [RawRow(n, row) for n, row in enumerate(rows, start=2)],
                   decimal_comma=options.pop("decimal_comma", False))  # fmt: skip
    return parse_records(raw, table, trial, today=today, **options)


def problems(*arguments, **options):
    with pytest.raises(InputError) as caught:
        parse(*arguments, **options)
    return [str(problem) for problem in caught.value.problems]


def score(**cells):
    return {"plant": "T1", "scored_on": "2026-02-10", "grade": "3", **cells}


def test_each_kind_gets_its_type_and_its_empty_value():
    frame = parse(
        PLANTS, [{"plant": " 007 ", "selection": "OL-07", "rootstock": "stock P", "planted_on": "2021-04-02",
                  "grafted_on": "", "grown_in": "Ground"}]).frame  # fmt: skip
    assert list(frame.columns) == list(PLANTS.names)
    row = frame.iloc[0]
    assert row["plant"] == "007" and row["grown_in"] == "ground"
    assert row["planted_on"] == dt.date(2021, 4, 2) and row["grafted_on"] is None and row["removed_on"] is None
    assert row["notes"] == "" and row["lost_to"] == ""
    sensors = parse(SENSORS, [{"sensor": "L1", "latitude": "41.25", "height_m": ""}]).frame
    assert sensors["latitude"].dtype == "float64" and sensors.loc[0, "latitude"] == 41.25
    assert math.isnan(sensors.loc[0, "height_m"]) and math.isnan(sensors.loc[0, "accuracy_c"])
    assert sensors.loc[0, "shielded"] == ""  # defaults are for those who use the table
    assert parse(SCORES, [score()]).frame["grade"].dtype == "int64"


def test_tables_without_rows_have_the_same_columns_and_types():
    for table in RECORD_TABLES.values():
        frame = records_frame(table, [])
        assert list(frame.columns) == list(table.names) and len(frame) == 0
    assert records_frame(SENSORS, [])["latitude"].dtype == "float64"
    assert records_frame(SCORES, [])["grade"].dtype == "int64"


def test_grades_are_numbers_or_names_in_any_case():
    given_grades = ["0", "5", "3.0", "UNHARMED", " dead  down to the graft"]
    frame = parse(SCORES, [score(plant=f"T{n}", grade=grade) for n, grade in enumerate(given_grades)]).frame
    assert list(frame["grade"]) == [0, 5, 3, 0, 5]


def test_a_scale_named_by_numbers_is_read_by_its_names():
    backwards = Settings("Hill", "Europe/Lisbon", grades=("3", "2", "1"))
    assert list(parse(SCORES, [score(grade="3")], trial=backwards).frame["grade"]) == [0]


def test_every_bad_cell_is_listed_at_once_with_its_row_and_column():
    rows = [
        score(scored_on="10/02/2026", grade="6", observer="RM"),
        score(plant="", scored_on="2026-02-30", grade="unharmd", observer="RM"),
        score(plant="T3", scored_on="1026-02-10", grade="-1", observer="a\nb"),
        score(plant="T4", scored_on="2206-11-26", grade="", observer="x" * 201),
    ]
    scale = "accepted: a grade 0-5 (0 unharmed ... 5 dead down to the graft) or its name."
    assert problems(SCORES, rows) == [
        "scores.csv, row 2, column scored_on: found '10/02/2026'; accepted: a date such as 2032-02-10 "
        "(year-month-day). Day and month cannot be told apart in other forms.",
        f"scores.csv, row 2, column grade: found '6'; {scale}",
        "scores.csv, row 3, column plant: found an empty cell; accepted: the plant scored.",
        "scores.csv, row 3, column scored_on: found '2026-02-30', a day that does not exist; accepted: a date such as "
        "2032-02-10 (year-month-day).",
        f"scores.csv, row 3, column grade: found 'unharmd'; {scale} Did you mean 'unharmed'?",
        "scores.csv, row 4, column scored_on: found '1026-02-10'; accepted: a date from 1850 to 2199.",
        f"scores.csv, row 4, column grade: found '-1'; {scale}",
        r"scores.csv, row 4, column observer: found 'a\nb' with a line break in it; accepted: a label on one line, "
        "without hidden characters.",
        "scores.csv, row 5, column scored_on: found '2206-11-26'; accepted: a date from 1850 to 2199.",
        "scores.csv, row 5, column grade: found an empty cell; accepted: the state the plant is in.",
        f"scores.csv, row 5, column observer: found '{'x' * 80}...', 201 characters; accepted: a label of at most 200 "
        "characters.",
    ]  # fmt: skip


def test_unknown_and_missing_columns_are_named_with_near_names():
    known = ", ".join(PLANTS.names)
    assert problems(PLANTS, [{"plant": "T1", "selecton": "OL-07", "": "x"}]) == [
        f"plants.csv: found column 'selecton', not known; accepted: {known}. Did you mean 'selection'?",
        f"plants.csv: found column '', not known; accepted: {known}.",
        "plants.csv: found no column 'selection'; accepted: a header row with it: its genotype.",
        "plants.csv: found no column 'rootstock'; accepted: a header row with it: what it is grafted on; own = on its "
        "own roots.",
    ]


@pytest.mark.parametrize("text", ["2026-2-10", "20260210", "2026-W07-2", "10.2.2026", "Feb 10, 2026", "46063",
                                  "2026-02-10T09:30", "2026-02-10T00:00Z", "٢٠٢٦-٠٢-١٠"])  # fmt: skip
def test_dates_in_other_forms_are_refused(text):
    (found,) = problems(SCORES, [score(scored_on=text)])
    assert "column scored_on" in found and "(year-month-day)" in found


@pytest.mark.parametrize("text", ["2026-02-10", " 2026-02-10 ", "2026-02-10T00:00:00", "2026-02-10 00:00:00.000"])
def test_iso_dates_are_taken_also_as_midnight(text):
    assert parse(SCORES, [score(scored_on=text)]).frame.loc[0, "scored_on"] == dt.date(2026, 2, 10)


def plant(**cells):
    return {"plant": "T1", "selection": "OL-07", "rootstock": "own", **cells}


DATES = [(table, column) for table in RECORD_TABLES.values() for column in table.names if table[column].kind == "date"]


@pytest.mark.parametrize(("table", "column"), DATES)
def test_dates_of_the_years_1850_to_2199_are_taken_and_others_refused(table, column):
    other = {"scores": score(), "plants": plant(), "freeze_notes": {"from": "2026-01-10", "to": "2026-01-10"},
             "calibrations": {"sensor": "L1", "from": "2026-01-10", "offset_c": "-0.3"}}  # fmt: skip
    for text in ("1850-01-01", "2199-12-31"):
        row = {**other[table.name], column: text}
        assert parse(table, [row]).frame.loc[0, column] == dt.date.fromisoformat(text)
    for text in ("1849-12-31", "2200-01-01", "1031-04-02", "0031-04-02"):
        (found,) = problems(table, [{**other[table.name], column: text}])
        file = f"{table.name}.csv"
        assert found == f"{file}, row 2, column {column}: found '{text}'; accepted: a date from 1850 to 2199."


def test_dates_after_today_are_taken_and_said_once_for_each_column():
    rows = [
        plant(planted_on="2025-04-02", removed_on=""),
        plant(plant="T2", planted_on="", removed_on="2032-05-01"),
        plant(plant="T3", planted_on="2031-04-02", removed_on=""),
        plant(plant="T4", planted_on="2030-04-02", removed_on=""),
        plant(plant="T5", planted_on="2031-04-02", removed_on=""),
    ]
    records = parse(PLANTS, rows)
    assert records.said == [
        "plants.csv, column planted_on: 3 dates lie after today, 2026-11-25; the first is row 4, 2031-04-02.",
        "plants.csv, column removed_on: 1 date lies after today, 2026-11-25; it is row 3, 2032-05-01.",
    ]
    assert records.frame["planted_on"].tolist()[2:4] == [dt.date(2031, 4, 2), dt.date(2030, 4, 2)]
    broken = plant(plant="T6", planted_on="soon", removed_on="2032-05-01")
    assert [problem.split(":")[0] for problem in problems(PLANTS, [*rows, broken])] == [
        "plants.csv, row 7, column planted_on"
    ]  # a date ahead is no fault beside one that is


def test_a_planting_may_lie_two_days_ahead_before_it_is_said_and_a_score_may_not():
    def said(days, row, column, table):
        return parse(table, [{**row, column: (TODAY + dt.timedelta(days=days)).isoformat()}]).said

    assert said(2, plant(), "planted_on", PLANTS) == [] and len(said(3, plant(), "planted_on", PLANTS)) == 1
    assert said(0, score(), "scored_on", SCORES) == []
    assert said(1, score(), "scored_on", SCORES) == [
        "scores.csv, column scored_on: 1 date lies after today, 2026-11-25; it is row 2, 2026-11-26."
    ]


def test_today_is_the_clock_in_the_trials_zone_unless_told(monkeypatch):
    class Clock(dt.datetime):
        @classmethod
        def now(cls, tz=None):
            return cls(2026, 11, 25, 20, 0, tzinfo=dt.UTC).astimezone(tz)

    monkeypatch.setattr("hardiness.read.records.dt", SimpleNamespace(datetime=Clock))
    rows = [score(scored_on="2026-11-26")]
    assert "after today, 2026-11-25; it is row 2, 2026-11-26" in parse(SCORES, rows, today=None).said[0]
    east = Settings("Hill", "Pacific/Auckland")  # where it is the next morning
    assert parse(SCORES, rows, today=None, trial=east).said == []


@pytest.mark.parametrize(
    ("text", "value"),
    [("41.25", 41.25), ("-7", -7.0), ("−7.5", -7.5), ("+7", 7.0), ("41,2", 41.2), (".5", 0.5), ("1e1", 10.0)],
)
def test_numbers_are_read_with_point_comma_and_minus_sign(text, value):
    assert parse(SENSORS, [{"sensor": "L1", "latitude": text}]).frame.loc[0, "latitude"] == value


@pytest.mark.parametrize("text", ["12 m", "nan", "inf", "1,250", "1.250,5", "--1", "0x10", "١"])
def test_what_is_no_plain_number_is_refused(text):
    (found,) = problems(SENSORS, [{"sensor": "L1", "elevation_m": text}])
    assert "accepted: a number in m, without the unit" in found


@pytest.mark.parametrize(
    "text, decimal_comma, grade", [("1,0", True, 1), ("3,", True, None), ("1,000", True, 1), ("1,0", False, 1),
                                   ("1,000", False, None), ("1,5", True, None), ("9,0", True, None)],
)  # fmt: skip
def test_a_grade_may_carry_a_decimal_comma(text, decimal_comma, grade):
    rows = [{"plant": "T1", "scored_on": "2026-02-10", "grade": text}]
    if grade is None:
        with pytest.raises(InputError, match="column grade"):
            parse(SCORES, rows, decimal_comma=decimal_comma)
    else:
        assert parse(SCORES, rows, decimal_comma=decimal_comma).frame.loc[0, "grade"] == grade


def test_a_comma_before_three_digits_is_a_decimal_comma_only_where_the_delimiter_says_so():
    assert "A comma may part thousands or decimals" in problems(SENSORS, [{"sensor": "L1", "elevation_m": "1,250"}])[0]
    frame = parse(SENSORS, [{"sensor": "L1", "latitude": "1,250"}], decimal_comma=True).frame
    assert frame.loc[0, "latitude"] == 1.25


@pytest.mark.parametrize(
    ("column", "text"),
    [("latitude", "90.01"), ("longitude", "-180.5"), ("elevation_m", "9000"), ("accuracy_c", "-0.1"),
     ("height_m", "300"), ("offset_c", "25")],
)  # fmt: skip
def test_numbers_outside_their_range_are_refused(column, text):
    (found,) = problems(SENSORS, [{"sensor": "L1", column: text}])
    assert f"column {column}: found '{text}'" in found and " from " in found


def test_choices_are_taken_in_any_case_and_near_names_offered():
    assert parse(SELECTIONS, [{"selection": "OL-07", "origin": "Seedling"}]).frame.loc[0, "origin"] == "seedling"
    (found,) = problems(SELECTIONS, [{"selection": "OL-07", "origin": "seeding"}])
    assert found.endswith("accepted: seedling, clone, sport or unknown. Did you mean 'seedling'?")


@pytest.mark.parametrize("text", ["-12", "cold", "12 x", "-12 K-ish", "300 F", "-100 C"])
def test_a_claimed_floor_needs_a_unit_and_sense(text):
    (found,) = problems(SELECTIONS, [{"selection": "OL-07", "claimed_floor": text}])
    assert "accepted: a number with a unit, such as '-12 C' or '10 F'" in found


def test_a_claimed_floor_stays_as_it_was_written():
    rows = [{"selection": "OL-07", "claimed_floor": "10 F"}, {"selection": "OL-08", "claimed_floor": "−12,5 °C"}]
    assert list(parse(SELECTIONS, rows).frame["claimed_floor"]) == ["10 F", "−12,5 °C"]


def test_a_key_that_stands_twice_names_both_rows_also_when_the_rows_are_the_same():
    rows = [score(observer="RM"), score(observer="AK"), score(observer="RM", grade="4"), score(observer="AK")]
    assert problems(SCORES, rows) == [
        "scores.csv, row 4: found plant 'T1', scored_on 2026-02-10, observer 'RM' again; row 2 has it too; "
        "accepted: each one once in a file.",
        "scores.csv, row 5: found plant 'T1', scored_on 2026-02-10, observer 'AK' again; row 3 has it too; "
        "accepted: each one once in a file.",
    ]


def test_a_key_is_the_same_whatever_white_space_and_accents_it_was_typed_with():
    rows = [{"selection": "Ölweide"}, {"selection": " " + unicodedata.normalize("NFD", "Ölweide") + "\u00a0"}]
    assert problems(SELECTIONS, rows)[0].startswith("selections.csv, row 3: found selection 'Ölweide' again")


def test_labels_are_brought_to_composed_letters_and_that_is_said():
    rows = [{"plant": "T1", "selection": unicodedata.normalize("NFD", "Ölweide"), "rootstock": "OWN"}]
    records = parse(PLANTS, rows)
    assert records.frame.loc[0, "selection"] == "Ölweide" and records.frame.loc[0, "rootstock"] == "own"
    assert records.said == [
        "plants.csv, column selection: letters written as letter and accent were joined: 'Ölweide' (row 2).",
        "plants.csv, column rootstock: taken as 'own', on its own roots: row 2.",
    ]


def test_a_rootstock_is_not_called_as_the_mean_over_all_of_them():
    row = {"plant": "T1", "selection": "all", "rootstock": "all"}  # a selection may be
    assert problems(PLANTS, [row]) == [
        "plants.csv, row 2, column rootstock: found 'all'; accepted: another name, since comparisons and ranks call "
        "the mean over all rootstocks so."
    ]


@pytest.mark.parametrize("text", ["OL\u200b07", "OL\x0707", "OL\u202e70", "OL\u00ad07", "OL\u202807", "OL\t07"])
def test_labels_with_characters_that_cannot_be_seen_are_refused(text):
    (found,) = problems(SELECTIONS, [{"selection": text}])
    assert "without hidden characters" in found and found.isprintable()


def test_notes_may_hold_line_breaks_but_no_control_characters():
    records = parse(SELECTIONS, [{"selection": "OL-07", "notes": " one\r\ntwo\tthree "}])
    assert records.frame.loc[0, "notes"] == "one\ntwo\tthree"
    assert "U+0000" in problems(SELECTIONS, [{"selection": "OL-07", "notes": "a\0b"}])[0]
    assert "10001 characters" in problems(SELECTIONS, [{"selection": "OL-07", "notes": "x" * 10_001}])[0]


def test_what_the_file_has_is_remembered_for_a_later_update():
    records = parse(PLANTS, [{"rootstock": "own", "plant": "T1", "selection": "OL-07", "block": ""}])
    assert records.given == ("plant", "selection", "rootstock", "block")
    assert records.rows == [2] and records.keys == [("T1",)] and records.file == "plants.csv"


def test_a_file_that_only_names_rows_needs_only_their_keys():
    rows = [{"plant": "T1", "scored_on": "2026-02-10"}]
    assert parse(SCORES, rows, keys_only=True).keys == [("T1", "2026-02-10", "")]
    assert parse(SCORES, [score(grade="nonsense")], keys_only=True).keys == [("T1", "2026-02-10", "")]
    assert len(problems(SCORES, rows)) == 1
    assert "no column 'scored_on'" in problems(SCORES, [{"plant": "T1"}], keys_only=True)[0]


def test_keys_are_written_for_people():
    assert key_text(FREEZE_NOTES, ("2026-01-01", "2026-01-03", "A")) == "from 2026-01-01, to 2026-01-03, block 'A'"


# Whatever can be seen in a label: letters of all scripts, marks, digits, punctuation, symbols, spaces.
LABEL = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cc", "Cf", "Cs", "Cn", "Co", "Zl", "Zp")), min_size=1, max_size=80
).filter(lambda text: text.strip())
LABELS = st.lists(
    LABEL, min_size=1, max_size=8, unique_by=lambda text: unicodedata.normalize("NFC", text.strip())
)  # fmt: skip


def expected(labels):
    return [unicodedata.normalize("NFC", label.strip()) for label in labels]


@given(LABELS, st.sampled_from([",", ";", "\t"]), st.sampled_from(["\n", "\r\n"]))
@example(["007", "=1+1", 'a "quoted", one', "sep=;", "; ,", "naïve", "-"], ",", "\r\n")
@settings(max_examples=80, deadline=None)
def test_whatever_labels_go_into_a_csv_come_out(labels, delimiter, end):
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=delimiter, lineterminator=end)
    writer.writerow(["selection", "notes"])
    writer.writerows([label, "x"] for label in labels)
    with TemporaryDirectory() as folder:
        path = Path(folder) / "selections.csv"
        path.write_bytes(text.getvalue().encode())
        frame = parse_records(read_table(path, SELECTIONS), SELECTIONS, TRIAL).frame
    assert list(frame["selection"]) == expected(labels)


@given(LABELS)
@settings(max_examples=25, deadline=None)
def test_whatever_labels_go_into_a_workbook_come_out(labels):
    book = openpyxl.Workbook()
    book.active.append(["selection"])
    for row, label in enumerate(labels, start=2):
        cell = book.active.cell(row, 1)
        cell.value = label
        cell.data_type = "s"  # text, also where it begins with "="
    with TemporaryDirectory() as folder:
        path = Path(folder) / "selections.xlsx"
        book.save(path)
        frame = parse_records(read_table(path, SELECTIONS), SELECTIONS, TRIAL).frame
    assert list(frame["selection"]) == expected(labels)


@given(st.dates(dt.date(1850, 1, 1), dt.date(2199, 12, 31)), st.floats(-90, 90), st.integers(0, 5))
@settings(max_examples=60, deadline=None)
def test_values_written_as_text_come_out_as_they_were(day, latitude, grade):
    scores = parse(SCORES, [score(scored_on=day.isoformat(), grade=str(grade))]).frame
    assert (scores.loc[0, "scored_on"], scores.loc[0, "grade"]) == (day, grade)
    assert parse(SENSORS, [{"sensor": "L1", "latitude": repr(latitude)}]).frame.loc[0, "latitude"] == latitude


def test_frames_do_not_share_rows_with_pandas_missing_values():
    frame = parse(PLANTS, [{"plant": "NA", "selection": "nan", "rootstock": "None"}]).frame
    assert list(frame.loc[0, ["plant", "selection", "rootstock"]]) == ["NA", "nan", "None"]
    assert not pd.isna(frame.loc[0, ["plant", "selection", "rootstock"]]).any()
