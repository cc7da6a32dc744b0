"""Freezes of many sensors are the same whoever works them out; a network's readings are fetched sensor by sensor."""

import datetime as dt
import gc
import os
import pickle
import signal
import subprocess
import sys
import textwrap
import time
import weakref
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from hardiness import schema, trial
from hardiness.computing import Compute, parse_compute
from hardiness.errors import HardinessError, InputError, Problem, StoreError
from hardiness.flow import Flow, Records
from hardiness.read.loggers import LoggerFile
from hardiness.settings import Settings
from hardiness.settings_reading import parse_settings
from hardiness.settings_writing import to_toml
from hardiness.weather import quality_neighbours, spread_out
from hardiness.weather.events import freezes_table
from hardiness.weather.masking import readings_that_count
from hardiness.weather.one_by_one import OneByOne, count_of, counted_when_asked, fetched_by
from hardiness.weather.quality import find_flags
from hardiness.weather.quality_gaps import summer_gaps
from hardiness.weather.spread_out import spread

HILL = Settings("Hill", "Europe/Lisbon", latitude=41.2, longitude=-7.6)
SENSORS = pd.DataFrame(
    {"sensor": ["L1", "L2", "L3"], "shielded": ["", "no", ""], "offset_c": [np.nan, 0.3, np.nan],
     "accuracy_c": [0.2, np.nan, 0.5]}
)  # fmt: skip
TWO = Compute(workers=2)
HOUR = np.timedelta64(1, "h").astype("m8[ns]")


def winter(seed: int, days: int = 60) -> xr.DataArray:
    rng = np.random.default_rng(seed)
    times = np.datetime64("2031-12-01", "ns") + np.arange(days * 48) * np.timedelta64(30, "m")
    hours = np.arange(days * 48) / 2
    degrees = 1.0 - 5.0 * np.cos(2 * np.pi * (hours - 6) / 24) + np.repeat(rng.normal(0, 3.0, days), 48)
    attributes = {"units": "degC", "standard_name": "air_temperature"}
    return xr.DataArray(np.round(degrees, 1), {"time": times}, ("time",), "air_temperature", attributes)


def network(names: tuple[str, ...] = ("L1", "L2", "L3")) -> OneByOne:
    return OneByOne({name: partial(winter, seed) for seed, name in enumerate(names)}, dict.fromkeys(names, 60 * 48))


def refuse(task: int) -> int:
    if task == 1:
        raise InputError([Problem("'x'", "a number", file="l1.csv", row=7), "A sentence."])
    return task


def end_at_once(task: int) -> None:
    os._exit(9)


@pytest.fixture
def always_spread(monkeypatch):
    monkeypatch.setattr(spread_out, "WORTH_IT", 0)


@pytest.fixture
def stored(tmp_path):
    """A trial with the winter of three loggers; the second in two files that overlap, the later one first."""
    with trial.new_trial(tmp_path / "hill", HILL) as made:
        pieces = [("L1", winter(0)), ("L2", winter(1)[1000:]), ("L2", winter(1)[:1010]), ("L3", winter(2))]
        for number, (sensor, air) in enumerate(pieces):
            file = LoggerFile(
                air, np.arange(2, air.size + 2), resolution_c=0.1, unit="degC", timezone="UTC", timezone_from="default",
                time_column="Time", temperature_column="Temp", interval_min=30.0, missing=0,
            )  # fmt: skip
            made.store.add_readings(file, f"file {number}".encode(), sensor=sensor, name=f"{number}.csv")
        yield made


def test_nothing_is_fetched_to_count_or_to_look_up():
    def never():
        raise AssertionError("fetched")

    readings = OneByOne({"L1": never, "L2": never}, {"L1": 5, "L2": 7})
    assert count_of(readings) == 12
    assert list(readings) == ["L1", "L2"] and len(readings) == 2
    assert "L1" in readings and "L9" not in readings
    assert fetched_by(readings, "L2") is never
    assert fetched_by({"L1": (air := winter(0))}, "L1") is air


def test_freezes_fetched_one_by_one_are_those_of_readings_in_memory():
    expected = freezes_table(dict(network()), SENSORS, HILL)
    assert len(expected) > 30
    pd.testing.assert_frame_equal(freezes_table(network(), SENSORS, HILL), expected, check_exact=True)


