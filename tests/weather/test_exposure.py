"""What a freeze was: closed forms, brute force, and what must not change the numbers."""

import tracemalloc

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

from hardiness.errors import InputError, UnitsError
from hardiness.schema import column_names, measure_columns
from hardiness.settings import FreezeRules
from hardiness.units import parse_temperature
from hardiness.weather import exposure
from hardiness.weather import held as held_module
from hardiness.weather import line as line_module
from hardiness.weather.exposure import freezes_of, measure_freezes, measure_series
from hardiness.weather.freezes import find_spans
from hardiness.weather.gaps import HOUR_NS
from hardiness.weather.line import line_of
from hardiness.weather.series import series_of

START = np.datetime64("2031-12-14T00", "ns")
PROPERTY = settings(max_examples=60, deadline=None, derandomize=True)  # the same examples in every run


def at(hours) -> np.ndarray:
    return START + np.rint(np.asarray(hours, dtype=float) * HOUR_NS).astype("timedelta64[ns]")


def air(hours, degrees) -> xr.DataArray:
    return xr.DataArray(np.asarray(degrees, dtype=float), {"time": at(hours)}, attrs={"units": "degC"})


def hours_from_start(times: pd.Series) -> list[float]:
    return ((times.dt.tz_localize(None) - pd.Timestamp(START)) / pd.Timedelta(hours=1)).tolist()


# Closed forms -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("every_min", [5, 15, 60])
@pytest.mark.parametrize("top, bottom", [(6.0, -6.0), (3.0, -9.3), (1.7, -4.1)])
def test_a_triangle_wave_has_its_closed_form(every_min, top, bottom):
    # 24 h from top to bottom and back; below x for 24 (x - bottom) / (top - bottom) hours
    hours = np.arange(0, 48 + 1e-9, every_min / 60)
    degrees = bottom + (top - bottom) * np.abs((hours % 48) / 24 - 1)
    thresholds, held = (1.0, 0.0, -1.3, -4.0, -20.0), (0.0, 0.5, 1.0, 7.7, 10.0)
    freeze = freezes_of(at(hours), degrees, thresholds_c=thresholds, held_h=held).iloc[0]
    slope = (top - bottom) / 24  # [K/h]
    length = 2 * -bottom / slope
    assert freeze["duration_h"] == pytest.approx(length, abs=1e-9)
    for threshold in thresholds:
        below = np.clip(2 * (threshold - bottom) / slope, 0, length)
        assert freeze[f"hours_le_{threshold:g}_c"] == pytest.approx(below, abs=1e-9)
    for duration in held:
        expected = bottom + slope * duration / 2 if duration <= length else np.nan
        assert freeze[f"held_{duration:g}h_c"] == pytest.approx(expected, abs=1e-9, nan_ok=True)
    assert freeze["degree_hours_c_h"] == pytest.approx(length * -bottom / 2, abs=1e-9)
    assert freeze["fall_rate_c_per_h"] == pytest.approx(slope, abs=1e-9)
    assert freeze["coverage"] == 1.0
    assert freeze["minimum_c"] == bottom
    assert freeze["sd_c"] == pytest.approx(0.5)


@pytest.mark.parametrize(
    # hours and degree hours of T(t) = mean + amplitude cos(2 pi t / 24) below a threshold:
    # d = mean - threshold, theta = arccos(d / amplitude): 24 theta / pi and 24 / pi (amplitude sin theta - d theta)
    "mean, amplitude, threshold, hours, degree_hours",
    [
        (0, 6, -2.2, 9.131975, 22.553867),
        (2, 8, -2.2, 7.777568, 19.349753),
        (0, 6, 0, 12.0, 45.836624),
        (-5, 4, -6.7, 8.646578, 12.961488),
    ],
)
def test_a_cosine_day_has_its_closed_form(mean, amplitude, threshold, hours, degree_hours):
    times = np.arange(0, 24 + 1e-9, 1 / 360)  # every 10 s, from the warmest hour to the next
    degrees = mean + amplitude * np.cos(2 * np.pi * times / 24)
    freeze = freezes_of(at(times), degrees, onset_c=threshold, damaging_c=threshold, thresholds_c=(threshold,)).iloc[0]
    assert freeze[f"hours_le_{threshold:g}_c"] == pytest.approx(hours, abs=2e-6)
    assert freeze["degree_hours_c_h"] == pytest.approx(degree_hours, abs=2e-5)


