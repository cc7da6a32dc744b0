"""``hardiness freezes --air``: the kind of each event, what it rests on, what it means, and what to add without it."""

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from hardiness import schema
from hardiness.sentences import WORK_CAUTION
from hardiness.trial import open_trial
from tests.cli.conftest import Line, as_csv, readings

EVENING, NIGHT = "2023-01-13", "2023-01-14"  # a night by the date of its evening, and by that of its low


def isd(low: float, *, wind: int, sky: int, spread: float = 2.0, daily: float = 6.0) -> str:
    """Three days of ISD-Lite hours: a low at 06:00 UTC of the 14th, its dew point ``spread`` below the air [degC]."""
    lines = []
    for time in pd.date_range("2023-01-13", "2023-01-15T23", freq="h"):
        away = abs((time - pd.Timestamp(f"{NIGHT}T06")) / pd.Timedelta(hours=1))
        air = min(daily, low + (6.0 - low) * away / 12)
        fields = [round(10 * air), round(10 * (air - spread)), -9999, -9999, wind, sky, -9999, -9999]
        lines.append(f"{time:%Y %m %d %H}" + "".join(f"{one:6d}" for one in fields))
    return "\n".join(lines) + "\n"


def with_station(line: Line, text: str) -> Line:
    line.done("station", "add", line.file(text, "723170-13723-2023"), "--station", "ST-9",
              "--latitude", "40.5", "--longitude", "-3.7")  # fmt: skip
    return line


def test_a_calm_clear_night_is_radiative_and_an_inversion_likely(planted: Line):
    planted.added("readings", as_csv(readings({EVENING: -7.0})), "l1.csv", "--sensor", "L1")
    ended = with_station(planted, isd(-5.0, wind=10, sky=1)).done("freezes", "--air", "--csv", "-")
    assert ended.header == schema.column_names(schema.AIR)
    (row,) = ended.rows
    assert (row["kind"], row["station"], float(row["wind_m_s"]), float(row["cloud"])) == (
        "radiative", "ST-9", 1.0, 0.125
    )  # fmt: skip
    assert row["event"] == planted.csv("freezes")[0]["event"]
    assert float(row["distance_km"]) == pytest.approx(11.1, abs=0.1)
    onset, dew, bulb = (float(row[name]) for name in ("air_onset_c", "dew_point_onset_c", "wet_bulb_onset_c"))
    assert dew == pytest.approx(onset - 2.0, abs=0.06) and dew < bulb < onset
    assert float(row["dew_point_lowest_c"]) == -7.0
    assert "1 event radiative: clear and calm by night, so that an inversion is likely" in ended.err
    assert "5 mph" in ended.err and "only as their labels, local codes and licensed practice allow" in ended.err
    assert WORK_CAUTION in ended.err


def test_a_windy_spell_is_advective_and_no_inversion_is_promised(planted: Line):
    ended = with_station(planted, isd(-5.0, wind=70, sky=8, daily=-1.0)).done("freezes", "--air")
    assert "wind m/s" in ended.out and "advective" in ended.out and "7.0" in ended.out
    assert "1 event advective: windy, and freezing by day too. No inversion is to be counted on" in ended.err
    assert "radiative:" not in ended.err


def test_without_a_station_that_tells_of_the_air_it_says_what_to_add(planted: Line):
    planted.added("readings", as_csv(readings({EVENING: -7.0})), "l1.csv", "--sensor", "L1")
    ended = planted.done("freezes", "--air", "--csv", "-")
    assert [(row["kind"], row["station"], row["wind_m_s"]) for row in ended.rows] == [("unknown", "", "")]
    assert "hardiness station fetch ID" in ended.err and "inversion" not in ended.err


def test_an_empty_trial_prints_the_header_and_a_sentence(line: Line):
    ended = line.done("freezes", "--air", "--csv", "-")
    assert (ended.header, ended.rows) == (schema.column_names(schema.AIR), [])
    assert "There is no freeze yet" in ended.err


