"""The exported file holds every reading once, says what counts, and keeps the rules of CF that a reader relies on."""

import gc
import weakref
from collections.abc import Iterator
from datetime import date
from functools import partial
from pathlib import Path

import h5netcdf
import numpy as np
import pandas as pd
import pytest
import xarray as xr

from hardiness import schema
from hardiness.errors import InputError, StoreError
from hardiness.read.cf_files import read_cf_file
from hardiness.settings import Settings
from hardiness.store.cf_dataset import readings_dataset
from hardiness.store.cf_export import MAY_MISS, export_readings
from hardiness.store.cf_writing import write_pieces
from hardiness.units import registry, unit_named
from hardiness.weather.one_by_one import OneByOne

HILL = Settings("Hill", "UTC", latitude=41.2, longitude=-7.5, elevation_m=480.0)
NOON = "2032-01-05T12:00:00Z"


def air(first: str, values: list[float], minutes: int = 60) -> xr.DataArray:
    time = np.datetime64(first, "ns") + np.arange(len(values)) * np.timedelta64(minutes, "m")
    return xr.DataArray(values, {"time": time}, ("time",), attrs={"units": "degC"})


READINGS = {
    "L2": air("2031-12-14T00:00", [1.0, -0.5, -2.4, -3.1]),
    "L1": air("2031-12-14T00:30", [0.5, -1.5, 40.0], minutes=30),
    "ST-9": air("2031-12-14T00:00", [-1.0, -2.0]),
}


def table(name: str, *rows: dict[str, object]) -> pd.DataFrame:
    return pd.DataFrame(list(rows), columns=list(schema.RECORD_TABLES[name].names))


SENSORS = table(
    "sensors",
    {"sensor": "L1", "kind": "logger", "block": "lower", "offset_c": 0.2, "height_m": 1.5, "shielded": "no"},
    {"sensor": "ST-9", "kind": "station", "latitude": 41.5, "longitude": -7.2, "elevation_m": 655.0, "accuracy_c": 0.2},
)
MASKS = table(
    "masks",
    {"sensor": "L1", "from": "2031-12-14T01:30:00Z", "to": "2031-12-14T01:30:00Z", "verdict": "mask", "reason": "hand"},
    {
        "sensor": "L2",
        "from": "2031-12-14T01:00:00Z",
        "to": "2031-12-14T02:00:00Z",
        "verdict": "keep",
        "reason": "sound",
    },
)
OFFSETS = table("calibrations", {"sensor": "L2", "from": date(2031, 12, 14), "offset_c": -0.3})


def exported(readings=READINGS, settings=HILL, only=(), sensors=SENSORS) -> xr.Dataset:
    return readings_dataset(readings, sensors, MASKS, OFFSETS, settings, only=only, at=NOON)


def write_readings(dataset: xr.Dataset, path: Path) -> None:
    """All at once, as one piece."""
    write_pieces([dataset], path, sizes={str(dim): size for dim, size in dataset.sizes.items()}, missing=MAY_MISS)


@pytest.fixture
def file(tmp_path):
    write_readings(exported(), tmp_path / "readings.nc")
    return tmp_path / "readings.nc"


@pytest.fixture
def opened(file):
    with xr.open_dataset(file, engine="h5netcdf") as dataset:
        yield dataset.load()


def of(dataset: xr.Dataset, sensor: str) -> xr.Dataset:
    """The readings of one sensor: as many as its row size, after those of the sensors before it."""
    number = dataset["sensor"].to_numpy().tolist().index(sensor)
    ends = np.cumsum(dataset["row_size"].to_numpy())
    return dataset.isel(obs=slice(int(ends[number] - dataset["row_size"][number]), int(ends[number])))


def test_every_reading_comes_back_as_it_was_read(opened):
    assert opened["sensor"].to_numpy().tolist() == ["L1", "L2", "ST-9"]
    assert int(opened["row_size"].sum()) == opened.sizes["obs"] == 9
    for name, readings in READINGS.items():
        found = of(opened, name)
        assert found["air_temperature_as_read"].to_numpy().tolist() == readings.to_numpy().tolist()
        assert found["time"].to_numpy().tolist() == readings["time"].to_numpy().tolist()


