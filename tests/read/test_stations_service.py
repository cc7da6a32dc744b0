"""The real client against a server on the loopback: its traps, and what each fault of a network is told as."""

import datetime as dt
import logging
import os
import socket
import time
from pathlib import Path

import meteostat
import numpy as np
import pandas as pd
import pytest

from hardiness.errors import InputError
from hardiness.read.station_package import cache_folder, model_sources
from hardiness.read.station_service import StationService
from tests.station_server import Served, daily_file, hourly_file, pointed_at, serving

NOW = dt.datetime(2032, 1, 20, 12, 30, tzinfo=dt.UTC)


@pytest.fixture
def served(tmp_path):
    with serving(tmp_path) as served:
        yield served


def service(tmp_path: Path, **options) -> StationService:
    return StationService(tmp_path / "cache", **{"limit_s": 5.0, "now": NOW, **options})


def hours(first: str, last: str, low: float = -5.0) -> pd.Series:
    """Hourly temperatures [degC] with a low at 06:00 UTC of each day, by tenths."""
    index = pd.date_range(first, last, freq="h")
    return pd.Series(np.round(low + 4.0 + 4.0 * np.cos((index.hour - 18) / 24 * 2 * np.pi), 1), index)


def days(first: str, last: str) -> pd.DataFrame:
    index = pd.date_range(first, last, freq="D")
    return pd.DataFrame({"tmin": -4.0, "tmax": 6.0}, index)


def fetched(tmp_path, first: str, last: str, **options):
    asked = service(tmp_path)
    span = dt.date.fromisoformat(first), dt.date.fromisoformat(last)
    return asked.fetch(asked.stations.facts("S0001"), *span, **options)


def refused(ask) -> str:
    with pytest.raises(InputError) as raised:
        ask()
    return str(raised.value)


def test_stations_near_a_place_come_by_distance_with_what_they_measured(served, tmp_path):
    table, said = service(tmp_path).stations.near(40.4, -3.7, radius_km=100, count=5)
    assert table["station"].tolist() == ["S0001", "S0002"]  # the third lies 167 km away
    assert table["distance_km"].to_numpy() == pytest.approx([11.1, 25.4], abs=0.1)
    first = table.iloc[0]
    # a weather model's hours reach further, and were not measured
    assert (first["hourly_from"], first["hourly_to"]) == (dt.date(1990, 2, 3), dt.date(2026, 11, 20))
    assert first["daily_from"] is None
    assert table.loc[1, ["hourly_from", "daily_from", "daily_to"]].tolist() == [None, dt.date(1951, 1, 1),
                                                                              dt.date(2026, 10, 31)]  # fmt: skip
    assert said == []
    further, _ = service(tmp_path).stations.near(40.4, -3.7, radius_km=200, count=5)
    assert len(further) == 3
    assert service(tmp_path).stations.near(40.4, -3.7, radius_km=200, count=1)[0]["station"].tolist() == ["S0001"]
    assert service(tmp_path).stations.near(0.0, 0.0, radius_km=50, count=5)[0].empty


def test_what_is_known_of_a_station(served, tmp_path):
    facts = service(tmp_path).stations.facts(" s0002 ")
    assert (facts.station_id, facts.name, facts.elevation_m, facts.timezone) == (
        "S0002",
        "Ridge",
        1250.0,
        "Europe/Madrid",
    )


@pytest.mark.parametrize("name", ["S9999", "%", "S0001' OR '1", "", "../etc"])
def test_an_unknown_station_is_refused_with_the_way_to_find_one(served, tmp_path, name):
    assert "hardiness station near" in refused(lambda: service(tmp_path).stations.facts(name))


def test_hours_come_in_utc_with_their_source(served, tmp_path):
    served.files["/hourly/2031/S0001.csv.gz"] = hourly_file(hours("2031-01-01", "2031-12-31T23"))
    got = fetched(tmp_path, "2031-12-14", "2031-12-15")
    assert got.values.columns.tolist() == ["time", "temperature_c", "humidity_percent", "source", "model"]
    assert (got.values["humidity_percent"] == 80).all()
    assert len(got.values) == 48
    coldest = got.values.loc[got.values["temperature_c"].idxmin()]
    assert (coldest["time"], coldest["temperature_c"], coldest["source"]) == (
        pd.Timestamp("2031-12-14T06"),
        -5.0,
        "isd_lite",
    )