def test_the_freezes_table_keeps_its_columns_and_numbers(planted: Line):
    planted.added("readings", as_csv(readings({EVENING: -7.0})), "l1.csv", "--sensor", "L1")
    before = planted.done("freezes", "--csv", "-")
    after = with_station(planted, isd(-5.0, wind=10, sky=1)).done("freezes", "--csv", "-")
    assert after.header == before.header
    (found,), (earlier,) = [row for row in after.rows if row["sensor"] == "L1"], before.rows
    # an event is named after its first freeze, and the station's may be it; all else stays
    assert {name: found[name] for name in found if name != "event"} == {
        name: earlier[name] for name in earlier if name != "event"
    }


def test_one_question_at_a_time(line: Line):
    ended = line("freezes", "--air", "--apart")
    assert (ended.code, ended.out) == (2, "")
    assert "--apart beside --air" in ended.err


def test_a_mask_on_the_station_takes_its_air_out_too(planted: Line):
    planted.added("readings", as_csv(readings({EVENING: -7.0})), "l1.csv", "--sensor", "L1")
    with_station(planted, isd(-5.0, wind=10, sky=1))
    at = "2023-01-13T00:00:00Z,2023-01-15T23:00:00Z"
    planted.added("masks", f"sensor,from,to,verdict,reason\nST-9,{at},mask,a fault\n")
    (row,) = planted.csv("freezes", "--air")
    assert (row["kind"], row["station"]) == ("unknown", "")
    assert np.isnan(float(row["wind_m_s"] or "nan"))


def damp_csv(low: float, humidity: float, *, odd: dict[int, str] | None = None) -> str:
    """A logger's file of a night with a humidity of its own; ``odd``: cells of some rows instead."""
    lines = ["Date Time,Temp (C),RH (%)"]
    for row, (time, value) in enumerate(readings({EVENING: low}), start=2):
        lines.append(f"{time:%Y-%m-%d %H:%M},{value:g},{(odd or {}).get(row, f'{humidity:g}')}")
    return "\n".join([*lines, ""])


def test_a_loggers_own_humidity_tells_dew_point_and_wet_bulb_and_the_station_the_kind(planted: Line):
    ended = planted.added("readings", damp_csv(-7.0, 45.0, odd={4: "wet", 9: "140"}), "l1.csv", "--sensor", "L1")
    assert "'RH (%)' is read too, as relative humidity over water: hardiness freezes --air." in ended.err
    assert "2 cells of 'RH (%)' are no humidity from 1 to 100 % (the first: row 4, 'wet')" in ended.err
    ended = with_station(planted, isd(-5.0, wind=10, sky=1)).done("freezes", "--air", "--csv", "-")
    (row,) = ended.rows
    assert (row["kind"], row["station"], row["humidity_from"]) == ("radiative", "ST-9", "L1")
    assert float(row["air_onset_c"]) == pytest.approx(0.0, abs=0.01)
    assert float(row["dew_point_onset_c"]) == pytest.approx(-10.5, abs=0.1)  # Magnus, 0 degC and 45 %
    assert -4.0 < float(row["wet_bulb_onset_c"]) < -2.5
    assert "Dew point and wet bulb of 1 event by the humidity of the trial's own loggers" in ended.err
    assert "station's air" not in ended.err
    assert "humidity from" in planted.done("freezes", "--air").out


def test_without_a_station_the_loggers_humidity_is_told_and_what_is_still_missing(planted: Line):
    planted.added("readings", damp_csv(-7.0, 45.0), "l1.csv", "--sensor", "L1")
    ended = planted.done("freezes", "--air", "--csv", "-")
    (row,) = ended.rows
    assert (row["kind"], row["station"], row["humidity_from"]) == ("unknown", "", "L1")
    assert float(row["dew_point_lowest_c"]) < -15
    assert "No station tells the wind and sky of any event" in ended.err
    assert WORK_CAUTION in ended.err