def test_masks_and_dated_offsets_count_one_by_one_as_in_memory():
    masks = pd.DataFrame(
        {"sensor": ["L1", "L3"], "from": ["2031-12-05T00:00:00Z"] * 2, "to": ["2031-12-07T00:00:00Z"] * 2,
         "verdict": ["mask", "keep"]}
    )  # fmt: skip
    dated = pd.DataFrame({"sensor": ["L2"], "from": [dt.date(2031, 12, 20)], "offset_c": [-0.4]})
    counted = counted_when_asked(network(), masks, dated, SENSORS, HILL.zone)
    expected = readings_that_count(dict(network()), masks, dated, SENSORS, HILL.zone)
    assert expected["L1"].size < winter(0).size and not expected["L2"].equals(winter(1))
    for name, air in expected.items():
        xr.testing.assert_identical(counted[name], air)
        xr.testing.assert_identical(pickle.loads(pickle.dumps(counted.sources[name]))(), air)


def test_a_stored_network_gives_the_tables_of_a_trial_in_memory(stored, monkeypatch):
    in_memory = stored.flow()
    assert isinstance(in_memory.readings, dict)
    stored._flows.clear()
    monkeypatch.setattr(trial, "MOST_IN_MEMORY", 0)
    lazily = stored.flow()
    assert isinstance(lazily.readings, OneByOne)
    pd.testing.assert_frame_equal(lazily.freezes, in_memory.freezes, check_exact=True)
    pd.testing.assert_frame_equal(lazily.transfers, in_memory.transfers, check_exact=True)
    pd.testing.assert_frame_equal(lazily.flags, in_memory.flags, check_exact=True)
    for sensor, air in in_memory.readings.items():
        xr.testing.assert_identical(lazily.readings[sensor], air)


def odd_network(days: int = 40) -> dict[str, xr.DataArray]:
    """Six loggers under one sky: a spike, a value that is stuck, a clock that jumps, a summer gap, a winter gap."""
    sky, sky_times = winter(7, days).to_numpy(), winter(7, days)["time"]
    rng = np.random.default_rng(3)
    readings = {}
    for number in range(6):
        air = winter(7, days)
        readings[f"L{number}"] = air.copy(data=np.round(sky + number / 3 + rng.normal(0, 0.2, sky.size), 1))
    readings["L0"][700] -= 25.0
    readings["L1"][300:360] = -1.3
    late = readings["L2"]
    readings["L2"] = late.assign_coords(time=late["time"] + np.where(np.arange(late.size) > 900, HOUR * 3, HOUR * 0))
    readings["L3"] = readings["L3"].isel(time=np.r_[0:800, 900 : late.size])
    spring, autumn = (readings["L4"].assign_coords(time=sky_times + np.timedelta64(after, "D")) for after in (150, 330))
    readings["L4"] = xr.concat([readings["L4"], spring.copy(data=spring.to_numpy() + 15.0), autumn], "time")
    readings["S"] = winter(9, days).assign_attrs(series="estimated")
    readings["D"] = xr.DataArray(
        [-3.0] * 9 + [1.0] * 5, {"time": np.datetime64("2031-12-01", "ns") + np.arange(14) * np.timedelta64(1, "D")},
        ("time",), attrs={"units": "degC", "series": "daily_minimum"},
    )  # fmt: skip
    return readings


def fetched_one_by_one(readings: dict[str, xr.DataArray]) -> OneByOne:
    return OneByOne(
        {name: partial(readings.__getitem__, name) for name in readings},
        {name: air.size for name, air in readings.items()},
    )


@pytest.mark.parametrize("kept", [1, 5_000])
def test_flags_are_the_same_however_few_sensors_are_kept_ready(monkeypatch, kept):
    readings = odd_network()
    whole = find_flags(readings, SENSORS, HILL)
    assert {"spike", "stuck", "clock jump", "gap"} <= set(whole["flag"])
    quiet = summer_gaps(readings, HILL)
    assert quiet["sensor"].tolist() == ["L4"]
    monkeypatch.setattr(quality_neighbours, "KEPT", kept)
    asked = fetched_one_by_one(readings)
    pd.testing.assert_frame_equal(find_flags(asked, SENSORS, HILL), whole, check_exact=True)
    pd.testing.assert_frame_equal(summer_gaps(asked, HILL), quiet, check_exact=True)


