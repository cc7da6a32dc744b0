"""``hardiness freezes`` and ``hardiness exposures``: their columns, and numbers that can be worked out by hand."""

import csv
import io
import re
from datetime import datetime
from pathlib import Path

import pytest

from tests.cli.conftest import Line, as_csv, hardiness, readings

NAMES = ["freeze", "event", "winter", "sensor", "source"]
SPAN = ["starts", "ends", "minimum_c", "duration_h"]
SHAPE = ["degree_hours_c_h", "fall_rate_c_per_h", "coverage", "sd_c"]
HOURS = [f"hours_le_{t}_c" for t in (0, -2, -4, -6, -8, -10)]
HELD = ["held_1h_c", "held_2h_c", "held_4h_c"]
FREEZES = NAMES + SPAN + HOURS + HELD + SHAPE
ISO = r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}[+-]\d{2}:\d{2}"


def numbers(row: dict[str, str], *names: str) -> list[float]:
    return [round(float(row[name]), 6) for name in names]


@pytest.fixture
def frozen(planted: Line) -> Line:
    """One night at -7 C: it falls 2 C an hour from 20:00, stays from 02:00 to 06:00, and rises 2 C an hour."""
    planted.added("readings", as_csv(readings({"2023-01-10": -7.0})), "l1.csv", "--sensor", "L1")
    return planted


def test_a_freeze_has_exactly_its_columns_and_numbers(frozen: Line):
    ended = frozen.done("freezes", "--csv", "-")
    assert ended.header == FREEZES
    [row] = ended.rows
    assert [row[name] for name in NAMES] == ["2023-01-10 L1", "2023-01-10", "2022-23", "L1", "logger"]
    assert (row["starts"], row["ends"]) == ("2023-01-10T22:30:00+01:00", "2023-01-11T09:30:00+01:00")
    assert numbers(row, "minimum_c", "duration_h", *HOURS) == [-7, 11, 11, 9, 7, 5, 0, 0]
    assert numbers(row, *HELD, *SHAPE) == [-7, -7, -7, 52.5, 2, 1, 0.3]  # 24.5 + 28 degree hours; L1 is good to 0.3


def test_thresholds_and_held_hours_name_columns_as_they_were_given(frozen: Line):
    frozen.retoml('"0 C", "-2 C", "-4 C", "-6 C", "-8 C", "-10 C"', '"28 F", "-5 C", "270 K"')
    frozen.retoml("held_h = [1.0, 2.0, 4.0]", "held_h = [0, 0.5, 5, 10]")
    frozen.retoml("model_held_h = 1.0", "model_held_h = 0.5")
    ended = frozen.done("freezes", "--csv", "-")
    hours = ["hours_le_28_f", "hours_le_-5_c", "hours_le_270_k"]
    held = ["held_0h_c", "held_0.5h_c", "held_5h_c", "held_10h_c"]
    assert ended.header == NAMES + SPAN + hours + held + SHAPE
    [row] = ended.rows
    to_28_f = 4 + (7 - 20 / 9)  # hours: the flat part, and both flanks from -20/9 C on at 2 C an hour
    assert numbers(row, *hours) == [round(to_28_f, 6), 6, round(4 + (7 - 3.15), 6)]
    assert numbers(row, *held) == [-7, -7, -6, -1]
    printed = frozen.done("freezes").out
    assert "h ≤ 28 °F" in printed and "h ≤ −5 °C" in printed and "held 0.5h °C" in printed
    assert frozen.done("exposures", "--csv", "-").header == ["plant", "selection", "rootstock", *ended.header]


