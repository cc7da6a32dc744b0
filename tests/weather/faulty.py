"""Faults planted into sound readings: what loggers do wrong, at sizes that matter."""

from dataclasses import dataclass

import numpy as np
import xarray as xr

HOUR = np.timedelta64(3_600_000_000_000, "ns")


@dataclass(frozen=True)
class Planted:
    """Readings with one fault: its kind, the readings, and the span in which it lies."""

    flag: str
    air_temperature: xr.DataArray
    first: np.datetime64
    last: np.datetime64


def readings_of(times, values, like=None):
    attrs = {"units": "degC"} if like is None else dict(like.attrs)
    return xr.DataArray(np.asarray(values, float), {"time": np.asarray(times, "M8[ns]")}, name="air_temperature",
                        attrs=attrs)  # fmt: skip


def _place(air, rng, hours, *, away=0):
    """A stretch of so many hours inside one season, at least ``away`` hours from its ends."""
    times = air["time"].values
    for _ in range(1000):
        first = int(rng.integers(1, times.size - 2))
        begin, end = times[first] - away * HOUR, times[first] + (hours + away) * HOUR
        inside = (times >= begin) & (times <= end)
        whole = inside.sum() >= 0.99 * ((end - begin) / np.median(np.diff(times)))
        if whole and begin >= times[0] and end <= times[-1]:
            return first, int(np.searchsorted(times, times[first] + hours * HOUR))
    raise AssertionError("no room for the fault")


def _changed(flag, air, first, last, values):
    times = air["time"].values
    return Planted(flag, readings_of(times, values, air), times[first], times[last])


def spike(air, rng, size=12.0):
    first, _ = _place(air, rng, 6, away=6)
    values = air.values.copy()
    values[first] += size * rng.choice([-1.0, 1.0])
    return _changed("spike", air, first, first, values)


def impossible(air, rng):
    first, _ = _place(air, rng, 6, away=6)
    values = air.values.copy()
    values[first] = rng.choice([-127.0, 85.0, -99.9])  # what broken probes say
    return _changed("impossible", air, first, first, values)


def stuck(air, rng, hours=36):
    first, last = _place(air, rng, hours, away=24)
    values = air.values.copy()
    values[first : last + 1] = values[first]
    return _changed("stuck", air, first, last, values)


def sign_flip(air, rng):
    """A reading of 6 degC or more, or as much below, that lost its sign."""
    candidates = np.flatnonzero(np.abs(air.values) >= 6.0)
    times = air["time"].values
    even = np.flatnonzero(np.diff(times) == np.median(np.diff(times)))
    first = int(rng.choice(np.intersect1d(candidates, np.intersect1d(even, even + 1))))
    values = air.values.copy()
    values[first] *= -1
    return _changed("sign flip", air, first, first, values)


def zero_plateau(air, rng):
    """Snow over the sensor in the coldest day and a half of a winter."""
    times = air["time"].values
    centre = int(rng.choice(np.argsort(air.values)[:200]))
    first, last = (int(i) for i in np.searchsorted(times, [times[centre] - 18 * HOUR, times[centre] + 18 * HOUR]))
    values = air.values.copy()
    values[first : last + 1] = np.round(rng.choice([0.0, -0.1, 0.1], last + 1 - first), 1)
    return _changed("zero plateau", air, first, min(last, times.size - 1), values)


def sun(air, rng, days=20, size=10.0):
    """A shaft of sun on the sensor from ten to two on clear days."""
    times = air["time"].values
    first, last = _place(air, rng, 24 * days, away=24)
    hour = (times.astype("M8[ns]").astype(np.int64) / 3.6e12) % 24
    shine = np.clip(1 - np.abs(hour - 12) / 2.0, 0, None)
    values = air.values.copy()
    values[first : last + 1] += size * shine[first : last + 1]
    return _changed("sun", air, first, last, values)


def clock_jump(air, rng, hours=2.0):
    first, last = _place(air, rng, 24 * 30, away=24 * 20)
    times = air["time"].values.copy()
    late = np.timedelta64(int(hours * 3.6e12), "ns") * int(rng.choice([-1, 1]))
    times[first : last + 1] += late
    values = air.values
    kept = np.ones(times.size, bool)
    if late > np.timedelta64(0):
        kept[last + 1 :] = times[last + 1 :] > times[last]
    else:
        kept[:first] = times[:first] < times[first]
    return Planted("clock jump", readings_of(times[kept], values[kept], air), times[first], times[last])


def clock_drift(air, rng, hours=3.0):
    """A clock that gains three hours over one season."""
    times = air["time"].values.copy()
    edges = np.flatnonzero(np.diff(times) > 30 * 24 * HOUR)
    firsts, lasts = np.concatenate(([0], edges + 1)), np.concatenate((edges, [times.size - 1]))
    season = int(rng.integers(firsts.size))
    part = slice(firsts[season], lasts[season] + 1)
    share = (times[part] - times[part][0]) / (times[part][-1] - times[part][0])
    times[part] += (share * hours * 3.6e12).astype("m8[ns]")
    return Planted("clock drift", readings_of(times, air.values, air), times[part][0], times[part][-1])


def battery_fade(air, rng):
    """A fourth, a half, then three fourths of readings missing before ten days of silence."""
    first, last = _place(air, rng, 24 * 5, away=24 * 30)
    times = air["time"].values
    share = np.interp(np.arange(times.size), [first, last], [0.2, 0.9])
    gone = np.zeros(times.size, bool)
    gone[first:last] = rng.random(last - first) < share[first:last]
    gone |= (times > times[last]) & (times < times[last] + 240 * HOUR)
    return Planted("battery fade", readings_of(times[~gone], air.values[~gone], air), times[first], times[last])


PLANTERS = (spike, impossible, stuck, sign_flip, zero_plateau, sun, clock_jump, clock_drift, battery_fade)