def test_hourly_readings_of_a_cosine_day_stay_close_and_exact_for_their_line():
    hours = np.arange(25)
    freeze = freezes_of(at(hours), 6 * np.cos(2 * np.pi * hours / 24), thresholds_c=(-2.2,)).iloc[0]
    assert freeze["hours_le_-2.2_c"] == pytest.approx(9.10567, abs=5e-6)  # the straight line through hourly readings
    assert freeze["hours_le_-2.2_c"] == pytest.approx(9.131975, abs=0.06)  # the cosine itself


def test_a_level_freeze_is_held_at_its_level():
    freeze = freezes_of(at([0, 1, 2, 3, 4, 5]), [4, -4, -4, -4, -4, 4.0], held_h=(1, 3, 3.5, 4, 5)).iloc[0]
    # 3 h level, then 2 x 0.5 h from -4 to 0
    assert [freeze[f"held_{h}h_c"] for h in ("1", "3", "3.5", "4")] == pytest.approx([-4, -4, -2, 0], abs=1e-9)
    assert np.isnan(freeze["held_5h_c"])


def test_five_numbers_by_hand():
    # hours 0..4: 2, -2, -6, -2, 2; crossings at 0.5 and 3.5
    freeze = freezes_of(at(range(5)), [2, -2, -6, -2, 2], thresholds_c=(0, -2, -4, -6), held_h=(1, 2)).iloc[0]
    assert hours_from_start(pd.Series([freeze["starts"], freeze["ends"]])) == [0.5, 3.5]
    assert freeze[[f"hours_le_{t}_c" for t in (0, -2, -4, -6)]].tolist() == pytest.approx([3, 2, 1, 0], abs=1e-9)
    assert freeze[["held_1h_c", "held_2h_c"]].tolist() == pytest.approx([-4, -2], abs=1e-9)
    assert freeze["degree_hours_c_h"] == pytest.approx(0.5 * 1 + 4 + 4 + 0.5 * 1, abs=1e-9)
    assert freeze["fall_rate_c_per_h"] == pytest.approx(4.0, abs=1e-9)


def test_a_threshold_above_onset_counts_inside_the_freeze_only():
    # falls through 5 well before it starts; 2 h of thaw inside count
    freeze = freezes_of(at(range(11)), [9, 6, -3, -3, 3, 3, 3, -3, -3, 6, 9], thresholds_c=(0, 5)).iloc[0]
    assert freeze["hours_le_5_c"] == pytest.approx(freeze["duration_h"], abs=1e-9)
    assert freeze["hours_le_0_c"] == pytest.approx(freeze["duration_h"] - 3, abs=1e-9)


# Gaps and cut ends --------------------------------------------------------------------------------------------------


def test_a_gap_counts_nowhere_and_lowers_the_coverage():
    # cold from 0 to 20, no reading between 5 and 15
    hours = [-1, 0, 1, 2, 3, 4, 5, 15, 16, 17, 18, 19, 20, 21]
    degrees = [4, 0, -4, -4, -4, -4, -4, -4, -4, -4, -4, -4, 0, 4.0]
    freeze = freezes_of(at(hours), degrees, thresholds_c=(0, -4), held_h=(8, 10, 11)).iloc[0]
    assert freeze["duration_h"] == 20.0
    assert freeze["hours_le_0_c"] == pytest.approx(10.0, abs=1e-9)
    assert freeze["hours_le_-4_c"] == pytest.approx(8.0, abs=1e-9)
    assert freeze["held_8h_c"] == -4.0
    assert freeze["held_10h_c"] == pytest.approx(0.0, abs=1e-9)
    assert np.isnan(freeze["held_11h_c"])
    assert freeze["degree_hours_c_h"] == pytest.approx(4 * 8 + 2 * 2, abs=1e-9)
    assert freeze["coverage"] == pytest.approx(0.5, abs=1e-12)
    assert freeze["sd_c"] == pytest.approx(np.sqrt(0.25 + 1.0), abs=1e-12)


