"""Loggers that were silent: what is estimated from others, what is left alone, how it is chosen and said."""

from collections import Counter
from dataclasses import replace
from datetime import date
from functools import partial
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from hardiness import flow as flow_module
from hardiness import schema
from hardiness.effects import ModelTerms
from hardiness.errors import InputError
from hardiness.flow import Flow, Records
from hardiness.settings import ALWAYS, NEVER, OVERLAP, Settings
from hardiness.settings_reading import parse_settings
from hardiness.settings_writing import to_toml
from hardiness.weather.answering import who_answers
from hardiness.weather.apart import find_apart
from hardiness.weather.events import freezes_table
from hardiness.weather.one_by_one import OneByOne, with_others
from hardiness.weather.series import series_of
from hardiness.weather.transfer import Transfers, count_estimated, find_transfers
from hardiness.weather.transfer_minima import fit_minima
from hardiness.weather.transfer_pairs import LEAST_COLD, LEAST_NIGHTS
from tests.weather.nights import nights_of

HILL = Settings("Hill", "UTC", latitude=41.2, longitude=-7.5, elevation_m=480.0)
DAYS = 90
TIME = np.datetime64("2031-12-01", "ns") + np.arange(DAYS * 24) * np.timedelta64(1, "h")
RNG = np.random.default_rng(20311201)
MINIMA = np.round(RNG.normal(0.0, 3.0, DAYS), 1)  # of each night, at 6 o'clock


