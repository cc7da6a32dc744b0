"""Humidity, dew point, wind and sky in files of stations: units, codes, what no air has, what a file lacks."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from hardiness.read.station_data import DailyValues
from hardiness.read.station_table import read_station_table, station_table
from hardiness.read.stations import read_station
from tests.read.test_stations import ISD
from tests.read.test_stations_cf import dataset

HEAD = "2031 12 14 {hour:02d}   -41 {dew:5d} 10208   320 {wind:5d} {sky:5d}     0 -9999\n"


def isd(tmp_path, text):
    path = tmp_path / "123450-99999-2031"
    path.write_text(text)
    return read_station(path)


def test_an_isd_file_tells_dew_point_wind_and_sky_of_each_hour_that_has_a_temperature(tmp_path):
    data = isd(tmp_path, ISD)
    told = data.values.conditions
    assert list(told) == ["dew_point", "wind_speed", "wind_from_direction", "cloud_area_fraction"]
    assert {name: values.tolist() for name, values in told.items()} == {
        "dew_point": [-6.1] * 3, "wind_speed": [2.6] * 3, "wind_from_direction": [320.0] * 3,
        "cloud_area_fraction": [0.25] * 3,
    }  # fmt: skip


def test_a_calm_has_no_direction_in_an_isd_file(tmp_path):
    text = HEAD.format(hour=5, dew=-61, wind=0, sky=0).replace("  320", "    0") + HEAD.format(
        hour=6, dew=-61, wind=9, sky=0
    )
    told = isd(tmp_path, text).values.conditions
    assert told["wind_speed"].tolist() == [0.0, 0.9]
    assert told["wind_from_direction"] == pytest.approx([np.nan, 320.0], nan_ok=True)


@pytest.mark.parametrize(
    "code, share", [(0, 0.0), (4, 0.5), (8, 1.0), (9, None), (10, None), (12, 0.5), (15, 7 / 8), (18, 1.0), (25, None)]
)
def test_the_codes_of_the_sky(tmp_path, code, share):
    text = HEAD.format(hour=5, dew=-61, wind=20, sky=code) + HEAD.format(hour=6, dew=-61, wind=20, sky=8)
    sky = isd(tmp_path, text).values.conditions["cloud_area_fraction"]
    assert (np.isnan(sky[0]) if share is None else sky[0] == share) and sky[1] == 1.0


def test_missing_fields_cut_lines_and_winds_that_no_air_has_leave_the_temperature(tmp_path):
    text = HEAD.format(hour=5, dew=-9999, wind=-9999, sky=-9999) + "2031 12 14 06   -55\n"
    text += HEAD.format(hour=7, dew=-61, wind=4687, sky=0) + HEAD.format(hour=8, dew=-61, wind=15, sky=0)
    data = isd(tmp_path, text)
    assert data.values.temperature_c.tolist() == [-4.1, -5.5, -4.1, -4.1]
    assert np.isnan(data.values.conditions["dew_point"]).tolist() == [True, True, False, False]
    assert np.isnan(data.values.conditions["wind_speed"]).tolist() == [True, True, True, False]
    assert data.said == ["1 value of mean wind that no air has (below 0 or above 75 m s-1) left out."]


def test_an_isd_file_of_temperatures_alone_has_no_conditions(tmp_path):
    assert isd(tmp_path, HEAD.format(hour=5, dew=-9999, wind=-9999, sky=-9999)).values.conditions == {}


def with_beside(**variables) -> xr.Dataset:
    return dataset().assign({
        name: ("obs", np.asarray(values, float), {"standard_name": name, "units": units})
        for name, (values, units) in variables.items()
    })  # fmt: skip


def cf(tmp_path, made: xr.Dataset):
    path = tmp_path / "station.nc"
    made.to_netcdf(path, engine="h5netcdf")
    return read_station(path)


def test_a_cf_file_tells_conditions_by_standard_name_in_its_own_units(tmp_path):
    data = cf(tmp_path, with_beside(
        relative_humidity=([0.5, 0.75, 1.0], "1"), dew_point_temperature=([268.15, 267.15, np.nan], "K"),
        wind_from_direction=([0.0, 270.0, 400.0], "degrees"),
        wind_speed=([3.6, 7.2, 0.0], "km h-1"), cloud_area_fraction=([0.0, 50.0, 100.0], "%"),
    ))  # fmt: skip
    told = data.values.conditions
    assert told["relative_humidity"].tolist() == [50.0, 75.0, 100.0]
    assert told["dew_point"] == pytest.approx([-5.0, -6.0, np.nan], nan_ok=True)
    assert told["wind_speed"].tolist() == [1.0, 2.0, 0.0]
    assert told["wind_from_direction"] == pytest.approx([0.0, 270.0, np.nan], nan_ok=True)
    assert told["cloud_area_fraction"].tolist() == [0.0, 0.5, 1.0]
    (said,) = data.said
    assert said.startswith("1 value of direction that the wind comes from that no air has (below 0 or above 360 deg")


def test_of_several_stations_in_a_cf_file_the_chosen_ones_wind_is_taken(tmp_path):
    attributes = {"standard_name": "air_temperature", "units": "degC", "coordinates": "time name"}
    made = xr.Dataset({
        "tas": (("place", "obs"), [[1.0, 2.0], [-3.0, -4.0]], attributes),
        "w": (("place", "obs"), [[1.0, 1.5], [6.0, 7.0]], {"standard_name": "wind_speed", "units": "m s-1"}),
        "name": ("place", ["hollow", "ridge"], {"cf_role": "timeseries_id"}),
        "time": ("obs", [0.0, 1.0], {"standard_name": "time", "units": "hours since 2031-12-14 05:00:00"}),
    })  # fmt: skip
    path = tmp_path / "station.nc"
    made.to_netcdf(path, engine="h5netcdf")
    data = read_station(path, station_id="ridge")
    assert data.values.temperature_c.tolist() == [-3.0, -4.0]
    assert data.values.conditions["wind_speed"].tolist() == [6.0, 7.0]


def test_a_condition_that_cannot_be_read_is_said_and_the_temperatures_stay(tmp_path):
    made = with_beside(wind_speed=([1.0, 2.0, 3.0], "furlong"), relative_humidity=([50.0, 60.0, 130.0], "%"))
    data = cf(tmp_path, made)
    assert data.values.temperature_c.tolist() == [-4.1, -5.5, -2.2]
    assert list(data.values.conditions) == ["relative_humidity"]
    assert np.isnan(data.values.conditions["relative_humidity"]).tolist() == [False, False, True]
    strange, impossible = data.said
    assert strange.startswith("'wind_speed' in units 'furlong' is left out: mean wind is read in m s-1, m/s, ")
    assert impossible == "1 value of relative humidity over water that no air has (below 1 or above 100 %) left out."


def test_two_winds_in_a_cf_file_are_not_chosen_between(tmp_path):
    made = with_beside(wind_speed=([1.0, 2.0, 3.0], "m s-1"))
    made["gust"] = made["wind_speed"] * 2
    made["gust"].attrs = dict(made["wind_speed"].attrs)
    data = cf(tmp_path, made)
    assert data.values.conditions == {}
    assert data.said == ["2 variables of mean wind (wind_speed and gust): none of them is taken."]


def test_daily_minima_have_no_conditions(tmp_path):
    made = dataset(time=np.array([0.5, 1.5, 2.5]), time_units="days since 2031-12-14", cell_methods="time: minimum")
    made["w"] = ("obs", [1.0, 2.0, 3.0], {"standard_name": "wind_speed", "units": "m s-1"})
    assert isinstance(cf(tmp_path, made).values, DailyValues)


def test_what_goes_into_a_kept_table_comes_out():
    values = pd.DataFrame({
        "time": pd.to_datetime(["2031-12-14T05", "2031-12-14T06"]), "temperature_c": [-4.1, -5.5],
        "cloud_oktas": [2.0, np.nan], "wind_km_h": [5.4, 0.0], "source": "isd_lite", "model": False,
    })  # fmt: skip
    text = station_table(values, {"station": "S0001", "series": "hourly"})
    assert text.splitlines()[3:5] == ["time,temperature_c,wind_km_h,cloud_oktas,source,model",
                                      "2031-12-14T05:00Z,-4.1,5.4,2,isd_lite,no"]  # fmt: skip
    told = read_station_table(text, file="kept.csv").values.conditions
    assert told["wind_speed"].tolist() == [1.5, 0.0]
    assert told["cloud_area_fraction"][0] == 0.25 and np.isnan(told["cloud_area_fraction"][1])


def test_a_table_kept_before_there_were_conditions_is_still_read():
    text = station_table(
        pd.DataFrame(
            {"time": pd.to_datetime(["2031-12-14T05"]), "temperature_c": [-4.1], "source": "x", "model": False}
        ),
        {"station": "S0001"},
    )
    assert text.splitlines()[2] == "time,temperature_c,source,model"
    assert read_station_table(text, file="kept.csv").values.conditions == {}
