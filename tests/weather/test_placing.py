"""Which sensor speaks for which plant, and which freezes each plant met."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from hardiness import schema
from hardiness.settings import Settings
from hardiness.weather.events import freezes_table
from hardiness.weather.placing import Exposures, expose_plants
from hardiness.weather.sensors import great_circle_km, sensor_orders, sensors_known

UTC = Settings("Hill", "UTC", latitude=40.0, longitude=-74.0)
NIGHTS = ("2031-12-10T02", "2031-12-20T02", "2032-01-05T02")
DAYS = ["2031-12-10", "2031-12-20", "2032-01-05"]


def readings(*nights: str, without: tuple[str, str] | None = None, hours: int = 10, low: float = -6.0) -> xr.DataArray:
    """Hourly readings at 5 degC all winter, with nights down to ``low``; none strictly inside ``without``."""
    time = pd.date_range("2031-11-01", "2032-03-01", freq="h").to_numpy().astype("M8[ns]")
    degrees = np.full(time.size, 5.0)
    for night in nights:
        since = (time - np.datetime64(night, "ns")) / np.timedelta64(1, "h")
        degrees[(since >= 0) & (since <= hours)] = low
    array = xr.DataArray(degrees, {"time": time}, attrs={"units": "degC"})
    if without is not None:
        array = array[(time <= np.datetime64(without[0])) | (time >= np.datetime64(without[1]))]
    return array


def from_midnight_to_midnight() -> xr.DataArray:
    """Hourly readings that touch 0 degC at both midnights of 20 December 2031, and are at -6 between."""
    time = pd.date_range("2031-12-01", "2032-01-10", freq="h").to_numpy().astype("M8[ns]")
    first, last = np.datetime64("2031-12-20", "ns"), np.datetime64("2031-12-21", "ns")
    degrees = np.where((time > first) & (time < last), -6.0, 5.0)
    degrees[(time == first) | (time == last)] = 0.0
    return xr.DataArray(degrees, {"time": time}, attrs={"units": "degC"})


def table_of(name: str, rows: list[dict[str, object]]) -> pd.DataFrame:
    """A records table; what is not given is empty."""
    table = schema.RECORD_TABLES[name]
    frame = pd.DataFrame(rows, columns=list(table.names), dtype=object)
    for column in table.columns:
        if column.kind == "number":
            frame[column.name] = frame[column.name].astype(float)
        elif column.kind == "date":
            values = [None if pd.isna(day) else date.fromisoformat(day) for day in frame[column.name]]
            frame[column.name] = pd.Series(values, frame.index, dtype=object)
        elif column.kind != "grade":
            frame[column.name] = frame[column.name].fillna("")
    return frame


def plant(name: str = "T1", **fields: object) -> dict[str, object]:
    return {"plant": name, "selection": "OL-07", "rootstock": "stock P", "planted_on": "2030-04-01", **fields}


def expose(
    plants: list[dict[str, object]],
    by_sensor: dict[str, xr.DataArray],
    *,
    sensors: list[dict[str, object]] | None = None,
    scores: list[dict[str, object]] | None = None,
    notes: list[dict[str, object]] | None = None,
    settings: Settings = UTC,
) -> Exposures:
    known = table_of("sensors", sensors or [])
    return expose_plants(
        table_of("plants", plants),
        table_of("scores", scores or []),
        freezes_table(by_sensor, known, settings),
        by_sensor,
        known,
        table_of("freeze_notes", notes or []),
        settings,
    )


def met(exposures: Exposures, name: str = "T1") -> list[str]:
    table = exposures.table
    return table.loc[table["plant"] == name, "freeze"].tolist()


# The order of sensors -----------------------------------------------------------------------------------------------


def orders(sensors: list[dict[str, object]], settings: Settings = UTC, also: tuple[str, ...] = ()):
    return sensor_orders(sensors_known(table_of("sensors", sensors), also), settings)


def test_named_sensors_come_first_in_their_order():
    asked = orders([{"sensor": name, "block": "A"} for name in ("L1", "L2", "L3")]).of_plant(" L3 ;L1; nobody;", "A")
    assert asked == ["L3", "L1", "L2"]


def test_then_the_loggers_of_the_block_by_name_and_no_station_of_it():
    sensors = [{"sensor": "L9", "block": "A"}, {"sensor": "L2", "block": "A"}, {"sensor": "L1", "block": "B"},
               {"sensor": "S1", "block": "A", "kind": "station"}]  # fmt: skip
    assert orders(sensors).of_plant("", "A") == ["L2", "L9", "S1"]
    assert orders(sensors).of_plant("", "") == ["S1"]


def test_then_the_only_logger_of_the_trial():
    assert orders([{"sensor": "L1", "block": "B"}]).of_plant("", "A") == ["L1"]
    assert orders([{"sensor": "L1", "block": "B"}, {"sensor": "L2", "block": "B"}]).of_plant("", "A") == []


def test_a_sensor_that_has_readings_and_no_row_is_a_logger():
    assert orders([], also=("L7",)).of_plant("", "A") == ["L7"]
    assert orders([{"sensor": "L1"}], also=("L7",)).of_plant("", "A") == []


def test_then_stations_by_distance_and_those_of_unknown_place_by_name():
    stations = [
        {"sensor": "S1", "latitude": 41.0, "longitude": -74.0},
        {"sensor": "S2", "latitude": 40.1, "longitude": -74.0},
        {"sensor": "S5"},
        {"sensor": "S3", "latitude": 40.0, "longitude": -75.0},
        {"sensor": "S4", "latitude": 40.0},
    ]
    for station in stations:
        station["kind"] = "station"
    assert orders(stations).of_plant("", "") == ["S2", "S3", "S1", "S4", "S5"]
    assert orders(stations, Settings("Hill", "UTC")).of_plant("", "") == ["S1", "S2", "S3", "S4", "S5"]


def test_distances_along_the_globe():
    # a quarter of the meridian, and a degree of it; 6371 km x pi / 2 and x pi / 180
    assert great_circle_km(0.0, 0.0, np.array([90.0, 1.0]), np.array([33.0, 0.0])) == pytest.approx(
        [10007.54, 111.195], abs=0.01
    )
    assert np.isnan(great_circle_km(np.nan, 0.0, np.array([1.0]), np.array([0.0]))).all()


# Who answers --------------------------------------------------------------------------------------------------------


def test_the_first_sensor_answers():
    both = {"L1": readings(*NIGHTS), "L2": readings(*NIGHTS, low=-9.0)}
    assert met(expose([plant(sensor="L2;L1")], both)) == [f"{day} L2" for day in DAYS]


def test_the_answer_may_be_no_freeze_here():
    both = {"L1": readings(NIGHTS[0]), "L2": readings(*NIGHTS)}
    exposures = expose([plant(sensor="L1;L2")], both)
    assert met(exposures) == [f"{DAYS[0]} L1"]
    assert exposures.unknown.empty


def test_a_sensor_with_80_percent_answers_before_one_with_all():
    # the event lasts 10 h and two crossings, 10.9 h; 2 h of its hours are missing in a fixed gap of more than max_gap
    gap = {"L1": readings(*NIGHTS, without=("2031-12-10T04", "2031-12-10T08")), "L2": readings(*NIGHTS)}
    # hourly readings: up to 3 h are bridged, so the gap of 4 h is not: 6.9 of 10.9 h, 63 %
    assert met(expose([plant(sensor="L1;L2")], gap))[0] == f"{DAYS[0]} L2"
    whole = {"L1": readings(*NIGHTS, without=("2031-12-10T04", "2031-12-10T07")), "L2": readings(*NIGHTS)}
    assert met(expose([plant(sensor="L1;L2")], whole))[0] == f"{DAYS[0]} L1"
    # the same gap of 4 h in an event of 20.9 h: 81 %
    long = {
        "L1": readings(NIGHTS[0], without=("2031-12-10T04", "2031-12-10T08"), hours=20),
        "L2": readings(NIGHTS[0], hours=20),
    }
    assert met(expose([plant(sensor="L1;L2")], long)) == [f"{DAYS[0]} L1"]


def test_a_sensor_that_covers_just_80_percent_answers():
    """L2's freeze lasts from 01:30 to 21:30; of these 20 h L1 has no reading for 4."""
    night = "2031-12-10T02"
    span = readings(night, hours=19, low=-5.0)
    silent = readings(without=("2031-12-10T05", "2031-12-10T09"))
    assert met(expose([plant(sensor="L1;L2")], {"L1": silent, "L2": span})) == []
    longer = readings(without=("2031-12-10T05", "2031-12-10T10"))
    assert met(expose([plant(sensor="L1;L2")], {"L1": longer, "L2": span})) == ["2031-12-10 L2"]


