"""CF NetCDF files of stations: units, instants and days, one station of several, every fault at once."""

import numpy as np
import pytest
import xarray as xr

from hardiness.errors import InputError
from hardiness.read.station_data import DailyValues, HourlyValues
from hardiness.read.stations import read_station

HOURS = np.array([0.0, 1.0, 2.0])


def dataset(values=(-4.1, -5.5, -2.2), *, units="degC", time=HOURS, time_units="hours since 2031-12-14 05:00:00",
            cell_methods=None, **time_attributes) -> xr.Dataset:  # fmt: skip
    attributes = {"standard_name": "air_temperature", "units": units, "coordinates": "time lat lon station"}
    if cell_methods:
        attributes["cell_methods"] = cell_methods
    return xr.Dataset(
        {"tas": ("obs", np.asarray(values, float), attributes),
         "station": ((), "ridge", {"cf_role": "timeseries_id"}),
         "lat": ((), 40.4, {"standard_name": "latitude", "units": "degrees_north"}),
         "lon": ((), -4.0, {"standard_name": "longitude", "units": "degrees_east"}),
         "alt": ((), 1250.0, {"standard_name": "altitude", "units": "m"}),
         "time": ("obs", np.asarray(time, float), {"standard_name": "time", "units": time_units, **time_attributes})},
        attrs={"Conventions": "CF-1.11", "featureType": "timeSeries", "institution": "a weather service"},
    )  # fmt: skip


def read(tmp_path, data: xr.Dataset, *, classic: bool = False, **options):
    path = tmp_path / "station.nc"
    if classic:
        data = data.assign(station=((), np.bytes_(b"ridge"), data["station"].attrs))
        data.to_netcdf(path, engine="scipy", format="NETCDF3_64BIT")
    else:
        data.to_netcdf(path, engine="h5netcdf")
    return read_station(path, **options)


def faults(tmp_path, data: xr.Dataset, **options) -> list[str]:
    with pytest.raises(InputError) as raised:
        read(tmp_path, data, **options)
    return [str(problem) for problem in raised.value.problems]


@pytest.mark.parametrize("classic", [False, True])
@pytest.mark.parametrize(
    "units, values", [("degC", (-4.1, -5.5, -2.2)), ("K", (269.05, 267.65, 270.95)), ("degF", (24.62, 22.1, 28.04)),
                      ("degrees_C", (-4.1, -5.5, -2.2))],
)  # fmt: skip
def test_units_become_degc_whatever_the_file_has(tmp_path, units, values, classic):
    data = read(tmp_path, dataset(values, units=units), classic=classic)
    assert isinstance(data.values, HourlyValues)
    assert data.values.temperature_c == pytest.approx([-4.1, -5.5, -2.2], abs=1e-9)
    assert str(data.values.times[2]) == "2031-12-14T07:00:00.000000000"
    facts = data.facts
    assert (facts.station_id, facts.latitude, facts.longitude, facts.elevation_m) == ("ridge", 40.4, -4.0, 1250.0)
    assert data.provenance["institution"] == "a weather service"


@pytest.mark.parametrize(
    "time_units, times",
    [("seconds since 1970-01-01", (1954990800.0, 1954994400.0, 1954998000.0)),
     ("minutes since 2031-12-14T05:00", (0.0, 60.0, 120.0)),
     ("hours since 2031-12-14 00:00 -05:00", (0.0, 1.0, 2.0)),
     ("days since 2031-12-14 05:00:00 UTC", (0.0, 1 / 24, 2 / 24))],
)  # fmt: skip
def test_times_in_any_unit_since_any_instant(tmp_path, time_units, times):
    data = read(tmp_path, dataset(time=times, time_units=time_units))
    assert [str(time)[:16] for time in data.values.times] == [f"2031-12-14T{hour:02d}:00" for hour in (5, 6, 7)]