def test_each_cut_end_lowers_the_coverage_by_max_gap():
    # hourly: max_gap 3 h; readings begin and end in the cold
    both = freezes_of(at(range(7)), [-3.0] * 7).iloc[0]
    assert both["coverage"] == pytest.approx(6 / 12, abs=1e-12)
    one = freezes_of(at(range(8)), [-3.0] * 7 + [3.0]).iloc[0]
    assert one["coverage"] == pytest.approx(6.5 / 9.5, abs=1e-12)
    given = freezes_of(at(range(7)), [-3.0] * 7, max_gap_h=2).iloc[0]
    assert given["coverage"] == pytest.approx(6 / 10, abs=1e-12)


def test_a_cut_end_takes_the_max_gap_of_its_place():
    # hourly for 80 days with 20 h missing in the cold, then every 10 min for 40 days up to a cold end
    hours = np.concatenate([np.arange(0, 960.0), np.arange(980, 1920.0), np.arange(1920, 2880, 1 / 6)])
    degrees = np.where((hours > 950) & (hours < 990) | (hours > 2870), -5.0, 3.0)
    freezes = measure_freezes(air(hours, degrees), rules=FreezeRules())
    assert freezes["starts_cut"].values.tolist() == [False, True, False]
    assert freezes["ends_cut"].values.tolist() == [True, False, True]
    duration = freezes["duration_h"].values
    assert freezes["coverage"].values == pytest.approx(duration / (duration + np.array([3.0, 3.0, 1.5])), abs=1e-12)
    # over the whole series the median step is 10 min
    whole = freezes_of(at(hours), degrees, max_gap_h=None)
    assert whole["coverage"].to_numpy() == pytest.approx(duration / (duration + 1.5), abs=1e-12)


def test_a_single_cold_reading_is_a_freeze_of_no_length_and_no_coverage():
    freeze = freezes_of(at([0]), [-4.0]).iloc[0]
    assert freeze["duration_h"] == 0.0
    assert freeze["coverage"] == 0.0
    assert freeze["minimum_c"] == -4.0
    assert freeze["sd_c"] == pytest.approx(np.sqrt(0.25 + 4.0))
    assert np.isnan(freeze["held_1h_c"])
    assert np.isnan(freeze["fall_rate_c_per_h"])


def test_a_freeze_that_only_touches_onset_has_no_length_and_full_coverage():
    freeze = freezes_of(at(range(3)), [3, 0, 3.0], damaging_c=0.0, held_h=(0, 1)).iloc[0]
    assert freeze["duration_h"] == 0.0
    assert freeze["coverage"] == 1.0
    assert freeze["held_0h_c"] == 0.0
    assert np.isnan(freeze["held_1h_c"])


def test_fall_rate_needs_an_hour_without_a_gap():
    short = freezes_of(at([0, 0.25, 0.5, 0.75, 1.0]), [1, -1, -3, -1, 1.0]).iloc[0]
    assert short["duration_h"] == pytest.approx(0.75)
    assert np.isnan(short["fall_rate_c_per_h"])
    # 10 K fall across the gap, 2 K/h beside it
    gap = freezes_of(at([0, 1, 2, 3, 9, 10, 11, 12, 13]), [1, -1, -3, -4, -14, -13, -12, -6, 3.0]).iloc[0]
    assert gap["fall_rate_c_per_h"] == pytest.approx(2.0, abs=1e-9)


def test_fall_rate_looks_between_the_readings():
    # steepest over the hour from 0:40 to 1:40: 0.4 + 4.0 K
    hours = [0, 2 / 3, 5 / 6, 7 / 6, 4 / 3, 5 / 3, 3, 4]
    degrees = [0.0, -0.2, -1.2, -2.2, -3.2, -4.6, -4.6, 1.0]
    freeze = freezes_of(at(hours), degrees).iloc[0]
    dense = np.arange(0, 3.8, 1e-4)
    fall = np.interp(dense, hours, degrees) - np.interp(dense + 1, hours, degrees)
    inside = dense + 1 <= 3 + 4.6 / 5.6
    assert freeze["fall_rate_c_per_h"] == pytest.approx(fall[inside].max(), abs=1e-3)
    assert freeze["fall_rate_c_per_h"] == pytest.approx(4.4, abs=1e-9)


# Brute force --------------------------------------------------------------------------------------------------------