def test_where_none_has_80_percent_the_one_with_most_answers():
    both = {
        "L1": readings(NIGHTS[0], without=("2031-12-10T03", "2031-12-10T11")),
        "L2": readings(NIGHTS[0], without=("2031-12-10T03", "2031-12-10T09")),
    }
    assert met(expose([plant(sensor="L1;L2")], both)) == [f"{DAYS[0]} L2"]


def test_the_span_of_an_event_is_that_of_all_sensors():
    # L1 covers its own short freeze, and too little of the event that L2 makes of it
    short = readings(NIGHTS[0], hours=3, without=("2031-12-10T08", "2031-12-12T00"))
    exposures = expose([plant(sensor="L1;L2")], {"L1": short, "L2": readings(NIGHTS[0], hours=30)})
    assert met(exposures) == [f"{DAYS[0]} L2"]


def test_all_freezes_of_the_sensor_in_the_event_are_met():
    both = {"L1": readings("2031-12-10T02", "2031-12-11T04"), "L2": readings("2031-12-10T04", hours=30)}
    exposures = expose([plant(sensor="L1")], both)
    assert met(exposures) == ["2031-12-10 L1", "2031-12-11 L1"]
    assert (exposures.table["event"] == "2031-12-10").all()


def test_with_no_reading_at_all_the_exposure_is_unknown():
    both = {"L1": readings(*NIGHTS, without=("2031-12-15T00", "2031-12-25T00")), "L2": readings(*NIGHTS)}
    exposures = expose([plant(sensor="L1", block="A"), plant("T2", sensor="L2")], both)
    assert met(exposures) == [f"{DAYS[0]} L1", f"{DAYS[2]} L1"]
    unknown = exposures.unknown
    assert unknown[["plant", "event"]].to_numpy().tolist() == [["T1", DAYS[1]]]
    span = exposures.table.set_index("freeze").loc[f"{DAYS[1]} L2"]
    assert unknown["starts"][0] == span["starts"]
    assert unknown["ends"][0] == span["ends"]
    assert str(unknown["starts"].dtype) == "datetime64[ns, UTC]"