def test_a_minimum_over_time_is_a_daily_minimum_on_the_day_of_its_bounds(tmp_path):
    made = dataset(
        time=(24.0, 48.0, 72.0), time_units="hours since 2031-12-14", cell_methods="time: minimum", bounds="bnds"
    )
    made["bnds"] = (("obs", "nv"), np.array([[0.0, 24.0], [24.0, 48.0], [48.0, 72.0]]))
    made["tasmax"] = ("obs", [3.0, 1.0, 4.0], {"standard_name": "air_temperature", "units": "degC",
                                              "cell_methods": "time: maximum", "coordinates": "time"})  # fmt: skip
    data = read(tmp_path, made)
    assert isinstance(data.values, DailyValues)
    assert list(map(str, data.values.days)) == ["2031-12-14", "2031-12-15", "2031-12-16"]
    assert data.values.minimum_c.tolist() == [-4.1, -5.5, -2.2]
    assert data.values.maximum_c.tolist() == [3.0, 1.0, 4.0]
    assert data.provenance["cell_methods"] == "time: minimum"


def test_maxima_of_other_days_than_the_minima_are_left_out_and_that_is_said(tmp_path):
    made = dataset(time=(12.0, 36.0, 60.0), time_units="hours since 2031-12-14", cell_methods="time: minimum")
    made["tasmax"] = ("more", [3.0, 1.0], {"standard_name": "air_temperature", "units": "degC",
                                           "cell_methods": "time: maximum"})  # fmt: skip
    data = read(tmp_path, made)
    assert np.isnan(data.values.maximum_c).all()
    assert data.said == ["'tasmax' has other days than 'tas': the maxima are left out."]


def test_missing_values_are_no_temperatures(tmp_path):
    data = read(tmp_path, dataset((-4.1, np.nan, -2.2)))
    assert np.isnan(data.values.temperature_c[1])


def several(tmp_path, kind: str) -> xr.Dataset:
    made = dataset().drop_vars(["station", "lat", "lon", "alt"])
    made["station"] = ("instance", np.array(["field", "ridge"], object), {"cf_role": "timeseries_id"})
    made["lat"] = ("instance", [40.5, 40.4], {"standard_name": "latitude", "units": "degrees_north"})
    if kind == "contiguous":
        made["row_size"] = ("instance", np.array([1, 2]), {"sample_dimension": "obs"})
    else:
        made["which"] = ("obs", np.array([1, 0, 1]), {"instance_dimension": "instance"})
    return made


@pytest.mark.parametrize("kind, expected", [("contiguous", [-5.5, -2.2]), ("indexed", [-4.1, -2.2])])
def test_of_a_ragged_file_one_station_is_chosen(tmp_path, kind, expected):
    made = several(tmp_path, kind)
    data = read(tmp_path, made, station_id="ridge")
    assert data.values.temperature_c.tolist() == expected
    assert (data.facts.station_id, data.facts.latitude) == ("ridge", 40.4)
    (found,) = faults(tmp_path, made)
    assert "2 stations (field and ridge)" in found and "--id field" in found
    assert "station 'hill'" in faults(tmp_path, made, station_id="hill")[0]


def test_of_a_dense_file_one_station_is_chosen(tmp_path):
    made = several(tmp_path, "contiguous").drop_vars(["row_size", "tas"])
    made["tas"] = (("instance", "obs"), [[1.0, 2.0, 3.0], [-4.1, -5.5, -2.2]],
                   {"standard_name": "air_temperature", "units": "degC", "coordinates": "time"})  # fmt: skip
    assert read(tmp_path, made, station_id="ridge").values.temperature_c.tolist() == [-4.1, -5.5, -2.2]


def test_faults_of_unit_time_and_calendar_are_listed_at_once(tmp_path):
    found = faults(tmp_path, dataset(units="mm", time_units="fortnights since 1970-01-01"))
    assert [text.split(":")[0] for text in found] == ["station.nc, column time", "station.nc, column tas"]
    assert "'fortnights since 1970-01-01'" in found[0] and "'mm'" in found[1]
    assert "calendar 'noleap'" in faults(tmp_path, dataset(calendar="noleap"))[0]


def test_means_over_an_hour_are_readings_and_longer_ones_are_refused(tmp_path):
    data = read(tmp_path, dataset(cell_methods="time: mean"))
    assert isinstance(data.values, HourlyValues) and data.values.temperature_c.tolist() == [-4.1, -5.5, -2.2]
    assert data.said == ["'tas' holds means over 60 min: taken as readings at their times."]
    assert "means over more than an hour" in faults(tmp_path, dataset(cell_methods="time: mean", time=HOURS * 24))[0]