readings = st.tuples(
    st.lists(st.sampled_from([0.25, 0.5, 1.0, 1.0, 2.0, 6.0, 14.0]), min_size=3, max_size=40),
    st.lists(st.integers(-80, 30).map(lambda tenths: tenths / 10), min_size=41, max_size=41),
)


def stretches(hours, degrees, first, last):
    """(time, low, high) of the bridged line between two instants, in plain Python."""
    for a, b, x, y in zip(hours, hours[1:], degrees, degrees[1:], strict=False):
        if b - a > 3 or b <= first or a >= last:
            continue
        from_, to = max(a, first), min(b, last)
        ends = [x + (y - x) * (t - a) / (b - a) for t in (from_, to)]
        yield to - from_, min(ends), max(ends)


def hours_at_or_below(parts, threshold):
    total = 0.0
    for time, low, high in parts:
        if high <= threshold + 1e-12:
            total += time
        elif low < threshold:
            total += time * (threshold - low) / (high - low)
    return total


@PROPERTY
@given(readings, st.sampled_from([0.5, 1.0, 2.0, 4.0, 9.0]))
def test_hours_and_held_temperatures_agree_with_plain_sums(series, held_h):
    hours = np.concatenate(([0.0], np.cumsum(series[0])))
    degrees = np.array(series[1][: hours.size])
    thresholds = (0, -2, -4.5)
    freezes = freezes_of(at(hours), degrees, thresholds_c=thresholds, held_h=(held_h,), max_gap_h=3)
    firsts, lasts = hours_from_start(freezes["starts"]), hours_from_start(freezes["ends"])
    for row, (first, last) in enumerate(zip(firsts, lasts, strict=True)):
        freeze = freezes.iloc[row]
        parts = list(stretches(hours.tolist(), degrees.tolist(), first, last))
        for threshold in thresholds:
            assert freeze[f"hours_le_{threshold:g}_c"] == pytest.approx(hours_at_or_below(parts, threshold), abs=1e-8)
        held = freeze[f"held_{held_h:g}h_c"]
        bridged = sum(part[0] for part in parts)
        if bridged < held_h - 1e-9:
            assert np.isnan(held)
            continue
        # H bends only at the ends of the stretches: go up them to the first that is enough, then back along the line
        bends = sorted({end for part in parts for end in part[1:]})
        reached = next(bend for bend in bends if hours_at_or_below(parts, bend) >= held_h - 1e-9)
        colder = [bend for bend in bends if bend < reached]
        jump = sum(time for time, low, high in parts if high - low < 1e-12 and abs(low - reached) < 1e-12)
        if colder:
            before, until = hours_at_or_below(parts, colder[-1]), hours_at_or_below(parts, reached) - jump
            if until > held_h > before:
                reached = colder[-1] + (held_h - before) / (until - before) * (reached - colder[-1])
        assert held == pytest.approx(reached, abs=1e-8)


def test_held_temperature_agrees_with_a_dense_reference():
    rng = np.random.default_rng(3)
    hours = np.arange(0, 60, 0.25)
    degrees = np.round(-3 + 5 * np.cos(2 * np.pi * hours / 24) + np.cumsum(rng.normal(0, 0.3, hours.size)) / 3, 1)
    freezes = freezes_of(at(hours), degrees, held_h=(0.5, 1, 3, 8))
    assert len(freezes) >= 1
    freeze = freezes.iloc[0]
    first, last = hours_from_start(freezes["starts"])[0], hours_from_start(freezes["ends"])[0]
    step = 1 / 20000
    dense = np.sort(np.interp(np.arange(first, last, step) + step / 2, hours, degrees))
    for duration in (0.5, 1, 3, 8):
        assert freeze[f"held_{duration:g}h_c"] == pytest.approx(dense[round(duration / step) - 1], abs=2e-3)
    assert freeze["degree_hours_c_h"] == pytest.approx(np.maximum(-dense, 0).sum() * step, abs=1e-3)