def test_what_was_measured_beside_the_hours_comes_with_them_and_a_models_does_not(served, tmp_path):
    values = hours("2031-01-01", "2031-12-31T23")
    beside = pd.DataFrame(
        {"wspd": 7.2, "wspd_source": "isd_lite", "cldc": 2.0, "cldc_source": "dwd_mosmix"}, values.index
    )
    beside.loc["2031-12-14T03", "wspd_source"] = "dwd_mosmix"
    beside.loc["2031-12-14T04", "wspd"] = np.nan
    served.files["/hourly/2031/S0001.csv.gz"] = hourly_file(values, beside=beside)
    got = fetched(tmp_path, "2031-12-14", "2031-12-14").values
    assert got.columns.tolist() == ["time", "temperature_c", "wind_km_h", "source", "model"]
    assert len(got) == 24
    wind = got.set_index("time")["wind_km_h"]
    assert wind.isna().sum() == 2 and set(wind.dropna()) == {7.2}
    assert wind[wind.isna()].index.hour.tolist() == [3, 4]


def test_daily_minima_and_maxima_come_by_day(served, tmp_path):
    served.files["/daily/2031/S0001.csv.gz"] = daily_file(days("2031-01-01", "2031-12-31"))
    got = fetched(tmp_path, "2031-12-14", "2031-12-16", daily=True)
    assert got.values[["minimum_c", "maximum_c"]].to_numpy().tolist() == [[-4.0, 6.0]] * 3
    assert got.values["date"].dt.strftime("%Y-%m-%d").tolist() == ["2031-12-14", "2031-12-15", "2031-12-16"]


def test_values_of_a_weather_model_are_left_out_and_counted_unless_asked_for(served, tmp_path):
    values = hours("2031-12-01", "2031-12-31T23")
    filled = pd.Series(values.index.day == 14, values.index)
    served.files["/hourly/2031/S0001.csv.gz"] = hourly_file(values, model=filled)
    without = fetched(tmp_path, "2031-12-14", "2031-12-15")
    assert (len(without.values), without.left_out) == (24, 24)
    assert not without.values["model"].any()
    marked = fetched(tmp_path, "2031-12-14", "2031-12-15", with_model=True)
    assert (len(marked.values), marked.left_out, int(marked.values["model"].sum())) == (48, 0, 24)
    only = refused(lambda: fetched(tmp_path, "2031-12-14", "2031-12-14"))
    assert "but 24 values filled in by a weather model" in only and "--with-model" in only


def test_a_daily_value_of_which_a_part_is_a_models_counts_as_a_models(served, tmp_path):
    table = days("2031-12-01", "2031-12-03")
    served.files["/daily/2031/S0001.csv.gz"] = daily_file(table, ["ghcnd", "metar dwd_mosmix", "dwd_mosmix"])
    got = fetched(tmp_path, "2031-12-01", "2031-12-03", daily=True)
    assert (got.values["source"].tolist(), got.left_out) == (["ghcnd"], 2)
    assert {"dwd_mosmix", "metno_forecast"} <= model_sources() and "isd_lite" not in model_sources()


def test_a_winter_may_span_two_years_of_which_one_is_missing(served, tmp_path):
    served.files["/hourly/2031/S0001.csv.gz"] = hourly_file(hours("2031-01-01", "2031-12-31T23"))
    got = fetched(tmp_path, "2031-12-31", "2032-01-02")
    assert (len(got.values), got.missing_years) == (24, [2032])


def test_many_years_are_no_request_that_is_too_large(served, tmp_path):
    for year in range(2024, 2032):
        served.files[f"/hourly/{year}/S0001.csv.gz"] = hourly_file(hours(f"{year}-12-14", f"{year}-12-14T23"))
    assert len(fetched(tmp_path, "2024-01-01", "2031-12-31").values) == 8 * 24


def test_hours_to_come_and_a_day_that_is_not_over_are_left_out(served, tmp_path):
    served.files["/hourly/2032/S0001.csv.gz"] = hourly_file(hours("2032-01-19", "2032-01-25T23"), source="metar")
    got = fetched(tmp_path, "2032-01-19", "2032-01-31")
    assert got.values["time"].max() == pd.Timestamp("2032-01-20T12")
    served.files["/daily/2032/S0001.csv.gz"] = daily_file(days("2032-01-18", "2032-01-25"))
    daily = fetched(tmp_path, "2032-01-18", "2032-01-31", daily=True)
    assert daily.values["date"].max() == pd.Timestamp("2032-01-19")


