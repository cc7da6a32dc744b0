"""Masks take readings out, dated offsets go in, and what is stored stays as it was."""

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

from hardiness.flow import Flow, Records
from hardiness.read.records import records_frame
from hardiness.schema import CALIBRATIONS, MASKS, RECORD_TABLES, SENSORS
from hardiness.settings import Settings
from hardiness.weather.events import freezes_table
from hardiness.weather.masking import corrected_readings, covered, readings_that_count

HILL = Settings("Hill", "Europe/Madrid", latitude=40.4, longitude=-3.7)
HOUR = np.timedelta64(3_600_000_000_000, "ns")
START = np.datetime64("2031-12-14T12:00", "ns")


def air(values, *, start=START, step=HOUR):
    times = start + np.arange(len(values)) * step
    return xr.DataArray(np.asarray(values, float), {"time": times}, name="air_temperature", attrs={"units": "degC"})


def masks(*rows):
    names = ("sensor", "from", "to", "verdict")
    return records_frame(MASKS, [dict(zip(names, row, strict=True)) | {"reason": "checked"} for row in rows])


def calibrations(*rows):
    names = ("sensor", "from", "offset_c")
    return records_frame(CALIBRATIONS, [dict(zip(names, row, strict=True)) for row in rows])


def sensors(**offsets):
    rows = [{"sensor": sensor, "offset_c": offset} for sensor, offset in offsets.items()]
    return records_frame(SENSORS, rows)


def counted(readings, *, mask=(), offset=(), own=None):
    return readings_that_count(readings, masks(*mask), calibrations(*offset), sensors(**(own or {})), HILL.zone)


def test_a_mask_takes_out_both_of_its_ends_and_nothing_else():
    readings = {"L1": air([5, 4, 3, 2, 1, 0])}
    out = counted(readings, mask=[("L1", "2031-12-14T13:00:00Z", "2031-12-14T15:00:00Z", "mask")])
    assert out["L1"].values.tolist() == [5, 1, 0]
    assert out["L1"].attrs == readings["L1"].attrs
    assert readings["L1"].values.tolist() == [5, 4, 3, 2, 1, 0]


def test_an_accepted_stretch_and_a_mask_of_another_sensor_take_nothing_out():
    readings = {"L1": air([5, 4, 3]), "L2": air([6, 5, 4])}
    whole = ("2031-12-14T00:00:00Z", "2031-12-15T00:00:00Z")
    out = counted(readings, mask=[("L1", *whole, "keep"), ("L2", *whole, "mask")])
    assert out["L1"] is readings["L1"]
    assert out["L2"].size == 0


def test_a_dated_offset_holds_from_its_local_date_until_the_next_one():
    # midnight in Madrid is 23:00 UTC
    readings = {"L1": air([1.0] * 72, start=np.datetime64("2031-12-13T00:00", "ns"))}
    out = counted(readings, offset=[("L1", dt.date(2031, 12, 15), 0.5), ("L1", dt.date(2031, 12, 14), -0.3)])["L1"]
    changes = np.flatnonzero(np.diff(out.values)) + 1
    assert out["time"].values[changes].tolist() == [
        np.datetime64("2031-12-13T23:00", "ns").astype(int),
        np.datetime64("2031-12-14T23:00", "ns").astype(int),
    ]
    assert out.values[[0, 30, 60]].tolist() == pytest.approx([1.0, 0.7, 1.5])


def test_a_dated_offset_replaces_the_sensors_own_from_its_date_on():
    cold = [5, 2, -1, -4, -6, -4, -1, 2, 5, 5, 5, 5] + [5] * 12
    readings = {"L1": air(cold * 2)}
    own = sensors(L1=0.2)
    dated = readings_that_count(readings, masks(), calibrations(("L1", dt.date(2031, 12, 15), -0.3)), own, HILL.zone)
    minima = freezes_table(dated, own, HILL)["minimum_c"].tolist()
    assert minima == pytest.approx([-5.8, -6.3])  # before: -6 + 0.2; after: -6 - 0.3 and nothing else


@pytest.mark.parametrize("own", [-0.5, 0.0, 0.4])
def test_corrected_readings_have_the_sensors_own_offset_until_a_dated_one_takes_its_place(own):
    # midnight in Madrid is 23:00 UTC: eleven readings stand before it
    out = corrected_readings(
        {"L1": air([-1.0] * 24)}, calibrations(("L1", dt.date(2031, 12, 15), 0.7)), sensors(L1=own), HILL.zone
    )["L1"]
    assert out.values.tolist() == pytest.approx([-1.0 + own] * 11 + [-0.3] * 13)


def test_downstream_of_the_flow_everything_uses_the_readings_that_count():
    night = [5, 2, -1, -4, -6, -4, -1, 2, 5]
    spiked = [5, 5, 5, -20, 5, 5, 5]
    readings = {"L1": air(night + [5] * 24 + spiked + [5] * 12)}
    at = str(readings["L1"]["time"].values[len(night) + 24 + 3])[:19] + "Z"
    tables = {name: records_frame(table, []) for name, table in RECORD_TABLES.items()}
    before = Flow(Records(readings=readings, **tables), HILL)
    after = Flow(Records(readings=readings, **tables | {"masks": masks(("L1", at, at, "mask"))}), HILL)
    assert before.freezes["minimum_c"].tolist() == [-6, -20]
    assert after.freezes["minimum_c"].tolist() == [-6]
    assert after.records.readings["L1"].size == readings["L1"].size
    assert after.readings["L1"].size == readings["L1"].size - 1


def test_a_mask_makes_a_gap_and_the_rules_for_gaps_apply():
    readings = {"L1": air([5, 2, -1, -4, -6, -6, -6, -6, -6, -6, -4, -1, 2, 5] + [5] * 12)}
    stretch = ("L1", "2031-12-14T16:00:00Z", "2031-12-14T21:00:00Z", "mask")  # six readings, a step of 7 h
    whole, part = (freezes_table(counted(readings, mask=rows), sensors(), HILL) for rows in ((), [stretch]))
    assert whole["coverage"].tolist() == [1.0]
    assert part["coverage"].iloc[0] == pytest.approx(1 - 7 / part["duration_h"].iloc[0])
    assert part["minimum_c"].tolist() == [-4]


@given(
    times=st.lists(st.integers(0, 50), max_size=30),
    spans=st.lists(st.tuples(st.integers(0, 50), st.integers(0, 10)), max_size=6),
)
def test_covered_is_being_inside_any_of_the_stretches(times, spans):
    firsts, lasts = np.array([a for a, _ in spans], int), np.array([a + b for a, b in spans], int)
    inside = [any(a <= t <= b for a, b in zip(firsts, lasts, strict=True)) for t in times]
    assert covered(np.array(times, int), firsts, lasts).tolist() == inside


def test_nothing_said_leaves_the_very_same_arrays():
    readings = {"L1": air([1, 2]), "L2": air([3, 4])}
    empty = pd.DataFrame(columns=list(MASKS.names)), pd.DataFrame(columns=list(CALIBRATIONS.names))
    out = readings_that_count(readings, *empty, sensors(L1=0.2), ZoneInfo("UTC"))
    assert list(out) == ["L1", "L2"]
    assert all(out[name] is readings[name] for name in readings)