@PROPERTY
@given(readings)
def test_measures_hang_together(series):
    hours = np.concatenate(([0.0], np.cumsum(series[0])))
    degrees = np.array(series[1][: hours.size])
    freezes = freezes_of(at(hours), degrees, thresholds_c=(0, -1, -2, -3, -20), held_h=(0, 0.5, 1, 2, 4), max_gap_h=3)
    le = freezes[[f"hours_le_{t}_c" for t in (0, -1, -2, -3, -20)]].to_numpy()
    assert (np.diff(le, axis=1) <= 1e-9).all()  # colder, never longer
    held = freezes[[f"held_{h}h_c" for h in ("0", "0.5", "1", "2", "4")]].to_numpy()
    assert (np.nan_to_num(np.diff(held, axis=1)) >= -1e-9).all()  # longer, never colder
    assert (held[:, 0] == freezes["minimum_c"]).all()
    assert ((freezes["coverage"] >= 0) & (freezes["coverage"] <= 1)).all()
    assert (freezes["minimum_c"] <= -2).all()
    assert (freezes["starts"].to_numpy()[1:] > freezes["ends"].to_numpy()[:-1]).all()
    assert (freezes["degree_hours_c_h"] <= -freezes["minimum_c"] * freezes["duration_h"] + 1e-9).all()


def test_the_line_is_the_readings_and_the_two_crossings():
    series = series_of(at(range(5)), [2, -2, -6, -2, 2])
    line = line_of(series, find_spans(series, FreezeRules()), 0.0)
    assert line.temperatures.tolist() == [0, -2, -6, -2, 0]
    assert (line.length / HOUR_NS).tolist() == [0.5, 1, 1, 0.5]


# What must not change the numbers -----------------------------------------------------------------------------------


def winter_series(seed: int, days: int = 40) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    hours = np.arange(0, 24 * days, 0.5)
    weather = np.interp(hours / 24, np.arange(days + 1), np.cumsum(rng.normal(0, 1.5, days + 1)) * 0.7)
    degrees = np.round(1 + weather + 4 * np.cos(2 * np.pi * (hours - 15) / 24), 1)
    keep = rng.random(hours.size) > 0.02
    for gap in rng.integers(0, hours.size, 3):
        keep[gap : gap + 20] = False
    return hours[keep], degrees[keep]


def same(one: pd.DataFrame, other: pd.DataFrame, abs_: float = 1e-9) -> None:
    assert len(one) == len(other)
    for name in ("starts", "ends"):
        assert ((one[name] - other[name]).abs() <= pd.Timedelta(4, "ns")).all()
    numbers = one.columns.difference(["starts", "ends"])
    np.testing.assert_allclose(one[numbers].to_numpy(), other[numbers].to_numpy(), rtol=0, atol=abs_)


@pytest.mark.parametrize("seed", range(4))
def test_batches_and_blocks_change_no_number(monkeypatch, seed):
    hours, degrees = winter_series(seed, days=80)
    hours = np.append(hours, hours[-1] + 20 + np.arange(0, 400, 0.5))  # and one freeze that is longer than any batch
    degrees = np.append(degrees, np.round(-5 + 4 * np.sin(np.arange(800) / 7.3 + seed), 1))
    held = (0.0, 1.0, 4.0, 60.0)
    whole = freezes_of(at(hours), degrees, held_h=held)
    assert len(whole) > 3 and whole["duration_h"].max() > 300
    monkeypatch.setattr(exposure, "BATCH", 60)
    for module in (line_module, held_module):
        monkeypatch.setattr(module, "BLOCK", 7)
    same(whole, freezes_of(at(hours), degrees, held_h=held))


@pytest.mark.parametrize(("kind", "most"), [("nights", 50), ("one freeze", 90)])
def test_memory_grows_with_the_longest_freeze_and_not_with_the_years(monkeypatch, kind, most):
    # bytes for each reading beyond the readings themselves; 60 and 120 when all freezes were measured at once
    monkeypatch.setattr(exposure, "BATCH", 20_000)
    for module in (line_module, held_module):
        monkeypatch.setattr(module, "BLOCK", 10_000)
    hours = np.arange(400_000) / 360
    series = series_of(at(hours), np.round((0.5 if kind == "nights" else -6) - 4 * np.cos(2 * np.pi * hours / 24), 2))
    tracemalloc.start()
    try:
        measured = measure_series(series, FreezeRules())
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert measured.sizes["freeze"] == (1 if kind == "one freeze" else 47)
    assert peak / hours.size < most, peak / hours.size