def test_the_running_winter_is_never_taken_from_the_cache(served, tmp_path):
    path = "/hourly/2031/S0001.csv.gz"
    served.files[path] = hourly_file(hours("2031-12-14", "2031-12-14T05"))
    assert len(fetched(tmp_path, "2031-12-14", "2031-12-14").values) == 6
    served.files[path] = hourly_file(hours("2031-12-14", "2031-12-14T23"))  # more has been measured since
    assert len(fetched(tmp_path, "2031-12-14", "2031-12-14").values) == 24


def test_settled_years_are_kept_in_a_folder_of_their_own(served, tmp_path):
    path = "/hourly/2029/S0001.csv.gz"
    served.files[path] = hourly_file(hours("2029-12-14", "2029-12-14T23"))
    assert len(fetched(tmp_path, "2029-12-14", "2029-12-14").values) == 24
    served.files[path] = hourly_file(hours("2029-12-14", "2029-12-14T05"))
    assert len(fetched(tmp_path, "2029-12-14", "2029-12-14").values) == 24  # asked for, and taken from the cache
    kept = [
        file.relative_to(tmp_path / "cache").as_posix() for file in (tmp_path / "cache").rglob("*") if file.is_file()
    ]
    assert [name.split("/")[0] for name in sorted(kept)] == ["stations.db", "years"]


def test_a_damaged_file_of_the_cache_is_passed_over(served, tmp_path):
    served.files["/hourly/2029/S0001.csv.gz"] = hourly_file(hours("2029-12-14", "2029-12-14T23"))
    fetched(tmp_path, "2029-12-14", "2029-12-14")
    (kept,) = (tmp_path / "cache" / "years").iterdir()
    kept.write_bytes(kept.read_bytes()[:100])
    assert len(fetched(tmp_path, "2029-12-14", "2029-12-14").values) == 24


def test_a_year_without_the_parameter_is_no_data_and_no_damage(served, tmp_path):
    empty = hours("2031-12-14", "2031-12-14T23") * np.nan
    served.files["/hourly/2031/S0001.csv.gz"] = hourly_file(empty)
    assert "has no hourly temperatures" in refused(lambda: fetched(tmp_path, "2031-12-14", "2031-12-14"))


def test_the_cache_never_removes_what_it_holds(served, tmp_path):
    years = tmp_path / "cache" / "years"
    years.mkdir(parents=True)
    old = years / "kept.pickle"
    old.write_bytes(b"old")
    os.utime(old, (0, 0))
    served.files["/hourly/2029/S0001.csv.gz"] = hourly_file(hours("2029-12-14", "2029-12-14T23"))
    fetched(tmp_path, "2029-12-14", "2029-12-14")
    assert old.exists()


def test_no_network_is_told_apart_from_no_data(tmp_path):
    with socket.socket() as taken:  # bound and not listening: nobody answers there
        taken.bind(("127.0.0.1", 0))
        with pointed_at(f"http://127.0.0.1:{taken.getsockname()[1]}"):
            said = refused(lambda: service(tmp_path).stations.near(40.4, -3.7, radius_km=50, count=5))
    assert said.startswith("No answer from the station service at 127.0.0.1 within 5 s")
    assert "is there a network?" in said and "hardiness station add FILE --station NAME" in said


def test_no_data_is_told_with_the_span_that_was_asked_for(served, tmp_path):
    said = refused(lambda: fetched(tmp_path, "2031-12-01", "2032-01-05"))
    assert said.startswith(
        "The station service has no hourly temperatures of station S0001 from 2031-12-01 to 2032-01-05"
    )
    assert "network" not in said and "hardiness station near" in said


def test_a_year_that_is_there_without_the_days_asked_for_is_no_data(served, tmp_path):
    served.files["/hourly/2031/S0001.csv.gz"] = hourly_file(hours("2031-01-01", "2031-01-02"))
    assert "has no hourly temperatures" in refused(lambda: fetched(tmp_path, "2031-12-01", "2031-12-02"))


def test_a_slow_server_is_given_up_after_the_limit(served, tmp_path):
    facts = service(tmp_path).stations.facts("S0001")
    served.wait_s = 2.0
    before = time.monotonic()
    day = dt.date(2031, 12, 14)
    said = refused(lambda: service(tmp_path, limit_s=0.3).fetch(facts, day, day))
    assert time.monotonic() - before < 1.5
    assert "within 0.3 s" in said and "timed out" in said


