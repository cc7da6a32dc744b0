"""Freezes of 100 loggers over a year of 5-minute readings, against merely counting cold samples in pandas.

Run ``python tests/bench/bench_freezes.py [loggers]``. Both work on the same readings in memory, one logger after the
other. Ours: the freezes, their exact hours below six thresholds, three held temperatures, degree hours, fall rate and
coverage. The other: compare, number the spells, group by spell and count, for the same six thresholds; no thaw rule, no
gaps, no straight line.
"""

from __future__ import annotations

import resource
import sys
import time

import numpy as np
import pandas as pd
import xarray as xr

from hardiness.settings import FreezeRules
from hardiness.weather.exposure import measure_freezes

EVERY_MIN = 5
DAYS = 365
PEAK_GB = 2.0


def year_of_readings(rng: np.random.Generator) -> xr.DataArray:
    """A year on the cold edge: seasons, spells of weather, a daily cycle, tenths of a degC; some 40 freezes."""
    times = np.datetime64("2031-07-01", "ns") + np.arange(DAYS * 24 * 60 // EVERY_MIN) * np.timedelta64(EVERY_MIN, "m")
    days = np.arange(times.size) * EVERY_MIN / (24 * 60)
    spells = np.zeros(DAYS + 1)
    for day in range(1, DAYS + 1):
        spells[day] = 0.7 * spells[day - 1] + rng.normal(0, 2.5)
    season = 10 - 9 * np.cos(2 * np.pi * (days - 200) / 365)
    degrees = season + np.interp(days, np.arange(DAYS + 1), spells) + 5 * np.cos(2 * np.pi * (days - 0.6))
    degrees = np.round(degrees + rng.normal(0, 0.1, times.size), 1)
    return xr.DataArray(degrees, {"time": times}, name="air_temperature", attrs={"units": "degC"})


def count_samples(air_temperature: xr.DataArray, rules: FreezeRules) -> pd.DataFrame:
    """Hours at or below each threshold in each spell at or below onset, by counting samples."""
    readings = pd.Series(air_temperature.to_numpy(), index=air_temperature["time"].to_numpy())
    cold = readings <= rules.onset_c
    spell = (cold != cold.shift()).cumsum()
    hours = {}
    for threshold in rules.thresholds:
        below = readings <= threshold.celsius
        hours[threshold.label] = readings[below].groupby(spell[below]).size() * (EVERY_MIN / 60)
    return pd.DataFrame(hours)


def main(loggers: int) -> int:
    """Print rows, seconds, ratio and peak memory; 1 where ours is slower or too big."""
    rng = np.random.default_rng(2031)
    readings = [year_of_readings(rng) for _ in range(loggers)]
    rules = FreezeRules()
    measure_freezes(readings[0][:1000], rules=rules)  # what is loaded at first use is not the question
    count_samples(readings[0][:1000], rules)
    rows = sum(air_temperature.size for air_temperature in readings)
    ours, theirs, freezes = 0.0, 0.0, 0
    for air_temperature in readings:  # in turn, so that a busy machine slows both alike
        begun = time.perf_counter()
        freezes += measure_freezes(air_temperature, rules=rules).sizes["freeze"]
        between = time.perf_counter()
        count_samples(air_temperature, rules)
        ours, theirs = ours + between - begun, theirs + time.perf_counter() - between
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2  # KiB on Linux -> GiB
    print(f"{loggers} loggers, {rows / 1e6:.1f} million readings, {freezes / loggers:.0f} freezes a logger")
    print(f"measure_freezes {ours:.2f} s; counting samples in pandas {theirs:.2f} s; ratio {ours / theirs:.2f}")
    print(f"peak memory of the process, readings and both ways included: {peak:.2f} GiB")
    return int(ours > theirs or peak > PEAK_GB)


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 100))
