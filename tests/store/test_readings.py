"""Readings in the store: CF parts, merging, agreement, contradiction, withdrawal."""

import dataclasses
import warnings

import numpy as np
import pytest
import xarray as xr

from hardiness.errors import InputError, StoreError
from hardiness.read.loggers import read_logger
from hardiness.store.agreement import FileReadings, compare
from hardiness.weather.extents import Extent, extents_of


def problems(call, *arguments, **options):
    with pytest.raises(InputError) as caught:
        call(*arguments, **options)
    return [str(problem) for problem in caught.value.problems]


def part_of(trial):
    (path,) = (trial.folder / "readings").iterdir()
    return path


def test_readings_come_out_as_they_went_in_and_the_sensor_is_created(trial, logger):
    given = logger([-1.1, -2.25, -3.333333333333333, 4.0])
    intake = trial.add_readings(given)
    assert (intake.added, intake.unchanged, intake.repeated) == (4, 0, False)
    assert intake.said == ["Sensor 'L1' is new: it was created as a logger."]
    air = trial.store.readings()["L1"]
    xr.testing.assert_equal(air, given.air_temperature)
    assert air.name == "air_temperature" and air.dims == ("time",) and air.dtype == "float64"
    assert air["time"].dtype == "datetime64[ns]"
    assert air.attrs == {
        "units": "degC", "standard_name": "air_temperature", "long_name": "air temperature",
        "units_metadata": "temperature: on_scale",
    }  # fmt: skip
    xr.testing.assert_equal(trial.store.readings_of("L1"), air)
    sensors = trial.store.current("sensors")
    assert list(sensors["sensor"]) == ["L1"] and list(sensors["kind"]) == ["logger"]


def test_a_loggers_export_comes_out_as_its_reader_gave_it(trial, tmp_path):
    path = tmp_path / "export.csv"
    path.write_text("Time;Temp (F)\n2026-01-10 00:00;24.1\n2026-01-10 00:30;23.9\n2026-01-10 01:00;23.4\n")
    read = read_logger(path, timezone="UTC-05:00", default_timezone="Europe/Lisbon")
    intake = trial.store.add_readings(read, path, sensor="L1", options={"timezone": "UTC-05:00"})
    assert (intake.file, intake.added) == ("export.csv", 3)
    air = trial.store.readings_of("L1")
    np.testing.assert_array_equal(air.values, read.air_temperature.values)
    assert air.values[0] == pytest.approx((24.1 - 32) / 1.8, abs=1e-12)
    assert str(air["time"].values[0]) == "2026-01-10T05:00:00.000000000"
    assert trial.store.last_timezone("L1") == "UTC-05:00"


def test_a_known_sensor_is_left_alone_and_a_near_name_is_offered(trial, logger):
    trial.add("sensors", "sensor,kind,latitude,longitude\nL1,station,40.5,-8\n")
    assert trial.add_readings(logger([-1.0])).said == []
    assert trial.column("sensors", "kind") == ["station"]
    said = trial.add_readings(logger([-1.0]), sensor="L11").said
    assert said == ["Sensor 'L11' is new: it was created as a logger. Did you mean 'L1'?"]


@pytest.mark.parametrize("sensor", ["", "  ", "L1;L2", "L\n1"])
def test_a_sensor_has_a_name_on_one_line_without_semicolon(trial, logger, sensor):
    (text,) = problems(trial.add_readings, logger([-1.0]), sensor=sensor)
    assert text.startswith("l1.csv: found sensor ")
    assert trial.files_kept == []


def test_a_file_without_readings_is_refused(trial, logger):
    assert "found 0 readings among 0 rows" in problems(trial.add_readings, logger([]))[0]
    assert "found 1 readings among 2 rows" in problems(trial.add_readings, logger([-1.0, np.nan]))[0]


