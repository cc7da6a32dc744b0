"""A preview shows what the reader would take, says the same, and lists the same problems; a bad file is shown as far
as it goes."""

from __future__ import annotations

import tempfile
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hardiness.errors import InputError
from hardiness.read.choices import Choices
from hardiness.read.loggers import read_logger
from hardiness.read.preview import Preview
from hardiness.read.previewing import preview_by_sensor, preview_channels, preview_logger
from hardiness.read.recognition import Asked

DATA = Path(__file__).parents[1] / "data"
PIECES = [b"", b"\n", b",", b";", b'"', b"x", b"\xff", b" ", b"9", b"-", b"2023-", b"\r", b":", b"\x00"]
MADRID = ZoneInfo("Europe/Madrid")


@pytest.fixture
def look(tmp_path):
    def look_at(text: str, encoding: str = "utf-8", **options: object) -> Preview:
        path = tmp_path / "l1.csv"
        path.write_bytes(text.encode(encoding))
        return preview_logger(path, Asked("l1.csv", "Europe/Madrid", **options), zone=MADRID)  # type: ignore[arg-type]

    return look_at


@pytest.mark.parametrize("path", sorted((DATA / "loggers").iterdir()), ids=lambda path: path.name)
def test_a_preview_of_every_dialect_holds_what_the_reader_takes(path):
    preview = preview_logger(path, Asked(path.name, "Europe/Madrid"), zone=MADRID)
    try:
        logger = read_logger(path, timezone=None, default_timezone="Europe/Madrid")
    except InputError as error:
        assert preview.problems == list(error.problems)
        assert preview.logger is None
        return
    assert preview.problems == []
    assert preview.said == logger.said
    np.testing.assert_array_equal(preview.logger.air_temperature.values, logger.air_temperature.values)
    assert (preview.readings, preview.missing) == (logger.air_temperature.size, logger.missing)
    assert (preview.time_column, preview.temperature_column) == (logger.time_column, logger.temperature_column)
    assert (preview.zone, preview.zone_from) == (logger.timezone, logger.timezone_from)
    assert preview.interval_min == logger.interval_min
    assert (preview.first, preview.last) == ("2023-02-03 23:00 UTC+01:00", "2023-02-04 01:45 UTC+01:00")
    assert [row.row for row in preview.rows] == logger.rows[:10].tolist()
    np.testing.assert_array_equal([row.celsius for row in preview.rows], logger.air_temperature.values[:10])
    utc = [str(time)[:16].replace("T", " ") for time in logger.air_temperature.time.values[:10]]
    assert [row.utc for row in preview.rows] == utc
    assert {"temperature"} <= {column.role for column in preview.columns}


@pytest.mark.parametrize("path", sorted((DATA / "broken").iterdir()), ids=lambda path: path.name)
def test_a_preview_of_every_broken_file_lists_what_the_reader_refuses(path):
    with pytest.raises(InputError) as error:
        read_logger(path, timezone=None, default_timezone="UTC")
    preview = preview_logger(path, Asked(path.name, "UTC"))
    assert [str(problem) for problem in preview.problems] == [str(problem) for problem in error.value.problems]
    assert preview.logger is None


def test_what_was_recognised_is_told_with_who_says_so(look):
    text = "Logger;upper block\nDatum;Zeit;Temp °C;RH %\n03.02.2023;11:00 PM;-1,5;88\n14.02.2023;1:00 AM;-2,5;89\n"
    preview = look(text, "latin-1", timezone="UTC+01:00")
    assert (preview.encoding, preview.delimiter, preview.header) == ("Windows-1252 (Latin-1)", "semicolon", 2)
    assert [(column.name, column.role, column.example) for column in preview.columns] == [
        ("Datum", "date", "03.02.2023"),
        ("Zeit", "time of day", "11:00 PM"),
        ("Temp °C", "temperature", "-1,5"),
        ("RH %", "humidity", "88"),
    ]
    assert (preview.unit, preview.unit_from) == ("C", "file")
    assert (preview.date_order, preview.date_order_from, preview.clock) == ("day/month/year", "file", "12 h")
    assert (preview.zone, preview.zone_from) == ("UTC+01:00", "option")
    facts = dict(preview.facts())
    assert facts["unit"] == "C, as the file says"
    assert facts["zone"] == "UTC+01:00, as the option says"
    assert facts["usual interval"] == "14520 min"
    assert facts["first reading"] == "2023-02-03 23:00 UTC+01:00"
    assert facts["readings"] == "2"
    assert "rows without a temperature" not in facts


def test_what_nobody_says_and_what_the_last_file_said_are_told_apart(look):
    text = "Time,Temp\n03/02/2023 23:00,29.3\n03/02/2023 23:15,28.4\n"
    last = Choices(unit="F", date_order="DMY", source="the last file of L1")
    preview = look(text, last=last)
    assert (preview.unit_from, preview.date_order_from, preview.zone_from) == ("last", "last", "default")
    assert "as for the last file of L1" in " ".join(preview.said)
    assert dict(preview.facts())["dates"] == "day/month/year, as for the last file of this sensor"
    assert preview.rows[0].celsius == pytest.approx(-1.5)


