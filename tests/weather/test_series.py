"""Readings are cleaned, and the steps between them are bridged or not."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from hardiness.errors import InputError, UnitsError
from hardiness.weather.clean import clean, utc_times
from hardiness.weather.gaps import HOUR_NS, longest_bridged
from hardiness.weather.series import Series, series_of, to_series

START = np.datetime64("2031-12-14T00", "ns")


def at(*hours: float) -> np.ndarray:
    return START + (np.array(hours, dtype=float) * HOUR_NS).astype("timedelta64[ns]")


def gap_h(times: np.ndarray, step: int, *, local: bool = True) -> float:
    instants = times.astype(np.int64)
    return float(longest_bridged(instants, np.diff(instants), np.array([step]), local=local)[0] / HOUR_NS)


@pytest.mark.parametrize(
    "times",
    [
        np.array(["2031-12-14T05:00"], dtype="M8[s]"),
        np.array(["2031-12-14T05:00"], dtype="M8[us]"),
        pd.DatetimeIndex(["2031-12-14T00:00"]).tz_localize("America/New_York"),
        pd.Series(pd.to_datetime(["2031-12-14T05:00"])),
        [pd.Timestamp("2031-12-14T06:00", tz="Europe/Berlin")],
        ["2031-12-14T05:00Z"],
    ],
)
def test_instants_of_any_resolution_and_zone_become_utc_nanoseconds(times):
    found = utc_times(times)
    assert found.dtype == np.dtype("M8[ns]")
    assert found[0] == np.datetime64("2031-12-14T05:00", "ns")


def test_numbers_are_no_instants():
    with pytest.raises(InputError, match=r"numbers .*accepted: instants in UTC"):
        utc_times([1.0, 2.0])


def test_text_that_is_no_instant_is_refused():
    with pytest.raises(InputError, match="what is no instant"):
        utc_times(["at dawn"])


def test_readings_are_sorted_and_nan_is_no_reading():
    times, degrees = clean(at(2, 0, 1), [-2.0, 1.0, np.nan])
    assert degrees.tolist() == [1.0, -2.0]
    assert np.diff(times).tolist() == [2 * HOUR_NS]


def test_a_time_repeated_with_one_temperature_is_one_reading():
    times, degrees = clean(at(0, 1, 1, 2), [1.0, -1.0, -1.0, -2.0])
    assert degrees.tolist() == [1.0, -1.0, -2.0]
    assert times.size == 3


def test_a_time_with_two_temperatures_is_refused_by_name():
    with pytest.raises(InputError, match="one time: 2031-12-14T01:00:00Z, 2031-12-14T03:00:00Z; accepted: one temp"):
        clean(at(0, 1, 1, 2, 3, 3), [1.0, -1.0, -1.1, -2.0, -3.0, -3.5])


def test_many_contradicting_times_are_counted():
    hours = np.repeat(np.arange(8.0), 2)
    with pytest.raises(InputError, match="T04:00:00Z and 3 more"):
        clean(at(*hours), np.arange(16.0))


def test_infinite_temperatures_and_lost_times_are_listed_together():
    times = np.append(at(0, 1), np.datetime64("NaT"))
    with pytest.raises(InputError) as caught:
        clean(times, [-1.0, -np.inf, -3.0])
    assert len(caught.value.problems) == 2
    assert "infinite temperatures at 2031-12-14T01:00:00Z" in str(caught.value)
    assert "1 temperatures without a time" in str(caught.value)


def test_a_lost_time_without_a_temperature_is_no_fault():
    times, _ = clean(np.append(at(0), np.datetime64("NaT")), [-1.0, np.nan])
    assert times.size == 1


def test_as_many_times_as_temperatures_are_wanted():
    with pytest.raises(InputError, match="2 times and 3 temperatures"):
        clean(at(0, 1), [1.0, 2.0, 3.0])


def test_words_are_no_temperatures():
    with pytest.raises(InputError, match="what is no number"):
        clean(at(0), ["cold"])


def test_input_is_left_as_it_was():
    times, degrees = at(2, 0, 1), np.array([-2.0, 1.0, np.nan])
    clean(times, degrees)
    assert (times == at(2, 0, 1)).all()
    assert np.array_equal(degrees, [-2.0, 1.0, np.nan], equal_nan=True)


def test_max_gap_is_three_usual_intervals():
    assert gap_h(at(0, 1, 2, 3, 9), 3) == 3.0


def test_max_gap_is_at_least_90_minutes():
    assert gap_h(at(0, 0.1, 0.2, 0.3), 0) == 1.5


def test_a_gap_of_just_max_gap_is_bridged():
    series = series_of(at(0, 1, 2, 3, 6, 7, 8, 9, 10.0, 13.01), np.zeros(10))
    assert series.bridged.tolist() == [True] * 8 + [False]


def test_the_usual_interval_is_that_of_15_days():
    # every 10 minutes for 30 days, then every 2 hours for 30 days: 5 h with none are a gap in the first part only
    times = np.concatenate([np.arange(0, 720, 1 / 6), np.arange(720, 1440, 2.0)])
    early = np.delete(times, np.arange(1000, 1029))
    assert gap_h(at(*early), 999) == 1.5
    late = np.delete(times, [-101, -100])
    assert gap_h(at(*late), late.size - 102) == 6.0
    series = series_of(at(*late), np.zeros(late.size))
    assert series.bridged[-150:].all()
    assert not series_of(at(*late), np.zeros(late.size), local_interval=False).bridged[-100:].any()


def test_the_local_interval_agrees_with_a_plain_median():
    rng = np.random.default_rng(7)
    hours = np.cumsum(
        rng.choice([0.25, 1.0, 1.7, 3.0, 4.0, 200.0, 400.0], size=900, p=[0.3, 0.3, 0.2, 0.1, 0.08, 0.01, 0.01])
    )
    times = at(*hours).astype(np.int64)
    steps = np.diff(times)
    every = np.arange(steps.size)
    found = longest_bridged(times, steps, every, local=True) / HOUR_NS
    for i in every:
        near = (times[:-1] >= times[i] - 360 * HOUR_NS) & (times[1:] <= times[i]) | (
            (times[:-1] >= times[i + 1]) & (times[1:] <= times[i + 1] + 360 * HOUR_NS)
        )
        near[i] = steps[i] <= 360 * HOUR_NS
        expected = max(1.5, 3 * np.median(steps[near]) / HOUR_NS) if near.any() else 1.5
        assert found[i] == pytest.approx(expected, abs=1e-12), i


def test_a_gap_with_no_step_near_is_never_bridged():
    # two readings 20 days apart: neither lies within 15 days of the other
    assert gap_h(at(0, 480), 0) == 1.5
    assert not series_of(at(0, 480), [1.0, 1.0]).bridged[0]


def test_two_readings_are_their_own_usual_interval():
    assert series_of(at(0, 5), [1.0, 1.0]).bridged[0]


def test_a_max_gap_that_is_given_holds_everywhere():
    series = series_of(at(0, 0.5, 1.2, 1.8), np.zeros(4), max_gap_h=0.6)
    assert series.bridged.tolist() == [True, False, True]
    assert (series.max_gap(np.array([-1, 1, 99])) / HOUR_NS).tolist() == [0.6, 0.6, 0.6]


def test_max_gap_at_the_ends_is_that_of_the_nearest_step():
    series = series_of(at(*range(0, 720, 1), *range(720, 1440, 2)), np.zeros(1080))
    assert (series.max_gap(np.array([-1, series.steps.size])) / HOUR_NS).tolist() == [3.0, 6.0]
    assert (series_of(at(0), [1.0]).max_gap(np.array([-1, 0])) / HOUR_NS).tolist() == [1.5, 1.5]


def air(times: np.ndarray, degrees: list[float], **attrs: str) -> xr.DataArray:
    return xr.DataArray(degrees, {"time": times}, name="air_temperature", attrs={"units": "degC", **attrs})


def bridged_hours(series: Series, starts: np.ndarray, ends: np.ndarray) -> list[float]:
    first, last = utc_times(starts).astype(np.int64), utc_times(ends).astype(np.int64)
    return ((series.bridged_until(last) - series.bridged_until(first)) / HOUR_NS).tolist()


def test_bridged_hours_leave_gaps_and_what_lies_outside_the_readings_out():
    readings = to_series(air(at(0, 1, 2, 8, 9), [1.0, 0.0, -1.0, -2.0, -1.0]))
    starts, ends = at(-5, 0.5, 1.5, 3, 8.25), at(20, 1, 8.5, 7, 8.75)
    assert bridged_hours(readings, starts, ends) == [3.0, 0.5, 1.0, 0.0, 0.5]


def test_bridged_hours_of_no_readings_are_none():
    assert bridged_hours(to_series(air(at(), [])), at(0), at(5)) == [0.0]


def test_other_units_and_dims_are_refused():
    with pytest.raises(UnitsError, match="units 'degF'"):
        to_series(air(at(0), [28.0], units="degF"))
    with pytest.raises(UnitsError, match="units ''"):
        to_series(xr.DataArray([1.0], {"time": at(0)}))
    with pytest.raises(InputError, match="one sensor at a time"):
        to_series(xr.DataArray([[1.0]], {"time": at(0)}, ("sensor", "time"), attrs={"units": "degC"}))