def test_a_part_is_a_cf_time_series(trial, logger):
    given = logger([-1.5, -2.5, -0.5], resolution_c=0.05, unit="degF", timezone="UTC-05:00", timezone_from="option")
    intake = trial.add_readings(given)
    path = part_of(trial)
    assert path.stat().st_mode & 0o777 == 0o444
    with xr.open_dataset(path, engine="h5netcdf") as part:
        assert part.attrs["Conventions"] == "CF-1.11" and part.attrs["featureType"] == "timeSeries"
        assert part.attrs["sha256"] == intake.sha256 and part.attrs["unit_of_file"] == "degF"
        assert part.attrs["resolution_c"] == 0.05 and part.attrs["timezone"] == "UTC-05:00"
        assert "hardiness" in part.attrs["history"]
        assert part["air_temperature"].attrs["units"] == "degC" and part["air_temperature"].dtype == "float64"
        assert part["air_temperature"].attrs["standard_name"] == "air_temperature"
        np.testing.assert_array_equal(part["time"].values, given.air_temperature["time"].values)
        assert part["time"].attrs["standard_name"] == "time"
        np.testing.assert_array_equal(part["row"], [2, 3, 4])
        assert part["sensor"].attrs["cf_role"] == "timeseries_id" and part["sensor"].values.tolist() == ["L1"]
        assert part["row_size"].attrs["sample_dimension"] == "reading" and part["row_size"].values.tolist() == [3]
        assert (part["latitude"].item(), part["longitude"].item()) == (41.2, -7.6)  # the trial's: the sensor has none
    with xr.open_dataset(path, engine="h5netcdf", decode_times=False) as raw:
        assert raw["time"].dtype == "int64" and raw["time"].attrs["units"] == "seconds since 1970-01-01 00:00:00"


def test_the_place_of_a_sensor_goes_into_its_part(trial, logger):
    trial.add("sensors", "sensor,latitude,longitude\nL1,40.5,-8\n")
    trial.add_readings(logger([-1.0]))
    with xr.open_dataset(part_of(trial), engine="h5netcdf") as part:
        assert (part["latitude"].item(), part["longitude"].item()) == (40.5, -8.0)


@pytest.mark.parametrize(
    ("time", "unit"),
    [("2026-01-10T00:00:00.250", "milliseconds"), ("2026-01-10T00:00:00.000000001", "nanoseconds")],
)
def test_times_finer_than_a_second_are_kept_exactly(trial, logger, time, unit):
    times = np.array(["1969-12-31T23:59:59", time], "M8[ns]")
    trial.add_readings(logger([-1.0, -2.0], times=times))
    np.testing.assert_array_equal(trial.store.readings_of("L1")["time"].values, times)
    with xr.open_dataset(part_of(trial), engine="h5netcdf", decode_times=False) as raw:
        assert raw["time"].attrs["units"] == f"{unit} since 1970-01-01 00:00:00"


def test_other_units_of_time_in_memory_change_nothing(trial, logger):
    given = logger([-1.0, -2.0])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # older xarray knows nanoseconds only, converts, and warns
        seconds = given.air_temperature.assign_coords(time=given.air_temperature["time"].values.astype("M8[s]"))
    trial.add_readings(dataclasses.replace(given, air_temperature=seconds))
    assert str(trial.store.readings_of("L1")["time"].values[1]) == "2026-01-10T00:30:00.000000000"


def test_unsorted_readings_come_out_sorted_and_the_part_keeps_the_order_of_the_file(trial, logger):
    times = np.array(["2026-01-10T02", "2026-01-10T00", "2026-01-10T01"], "M8[ns]")
    trial.add_readings(logger([-3.0, -1.0, -2.0], times=times))
    assert trial.store.readings_of("L1").values.tolist() == [-1.0, -2.0, -3.0]
    with xr.open_dataset(part_of(trial), engine="h5netcdf") as part:
        assert part["air_temperature"].values.tolist() == [-3.0, -1.0, -2.0]


def test_the_same_file_twice_changes_nothing_but_another_sensor_or_option_is_another(trial, logger):
    given = logger([-4.0, -5.0])
    trial.add_readings(given, content=b"export", options={"timezone": "UTC", "unit": None})
    again = trial.add_readings(given, content=b"export", options={"timezone": "UTC"})
    assert again.repeated and again.said[0].endswith("as 'l1.csv': nothing has changed.")
    assert not trial.add_readings(given, content=b"export", sensor="L2", options={"timezone": "UTC"}).repeated
    other = trial.add_readings(given, content=b"export", options={"timezone": "UTC", "unit": "C"})
    assert not other.repeated and other.unchanged == 2
    assert len(list((trial.folder / "uploads").iterdir())) == 1
    assert len(list((trial.folder / "readings").iterdir())) == 3


