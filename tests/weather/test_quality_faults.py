"""Faults planted into the demo's readings: large ones are found, and nothing else is.

Of 24 faults of each kind, seed 7, beside three neighbours: at least nine in ten are found under their own name, and no
more than a fourth of the runs raise any other flag. Sound readings of 29 sensor-months raise none but the demo's own.
"""

import numpy as np
import pandas as pd
import pytest

from hardiness.demo import DEMO_STEPS, demo_folder
from hardiness.read.loggers import read_logger
from hardiness.settings import SETTINGS_FILE
from hardiness.settings_reading import read_settings
from hardiness.weather.quality import find_flags
from tests.weather.faulty import PLANTERS, readings_of

FREEZER = ("L-MID", "2024-02-06")  # the demo's own fault: a logger carried indoors, then into a freezer


@pytest.fixture(scope="module")
def trial():
    return read_settings(demo_folder() / SETTINGS_FILE)


@pytest.fixture(scope="module")
def readings(trial):
    parts, zones = {}, {}
    for step in DEMO_STEPS:
        if step.table == "readings":
            sensor = step.options["sensor"]
            zones[sensor] = step.options.get("timezone", zones.get(sensor, trial.timezone))
            file = read_logger(demo_folder() / step.file, timezone=None, default_timezone=zones[sensor])
            parts.setdefault(sensor, []).append(file.air_temperature.to_series())
    joined = {sensor: pd.concat(series) for sensor, series in parts.items()}
    joined = {sensor: series[~series.index.duplicated()].sort_index() for sensor, series in joined.items()}
    return {sensor: readings_of(series.index.values, series.to_numpy()) for sensor, series in sorted(joined.items())}


def odd(readings, trial):
    """Flags but gaps, without those on the demo's own fault."""
    flags = find_flags(readings, pd.DataFrame({"sensor": list(readings)}), trial)
    day = flags["from"].dt.strftime("%Y-%m-%d")
    return flags[(flags["flag"] != "gap") & ~((flags["sensor"] == FREEZER[0]) & (day == FREEZER[1]))]


def is_found(flags, sensor, fault):
    begin, end = flags["from"].dt.tz_localize(None), flags["to"].dt.tz_localize(None)
    return (flags["sensor"] == sensor) & (flags["flag"] == fault.flag) & (begin <= fault.last) & (end >= fault.first)


def planted(readings, trial, plant, rng, number, *, alone=False):
    """Which of the planted faults are found, and how many runs raise another flag."""
    hits, others = 0, 0
    for run in range(number):
        sensor = sorted(readings)[run % len(readings)]
        fault = plant(readings[sensor], rng)
        given = {sensor: fault.air_temperature} if alone else {**readings, sensor: fault.air_temperature}
        flags = odd(given, trial)
        found = is_found(flags, sensor, fault)
        hits += bool(found.any())
        others += not found.all()
    return hits, others


def test_sound_readings_raise_no_flag_but_on_the_logger_that_lay_in_the_freezer(readings, trial):
    assert odd(readings, trial).empty
    flags = find_flags(readings, pd.DataFrame({"sensor": list(readings)}), trial)
    assert set(flags.loc[flags["flag"] != "gap", "flag"]) == {"spike", "impossible"}
    for sensor in readings:
        assert odd({sensor: readings[sensor]}, trial).empty


@pytest.mark.parametrize("plant", PLANTERS, ids=lambda plant: plant.__name__)
def test_a_large_fault_is_found_under_its_own_name(readings, trial, plant):
    hits, _ = planted(readings, trial, plant, np.random.default_rng(7), 1)
    assert hits == 1


@pytest.mark.slow
@pytest.mark.parametrize("alone", [False, True], ids=["beside neighbours", "alone"])
@pytest.mark.parametrize("plant", PLANTERS, ids=lambda plant: plant.__name__)
def test_nine_in_ten_large_faults_are_found_and_little_else_is_flagged(readings, trial, plant, alone):
    hits, others = planted(readings, trial, plant, np.random.default_rng(7), 24, alone=alone)
    assert hits >= 0.9 * 24
    assert others <= 24 / 4
