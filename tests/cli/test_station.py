"""``hardiness station``: stations near a trial, fetching one, files of one; what a plant then meets."""

import datetime as dt
import re
import socket

import numpy as np
import pandas as pd
import pytest

from hardiness.trial import open_trial
from tests.cli.conftest import Line, hardiness
from tests.read.test_stations import ISD, dly_line
from tests.station_server import daily_file, hourly_file, pointed_at, serving


@pytest.fixture
def served(tmp_path, monkeypatch):
    monkeypatch.setenv("HARDINESS_CACHE", str(tmp_path / "cache"))
    with serving(tmp_path) as served:
        yield served


def hours(year: int, low: float = -6.0) -> pd.Series:
    """A mild year [degC] with one cold night: a low at 06:00 UTC of 14 January, below 0 from 02:00 to 10:00."""
    index = pd.date_range(f"{year}-01-01", f"{year}-12-31T23", freq="h")
    away = np.abs((index - pd.Timestamp(f"{year}-01-14T06")) / pd.Timedelta(hours=1))
    return pd.Series(np.where(away <= 6, np.round(low + (6.0 - low) * away / 6, 1), 6.0), index)


def test_near_lists_distance_height_and_years(served, line: Line):
    line.retoml("units", "elevation_m = 600.0\nunits")
    rows = line.csv("station", "near")
    assert [row["station"] for row in rows] == ["S0001", "S0002"]
    assert float(rows[0]["distance_km"]) == pytest.approx(11.1, abs=0.1)
    assert (rows[0]["height_difference_m"], rows[1]["height_difference_m"]) == ("20.0", "650.0")
    assert (rows[0]["hourly_from"], rows[0]["hourly_to"]) == ("1990-02-03", "2026-11-20")
    assert rows[1]["hourly_from"] == "" and rows[1]["daily_from"] == "1951-01-01"
    assert len(line.csv("station", "near", "--radius", "200")) == 3
    assert len(line.csv("station", "near", "--count", "1")) == 1
    shown = line.done("station", "near").out
    assert "Lower Field" in shown and "km" in shown.splitlines()[0] and "11.1" in shown


def test_near_without_a_height_says_what_to_set(served, line: Line):
    assert "Set elevation_m in trial.toml" in line.done("station", "near").err


def test_near_with_nothing_around_says_how_to_look_further(served, line: Line):
    line.retoml("latitude = 40.4", "latitude = -40.4")
    ended = line.done("station", "near")
    assert "No station within 100 km: --radius looks further." in ended.err


def test_near_without_a_place_says_what_to_set(served, line: Line):
    line.retoml("latitude = 40.4\n", "")
    ended = line("station", "near")
    assert (ended.code, ended.out) == (2, "")
    assert ended.err == (
        "trial.toml: found no latitude; accepted: the trial's latitude and longitude. Set both in trial.toml, such as: "
        "latitude = 41.2 and longitude = -7.5 (north and east are positive).\n"
    )
    assert served.asked == []


def test_fetched_hours_become_a_station_whose_freezes_plants_meet(served, planted: Line):
    served.files["/hourly/2023/S0001.csv.gz"] = hourly_file(hours(2023))
    planted.retoml("longitude = -3.7\n", "longitude = -3.7\nelevation_m = 600.0\n")
    ended = planted.done("station", "fetch", "S0001", "--from", "2023-01-10", "--to", "2023-01-20")
    assert "station-S0001-hourly-2023-01-10-to-2023-01-20.csv (readings): 264 readings added." in ended.err
    (freeze,) = planted.csv("freezes")
    assert (freeze["freeze"], freeze["source"], freeze["minimum_c"]) == ("2023-01-14 S0001", "station", "-6.0")
    assert {row["plant"] for row in planted.csv("exposures")} == {"T1", "T2", "T3"}
    sensor = planted.held("sensors").set_index("sensor").loc["S0001"]
    assert sensor[["kind", "latitude", "elevation_m", "accuracy_c"]].tolist() == ["station", 40.5, 620.0, 0.5]
    assert sensor["notes"] == (
        "Public station S0001 Lower Field, from station service; 11.1 km from the trial, 20 m higher."
    )