def test_a_preview_shows_the_humidity_and_stores_nothing(planted: Line):
    before = planted.state
    ended = planted("add", "readings", planted.file(damp_csv(-7.0, 45.0), "l1.csv"), "--sensor", "L1", "--preview")
    assert ended.code == 0
    assert any(line.split() == ["3", "RH", "(%)", "humidity", "45"] for line in ended.out.splitlines())
    assert "is read too, as relative humidity" in ended.out
    assert planted.state == before


def test_each_channel_keeps_its_own_humidity(planted: Line):
    rows = [line.split(",") for line in damp_csv(-7.0, 45.0).splitlines()[1:]]
    text = "\n".join(["Date Time,T1 (C),RH1 (%),T2 (C),RH2 (%)", *(
        f"{time},{low},{damp},{float(low) + 1:g},80" for time, low, damp in rows
    ), ""])  # fmt: skip
    planted.added("readings", text, "two.csv", "--sensor", "L1", "--sensor", "L2")
    with open_trial(planted.folder) as trial:
        told = trial.store.conditions()
        assert {name: set(told[name]["relative_humidity"].values.tolist()) for name in told} == {
            "L1": {45.0},
            "L2": {80.0},
        }
    (row,) = planted.csv("freezes", "--air")
    assert row["humidity_from"] == "L1"  # the colder one


def test_a_file_taken_in_before_humidity_was_read_can_be_given_once_more(planted: Line, monkeypatch):
    text = damp_csv(-7.0, 45.0)
    with monkeypatch.context() as earlier:
        earlier.setattr("hardiness.read.dialect.find_beside", lambda *_: ((), []))
        planted.added("readings", text, "l1.csv", "--sensor", "L1")
    before = planted.csv("freezes")
    again = planted.added("readings", text, "l1.csv", "--sensor", "L1")
    sentence = (
        "Its humidity was not kept when it was first taken in; --unit C, which changes nothing else, has it kept."
    )
    assert "nothing has changed" in again.err and sentence in again.err
    assert planted.csv("freezes", "--air")[0]["humidity_from"] == ""
    ended = planted.added("readings", text, "l1.csv", "--sensor", "L1", "--unit", "C")
    assert "no readings added" in ended.err and sentence not in ended.err
    assert planted.csv("freezes", "--air")[0]["humidity_from"] == "L1"
    assert planted.csv("freezes") == before
    assert sentence not in planted.added("readings", text, "l1.csv", "--sensor", "L1").err


def test_the_export_holds_what_loggers_and_stations_tell_of_the_air(planted: Line, tmp_path):
    planted.added("readings", damp_csv(-7.0, 45.0, odd={4: "wet"}), "l1.csv", "--sensor", "L1")
    with_station(planted, isd(-5.0, wind=10, sky=1))
    ended = planted.done("export", "readings", tmp_path / "all.nc")
    assert "relative humidity over water, dew point, mean wind and share of the sky under cloud where" in ended.err
    with xr.open_dataset(tmp_path / "all.nc", engine="h5netcdf") as dataset:
        logger, station = (int(size) for size in dataset["row_size"])
        humidity, wind = dataset["relative_humidity"].to_numpy(), dataset["wind_speed"].to_numpy()
        assert set(humidity[:logger][np.isfinite(humidity[:logger])]) == {45.0}
        assert (np.isnan(humidity).sum(), np.isnan(wind).sum()) == (1 + station, logger)
        assert (dataset["dew_point"].attrs["units"], dataset["wind_speed"].attrs["units"]) == ("degC", "m s-1")
    planted.done("export", "readings", tmp_path / "one.nc", "--sensor", "L1")
    with xr.open_dataset(tmp_path / "one.nc", engine="h5netcdf") as dataset:
        assert "wind_speed" not in dataset and dataset["relative_humidity"].sizes == {"obs": logger}