@PROPERTY
@given(st.integers(0, 50), st.integers(-10_000, 10_000))
def test_shifting_all_times_shifts_the_freezes_and_nothing_else(seed, days):
    hours, degrees = winter_series(seed, days=12)
    shift = pd.Timedelta(days=days)
    moved = freezes_of(at(hours) + shift.to_timedelta64(), degrees)
    same(moved.assign(starts=moved["starts"] - shift, ends=moved["ends"] - shift), freezes_of(at(hours), degrees))


@PROPERTY
@given(st.integers(0, 50), st.randoms())
def test_the_order_of_the_rows_is_no_matter(seed, random):
    hours, degrees = winter_series(seed, days=12)
    order = list(range(hours.size))
    random.shuffle(order)
    same(freezes_of(at(hours)[order], degrees[order]), freezes_of(at(hours), degrees), 0.0)


@PROPERTY
@given(st.integers(0, 50), st.floats(0, 1), st.integers(0, 20))
def test_two_halves_that_overlap_give_the_freezes_of_the_whole(seed, where, overlap):
    hours, degrees = winter_series(seed, days=12)
    split = int(where * hours.size)
    late, early = slice(max(split - overlap, 0), None), slice(None, split)
    times = np.concatenate([at(hours[late]), at(hours[early])])
    same(freezes_of(times, np.concatenate([degrees[late], degrees[early]])), freezes_of(at(hours), degrees), 0.0)


@PROPERTY
@given(st.integers(0, 50))
def test_readings_in_deg_f_give_the_same_freezes(seed):
    hours, degrees = winter_series(seed, days=12)
    fahrenheit = np.round(degrees * 1.8 + 32, 2)  # tenths of a degC are whole hundredths of a degF
    same(freezes_of(at(hours), (fahrenheit - 32) / 1.8), freezes_of(at(hours), degrees), 1e-8)


def test_a_night_of_the_clock_change_is_as_long_as_it_is():
    # autumn 2031 in New York: 02:00 EDT comes again as 01:00 EST on 2 November; a spring night loses an hour
    for night, length in (("2031-11-01T20:00", 15.0), ("2031-03-08T20:00", 13.0)):
        local = pd.date_range(night, periods=2, freq="14h").tz_localize("America/New_York")
        times = pd.date_range(local[0], local[1], freq="30min")
        degrees = np.full(times.size, -3.0)
        freeze = freezes_of(times, degrees).iloc[0]
        assert freeze["duration_h"] == length
        same(freezes_of(times, degrees), freezes_of(times.tz_convert("UTC").tz_localize(None), degrees), 0.0)


def test_readings_a_rounding_error_off_a_threshold_count_as_at_it():
    # 28.04 degF is -2.2 degC, but (28.04 - 32) / 1.8 is -2.2000000000000011 and others come out above
    tenths = np.arange(-100, 0) / 10
    converted = (np.round(tenths * 1.8 + 32, 2) - 32) / 1.8
    assert (converted > tenths).any()
    assert (converted < tenths).any()
    for level, given_c in zip(tenths[::7], converted[::7], strict=True):
        freeze = freezes_of(at(range(5)), [3, given_c, given_c, given_c, 3], damaging_c=level, thresholds_c=(level,))
        # 2 h level, and the way down and up to it
        assert freeze[f"hours_le_{level:g}_c"].tolist() == pytest.approx([2.0], abs=1e-9)


def test_28_f_is_not_minus_2_2_c():
    rules = FreezeRules(thresholds=(parse_temperature("28 F"), parse_temperature("-2.2 C")))
    readings = air(range(8), [3, -2.2, -2.2, -2.2, -5, -2.2, -2.2, 3])
    hours = measure_freezes(readings, rules=rules)["hours_le"].values[0]
    # -2.2 degC is 28.04 degF: level at -2.2 counts for -2.2 degC only
    assert hours[1] == pytest.approx(5.0, abs=1e-9)
    assert hours[0] == pytest.approx(2 * (5 - 20 / 9) / 2.8, abs=1e-9)