def test_offsets_are_beside_and_in_the_temperature(opened):
    assert of(opened, "L1")["offset"].to_numpy().tolist() == [0.2, 0.2, 0.2]
    assert of(opened, "L2")["offset"].to_numpy() == pytest.approx([-0.3] * 4)  # the dated one
    assert of(opened, "ST-9")["offset"].to_numpy().tolist() == [0.0, 0.0]
    whole = opened["air_temperature_as_read"] + opened["offset"]
    assert opened["air_temperature"].to_numpy() == pytest.approx(whole.to_numpy(), abs=1e-12)


def test_the_status_says_what_counts(opened):
    meaning = opened["status"].attrs["flag_meanings"].split()
    said = {name: [meaning[code] for code in of(opened, name)["status"].to_numpy()] for name in READINGS}
    assert said["L1"] == ["counts", "counts", "masked"]
    assert said["L2"] == ["counts", "looked_at_and_kept", "looked_at_and_kept", "counts"]
    assert said["ST-9"] == ["counts", "counts"]


def test_places_heights_and_kinds_of_the_sensors(opened):
    assert opened["latitude"].to_numpy().tolist() == [41.2, 41.2, 41.5]  # a logger without a place stands at the trial
    assert opened["surface_altitude"].to_numpy().tolist() == [480.0, 480.0, 655.0]
    assert opened["sensor_height"].to_numpy() == pytest.approx([1.5, np.nan, np.nan], nan_ok=True)
    assert opened["kind"].to_numpy().tolist() == ["logger", "logger", "station"]
    assert opened["accuracy"].to_numpy().tolist() == [0.5, 0.5, 0.2]
    assert opened["shielded"].to_numpy().tolist() == [0, 1, 1]


def test_the_geometry_is_a_contiguous_ragged_array_of_time_series(file):
    # CF 1.11, 9.3.3 and 9.4: sample_dimension on the count, cf_role on the name, featureType on the file
    with h5netcdf.File(file, "r") as raw:
        assert raw.attrs["Conventions"] == "CF-1.11"
        assert raw.attrs["featureType"] == "timeSeries"
        roles = [name for name, variable in raw.variables.items() if "cf_role" in variable.attrs]
        assert roles == ["sensor"]
        assert raw.variables["sensor"].attrs["cf_role"] == "timeseries_id"
        counts = {
            name: v.attrs["sample_dimension"] for name, v in raw.variables.items() if "sample_dimension" in v.attrs
        }
        assert counts == {"row_size": "obs"}
        assert set(raw.dimensions) == {"obs", "station"}
        assert raw.variables["row_size"].dimensions == ("station",)


def test_every_variable_is_named_and_every_number_has_a_unit(file):
    with h5netcdf.File(file, "r") as raw:
        for name, variable in raw.variables.items():
            assert str(variable.attrs["long_name"]), name
            if variable.dtype.kind == "f" or name == "time":
                assert str(variable.attrs["units"]), name
        assert str(raw.variables["time"].attrs["units"]) == "seconds since 1970-01-01 00:00:00"
        assert str(raw.variables["time"].attrs["calendar"]) == "standard"
        assert raw.variables["time"].dtype.kind == "i"


def test_temperatures_say_whether_they_are_on_the_scale_or_differences(opened):
    # CF 1.11, 3.1.2
    for name in ("air_temperature", "air_temperature_as_read"):
        assert unit_named(opened[name].attrs["units"]) == "degC"
        assert opened[name].attrs["units_metadata"] == "temperature: on_scale"
        assert opened[name].attrs["standard_name"] == "air_temperature"
    for name in ("offset", "accuracy"):
        assert (opened[name].attrs["units"], opened[name].attrs["units_metadata"]) == ("K", "temperature: difference")


def test_what_an_attribute_names_is_there(file):
    # CF 1.11, 3.4 and 5: ancillary_variables and coordinates name variables of the file
    with h5netcdf.File(file, "r") as raw:
        for variable in raw.variables.values():
            for attribute in ("ancillary_variables", "coordinates"):
                named = str(variable.attrs[attribute]).split() if attribute in variable.attrs else []
                assert set(named) <= set(raw.variables)
        assert str(raw.variables["air_temperature"].attrs["coordinates"]) == "time latitude longitude"


