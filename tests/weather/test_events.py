"""The freezes of a whole trial: names, events, winters, how sure they are, and what notes set aside."""

from datetime import date
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from hardiness import schema
from hardiness.settings import FreezeRules, Settings
from hardiness.units import parse_temperature
from hardiness.weather.days import local_midnights, nanoseconds
from hardiness.weather.events import freezes_table, set_aside, winter_of
from hardiness.weather.exposure import freezes_of

NORTH = Settings("Hill", "America/New_York", latitude=40.6, longitude=-74.2)


def readings(
    *nights: str, hours: float = 8, low: float = -6.0, begin: str = "2031-11-01", days: int = 90
) -> xr.DataArray:
    """Hourly readings at 5 degC, with nights (first cold hour, UTC) that go down to ``low`` and up again."""
    time = pd.date_range(begin, periods=24 * days, freq="h").to_numpy().astype("M8[ns]")
    degrees = np.full(time.size, 5.0)
    for night in nights:
        since = (time - np.datetime64(night, "ns")) / np.timedelta64(1, "h")
        degrees[(since >= 0) & (since <= hours)] = low
    return xr.DataArray(degrees, {"time": time}, attrs={"units": "degC"})


def sensors(**facts: dict[str, object]) -> pd.DataFrame:
    """The sensors table with these sensors; what is not given is empty."""
    rows = [{"sensor": name, **fields} for name, fields in facts.items()]
    table = pd.DataFrame(index=range(len(rows)))
    for column in schema.SENSORS.columns:
        number = column.kind == "number"
        values = [row.get(column.name, np.nan if number else "") for row in rows]
        table[column.name] = pd.Series(values, dtype=float if number else object)
    return table


def notes(*rows: tuple[str, str, str, str, str]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=list(schema.FREEZE_NOTES.names))
    for name in ("from", "to"):
        table[name] = [date.fromisoformat(day) for day in table[name]]
    return table


def test_a_freeze_is_named_by_its_local_day_and_sensor():
    # 02:00 UTC on the 15th is 21:00 on the 14th in New York
    table = freezes_table({"L1": readings("2031-12-15T02"), "L2": readings("2031-12-15T07")}, sensors(), NORTH)
    assert table["freeze"].tolist() == ["2031-12-14 L1", "2031-12-15 L2"]


def test_a_second_freeze_of_a_day_gets_a_b():
    nights = readings("2031-12-15T05", "2031-12-15T22", "2031-12-16T03", hours=1)
    settings = Settings("Hill", "America/New_York", rules=FreezeRules(thaw_h=2.0))
    table = freezes_table({"L1": nights}, sensors(), settings)
    assert table["freeze"].tolist() == ["2031-12-14 L1", "2031-12-15 L1", "2031-12-15 L1 b"]
    assert table["event"].tolist() == ["2031-12-14", "2031-12-15", "2031-12-15 b"]


def test_names_stay_unique_beside_a_sensor_whose_name_looks_like_one():
    settings = Settings("Hill", "UTC", rules=FreezeRules(thaw_h=3.0))
    twice = readings("2031-12-15T02", "2031-12-15T14", hours=1)
    table = freezes_table({"L1": twice, "L1 b": twice}, sensors(), settings)
    assert sorted(table["freeze"]) == ["2031-12-15 L1", "2031-12-15 L1 b", "2031-12-15 L1 b b", "2031-12-15 L1 c"]


def test_freezes_that_overlap_are_one_event():
    table = freezes_table(
        {
            "L1": readings("2031-12-15T02", "2031-12-18T02"),
            "L2": readings("2031-12-15T06"),
            "L3": readings("2031-12-16T02"),
        },
        sensors(),
        NORTH,
    )
    assert table["sensor"].tolist() == ["L1", "L2", "L3", "L1"]
    assert table["event"].tolist() == ["2031-12-14", "2031-12-14", "2031-12-15", "2031-12-17"]


def test_events_are_chained():
    # L1 ends before L3 starts; L2 spans both
    table = freezes_table(
        {
            "L1": readings("2031-12-15T02", hours=6),
            "L2": readings("2031-12-15T06", hours=12),
            "L3": readings("2031-12-15T17", hours=8),
        },
        sensors(),
        NORTH,
    )
    assert table["event"].tolist() == ["2031-12-14"] * 3


def test_two_freezes_of_one_sensor_may_lie_in_one_event():
    table = freezes_table(
        {"L1": readings("2031-12-15T02", "2031-12-16T02"), "L2": readings("2031-12-15T04", hours=30)}, sensors(), NORTH
    )
    assert table.groupby("event")["sensor"].agg(list).to_dict() == {"2031-12-14": ["L1", "L2", "L1"]}


def test_freezes_that_touch_are_one_event():
    # hourly lines from 5 to -5 and back cross 0 half an hour before and after: L1 ends as L2 starts
    table = freezes_table(
        {"L1": readings("2031-12-15T02", hours=4, low=-5.0), "L2": readings("2031-12-15T07", hours=4, low=-5.0)},
        sensors(),
        NORTH,
    )
    assert table["ends"][0] == table["starts"][1]
    assert table["event"].tolist() == ["2031-12-14", "2031-12-14"]


