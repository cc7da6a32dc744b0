"""``hardiness export readings`` of three kinds of readings, and what ``station add`` makes of the file it wrote."""

import pandas as pd
import pytest
import xarray as xr

from tests.cli.conftest import Line, made_in
from tests.read.test_stations import dly_line

# Two nights of frost of a station; its days are those of the zone beside the name.
DAILY = "\n".join([dly_line({13: -12, 14: -41, 15: -60}), dly_line({13: 80, 14: 30, 15: 12}, element="TMAX"), ""])
MEASURED = "Date Time,Temp (C)\n2031-12-14 05:00,-3.5\n2031-12-14 06:00,-4.0\n2031-12-14 07:00,35.0\n"


@pytest.fixture
def exported(line: Line):
    """A trial with a logger (one reading masked), daily minima and drawn hours, and its export."""
    line.added("sensors", "sensor,offset_c,elevation_m,height_m\nL1,0.5,480,1.5\n")
    line.added("readings", MEASURED, "l1.csv", "--sensor", "L1")
    path = line.file(DAILY, "s.dly")
    line.done("station", "add", path, "--station", "D1")
    line.done("station", "add", path, "--station", "D2", "--hours", "estimated")
    at = ("--from", "2031-12-14 07:00", "--to", "2031-12-14 07:00")
    line.done("mask", "L1", *at, "--why", "held in the hand")
    file = line.folder.parent / "x.nc"
    return line, file, line.done("export", "readings", str(file)).err


def test_what_is_in_the_file_is_said(exported):
    _, file, said = exported
    with xr.open_dataset(file, engine="h5netcdf") as dataset:
        drawn = int((dataset["origin"] == 1).sum())
        assert drawn == dataset.sizes["obs"] - 3 > 40
        assert dataset["daily_minimum"].to_numpy().tolist() == [-1.2, -4.1, -6.0]
    assert f"{drawn + 3} readings and 3 daily minima of 3 sensors in" in said
    assert "1 masked, which the variables 'status' and 'daily_status' say." in said
    assert f"{drawn} hours of them drawn through daily minima and maxima, not measured" in said


@pytest.fixture
def other(exported, tmp_path):
    """Another trial in the same zone that takes every sensor of the file as a station."""
    first, file, _ = exported
    line = made_in(tmp_path / "other")
    told = {
        name: line.done("station", "add", str(file), "--id", name, "--station", name).err for name in ("L1", "D1", "D2")
    }
    return first, line, told


def test_minima_come_back_as_minima_of_their_days(other):
    first, second, told = other
    assert "Daily minima alone tell no" in told["D1"]
    columns = ("starts", "ends", "minimum_c", "duration_h", "coverage", "source")
    rows = [[[row[name] for name in columns] for row in line.csv("freezes") if row["sensor"] == "D1"]
            for line in (first, second)]  # fmt: skip
    assert len(rows[0]) == 2 and rows[0] == rows[1]
    assert [row[5] for row in rows[1]] == ["station", "station"]


def test_drawn_hours_come_back_as_estimated(other):
    first, second, _ = other
    rows = [[(row["starts"], row["minimum_c"], row["sd_c"], row["source"])
             for row in line.csv("freezes") if row["sensor"] == "D2"] for line in (first, second)]  # fmt: skip
    assert rows[0] and rows[0] == rows[1]
    assert {row[3] for row in rows[1]} == {"estimated"}


def test_measured_hours_come_back_with_their_offset_and_without_what_was_masked(other):
    _, second, told = other
    assert "1 value that the file's 'status' calls masked: left out." in told["L1"]
    (freeze,) = (row for row in second.csv("freezes") if row["sensor"] == "L1")
    assert (float(freeze["minimum_c"]), freeze["source"]) == (-3.5, "station")


def test_the_place_is_that_of_the_ground_and_not_how_high_the_sensor_hangs(other):
    _, second, _ = other
    sensors = second.held("sensors").set_index("sensor")
    assert sensors.loc["L1", "elevation_m"] == 480.0


def test_a_station_of_another_zone_keeps_its_days(line: Line, tmp_path):
    path = line.file(DAILY, "s.dly")
    line.done("station", "add", path, "--station", "D1", "--timezone", "America/New_York")
    line.done("station", "add", path, "--station", "D2")
    file = line.folder.parent / "zones.nc"
    line.done("export", "readings", str(file))
    second = made_in(tmp_path / "elsewhere")
    for name in ("D1", "D2"):
        said = second.done("station", "add", str(file), "--id", name, "--station", name).err
        assert "names no zone" not in said
    columns = ("sensor", "starts", "ends", "minimum_c", "duration_h")
    rows = [[[row[name] for name in columns] for row in each.csv("freezes")] for each in (line, second)]
    assert len(rows[0]) == 4 and rows[0] == rows[1]
    starts = {row[0]: pd.Timestamp(row[1]).tz_convert("UTC").hour for row in rows[1]}
    assert starts["D1"] == 5 and starts["D2"] != 5


def test_a_network_is_exported_sensor_by_sensor_into_the_same_file(exported, monkeypatch):
    line, file, said = exported
    monkeypatch.setattr("hardiness.trial.MOST_IN_MEMORY", 0)
    other = file.with_name("y.nc")
    assert line.done("export", "readings", str(other)).err == said.replace("x.nc", "y.nc")
    with xr.open_dataset(file, engine="h5netcdf") as one, xr.open_dataset(other, engine="h5netcdf") as two:
        xr.testing.assert_equal(one, two)


def test_a_file_of_several_sensors_wants_one(exported):
    line, file, _ = exported
    ended = line("station", "add", str(file), "--station", "X")
    assert ended.code == 2
    assert "3 stations (D1, D2 and L1)" in ended.err and "--id D1" in ended.err