def test_overlapping_readings_that_agree_are_counted_and_the_first_stays(trial, logger):
    trial.add_readings(logger([-1.0, -2.0, -3.0]), name="a.csv")
    second = trial.add_readings(logger([-2.06, -3.0, -4.0], start="2026-01-10T00:30"), name="b.csv")
    assert (second.added, second.unchanged) == (1, 2)
    assert second.said == ["2 of 3 readings of b.csv agree with what was there already; the first ones stay."]
    air = trial.store.readings_of("L1")
    assert air.values.tolist() == [-1.0, -2.0, -3.0, -4.0]
    assert (np.diff(air["time"].values) == np.timedelta64(30, "m")).all()


@pytest.mark.parametrize(
    ("first", "second", "apart", "agree"),
    [
        (0.01, 0.01, 0.06, True),  # never closer than 0.06 is asked
        (0.01, 0.01, 0.061, False),
        (0.1, 0.01, 0.1, True),  # the coarser file's last digit
        (0.01, 0.1, 0.1, True),
        (0.1, 0.1, 0.11, False),
        (0.5, 0.1, 0.5, True),
    ],
)
def test_readings_agree_within_the_coarser_last_digit_or_six_hundredths(trial, logger, first, second, apart, agree):
    trial.add_readings(logger([-7.3], resolution_c=first), name="a.csv")
    later = logger([-7.3 + apart], resolution_c=second)
    if agree:
        assert trial.add_readings(later, name="b.csv").unchanged == 1
    else:
        (text,) = problems(trial.add_readings, later, name="b.csv")
        assert f"agree within {max(first, second, 0.06):g} °C" in text
    assert trial.store.readings_of("L1").values.tolist() == [-7.3]


def test_contradictions_are_said_in_the_trials_unit():
    times = np.array([0, 1], np.int64)
    readings = FileReadings(np.array([0, 0], np.int64), np.array([-10.0, -9.0]), times + 2, 0.1, "a.csv", "L1")
    (problem,) = compare(readings, [], "F").problems
    assert (problem.found, problem.accepted) == (
        "15.80 °F at 1970-01-01T00:00:00Z, where row 2 of this file has 14.00 °F",
        "readings of sensor 'L1' that agree within 0.18 °F",
    )


def test_contradictions_name_rows_times_both_values_and_the_other_file(trial, logger):
    first = trial.add_readings(logger([-1.0, -2.0, -3.0, -4.0, -5.0, -6.0]), name="a.csv")
    kept = trial.files_kept, trial.store.state_token()
    found = problems(trial.add_readings, logger([-1.0, -2.5, -3.0, -4.4, -5.9, -7.0]), name="b.csv")
    hint = (
        "Is it the right sensor, and the right --timezone? If 'a.csv' is wrong, withdraw it: hardiness withdraw upload "
        f"{first.sha256[:12]}."
    )
    assert found == [
        "b.csv, row 3: found −2.50 °C at 2026-01-10T00:30:00Z, where row 3 of 'a.csv' has −2.00 °C; accepted: readings "
        f"of sensor 'L1' that agree within 0.1 °C. {hint}",
        "b.csv, rows 5-7: found 3 readings of 'a.csv' with other values, up to 1 °C apart, to 2026-01-10T02:30:00Z; "
        "the first: −4.40 °C at 2026-01-10T01:30:00Z, where row 5 of 'a.csv' has −4.00 °C; accepted: readings of "
        f"sensor 'L1' that agree within 0.1 °C. {hint}",
    ]
    assert (trial.files_kept, trial.store.state_token()) == kept


def test_a_thousand_contradictions_stay_a_short_list(trial, logger):
    trial.add_readings(logger(np.zeros(3000)), name="a.csv")
    other = np.zeros(3000)
    other[::2] = -9.0
    found = problems(trial.add_readings, logger(other), name="b.csv")
    assert len(found) == 51 and found[-1] == "b.csv: 1450 more readings contradict in the same way."