def test_a_plant_that_no_sensor_speaks_for_knows_nothing():
    both = {"L1": readings(*NIGHTS), "L2": readings(NIGHTS[0])}
    exposures = expose(
        [plant(block="C")], both, sensors=[{"sensor": "L1", "block": "A"}, {"sensor": "L2", "block": "B"}]
    )
    assert exposures.table.empty
    assert exposures.unknown["event"].tolist() == DAYS


def test_a_lone_reading_is_still_a_reading():
    lone = readings(NIGHTS[0])
    lone = lone[[int(np.flatnonzero(lone["time"] == np.datetime64("2031-12-10T06"))[0])]]
    exposures = expose([plant(sensor="L1")], {"L1": lone, "L2": readings(NIGHTS[0])})
    assert met(exposures) == ["2031-12-10 L1"]
    assert exposures.table["coverage"].tolist() == [0.0]
    assert exposures.unknown.empty


def test_an_event_of_an_instant_is_covered_or_not():
    lone = readings(NIGHTS[0])
    lone = lone[[int(np.flatnonzero(lone["time"] == np.datetime64("2031-12-10T06"))[0])]]
    away = readings(NIGHTS[2], without=("2031-12-01T00", "2031-12-20T00"))
    by_sensor = {"L1": lone, "L2": readings(NIGHTS[2]), "L3": away}
    plants = [plant("T1", sensor="L1"), plant("T2", sensor="L2"), plant("T3", sensor="L3")]
    exposures = expose(plants, by_sensor)
    assert met(exposures, "T1") == ["2031-12-10 L1"]
    assert met(exposures, "T2") == ["2032-01-05 L2"]  # it read 5 degC before and after that instant: no freeze here
    assert exposures.unknown.to_dict("list")["plant"] == ["T1", "T3"]
    assert exposures.unknown.to_dict("list")["event"] == ["2032-01-05", "2031-12-10"]


# Lives --------------------------------------------------------------------------------------------------------------


def test_a_plant_meets_what_starts_after_it_was_planted():
    by_sensor = {"L1": readings(*NIGHTS)}
    assert met(expose([plant(planted_on="2031-12-20")], by_sensor)) == [f"{day} L1" for day in DAYS[1:]]
    assert met(expose([plant(planted_on="2031-12-21")], by_sensor)) == [f"{DAYS[2]} L1"]


def test_days_are_those_of_the_trials_zone():
    # 02:00 UTC is still the evening before in New York
    settings = Settings("Hill", "America/New_York")
    by_sensor = {"L1": readings(NIGHTS[1])}
    assert met(expose([plant(planted_on="2031-12-19")], by_sensor, settings=settings)) == ["2031-12-19 L1"]
    assert met(expose([plant(planted_on="2031-12-20")], by_sensor, settings=settings)) == []