def test_flags_have_values_of_their_own_type_and_a_meaning_each(file):
    # CF 1.11, 3.5
    with h5netcdf.File(file, "r") as raw:
        for name in ("status", "shielded"):
            attributes = raw.variables[name].attrs
            assert attributes["flag_values"].dtype == raw.variables[name].dtype == np.int8
            assert len(attributes["flag_values"]) == len(str(attributes["flag_meanings"]).split())
        assert str(raw.variables["status"].attrs["standard_name"]) == "status_flag"


def test_coordinates_have_no_missing_values_and_times_rise(file, opened):
    with h5netcdf.File(file, "r") as raw:
        for name in ("time", "latitude", "longitude", "air_temperature"):
            assert "_FillValue" not in raw.variables[name].attrs
    for name in READINGS:
        assert (np.diff(of(opened, name)["time"].to_numpy()) > np.timedelta64(0)).all()


def test_some_sensors_only():
    assert exported(only=["ST-9", "L2", "ST-9"])["sensor"].to_numpy().tolist() == ["L2", "ST-9"]


def test_times_finer_than_seconds_are_kept(tmp_path):
    fine = {"L3": air("2031-12-14T00:00:00.250", [1.0, 2.0])}
    write_readings(exported(fine), tmp_path / "fine.nc")
    with xr.open_dataset(tmp_path / "fine.nc", engine="h5netcdf") as dataset:
        assert str(dataset["time"].to_numpy()[0]) == "2031-12-14T00:00:00.250000000"


def test_all_that_is_wrong_is_listed():
    nowhere = Settings("Hill", "UTC")
    with pytest.raises(InputError) as refused:
        exported(settings=nowhere, only=["L1", "L8", "ST-9"])
    texts = [str(problem) for problem in refused.value.problems]
    assert len(texts) == 2
    assert "found sensor 'L1' without a place" in texts[0]
    assert "trial.toml" in texts[0]
    assert "found 'L8', which has no readings" in texts[1]
    with pytest.raises(InputError, match="no readings to export yet"):
        exported({})


def test_a_file_that_cannot_be_written_is_refused_and_nothing_is_left(tmp_path):
    for path in (tmp_path, tmp_path / "nowhere" / "readings.nc"):
        with pytest.raises(InputError, match="a file to write"):
            write_readings(exported(), path)
        with pytest.raises(InputError, match="a file to write"):
            export_readings(path, READINGS, SENSORS, MASKS, OFFSETS, HILL, at=NOON)
    assert list(tmp_path.iterdir()) == []


HOURS = READINGS["ST-9"]["time"]
TOLD = {
    "ST-9": xr.Dataset(
        {
            "air_temperature": READINGS["ST-9"],
            "wind_speed": ("time", [1.5, np.nan], {"units": "m s-1"}),
            "wind_from_direction": ("time", [320.0, np.nan], {"units": "degree"}),
            "cloud_area_fraction": ("time", [0.25, 1.0], {"units": "1"}),
        }
    ),
    "L1": xr.Dataset(
        {
            "air_temperature": READINGS["L1"],
            "relative_humidity": ("time", [88.25, np.nan, 97.0], {"units": "%"}),
            "dew_point": ("time", [-1.2, -2.9, np.nan], {"units": "degC"}),
        }
    ),
}
NAMED = {
    "relative_humidity": ("relative_humidity", "%"),
    "dew_point": ("dew_point_temperature", "degC"),
    "wind_speed": ("wind_speed", "m s-1"),
    "wind_from_direction": ("wind_from_direction", "degree"),
    "cloud_area_fraction": ("cloud_area_fraction", "1"),
}


def with_conditions(**options) -> xr.Dataset:
    return readings_dataset(READINGS, SENSORS, MASKS, OFFSETS, HILL, conditions=TOLD, at=NOON, **options)


def test_conditions_stand_along_the_readings_that_they_were_measured_with(tmp_path):
    write_readings(with_conditions(), tmp_path / "told.nc")
    with xr.open_dataset(tmp_path / "told.nc", engine="h5netcdf") as dataset:
        for name, told in TOLD.items():
            for condition in NAMED:
                found = of(dataset, name)[condition].to_numpy()
                wanted = told[condition].to_numpy() if condition in told else np.full(found.size, np.nan)
                np.testing.assert_array_equal(found, wanted)
        assert np.isnan(of(dataset, "L2")["relative_humidity"]).all()
        for condition, (standard_name, units) in NAMED.items():
            attributes = dataset[condition].attrs
            assert (attributes["standard_name"], attributes["units"]) == (standard_name, units)
            assert attributes["ancillary_variables"] == "status"
            assert dataset[condition].encoding["_FillValue"] != dataset[condition].encoding["_FillValue"]  # NaN
            assert unit_known(units)
        assert dataset["dew_point"].attrs["units_metadata"] == "temperature: on_scale"
        assert dataset["air_temperature"].to_numpy().tolist() == exported()["air_temperature"].to_numpy().tolist()