def test_flags_and_verdicts_of_a_network_are_those_of_readings_in_memory(monkeypatch):
    monkeypatch.setattr(quality_neighbours, "KEPT", 1)
    readings = odd_network()
    empty = {name: pd.DataFrame(columns=list(table.names)) for name, table in schema.RECORD_TABLES.items()}
    empty["sensors"] = SENSORS
    empty["masks"] = pd.DataFrame(
        {"sensor": ["L0", "L1"], "from": ["2031-12-01T00:00:00Z"] * 2, "to": ["2032-01-20T00:00:00Z"] * 2,
         "verdict": ["mask", "keep"]}
    )  # fmt: skip
    empty["calibrations"] = pd.DataFrame({"sensor": ["L1"], "from": [dt.date(2031, 12, 20)], "offset_c": [-0.4]})
    flags = [Flow(Records(given, **empty), HILL).flags for given in (readings, fetched_one_by_one(readings))]
    assert {"mask", "keep", ""} == set(flags[0]["verdict"])
    pd.testing.assert_frame_equal(flags[1], flags[0], check_exact=True)


def test_flags_hold_a_sensor_and_its_neighbours_at_a_time(monkeypatch):
    monkeypatch.setattr(quality_neighbours, "KEPT", 1)
    alive, most = weakref.WeakSet(), []

    class Readings(np.ndarray):  # arrays of numpy's own are in no WeakSet
        __hash__ = object.__hash__

    def fetched(seed: int) -> xr.DataArray:
        air = winter(seed)
        values = (air.to_numpy() + 0.0).view(Readings)
        alive.add(values)
        most.append(len(alive))
        return air.copy(data=values)

    names = [f"L{number}" for number in range(12)]
    readings = OneByOne({name: partial(fetched, seed) for seed, name in enumerate(names)}, dict.fromkeys(names, 2880))
    gc.collect()
    find_flags(readings, SENSORS, HILL)
    assert len(most) > len(names) and max(most) <= 2 + quality_neighbours.MOST_NEIGHBOURS


def test_freezes_and_estimates_hold_one_sensors_readings_at_a_time():
    alive, most = weakref.WeakSet(), []

    class Readings(np.ndarray):  # arrays of numpy's own are in no WeakSet
        __hash__ = object.__hash__

    def fetched(seed: int) -> xr.DataArray:
        air = winter(seed)
        air = air[(air["time"] < np.datetime64("2031-12-10")) | (air["time"] > np.datetime64(f"2031-12-{16 + seed}"))]
        values = air.to_numpy().copy().view(Readings)
        alive.add(values)
        most.append(len(alive))
        return air.copy(data=values)

    names = ("L1", "L2", "L3", "L4")
    readings = OneByOne({name: partial(fetched, seed) for seed, name in enumerate(names)}, dict.fromkeys(names, 2880))
    empty = {name: pd.DataFrame(columns=list(table.names)) for name, table in schema.RECORD_TABLES.items()}
    records = {
        name: empty[name] for name in ("selections", "plants", "scores", "freeze_notes", "masks", "calibrations")
    }
    flow = Flow(Records(readings, sensors=SENSORS, **records), HILL)
    assert set(flow.freezes["source"]) == {"logger", "estimated"}
    gc.collect()
    assert most[0] == 1 and len(most) == len(names) and max(most) <= 2  # the next is fetched before the last is let go
    assert len(alive) == 0


def test_few_readings_start_no_process_whatever_is_set(monkeypatch):
    def refuse_to_start(*_, **__):
        raise AssertionError("a process was started")

    monkeypatch.setattr(spread_out, "ProcessPoolExecutor", refuse_to_start)
    settings = replace(HILL, compute=Compute(workers=2, scheduler="tcp://192.0.2.7:8786"))
    assert len(freezes_table(network(), SENSORS, settings)) > 30
    with pytest.raises(AssertionError, match="a process was started"):
        spread(abs, [-1, 2], TWO, readings=spread_out.WORTH_IT)


