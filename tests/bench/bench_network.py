"""A network of loggers: freezes of every logger, from the stored parts.

    nice python -m tests.bench.bench_network FOLDER [--loggers 100] [--years 10] [--workers 2] [--scheduler tcp://...]
        [--estimate never] [--silent]

Makes the trial once in FOLDER, by the store's own writer (100 loggers, ten years, every 5 minutes: 105 million
readings), then reads the parts, holds the loggers against each other as a new trial does (``--estimate``) and finds the
freezes. With ``--silent`` two weeks of each winter are masked at each logger, so that all of them are estimated. Prints
seconds, those of this process's processor time, and the peak memory of it and its workers together as Linux counts it
(each process's proportional share, every 0.2 s). Ends 1 above 30 s or 2 GB. The workers of a cluster are not its own,
and their memory is not counted.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import sys
import threading
import time
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd
import xarray as xr

from hardiness import schema
from hardiness.computing import Compute
from hardiness.read.loggers import LoggerFile
from hardiness.settings import OVERLAP, TRANSFERS, Settings
from hardiness.trial import new_trial, open_trial

EVERY_MIN = 5
MOST_S, MOST_GB = 30.0, 2.0


def years_of_readings(rng: np.random.Generator, years: int) -> xr.DataArray:
    """Years on the cold edge: seasons, spells of weather, a daily cycle, tenths of a degC."""
    length = int(years * 365.25)
    steps = np.arange(length * 24 * 60 // EVERY_MIN) * np.timedelta64(EVERY_MIN, "m")
    times = np.datetime64("2021-07-01", "ns") + steps
    days = np.arange(times.size) * EVERY_MIN / (24 * 60)
    spells = np.zeros(length + 1)
    for day in range(1, length + 1):
        spells[day] = 0.7 * spells[day - 1] + rng.normal(0, 2.5)
    season = 10 - 9 * np.cos(2 * np.pi * (days - 200) / 365.25)
    degrees = season + np.interp(days, np.arange(length + 1), spells) + 5 * np.cos(2 * np.pi * (days - 0.6))
    degrees = np.round(degrees + rng.normal(0, 0.1, times.size), 1)
    return xr.DataArray(degrees, {"time": times}, ("time",), "air_temperature", {"units": "degC"})


def make_network(folder: Path, loggers: int, years: int) -> None:
    """A trial with a part for each logger."""
    with new_trial(folder, Settings("Network", "UTC")) as trial:
        for number in range(loggers):
            air = years_of_readings(np.random.default_rng(number), years)
            readings = LoggerFile(
                air, np.arange(2, air.size + 2), resolution_c=0.1, unit="degC", timezone="UTC", timezone_from="default",
                time_column="Time", temperature_column="Temp", interval_min=float(EVERY_MIN), missing=0,
            )  # fmt: skip
            name = f"L{number:03d}"
            trial.store.add_readings(readings, f"drawn with seed {number}".encode(), sensor=name, name=f"{name}.csv")


def two_weeks_a_winter(loggers: int, years: int) -> pd.DataFrame:
    """Masks that silence each logger for two weeks of each winter, not all of them at once."""
    rows = []
    for number, year in product(range(loggers), range(2021, 2021 + years)):
        first = pd.Timestamp(f"{year}-11-01") + pd.Timedelta(days=(7 * number + year) % 120)
        until = first + pd.Timedelta(days=14)
        rows.append({"sensor": f"L{number:03d}", "from": f"{first:%Y-%m-%d}T00:00:00Z",
                     "to": f"{until:%Y-%m-%d}T00:00:00Z", "verdict": "mask"})  # fmt: skip
    return pd.DataFrame(rows).reindex(columns=list(schema.MASKS.names))


class Peak:
    """The most memory that a process and all that it started held together, while the block ran."""

    def __init__(self) -> None:
        self.gb = 0.0
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True)

    def __enter__(self) -> Peak:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        self._thread.join()

    def _watch(self) -> None:
        while not self._over.wait(0.2):
            self.gb = max(self.gb, sum(map(_share_kb, _family(os.getpid()))) / 1024**2)


def _family(root: int) -> list[int]:
    parents = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                parents[int(entry.name)] = int((entry / "stat").read_text().rpartition(")")[2].split()[1])
            except OSError:  # it has ended meanwhile
                continue
    found = [root]
    for one in found:
        found += [child for child, parent in parents.items() if parent == one]
    return found


def _share_kb(process: int) -> int:
    try:
        rollup = Path(f"/proc/{process}/smaps_rollup").read_text()
    except OSError:  # it has ended meanwhile
        return 0
    return next(int(line.split()[1]) for line in rollup.splitlines() if line.startswith("Pss:"))


def main() -> int:
    """Make the network where it is not there yet, find its freezes, print what it took."""
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--loggers", type=int, default=100)
    parser.add_argument("--years", type=int, default=10)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--scheduler")
    parser.add_argument("--estimate", choices=TRANSFERS, default=OVERLAP)
    parser.add_argument("--silent", action="store_true")
    given = parser.parse_args()
    if not (given.folder / "trial.toml").is_file():
        begun = time.perf_counter()
        make_network(given.folder, given.loggers, given.years)
        print(f"made in {time.perf_counter() - begun:.0f} s")
    with open_trial(given.folder) as trial, Peak() as peak:
        compute = Compute(workers=given.workers, scheduler=given.scheduler)
        trial.settings = replace(trial.settings, compute=compute, transfer=given.estimate)
        begun, worked = time.perf_counter(), time.process_time()
        flow = trial.flow()
        if given.silent:
            masks = two_weeks_a_winter(given.loggers, given.years)
            flow = replace(flow, records=replace(flow.records, masks=masks))
        freezes = flow.freezes
        seconds, worked = time.perf_counter() - begun, time.process_time() - worked
        readings = sum(trial.store.readings_lazily().sizes.values())
    digest = hashlib.sha256(pd.util.hash_pandas_object(freezes).to_numpy().tobytes()).hexdigest()[:12]
    estimated = int((freezes["source"] == "estimated").sum())
    print(f"{readings / 1e6:.1f} million readings, {len(freezes)} freezes, {estimated} estimated, digest {digest}")
    print(f"{seconds:.1f} s with {given.scheduler or given.workers}, {worked:.1f} s of this process; "
          f"peak memory {peak.gb:.2f} GiB, workers included")  # fmt: skip
    return int(seconds > MOST_S or peak.gb > MOST_GB)


if __name__ == "__main__":
    sys.exit(main())
