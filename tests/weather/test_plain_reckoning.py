"""Freezes of odd winters agree with a plain reckoning from the rules (``tests/weather/plain_reckoning.py``)."""

import datetime as dt
import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from hardiness import schema
from hardiness.flow import Flow, Records
from hardiness.settings import NEVER, Settings
from tests.weather.plain_reckoning import HOUR, Readings, Sensor, freezes_of_trial

LISBON = Settings("Hill", "Europe/Lisbon", latitude=41.2, longitude=-7.5)
NEW_YORK = Settings("Hill", "America/New_York", latitude=42.0, longitude=-74.0)
SANTIAGO = Settings("Valley", "America/Santiago", latitude=-33.0, longitude=-70.0)  # a night without midnight
LORD_HOWE = Settings("Isle", "Australia/Lord_Howe", latitude=-31.5, longitude=159.0)  # the clock moves half an hour
HELSINKI = Settings("North", "Europe/Helsinki", latitude=67.0, longitude=26.0)
PLACES = (LISBON, NEW_YORK, SANTIAGO, LORD_HOWE, HELSINKI)
NEAR_GAP = 1.0 / 3600  # [h] a second more than is bridged


def instant(text: str) -> int:
    return pd.Timestamp(text, tz="UTC").value


def course(seed: int, start: str, days: int, every_min: float, *, mean: float = -1.0, swing: float = 5.0,
           step: float = 0.1) -> dict[int, float]:  # fmt: skip
    """Weather that wanders, in steps of a tenth or of a whole degree, so that thresholds are met exactly."""
    rng = np.random.default_rng(seed)
    hours = np.arange(int(days * 1440 / every_min)) * every_min / 60
    fronts = np.cumsum(rng.normal(0, 1.5, days + 3))
    fronts -= np.linspace(fronts[0], fronts[-1], fronts.size)
    degrees = mean + swing * np.cos(2 * np.pi * (hours - 14) / 24) + rng.normal(0, 0.15, hours.size)
    degrees = np.round((degrees + np.interp(hours, np.arange(fronts.size) * 24, fronts)) / step) * step + 0.0
    times = instant(start) + (hours * HOUR).round().astype(np.int64)
    return dict(zip(times.tolist(), degrees.tolist(), strict=True))


def with_gaps(readings: Readings, seed: int, hours: list[float]) -> dict[int, float]:
    """Take readings out, so that steps of just these lengths are left."""
    rng, left, times = np.random.default_rng(seed), dict(readings), sorted(readings)
    for lasting in hours:
        before = times[int(rng.integers(5, len(times) - 5))]
        after = round(before + lasting * HOUR)
        value = next((readings[t] for t in times if t >= after), 0.0)
        left = {t: x for t, x in left.items() if not before < t < after} | {after: value}
        left.setdefault(before, readings[before])
    return left


def text_of(time: int) -> str:
    return f"{pd.Timestamp(time).isoformat(timespec='seconds')}Z"


def flow_of(sensors: dict[str, Sensor], settings: Settings, /, **more: list[dict[str, object]]) -> Flow:
    air = {}
    for name, sensor in sensors.items():
        times = sorted(sensor.readings)
        degrees = [sensor.readings[time] for time in times]
        air[name] = xr.DataArray(degrees, {"time": np.array(times, "M8[ns]")}, ("time",), attrs={"units": "degC"})
    rows = {
        "sensors": [{"sensor": name, "offset_c": one.offset_c, "accuracy_c": one.accuracy_c,
                     "shielded": "yes" if one.shielded else "no"} for name, one in sensors.items()],
        "masks": [{"sensor": name, "from": text_of(first), "to": text_of(last), "verdict": "mask"}
                  for name, one in sensors.items() for first, last in one.masks],
        "calibrations": [{"sensor": name, "from": day, "offset_c": offset}
                         for name, one in sensors.items() for day, offset in one.offsets],
    } | more  # fmt: skip
    tables = {
        name: pd.DataFrame(rows.get(name, []), columns=list(table.names))
        for name, table in schema.RECORD_TABLES.items()
    }
    return Flow(Records(air, **tables), replace(settings, transfer=NEVER))


