"""``hardiness transfer``, ``freezes --apart``, ``exposures --why`` and ``export readings``."""

from datetime import datetime, timedelta

import pytest
import xarray as xr

from tests.cli.conftest import Line, as_csv, readings

DEEP = "2023-01-18"
NIGHTS = {f"2023-01-{day:02d}": low for day, low in zip(range(1, 32), [-1.5, 1.0, -3.0, 0.5] * 8, strict=False)}
NIGHTS |= {f"2023-02-{day:02d}": low for day, low in zip(range(1, 28), [1.5, -2.5, 0.0] * 9, strict=False)}
NIGHTS[DEEP] = -9.0


def shifted(nights: dict[str, float], by: float) -> dict[str, float]:
    return {night: low + by for night, low in nights.items()}


def without(rows: list[tuple[datetime, float]], first: str, days: int) -> list[tuple[datetime, float]]:
    start = datetime.fromisoformat(first)
    return [row for row in rows if not start <= row[0] < start + timedelta(days=days)]


@pytest.fixture
def silent(planted: Line) -> Line:
    """A station, and 2 C colder a logger that was silent for the winter's deepest freeze."""
    planted.added("sensors", "sensor,kind,latitude,longitude,elevation_m\nST-9,station,40.5,-3.7,700\n")
    planted.added("readings", as_csv(readings(NIGHTS)), "st.csv", "--sensor", "ST-9")
    rows = without(readings(shifted(NIGHTS, -2.0)), "2023-01-16", 5)
    planted.added("readings", as_csv(rows), "l1.csv", "--sensor", "L1")
    return planted


def test_a_row_per_logger_and_source_and_what_it_means(silent: Line):
    ended = silent.done("transfer", "--csv", "-")
    assert ended.header == ["sensor", "source", "nights", "cold_nights", "offset_c", "offset_sd_c", "sd_c", "lapse_c",
                            "distance_km", "basis", "nights_by", "told_nights", "calm_c", "freezes"]  # fmt: skip
    [row] = ended.rows
    assert (row["sensor"], row["source"], row["basis"]) == ("L1", "ST-9", "overlap")
    assert (row["nights"], row["cold_nights"]) == ("54", "52")  # a mild day stands at either end
    assert float(row["offset_c"]) == pytest.approx(-2.0, abs=0.1)
    assert float(row["distance_km"]) == pytest.approx(11.1, abs=0.1)
    assert int(row["freezes"]) == len([r for r in silent.csv("freezes") if r["source"] == "estimated"]) >= 2
    assert "at least 30 common nights show the difference, 10 of them with either at or below 2.0 °C" in ended.err
    assert "L1: 2 °C colder than ST-9 at the minimum" in ended.err
    assert f"{row['freezes']} freezes estimated." in ended.err
    assert (row["nights_by"], row["told_nights"], row["calm_c"]) == ("range of the day", "0", "")
    assert "L1: clear, calm nights are told from others by how far ST-9 cools in the night; its wind" in ended.err


def isd(rows: list[tuple[datetime, float]], *, calm: set[str], sky: bool = True) -> str:
    """ISD-Lite hours, overcast and windy but in calm, clear nights, each named by the day on which it begins."""
    lines = []
    for time, degrees in rows:
        still = (time - timedelta(hours=12)).date().isoformat() in calm
        wind, eighths = (5, 0) if still else (60, 8)
        fields = [round(10 * degrees), -9999, -9999, -9999, wind, eighths if sky else -9999, -9999, -9999]
        lines.append(f"{time:%Y %m %d %H}" + "".join(f"{one:6d}" for one in fields))
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("sky", [True, False])
def test_it_says_that_wind_and_sky_were_used_and_what_they_showed(planted: Line, sky: bool):
    calm = set(list(NIGHTS)[::3])
    line = planted.file(isd(readings(NIGHTS), calm=calm, sky=sky), "723170-13723-2023")
    planted.done("station", "add", line, "--station", "ST-9", "--latitude", "40.5", "--longitude", "-3.7")
    hollow = {night: low - (4.0 if night in calm else 1.0) for night, low in NIGHTS.items()}
    rows = without(readings(hollow), "2023-01-16", 5)
    planted.added("readings", as_csv(rows), "l1.csv", "--sensor", "L1")
    ended = planted.done("transfer", "--csv", "-")
    [row] = ended.rows
    assert (row["nights_by"], row["told_nights"]) == ("wind and sky" if sky else "wind", row["cold_nights"])
    assert float(row["calm_c"]) == pytest.approx(-3.0, abs=0.3)
    said = (
        "clear, calm nights are told from others by the wind and sky" if sky else "calm nights are told from others by"
    )
    assert f"L1: {said}" in ended.err and f"(known of all {row['cold_nights']} cold nights)" in ended.err
    assert f"colder against ST-9 than in {'windy or overcast' if sky else 'windy'} nights that cool as far" in ended.err
    found = [float(row["minimum_c"]) for row in planted.csv("freezes") if row["source"] == "estimated"]
    assert DEEP not in calm
    assert min(found) == pytest.approx(hollow[DEEP], abs=0.5)


