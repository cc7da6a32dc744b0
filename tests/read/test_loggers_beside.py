"""Columns beside the readings: a unit, an offset or what was measured in a column of its own is read, or refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from hardiness.read.loggers import LoggerFile, read_by_sensor
from hardiness.read.recognition import Asked
from tests.read.readers import read_file as read
from tests.read.readers import refusal_of as refusal

FAHRENHEIT = ["35.6", "33.8", "30.2", "28.4"]  # 2, 1, -1 and -2 degC
CELSIUS = [2.0, 1.0, -1.0, -2.0]
NIGHT = ["2025-12-14 18:00", "2025-12-14 19:00", "2025-12-14 20:00", "2025-12-14 21:00"]
FIRST = np.datetime64("2025-12-14T18:00")  # as the clock of the file shows it


@pytest.fixture
def write(tmp_path: Path):
    def write_file(header: str, *columns: list[str]) -> Path:
        path = tmp_path / "l1.csv"
        path.write_text("\n".join([header, *(",".join(row) for row in zip(*columns, strict=True))]) + "\n", "utf-8")
        return path

    return write_file


def hours_from_utc(logger: LoggerFile) -> float:
    return float((FIRST - logger.air_temperature.time.values[0]) / np.timedelta64(1, "h"))


@pytest.mark.parametrize("name", ["Temp", "Value"])
@pytest.mark.parametrize(
    ("column", "cell"),
    [
        ("Unit", "F"),
        ("Unit", "°F"),
        ("Units", "deg F"),
        ("Temp unit", '"F"'),
        ("Scale", "Fahrenheit"),
        ("UOM", "degF"),
        ("x", "°F"),
    ],
)
def test_a_unit_in_a_column_of_its_own_is_the_unit(write, name, column, cell):
    logger = read(write(f"Time,{name},{column}", NIGHT, FAHRENHEIT, [cell] * 4))
    np.testing.assert_allclose(logger.air_temperature.values, CELSIUS, atol=1e-9)
    assert logger.unit == "degF"
    assert not any("names the unit" in sentence for sentence in logger.said)


def test_of_two_columns_of_units_the_one_of_the_temperature_counts(write):
    path = write("Time,Temp,Unit,RH,Unit", NIGHT, FAHRENHEIT, ["F"] * 4, ["80"] * 4, ["%"] * 4)
    assert read(path).unit == "degF"


def test_several_units_in_a_column_are_refused(write):
    text = refusal(write("Time,Temp,Unit", NIGHT, FAHRENHEIT, ["F", "F", "C", "F"]))
    assert "more than one unit (C in the cell in row 4, F in the cell in row 2)" in text
    assert "more than one unit" in refusal(write("Time,Temp (C),Unit", NIGHT, FAHRENHEIT, ["F"] * 4))
    assert "more than one unit" in refusal(write("Time,Temp,Unit", NIGHT, FAHRENHEIT, ["F"] * 4), unit="C")


def test_a_unit_that_is_none_is_refused_where_there_is_a_temperature(write):
    text = refusal(write("Time,Temp,Unit", NIGHT, FAHRENHEIT, ["F", "V", "V", "F"]))
    assert "row 3, column Unit: found 'V' as the unit of 2 temperatures; accepted: C, F or K" in text
    path = write("Time,Temp,Unit", NIGHT, ["35.6", "", "30.2", "28.4"], ["F", "none", "F", "F"])
    assert (read(path).unit, read(path).missing) == ("degF", 1)


def test_letters_that_may_be_flags_are_not_taken_but_asked_about(write):
    logger = read(write("Time,Temp,Quality", NIGHT, FAHRENHEIT, ["F"] * 4))
    assert logger.unit == "degC"
    assert "Every row has 'F' in 'Quality': if that is the unit, say it with --unit." in logger.said
    logger = read(write("Time,Temp,Unit", NIGHT, FAHRENHEIT, ["North 4"] * 4))  # the name of a device
    assert any("unit of 'Temp': taken as C" in sentence for sentence in logger.said)


@pytest.mark.parametrize(
    ("column", "cell", "hours"),
    [
        ("UTC offset", "-08:00", -8),
        ("utc_offset", "+0530", 5.5),
        ("GMT offset", "-5", -5),
        ("GMT offset", "−5", -5),
        ("tz_offset (min)", "-300", -5),
        ("UTC offset", "-18000", -5),
        ("UtcOffset", "05:45", 5.75),
        ("Offset", "-05:00", -5),
        ("TZ", "UTC", 0),
        ("TZ", "PST", -8),
        ("Time zone", "UTC-5", -5),
        ("Time zone", "America/Los_Angeles", -8),
        ("Zone", "GMT", 0),
    ],
)
@pytest.mark.parametrize("clock", ["one", "two"])
def test_an_offset_in_a_column_of_its_own_comes_before_the_trials_zone(write, column, cell, hours, clock):
    header, times = "Time", [NIGHT]
    if clock == "two":
        header, times = "Date,Time", [[time[:10] for time in NIGHT], [time[11:] for time in NIGHT]]
    logger = read(write(f"{header},{column},Temp (C)", *times, [cell] * 4, ["1.5"] * 4))
    assert hours_from_utc(logger) == hours
    assert logger.timezone_from == "file"
    assert any(f"'{column}'" in sentence for sentence in logger.said)


def test_offsets_may_change_from_row_to_row(write):
    night = ["2025-11-02 01:00", "2025-11-02 01:30", "2025-11-02 01:00", "2025-11-02 01:30"]
    offsets = ["-04:00", "-04:00", "-05:00", "-05:00"]
    logger = read(write("Time,UTC offset,Temp (C)", night, offsets, ["4", "3", "2", "1"]))
    assert logger.interval_min == 30.0
    assert logger.timezone == "UTC-05:00, UTC-04:00"


def test_the_times_own_offset_and_their_headers_zone_come_before_the_column(write):
    zulu = [f"{time}Z" for time in NIGHT]
    assert hours_from_utc(read(write("Time,TZ,Temp (C)", zulu, ["PST"] * 4, ["1"] * 4))) == 0
    logger = read(write("Time (UTC),UTC offset,Temp (C)", NIGHT, ["-08:00"] * 4, ["1"] * 4))
    assert hours_from_utc(logger) == 0
    assert "'UTC offset' is not read: the times' own header names their zone." in logger.said


@pytest.mark.parametrize(
    ("cells", "told"),
    [
        (["CST"] * 4, "row 2, column TZ: found 'CST' in 4 rows"),
        (["CST"] * 4, "--timezone UTC-06:00, --timezone UTC+08:00 or --timezone America/Chicago"),
        (["Eastern Standard Time"] * 4, "found 'Eastern Standard Time' in 4 rows; accepted: an offset such as -05:00"),
        (["+300"] * 4, "found '+300' in 4 rows"),  # 3 hours, or 300 minutes
        (["PST", "", "PST", "PST"], "row 3, column Time: found '2025-12-14 19:00' without an offset"),
        (["Europe/Paris", "Europe/Paris", "Europe/Rome", "Europe/Rome"], "several zones ('Europe/Paris' in 2 rows"),
    ],
)
def test_a_zone_that_is_not_plain_is_refused(write, cells, told):
    assert told in refusal(write("Time,TZ,Temp (C)", NIGHT, cells, ["1"] * 4))


def test_a_zone_that_is_not_plain_may_be_given(write):
    logger = read(write("Time,TZ,Temp (C)", NIGHT, ["CST"] * 4, ["1"] * 4), timezone="UTC-06:00")
    assert (hours_from_utc(logger), logger.timezone_from) == (-6, "option")
    assert any("'TZ' ('CST' in 4 rows) is no zone that is understood" in sentence for sentence in logger.said)


@pytest.mark.parametrize(("column", "cell"), [("Zone", "3"), ("Offset", "0.5"), ("Temp offset", "-1"), ("Zone", "B")])
def test_parts_of_an_orchard_and_offsets_of_a_probe_are_no_zones(write, column, cell):
    logger = read(write(f"Time,Temp (C),{column}", NIGHT, ["1"] * 4, [cell] * 4), temperature_column="Temp (C)")
    assert (logger.timezone, logger.timezone_from) == ("America/New_York", "default")


def long_format(path: Path, header: str, *labels_and_cells: tuple[str, list[str]]) -> Path:
    rows = [f"{time},{label},{cells[n]}" for n, time in enumerate(NIGHT) for label, cells in labels_and_cells]
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize("column", ["Parameter", "Variable", "Measurement", "Sensor", "Type"])
def test_of_rows_of_several_quantities_those_of_temperature_are_read(tmp_path, column):
    path = long_format(
        tmp_path / "l.csv", f"Time,{column},Value", ("Temperature", [f"{c}" for c in CELSIUS]), ("Humidity", ["80"] * 4)
    )
    logger = read(path)
    assert logger.air_temperature.values.tolist() == CELSIUS
    assert f"Only rows with 'Temperature' in '{column}' are read; passed over: 'Humidity' in 4 rows." in logger.said


def test_unit_and_quantity_may_both_have_a_column(tmp_path):
    path = long_format(
        tmp_path / "l.csv", "Time,Parameter,Value,Unit",
        ("Battery", ["3.1,V"] * 4), ("Air temp", [f"{f},F" for f in FAHRENHEIT]), ("Soil temperature", ["50,F"] * 4),
    )  # fmt: skip
    np.testing.assert_allclose(read(path).air_temperature.values, CELSIUS, atol=1e-9)
    labelled = long_format(
        tmp_path / "m.csv", "Time,Parameter,Value", ("Temperature (°F)", FAHRENHEIT), ("RH (%)", ["x"] * 4)
    )
    np.testing.assert_allclose(read(labelled).air_temperature.values, CELSIUS, atol=1e-9)


def test_quantities_one_after_another_are_told_apart_beyond_the_first_lines(tmp_path):
    rows = [f"2025-12-{1 + n // 24:02d} {n % 24:02d}:00," for n in range(500)]
    text = "".join(f"{row}Humidity,80\n" for row in rows) + "".join(f"{row}Temperature,-1.5\n" for row in rows)
    path = tmp_path / "l.csv"
    path.write_text(f"Time,Parameter,Value\n{text}", encoding="utf-8")
    logger = read(path)
    assert (logger.air_temperature.size, set(logger.air_temperature.values.tolist())) == (500, {-1.5})


def test_several_temperatures_or_none_in_rows_are_refused(tmp_path):
    path = tmp_path / "l.csv"
    text = refusal(long_format(path, "Time,Parameter,Value", ("Temp 1", ["1"] * 4), ("Temp 2", ["2"] * 4)))
    assert "several kinds of temperature ('Temp 1' in 4 rows, 'Temp 2' in 4 rows)" in text
    assert "--sensor-column 'Parameter'" in text
    files = read_by_sensor(path, Asked("l.csv", "UTC", sensor_column="Parameter"))
    assert {name: file.air_temperature.values[0] for name, file in files.items()} == {"Temp 1": 1.0, "Temp 2": 2.0}
    text = refusal(long_format(path, "Time,Parameter,Value", ("Humidity", ["80"] * 4), ("Battery", ["3.1"] * 4)))
    assert "no rows of air temperature ('Humidity' in 4 rows, 'Battery' in 4 rows)" in text


def test_quantities_beside_a_column_that_is_named_a_temperature_are_told_apart_too(tmp_path):
    path = tmp_path / "l.csv"
    rows = [
        f"2025-12-14 18:{n:02d},{label},{cell}" for n, (label, cell) in enumerate([("Temp", "-1.5"), ("RH", "60")] * 9)
    ]
    path.write_text("\n".join(["Time,Parameter,Temp (C)", *rows]) + "\n", encoding="utf-8")
    assert set(read(path).air_temperature.values.tolist()) == {-1.5}


def test_a_clock_in_utc_is_a_clock_and_no_offset(write):
    dates, clocks = [time[:10] for time in NIGHT], [time[11:] for time in NIGHT]
    assert read(write("Date,UTC,Temp (C)", dates, clocks, ["1"] * 4)).timezone == "UTC"
    assert "several columns of times" in refusal(write("Date,Local,UTC,Temp (C)", dates, clocks, clocks, ["1"] * 4))


def test_a_note_beside_a_named_temperature_parts_nothing(write):
    logger = read(write("Time,Temp (C),Alarm", NIGHT, ["1.5"] * 4, ["low temp", "", "humidity", ""]))
    assert logger.air_temperature.size == 4