def test_a_file_that_does_not_come_after_the_answer_is_given_up_too(served, tmp_path):
    path = "/hourly/2031/S0001.csv.gz"
    served.files[path] = hourly_file(hours("2031-12-14", "2031-12-14T23"))
    served.waits[path] = [0.0, 3.0]  # asked first, then read by the package, which sets no limit of its own
    asked, day = service(tmp_path, limit_s=0.5), dt.date(2031, 12, 14)
    facts = asked.stations.facts("S0001")
    before = time.monotonic()
    assert "damaged or cut off" in refused(lambda: asked.fetch(facts, day, day))
    assert time.monotonic() - before < 2.5


@pytest.mark.parametrize("status", [500, 503])
def test_a_fault_of_the_host_is_told_as_its_own(served, tmp_path, status):
    served.status["/hourly/2031/S0001.csv.gz"] = status
    assert f"answered with a fault ({status})" in refused(lambda: fetched(tmp_path, "2031-12-01", "2031-12-02"))


@pytest.mark.parametrize(
    "body", [b"<html>sign in</html>", hourly_file(hours("2031-01-01", "2031-12-31T23"))[:500], b""]
)
def test_a_damaged_file_is_told_as_such_and_not_as_no_data(served, tmp_path, body, capfd):
    served.files["/hourly/2031/S0001.csv.gz"] = body
    said = refused(lambda: fetched(tmp_path, "2031-12-01", "2031-12-02"))
    assert said.startswith("The station service's file of 2031 for station S0001 is damaged or cut off.")
    assert capfd.readouterr().err == ""  # the package's own log stays silent
    served.files["/hourly/2031/S0001.csv.gz"] = hourly_file(hours("2031-01-01", "2031-12-31T23"))
    assert len(fetched(tmp_path, "2031-12-01", "2031-12-02").values) == 48  # and is not kept


def test_a_damaged_list_of_stations_is_fetched_anew(served, tmp_path):
    asked = service(tmp_path)
    asked.stations.facts("S0001")
    path = tmp_path / "cache" / "stations.db"
    path.write_bytes(path.read_bytes()[:700])
    assert asked.stations.facts("S0001").name == "Lower Field"


def test_a_damaged_list_that_the_service_sends_is_not_kept(served, tmp_path):
    served.files["/stations.db"] = b"no list"
    assert "damaged or cut off" in refused(lambda: service(tmp_path).stations.facts("S0001"))
    assert list((tmp_path / "cache").glob("*.db")) == []


def test_an_old_list_serves_where_the_service_does_not_answer(served, tmp_path):
    asked = service(tmp_path)
    asked.stations.facts("S0001")
    path = tmp_path / "cache" / "stations.db"
    month_ago = time.time() - 30 * 24 * 3600
    os.utime(path, (month_ago, month_ago))
    served.status["/stations.db"] = 503
    table, said = asked.stations.near(40.4, -3.7, radius_km=100, count=5)
    assert len(table) == 2
    assert said == ["The station service did not answer: this list of stations is 30 days old."]
    served.status.clear()
    assert asked.stations.near(40.4, -3.7, radius_km=100, count=5)[1] == []
    assert time.time() - path.stat().st_mtime < 60


def test_the_host_is_asked_before_the_package_is(served: Served, tmp_path):
    refused(lambda: fetched(tmp_path, "2031-12-01", "2031-12-02"))
    assert served.asked == ["/stations.db", "/stations.db", "/hourly/2031/S0001.csv.gz"]  # asked, fetched, asked


def test_settings_of_the_whole_program_are_put_back(served, tmp_path):
    usual, handlers = socket.getdefaulttimeout(), list(logging.getLogger("meteostat").handlers)
    refused(lambda: fetched(tmp_path, "2031-12-01", "2031-12-02"))
    assert socket.getdefaulttimeout() == usual
    assert logging.getLogger("meteostat").handlers == handlers
    assert meteostat.config.cache_autoclean is False


def test_a_span_that_ends_before_it_begins_is_refused(served, tmp_path):
    assert "from 2031-12-02 to 2031-12-01" in refused(lambda: fetched(tmp_path, "2031-12-02", "2031-12-01"))


def test_the_cache_is_the_platforms_or_the_one_that_is_set(monkeypatch, tmp_path):
    monkeypatch.delenv("HARDINESS_CACHE", raising=False)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setattr("sys.platform", "linux")
    assert cache_folder() == tmp_path / "hardiness"
    monkeypatch.setenv("HARDINESS_CACHE", str(tmp_path / "mine"))
    assert cache_folder() == tmp_path / "mine"