def test_what_was_fetched_is_kept_as_a_file_that_is_the_same_for_the_same_values(served, line: Line):
    served.files["/hourly/2023/S0001.csv.gz"] = hourly_file(hours(2023))
    words = ("station", "fetch", "S0001", "--from", "2023-01-14", "--to", "2023-01-14")
    line.done(*words)
    (upload,) = line.csv("uploads")
    text = (line.folder / "uploads" / upload["upload"]).read_text()
    assert text.splitlines()[:3] == ["# public station, fetched from the station service", "# station: S0001",
                                     "# name: Lower Field"]  # fmt: skip
    assert "# distance_km: 11.1" in text and "# model_values: 0 left out" in text
    assert "2023-01-14T06:00Z,-6,80,isd_lite,no" in text
    before = line.state
    again = line.done(*words)
    assert "nothing has changed" in again.err and line.state == before
    with open_trial(line.folder) as trial:
        assert "station service S0001" in trial.store.uploads()["options"].iloc[0]
    assert "station service S0001" in line.done("uploads").out


def test_a_kept_file_can_be_taken_in_elsewhere_without_a_network(served, line: Line, tmp_path):
    served.files["/hourly/2023/S0001.csv.gz"] = hourly_file(hours(2023))
    line.done("station", "fetch", "S0001", "--from", "2023-01-10", "--to", "2023-01-20")
    (upload,) = line.csv("uploads")
    copy = line.file((line.folder / "uploads" / upload["upload"]).read_bytes(), "kept.csv")
    line.done("station", "add", copy, "--station", "copy")
    one, other = line.csv("freezes")
    assert one["minimum_c"] == other["minimum_c"] and {one["sensor"], other["sensor"]} == {"S0001", "copy"}


def test_values_of_a_model_are_said_and_marked_in_the_file(served, line: Line):
    values = hours(2023)
    filled = pd.Series(values.index.hour == 3, values.index)
    served.files["/hourly/2023/S0001.csv.gz"] = hourly_file(values, model=filled)
    words = ("station", "fetch", "S0001", "--from", "2023-01-14", "--to", "2023-01-15")
    assert "2 values filled in by a weather model left out; --with-model takes them" in line.done(*words).err
    ended = line.done(*words, "--with-model", "--station", "with model")
    assert "2 values of 48 filled in by a weather model: marked so in the file." in ended.err


def days(year: int) -> pd.DataFrame:
    index = pd.date_range(f"{year}-01-01", f"{year}-01-31", freq="D")
    return pd.DataFrame({"tmin": np.where(index.day == 14, -6.0, 1.0), "tmax": 9.0}, index)


def test_daily_minima_are_freezes_without_hours_and_left_out_of_the_fit(served, planted: Line):
    served.files["/daily/2023/S0001.csv.gz"] = daily_file(days(2023))
    ended = planted.done("station", "fetch", "S0001", "--daily", "--from", "2023-01-01", "--to", "2023-01-31")
    assert "left out of the fit" in ended.err and "--hours estimated" in ended.err
    (freeze,) = planted.csv("freezes")
    assert (freeze["sensor"], freeze["minimum_c"], freeze["duration_h"], freeze["coverage"]) == (
        "S0001 daily", "-6.0", "24.0", "0.0",
    )  # fmt: skip
    assert (
        freeze["starts"] == "2023-01-14T00:00:00+01:00" and freeze["held_1h_c"] == "" and freeze["hours_le_0_c"] == ""
    )
    planted.added("scores", "plant,scored_on,grade\nT1,2023-02-20,2\n")
    assert planted.csv("observations") == []
    left_out = hardiness(
        "observations", "--left-out", "-", "--csv", planted.beside / "o.csv", "--trial", planted.folder
    )
    assert {row["plant"]: row["reason"] for row in left_out.rows}["T1"] == "no held temperature"


def test_hours_drawn_through_daily_values_are_marked_and_reach_the_fit(served, planted: Line):
    served.files["/daily/2023/S0001.csv.gz"] = daily_file(days(2023))
    words = ("--hours", "estimated", "--from", "2023-01-01", "--to", "2023-01-31")
    planted.done("station", "fetch", "S0001", *words)
    (freeze,) = planted.csv("freezes")
    assert (freeze["sensor"], freeze["source"], freeze["minimum_c"]) == ("S0001 estimated", "estimated", "-6.0")
    assert float(freeze["sd_c"]) == pytest.approx(np.hypot(0.5, 1.4), abs=1e-6)
    planted.added("scores", "plant,scored_on,grade\nT1,2023-02-20,2\n")
    (row,) = planted.csv("observations")
    assert row["freeze"] == freeze["freeze"] and float(row["sensor_sd_c"]) == 0.5