def compare(sensors: dict[str, Sensor], settings: Settings) -> int:
    """Hold the package's table against the plain one; say how many freezes there are."""
    found, plain = flow_of(sensors, settings).freezes, freezes_of_trial(sensors, settings)
    assert len(found) == len(plain)
    for column in plain.columns:
        if column in ("starts", "ends"):
            off = found[column].to_numpy("M8[ns]").astype(np.int64) - plain[column].to_numpy(float)
            assert np.abs(off).max(initial=0) < 1e6, column  # a thousandth of a second
        elif plain[column].dtype.kind == "f":
            np.testing.assert_allclose(found[column], plain[column], rtol=0, atol=2e-6, err_msg=column)
        else:
            assert found[column].tolist() == plain[column].tolist(), column
    return len(found)


MOVED = [(dt.date(2031, 12, 15), -0.5), (dt.date(2031, 12, 24), 0.0)]
NIGHTS = [(instant(f"2031-12-{day:02d}T04:00"), instant(f"2031-12-{day:02d}T08:00")) for day in range(2, 18, 2)]
ODD = {
    "over New Year, two loggers": (NEW_YORK, {"L1": Sensor(course(2, "2031-12-22", 16, 30)),
                                              "L2": Sensor(course(3, "2031-12-22", 16, 60))}),
    "clocks go forward": (LISBON, {"L1": Sensor(course(4, "2032-03-20", 16, 20))}),
    "clocks go back": (NEW_YORK, {"L1": Sensor(course(5, "2031-10-25", 15, 20))}),
    "clocks move half an hour": (LORD_HOWE, {"L1": Sensor(course(7, "2032-03-28", 16, 20))}),
    "a calibration on the day without midnight": (
        SANTIAGO, {"L1": Sensor(course(6, "2031-08-28", 16, 30), offsets=[(dt.date(2031, 9, 7), -0.4)])}),
    "thresholds met exactly": (LISBON, {"L1": Sensor(course(10, "2031-12-01", 40, 60, step=1.0))}),
    "tenths of a degree F": (LISBON, {"L1": Sensor({time: (round(x * 1.8 + 32, 1) - 32) / 1.8
                                                    for time, x in course(13, "2031-12-01", 30, 60).items()})}),
    "gaps about the least": (LISBON, {"L1": Sensor(with_gaps(
        course(14, "2031-12-01", 40, 20), 1, [1.5, 1.5, 1.5 + NEAR_GAP, 2, 12, 12 + NEAR_GAP, 12, 5, 30]))}),
    "gaps about three intervals": (LISBON, {"L1": Sensor(with_gaps(
        course(15, "2031-12-01", 60, 60), 2, [3, 3, 3 + NEAR_GAP, 12, 12.5, 13, 40, 4]))}),
    "every three hours": (NEW_YORK, {"L1": Sensor(with_gaps(
        course(16, "2031-12-01", 90, 180), 3, [9, 9, 9 + NEAR_GAP, 12, 12 + NEAR_GAP, 15, 48]))}),
    "every minute": (LISBON, {"L1": Sensor(with_gaps(course(17, "2031-12-30", 3, 1), 4, [0.5, 1.5, 1.51]))}),
    "an interval that was changed": (LISBON, {"L1": Sensor(with_gaps(
        {**course(20, "2031-12-01", 20, 20), **course(21, "2031-12-21", 40, 180)}, 5, [2, 5, 9, 9.5, 6]))}),
    "months without a thaw": (HELSINKI, {"L1": Sensor(course(23, "2031-10-15", 200, 180, mean=-14, swing=2))}),
    "a southern winter's end of the year": (SANTIAGO, {"L1": Sensor(course(26, "2031-12-20", 20, 60, mean=-3))}),
    "over the end of June": (HELSINKI, {"L1": Sensor(course(28, "2031-06-25", 12, 60, mean=-2))}),
    "moved and calibrated anew": (LISBON, {"L1": Sensor(course(29, "2031-12-01", 40, 60), offset_c=0.3,
                                                        offsets=MOVED)}),
    "masks over the minima": (LISBON, {"L1": Sensor(course(30, "2031-12-01", 20, 30), masks=NIGHTS)}),
    "five loggers side by side": (NEW_YORK, {
        f"L{n}": Sensor(course(40 + n, "2031-12-01", 20, 60, mean=0.3 * n - 1), shielded=n != 2,
                        accuracy_c=0.2 + 0.1 * n) for n in range(5)}),
    "no reading, and one": (LISBON, {
        "L1": Sensor({time: np.nan if number % 7 == 0 else x
                      for number, (time, x) in enumerate(course(34, "2031-12-01", 20, 60).items())}),
        "L2": Sensor({instant("2031-12-05T03:00"): -5.0})}),
    "a thaw of just twelve hours": (LISBON, {
        name: Sensor({instant("2031-12-01") + hour * HOUR: -3.0 if hour % turn == 0 else warm for hour in range(100)})
        for name, turn, warm in (("L1", 14, 3.0), ("L2", 13, 3.0), ("L3", 24, 3.0))}),
}  # fmt: skip