def test_a_logger_that_calm_nights_leave_alone_is_said_to_be_so_and_missing_nights_are_counted(planted: Line):
    calm = set(list(NIGHTS)[::3])
    rows = [row for row in readings(NIGHTS) if not "2023-02-01" <= row[0].isoformat() < "2023-02-11T12"]
    gone = isd(rows, calm=calm) + isd([row for row in readings(NIGHTS) if row not in rows], calm=calm).replace(
        f"{5:6d}{0:6d}", f"{-9999:6d}{-9999:6d}").replace(f"{60:6d}{8:6d}", f"{-9999:6d}{-9999:6d}")  # fmt: skip
    line = planted.file("".join(sorted(gone.splitlines(keepends=True))), "723170-13723-2023")
    planted.done("station", "add", line, "--station", "ST-9", "--latitude", "40.5", "--longitude", "-3.7")
    planted.added("readings", as_csv(readings(shifted(NIGHTS, -2.0))), "l1.csv", "--sensor", "L1")
    ended = planted.done("transfer", "--csv", "-")
    [row] = ended.rows
    told, cold = int(row["told_nights"]), int(row["cold_nights"])
    assert cold == 58 and 46 <= told <= 49
    assert (
        f"(known of {told} of the {cold} cold nights). In them it is no colder and no warmer against ST-9" in ended.err
    )


def test_estimated_freezes_are_listed_counted_aloud_and_met_by_the_plants(silent: Line):
    ended = silent.done("freezes", "--csv", "-")
    found = {row["freeze"]: row for row in ended.rows if row["source"] == "estimated"}
    assert f"{len(found)} freezes are estimated" in ended.err
    deep = found[f"{DEEP} L1"]
    assert float(deep["minimum_c"]) == pytest.approx(-11.0, abs=0.3)
    assert float(deep["sd_c"]) > 0.4
    met = [row for row in silent.csv("exposures") if row["plant"] == "T1" and row["starts"].startswith(DEEP)]
    assert [row["freeze"] for row in met] == [f"{DEEP} L1"]


def test_trial_toml_switches_estimates_off_and_the_station_speaks(silent: Line):
    silent.retoml('estimate = "overlap"', 'estimate = "never"')
    ended = silent.done("freezes", "--csv", "-")
    assert {row["source"] for row in ended.rows} == {"logger", "station"}
    assert "estimated" not in ended.err
    met = [row for row in silent.csv("exposures") if row["plant"] == "T1" and row["starts"].startswith(DEEP)]
    assert [row["sensor"] for row in met] == ["ST-9"]
    assert "not estimated" in silent.done("transfer").err


def test_height_alone_is_said_aloud(planted: Line):
    planted.retoml('estimate = "overlap"', 'estimate = "always"')
    planted.added("sensors", "sensor,kind,elevation_m\nST-9,station,900\nL1,logger,700\n")
    planted.added("readings", as_csv(readings({"2023-01-10": -7.0})), "st.csv", "--sensor", "ST-9")
    ended = planted.done("transfer", "--csv", "-")
    [row] = ended.rows
    assert (row["basis"], row["nights"], row["freezes"]) == ("height alone", "0", "1")
    assert float(row["lapse_c"]) == float(row["offset_c"]) == pytest.approx(1.3)
    assert "by its height alone" in ended.err
    assert "6.5 °C per km of height and a wide guess" in ended.err