def test_the_columns_and_lines_of_a_file_that_cannot_be_told_are_shown(look):
    preview = look("site A\nTime,Air (C),Soil (C)\n2023-02-03 23:00,-1.0,2.0\n")
    assert [(column.name, column.role) for column in preview.columns] == [
        ("Time", ""),
        ("Air (C)", ""),
        ("Soil (C)", ""),
    ]
    assert (preview.delimiter, preview.header) == ("comma", 2)
    assert preview.lines == ["site A", "Time,Air (C),Soil (C)", "2023-02-03 23:00,-1.0,2.0"]
    assert preview.rows == []
    assert len(preview.problems) == 1


def test_the_rows_that_can_be_read_are_shown_beside_the_problems_of_the_others(look):
    preview = look(
        "Time,Temp (C)\n2023-02-03 23:00,-1.0\n2023-02-30 23:15,-1.5\n2023-02-03 23:30,warm\n2023-02-03 23:45,-2\n"
    )
    assert [(row.row, row.celsius) for row in preview.rows] == [(2, -1.0), (5, -2.0)]
    assert [problem.row for problem in preview.problems] == [3, 4]
    assert (preview.readings, preview.interval_min, preview.logger) == (2, 45.0, None)


def test_dates_that_could_be_two_are_shown_as_they_stand(look):
    preview = look("Time,Temp (C)\n03/02/2023 23:00,-1.0\n")
    assert preview.rows == []
    assert preview.lines == ["03/02/2023 23:00,-1.0"]
    assert "--date-order" in str(preview.problems[0])


def test_ten_rows_are_shown_of_many(look):
    rows = [f"2023-02-03 {n // 60:02d}:{n % 60:02d}:30,-1.5" for n in range(50)]
    preview = look("Time,Temp (C)\n" + "\n".join(rows) + "\n")
    assert len(preview.rows) == 10
    assert preview.rows[0].local == "2023-02-03 00:00:30 UTC+01:00"
    assert preview.readings == 50


def test_a_file_that_is_none_is_a_preview_with_a_problem(tmp_path):
    preview = preview_logger(tmp_path / "none.csv", Asked("none.csv", "UTC"))
    assert "no such file" in str(preview.problems[0])
    assert preview.facts() == []


@settings(max_examples=120, deadline=None, derandomize=True)
@given(st.data())
def test_a_preview_of_a_damaged_file_says_what_the_reader_says(data):
    source = data.draw(st.sampled_from(sorted((DATA / "loggers").iterdir())))
    content = bytearray(source.read_bytes())
    for _ in range(data.draw(st.integers(1, 5))):
        at = data.draw(st.integers(0, len(content) - 1))
        content[at : at + data.draw(st.integers(0, 3))] = data.draw(st.sampled_from(PIECES))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "l1.csv"
        path.write_bytes(bytes(content))
        preview = preview_logger(path, Asked("l1.csv", "Europe/Madrid"), zone=MADRID)
        try:
            logger = read_logger(path, timezone=None, default_timezone="Europe/Madrid")
        except InputError as error:
            assert [str(problem) for problem in preview.problems] == [str(problem) for problem in error.problems]
        else:
            assert preview.problems == []
            assert preview.readings == logger.air_temperature.size
            assert preview.said == logger.said


def test_every_channel_has_a_preview_of_its_own(tmp_path):
    path = tmp_path / "two.csv"
    path.write_text("Time,Air (C),Soil (F)\n2023-02-03 23:00,-1.0,\n2023-02-03 23:15,-1.5,41\n", encoding="utf-8")
    air, soil = preview_channels(path, [("Air (C)", "L1"), ("Soil (F)", "L2")], Asked("two.csv", "UTC"))
    assert (air.sensor, air.unit, air.readings, air.missing) == ("L1", "C", 2, 0)
    assert (soil.sensor, soil.unit, soil.readings, soil.missing) == ("L2", "F", 1, 1)
    assert [row.celsius for row in soil.rows] == pytest.approx([5.0])


def test_every_sensor_that_a_column_names_has_a_preview_of_its_own(tmp_path):
    path = tmp_path / "long.csv"
    path.write_text("Time,Probe,Temp (C)\n2023-02-03 23:00,B,-1.0\n2023-02-03 23:00,A,-2.0\n", encoding="utf-8")
    previews = preview_by_sensor(path, Asked("long.csv", "UTC", sensor_column="Probe"))
    assert [(preview.sensor, preview.rows[0].celsius) for preview in previews] == [("B", -1.0), ("A", -2.0)]
    assert [column.role for column in previews[0].columns] == ["time", "sensor", "temperature"]


def test_columns_beside_the_readings_have_their_roles(tmp_path):
    path = tmp_path / "l1.csv"
    path.write_text("Time,TZ,Parameter,Value,Unit\n2023-01-14 06:05,PST,Temperature,14,F\n", encoding="utf-8")
    preview = preview_logger(path, Asked("l1.csv", "UTC"))
    roles = ["time", "zone", "what was measured", "temperature", "unit"]
    assert [column.role for column in preview.columns] == roles
    assert (preview.unit, preview.unit_from, preview.zone, preview.zone_from) == ("F", "file", "UTC-08:00", "file")