def test_without_dask_the_way_to_install_it_is_named(always_spread, monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(HardinessError, match=r"dask is not installed: pip install 'hardiness\[cluster\]'"):
        spread(abs, [-1, 2], Compute(scheduler="tcp://192.0.2.7:8786"), readings=1)


def test_who_computes_is_read_from_trial_toml_and_written_to_it():
    head = 'name = "Hill"\ntimezone = "UTC"\n'
    settings = parse_settings(f'{head}[compute]\nworkers = 4\nscheduler = "tcp://[2001:db8::7]:8786"\n')
    assert settings.compute == Compute(4, "tcp://[2001:db8::7]:8786")
    assert parse_settings(to_toml(settings)) == settings
    assert parse_settings(head).compute == Compute() and "compute" not in to_toml(parse_settings(head))


def test_every_fault_of_the_section_is_told_at_once():
    with pytest.raises(InputError) as refused:
        parse_settings('name = "Hill"\ntimezone = "UTC"\n[compute]\nworkers = 2.5\nscheduler = "tcp://a"\nworker = 2\n')
    told = str(refused.value)
    assert "compute.workers: found 2.5; accepted: a whole number from 1 to 256" in told
    assert "compute.scheduler: found 'tcp://a'; accepted: the address of a dask scheduler" in told
    assert "compute.worker: found 2; accepted: one of workers, scheduler. Did you mean 'workers'?" in told


@pytest.mark.parametrize("workers", [0, -1, 257, True, "2"])
def test_senseless_numbers_of_workers_are_refused(workers):
    faults = []
    assert parse_compute({"workers": workers}, lambda *fault: faults.append(fault)) == Compute()
    assert [fault[0] for fault in faults] == ["compute.workers"]


@pytest.mark.slow
def test_processes_give_the_same_freezes_bit_for_bit(stored, always_spread, monkeypatch):
    monkeypatch.setattr(trial, "MOST_IN_MEMORY", 0)
    flow = stored.flow()
    shared = replace(flow.settings, compute=TWO)
    found = freezes_table(flow.readings, flow.records.sensors, shared)
    pd.testing.assert_frame_equal(found, flow.freezes, check_exact=True)
    spread_flow = replace(flow, settings=shared)
    pd.testing.assert_frame_equal(spread_flow.freezes, flow.freezes, check_exact=True)
    pd.testing.assert_frame_equal(spread_flow.transfers, flow.transfers, check_exact=True)


@pytest.mark.slow
def test_an_error_in_a_worker_is_the_error_it_is_here(stored, always_spread):
    readings = stored.store.readings_lazily()
    next((stored.folder / "readings").glob("*.nc")).unlink()
    told = []
    for compute in (Compute(), TWO):
        with pytest.raises(StoreError) as gone:
            freezes_table(readings, SENSORS, replace(HILL, compute=compute))
        told.append(str(gone.value))
    assert told[0] == told[1] and "is gone. It was made from" in told[0]
    with pytest.raises(InputError) as refused:
        spread(refuse, [0, 1, 2], TWO, readings=1)
    assert refused.value.problems == (Problem("'x'", "a number", file="l1.csv", row=7), "A sentence.")


@pytest.mark.slow
def test_a_worker_that_is_stopped_from_outside_is_told(always_spread):
    with pytest.raises(HardinessError, match=r"A worker process was stopped before it was done.*Set fewer workers"):
        spread(end_at_once, [0, 1], TWO, readings=1)


def heed_ctrl_c():
    """As a program started by hand does: one started in the background may have been told to ignore it."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="signals to a group of processes")
def test_ctrl_c_ends_the_workers_too(tmp_path):
    script = tmp_path / "long.py"
    script.write_text(
        textwrap.dedent("""
            import os, pathlib, time
            from hardiness.computing import Compute
            from hardiness.weather import quality_neighbours, spread_out
            def wait(task):
                (pathlib.Path(__file__).parent / f"{os.getpid()}.started").touch()
                time.sleep(0.5)
            if __name__ == "__main__":
                spread_out.WORTH_IT = 0
                spread_out.spread(wait, list(range(200)), Compute(workers=2), readings=1)
        """)
    )
    begun = subprocess.Popen(
        [sys.executable, str(script)], cwd=Path(__file__).parents[2], stderr=subprocess.PIPE, text=True,
        start_new_session=True, preexec_fn=heed_ctrl_c,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)},
    )  # fmt: skip
    deadline = time.monotonic() + 60
    while len(started := list(tmp_path.glob("*.started"))) < 2 and time.monotonic() < deadline:
        time.sleep(0.05)
    assert len(started) == 2
    os.killpg(begun.pid, signal.SIGINT)  # as a terminal sends it: to all of them
    told = begun.communicate(timeout=20)[1]
    assert begun.returncode == -signal.SIGINT and told.count("KeyboardInterrupt") >= 1
    assert "Process SpawnProcess" not in told  # the workers stay silent
    for worker in started:
        with pytest.raises(ProcessLookupError):
            os.kill(int(worker.stem), 0)


@pytest.mark.slow
def test_a_cluster_gives_the_same_freezes_and_the_same_errors(stored, always_spread):
    distributed = pytest.importorskip("distributed")
    readings = stored.store.readings_lazily()
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=False, protocol="tcp", host="127.0.0.1", dashboard_address=None
    ) as cluster:
        given = replace(HILL, compute=Compute(scheduler=cluster.scheduler_address))
        found = freezes_table(readings, SENSORS, given)
        with pytest.raises(InputError, match="row 7"):
            spread(refuse, [0, 1, 2], given.compute, readings=1)
    pd.testing.assert_frame_equal(found, freezes_table(readings, SENSORS, HILL), check_exact=True)
    assert list(found.columns) == schema.column_names(schema.freeze_columns(HILL.rules.thresholds, HILL.rules.held_h))


@pytest.mark.slow
def test_a_scheduler_that_does_not_answer_is_told(always_spread, monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr(spread_out, "WAIT_S", 1)
    with pytest.raises(HardinessError, match=r"The dask scheduler at tcp://127\.0\.0\.1:9 does not answer"):
        spread(abs, [-1, 2], Compute(scheduler="tcp://127.0.0.1:9"), readings=1)


def cluster_of(distributed, workers: int, *, processes: bool = False):
    return distributed.LocalCluster(
        n_workers=workers, threads_per_worker=1, processes=processes, protocol="tcp", host="127.0.0.1",
        dashboard_address=None,
    )  # fmt: skip


@pytest.mark.slow
def test_workers_of_a_cluster_that_are_stopped_over_and_over_are_told(always_spread):
    distributed, dask = pytest.importorskip("distributed"), pytest.importorskip("dask")
    with (
        dask.config.set({"distributed.scheduler.allowed-failures": 0}),
        cluster_of(distributed, 1, processes=True) as cluster,
        pytest.raises(HardinessError) as stopped,
    ):
        spread(end_at_once, [0, 1], Compute(scheduler=cluster.scheduler_address), readings=1)
    told = str(stopped.value)
    assert told.startswith(f"Workers of the dask cluster at {cluster.scheduler_address} were stopped again and again")
    assert "Give each worker more memory or start fewer on one machine" in told
    assert "take 'scheduler' out of [compute] in trial.toml" in told


@pytest.mark.slow
def test_a_cluster_without_a_worker_is_told_and_not_waited_for(always_spread, monkeypatch):
    distributed = pytest.importorskip("distributed")
    monkeypatch.setattr(spread_out, "WAIT_S", 1)
    with cluster_of(distributed, 0) as cluster, pytest.raises(HardinessError, match=r"has no worker\. Start one"):
        spread(abs, [-1, 2], Compute(scheduler=cluster.scheduler_address), readings=1)


def test_a_scheduler_that_is_lost_on_the_way_is_told(always_spread, monkeypatch):
    # what the client of a scheduler that was killed raises, seen on a real one
    distributed = pytest.importorskip("distributed")

    class Lost:
        def __init__(self, *_, **__): ...
        def __enter__(self): ...
        def __exit__(self, *_): ...
        def wait_for_workers(self, *_, **__): ...
        def map(self, *_, **__): ...
        def cancel(self, *_): ...
        def gather(self, _):
            raise distributed.client.FutureCancelledError("abs-1", "lost dependencies")

    monkeypatch.setattr(distributed, "Client", Lost)
    with pytest.raises(HardinessError, match=r"The dask scheduler at tcp://127\.0\.0\.1:9 was lost before .*Start it"):
        spread(abs, [-1, 2], Compute(scheduler="tcp://127.0.0.1:9"), readings=1)