@pytest.mark.parametrize("name", ODD)
def test_freezes_of_odd_winters_are_those_of_a_plain_reckoning(name):
    settings, sensors = ODD[name]
    assert compare(fresh(sensors), settings) > 0


def fresh(sensors: dict[str, Sensor]) -> dict[str, Sensor]:
    return {name: replace(one, times=[], degrees=[], bridged=[]) for name, one in sensors.items()}


@pytest.mark.parametrize("seed", range(8))
def test_freezes_of_drawn_winters_are_those_of_a_plain_reckoning(seed):
    rng = np.random.default_rng(seed)
    sensors = {}
    for number in range(int(rng.integers(1, 4))):
        every = float(rng.choice([20, 30, 60, 180]))
        start = str(np.datetime64(rng.choice(["2031-12-10", "2032-03-15", "2031-09-01"])) + int(rng.integers(0, 15)))
        mean, step = float(rng.choice([-8, -3, -1, 0])), float(rng.choice([0.1, 0.5]))
        readings = course(int(rng.integers(1e9)), start, int(rng.integers(5, 25)), every, mean=mean, step=step)
        gaps = rng.choice([1.5, 2, 3, 3 + NEAR_GAP, 6, 11.99, 12, 12 + NEAR_GAP, 15, 40], int(rng.integers(0, 8)))
        readings = with_gaps(readings, int(rng.integers(1e9)), [gap for gap in gaps.tolist() if gap * 60 > every])
        whole = [time - time % 1_000_000_000 for time in readings]  # masks are kept in whole seconds
        firsts = [whole[int(rng.integers(len(whole)))] for _ in range(int(rng.integers(0, 3)))]
        sensors[f"L{number}"] = Sensor(
            readings, offset_c=float(rng.choice([0, 0.5])), accuracy_c=0.3, shielded=bool(rng.random() < 0.5),
            masks=[(first, first + int(rng.integers(0, 30)) * HOUR // 2) for first in firsts],
            offsets=[(dt.date(2031, 12, 10) + dt.timedelta(days=30 * n), round(float(rng.normal()), 1))
                     for n in range(int(rng.integers(0, 3)))],
        )  # fmt: skip
    compare(sensors, PLACES[seed % len(PLACES)])


@pytest.mark.parametrize("seed", range(6))
def test_plants_meet_the_freezes_that_a_plain_reckoning_gives_them(seed):
    rng, settings = np.random.default_rng(seed), PLACES[seed % len(PLACES)]
    names = [f"L{number}" for number in range(int(rng.integers(1, 5)))] + ["S0"] * int(rng.integers(0, 2))
    sensors = {}
    for name in names:
        every, start = float(rng.choice([30, 60, 180])), np.datetime64("2031-12-05") + int(rng.integers(0, 10))
        readings = course(int(rng.integers(1e9)), str(start), int(rng.integers(5, 30)), every, step=0.5)
        gaps = [gap for gap in rng.choice([2, 3, 6, 12, 15, 40, 80], 5).tolist() if gap * 60 > every]
        sensors[name] = Sensor(with_gaps(readings, int(rng.integers(1e9)), gaps))
    hangs = [{"sensor": name, "kind": "station" if name == "S0" else "", "block": str(rng.choice(["A", "B", ""])),
              "latitude": 41.3, "longitude": -7.4} for name in names]  # fmt: skip
    plants = []
    for number in range(12):
        planted = dt.date(2031, 12, 1) + dt.timedelta(days=int(rng.integers(0, 20)))
        plants.append({
            "plant": f"T{number:02d}", "selection": "A", "rootstock": "own", "block": str(rng.choice(["A", "B", ""])),
            "sensor": ";".join(rng.permutation(names)[: int(rng.integers(0, 3))]), "planted_on": planted,
            "removed_on": planted + dt.timedelta(days=int(rng.integers(0, 25))) if number % 3 == 0 else None,
        })  # fmt: skip
    flow = flow_of(sensors, settings, sensors=hangs, plants=plants)
    freezes = flow.freezes
    spans = {event: (int(rows["starts"].min().value), int(rows["ends"].max().value))
             for event, rows in freezes.groupby("event")}  # fmt: skip
    for sensor in sensors.values():
        sensor.count(settings)
    met, unknown = set(), set()
    for plant in plants:
        asked = asked_by(plant, hangs)
        stands = (local_midnight(plant["planted_on"], settings),
                  math.inf if plant["removed_on"] is None
                  else local_midnight(plant["removed_on"] + dt.timedelta(days=1), settings))  # fmt: skip
        for event, (begin, end) in spans.items():
            shares = {name: share_covered(sensors[name], begin, end) for name in asked}
            enough = [name for name in asked if shares[name] >= 0.8 - 1e-9]
            speaker = enough[0] if enough else max(asked, key=lambda name: shares[name], default=None)
            if speaker is None or shares[speaker] == 0:
                if stands[0] <= begin and end <= stands[1]:
                    unknown.add((plant["plant"], event))
                continue
            rows = freezes[(freezes["event"] == event) & (freezes["sensor"] == speaker)]
            met |= {(plant["plant"], row.freeze) for row in rows.itertuples()
                    if row.starts.value >= stands[0] and row.ends.value <= stands[1]}  # fmt: skip
    assert met and set(zip(flow.exposures["plant"], flow.exposures["freeze"], strict=True)) == met
    assert set(zip(flow.exposed.unknown["plant"], flow.exposed.unknown["event"], strict=True)) == unknown


def asked_by(plant: dict[str, object], hangs: list[dict[str, object]]) -> list[str]:
    """Those it names, its block's loggers by name, the trial's only logger, then stations."""
    loggers = sorted((row for row in hangs if row["kind"] == ""), key=lambda row: row["sensor"])
    asked = [name for name in str(plant["sensor"]).split(";") if name]
    asked += [row["sensor"] for row in loggers if plant["block"] and row["block"] == plant["block"]]
    asked += [row["sensor"] for row in loggers] if len(loggers) == 1 else []
    asked += [row["sensor"] for row in hangs if row["kind"] == "station"]
    return list(dict.fromkeys(asked))


def local_midnight(day: dt.date, settings: Settings) -> int:
    return pd.Timestamp(day).tz_localize(settings.zone, ambiguous=True, nonexistent="shift_forward").value


def share_covered(sensor: Sensor, begin: int, end: int) -> float:
    """Share of a span that readings bridge; next to nothing where one lies in it and bridges none."""
    bridged, there = 0, any(begin <= time <= end for time in sensor.times)
    for (one, other), joined in zip(pairwise(sensor.times), sensor.bridged, strict=True):
        if joined and one <= end and other >= begin:
            bridged, there = bridged + max(0, min(other, end) - max(one, begin)), True
    if begin == end:
        return 1.0 if there else 0.0
    return bridged / (end - begin) or (1e-300 if there else 0.0)
