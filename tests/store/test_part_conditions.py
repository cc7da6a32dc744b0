"""Conditions of the air in parts: what goes in comes out, old parts stay readable, later files fill what is missing."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from hardiness.read.station_table import station_table
from tests.store.conftest import logger
from tests.store.test_station_intake import add, store  # noqa: F401

TIMES = pd.date_range("2031-12-14T03", periods=4, freq="h")
AIR = [0.5, -1.0, -2.5, -3.0]


def table(**columns) -> str:
    values = pd.DataFrame({"time": TIMES, "temperature_c": AIR, **columns, "source": "isd_lite", "model": False})
    return station_table(values, {"station": "S0001", "latitude": 40.5, "longitude": -3.7, "series": "hourly"})


def test_conditions_come_back_as_they_went_in_with_units_and_names(store, tmp_path):  # noqa: F811
    intake = add(store, table(humidity_percent=[90.0, np.nan, 95.5, 97.0], wind_km_h=[3.6, 7.2, 0.0, 1.8]))
    assert "It also tells relative humidity over water and mean wind: hardiness freezes --air." in intake.said
    told = store.conditions()["ST"]
    assert told["relative_humidity"].values == pytest.approx([90.0, np.nan, 95.5, 97.0], nan_ok=True)
    assert told["wind_speed"].values.tolist() == [1.0, 2.0, 0.0, 0.5]
    assert told["air_temperature"].values.tolist() == AIR
    assert told["time"].values.tolist() == TIMES.values.astype("M8[ns]").tolist()
    assert {name: told[name].attrs["units"] for name in ("relative_humidity", "wind_speed")} == {
        "relative_humidity": "%", "wind_speed": "m s-1"
    }  # fmt: skip
    (part,) = (tmp_path / "trial" / "readings").glob("*.nc")
    with xr.open_dataset(part, engine="h5netcdf") as opened:
        assert opened["wind_speed"].attrs["standard_name"] == "wind_speed"
        assert opened["wind_speed"].dims == opened["air_temperature"].dims
        assert "dew_point" not in opened


def test_a_part_without_conditions_is_read_and_tells_none(store):  # noqa: F811
    intake = add(store, table())
    assert not any("It also tells" in text for text in intake.said)
    assert store.readings()["ST"].values.tolist() == AIR
    assert store.conditions() == {}


def test_hours_fetched_anew_fill_what_older_parts_miss_and_the_first_value_stays(store):  # noqa: F811
    add(store, table())
    again = add(store, table(wind_km_h=[3.6, np.nan, 7.2, 7.2]))
    assert (again.added, again.unchanged) == (0, 4)
    add(store, table(wind_km_h=[36.0, 18.0, 7.2, 7.2]))
    assert store.conditions()["ST"]["wind_speed"].values.tolist() == [1.0, 5.0, 2.0, 2.0]
    assert store.readings()["ST"].values.tolist() == AIR


def test_a_withdrawn_file_tells_nothing_any_more_and_a_reader_keeps_what_stood(store):  # noqa: F811
    intake = add(store, table(wind_km_h=[3.6] * 4))
    before = store.conditions_reader()
    store.withdraw_upload(intake.sha256[:12])
    assert store.conditions() == {}
    assert before()["ST"]["wind_speed"].values.tolist() == [1.0] * 4
    store.withdraw_upload(intake.sha256[:12], undo=True)
    assert list(store.conditions()) == ["ST"]


NIGHT = [0.5, -1.0, -2.5, -3.0]


def test_a_loggers_own_humidity_comes_back_from_its_part(trial):
    damp = logger(NIGHT, step="1h", conditions={"relative_humidity": np.array([88.25, np.nan, 95.5, 97.0])})
    intake = trial.add_readings(damp)
    told = trial.store.conditions()["L1"]
    assert told["relative_humidity"].values == pytest.approx([88.25, np.nan, 95.5, 97.0], nan_ok=True)
    assert told["relative_humidity"].attrs["standard_name"] == "relative_humidity"
    assert told["air_temperature"].values.tolist() == trial.store.readings()["L1"].values.tolist() == NIGHT
    trial.store.withdraw_upload(intake.sha256[:12])
    assert dict(trial.store.conditions()) == {}


def test_an_older_part_without_humidity_is_read_beside_one_with_it(trial):
    trial.add_readings(logger(NIGHT, step="1h"), name="older.csv")
    later = logger(
        [-3.0, -3.5], "2026-01-10T03:00", "1h", conditions={"relative_humidity": np.array([97.0, 98.0]),
                                                            "dew_point": np.array([-3.4, np.nan])}
    )  # fmt: skip
    assert trial.add_readings(later, name="newer.csv").unchanged == 1
    told = trial.store.conditions()["L1"]
    assert told["relative_humidity"].values == pytest.approx([np.nan] * 3 + [97.0, 98.0], nan_ok=True)
    assert told["dew_point"].values == pytest.approx([np.nan] * 3 + [-3.4, np.nan], nan_ok=True)
    assert trial.store.readings()["L1"].values.tolist() == [*NIGHT, -3.5]
    assert "L2" not in trial.store.conditions()
