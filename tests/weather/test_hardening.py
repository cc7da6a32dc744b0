"""The weeks before a freeze: hours at or below 10 degC in 500 h, and the mean temperature of 14 days."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from hardiness.settings import Settings
from hardiness.weather.events import freezes_table
from hardiness.weather.hardening import hardening_before, hardening_hours, mean_before
from hardiness.weather.series import Series, series_of

START = np.datetime64("2031-11-01T00", "ns")
HILL = Settings("Hill", "UTC", latitude=40.0)


def hours(*values: float) -> np.ndarray:
    return START + (np.array(values, dtype=float) * 3600e9).astype("timedelta64[ns]")


def hourly(degrees: np.ndarray) -> Series:
    return series_of(hours(*range(len(degrees))), degrees)


def index_at(series: Series, hour: float) -> float:
    return float(hardening_hours(series, hours(hour).astype(np.int64))[0])


@pytest.mark.parametrize(
    ("degrees", "index"),
    # The index of Ebel et al. 2005 (J. Amer. Soc. Hort. Sci. 130:500) counts hours at or below 10 degC out of 500.
    [(np.full(501, 8.0), 500.0), (np.full(501, 10.0), 500.0), (np.full(501, 10.1), 0.0),
     (np.r_[np.full(250, 12.0), 10.0, np.full(250, 8.0)], 250.0)],
)  # fmt: skip
def test_hardening_hours_by_hand(degrees, index):
    assert index_at(hourly(degrees), 500) == pytest.approx(index, abs=1e-9)


def test_fifty_fahrenheit_is_at_ten_degrees():
    assert index_at(hourly(np.full(501, (50.0 - 32.0) / 1.8 + 3e-7)), 500) == 500.0


def test_only_the_500_hours_before_count_and_a_part_of_a_step_counts_as_a_part():
    """Cold until 99 h, at 10 degC at 99.5 h, warm after: from 595.5 h the span reaches back to 95.5 h."""
    series = hourly(np.r_[np.full(100, 8.0), np.full(600, 12.0)])
    assert index_at(series, 595.5) == pytest.approx(4.0, abs=1e-9)
    assert float(mean_before(series, hours(595.5).astype(np.int64), span_h=500.0)[0]) == pytest.approx(
        12.0 - (4.0 * (99 - 95.5) + 2.0) / 500.0
    )


def test_gaps_are_scaled_up_to_a_fifth_and_no_further():
    keep = np.ones(501, dtype=bool)
    keep[201:300] = False  # a gap of 100 h, not bridged: exactly 80 % is
    degrees = np.where(np.arange(501) < 200, 8.0, 12.0)
    few, more = (series_of(hours(*np.flatnonzero(mask)), degrees[mask]) for mask in (keep, _wider(keep)))
    assert index_at(few, 500) == pytest.approx((199 + 0.5) / 400 * 500)
    assert np.isnan(index_at(more, 500))
    assert np.isnan(mean_before(more, hours(500).astype(np.int64), span_h=500.0)).all()
    assert np.isnan(index_at(hourly(np.full(300, 8.0)), 299))  # readings begin too late
    assert np.isnan(index_at(series_of(hours(3.0), [8.0]), 500))


def _wider(keep: np.ndarray) -> np.ndarray:
    wider = keep.copy()
    wider[300] = False
    return wider


def test_both_agree_with_a_dense_grid():
    rng = np.random.default_rng(8)
    at = np.sort(rng.choice(np.arange(0, 900, 0.25), 1500, replace=False))
    at[0], degrees = 0.0, 10.0 + np.cumsum(rng.normal(0.0, 0.5, 1500))
    series = series_of(hours(*at), degrees, max_gap_h=100.0)
    grid = np.arange(880.3 - 500.0, 880.3, 0.01) + 0.005
    inside = np.interp(grid, at, degrees)
    assert 20 < index_at(series, 880.3) < 480
    assert index_at(series, 880.3) == pytest.approx((inside <= 10.0).sum() * 0.01, abs=0.05)
    mean = float(mean_before(series, hours(880.3).astype(np.int64))[0])
    assert mean == pytest.approx(inside[grid > 880.3 - 336.0].mean(), abs=1e-3)


def test_each_freeze_is_measured_by_its_own_sensor_with_its_offset():
    """L2 reads 1 K too cold: with its offset the air before the freeze was at 10.5, not at 9.5 degC."""
    time = hours(*range(700))
    degrees = np.full(700, 9.5)
    degrees[600:610] = [3.0, -1.5, -4.0, -6.0, -6.0, -6.0, -4.0, -2.0, 2.0, 6.0]
    air = xr.DataArray(degrees, {"time": time}, attrs={"units": "degC"})
    sensors = pd.DataFrame({"sensor": ["L1", "L2"], "offset_c": [np.nan, 1.0]})
    readings = {"L1": air, "L2": air}
    freezes = freezes_table(readings, sensors, HILL)
    before = hardening_before(freezes, readings, sensors, HILL)
    assert list(before.index) == ["2031-11-26 L1", "2031-11-26 L2"]
    assert before.loc["2031-11-26 L1", "hardening_h"] == pytest.approx(500.0, abs=1e-6)
    fall_h = (1.0 - 0.5 / 6.5) + 4.0 / 4.5  # from 10 degC down to 0
    assert before.loc["2031-11-26 L2", "hardening_h"] == pytest.approx(fall_h, abs=1e-6)
    difference = before["mean_before_c"].diff().iloc[-1]
    assert difference == pytest.approx(1.0, abs=0.01)  # its freeze starts some minutes later
    assert hardening_before(freezes.iloc[:0], readings, sensors, HILL).empty