def test_a_time_twice_in_one_file_agrees_or_is_refused(trial, logger):
    times = np.array(["2026-01-10T00", "2026-01-10T01", "2026-01-10T00"], "M8[ns]")
    agreeing = trial.add_readings(logger([-1.0, -2.0, -1.05], times=times))
    assert (agreeing.added, agreeing.unchanged) == (2, 1)
    assert trial.store.readings_of("L1").values.tolist() == [-1.0, -2.0]
    (text,) = problems(trial.add_readings, logger([-1.0, -2.0, -8.0], times=times), sensor="L2", name="c.csv")
    assert text == (
        "c.csv, row 4: found −8.00 °C at 2026-01-10T00:00:00Z, where row 2 of this file has −1.00 °C; accepted: "
        "readings of sensor 'L2' that agree within 0.1 °C. Of two readings at one time, only one can be right: delete "
        "the wrong one."
    )


def test_the_first_intake_stays_first_over_three_files(trial, logger):
    trial.add_readings(logger([-1.0]), name="a.csv")
    trial.add_readings(logger([-1.04, -2.0]), name="b.csv")
    trial.add_readings(logger([-1.05, -2.05, -3.0]), name="c.csv")
    assert trial.store.readings_of("L1").values.tolist() == [-1.0, -2.0, -3.0]


def test_withdrawing_and_undoing_a_readings_upload(trial, logger):
    first = trial.add_readings(logger([-1.0, -2.0]), name="a.csv")
    trial.add_readings(logger([-2.05, -3.0], start="2026-01-10T00:30"), name="b.csv")
    token = trial.store.state_token()
    done = trial.store.withdraw_upload(first.sha256)
    assert done.said == ["2 readings of sensor 'L1' from 'a.csv' stopped counting."]
    assert trial.store.readings_of("L1").values.tolist() == [-2.05, -3.0]
    assert trial.column("sensors", "sensor") == ["L1"]  # the sensor it created stays known
    undone = trial.store.withdraw_upload(first.sha256, undo=True)
    assert undone.said == ["2 readings of sensor 'L1' from 'a.csv' came back."]
    assert trial.store.readings_of("L1").values.tolist() == [-1.0, -2.0, -3.0]
    assert trial.store.state_token() == token


def test_a_file_with_the_wrong_zone_can_be_withdrawn_and_added_again(trial, logger):
    wrong = trial.add_readings(logger([-1.0, -2.0, -3.0]), content=b"export")
    right = logger([-1.0, -2.0, -3.0], start="2026-01-10T01:00", timezone="UTC-01:00", timezone_from="option")
    options = {"timezone": "UTC-01:00"}
    assert len(problems(trial.add_readings, right, content=b"export", options=options)) == 1
    trial.store.withdraw_upload(wrong.sha256)
    assert trial.add_readings(right, content=b"export", options=options).added == 3
    assert str(trial.store.readings_of("L1")["time"].values[0]).startswith("2026-01-10T01:00")
    (text,) = problems(trial.store.withdraw_upload, wrong.sha256, undo=True)
    assert "l1.csv, row 4: found −3.00 °C at 2026-01-10T01:00:00Z" in text


def test_readings_that_plants_rely_on_are_withdrawn_and_that_is_said(planted, logger):
    upload = planted.add_readings(logger([-1.0]), sensor="L1")
    planted.add("plants", "plant,selection,rootstock,sensor\nT1,OL-07,stock P,L1\nT2,OL-07,own,L2;L1\n")
    assert planted.withdraw("sensors", "sensor\nL1\n").said == ["1 row of sensors stopped counting."]  # readings stay
    gone = planted.store.withdraw_upload(upload.sha256)
    assert gone.said == [
        "1 reading of sensor 'L1' from 'l1.csv' stopped counting.",
        "Sensor 'L1' of 2 plants has no record and no readings any more.",
    ]  # that of L2 there is nothing was so before
    assert planted.store.readings() == {} and planted.column("plants", "sensor")[:2] == ["L1", "L2;L1"]
    assert len(planted.store.withdraw_upload(upload.sha256, undo=True).said) == 1
    planted.add("sensors", "sensor\nL1\n")
    assert len(planted.store.withdraw_upload(upload.sha256).said) == 1  # the record is there: nobody misses it