def test_exposures_are_a_row_per_plant_and_freeze_with_the_columns_of_freezes(frozen: Line):
    frozen.added("readings", as_csv(readings({"2023-02-10": -3.0})), "l1b.csv", "--sensor", "L1")
    ended = frozen.done("exposures", "--csv", "-")
    assert ended.header == ["plant", "selection", "rootstock", *FREEZES]
    assert [(row["plant"], row["freeze"]) for row in ended.rows] == [
        (plant, freeze) for plant in ("T1", "T2", "T3") for freeze in ("2023-01-10 L1", "2023-02-10 L1")
    ]
    freezes = {row["freeze"]: row for row in frozen.csv("freezes")}
    for row in ended.rows:
        assert {name: row[name] for name in FREEZES} == freezes[row["freeze"]]
    assert {(row["plant"], row["selection"], row["rootstock"]) for row in ended.rows} \
        == {("T1", "OL-07", "stock P"), ("T2", "OL-07", "own"), ("T3", "CK-A", "own")}  # fmt: skip


def test_a_plant_meets_what_comes_after_planting_and_before_removal(line: Line):
    line.added("selections", "selection\nOL-07\n")
    line.added("readings", as_csv(readings({"2023-01-10": -7.0})), "a.csv", "--sensor", "L1")
    line.added(
        "plants",
        "plant,selection,rootstock,sensor,planted_on,removed_on\n"
        "IN,OL-07,own,L1,2023-01-10,2023-01-12\nLATE,OL-07,own,L1,2023-01-11,\nGONE,OL-07,own,L1,2022-01-01,2023-01-10\n",
    )
    assert [row["plant"] for row in line.csv("exposures")] == ["IN"]


def test_freezes_of_one_cold_spell_share_the_event_of_the_first(frozen: Line):
    evening = [(datetime(time.year, time.month, time.day, time.hour), value) for time, value in
               readings({"2023-01-10": -4.0})]  # fmt: skip
    frozen.added("readings", as_csv(evening, "Time,Temp (C)"), "l2.csv", "--sensor", "L2", "--timezone", "UTC-05:00")
    rows = frozen.csv("freezes")
    assert [(row["freeze"], row["event"]) for row in rows] \
        == [("2023-01-10 L1", "2023-01-10"), ("2023-01-11 L2", "2023-01-10")]  # fmt: skip


