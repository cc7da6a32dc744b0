"""Freezes of stations that report daily minima alone, and hours drawn through daily minima and maxima."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from hardiness import schema
from hardiness.errors import InputError
from hardiness.read.station_data import DAILY_MINIMUM, ESTIMATED
from hardiness.settings import Settings
from hardiness.weather.daily import measure_daily_minima, source_of, widen_estimated
from hardiness.weather.days import local_midnights
from hardiness.weather.events import freezes_table, set_aside
from hardiness.weather.hardening import hardening_before
from hardiness.weather.placing import expose_plants

NEW_YORK = Settings("Hill", "America/New_York", latitude=40.6, longitude=-74.2)
STATION = pd.DataFrame({"sensor": ["ST"], "kind": ["station"], "accuracy_c": [0.5]})


def minima(first: str, *lows: float, series: str = DAILY_MINIMUM) -> xr.DataArray:
    """Daily minima from a local day on; NaN is a day without one."""
    begin = dt.date.fromisoformat(first)
    days = [begin + dt.timedelta(days=n) for n in range(len(lows))]
    times = local_midnights(days, NEW_YORK.zone).astype("M8[ns]")
    return xr.DataArray(list(lows), {"time": times}, ("time",), attrs={"units": "degC", "series": series})


def test_each_day_with_a_damaging_minimum_is_a_freeze_of_its_own():
    table = freezes_table({"ST": minima("2031-12-13", 1.0, -2.0, -6.4, -1.9, -3.0)}, STATION, NEW_YORK)
    assert table["freeze"].tolist() == ["2031-12-14 ST", "2031-12-15 ST", "2031-12-17 ST"]
    assert table["minimum_c"].tolist() == [-2.0, -6.4, -3.0]
    assert set(table["source"]) == {"station"}
    local = pd.DatetimeIndex(table["starts"]).tz_convert(NEW_YORK.zone)
    assert [str(time) for time in local[:1]] == ["2031-12-14 00:00:00-05:00"]
    assert table["duration_h"].tolist() == [24.0, 24.0, 24.0]


@pytest.mark.parametrize(
    "zone, first, hours",
    [
        ("America/Santiago", "2031-09-05", [24.0, 24.0, 23.0, 24.0]),  # no midnight on the 7th: its day begins at 01:00
        ("America/Havana", "2031-10-31", [24.0, 24.0, 25.0, 24.0]),  # two midnights on 2 November
        ("Europe/Lisbon", "2032-03-27", [24.0, 23.0, 24.0, 24.0]),
    ],
)
def test_days_are_whole_where_the_clock_skips_or_repeats_midnight(zone, first, hours):
    begin = dt.date.fromisoformat(first)
    settings = Settings("Hill", zone)
    days = [begin + dt.timedelta(days=n) for n in range(4)]
    times = local_midnights(days, settings.zone).astype("M8[ns]")
    air = xr.DataArray([-5.0] * 4, {"time": times}, ("time",), attrs={"units": "degC", "series": DAILY_MINIMUM})
    table = measure_daily_minima(air, settings)
    assert table["duration_h"].tolist() == hours
    assert table["ends"].tolist()[:-1] == table["starts"].tolist()[1:]


def test_what_daily_minima_cannot_tell_is_missing():
    table = freezes_table({"ST": minima("2031-12-14", -6.4)}, STATION, NEW_YORK)
    rules = NEW_YORK.rules
    names = schema.column_names(schema.measure_columns(rules.thresholds, rules.held_h))
    told = {"starts", "ends", "minimum_c", "duration_h", "coverage", "sd_c"}
    assert table[[name for name in names if name not in told]].isna().all(axis=None)
    assert table["coverage"].tolist() == [0.0]
    assert table.columns.tolist() == schema.column_names(schema.freeze_columns(rules.thresholds, rules.held_h))


def test_daily_minima_are_less_sure_by_what_no_coverage_costs():
    bare = STATION.assign(shielded="no", accuracy_c=0.3)
    assert freezes_table({"ST": minima("2031-12-14", -6.4)}, STATION, NEW_YORK)["sd_c"].tolist() == pytest.approx(
        [np.sqrt(0.5**2 + 2.0**2)]
    )
    assert freezes_table({"ST": minima("2031-12-14", -6.4)}, bare, NEW_YORK)["sd_c"].tolist() == pytest.approx(
        [np.sqrt(0.3**2 + 1.0**2 + 2.0**2)]
    )


def test_the_day_on_which_the_clock_changes_has_its_own_length():
    table = freezes_table({"ST": minima("2032-03-14", -3.0, -3.0)}, STATION, NEW_YORK)
    assert table["duration_h"].tolist() == [23.0, 24.0]


def test_an_offset_is_added_and_a_missing_day_is_none():
    table = freezes_table({"ST": minima("2031-12-14", -1.8, np.nan, -1.0)}, STATION.assign(offset_c=-0.4), NEW_YORK)
    assert table["minimum_c"].tolist() == pytest.approx([-2.2])


def test_a_note_sets_aside_the_freeze_of_its_own_day_and_not_of_the_day_before():
    table = freezes_table({"ST": minima("2031-12-14", -3.0, -4.0, -5.0)}, STATION, NEW_YORK)
    day = dt.date(2031, 12, 15)
    note = pd.DataFrame({"from": [day], "to": [day], "block": [""], "note": ["indoors"], "set_aside": ["yes"]})
    assert set_aside(table, note, STATION, NEW_YORK)["freeze"].tolist() == ["2031-12-15 ST"]


def test_two_minima_of_one_day_are_refused():
    twice = xr.concat([minima("2031-12-14", -3.0), minima("2031-12-14", -4.0)], "time", combine_attrs="override")
    with pytest.raises(InputError, match="different temperatures at one time"):
        measure_daily_minima(twice, NEW_YORK)


def test_no_damaging_day_gives_an_empty_table():
    assert freezes_table({"ST": minima("2031-12-14", 3.0, 2.0)}, STATION, NEW_YORK).empty


PLANTS = pd.DataFrame(
    [{"plant": "T1", "selection": "OL-07", "rootstock": "own", "planted_on": dt.date(2030, 4, 1)}]
).reindex(columns=list(schema.PLANTS.names))
EMPTY = {name: pd.DataFrame(columns=list(table.names)) for name, table in schema.RECORD_TABLES.items()}


def met(readings: dict[str, xr.DataArray], sensors: pd.DataFrame):
    freezes = freezes_table(readings, sensors, NEW_YORK)
    return expose_plants(PLANTS, EMPTY["scores"], freezes, readings, sensors, EMPTY["freeze_notes"], NEW_YORK)


def test_a_plant_meets_the_freezes_of_its_daily_station():
    table = met({"ST": minima("2031-12-13", 1.0, -6.4, 2.0)}, STATION).table
    assert table[["plant", "freeze", "minimum_c"]].to_numpy().tolist() == [["T1", "2031-12-14 ST", -6.4]]


def test_a_day_without_a_minimum_is_not_covered_so_another_sensor_answers():
    hours = pd.date_range("2031-12-12", "2031-12-18", freq="h").to_numpy().astype("M8[ns]")
    cold = (hours >= np.datetime64("2031-12-15T06")) & (hours <= np.datetime64("2031-12-15T12"))
    logger = xr.DataArray(np.where(cold, -5.0, 4.0), {"time": hours}, ("time",), attrs={"units": "degC"})
    sensors = pd.DataFrame({"sensor": ["A", "B"], "kind": ["station", "station"], "latitude": [40.6, 40.9],
                            "longitude": [-74.2, -74.2]})  # fmt: skip
    # the nearer station has minima of the 13th and the 17th, and none in between
    gappy = minima("2031-12-13", 1.0, np.nan, np.nan, np.nan, 1.0).dropna("time")
    assert met({"A": gappy, "B": logger}, sensors).table["sensor"].tolist() == ["B"]
    whole = minima("2031-12-13", 1.0, 1.0, 1.0, 1.0, 1.0)
    assert met({"A": whole, "B": logger}, sensors).table.empty  # the nearer one answers: no freeze there


def test_a_line_through_daily_minima_tells_no_hardening_hours():
    readings = {"ST": minima("2031-11-01", *([2.0] * 43), -6.0)}
    freezes = freezes_table(readings, STATION, NEW_YORK)
    before = hardening_before(freezes, readings, STATION, NEW_YORK)
    assert len(before) == 1
    assert before[["hardening_h", "mean_before_c"]].isna().all(axis=None)


def test_freezes_on_drawn_hours_are_marked_and_widened():
    time = np.datetime64("2031-12-14T18", "ns") + np.arange(5) * np.timedelta64(1, "h")
    air = xr.DataArray([2.0, -2.0, -4.0, -2.0, 2.0], {"time": time}, attrs={"units": "degC", "series": ESTIMATED})
    table = freezes_table({"ST": air}, STATION, NEW_YORK)
    assert table["source"].tolist() == ["estimated"]
    assert table["sd_c"].tolist() == pytest.approx([np.hypot(0.5, 1.4)])
    assert table["held_1h_c"].tolist() == [-3.0]  # hours are there
    measured = air.assign_attrs(series="measured")
    assert freezes_table({"ST": measured}, STATION, NEW_YORK)["sd_c"].tolist() == [0.5]
    assert source_of(measured, "logger") == "logger"
    assert widen_estimated(table, measured) is table