def weather(*, colder: float = 0.0, stray: float = 0.0, seed: int = 1) -> np.ndarray:
    """Hourly air: nights down to MINIMA, afternoons 8 degC above; a site may be colder, and stray by the night."""
    rng = np.random.default_rng(seed)
    night = np.clip((np.arange(TIME.size) + 12) // 24, 0, DAYS - 1)  # from noon to noon
    hour = np.arange(TIME.size) % 24
    course = 4.0 - 4.0 * np.cos((hour - 6) * 2 * np.pi / 24)
    return MINIMA[night] + course - colder + rng.normal(0.0, stray, DAYS)[night]


def labelled(values: np.ndarray, time: np.ndarray = TIME) -> xr.DataArray:
    return xr.DataArray(values, {"time": time}, ("time",), attrs={"units": "degC"})


def without(air: xr.DataArray, first: str, last: str) -> xr.DataArray:
    time = air["time"].to_numpy()
    return air[(time < np.datetime64(first)) | (time > np.datetime64(last))]


def sensors(*rows: dict[str, object]) -> pd.DataFrame:
    table = pd.DataFrame(list(rows), columns=list(schema.SENSORS.names), dtype=object)
    numbers = [column.name for column in schema.SENSORS.columns if column.kind == "number"]
    return table.fillna(dict.fromkeys(set(table.columns) - set(numbers), "")).astype(dict.fromkeys(numbers, float))


STATION = {"sensor": "ST-9", "kind": "station", "elevation_m": 480.0, "latitude": 41.3, "longitude": -7.5}
LOGGER = {"sensor": "L1", "kind": "logger", "accuracy_c": 0.3, "elevation_m": 480.0, "block": "lower"}
BOTH = sensors(STATION, LOGGER)


def transfers(logger: xr.DataArray, station: xr.DataArray | None = None, **options: object) -> Transfers:
    readings = {"L1": logger, "ST-9": labelled(weather()) if station is None else station}
    given = {"sensors": BOTH, "settings": HILL, **options}
    return find_transfers(readings, given["sensors"], given["settings"])


SILENT = ("2032-01-20T13", "2032-01-30T11")


def test_a_gap_is_filled_as_the_logger_would_have_read():
    true = labelled(weather(colder=2.5, stray=0.4))
    found = transfers(without(true, *SILENT)).estimated["L1"]
    assert str(found["time"].to_numpy()[0])[:13] == SILENT[0]
    assert str(found["time"].to_numpy()[-1])[:13] == SILENT[1]
    off = (found["air_temperature"] - true).to_numpy()
    assert np.sqrt(np.mean(off**2)) < 0.7
    assert found["air_temperature"].attrs["units"] == "degC"
    assert found["sd"].attrs["units_metadata"] == "temperature: difference"
    assert ((found["sd"] > 0.3) & (found["sd"] < 0.8)).all()


def test_the_nights_minimum_is_the_predicted_one():
    logger = without(labelled(weather(colder=2.5, stray=0.4)), *SILENT)
    found = transfers(logger).estimated["L1"]
    nights = nights_of(
        {"L1": series_of(logger["time"].to_numpy(), logger.to_numpy()), "ST-9": series_of(TIME, weather())},
        ZoneInfo("UTC"),
    )
    both = np.isfinite(nights.minima).all(axis=1)
    cold = both & (np.nan_to_num(nights.minima, nan=99.0).min(axis=1) <= 2.0)
    model = fit_minima(nights.minima[cold, 0], nights.minima[cold, 1:], nights.ranges[cold, 1], lapse=np.zeros(1))
    silent = np.isnan(nights.minima[:, 0]) & np.isfinite(nights.minima[:, 1])
    predicted = model.predict(nights.minima[silent, 1:], nights.ranges[silent, 1]).centre
    by_night = found["air_temperature"].groupby((found["time"] - np.timedelta64(12, "h")).dt.floor("D")).min()
    assert by_night.to_numpy()[1:-1] == pytest.approx(predicted[-by_night.size :][1:-1], abs=0.05)


def test_nothing_is_estimated_where_the_logger_has_readings():
    logger = without(labelled(weather(colder=2.5, stray=0.4)), *SILENT)
    found = transfers(logger).estimated["L1"]
    assert not np.isin(found["time"].to_numpy(), logger["time"].to_numpy()).any()
    assert "L1" not in transfers(labelled(weather(colder=2.5, stray=0.4))).estimated
    short = without(labelled(weather(colder=2.5, stray=0.4)), "2032-01-20T02", "2032-01-20T03")  # 3 h are bridged
    assert "L1" not in transfers(short).estimated


def test_a_gap_in_a_freeze_that_the_logger_lists_stays_with_it():
    steady = np.where(np.isin(TIME.astype("M8[D]").astype(str), ["2032-01-20", "2032-01-21"]), -6.0, 0.0)
    logger = without(labelled(weather(colder=2.5) + steady), "2032-01-20T22", "2032-01-21T04")
    found = transfers(logger, labelled(weather() + steady))
    assert "L1" not in found.estimated
    table = freezes_table({"L1": logger}, BOTH, HILL, found.estimated)
    over = table[(table["starts"] < "2032-01-21") & (table["ends"] > "2032-01-21")]
    assert over["coverage"].iloc[0] < 1
    assert over["source"].tolist() == ["logger"]


@pytest.mark.parametrize("nights, used", [(LEAST_NIGHTS, True), (LEAST_NIGHTS - 1, False)])
def test_thirty_common_nights_are_enough(nights, used):
    cold = labelled(weather() - 6.0)  # every night is cold
    logger = labelled(weather(colder=8.0))[12 : 12 + nights * 24]
    found = transfers(logger, cold)
    assert found.table[["nights", "basis"]].values.tolist() == [[nights, "overlap" if used else "too few nights"]]
    assert ("L1" in found.estimated) == used


@pytest.mark.parametrize("cold, used", [(LEAST_COLD, True), (LEAST_COLD - 1, False)])
def test_ten_of_them_must_be_cold(cold, used):
    night = np.clip((np.arange(TIME.size) + 12) // 24, 0, DAYS - 1)
    course = np.where(night <= cold, 0.5, 9.0) + 4.0 - 4.0 * np.cos((np.arange(TIME.size) % 24 - 6) * 2 * np.pi / 24)
    found = transfers(labelled(course - 1.0)[12 : 12 + 40 * 24], labelled(course))
    assert found.table["cold_nights"].tolist() == [cold]
    assert ("L1" in found.estimated) == used


def test_settings_say_when():
    few = labelled(weather(colder=2.5))[: 20 * 24]
    for estimate, used in ((OVERLAP, False), (ALWAYS, True), (NEVER, False)):
        settings = parse_settings(f'name = "Hill"\ntimezone = "UTC"\n[transfer]\nestimate = "{estimate}"')
        assert parse_settings(to_toml(settings)) == settings
        assert ("L1" in transfers(few, settings=settings).estimated) == used
    enough = without(labelled(weather(colder=2.5)), *SILENT)
    never = Settings("Hill", "UTC", transfer=NEVER)
    assert transfers(enough).estimated and not transfers(enough, settings=never).estimated
    assert Settings("Hill", "UTC").transfer == OVERLAP
    with pytest.raises(InputError, match=r"'sometimes'.*always, overlap, never"):
        parse_settings('name = "Hill"\ntimezone = "UTC"\n[transfer]\nestimate = "sometimes"')


def test_without_a_common_night_height_alone_speaks_and_is_unsure():
    settings = Settings("Hill", "UTC", transfer=ALWAYS)
    apart = sensors(STATION | {"elevation_m": 680.0}, LOGGER)
    station = labelled(weather())[: 40 * 24]
    logger = labelled(weather(colder=5.0))[50 * 24 :]
    found = find_transfers({"L1": logger, "ST-9": station}, apart, settings)
    row = found.table.iloc[0]
    # 200 m lower at 6.5 K per km is 1.3 K warmer
    assert (row["basis"], row["nights"]) == ("height alone", 0)
    assert row["offset_c"] == row["lapse_c"] == pytest.approx(1.3)
    assert row["sd_c"] == pytest.approx(2.25, abs=0.01)
    estimate = found.estimated["L1"]["air_temperature"]
    assert (estimate - station).to_numpy() == pytest.approx(np.full(estimate.size, 1.3))
    unhung = find_transfers({"ST-9": station}, apart, settings)  # known, and without any reading yet
    assert unhung.estimated["L1"].sizes["time"] == station.size - 24  # half a night at either end is none
    assert not find_transfers({"ST-9": station}, apart, HILL).estimated


def test_few_nights_give_a_smaller_correction_than_many():
    truth = -4.0
    offsets = []
    for nights in (0, 1, 3, 10, 40):
        station = np.linspace(-6.0, 0.0, nights)[:, None]
        model = fit_minima(station[:, 0] + truth, station, np.full(nights, 8.0), lapse=np.zeros(1))
        offsets.append(model.offset)
    assert offsets[0] == 0.0
    assert list(np.diff(offsets) < 0) == [True] * 4
    assert offsets[1] > 0.75 * truth
    assert offsets[-1] == pytest.approx(truth, abs=0.05)


def test_the_prediction_has_the_tails_of_few_nights():
    station = np.linspace(-6.0, 0.0, 5)[:, None]
    few = fit_minima(station[:, 0], station, np.full(5, 8.0), lapse=np.zeros(1))
    low, high = few.predict(np.array([[-4.0]]), np.array([8.0])).interval(0.99)
    normal = 2.5758 * few.predict(np.array([[-4.0]]), np.array([8.0])).sd
    assert (high - low)[0] / 2 > 1.04 * normal[0]


def test_wide_days_may_be_colder_at_the_site():
    rng = np.random.default_rng(5)
    ranges = rng.uniform(3.0, 15.0, 60)
    station = rng.normal(-2.0, 2.0, (60, 1))
    model = fit_minima(station[:, 0] - 1.0 - 0.2 * (ranges - 9.0), station, ranges, lapse=np.zeros(1))
    calm, windy = model.predict(np.array([[-3.0], [-3.0]]), np.array([14.0, 4.0])).centre
    assert calm - windy == pytest.approx(-2.0, abs=0.3)


def test_offsets_of_sensors_are_in_the_estimates():
    true = labelled(weather(colder=2.5, stray=0.2))
    reading_low = without(true - 1.0, *SILENT).assign_attrs(units="degC")
    found = transfers(reading_low, sensors=sensors(STATION, LOGGER | {"offset_c": 1.0})).estimated["L1"]
    assert float(np.abs((found["air_temperature"] - true).mean())) < 0.3


def test_daily_minima_are_no_donor():
    daily = labelled(MINIMA, TIME[::24]).assign_attrs(series="daily_minimum")
    found = transfers(without(labelled(weather(colder=2.5)), *SILENT), daily)
    assert found.table.empty
    assert found.estimated == {}


def test_one_logger_alone_is_never_estimated():
    found = find_transfers({"L1": without(labelled(weather()), *SILENT)}, sensors(LOGGER), HILL)
    assert found.table.empty
    assert list(found.table.columns) == schema.column_names(schema.TRANSFERS)
    assert found.estimated == {}


def test_the_better_donor_speaks_where_it_saw_the_night():
    logger = without(labelled(weather(colder=2.0, stray=0.1)), *SILENT)
    near = without(labelled(weather(colder=1.0, stray=0.1, seed=2)), "2032-01-25T13", "2032-02-05T11")
    far = labelled(weather(colder=-3.0, stray=2.5, seed=3))
    table = sensors(STATION, LOGGER, {"sensor": "L2", "kind": "logger"})
    found = find_transfers({"L1": logger, "L2": near, "ST-9": far}, table, HILL)
    estimate = found.estimated["L1"]
    sets = estimate["donors"].attrs["flag_meanings"].split("\n")
    asked = [sets[code].split("\t") for code in estimate["donors"].to_numpy()]
    assert "L2" in asked[24]
    assert asked[-24] == ["ST-9"]
    assert float(estimate["sd"][24]) < float(estimate["sd"][-24])


def test_no_order_of_the_sensors_changes_a_number():
    logger = without(labelled(weather(colder=2.0, stray=0.3)), *SILENT)
    readings = {"L1": logger, "L2": labelled(weather(colder=1.0, stray=0.4, seed=2)), "ST-9": labelled(weather())}
    table = sensors(STATION, LOGGER, {"sensor": "L2", "kind": "logger"})
    one = find_transfers(readings, table, HILL)
    other = find_transfers(dict(reversed(readings.items())), table.iloc[::-1].reset_index(drop=True), HILL)
    pd.testing.assert_frame_equal(one.table, other.table)
    xr.testing.assert_identical(one.estimated["L1"], other.estimated["L1"])


# In the tables ------------------------------------------------------------------------------------------------------


def records(readings: dict[str, xr.DataArray], table: pd.DataFrame, **others: pd.DataFrame) -> Records:
    names = ("selections", "plants", "scores", "freeze_notes")
    empty = {name: pd.DataFrame(columns=list(schema.RECORD_TABLES[name].names)) for name in names}
    return Records(readings=readings, sensors=table, **(empty | others))


def plants(*rows: dict[str, object]) -> pd.DataFrame:
    table = pd.DataFrame(
        [{"selection": "OL-07", "rootstock": "own", "planted_on": date(2031, 4, 1)} | row for row in rows],
        columns=list(schema.PLANTS.names),
        dtype=object,
    )
    return table.fillna({c.name: "" for c in schema.PLANTS.columns if c.kind in ("text", "choice")})


SCORED = pd.DataFrame([{"plant": "T1", "scored_on": date(2032, 2, 27), "grade": 1}], columns=list(schema.SCORES.names))
SCORED[["protected", "observer", "notes"]] = ""


def flow_of(**options: object) -> Flow:
    readings = {"L1": without(labelled(weather(colder=2.5, stray=0.4)), *SILENT), "ST-9": labelled(weather())}
    return Flow(records(readings, BOTH, **options), HILL)


def test_estimated_freezes_stand_under_the_loggers_name_with_the_error_of_the_transfer():
    flow = flow_of()
    found = flow.freezes[flow.freezes["source"] == "estimated"]
    assert len(found) >= 2
    assert set(found["sensor"]) == {"L1"}
    assert found["freeze"].str.endswith(" L1").all() or found["freeze"].str.contains(" L1 ").any()
    assert flow.freezes["freeze"].is_unique
    for row in found.itertuples(index=False):
        inside = flow.estimated["L1"].sel(time=slice(row.starts.tz_localize(None), row.ends.tz_localize(None)))
        transfer = float(inside["sd"][int(np.argmin(inside["air_temperature"].to_numpy()))])
        unsure = 0.3**2 + (2 * (1 - row.coverage)) ** 2 + transfer**2
        assert row.sd_c == pytest.approx(np.sqrt(unsure), rel=1e-9)
    assert flow.transfers["freezes"].tolist() == [len(found)]
    measured = flow.freezes[(flow.freezes["sensor"] == "L1") & (flow.freezes["source"] == "logger")]
    assert measured["sd_c"].max() <= np.hypot(0.3, 2.0)


def test_plants_of_a_silent_logger_meet_its_estimated_freezes_and_not_the_stations():
    flow = flow_of(plants=plants({"plant": "T1", "block": "lower"}))
    silent = flow.exposures[flow.exposures["starts"].between("2032-01-21", "2032-01-29")]
    assert len(silent) >= 2
    assert set(silent["sensor"]) == {"L1"}
    assert set(silent["source"]) == {"estimated"}
    never = Flow(flow.records, Settings("Hill", "UTC", transfer=NEVER))
    silent = never.exposures[never.exposures["starts"].between("2032-01-21", "2032-01-29")]
    assert set(silent["sensor"]) <= {"ST-9"}


def test_readings_of_a_second_logger_come_before_an_estimate_and_an_estimate_before_a_station():
    gone, there = SILENT, labelled(weather(colder=1.0, stray=0.3, seed=4))
    readings = {
        "L1": without(labelled(weather(colder=2.5, stray=0.4)), *gone),
        "L2": there,
        "ST-9": labelled(weather()),
    }
    table = sensors(STATION, LOGGER, {"sensor": "L2", "kind": "logger"})
    rows = [("T1", "L1;L2"), ("T2", "L1"), ("T3", "ST-9;L1"), ("T4", "L1;ST-9;L2")]
    flow = Flow(records(readings, table, plants=plants(*({"plant": p, "sensor": s} for p, s in rows))), HILL)
    silent = flow.exposures[flow.exposures["starts"].between("2032-01-21", "2032-01-29")]
    spoken = silent.groupby("plant")["sensor"].agg(lambda names: sorted(set(names))).to_dict()
    assert spoken == {"T1": ["L2"], "T2": ["L1"], "T3": ["ST-9"], "T4": ["L1"]}


def test_observations_of_estimated_freezes_carry_the_transfer_and_the_sensors_own_error():
    spell = np.where(np.isin(TIME.astype("M8[D]").astype(str), ["2032-01-24", "2032-01-25"]), -14.0, 0.0)
    readings = {"L1": without(labelled(weather(colder=2.5, stray=0.4) + spell), *SILENT),
                "ST-9": labelled(weather() + spell)}  # fmt: skip
    flow = Flow(records(readings, BOTH, plants=plants({"plant": "T1", "block": "lower"}), scores=SCORED), HILL)
    [row] = flow.observations.to_dict("records")
    met = flow.freezes.set_index("freeze").loc[row["freeze"]]
    assert (met["source"], met["sensor"]) == ("estimated", "L1")
    assert row["exposure_c"] == met["held_1h_c"] < -8
    assert row["exposure_sd_c"] == met["sd_c"] > 0.4
    assert row["sensor_sd_c"] == 0.3


def test_estimates_begin_a_while_before_the_first_plant_stands():
    late = flow_of(plants=plants({"plant": "T1", "block": "lower", "planted_on": date(2032, 2, 15)}))
    assert late.estimated["L1"]["time"].to_numpy()[0] == np.datetime64("2032-01-25T04")  # 500 h before
    assert flow_of().estimated["L1"]["time"].to_numpy()[0] == np.datetime64("2032-01-20T13")


def test_a_masked_stretch_counts_as_silent():
    readings = {"L1": labelled(weather(colder=2.5, stray=0.4)), "ST-9": labelled(weather())}
    masks = pd.DataFrame(
        [
            {
                "sensor": "L1",
                "from": f"{SILENT[0]}:00:00Z",
                "to": f"{SILENT[1]}:00:00Z",
                "verdict": "mask",
                "reason": "x",
            }
        ],
        columns=list(schema.MASKS.names),
    )
    flow = Flow(records(readings, BOTH, masks=masks), HILL)
    expected = flow_of().freezes
    pd.testing.assert_frame_equal(flow.freezes, expected)


def test_the_weeks_before_an_estimated_freeze_may_be_estimated_too():
    settings = parse_settings(to_toml(HILL).replace('hardening = "leave out"', 'hardening = "effect"'))
    assert settings.model.hardening
    later = labelled(weather(colder=2.5, stray=0.4))[55 * 24 :]  # hung after 55 days
    readings = {"L1": later, "ST-9": labelled(weather())}
    flow = Flow(records(readings, BOTH, plants=plants({"plant": "T1", "block": "lower"}), scores=SCORED), settings)
    early = flow.freezes[(flow.freezes["source"] == "estimated") & (flow.freezes["starts"] > "2031-12-25")]
    assert len(early)
    assert not any("not known" in sentence for sentence in flow.covariates.said)


def test_counting_without_estimates_gives_zeros():
    found = transfers(labelled(weather(colder=2.5)))
    table = freezes_table({"ST-9": labelled(weather())}, BOTH, HILL)
    assert count_estimated(table, found)["freezes"].tolist() == [0]


class Counted(OneByOne):
    """Readings fetched one by one, which counts how often each sensor's are."""

    def __init__(self, readings: dict[str, xr.DataArray]) -> None:
        self.fetched: Counter[str] = Counter()
        super().__init__({name: partial(self._fetch, name, air) for name, air in readings.items()},
                         {name: air.size for name, air in readings.items()})  # fmt: skip

    def _fetch(self, name: str, air: xr.DataArray) -> xr.DataArray:
        self.fetched[name] += 1
        return air


def gappy() -> tuple[dict[str, xr.DataArray], pd.DataFrame]:
    """Two loggers that were silent at times, one of them in a freeze of its own, and a station; offsets to add."""
    first = without(labelled(weather(colder=2.5, stray=0.4)), *SILENT)
    second = without(labelled(weather(colder=4.0, stray=0.6, seed=6)), "2032-02-03T01", "2032-02-08T15")
    table = sensors(STATION, LOGGER | {"offset_c": 0.2}, {"sensor": "L2", "kind": "logger", "offset_c": -0.1})
    return {"L1": first, "L2": second, "ST-9": labelled(weather())}, table


def test_readings_fetched_one_by_one_give_the_same_tables_and_are_fetched_once():
    readings, table = gappy()
    lazily = Counted(readings)
    standing = plants({"plant": "T1", "block": "lower"}, {"plant": "T2", "sensor": "L2"})
    one, other = (Flow(records(given, table, plants=standing), HILL) for given in (readings, lazily))
    pd.testing.assert_frame_equal(other.freezes, one.freezes, check_exact=True)
    assert set(one.freezes.loc[one.freezes["source"] == "estimated", "sensor"]) == {"L1", "L2"}
    assert lazily.fetched == {"L1": 1, "L2": 1, "ST-9": 1}
    pd.testing.assert_frame_equal(other.transfers, one.transfers, check_exact=True)
    assert lazily.fetched.total() == 3
    assert isinstance(other.courses, OneByOne) and lazily.fetched.total() == 3
    for logger, course in one.courses.items():
        xr.testing.assert_identical(other.courses[logger], course)
        assert other.courses.sizes[logger] == course.size
    pd.testing.assert_frame_equal(other.exposures, one.exposures, check_exact=True)


def test_weather_before_an_estimated_freeze_is_estimated_too_where_readings_are_fetched_one_by_one():
    readings, table = gappy()
    lazily = Counted(readings)
    courses = Flow(records(lazily, table), HILL).courses
    fetched = lazily.fetched.total()
    laid = with_others(lazily, courses)
    assert lazily.fetched.total() == fetched and list(laid) == list(readings)
    assert laid["L1"].size == courses.sizes["L1"] > readings["L1"].size
    assert laid["ST-9"].size == readings["ST-9"].size


def test_a_flow_that_never_estimates_builds_no_transfer_for_other_settings(monkeypatch):
    def built(*_, **__):
        raise AssertionError("a transfer was built")

    monkeypatch.setattr(flow_module, "find_transfers", built)
    readings, table = gappy()
    never = replace(HILL, transfer=NEVER)
    one = Flow(records(readings, table, plants=plants({"plant": "T1", "block": "lower"}), scores=SCORED), never)
    other = one.with_settings(replace(never, model=ModelTerms(winter=True)))
    assert other.freezes is one.freezes and other.courses == {}
    assert set(other.freezes["source"]) == {"logger", "station"}
    with pytest.raises(AssertionError, match="a transfer was built"):
        _ = Flow(records(readings, table), HILL).freezes
    with pytest.raises(AssertionError, match="a transfer was built"):
        _ = one.transfers  # the table itself is there for who asks


def test_a_stations_wind_is_asked_and_a_loggers_air_is_not():
    readings, table = gappy()
    wind = xr.Dataset({"wind_speed": ("time", np.full(TIME.size, 1.0), {"units": "m s-1"}),
                       "air_temperature": labelled(weather())}, {"time": TIME})  # fmt: skip
    asked = []

    class Told(dict):
        def __getitem__(self, sensor):
            asked.append(sensor)
            return super().__getitem__(sensor)

    told = Told({"ST-9": wind, "L2": wind})
    flow = Flow(replace(records(readings, table), conditions=lambda: told), HILL)
    by = flow.transfers.set_index(["sensor", "source"])["nights_by"]
    assert by["L1", "ST-9"] == "wind" and by["L1", "L2"] == "range of the day"
    assert set(asked) == {"ST-9"}
    without_station = Flow(replace(records({"L1": readings["L1"], "L2": readings["L2"]}, table.iloc[1:]),
                                   conditions=lambda: pytest.fail("read")), HILL)  # fmt: skip
    assert len(without_station.transfers) == 2


# Sensors held against each other ------------------------------------------------------------------------------------


def freezes(*rows: tuple[str, str, float, float], source: str = "logger") -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=["event", "sensor", "minimum_c", "sd_c"])
    return table.assign(source=source, starts=pd.to_datetime(table["event"], utc=True))


def test_sensors_lie_apart_by_more_than_both_errors_explain():
    table = freezes(("2031-12-14", "L1", -8.0, 0.3), ("2031-12-14", "L2", -7.2, 0.3), ("2031-12-14", "L3", -7.1, 0.3))
    hung = sensors(*({"sensor": f"L{n}", "latitude": 41.0 + n / 1000, "longitude": -7.5, "elevation_m": 10.0 * n}
                     for n in (1, 2, 3)))  # fmt: skip
    found = find_apart(table, hung, HILL)
    # 1.96 * 0.3 * sqrt(2) = 0.83: 0.8 is explained, 0.9 is not
    assert found[["sensor_a", "sensor_b"]].values.tolist() == [["L1", "L3"]]
    row = found.iloc[0]
    assert (row["difference_c"], row["sd_c"]) == pytest.approx((-0.9, 0.4243), abs=1e-4)
    assert (row["distance_km"], row["height_m"]) == pytest.approx((0.222, -20.0), abs=0.001)
    assert np.isnan(row["usual_c"])


def test_the_usual_difference_is_that_of_the_other_events():
    rows = [(f"2031-12-{day}", name, low, 0.1) for day, cold in (("10", -4.0), ("12", -5.0), ("14", -6.0), ("16", -7.0))
            for name, low in (("L1", cold - 2.0), ("L2", cold if day != "16" else cold + 3.0))]  # fmt: skip
    found = find_apart(freezes(*rows), sensors(LOGGER, {"sensor": "L2"}), HILL)
    assert found["event"].tolist() == ["2031-12-10", "2031-12-12", "2031-12-14", "2031-12-16"]
    assert found["difference_c"].tolist() == [-2.0, -2.0, -2.0, -5.0]
    assert found["usual_c"].tolist() == [-2.0] * 4


def test_estimates_are_not_held_against_what_they_rest_on():
    table = pd.concat([freezes(("2031-12-14", "L1", -8.0, 0.3), source="estimated"),
                       freezes(("2031-12-14", "ST-9", -3.0, 0.3), source="station")])  # fmt: skip
    assert find_apart(table, BOTH, HILL).empty


def test_who_answers_and_why():
    flow = flow_of(plants=plants({"plant": "T1", "block": "lower"}, {"plant": "T2", "sensor": "ST-9"},
                                 {"plant": "T3", "planted_on": date(2032, 6, 1)}))  # fmt: skip
    r = flow.records
    found = who_answers(r.plants, r.scores, flow.freezes, flow.readings, r.sensors, HILL, flow.courses)
    assert found[["plant", "sensor", "why"]].values.tolist() == [
        ["T1", "L1", "a logger of its block"],
        ["T2", "ST-9", "named by the plant"],
    ]
    one, other = found.iloc[0], found.iloc[1]
    assert one["asked"] == "L1;ST-9"
    assert one["events"] == other["events"] == flow.freezes["event"].nunique()
    assert one["estimated"] >= 2 and other["estimated"] == 0
    assert other["distance_km"] == pytest.approx(11.12, abs=0.01)
    never = who_answers(r.plants, r.scores, flow.freezes, flow.readings, r.sensors, HILL)
    later = never[(never["plant"] == "T1") & (never["sensor"] == "ST-9")]
    assert later["why"].tolist() == ["a station, the nearest first; those asked before it had too few readings"]