def test_a_second_freeze_that_begins_on_one_day_is_b(line: Line):
    rows = []
    for hour in range(0, 72):
        cold = hour in (25, 26, 27, 45, 46, 47)
        rows.append((datetime(2023, 1, 9 + hour // 24, hour % 24), -4.0 if cold else 6.0))
    line.added("readings", as_csv(rows), "a.csv", "--sensor", "L1")
    assert [row["freeze"] for row in line.csv("freezes")] == ["2023-01-10 L1", "2023-01-10 L1 b"]
    assert len({row["event"] for row in line.csv("freezes")}) == 2


@pytest.mark.parametrize("latitude, winters", [("40.4", ["2022-23", "2023-24"]), ("-33", ["2023", "2023"])])
def test_a_winter_is_a_year_south_of_the_equator(tmp_path, latitude, winters):
    folder = tmp_path / "t"
    assert hardiness("new", folder, "--name", "H", "--timezone", "UTC", "--latitude", latitude).code == 0
    line = Line(folder, tmp_path)
    line.added("readings", as_csv(readings({"2023-06-20": -4.0, "2023-07-20": -4.0})), "a.csv", "--sensor", "L1")
    assert [row["winter"] for row in line.csv("freezes")] == winters


def test_without_a_latitude_winters_are_the_norths_and_that_is_said(tmp_path):
    folder = tmp_path / "t"
    assert hardiness("new", folder, "--name", "H", "--timezone", "UTC").code == 0
    line = Line(folder, tmp_path)
    line.added("readings", as_csv(readings({"2023-07-20": -4.0})), "a.csv", "--sensor", "L1")
    ended = line.done("freezes", "--csv", "-")
    assert [row["winter"] for row in ended.rows] == ["2023-24"]
    assert "latitude" in ended.err and "north" in ended.err


def test_times_carry_the_offset_of_their_own_season(line: Line):
    line.added("readings", as_csv(readings({"2023-01-10": -4.0, "2023-05-10": -4.0})), "a.csv", "--sensor", "L1")
    rows = line.csv("freezes")
    assert [row["starts"][-6:] for row in rows] == ["+01:00", "+02:00"]
    assert all(re.fullmatch(ISO, row[name]) for row in rows for name in ("starts", "ends"))


def test_a_stations_freezes_say_so_and_an_offset_is_added_when_read(line: Line):
    line.added("sensors", "sensor,kind,offset_c,accuracy_c,shielded\nST-9,station,-0.5,0.4,no\n")
    line.added("readings", as_csv(readings({"2023-01-10": -7.0})), "a.csv", "--sensor", "ST-9")
    [row] = line.csv("freezes")
    assert row["source"] == "station"
    assert numbers(row, "minimum_c", "sd_c") == [-7.5, round((0.4**2 + 1) ** 0.5, 6)]


def test_a_mild_night_is_no_freeze_and_the_header_stays(line: Line):
    line.added("readings", as_csv(readings({"2023-01-10": -1.9})), "a.csv", "--sensor", "L1")
    ended = line.done("freezes", "--csv", "-")
    assert (ended.header, ended.rows) == (FREEZES, [])
    assert ended.err.strip()


def test_csv_goes_whole_into_a_file_in_utf_8_and_replaces_the_old_one(frozen: Line, tmp_path):
    frozen.added("readings", as_csv(readings({"2023-01-10": -5.0})), "b.csv", "--sensor", "Hütte №1")
    path = tmp_path / "freezes.csv"
    path.write_text("old")
    ended = frozen.done("freezes", "--csv", str(path))
    assert ended.out == ""
    assert "2 rows" in ended.err and str(path) in ended.err
    text = path.read_bytes().decode("utf-8")
    assert text == frozen.done("freezes", "--csv", "-").out
    assert "Hütte №1" in text and not text.startswith("\ufeff")
    names = {row["freeze"] for row in csv.DictReader(io.StringIO(text))}
    assert names == {"2023-01-10 L1", "2023-01-10 Hütte №1"}
    assert [file.name for file in tmp_path.iterdir() if "freezes" in file.name] == ["freezes.csv"]


def test_a_link_stays_a_link_and_a_device_a_device(frozen: Line, tmp_path):
    target, link = tmp_path / "real.csv", tmp_path / "link.csv"
    target.write_text("old")
    link.symlink_to(target)
    frozen.done("freezes", "--csv", str(link))
    assert link.is_symlink() and target.read_text(encoding="utf-8").startswith("freeze,")
    frozen.done("freezes", "--csv", "/dev/null")
    assert Path("/dev/null").is_char_device()


@pytest.mark.parametrize("place", ["nowhere/x.csv", ".", ""])
def test_a_place_that_takes_no_file_is_wrong_use(frozen: Line, tmp_path, monkeypatch, place):
    monkeypatch.chdir(tmp_path)
    ended = frozen("freezes", "--csv", place)
    assert ended.code == 2
    assert "--csv" in ended.err and ended.out == ""


def test_the_printed_table_is_in_the_trials_unit(frozen: Line):
    assert "−7.0" in frozen.done("freezes").out
    frozen.retoml('units = "C"', 'units = "F"')
    printed = frozen.done("freezes").out
    assert "19.4" in printed and "minimum °F" in printed and "−7.0" not in printed
    assert numbers(frozen.csv("freezes")[0], "minimum_c") == [-7]  # CSV stays as its columns say


def test_freezes_that_a_note_sets_aside_are_listed_and_not_counted(frozen: Line):
    frozen.added("scores", "plant,scored_on,grade\nT1,2023-02-20,2\n")
    assert len(frozen.csv("observations")) == 1
    frozen.added("freeze_notes", "from,to,block,note,set_aside\n2023-01-10,2023-01-11,,carried indoors,yes\n")
    assert len(frozen.csv("freezes")) == 1
    assert frozen.csv("observations") == []
    ended = frozen.done("observations", "--left-out", "-")
    assert ended.header == ["what", "plant", "freeze", "scored_on", "reason", "detail"]
    assert "carried indoors" in ended.out