def test_an_event_over_new_year_keeps_its_first_day_and_winter():
    table = freezes_table(
        {"L1": readings("2031-12-31T20", hours=20), "L2": readings("2032-01-01T08")}, sensors(), Settings("Hill", "UTC")
    )
    assert table["event"].tolist() == ["2031-12-31", "2031-12-31"]
    assert table["freeze"].tolist() == ["2031-12-31 L1", "2032-01-01 L2"]
    assert table["winter"].tolist() == ["2031-32", "2031-32"]


def test_winters_turn_in_july_north_and_in_january_south():
    times = pd.DatetimeIndex(["2032-07-01T03:59", "2032-07-01T04:01", "2099-12-31T12", "2100-01-01T12"], tz="UTC")
    assert winter_of(times, NORTH) == ["2031-32", "2032-33", "2099-00", "2099-00"]
    south = Settings("Bay", "Australia/Hobart", latitude=-42.9)
    assert winter_of(pd.DatetimeIndex(["2031-12-31T12:59", "2031-12-31T13:01"], tz="UTC"), south) == ["2031", "2032"]
    assert winter_of(times[:1], Settings("Hill", "UTC")) == ["2032-33"]  # no latitude: north


def test_all_columns_stand_in_their_order_and_rows_by_start_then_sensor():
    rules = FreezeRules(thresholds=(parse_temperature("28 F"),), held_h=(1.0,))
    settings = Settings("Hill", "UTC", rules=rules)
    night = readings("2031-12-15T02")
    table = freezes_table({"L2": night, "L10": night, "L1": readings("2031-12-20T02")}, sensors(), settings)
    assert list(table.columns) == schema.column_names(schema.freeze_columns(rules.thresholds, rules.held_h))
    assert table["sensor"].tolist() == ["L10", "L2", "L1"]
    assert table.index.tolist() == [0, 1, 2]


@pytest.mark.parametrize("given", [{}, {"L1": readings()}, {"L1": readings().isel(time=slice(0, 0))}])
def test_no_freeze_is_an_empty_table_of_the_same_columns_and_kinds(given):
    table = freezes_table(given, sensors(), NORTH)
    full = freezes_table({"L1": readings("2031-12-15T02")}, sensors(), NORTH)
    assert table.empty
    assert table.dtypes.to_dict() == full.dtypes.to_dict()
    assert list(table.columns) == list(full.columns)


def test_the_measures_are_those_of_the_readings():
    night = readings("2031-12-15T02")
    table = freezes_table({"L1": night}, sensors(), NORTH)
    alone = freezes_of(night["time"].to_numpy(), night.to_numpy())
    pd.testing.assert_frame_equal(table[list(alone.columns)], alone)


def test_how_sure_a_freeze_is_depends_on_the_sensor():
    night = readings("2031-12-15T02")
    table = freezes_table(
        {name: night for name in ("L1", "L2", "L3", "L4")},
        sensors(L1={"accuracy_c": 0.2}, L2={"shielded": "no"}, L3={"shielded": "yes", "accuracy_c": 0.0}),
        NORTH,
    ).set_index("sensor")
    assert table["coverage"].eq(1.0).all()
    expected = {"L1": 0.2, "L2": np.sqrt(0.25 + 1.0), "L3": 0.0, "L4": 0.5}
    assert table["sd_c"].to_dict() == pytest.approx(expected, abs=1e-12)


def test_half_covered_freezes_are_less_sure():
    night = readings("2031-12-15T00", hours=23)
    gappy = night.where(
        (night["time"] < np.datetime64("2031-12-15T04")) | (night["time"] > np.datetime64("2031-12-15T14"))
    )
    table = freezes_table({"L1": gappy}, sensors(), NORTH)
    covered = table["coverage"][0]
    assert 0.4 < covered < 0.7
    assert table["sd_c"][0] == pytest.approx(np.sqrt(0.25 + (2 * (1 - covered)) ** 2), abs=1e-12)


def test_an_offset_is_added_and_a_station_is_a_station():
    night = readings("2031-12-15T02", low=-6.0)
    table = freezes_table({"S1": night}, sensors(S1={"kind": "station", "offset_c": -0.7}), NORTH)
    assert table["minimum_c"].tolist() == [-6.7]
    assert table["source"].tolist() == ["station"]
    assert night.min() == -6.0
    raw = freezes_table({"S1": night}, sensors(), NORTH)
    assert raw["minimum_c"].tolist() == [-6.0]
    assert raw["source"].tolist() == ["logger"]


def test_midnights_that_the_clock_skips_or_repeats_have_an_instant():
    # Sao Paulo went from 00:00 to 01:00 on 15 October 2017; Havana came back from 01:00 to 00:00 on 5 November 2017
    def instant(day: date, zone: str) -> str:
        return str(local_midnights([day], ZoneInfo(zone)).astype("M8[ns]")[0])[:16]

    assert instant(date(2017, 10, 15), "America/Sao_Paulo") == "2017-10-15T03:00"
    assert instant(date(2017, 11, 5), "America/Havana") == "2017-11-05T04:00"
    assert instant(date(1066, 10, 14), "Europe/London")  # far out of what nanoseconds reach, and still before all
    assert local_midnights([], ZoneInfo("UTC")).tolist() == []


