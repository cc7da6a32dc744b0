"""Programs that add to one trial and are killed, or that add at the same time; run by test_safety.py.

Each program is a fork of this one, so that a hundred can be stopped in the time that one takes to start. A program
writes "begin N" and "done N" around each add, so that afterwards each add can be held against what the store has.
"""

import os
import random
import signal
import sys
import time
from pathlib import Path

import numpy as np
import xarray as xr

from hardiness.read.loggers import LoggerFile
from hardiness.read.records import parse_records
from hardiness.read.tables import read_table
from hardiness.schema import SELECTIONS
from hardiness.settings import Settings
from hardiness.store import open_store

SETTINGS = Settings("Hill", "Europe/Lisbon")
READINGS = 40  # in each file
ROWS = 6


def selections_of(number):
    return [f"N{number}-{row}" for row in range(ROWS)]


def add_records(store, folder, number):
    path = folder / f"selections-{number}.csv"
    path.write_text("selection\n" + "\n".join(selections_of(number)) + "\n")
    store.add_records(parse_records(read_table(path, SELECTIONS), SELECTIONS, SETTINGS), path)


def add_readings(store, number):
    start = np.datetime64("2020-01-01", "ns") + np.timedelta64(number, "D")
    times = start + np.arange(READINGS) * np.timedelta64(30, "m")
    air = xr.DataArray(np.full(READINGS, -0.1 * number), {"time": times}, "time")
    file = LoggerFile(air, np.arange(2, READINGS + 2), resolution_c=0.1, unit="degC", timezone="UTC",
                      timezone_from="default", time_column="Time", temperature_column="Temp", interval_min=30.0,
                      missing=0)  # fmt: skip
    store.add_readings(file, b"readings %d" % number, sensor="L1", name=f"{number}.csv")


def keep_adding(folder, first, log):
    """Add files until killed: an even number is a records file, an odd one a readings file."""
    with open_store(folder / "trial", SETTINGS) as store:
        number = first
        while True:
            os.write(log, b"begin %d\n" % number)
            if number % 2:
                add_readings(store, number)
            else:
                add_records(store, folder, number)
            os.write(log, b"done %d\n" % number)
            number += 1


def check(folder, words):
    """Hold the store against what the programs wrote: whole, or undone; and its files against its rows."""
    begun = {int(number) for word, number in words if word == "begin"}
    done = {int(number) for word, number in words if word == "done"}
    with open_store(folder / "trial", SETTINGS) as store:
        there = set(store.current("selections")["selection"])
        readings = store.readings().get("L1")
        faults = store.faults()
        uploads = len(store.uploads())
    days = {}
    if readings is not None:
        found, counts = np.unique(readings["time"].values.astype("M8[D]"), return_counts=True)
        days = dict(zip(found, counts, strict=True))
    assert faults == [], faults
    whole = 0
    for number in sorted(begun):
        if number % 2:
            count = days.pop(np.datetime64("2020-01-01") + number, 0)
            assert count in (0, READINGS), (number, count)
        else:
            count = len(there & set(selections_of(number)))
            assert count in (0, ROWS), (number, count)
            there -= set(selections_of(number))
        assert count or number not in done, f"{number} was finished and is gone"
        whole += count > 0
    assert not days and not there, "the store has what nobody added"
    assert uploads == whole, (uploads, whole)
    return len(done)


def killed(folder, seed, kills):
    (folder / "trial").mkdir()
    moments = random.Random(seed)
    words = []
    stopped = first = 0
    while stopped < kills:
        reader, writer = os.pipe()
        child = os.fork()
        if child == 0:
            os.close(reader)
            keep_adding(folder, first, writer)
        os.close(writer)
        time.sleep(moments.uniform(0.01, 0.25))
        os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        assert os.WTERMSIG(status) == signal.SIGKILL, f"the program ended by itself: {status}"
        with os.fdopen(reader) as lines:
            words += [line.split() for line in lines]
        stopped += 1
        first = 1 + max((int(number) for _, number in words), default=-1)
        finished = check(folder, words)
    assert finished > 0
    with open_store(folder / "trial", SETTINGS) as store:
        orphans = len(store.remove_orphans())
        assert store.orphans() == [] and store.faults() == []
    print(f"{stopped} kills, {finished} adds finished, {orphans} orphans removed")


def together(folder, programs, files):
    (folder / "trial").mkdir()
    children = []
    for program in range(programs):
        child = os.fork()
        if child == 0:
            status = 1
            try:
                with open_store(folder / "trial", SETTINGS) as store:
                    for turn in range(files):
                        number = program + programs * turn
                        add_records(store, folder, number) if turn % 2 else add_readings(store, number)
                status = 0
            finally:
                os._exit(status)
        children.append(child)
    assert all(os.waitpid(child, 0)[1] == 0 for child in children)
    with open_store(folder / "trial", SETTINGS) as store:
        assert store.faults() == [] and store.orphans() == []
        print(f"{programs} programs, {programs * files} files, {len(store.uploads())} uploads")


if __name__ == "__main__":
    what, where, *numbers = sys.argv[1:]
    {"killed": killed, "together": together}[what](Path(where), *map(int, numbers))