def unit_known(units: str) -> bool:
    return registry.Unit({"%": "percent", "m s-1": "m/s", "1": "dimensionless"}.get(units, units)) is not None


def test_conditions_that_nobody_tells_have_no_variable_and_other_sensors_give_none():
    assert not set(NAMED) & set(exported().data_vars)
    assert set(NAMED) & set(with_conditions(only=["ST-9"]).data_vars) == {
        "wind_speed", "wind_from_direction", "cloud_area_fraction"
    }  # fmt: skip
    assert not set(NAMED) & set(with_conditions(only=["L2"]).data_vars)


LISBON = Settings("Hill", "Europe/Lisbon", latitude=41.2, longitude=-7.5)
MINIMA = xr.DataArray(  # over the spring night that is an hour short: local midnights
    [-4.0, 1.5, 2.5, -0.5],
    {"time": np.array(["2032-03-26T00", "2032-03-27T00", "2032-03-28T00", "2032-03-28T23"], "M8[ns]")},
    attrs={"units": "degC", "series": "daily_minimum"},
)
DRAWN = air("2032-03-26T06:00", [-4.0, -3.0, 1.0]).assign_attrs(series="estimated")
DAY_MASK = table(
    "masks",
    {"sensor": "D1", "from": "2032-03-27T00:00:00Z", "to": "2032-03-27T00:00:00Z", "verdict": "mask", "reason": "iced"},
)


def of_three_kinds(only=()) -> xr.Dataset:
    """Measured hours of loggers and a station, daily minima, and hours drawn through daily values."""
    readings = {**READINGS, "D1": MINIMA, "D2": DRAWN}
    masks = pd.concat([MASKS, DAY_MASK], ignore_index=True)
    offsets = table("calibrations", {"sensor": "D1", "from": date(2032, 3, 28), "offset_c": -0.5})
    return readings_dataset(readings, SENSORS, masks, offsets, LISBON, conditions=TOLD, only=only, at=NOON)


def test_daily_minima_are_no_readings_at_instants(tmp_path):
    write_readings(of_three_kinds(), tmp_path / "three.nc")
    with xr.open_dataset(tmp_path / "three.nc", engine="h5netcdf") as dataset:
        assert dataset["sensor"].to_numpy().tolist() == ["D1", "D2", "L1", "L2", "ST-9"]
        assert dataset["row_size"].to_numpy().tolist() == [0, 3, 3, 4, 2]
        assert dataset["daily_row_size"].to_numpy().tolist() == [4, 0, 0, 0, 0]
        assert dict(dataset.sizes) == {"station": 5, "obs": 12, "day": 4, "bound": 2}
        minima = dataset["daily_minimum"]
        assert (minima.dims, minima.attrs["cell_methods"], minima.attrs["units"]) == (("day",), "time: minimum", "degC")
        assert minima.attrs["standard_name"] == "air_temperature"
        assert dataset["air_temperature"].attrs["cell_methods"] == "time: point"
        assert dataset["daily_minimum_as_read"].to_numpy().tolist() == MINIMA.to_numpy().tolist()
        assert minima.to_numpy().tolist() == [-4.0, 1.5, 2.0, -1.0]  # the offset holds from the 28th
        assert dataset["daily_offset"].to_numpy().tolist() == [0.0, 0.0, -0.5, -0.5]
        assert dataset["daily_status"].to_numpy().tolist() == [0, 1, 0, 0]
        assert dataset["daily_time"].to_numpy().tolist() == MINIMA["time"].to_numpy().tolist()
        # CF 1.11, 7.1: the bounds are the days, one of them of 23 hours
        bounds = dataset["daily_time_bounds"].to_numpy()
        assert bounds[:, 0].tolist() == MINIMA["time"].to_numpy().tolist()
        assert ((bounds[:, 1] - bounds[:, 0]) / np.timedelta64(1, "h")).tolist() == [24.0, 24.0, 23.0, 24.0]
    with h5netcdf.File(tmp_path / "three.nc", "r") as raw:
        assert str(raw.variables["daily_time"].attrs["bounds"]) == "daily_time_bounds"
        named = {name: str(v.attrs["sample_dimension"]) for name, v in raw.variables.items()
                 if "sample_dimension" in v.attrs}  # fmt: skip
        assert named == {"row_size": "obs", "daily_row_size": "day"}
        for variable in raw.variables.values():
            for attribute in ("ancillary_variables", "coordinates"):
                told = str(variable.attrs[attribute]).split() if attribute in variable.attrs else []
                assert all(raw.variables[name].dimensions in (variable.dimensions, ("station",)) for name in told)
                assert not {"sensor", "time"} & set(told) or variable.dimensions != ("day",)