def test_notes_set_the_freezes_of_their_days_aside():
    table = freezes_table({"L1": readings("2031-12-15T02", "2031-12-20T02", "2031-12-25T02")}, sensors(), NORTH)
    # nights of 14, 19 and 24 December in New York; the last day counts to its end
    aside = set_aside(
        table,
        notes(("2031-12-14", "2031-12-14", "", "carried indoors", "yes"), ("2031-12-15", "2031-12-19", "", "", "yes")),
        sensors(),
        NORTH,
    )
    assert aside["freeze"].tolist() == ["2031-12-14 L1", "2031-12-14 L1", "2031-12-19 L1"]
    assert aside["note"].tolist() == ["carried indoors", "", ""]
    assert aside["all_blocks"].tolist() == [True, True, True]


def test_a_note_that_sets_nothing_aside_or_misses_the_days_does_nothing():
    table = freezes_table({"L1": readings("2031-12-15T02")}, sensors(), NORTH)
    aside = set_aside(
        table,
        notes(("2031-12-01", "2031-12-31", "", "windy", "no"), ("2031-12-01", "2031-12-31", "", "calm", ""),
              ("2031-12-16", "2031-12-20", "", "later", "yes"), ("2031-12-01", "2031-12-13", "", "before", "yes")),
        sensors(),
        NORTH,
    )  # fmt: skip
    assert aside.empty
    assert list(aside.columns) == ["freeze", "block", "note", "all_blocks"]
    assert set_aside(table.iloc[:0], notes(("2031-12-01", "2031-12-31", "", "", "yes")), sensors(), NORTH).empty


def test_a_note_of_a_block_speaks_of_its_plants_and_its_sensors():
    night = readings("2031-12-15T02")
    known = sensors(L1={"block": "A"}, L2={"block": "B"}, S1={"kind": "station"})
    table = freezes_table({"L1": night, "L2": night, "S1": night}, known, NORTH)
    aside = set_aside(table, notes(("2031-12-14", "2031-12-15", "A", "logger fell", "yes")), known, NORTH)
    assert aside.set_index("freeze")[["block", "all_blocks"]].to_dict("index") == {
        "2031-12-14 L1": {"block": "", "all_blocks": True},
        "2031-12-14 L2": {"block": "A", "all_blocks": False},
        "2031-12-14 S1": {"block": "A", "all_blocks": False},
    }


def test_instants_of_a_table_are_whole_nanoseconds_at_any_resolution():
    times = pd.Series(pd.to_datetime(["1970-01-01T00:00:02Z", "1970-01-02T00:00:00Z"], utc=True))
    for unit in ("s", "ms", "us", "ns"):
        assert nanoseconds(times.dt.as_unit(unit)).tolist() == [2_000_000_000, 86_400_000_000_000]


def test_a_note_reaches_from_the_midnight_of_its_first_day_up_to_the_midnight_after_its_last():
    spans = {
        "ends with the midnight before": ("2031-12-14T20:00", "2031-12-15T00:00", False),
        "touches onset at that midnight": ("2031-12-15T00:00", "2031-12-15T00:00", True),
        "starts in the last minute": ("2031-12-15T23:59", "2031-12-16T04:00", True),
        "starts with the midnight after": ("2031-12-16T00:00", "2031-12-16T04:00", False),
        "touches onset at the midnight after": ("2031-12-16T00:00", "2031-12-16T00:00", False),
    }
    starts, ends = (pd.DatetimeIndex([span[end] for span in spans.values()], tz="UTC") for end in (0, 1))
    freezes = pd.DataFrame({"freeze": list(spans), "sensor": "L1", "starts": starts, "ends": ends})
    aside = set_aside(freezes, notes(("2031-12-15", "2031-12-15", "", "", "yes")), sensors(), Settings("Hill", "UTC"))
    assert aside["freeze"].tolist() == [name for name, (_, _, reached) in spans.items() if reached]


def test_a_trial_on_the_equator_has_northern_winters():
    july = pd.DatetimeIndex(["2031-06-30T12", "2031-07-01T12"], tz="UTC")
    assert winter_of(july, Settings("Ridge", "Africa/Nairobi", latitude=0.0)) == ["2030-31", "2031-32"]


def test_a_long_freeze_holds_those_together_that_lie_in_it_one_after_the_other():
    """L2 and L3 do not meet, nor would L3 follow on L2; both lie in the cold spell that L1 went through."""
    table = freezes_table(
        {
            "L1": readings("2031-12-15T02", hours=30),
            "L2": readings("2031-12-15T04", hours=4),
            "L3": readings("2031-12-15T20", hours=4),
            "L4": readings("2031-12-17T02", hours=4),
        },
        sensors(),
        NORTH,
    )
    assert table["sensor"].tolist() == ["L1", "L2", "L3", "L4"]
    assert table["event"].tolist() == ["2031-12-14"] * 3 + ["2031-12-16"]
