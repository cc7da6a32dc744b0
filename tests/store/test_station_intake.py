"""Stations' files taken in: the sensor they make, what stays with their readings, and what does not go together."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from hardiness.errors import InputError
from hardiness.read.station_data import StationFacts
from hardiness.settings import Settings
from hardiness.store import open_store
from hardiness.store.station_intake import add_station
from hardiness.trial import open_trial
from hardiness.weather.daily import measure_daily_minima
from tests.read.test_stations import ISD, TABLE, dly_line

HILL = Settings("Hill", "Europe/Madrid", latitude=40.4, longitude=-3.7, elevation_m=600.0)
DAILY = "\n".join(
    [dly_line({13: -12, 14: -41, 15: -60}), dly_line({13: 80, 14: 30, 15: 12, 16: 40}, element="TMAX"), ""]
)


@pytest.fixture
def store(tmp_path):
    (tmp_path / "trial").mkdir()
    with open_store(tmp_path / "trial", HILL, who="RM") as opened:
        yield opened


def add(store, content: str, station: str = "ST", name: str = "station.dly", **options):
    return add_station(store, HILL, content.encode(), station=station, name=name, **options)


def refused(store, *given, **options) -> str:
    before = store.state_token()
    with pytest.raises(InputError) as raised:
        add(store, *given, **options)
    assert store.state_token() == before
    return str(raised.value)


def test_a_daily_file_makes_a_station_with_one_value_for_each_of_its_days(store):
    intake = add(store, DAILY)
    assert (intake.added, intake.repeated) == (3, False)
    air = store.readings()["ST"]
    assert air.attrs["series"] == "daily_minimum"
    assert air.values.tolist() == [-1.2, -4.1, -6.0]
    # midnights of Madrid in December
    assert [str(time)[:16] for time in air["time"].values] == [f"2031-12-{day}T23:00" for day in (12, 13, 14)]
    sensor = store.current("sensors").iloc[0]
    assert (sensor["sensor"], sensor["kind"], sensor["accuracy_c"]) == ("ST", "station", 0.5)
    assert sensor["notes"] == "Public station XX000012345, from GHCN-Daily."
    assert any("'ST' is new: it was created as a station" in text for text in intake.said)
    assert any("--hours estimated" in text for text in intake.said)


def test_hours_may_be_drawn_through_minima_and_maxima(store):
    intake = add(store, DAILY, "ST est", estimated=True)
    assert (
        "1 day without a minimum and a maximum above it: not drawn, nor the nights beside." in intake.said
    )  # the 16th
    air = store.readings()["ST est"]
    assert air.attrs["series"] == "estimated"
    assert air.values.min() == -6.0 and air.size > 50
    assert np.diff(air["time"].values).min() > np.timedelta64(0)


def test_hourly_files_are_measured_and_carry_no_series(store):
    intake = add(store, ISD, name="123450-99999-2031")
    assert "series" not in store.readings()["ST"].attrs
    assert store.readings()["ST"].values.tolist() == [-4.1, -5.5, -2.2]
    assert any("how the plants' air differs" in text for text in intake.said)


@pytest.mark.parametrize(
    "units, accuracy, drawn", [("C", "Its accuracy of 0.5 °C is", "and 1.4 °C is added"),
                               ("F", "Its accuracy of 0.9 °F is", "and 2.5 °F is added")],
)  # fmt: skip
def test_errors_are_said_in_the_trials_degrees(store, units, accuracy, drawn):
    hill = replace(HILL, units=units)
    hourly = add_station(store, hill, ISD.encode(), station="A", name="123450-99999-2031")
    daily = add_station(store, hill, DAILY.encode(), station="B", name="station.dly", estimated=True)
    assert any(accuracy in text for text in hourly.said)
    assert any(drawn in text for text in daily.said)


def test_the_part_keeps_where_its_readings_are_from(store, tmp_path):
    add(store, TABLE, name="kept.csv", provenance={"fetched_at": "2032-01-20T12:30:00+00:00"})
    (part,) = (tmp_path / "trial" / "readings").glob("*.nc")
    with xr.open_dataset(part, engine="h5netcdf") as opened:
        kept = dict(opened.attrs)
    assert kept["series"] == "daily_minimum"
    assert kept["station_id"] == "S0001" and kept["fetched_at"] == "2032-01-20T12:30:00+00:00"
    assert kept["model_filled"] == "1" and kept["sources"] == "dwd_mosmix: 1, ghcnd: 1"
    assert kept["height_difference_m"] == 20
    assert kept["timezone"] == "Europe/Madrid" and kept["timezone_from"] == "file"


def test_place_and_height_come_from_the_file_else_from_the_user(store):
    place = StationFacts(latitude=40.5, longitude=-3.7, elevation_m=700.0)
    add(store, DAILY, place=place)
    sensor = store.current("sensors").iloc[0]
    assert sensor[["latitude", "longitude", "elevation_m"]].tolist() == [40.5, -3.7, 700.0]
    assert sensor["notes"].endswith("; 11.1 km from the trial, 100 m higher.")
    add(store, TABLE, "kept", name="kept.csv", place=place)
    sensor = store.current("sensors").iloc[1]
    assert sensor[["latitude", "longitude", "elevation_m"]].tolist() == [40.5, -3.7, 620.0]


def test_a_station_that_lies_far_away_is_pointed_out(store):
    far = StationFacts(latitude=41.5, longitude=-3.7)
    assert "It lies 122 km from the trial: other weather may reach it." in add(store, DAILY, place=far).said
    near = StationFacts(latitude=40.9, longitude=-3.7)
    assert not any("other weather" in text for text in add(store, DAILY, "near", place=near).said)


def test_the_same_file_given_twice_changes_nothing(store):
    add(store, DAILY)
    before = store.state_token()
    again = add(store, DAILY)
    assert again.repeated and store.state_token() == before


def test_a_longer_file_of_the_same_station_adds_its_new_days(store):
    add(store, DAILY)
    longer = DAILY.replace(dly_line({13: -12, 14: -41, 15: -60}), dly_line({13: -12, 14: -41, 15: -60, 16: -22}))
    assert add(store, longer).added == 1
    assert store.readings()["ST"].values.tolist() == [-1.2, -4.1, -6.0, -2.2]


def test_a_longer_file_changes_no_hour_that_was_drawn(store):
    add(store, DAILY, estimated=True)
    before = store.readings()["ST"]
    longer = DAILY.replace(dly_line({13: -12, 14: -41, 15: -60}), dly_line({13: -12, 14: -41, 15: -60, 16: -22}))
    assert add(store, longer, estimated=True).added > 20
    after = store.readings()["ST"]
    assert after.sel(time=before["time"]).values == pytest.approx(before.values)


def test_another_value_for_a_known_day_is_refused(store):
    add(store, DAILY)
    assert "−4.50 °C" in refused(store, DAILY.replace("  -41", "  -45"))


def test_a_sensor_has_one_kind_of_readings(store):
    add(store, DAILY)
    said = refused(store, DAILY, estimated=True)
    assert "hours drawn through daily minima and maxima for sensor 'ST', which has daily minima" in said
    assert "'ST estimated'" in said
    assert "readings by instant for sensor 'ST'" in refused(store, ISD)


def test_withdrawn_readings_of_another_kind_do_not_come_back_beside_others(store):
    first = add(store, DAILY)
    store.withdraw_upload(first.sha256[:12])
    add(store, ISD)
    with pytest.raises(InputError, match="daily minima for sensor 'ST'"):
        store.withdraw_upload(first.sha256[:12], undo=True)


def test_a_logger_is_no_station(store, tmp_path):
    path = tmp_path / "sensors.csv"
    path.write_text("sensor,kind\nL1,logger\n")
    (tmp_path / "trial" / "trial.toml").write_text('name = "Hill"\ntimezone = "Europe/Madrid"\n')
    with open_trial(tmp_path / "trial") as trial:
        trial.add_table("sensors", path)
        with pytest.raises(InputError, match="'L1', which is a logger"):
            add_station(trial.store, trial.settings, DAILY.encode(), station="L1", name="x.dly")


@pytest.mark.parametrize("station", ["", "A;B"])
def test_a_name_that_is_none_of_a_sensor_is_refused(store, station):
    assert "--station" in refused(store, DAILY, station)


def test_hours_that_are_there_are_not_drawn(store):
    assert "Leave --hours estimated out: the hours are there" in refused(store, ISD, estimated=True)
    assert "Leave --daily out" in refused(store, ISD, only_daily=True)


def test_hours_are_not_drawn_without_maxima_or_without_a_place(store):
    alone = dly_line({14: -41})
    assert "no day with a minimum and a maximum" in refused(store, alone, estimated=True)
    nowhere = Settings("Hill", "Europe/Madrid")
    with pytest.raises(InputError, match=r"set latitude and longitude in trial\.toml"):
        add_station(store, nowhere, DAILY.encode(), station="ST", name="x.dly", estimated=True)


def test_days_are_those_of_the_zone_that_is_named(store):
    add(store, DAILY, timezone="America/New_York")
    assert str(store.readings()["ST"]["time"].values[0])[:16] == "2031-12-13T05:00"


def test_daily_minima_carry_the_zone_of_their_days_and_end_with_them(store):
    march = "\n".join([dly_line({8: -41, 9: -52}, month=3, year=2031), ""])
    add(store, march, timezone="America/New_York")
    air = store.readings()["ST"]
    assert air.attrs["timezone"] == "America/New_York"
    # summer time begins there on 9 March 2031, three weeks before it does at the trial
    freezes = measure_daily_minima(air, HILL)
    assert freezes["duration_h"].tolist() == [24.0, 23.0]
    assert freezes["ends"].iloc[1] == pd.Timestamp("2031-03-10T04:00", tz="UTC")


def test_days_of_another_zone_would_count_nights_twice_and_are_refused(store):
    add(store, DAILY)
    longer = DAILY.replace(dly_line({13: -12, 14: -41, 15: -60}), dly_line({13: -12, 14: -41, 15: -60, 16: -22}))
    said = refused(store, longer, timezone="America/New_York")
    assert "days of America/New_York for sensor 'ST', which has days of Europe/Madrid" in said
    assert "--timezone Europe/Madrid" in said
    assert add(store, longer, timezone="Europe/Paris").added == 1  # the same days
    add(store, DAILY, "ST drawn", estimated=True)
    assert add(store, longer, "ST drawn", estimated=True, timezone="America/New_York").added > 20  # hours, no days


def test_days_of_another_zone_do_not_come_back_either(store):
    there = add(store, DAILY)
    store.withdraw_upload(there.sha256)
    later = dly_line({15: -62, 16: -22})
    add(store, later + "\n", timezone="America/New_York")
    with pytest.raises(InputError, match="days of Europe/Madrid for sensor 'ST', which has days of America/New_York"):
        store.withdraw_upload(there.sha256, undo=True)
    assert store.readings()["ST"].values.tolist() == [-6.2, -2.2]


def test_uploads_say_which_archive_and_station_a_file_is_of(store):
    add(store, DAILY, estimated=True)
    assert store.uploads()["options"].iloc[0] == '{"hours":"estimated","source":"GHCN-Daily XX000012345"}'
