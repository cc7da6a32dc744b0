"""Radiative, advective, mixed or unknown: by hand, and on a typical year of a station."""

from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pvlib
import pytest
import xarray as xr

from hardiness.errors import UnitsError
from hardiness.weather.exposure import freezes_of
from hardiness.weather.kinds import ADVECTIVE, CALM_M_PER_S, MIXED, RADIATIVE, UNKNOWN, kinds_of

UTC = ZoneInfo("UTC")
TIME = np.datetime64("2031-12-14T18", "ns") + np.arange(40) * np.timedelta64(1, "h")  # to 9 o'clock two days on
FREEZE = pd.DataFrame({"starts": [pd.Timestamp("2031-12-14T20Z")], "ends": [pd.Timestamp("2031-12-16T07Z")]})
NIGHTLY = pd.DataFrame({"starts": [pd.Timestamp("2031-12-14T20Z")], "ends": [pd.Timestamp("2031-12-15T08Z")]})


def conditions(wind: float | np.ndarray, air: float, cloud: float | np.ndarray | None = 0.0) -> xr.Dataset:
    variables = {
        "wind_speed": ("time", np.broadcast_to(wind, TIME.shape), {"units": "m s-1"}),
        "air_temperature": ("time", np.full(TIME.size, air), {"units": "degC"}),
    }
    if cloud is not None:
        variables["cloud_area_fraction"] = ("time", np.broadcast_to(cloud, TIME.shape), {"units": "1"})
    return xr.Dataset(variables, {"time": TIME})


@pytest.mark.parametrize(
    "freeze, given, kind",
    [
        (NIGHTLY, conditions(0.8, -3.0), RADIATIVE),
        (NIGHTLY, conditions(0.8, -3.0, 0.9), MIXED),
        (FREEZE, conditions(6.0, -3.0, 0.9), ADVECTIVE),
        (FREEZE, conditions(6.0, -3.0, None), ADVECTIVE),  # wind by night and frost by day decide without a sky
        (NIGHTLY, conditions(6.0, -3.0), MIXED),  # windy, and over before the day
        (FREEZE, conditions(6.0, 1.0), MIXED),  # windy, and thawing by day
        (NIGHTLY, conditions(0.8, -3.0, None), UNKNOWN),
        (NIGHTLY, conditions(np.nan, -3.0), UNKNOWN),
        (NIGHTLY, conditions(CALM_M_PER_S - 0.01, -3.0), RADIATIVE),
        (FREEZE, conditions(CALM_M_PER_S, -3.0), ADVECTIVE),
    ],
)
def test_kinds_by_hand(freeze, given, kind):
    assert kinds_of(freeze, given, UTC) == [kind]


def test_a_gust_by_day_does_not_make_a_calm_night_windy():
    hour = pd.DatetimeIndex(TIME).hour
    wind = np.where((hour >= 10) & (hour < 18), 9.0, 0.8)
    assert kinds_of(NIGHTLY, conditions(wind, -3.0), UTC) == [RADIATIVE]


def test_a_fifth_of_the_night_may_be_missing_and_no_more():
    wind = np.full(TIME.size, 0.8)
    wind[2:4] = np.nan
    assert kinds_of(NIGHTLY, conditions(wind, -3.0), UTC) == [RADIATIVE]
    wind[2:6] = np.nan
    assert kinds_of(NIGHTLY, conditions(wind, -3.0), UTC) == [UNKNOWN]


def test_the_clock_is_the_zones():
    # 20 to 8 o'clock in Auckland is day in UTC: nothing by night is known on a UTC clock
    shifted = NIGHTLY.apply(lambda column: column - pd.Timedelta(13, "h"))
    moved = conditions(0.8, -3.0).assign_coords(time=TIME - np.timedelta64(13, "h"))
    assert kinds_of(shifted, moved, ZoneInfo("Pacific/Auckland")) == [RADIATIVE]


def test_units_are_converted_and_must_be_named():
    given = conditions(0.8, -3.0)
    mph = given.assign(wind_speed=("time", np.full(TIME.size, 4.9), {"units": "mph"}))
    percent = mph.assign(cloud_area_fraction=("time", np.full(TIME.size, 20.0), {"units": "%"}))
    assert kinds_of(NIGHTLY, percent, UTC) == [RADIATIVE]
    assert kinds_of(NIGHTLY, mph.assign(wind_speed=mph["wind_speed"] * 1.1), UTC) == [MIXED]
    for wrong in ("", "degC", "furlong per fortnite"):
        named = given.assign(wind_speed=given["wind_speed"].assign_attrs(units=wrong))
        with pytest.raises(UnitsError, match=f"wind_speed in units '{wrong}'"):
            kinds_of(NIGHTLY, named, UTC)


def test_a_station_has_both_kinds_and_radiative_nights_cool_faster():
    # NREL TMY3 station 723170 (comes with pvlib): sky cover in tenths, wind in m/s, local standard time UTC-5
    table = pd.read_csv(Path(pvlib.__file__).parent / "data" / "723170TYA.CSV", skiprows=1)
    # months come from different years: put them on one calendar, in order
    time = (pd.Timestamp("2001-01-01T06:00") + pd.to_timedelta(np.arange(len(table)), "h")).to_numpy()
    air = table["Dry-bulb (C)"].to_numpy()
    station = xr.Dataset(
        {
            "air_temperature": ("time", air, {"units": "degC"}),
            "wind_speed": ("time", table["Wspd (m/s)"].to_numpy(), {"units": "m/s"}),
            "cloud_area_fraction": ("time", table["TotCld (tenths)"].to_numpy() / 10, {"units": "1"}),
        },
        {"time": time},
    )
    freezes = freezes_of(time, air)
    kinds = np.array(kinds_of(freezes, station, ZoneInfo("Etc/GMT+5")))
    assert {RADIATIVE, ADVECTIVE} <= set(kinds)
    assert UNKNOWN not in kinds
    lasting = freezes["duration_h"].to_numpy()
    assert np.median(lasting[kinds == RADIATIVE]) < np.median(lasting[kinds == ADVECTIVE])