# Forms --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "hours, degrees",
    [([], []), ([0], [1.0]), ([0, 1, 2], [np.nan] * 3), (range(30), [5.0] * 30), (range(30), [-1.0] * 30)],
)
def test_no_freeze_is_an_empty_table_of_the_same_columns(hours, degrees):
    freezes = freezes_of(at(list(hours)), degrees)
    assert freezes.empty
    thresholds = tuple(parse_temperature(f"{t} C") for t in (0, -2, -4, -6, -8, -10))
    assert list(freezes.columns) == column_names(measure_columns(thresholds, (1, 2, 4)))
    assert str(freezes["starts"].dtype) == "datetime64[ns, UTC]"
    assert (freezes.drop(columns=["starts", "ends"]).dtypes == "float64").all()


def test_columns_and_kinds_of_a_table_with_freezes():
    freezes = freezes_of(at(range(5)), [2, -2, -6, -2, 2], thresholds_c=[-2.5, -0.0], held_h=[0.5])
    assert list(freezes.columns) == [
        "starts", "ends", "minimum_c", "duration_h", "hours_le_-2.5_c", "hours_le_0_c", "held_0.5h_c",
        "degree_hours_c_h", "fall_rate_c_per_h", "coverage", "sd_c",
    ]  # fmt: skip
    assert str(freezes["ends"].dtype) == "datetime64[ns, UTC]"
    assert (freezes.drop(columns=["starts", "ends"]).dtypes == "float64").all()


def test_thresholds_and_held_durations_may_be_left_out():
    freezes = freezes_of(at(range(5)), [2, -2, -6, -2, 2], thresholds_c=(), held_h=())
    assert len(freezes) == 1
    assert "degree_hours_c_h" in freezes


def test_senseless_options_are_listed_together():
    with pytest.raises(InputError) as caught:
        freezes_of([], [], thaw_h=0, damaging_c=1, held_h=(1, -1), max_gap_h=0, thresholds_c=(0, np.nan, 0))
    text = str(caught.value)
    for part in ("column thaw_h: found 0", "damaging_c: found 1", "held_h: found -1", "max_gap_h: found 0",
                 "thresholds_c: found nan", "each of them once"):  # fmt: skip
        assert part in text
    assert len(caught.value.problems) == 6


@pytest.mark.parametrize("name", ["onset_c", "thaw_h", "damaging_c", "max_gap_h"])
def test_an_option_that_is_no_number_is_one_problem(name):
    with pytest.raises(InputError) as caught:
        freezes_of([], [], **{name: np.nan})
    (problem,) = caught.value.problems
    assert str(problem).startswith(f"column {name}: found nan; accepted: ")


def test_measured_freezes_say_what_they_are_and_survive_a_file(tmp_path):
    rules = FreezeRules(thresholds=(parse_temperature("28 F"), parse_temperature("-5 C")), held_h=(1.0, 4.0))
    freezes = measure_freezes(air(range(9), [2, -2, -6, -2, -1, -3, -2, -1, 2]), rules=rules)
    assert dict(freezes.sizes) == {"freeze": 1, "threshold": 2, "held": 2}
    for name, variable in freezes.variables.items():
        assert variable.attrs["long_name"], name
        assert "units" in variable.attrs or variable.encoding["units"].startswith("nanoseconds since"), name
    assert freezes["minimum_c"].attrs["standard_name"] == "air_temperature"
    assert freezes["held_c"].attrs["units_metadata"] == "temperature: on_scale"
    assert freezes["degree_hours_c_h"].attrs["standard_name"] == "integral_wrt_time_of_air_temperature_deficit"
    assert freezes["threshold_label"].values.tolist() == ["28_f", "-5_c"]
    assert freezes["threshold"].values == pytest.approx([-20 / 9, -5])
    freezes.to_netcdf(tmp_path / "freezes.nc", engine="h5netcdf")
    with xr.open_dataset(tmp_path / "freezes.nc", engine="h5netcdf") as read:
        xr.testing.assert_equal(read.load(), freezes)


def test_readings_are_left_as_they_were():
    readings = air(range(5), [2, -2, -6, 5e-7, 2])
    before = readings.copy(deep=True)
    measure_freezes(readings, rules=FreezeRules())
    xr.testing.assert_identical(readings, before)


def test_measuring_refuses_readings_in_another_unit():
    with pytest.raises(UnitsError, match="units 'kelvin'"):
        measure_freezes(air([0], [271.0]).assign_attrs(units="kelvin"), rules=FreezeRules())