def test_differences_are_in_the_trials_unit(silent: Line):
    silent.retoml('units = "C"', 'units = "F"')
    ended = silent.done("transfer")
    assert "offset °F" in ended.out and "−3.6" in ended.out
    assert "L1: 3.6 °F colder than ST-9" in ended.err and "35.6 °F" in ended.err


def test_with_one_sensor_there_is_nothing_to_transfer(planted: Line):
    planted.added("readings", as_csv(readings({"2023-01-10": -7.0})), "l1.csv", "--sensor", "L1")
    ended = planted.done("transfer", "--csv", "-")
    assert ended.rows == [] and ended.header[0] == "sensor"
    assert "nothing to transfer yet" in ended.err


def test_sensors_that_lie_apart(silent: Line):
    ended = silent.done("freezes", "--apart", "--csv", "-")
    assert ended.header == ["event", "sensor_a", "minimum_a_c", "sensor_b", "minimum_b_c", "difference_c", "sd_c",
                            "usual_c", "distance_km", "height_m"]  # fmt: skip
    assert ended.rows
    assert {(row["sensor_a"], row["sensor_b"], float(row["difference_c"])) for row in ended.rows} == {
        ("L1", "ST-9", -2)
    }
    assert not [row for row in ended.rows if row["event"].startswith(DEEP)]
    assert "in which sensors lie apart" in ended.err


def test_sensors_that_agree(planted: Line):
    planted.added("readings", as_csv(readings({"2023-01-10": -7.0})), "l1.csv", "--sensor", "L1")
    planted.added("readings", as_csv(readings({"2023-01-10": -7.3})), "l2.csv", "--sensor", "L2")
    ended = planted.done("freezes", "--apart", "--csv", "-")
    assert ended.rows == []
    assert "No two sensors differ" in ended.err


def test_who_answers_for_each_plant_and_why(silent: Line):
    rows = silent.csv("exposures", "--why")
    assert [row["plant"] for row in rows] == ["T1", "T2", "T3"]
    assert {row["sensor"] for row in rows} == {"L1"}
    assert {row["why"] for row in rows} == {"a logger of its block"}
    assert {row["asked"] for row in rows} == {"L1;ST-9"}
    assert all(int(row["events"]) > int(row["estimated"]) >= 1 for row in rows)


def test_all_readings_go_into_one_file(silent: Line, tmp_path):
    path = tmp_path / "out.nc"
    ended = silent.done("export", "readings", str(path))
    assert ended.out == ""
    assert "of 2 sensors in" in ended.err and "0 masked" in ended.err
    with xr.open_dataset(path, engine="h5netcdf") as dataset:
        assert dataset["sensor"].to_numpy().tolist() == ["L1", "ST-9"]
        assert dataset.attrs["featureType"] == "timeSeries"
        assert float(dataset["air_temperature"].min()) == -9.0  # what is estimated is no reading
        assert dataset["row_size"].to_numpy().tolist() == [56 * 24, 61 * 24]
    silent.done("export", "readings", str(path), "--sensor", "ST-9")
    with xr.open_dataset(path, engine="h5netcdf") as dataset:
        assert dataset["sensor"].to_numpy().tolist() == ["ST-9"]


def test_an_unknown_sensor_or_place_is_wrong_use(silent: Line, tmp_path):
    ended = silent("export", "readings", str(tmp_path / "out.nc"), "--sensor", "ST-8")
    assert ended.code == 2
    assert "'ST-8', which has no readings" in ended.err and "ST-9" in ended.err
    assert silent("export", "readings", str(tmp_path / "nowhere" / "out.nc")).code == 2
    assert not list(tmp_path.glob("*.nc"))


def test_nothing_to_export_yet(line: Line, tmp_path):
    ended = line("export", "readings", str(tmp_path / "out.nc"))
    assert ended.code == 0 and not (tmp_path / "out.nc").exists()
    assert "no readings to export yet" in ended.err
