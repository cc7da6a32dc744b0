"""What waits in a trial is told rightly."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from hardiness import glance
from hardiness.flow import Flow, Records
from hardiness.read.records import records_frame
from hardiness.schema import FREEZE_NOTES, PLANTS, SCORES, SELECTIONS, SENSORS
from hardiness.settings import Settings
from hardiness.weather.extents import Extent, KnownReadings

PLANTED = dt.date(2029, 4, 1)


def series(*nights, days=2):
    """Hourly air at 6 degC with a night at -6 degC on each date."""
    parts = []
    for night in nights:
        times = np.datetime64(night, "ns") + np.arange(24 * days) * np.timedelta64(1, "h")
        air = np.where(np.arange(24 * days) % 48 < 6, -6.0, 6.0)
        parts.append(xr.DataArray(air, {"time": times}, attrs={"units": "degC"}))
    return xr.concat(parts, "time", combine_attrs="override")


def flow_of(readings, scores=(), plants=(), sensors=(), selections=({"selection": "OL-01"},), notes=()):
    plants = plants or ({"plant": "T1"}, {"plant": "T2"})
    scored = [{"plant": plant, "scored_on": dt.date.fromisoformat(day), "grade": grade} for plant, day, grade in scores]
    whole = [{"selection": "OL-01", "rootstock": "own", "planted_on": PLANTED, **plant} for plant in plants]
    return Flow(
        Records(
            readings=readings,
            selections=records_frame(SELECTIONS, list(selections)),
            plants=records_frame(PLANTS, whole),
            sensors=records_frame(SENSORS, list(sensors)),
            scores=records_frame(SCORES, scored),
            freeze_notes=records_frame(FREEZE_NOTES, list(notes)),
        ),
        Settings("Hill", "UTC", latitude=41.2),
    )  # fmt: skip


def test_a_plant_waits_until_it_is_scored_after_its_last_freeze():
    readings = {"L1": series("2030-01-10", "2031-01-10")}
    flow = flow_of(readings, [("T1", "2030-02-10", 0), ("T1", "2031-02-10", 0), ("T2", "2030-02-10", 0)])
    waiting = glance.unscored_plants(flow)
    assert waiting[["plant", "freeze"]].to_numpy().tolist() == [["T2", "2031-01-10 L1"]]


def test_dead_and_removed_plants_do_not_wait():
    plants = ({"plant": "T1"}, {"plant": "T2", "removed_on": dt.date(2031, 3, 1)}, {"plant": "T3"})
    flow = flow_of({"L1": series("2030-01-10", "2031-01-10")}, [("T1", "2030-02-10", 5)], plants)
    assert glance.unscored_plants(flow)["plant"].tolist() == ["T3"]
    assert glance.living_plants(flow)["plant"].tolist() == ["T3"]
    assert glance.living_plants(flow, dt.date(2031, 2, 1))["plant"].tolist() == ["T2", "T3"]


def test_a_plant_that_recovered_lives():
    flow = flow_of({}, [("T1", "2030-02-10", 5), ("T1", "2030-05-10", 3)])
    assert glance.living_plants(flow)["plant"].tolist() == ["T1", "T2"]


def test_a_freeze_that_is_set_aside_asks_for_no_score():
    note = {"from": dt.date(2031, 1, 9), "to": dt.date(2031, 1, 12), "set_aside": "yes"}
    scores = [("T1", "2030-02-10", 0), ("T2", "2030-02-10", 0)]
    assert glance.unscored_plants(flow_of({"L1": series("2030-01-10", "2031-01-10")}, scores, notes=[note])).empty


def test_no_plant_waits_where_there_was_no_freeze():
    assert glance.unscored_plants(flow_of({})).empty


@pytest.mark.parametrize("behind, silent", [(7, False), (8, True)])
def test_a_sensor_is_silent_when_it_ends_a_week_before_the_newest(behind, silent):
    later = np.datetime64("2031-01-10") + np.timedelta64(behind, "D")
    flow = flow_of({"L1": series("2031-01-10"), "L2": series(str(later))})
    assert glance.silent_sensors(flow)["sensor"].tolist() == (["L1"] if silent else [])


def test_a_sensor_without_a_reading_is_silent():
    flow = flow_of({"L1": series("2031-01-10")}, sensors=({"sensor": "L1"}, {"sensor": "L9"}))
    table = glance.silent_sensors(flow)
    assert table["sensor"].tolist() == ["L9"] and pd.isna(table["last"].iloc[0])


def test_with_two_loggers_and_no_block_no_sensor_speaks_for_a_plant():
    one, two = {"L1": series("2031-01-10")}, {"L1": series("2031-01-10"), "L2": series("2031-01-10")}
    assert glance.plants_without_sensor(flow_of(one)).empty
    assert glance.plants_without_sensor(flow_of(two))["plant"].tolist() == ["T1", "T2"]
    named = ({"plant": "T1", "sensor": "L2"}, {"plant": "T2", "block": "east"})
    placed = ({"sensor": "L1", "block": "east"}, {"sensor": "L2"})
    assert glance.plants_without_sensor(flow_of(two, plants=named, sensors=placed)).empty
    assert glance.plants_without_sensor(flow_of({})).empty


def test_nothing_is_fetched_to_tell_which_sensor_is_silent_or_speaks_for_nobody():
    def never():
        raise AssertionError("fetched")

    january, march = np.datetime64("2031-01-10", "ns"), np.datetime64("2031-03-01", "ns")
    extents = {"L1": Extent(9, january, january), "L2": Extent(9, january, march, exact=False)}
    flow = flow_of(KnownReadings({"L1": never, "L2": never}, extents), sensors=({"sensor": "L9"},))
    table = glance.silent_sensors(flow)
    assert table["sensor"].tolist() == ["L9", "L1"] and table["last"].iloc[1] == pd.Timestamp(january, tz="UTC")
    assert glance.plants_without_sensor(flow)["plant"].tolist() == ["T1", "T2"]


def test_candidates_on_one_living_plant_are_named_and_checks_are_not():
    selections = ({"selection": "OL-01"}, {"selection": "OL-02"}, {"selection": "CK-A", "role": "check"})
    plants = (
        {"plant": "T1"},
        {"plant": "T2"},
        {"plant": "T3", "selection": "OL-02"},
        {"plant": "T4", "selection": "CK-A"},
    )
    flow = flow_of({}, plants=plants, selections=selections)
    assert glance.single_selections(flow).to_numpy().tolist() == [["OL-02", "T3", "own"]]


def test_a_winter_says_what_it_was_and_what_it_did():
    readings = {"L1": series("2030-01-10", "2031-01-10")}
    scores = [("T1", "2030-02-10", 2), ("T2", "2030-02-10", 5), ("T1", "2031-02-10", 0)]
    table = glance.winters_table(flow_of(readings, scores)).set_index("winter")
    assert table.loc["2029-30", ["freezes", "plants", "damaged", "lost"]].tolist() == [1, 2, 2, 1]
    assert table.loc["2030-31", ["freezes", "plants", "damaged", "lost"]].tolist() == [1, 1, 0, 0]
    assert table["coldest_c"].tolist() == [-6.0, -6.0]


def test_an_empty_trial_has_nothing_waiting():
    flow = replace(flow_of({}), settings=Settings("Hill", "UTC"))
    empty = Flow(replace(flow.records, plants=flow.records.plants.iloc[:0]), flow.settings)
    for table in (glance.unscored_plants, glance.silent_sensors, glance.single_selections, glance.winters_table):
        assert table(empty).empty
