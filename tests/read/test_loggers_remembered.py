"""What was chosen for a sensor's last file is used, and said, where the next one leaves it open: only there."""

from __future__ import annotations

from pathlib import Path

import pytest

from hardiness.errors import InputError
from hardiness.read.choices import Choices
from hardiness.read.loggers import LoggerFile, read_logger

SOURCE = "the last file of L1"
AS = f"as for {SOURCE}"
OPEN = "Time,Temp\n03/02/2023 23:00,29.3\n05/04/2023 23:15,28.4\n"  # neither unit nor order of dates nor zone


@pytest.fixture
def read(tmp_path: Path):
    def read_text(text: str, last: dict[str, str], **options: str) -> LoggerFile:
        path = tmp_path / "l1.csv"
        path.write_text(text, encoding="utf-8")
        chosen: dict[str, str | None] = {"timezone": None} | options  # type: ignore[assignment]
        return read_logger(path, default_timezone="UTC", last=Choices.of(last, SOURCE), **chosen)  # type: ignore[arg-type]

    return read_text


def first(logger: LoggerFile) -> str:
    return str(logger.air_temperature.time.values[0])[:16]


def said(logger: LoggerFile) -> str:
    return " ".join(logger.said)


def test_what_the_file_leaves_open_is_taken_as_last_time(read):
    logger = read(OPEN, {"unit": "F", "date_order": "MDY", "timezone": "UTC-05:00"})
    assert first(logger) == "2023-03-03T04:00"
    assert logger.unit == "degF"
    assert (logger.timezone, logger.timezone_from) == ("UTC-05:00", "default")
    assert f"taken as F, {AS}" in said(logger)
    assert f"read as month/day/year, {AS}" in said(logger)
    assert "taken as UTC-05:00" in said(logger)


def test_an_option_given_now_wins(read):
    last = {"unit": "F", "date_order": "MDY", "timezone": "UTC-05:00"}
    kelvin = OPEN.replace("29.3", "271.3").replace("28.4", "270.4")
    logger = read(kelvin, last, unit="K", date_order="DMY", timezone="UTC+01:00")
    assert (logger.unit, first(logger)) == ("kelvin", "2023-02-03T22:00")
    assert AS not in said(logger)


def test_what_the_file_states_is_never_contradicted(read):
    text = "Time (UTC+02:00),Temp (C)\n14/02/2023 23:00,-1.5\n15/02/2023 23:00,-2.0\n"
    logger = read(text, {"unit": "F", "date_order": "MDY", "timezone": "UTC-05:00"})
    assert (logger.unit, first(logger), logger.timezone_from) == ("degC", "2023-02-14T21:00", "file")
    assert AS not in said(logger)


def test_dates_that_tell_their_order_by_their_course_are_read_so(read):
    text = "Time,Temp (C)\n" + "".join(f"0{day}/02/2023 12:00,-1.5\n" for day in range(1, 9))
    assert first(read(text, {"date_order": "MDY"})) == "2023-02-01T12:00"


def test_a_column_chosen_last_time_is_taken_where_the_file_has_it(read):
    text = "Sent,Logged,Soil (C),Air (C)\n2023-02-03 23:05,2023-02-03 23:00,2.0,-1.5\n"
    logger = read(text, {"time_column": "Logged", "temperature_column": "Air (C)"})
    assert (first(logger), logger.air_temperature.values.tolist()) == ("2023-02-03T23:00", [-1.5])
    assert f"Times are taken from 'Logged', {AS}" in said(logger)
    assert f"Temperatures are taken from 'Air (C)', {AS}" in said(logger)


def test_a_column_chosen_last_time_is_taken_also_where_another_would_be_clear(read):
    text = "Time,Temp (C),Channel 2\n2023-02-03 23:00,2.0,-1.5\n"
    logger = read(text, {"temperature_column": "Channel 2"})
    assert logger.air_temperature.values.tolist() == [-1.5]
    assert f"Temperatures are taken from 'Channel 2', {AS}; --temperature-column names another." in logger.said


def test_nothing_is_said_of_a_column_that_is_clear_anyway(read):
    text = "Time,Temp (C)\n2023-02-03 23:00,-1.5\n"
    assert AS not in said(read(text, {"time_column": "time", "temperature_column": "temp"}))


def test_a_column_that_is_gone_is_said_and_the_clear_one_taken(read):
    logger = read("Time,Temp (C)\n2023-02-03 23:00,-1.5\n", {"temperature_column": "Air (C)"})
    assert logger.air_temperature.values.tolist() == [-1.5]
    assert "were in 'Air (C)'; this file has none there: they are taken from 'Temp (C)'." in said(logger)


def test_a_column_that_is_gone_settles_nothing(read):
    text = "Time,Soil (C),Leaf (C)\n2023-02-03 23:00,2.0,-1.5\n"
    with pytest.raises(InputError, match="several columns of temperatures"):
        read(text, {"temperature_column": "Air (C)"})


def test_a_column_that_holds_other_things_now_settles_nothing(read):
    logger = read(
        "Time,Note,Temp (C)\n2023-02-03 23:00,fog,-1.5\n", {"temperature_column": "Note", "time_column": "Note"}
    )
    assert logger.temperature_column == "Temp (C)"
    assert logger.time_column == "Time"


def test_a_number_of_a_column_settles_only_what_is_open(read):
    two = "Time,Air (C),Soil (C)\n2023-02-03 23:00,-1.5,2.0\n"
    assert read(two, {"temperature_column": "3"}).air_temperature.values.tolist() == [2.0]
    clear = "Time,Temp (C),Channel 2\n2023-02-03 23:00,-1.5,2.0\n"
    assert read(clear, {"temperature_column": "3"}).air_temperature.values.tolist() == [-1.5]


def test_of_several_zones_in_the_file_the_last_choice_decides(read):
    text = "Time zone: UTC+02:00\nZone offset: UTC+01:00\nTime,Temp (C)\n2023-02-03 23:00,-1.5\n"
    with pytest.raises(InputError, match="several zones"):
        read(text, {})
    logger = read(text, {"timezone": "UTC+01:00"})
    assert first(logger) == "2023-02-03T22:00"
    assert f"times are taken as UTC+01:00, {AS}" in said(logger)


def test_a_unit_of_last_time_that_cannot_be_is_refused_with_the_ones_that_can(read):
    text = "Time,Temp\n2023-02-03 23:00,271.5\n"
    with pytest.raises(InputError, match="--unit K"):
        read(text, {"unit": "C"})