def test_readings_of_a_sensor_that_plants_have_named_before_are_the_ones_awaited(planted, logger):
    planted.add("sensors", "sensor\nL90\n")
    plants = "plant,selection,rootstock,sensor\nT1,OL-07,stock P,L9\nT2,OL-07,own,Hilltop\n"
    assert planted.add("plants", plants).said[0].endswith("Did you mean 'L90'?")
    awaited = planted.add_readings(logger([-1.0]), sensor="L9")
    assert awaited.said == ["Sensor 'L9' is new: it was created as a logger."]  # no near name: plants name this one
    other = planted.add_readings(logger([-1.0]), sensor="Hiltop")
    assert other.said == ["Sensor 'Hiltop' is new: it was created as a logger. Did you mean 'Hilltop'?"]


def test_the_last_zone_chosen_for_a_sensor_is_remembered_while_it_counts(trial, logger):
    assert trial.store.last_timezone("L1") is None
    trial.add_readings(logger([-1.0], timezone="UTC-05:00", timezone_from="option"), name="a.csv")
    second = trial.add_readings(
        logger([-1.0], start="2026-02-10", timezone="UTC+01:00", timezone_from="option"), name="b.csv"
    )
    trial.add_readings(logger([-1.0], start="2026-03-10", timezone="UTC", timezone_from="file"), name="c.csv")
    assert trial.store.last_timezone("L1") == "UTC+01:00" and trial.store.last_timezone("L2") is None
    trial.store.withdraw_upload(second.sha256)
    assert trial.store.last_timezone("L1") == "UTC-05:00"


def test_a_sensor_without_readings_is_named_with_a_near_one(trial, logger):
    trial.add_readings(logger([-1.0]), sensor="Hilltop")
    (text,) = problems(trial.store.readings_of, "Hiltop")
    assert text == "found sensor 'Hiltop'; accepted: one with readings (Hilltop). Did you mean 'Hilltop'?"


def test_a_part_that_is_gone_or_damaged_is_a_fault_of_the_machine(trial, logger):
    trial.add_readings(logger([-1.0]))
    path = part_of(trial)
    whole = path.read_bytes()
    path.chmod(0o644)
    path.write_bytes(whole[:300])
    with pytest.raises(StoreError, match=r"the part .* of sensor 'L1' is damaged .* made from 'l1.csv'"):
        trial.store.readings()
    path.unlink()
    with pytest.raises(StoreError, match=r"the part .* of sensor 'L1' is gone\. It was made from 'l1.csv'"):
        trial.store.readings_of("L1")
    assert len(trial.store.faults()) == 1 and "is gone" in trial.store.faults()[0]
    path.write_bytes(whole)
    assert trial.store.faults() == [] and trial.store.readings_of("L1").values.tolist() == [-1.0]


def test_readings_of_many_sensors_are_kept_apart(trial, logger):
    for number in range(5):
        trial.add_readings(logger([-float(number)]), sensor=f"L{number}", name=f"l{number}.csv")
    readings = trial.store.readings()
    assert list(readings) == [f"L{number}" for number in range(5)]
    assert [air.item() for air in readings.values()] == [0.0, -1.0, -2.0, -3.0, -4.0]


def test_the_extent_of_a_sensor_is_told_without_its_parts(trial, logger):
    trial.add_readings(logger([-1.0, -2.0, -3.0], "2026-02-01T00:00"), name="later.csv")  # taken in first
    trial.add_readings(logger([-4.0, -5.0], "2026-01-10T00:00"), name="earlier.csv")
    trial.add_readings(logger([-1.0, -2.0], "2026-01-10T00:00"), sensor="L2", name="whole.csv")
    trial.add_readings(logger([-2.0, -3.0, -4.0], "2026-01-10T00:30"), sensor="L2", name="again.csv")
    in_memory = extents_of(trial.store.readings())
    for path in trial.folder.glob("readings/*.nc"):
        path.unlink()
    lazily = extents_of(trial.store.readings_lazily())
    assert lazily["L1"] == in_memory["L1"]
    assert lazily["L1"] == Extent(5, np.datetime64("2026-01-10T00:00", "ns"), np.datetime64("2026-02-01T01:00", "ns"))
    # the two files of L2 have a time in common, so that their rows say at most
    assert (lazily["L2"].readings, lazily["L2"].exact) == (5, False)
    assert (in_memory["L2"].readings, in_memory["L2"].exact) == (4, True)
    assert (lazily["L2"].first, lazily["L2"].last) == (in_memory["L2"].first, in_memory["L2"].last)