def test_a_flag_parts_measured_from_drawn_hours():
    dataset = of_three_kinds()
    words = dataset["origin"].attrs["flag_meanings"].split()
    said = {name: [words[code] for code in of(dataset, name)["origin"].to_numpy()] for name in (*READINGS, "D2", "D1")}
    assert said == {"L1": ["measured"] * 3, "L2": ["measured"] * 4, "ST-9": ["measured"] * 2, "D2": ["estimated"] * 3,
                    "D1": []}  # fmt: skip
    assert "origin" in dataset["air_temperature"].attrs["ancillary_variables"].split()


def test_a_kind_of_readings_that_no_sensor_has_takes_no_place():
    days, hours = of_three_kinds(only=["D1"]), of_three_kinds(only=["D2", "L1"])
    assert set(days.sizes) == {"station", "day", "bound"} and not {"air_temperature", "origin", "time"} & set(days)
    assert set(hours.sizes) == {"station", "obs"}
    assert not [name for name in hours.variables if str(name).startswith("daily_")]
    assert hours["row_size"].to_numpy().tolist() == [3, 3]


def test_conditions_stand_along_readings_behind_sensors_of_another_kind():
    dataset = of_three_kinds()
    assert of(dataset, "ST-9")["wind_speed"].to_numpy()[0] == 1.5
    assert int(np.isfinite(dataset["wind_speed"]).sum()) == 1
    assert of(dataset, "L1")["relative_humidity"].to_numpy()[[0, 2]].tolist() == [88.25, 97.0]


@pytest.mark.parametrize("make", [exported, with_conditions, of_three_kinds])
def test_the_same_readings_give_the_same_bytes(tmp_path, make):
    for name in ("one.nc", "two.nc"):
        write_readings(make(), tmp_path / name)
    assert (tmp_path / "one.nc").read_bytes() == (tmp_path / "two.nc").read_bytes()


def many() -> dict[str, xr.DataArray]:
    """Enough readings of three kinds that variables are packed, one sensor's times finer than a second."""
    rng = np.random.default_rng(5)
    readings = {f"M{number}": air("2031-10-01", np.round(rng.normal(0, 5, 700), 1).tolist()) for number in range(3)}
    readings["M1"] = readings["M1"].assign_coords(time=readings["M1"]["time"] + np.timedelta64(250, "ms"))
    days = np.datetime64("2031-10-01T05", "ns") + np.arange(90) * np.timedelta64(1, "D")
    readings["D0"] = xr.DataArray(
        np.round(rng.normal(0, 5, 90), 1), {"time": days}, ("time",),
        attrs={"units": "degC", "series": "daily_minimum", "timezone": "UTC-05:00"},
    )  # fmt: skip
    return {**READINGS, "D1": MINIMA, "D2": DRAWN, **readings}


