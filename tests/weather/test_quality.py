"""Each flag on readings made by hand: what is flagged, what is let pass, and that nothing is changed."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

from hardiness import schema
from hardiness.read.records import records_frame
from hardiness.schema import MASKS
from hardiness.settings import Settings
from hardiness.weather.events import freezes_table
from hardiness.weather.quality import VALUE_KINDS, find_flags, freezes_in_doubt, judge_flags
from hardiness.weather.quality_clock import split
from hardiness.weather.quality_neighbours import Courses
from hardiness.weather.series import to_series

HILL = Settings("Hill", "Europe/Lisbon", latitude=41.4, longitude=-7.4)
HOUR = np.timedelta64(3_600_000_000_000, "ns")
START = np.datetime64("2031-11-01T00:00", "ns")


def air(values, *, step_h=1.0, start=START, times=None, **attrs):
    if times is None:
        times = start + (np.arange(len(values)) * step_h * 3.6e12).astype("m8[ns]")
    return xr.DataArray(np.asarray(values, float), {"time": times}, name="air_temperature",
                        attrs={"units": "degC"} | attrs)  # fmt: skip


def days(number, *, mean=6.0, swing=5.0, seed=0, step_h=1.0, late_h=0.0, noise=0.3):
    """So many days of weather: warmest at three in the afternoon, some days clearer than others."""
    weather = np.random.default_rng(99)  # one sky over all sensors
    hours = np.arange(0, 24 * number, step_h)
    clear = np.interp(hours, np.arange(number + 1) * 24, weather.uniform(0.4, 1.4, number + 1))
    fronts = np.arange(0, 24 * number + 48, 48)
    front = np.interp(hours, fronts, weather.normal(0, 2.0, fronts.size))
    own = np.random.default_rng(seed).normal(0, noise, hours.size)
    return np.round(mean + front + swing * clear * np.cos(2 * np.pi * (hours - 15 - late_h) / 24) + own, 1)


def flags_of(readings, trial=HILL, **options):
    readings = readings if isinstance(readings, dict) else {"L1": readings}
    return find_flags(readings, pd.DataFrame({"sensor": list(readings)}), trial, **options)


def kinds(flags, sensor="L1"):
    return flags.loc[flags["sensor"] == sensor, "flag"].tolist()


def test_sound_readings_have_no_flag_and_the_table_has_its_columns():
    flags = flags_of({"L1": air(days(60)), "L2": air(days(60, seed=1, mean=5))})
    assert flags.empty
    assert list(flags.columns) == [
        name for name in schema.column_names(schema.FLAGS) if name not in ("freezes", "verdict")
    ]
    assert str(flags["from"].dtype) == "datetime64[ns, UTC]"
    assert flags["readings"].dtype == "int64"


def test_no_readings_at_all_and_one_reading_are_taken():
    assert flags_of({}).empty
    assert flags_of({"L1": air([]), "L2": air([1.0])}).empty


@pytest.mark.parametrize("size", [-24.5, 24.5])
@pytest.mark.parametrize("width", [1, 2])
def test_a_short_excursion_either_way_is_a_spike(size, width):
    values = days(30)
    values[300 : 300 + width] += size
    flags = flags_of(air(values))
    assert kinds(flags) == ["spike"]
    assert flags["readings"].tolist() == [width]
    assert flags["from"].dt.tz_localize(None)[0] == START + 300 * HOUR
    assert flags["worst_c"][0] == pytest.approx(
        values[300 : 300 + width][np.argmax(np.abs(values[300 : 300 + width] - 6))]
    )


def test_a_front_that_stays_and_a_small_wiggle_are_no_spikes():
    values = days(30)
    values[300:] -= 12  # the cold comes and stays
    values[200] += 3
    assert kinds(flags_of(air(values))) == []


def test_an_excursion_that_neighbours_show_too_is_weather():
    storm = np.zeros(720)
    storm[300] = -9
    alone = air(days(30) + storm)
    beside = {"L2": air(days(30, seed=1) + 0.9 * storm), "L3": air(days(30, seed=2) + 0.8 * storm)}
    assert kinds(flags_of(alone)) == ["spike"]
    assert kinds(flags_of({"L1": alone, **beside})) == []


def test_a_daily_minimum_is_judged_by_its_own_roughness_and_a_lost_sign_is_called_so():
    rng = np.random.default_rng(3)
    values = np.round(21 + rng.normal(0, 1.5, 400), 1)
    values[200] = -21.0
    values[300] += 3.0
    flags = flags_of(air(values, step_h=24, series="daily_minimum"))
    assert kinds(flags) == ["sign flip"]
    assert "the sign is wrong" in flags["sentence"][0]


def test_what_no_air_can_be_is_impossible_and_said_once():
    values = days(30)
    values[300] = -127.0
    values[400:404] = 85.0
    flags = flags_of(air(values))
    assert kinds(flags) == ["impossible", "impossible"]
    assert flags["readings"].tolist() == [1, 4]
    assert flags["sentence"][1] == "Read 85.0 °C: outside −60 °C to 70 °C."


def test_a_logger_in_the_freezer_is_colder_than_every_neighbour():
    values = days(30)
    values[300:310] = -19.0
    flags = flags_of({"L1": air(values), "L2": air(days(30, seed=1)), "L3": air(days(30, seed=2))})
    assert kinds(flags) == ["impossible"]
    assert flags["readings"].tolist() == [10]
    assert "colder than any neighbour" in flags["sentence"][0]


def test_a_neighbour_at_fault_is_not_held_against_the_others():
    values = days(30)
    values[300:310] = 25.0
    flags = flags_of({"L1": air(days(30)), "L2": air(values)}, values_only=True)
    assert kinds(flags) == []


def test_a_night_without_its_minus_sign_mirrors_the_neighbours():
    cold = days(30, mean=-4)
    wrong = cold.copy()
    wrong[288:312] = np.abs(wrong[288:312])
    flags = flags_of({"L1": air(wrong), "L2": air(days(30, mean=-4, seed=1)), "L3": air(days(30, mean=-4, seed=2))})
    assert "sign flip" in kinds(flags)
    assert kinds(flags, "L2") == kinds(flags, "L3") == []


def test_a_value_that_stands_is_stuck_also_without_neighbours():
    values = days(30)
    values[300:324] = values[300]
    flags = flags_of(air(values))
    assert kinds(flags) == ["stuck"]
    assert flags["readings"][0] >= 24
    assert f"Read {values[300]:.1f} °C and nothing else for 23 h." == flags["sentence"][0].replace("−", "-")


def test_a_day_of_fog_at_every_sensor_is_not_stuck():
    fog = slice(300, 320)
    readings = {}
    for seed in range(3):
        values = days(30, seed=seed)
        values[fog] = 3.0
        readings[f"L{seed + 1}"] = air(values)
    assert [kind for name in readings for kind in kinds(flags_of(readings), name)] == []


def test_a_coarse_sensor_may_stand_longer_than_a_fine_one():
    fine, coarse = days(30, noise=0.05), np.round(days(30, noise=0.05))
    for values in (fine, coarse):
        values[300:311] = values[300]
    assert kinds(flags_of(air(fine))) == ["stuck"]
    assert kinds(flags_of(air(coarse))) == []


def test_a_plateau_at_freezing_point_beside_colder_neighbours_is_snow_or_ice():
    cold = days(30, mean=-8)
    under = cold.copy()
    under[288:330] = 0.0
    readings = {"L1": air(under), "L2": air(days(30, mean=-8, seed=1))}
    flags = flags_of(readings)
    assert kinds(flags) == ["zero plateau"]
    assert flags["readings"][0] >= 42
    assert "where the air was colder than it says" in flags["sentence"][0]


def test_wet_snow_at_freezing_point_everywhere_is_no_plateau():
    readings = {}
    for seed in range(2):
        values = days(30, mean=-2, seed=seed)
        values[288:300] = np.random.default_rng(seed).choice([0.0, 0.1, -0.1], 12)
        readings[f"L{seed + 1}"] = air(values)
    assert kinds(flags_of(readings)) == []


def test_sun_on_a_sensor_shows_on_clear_middays_and_not_at_night():
    values = days(40, swing=8)
    shaft = np.isin(np.arange(values.size) % 24, (12, 13)) & (np.arange(values.size) // 24 >= 10)
    values[shaft & (np.arange(values.size) // 24 < 20)] += 9
    flags = flags_of({"L1": air(values), "L2": air(days(40, swing=8, seed=1))})
    assert kinds(flags) == ["sun"]
    begin, end = flags["from"][0].tz_localize(None), flags["to"][0].tz_localize(None)
    assert START + 240 * HOUR <= begin.to_datetime64() <= end.to_datetime64() <= START + 480 * HOUR
    assert "sun reaches the sensor" in flags["sentence"][0]


@pytest.mark.parametrize("late_h", [-2.0, 1.0, 12.0])
def test_a_clock_set_wrong_for_a_month_is_found_against_neighbours(late_h):
    right = days(90)
    wrong = days(90, late_h=late_h)
    values = np.where((np.arange(right.size) >= 24 * 30) & (np.arange(right.size) < 24 * 60), wrong, right)
    flags = flags_of({"L1": air(values), "L2": air(days(90, seed=1)), "L3": air(days(90, seed=2))})
    assert kinds(flags, "L2") == kinds(flags, "L3") == []
    found = flags[flags["flag"] == "clock jump"]
    assert len(found) == 1
    assert abs(found["from"].iloc[0].tz_localize(None) - pd.Timestamp(START + 720 * HOUR)) <= pd.Timedelta(days=6)
    assert abs(found["to"].iloc[0].tz_localize(None) - pd.Timestamp(START + 1440 * HOUR)) <= pd.Timedelta(days=6)
    assert ("late" if late_h > 0 else "early") in found["sentence"].iloc[0] or abs(late_h) == 12


def test_of_two_sensors_the_one_whose_own_days_moved_has_the_wrong_clock():
    wrong = np.where(np.arange(2160) >= 1080, days(90, late_h=3.0), days(90))
    flags = flags_of({"L1": air(days(90, seed=1)), "L2": air(wrong)})
    assert kinds(flags, "L1") == []
    assert kinds(flags, "L2") == ["clock jump"]


def test_a_clock_that_drifts_two_hours_in_a_season_is_found():
    hours = np.arange(24 * 100)
    times = START + ((hours + hours / hours[-1] * 2.0) * 3.6e12).astype("m8[ns]")
    readings = {"L1": air(days(100), times=times), "L2": air(days(100, seed=1)), "L3": air(days(100, seed=2))}
    flags = flags_of(readings)
    assert kinds(flags) == ["clock drift"]
    assert "late against L2 and L3: the clock runs fast" in flags["sentence"][0].replace("L3 and L2", "L2 and L3")


def test_lags_are_parted_where_they_step_and_called_a_drift_where_they_slope():
    noise = np.random.default_rng(1).normal(0, 0.05, 40)
    box = np.where((np.arange(40) >= 12) & (np.arange(40) < 24), -2.0, 0.0) + noise
    (jump,) = split(box, 0.75, 0.5)
    assert (jump.first, jump.last, jump.drift) == (12, 23, False) and jump.hours == pytest.approx(-2, abs=0.1)
    (drift,) = split(np.linspace(0, 1.5, 40) + noise, 0.75, 0.5)
    assert drift.drift and (drift.first, drift.last) == (0, 39) and drift.hours == pytest.approx(1.5, abs=0.1)
    assert split(noise, 0.75, 0.5) == []
    assert split(np.full(10, np.nan), 0.75, 0.5) == []


def test_a_clock_set_anew_between_two_seasons_is_a_jump_of_the_second():
    lags = np.concatenate([np.zeros(20), np.full(30, np.nan), np.full(20, 1.0)])
    (jump,) = split(lags, 0.75, 0.5)
    assert (jump.first, jump.last, jump.hours) == (50, 69, 1.0)


def test_readings_that_thin_out_before_a_silence_are_a_fading_battery():
    values, hours = days(60), np.arange(24 * 60)
    kept = (hours < 24 * 30) | (np.random.default_rng(2).random(hours.size) < 0.5)
    kept &= hours < 24 * 35
    times = START + (hours[kept] * 3.6e12).astype("m8[ns]")
    flags = flags_of(air(values[kept], times=times))
    assert "battery fade" in kinds(flags)
    faded = flags[flags["flag"] == "battery fade"]
    assert faded["to"].iloc[0].tz_localize(None).to_datetime64() == times[-1]
    assert kinds(flags_of(air(values[: 24 * 35]))) == []  # a file that merely ends


def test_readings_that_fall_away_before_a_silence_are_a_fading_battery():
    values = days(30)
    values[-12:] = values[-13] - np.linspace(2, 28, 12)
    flags = flags_of(air(values), values_only=True)
    assert "battery fade" in kinds(flags)
    assert "Readings fell away by" in flags.loc[flags["flag"] == "battery fade", "sentence"].iloc[0]


def test_a_gap_is_a_gap_and_says_how_long():
    values = days(10)
    kept = np.ones(240, bool)
    kept[100:106] = False
    flags = flags_of(air(values[kept], times=(START + np.arange(240) * HOUR)[kept]))
    assert kinds(flags) == ["gap"]
    assert flags["sentence"][0] == "No reading for 7 h, about 6 readings missing."
    assert flags["readings"][0] == 0 and np.isnan(flags["worst_c"][0])


@settings(max_examples=60, deadline=None)
@given(
    steps=st.lists(st.sampled_from([0.5, 1.0, 2.0, 4.0, 30.0]), min_size=1, max_size=60),
    values=st.lists(st.floats(-90, 90, allow_nan=False), min_size=61, max_size=61),
    missing=st.sets(st.integers(0, 60)),
)
def test_flags_change_no_reading_and_gaps_are_exactly_the_steps_not_bridged(steps, values, missing):
    times = START + (np.concatenate(([0.0], np.cumsum(steps))) * 3.6e12).astype("m8[ns]")
    given_values = np.array(values[: times.size])
    given_values[[i for i in missing if i < times.size]] = np.nan
    readings = {"L1": air(given_values, times=times), "L2": air(values[: times.size], times=times + HOUR // 4)}
    before = {name: series.copy(deep=True) for name, series in readings.items()}
    flags = flags_of(readings)
    for name, series in readings.items():
        xr.testing.assert_identical(series, before[name])
        own = to_series(series)
        gaps = flags[(flags["sensor"] == name) & (flags["flag"] == "gap")]
        assert (
            gaps["from"].dt.tz_localize(None).to_numpy("M8[ns]").astype(int).tolist()
            == own.times[:-1][~own.bridged].tolist()
        )
        assert (
            gaps["to"].dt.tz_localize(None).to_numpy("M8[ns]").astype(int).tolist()
            == own.times[1:][~own.bridged].tolist()
        )
        inside = flags[(flags["sensor"] == name) & (flags["flag"] != "gap")]
        instants = set(own.times.tolist())
        assert {int(t.value) for t in [*inside["from"], *inside["to"]]} <= instants
        assert (inside["from"] <= inside["to"]).all() and (inside["readings"] >= 1).all()


def test_the_order_of_readings_and_sensors_does_not_matter():
    values = days(30)
    values[300] += 20
    one, two = air(values), air(days(30, seed=1))
    back = one.isel(time=slice(None, None, -1))
    pd.testing.assert_frame_equal(flags_of({"L1": one, "L2": two}), flags_of({"L2": two, "L1": back}))


def test_a_logger_may_stand_beside_one_that_is_too_short_for_a_clock_to_be_judged():
    long, short = air(days(5)), air(days(5, seed=1)[: 4 * 24])
    assert flags_of({"L1": long, "L2": short}).empty


def test_estimated_series_are_nobodys_readings():
    values = days(30)
    values[300] += 30
    assert flags_of(air(values, series="estimated")).empty
    assert list(Courses({"L1": air(values), "S": air(values, series="estimated")})) == ["L1"]


def test_values_only_are_the_same_flags_without_clocks_sun_and_gaps():
    values = days(60)
    values[300] += 25
    values[600:640] = values[600]
    kept = np.ones(values.size, bool)
    kept[900:920] = False
    readings = {"L1": air(values[kept], times=(START + np.arange(values.size) * HOUR)[kept])}
    whole, part = flags_of(readings), flags_of(readings, values_only=True)
    assert kinds(whole) == ["spike", "stuck", "gap"]
    pd.testing.assert_frame_equal(part, whole[whole["flag"].isin(VALUE_KINDS)].reset_index(drop=True))


def test_sentences_speak_the_trials_unit():
    values = days(30)
    values[300] += 20
    sentence = flags_of(air(values), Settings("Hill", "America/New_York", units="F"))["sentence"][0]
    assert "°F" in sentence and "°C" not in sentence


def judged(values, rows):
    readings = {"L1": air(values)}
    flags = flags_of(readings)
    table = records_frame(
        MASKS, [{"sensor": "L1", "from": a, "to": b, "verdict": v, "reason": "x"} for a, b, v in rows]
    )
    return judge_flags(flags, table, freezes_table(readings, pd.DataFrame({"sensor": ["L1"]}), HILL), readings)


def at(hour):
    return str(START + hour * HOUR)[:19] + "Z"


def test_a_verdict_counts_when_it_covers_all_of_the_flags_readings():
    values = days(30, mean=8)
    values[300:302] = -15
    code = judged(values, [])["code"][0]
    for rows, verdict in (
        ([], ""),
        ([(at(300), at(300), "mask")], ""),
        ([(at(300), at(301), "mask")], "mask"),
        ([(at(300), at(300), "mask"), (at(301), at(301), "mask")], "mask"),
        ([(at(300), at(300), "mask"), (at(301), at(301), "keep")], "keep"),
        ([(at(200), at(400), "keep")], "keep"),
    ):
        flags = judged(values, rows)
        assert flags["verdict"].tolist() == [verdict], rows
        assert flags["code"].tolist() == [code]


def test_freezes_in_doubt_are_those_with_an_undecided_flag_on_temperatures():
    values = days(30, mean=8)
    values[300:302] = -15
    flags = judged(values, [])
    (name,) = flags["freezes"]
    freezes = pd.DataFrame({"freeze": [name, "another"]})
    assert name.endswith(" L1")
    assert freezes_in_doubt(flags, freezes) == [name]
    assert freezes_in_doubt(flags, freezes[1:]) == []  # set aside by a note
    assert freezes_in_doubt(judged(values, [(at(300), at(301), "keep")]), freezes) == []
    assert freezes_in_doubt(flags.assign(flag="sun"), freezes) == []