def test_a_file_from_disk_becomes_a_station(line: Line):
    path = line.file(dly_line({14: -41, 15: 5}) + "\n", "USX.dly")
    ended = line.done("station", "add", path, "--station", "Town", "--latitude", "40.5", "--longitude", "-3.7")
    assert "USX.dly (readings): 2 readings added." in ended.err
    assert "'Town' is new: it was created as a station" in ended.err
    assert [row["freeze"] for row in line.csv("freezes")] == ["2031-12-14 Town"]
    assert "nothing has changed" in line.done("station", "add", path, "--station", "Town", "--latitude", "40.5",
                                              "--longitude", "-3.7").err  # fmt: skip
    hourly = line.file(ISD, "123450-99999-2031")
    assert "3 readings added" in line.done("station", "add", hourly, "--station", "Airport").err


def test_every_fault_of_a_file_is_listed_and_nothing_is_stored(line: Line):
    before = line.state
    path = line.file(ISD + "2031 13 14 08   -22\n2031 12 14 25   -22\n", "hours.txt")
    ended = line("station", "add", path, "--station", "Town")
    assert ended.code == 2
    assert ended.err.count("hours.txt, row ") == 2 and "2 problems; nothing was stored." in ended.err
    assert line.state == before


def test_no_network_ends_2_with_the_way_out_and_nothing_stored(line: Line, tmp_path, monkeypatch):
    monkeypatch.setenv("HARDINESS_CACHE", str(tmp_path / "cache"))
    before = line.state
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        with pointed_at(f"http://127.0.0.1:{taken.getsockname()[1]}"):
            near = line("station", "near")
            fetch = line("station", "fetch", "S0001")
    for ended in (near, fetch):
        assert (ended.code, ended.out) == (2, "")
        assert "is there a network?" in ended.err and "hardiness station add FILE --station NAME" in ended.err
    assert line.state == before


def test_no_data_ends_2_with_a_sentence_of_its_own(served, line: Line):
    ended = line("station", "fetch", "S0001", "--from", "2023-01-10", "--to", "2023-01-20")
    assert ended.code == 2
    assert ended.err.startswith("The station service has no hourly temperatures of station S0001 from 2023-01-10")
    assert line("station", "fetch", "S9999").code == 2


def test_without_dates_the_running_winter_is_asked_for(served, line: Line):
    line("station", "fetch", "S0001")
    today = dt.datetime.now(dt.UTC).date()
    began = today.year - (today.month < 7)
    asked = [path for path in served.asked if "hourly" in path]
    assert asked == [f"/hourly/{year}/S0001.csv.gz" for year in range(began, today.year + 1)]


def test_nothing_of_the_cache_lies_in_the_trial(served, line: Line):
    served.files["/hourly/2023/S0001.csv.gz"] = hourly_file(hours(2023))
    line.done("station", "fetch", "S0001", "--from", "2023-01-14", "--to", "2023-01-14")
    names = [path.name for path in line.folder.rglob("*") if path.is_file()]
    assert [name for name in names if re.search(r"pickle|stations\.db", name)] == []


def test_the_stations_of_a_trial_are_listed_with_where_their_readings_are_from(served, line: Line):
    assert "holds no station yet" in line.done("station", "list").err
    assert line.csv("station", "list") == []
    served.files["/hourly/2023/S0001.csv.gz"] = hourly_file(hours(2023))
    line.done("station", "fetch", "S0001", "--from", "2023-01-14", "--to", "2023-01-14")
    line.done("station", "add", line.file(dly_line({14: -41}) + "\n", "x.dly"), "--station", "Town")
    line.added("sensors", "sensor,kind\nL1,logger\nBare,station\n")
    near, bare, town = line.csv("station", "list")
    assert (near["sensor"], near["holds"], near["readings"]) == ("S0001", "readings by instant", "24")
    assert float(near["distance_km"]) == pytest.approx(11.1, abs=0.1)
    assert (near["first"], near["last"]) == ("2023-01-14T01:00:00+01:00", "2023-01-15T00:00:00+01:00")
    assert (town["sensor"], town["holds"], town["distance_km"]) == ("Town", "daily minima", "")
    assert town["notes"] == "Public station XX000012345, from GHCN-Daily."
    assert (bare["sensor"], bare["holds"], bare["readings"], bare["first"]) == ("Bare", "", "0", "")
    assert "Public station" in line.done("station", "list").out


@pytest.mark.parametrize("words", [("fetch", "S0001", "--from", "14.1.2023"), ("near", "--radius", "0"), ("fetch",),
                                   ("near", "--time-limit", "0"), ("add", "x.dly"), ("nearby",)])  # fmt: skip
def test_wrong_use_ends_2(line: Line, words):
    assert line("station", *words).code == 2