@pytest.mark.parametrize("only", [(), ("D0", "D1"), ("M1", "L1"), ("M0",)])
def test_a_file_written_sensor_by_sensor_is_the_file_written_at_once(tmp_path, only):
    readings, whole, pieces = many(), tmp_path / "whole.nc", tmp_path / "pieces.nc"
    tables = (SENSORS, pd.concat([MASKS, DAY_MASK], ignore_index=True), OFFSETS, LISBON)
    write_readings(readings_dataset(readings, *tables, conditions=TOLD, only=only, at=NOON), whole)
    asked = OneByOne({name: partial(readings.__getitem__, name) for name in readings},
                     {name: found.size for name, found in readings.items()})  # fmt: skip
    held = export_readings(pieces, asked, *tables, conditions=TOLD, only=only, at=NOON)
    with h5netcdf.File(whole, "r") as one, h5netcdf.File(pieces, "r") as other:
        assert dict(one.attrs) == dict(other.attrs)
        sizes = {name: dim.size for name, dim in one.dimensions.items()}
        assert sizes == {name: dim.size for name, dim in other.dimensions.items()}
        assert set(one.variables) == set(other.variables) == set(held.variables)
        for name, wanted in one.variables.items():
            found = other.variables[name]
            assert (found.dimensions, found.dtype, found.compression) == (
                wanted.dimensions, wanted.dtype, wanted.compression
            )  # fmt: skip
            np.testing.assert_array_equal(found[...], wanted[...])
            assert set(found.attrs) == set(wanted.attrs)
            for attribute, value in wanted.attrs.items():
                np.testing.assert_array_equal(found.attrs[attribute], value)
    with xr.open_dataset(pieces, engine="h5netcdf") as dataset:
        status = [dataset[name] for name in ("status", "daily_status") if name in dataset]
        assert held.masked == sum(int((flags == 1).sum()) for flags in status)
        assert held.estimated == (int((dataset["origin"] == 1).sum()) if "origin" in dataset else 0)
        assert held.sizes == {"obs": 0, "day": 0} | {k: v for k, v in dataset.sizes.items() if k != "bound"}


def test_of_a_network_the_readings_of_one_sensor_are_held_at_a_time(tmp_path):
    alive, most = weakref.WeakSet(), []

    class Readings(np.ndarray):  # arrays of numpy's own are in no WeakSet
        __hash__ = object.__hash__

    def fetched(seed: int) -> xr.DataArray:
        values = np.random.default_rng(seed).normal(0, 5, 2000).view(Readings)
        alive.add(values)
        most.append(len(alive))
        return air("2031-10-01", np.zeros(2000).tolist()).copy(data=values)

    names = [f"N{number}" for number in range(6)]
    asked = OneByOne({name: partial(fetched, seed) for seed, name in enumerate(names)}, dict.fromkeys(names, 2000))
    gc.collect()
    export_readings(tmp_path / "n.nc", asked, SENSORS, MASKS, OFFSETS, HILL, at=NOON)
    assert len(most) >= 2 * len(names) and max(most) <= 2


def test_a_fault_halfway_leaves_the_old_file_and_nothing_else(tmp_path):
    def gone() -> xr.DataArray:
        raise StoreError("the part is gone")

    path = tmp_path / "n.nc"
    path.write_text("old")
    asked = OneByOne({"L1": lambda: READINGS["L1"], "L2": gone}, {"L1": 3, "L2": 4})
    with pytest.raises(StoreError):
        export_readings(path, asked, SENSORS, MASKS, OFFSETS, HILL, at=NOON)
    with pytest.raises(StoreError):
        write_pieces(stopped(), path, sizes={"station": 2, "obs": 7})
    assert [file.name for file in tmp_path.iterdir()] == ["n.nc"] and path.read_text() == "old"


def stopped() -> Iterator[xr.Dataset]:
    yield exported(only=["L1"])
    raise StoreError("the part is gone")


def test_each_station_keeps_the_zone_of_its_days(tmp_path):
    readings = {name: found for name, found in many().items() if name in ("D0", "D1", "L1")}
    path = tmp_path / "zones.nc"
    export_readings(path, readings, SENSORS, MASKS, OFFSETS, LISBON, at=NOON)
    with xr.open_dataset(path, engine="h5netcdf") as dataset:
        assert dataset["daily_timezone"].to_numpy().tolist() == ["UTC-05:00", "Europe/Lisbon", ""]
        assert dataset["daily_time"].attrs["timezone_variable"] == "daily_timezone"
    found = {name: read_cf_file(path, file="zones.nc", station_id=name) for name in ("D0", "D1")}
    assert [found[name].facts.timezone for name in found] == ["UTC-05:00", "Europe/Lisbon"]
    assert str(found["D0"].values.days[0]) == "2031-10-01" and found["D0"].values.days.size == 90
    assert found["D1"].values.days.astype(str).tolist() == ["2032-03-26", "2032-03-27", "2032-03-28", "2032-03-29"]