def test_maxima_alone_are_no_minima(tmp_path):
    assert "only maximum values" in faults(tmp_path, dataset(cell_methods="time: maximum"))[0]


def test_a_file_without_air_temperature_or_with_two_is_refused(tmp_path):
    assert "no variable of air temperature" in faults(tmp_path, dataset().drop_vars("tas"))[0]
    made = dataset()
    made["other"] = made["tas"]
    assert "2 variables of air temperature (tas and other)" in faults(tmp_path, made)[0]


def test_a_damaged_file_is_told_as_such(tmp_path):
    path = tmp_path / "station.nc"
    dataset().to_netcdf(path, engine="h5netcdf")
    path.write_bytes(path.read_bytes()[:600])
    with pytest.raises(InputError, match="cannot be read"):
        read_station(path)


def test_the_days_of_a_zone_are_those_that_the_times_name(tmp_path):
    # midnights of Auckland lie at 11:00 UTC of the day before, its noons of summer at 23:00
    made = dataset(time=(11.0, 35.0, 59.0), time_units="hours since 2031-12-13", cell_methods="time: minimum",
                   bounds="bnds", timezone="Pacific/Auckland")  # fmt: skip
    made["bnds"] = (("obs", "nv"), np.array([[11.0, 35.0], [35.0, 59.0], [59.0, 83.0]]))
    data = read(tmp_path, made)
    assert list(map(str, data.values.days)) == ["2031-12-14", "2031-12-15", "2031-12-16"]
    assert data.facts.timezone == "Pacific/Auckland"
    assert read(tmp_path, dataset(cell_methods="time: minimum", time=(12.0, 36.0, 60.0))).facts.timezone == ""
    (found,) = faults(tmp_path, made.assign(time=made["time"].assign_attrs(timezone="Mars/Olympus")))
    assert "time zone 'Mars/Olympus'" in found


def flagged(numbers, meanings="counts masked estimated") -> xr.Dataset:
    made = dataset()
    made["tas"].attrs["ancillary_variables"] = "state raw"
    attributes = {"flag_values": np.arange(3, dtype=np.int8), "flag_meanings": meanings}
    made["state"] = ("obs", np.array(numbers, np.int8), attributes)
    made["raw"] = ("obs", [-4.0, -5.0, -2.0], {"standard_name": "air_temperature", "units": "degC"})
    return made


def test_a_variable_that_belongs_to_the_temperature_is_no_second_temperature(tmp_path):
    data = read(tmp_path, flagged([0, 0, 0]))
    assert data.provenance["variable"] == "tas"
    assert data.values.temperature_c.tolist() == [-4.1, -5.5, -2.2] and not data.estimated and data.said == []


def test_masked_and_estimated_values_among_measured_ones_are_left_out_and_that_is_said(tmp_path):
    data = read(tmp_path, flagged([1, 0, 2]))
    np.testing.assert_array_equal(data.values.temperature_c, [np.nan, -5.5, np.nan])
    assert not data.estimated
    assert data.said == ["1 value that the file's 'state' calls masked: left out.",
                         "1 value that the file's 'state' calls estimated: left out."]  # fmt: skip
    assert read(tmp_path, flagged([1, 0, 2], "a b c")).said == []


def test_a_file_of_estimated_values_alone_says_so_and_one_of_masked_ones_is_refused(tmp_path):
    data = read(tmp_path, flagged([2, 1, 2]))
    assert data.estimated and np.isfinite(data.values.temperature_c).tolist() == [True, False, True]
    (found,) = faults(tmp_path, flagged([1, 1, 1]))
    assert "column tas" in found and "3 values that the file's 'state' calls masked" in found
    assert "accepted: temperatures that count" in found


def test_how_high_a_sensor_hangs_is_not_how_high_its_ground_lies(tmp_path):
    height = ((), 1.5, {"standard_name": "height", "units": "m"})
    assert read(tmp_path, dataset().assign(above=height)).facts.elevation_m == 1250.0
    assert read(tmp_path, dataset().drop_vars("alt").assign(above=height)).facts.elevation_m is None
    ground = ((), 655.0, {"standard_name": "surface_altitude", "units": "m"})
    assert read(tmp_path, dataset().drop_vars("alt").assign(a=height, ground=ground)).facts.elevation_m == 655.0