def test_a_plant_without_a_planting_date_meets_freezes_from_its_first_score_on():
    scores = [{"plant": "T1", "scored_on": day, "grade": 0} for day in ("2032-02-01", "2031-12-15")]
    by_sensor = {"L1": readings(*NIGHTS)}
    assert met(expose([plant(planted_on=None)], by_sensor, scores=scores)) == [f"{day} L1" for day in DAYS[1:]]


def test_a_plant_without_any_date_meets_nothing_and_is_listed():
    exposures = expose([plant(planted_on=None), plant("T2")], {"L1": readings(*NIGHTS)})
    assert met(exposures) == []
    assert exposures.left_out["plant"].tolist() == ["T1"]
    assert exposures.left_out["reason"].tolist() == ["no planting date"]
    assert "neither planted_on nor a score" in exposures.left_out["detail"][0]


def test_a_plant_meets_what_ends_before_it_was_removed():
    by_sensor = {"L1": readings(*NIGHTS)}
    assert met(expose([plant(removed_on="2031-12-20")], by_sensor)) == [f"{day} L1" for day in DAYS[:2]]
    assert met(expose([plant(removed_on="2031-12-19")], by_sensor)) == [f"{DAYS[0]} L1"]
    night_and_day = {"L1": readings(NIGHTS[1], hours=30)}
    assert met(expose([plant(removed_on="2031-12-20")], night_and_day)) == []
    assert met(expose([plant(removed_on="2031-12-21")], night_and_day)) == ["2031-12-20 L1"]


def test_unknown_events_are_those_of_the_plants_life():
    both = {"L1": readings(*NIGHTS), "L2": readings()[:5]}
    exposures = expose([plant(sensor="L2", planted_on="2031-12-15", removed_on="2031-12-31")], both)
    assert exposures.unknown["event"].tolist() == [DAYS[1]]


@pytest.mark.parametrize("life, meets", [
    (("2031-12-20", "2031-12-20"), True), (("2031-12-21", None), False), (("2030-04-01", "2031-12-19"), False),
])  # fmt: skip
def test_a_freeze_of_just_one_day_is_met_by_a_plant_of_just_that_day(life, meets):
    planted_on, removed_on = life
    exposures = expose([plant(planted_on=planted_on, removed_on=removed_on)], {"L1": from_midnight_to_midnight()})
    assert met(exposures) == (["2031-12-20 L1"] if meets else [])


def test_an_unknown_event_of_just_one_day_is_of_a_plant_of_just_that_day():
    by_sensor = {"L1": from_midnight_to_midnight(), "L2": from_midnight_to_midnight()[:5]}
    life = {"planted_on": "2031-12-20", "removed_on": "2031-12-20"}
    assert expose([plant(sensor="L2", **life)], by_sensor).unknown["event"].tolist() == ["2031-12-20"]
    later = {"planted_on": "2031-12-21", "removed_on": "2031-12-31"}
    assert expose([plant(sensor="L2", **later)], by_sensor).unknown.empty


# Set aside ----------------------------------------------------------------------------------------------------------


def test_a_freeze_set_aside_is_listed_and_not_counted():
    notes = [{"from": "2031-12-20", "to": "2031-12-20", "note": "logger carried indoors", "set_aside": "yes"}]
    exposures = expose([plant(), plant("T2", planted_on="2032-01-01")], {"L1": readings(*NIGHTS)}, notes=notes)
    assert met(exposures) == [f"{DAYS[0]} L1", f"{DAYS[2]} L1"]
    assert met(exposures, "T2") == [f"{DAYS[2]} L1"]
    assert exposures.left_out.to_dict("records") == [
        {
            "what": "freeze",
            "plant": "T1",
            "freeze": f"{DAYS[1]} L1",
            "scored_on": None,
            "reason": "set aside",
            "detail": f"{DAYS[1]} L1 is set aside for T1: logger carried indoors.",
        }
    ]
    assert exposures.unknown.empty


def test_a_note_of_a_block_speaks_for_its_plants_only():
    note = {"from": "2031-12-20", "to": "2031-12-20", "block": "A", "note": "under glass", "set_aside": "yes"}
    plants = [plant("T1", block="A"), plant("T2", block="B"), plant("T3")]
    exposures = expose(plants, {"L1": readings(*NIGHTS)}, notes=[note, {**note, "note": "heated"}])
    assert met(exposures, "T1") == [f"{DAYS[0]} L1", f"{DAYS[2]} L1"]
    assert len(met(exposures, "T2")) == len(met(exposures, "T3")) == 3
    assert exposures.left_out["detail"].tolist() == [f"{DAYS[1]} L1 is set aside for T1: under glass; heated."]


def test_a_note_of_a_block_speaks_for_its_sensors_to_all_plants():
    note = {"from": "2031-12-20", "to": "2031-12-20", "block": "A", "note": "logger fell", "set_aside": "yes"}
    plants = [plant("T2", block="B", sensor="L1"), plant("T3", block="B", sensor="L2")]
    both = {"L1": readings(*NIGHTS), "L2": readings(*NIGHTS)}
    exposures = expose(
        plants, both, sensors=[{"sensor": "L1", "block": "A"}, {"sensor": "L2", "block": "B"}], notes=[note]
    )
    assert met(exposures, "T2") == [f"{DAYS[0]} L1", f"{DAYS[2]} L1"]
    assert met(exposures, "T3") == [f"{day} L2" for day in DAYS]


def test_an_event_set_aside_leaves_nothing_unknown():
    both = {"L1": readings(*NIGHTS), "L2": readings()[:5]}
    notes = [{"from": "2031-12-20", "to": "2031-12-20", "note": "in the cold store", "set_aside": "yes"}]
    exposures = expose([plant(sensor="L2")], both, notes=notes)
    assert exposures.unknown["event"].tolist() == [DAYS[0], DAYS[2]]


# Forms --------------------------------------------------------------------------------------------------------------


def test_rows_hold_the_plant_and_the_freeze_and_are_sorted_by_plant_and_start():
    plants = [plant("T2"), plant("T10", selection="OL-08", rootstock="own"), plant("T1")]
    by_sensor = {"L1": readings(*NIGHTS)}
    table = expose(plants, by_sensor).table
    freezes = freezes_table(by_sensor, table_of("sensors", []), UTC)
    assert list(table.columns) == [*schema.column_names(schema.EXPOSED), *freezes.columns]
    assert table["plant"].tolist() == ["T1"] * 3 + ["T10"] * 3 + ["T2"] * 3
    assert table.loc[3, ["selection", "rootstock"]].tolist() == ["OL-08", "own"]
    assert table["starts"].tolist() == freezes["starts"].tolist() * 3
    pd.testing.assert_frame_equal(table.loc[:2, list(freezes.columns)], freezes)


def test_freezes_of_one_start_keep_the_order_of_their_table():
    by_sensor = {"L1": readings(NIGHTS[0])}
    known = table_of("sensors", [])
    once = freezes_table(by_sensor, known, UTC)
    names = ["b", "a", "c"]
    freezes = pd.concat([once.assign(freeze=name) for name in names], ignore_index=True)
    tables = table_of("plants", [plant()]), table_of("scores", []), freezes, by_sensor, known
    assert met(expose_plants(*tables, table_of("freeze_notes", []), UTC)) == names


@pytest.mark.parametrize("plants", [[], [plant()]])
@pytest.mark.parametrize("by_sensor", [{}, {"L1": readings()}])
def test_nothing_met_is_empty_tables_of_the_same_columns(plants, by_sensor):
    exposures = expose(plants, by_sensor)
    full = expose([plant(), plant("T2", planted_on=None)], {"L1": readings(*NIGHTS)})
    for name in ("table", "unknown", "left_out"):
        assert getattr(exposures, name).empty
        assert list(getattr(exposures, name).columns) == list(getattr(full, name).columns)
    assert str(exposures.table["starts"].dtype) == "datetime64[ns, UTC]"
    assert list(full.left_out.columns) == schema.column_names(schema.LEFT_OUT)


def test_a_thousand_plants_each_meet_the_freezes_of_their_own_sensor():
    nights = [
        str(night)[:13] for night in np.datetime64("2031-11-02T02", "h") + np.arange(60) * np.timedelta64(36, "h")
    ]
    by_sensor = {f"L{i}": readings(*nights) for i in range(6)}
    plants = [plant(f"T{i:04d}", sensor=f"L{i % 6};L{i % 5}", block=f"B{i % 40}") for i in range(1000)]
    known = table_of("sensors", [])
    freezes = freezes_table(by_sensor, known, UTC)
    tables = table_of("plants", plants), table_of("scores", []), freezes, by_sensor, known, table_of("freeze_notes", [])
    exposures = expose_plants(*tables, UTC)
    assert exposures.table.groupby("plant").size().tolist() == [60] * 1000
    asked = exposures.table.drop_duplicates("plant").set_index("plant")["sensor"]
    assert asked[["T0000", "T0007", "T0999"]].tolist() == ["L0", "L1", "L3"]
