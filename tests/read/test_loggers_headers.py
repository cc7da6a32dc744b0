"""What headers and the lines above them say of unit, scale, zone and of what was measured."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from hardiness.read.choices import Choices
from hardiness.read.header_units import scale_in, units_in, units_in_line
from hardiness.read.loggers import channels_of
from hardiness.read.recognition import Asked
from tests.read.readers import read_file as read
from tests.read.readers import refusal_of as refusal

TIME = "2025-12-14 18:00"


@pytest.fixture
def write(tmp_path: Path):
    def write_file(header: str, *rows: str, above: str = "") -> Path:
        path = tmp_path / "l1.csv"
        path.write_text(f"{above}{header}\n" + "".join(f"{row}\n" for row in rows), encoding="utf-8")
        return path

    return write_file


@pytest.mark.parametrize(
    "header",
    [
        "tempF", "TempF", "airTempF", "OutdoorTempF", "TdegF", "F Temp", "T_F", "temp.F", "Temp-F", "tempf",
        "temp_f_avg", "AirTF_Avg", "temp_degF", "temp_fahrenheit", "TemperatureFahrenheit", "Temp (in F)",
        "T1F", "TempF_1", "°F", "Temp °F_max",
    ],
)  # fmt: skip
def test_fahrenheit_glued_to_a_name_is_seen(write, header):
    logger = read(write(f"Time,{header}", f"{TIME},35.6"))
    assert logger.air_temperature.values[0] == pytest.approx(2.0)
    assert not any("unit" in sentence for sentence in logger.said)


@pytest.mark.parametrize("header", ["tempC", "TempC", "AirTC_Avg", "temp_degC", "TemperatureCelsius", "C Temp"])
def test_celsius_glued_to_a_name_is_seen(write, header):
    assert read(write(f"Time,{header}", f"{TIME},2.0"), default_unit="F").unit == "degC"


@pytest.mark.parametrize(
    "header", ["Temp –5 F room", "Sensor F", "Temp (K-type)", "tc", "Temp probe 2", "Type K temperature", "Temperature"]
)
def test_letters_that_are_no_unit_stay_letters(header):
    assert units_in(header) == []


def test_a_letter_that_counts_columns_is_no_unit(write):
    path = write("Time,Temp E,Temp F", f"{TIME},1.0,2.0")
    logger = read(path, temperature_column="Temp F")
    assert logger.unit == "degC"
    assert any("unit of 'Temp F': taken as C" in sentence for sentence in logger.said)


@pytest.mark.parametrize(
    ("line", "unit"),
    [
        ("Units,Imperial", "degF"),
        ("Units: Metric", "degC"),
        ("Temp unit,F", "degF"),
        ("Temperature scale: Fahrenheit", "degF"),
        ("Units of measure: °F", "degF"),
        ("All temperatures are in Fahrenheit.", "degF"),
        ("Alarm above 30 °C", None),
        ("Unit: US-East", None),
        ("Temperature in C block", None),
    ],
)
def test_units_above_the_header(line, unit):
    assert units_in_line(line) == ([] if unit is None else [unit])


def winter(least: float, most: float) -> list[str]:
    return [
        f"2025-12-{1 + n // 24:02d} {n % 24:02d}:00,{least + (most - least) * (n % 24) / 23:.1f}" for n in range(96)
    ]


@pytest.mark.parametrize(
    ("numbers", "options", "question"),
    [
        ((25.0, 40.0), {}, "Are these C? 'Temp' is never below 25: if it is in F, say --unit F."),
        ((10.0, 48.0), {}, "Are these C? 'Temp' is up to 48: if it is in F, say --unit F."),
        ((-9.0, 14.0), {"default_unit": "F"}, "Are these F? 'Temp' is never above 14: if it is in C, say --unit C."),
        ((25.0, 40.0), {"last": Choices(unit="C", source="the last file of L1")}, "Are these C? 'Temp' is never below"),
        ((-9.0, 14.0), {}, None),
        ((20.0, 55.0), {"default_unit": "F"}, None),
        ((25.0, 40.0), {"unit": "C"}, None),
    ],
)
def test_a_unit_that_nobody_stated_is_asked_about_where_it_makes_an_odd_winter(write, numbers, options, question):
    said = [
        sentence for sentence in read(write("Time,Temp", *winter(*numbers)), **options).said if "Are these" in sentence
    ]
    assert len(said) == (question is not None)
    assert question is None or said[0].startswith(question)


@pytest.mark.parametrize(
    ("header", "hours"),
    [
        ("time (utc)", 0), ("utc time", 0), ("utc_datetime", 0), ("timeUTC", 0), ("dateutc", 0), ("DateTimeGMT", 0),
        ("datetime_gmt", 0), ("Time_UTC", 0), ("UTC time", 0), ("Timestamp (UTC)", 0), ("time_est", -5),
        ("TimePST", -8), ("time (mst)", -7), ("Local time", -5), ("Time (not UTC)", -5), ("time west", -5),
        ("Time (Z)", 0), ("Zeit (MEZ)", 1), ("Estimated time", -5), ("Central European time", -5),
    ],
)  # fmt: skip
def test_zones_in_headers_in_any_writing(write, header, hours):
    logger = read(write(f"{header},Temp (C)", f"{TIME},1.0"))
    since = np.datetime64("2025-12-14T18:00") - logger.air_temperature.time.values[0]
    assert since / np.timedelta64(1, "h") == hours


@pytest.mark.parametrize(
    ("header", "offer"),
    [
        ("Time (CST)", "--timezone UTC-06:00, --timezone UTC+08:00"),
        ("Time (BST)", "--timezone UTC+01:00, --timezone UTC+06:00"),
        ("time_ist", "--timezone UTC+05:30, --timezone UTC+01:00"),
        ("Time (Pacific)", "--timezone UTC-08:00, --timezone UTC-07:00 or --timezone America/Los_Angeles"),
        ("Time (ET)", "--timezone UTC-05:00, --timezone UTC-04:00 or --timezone America/New_York"),
    ],
)
def test_letters_that_mean_several_zones_are_asked_for(write, header, offer):
    path = write(f"{header},Temp (C)", f"{TIME},1.0")
    text = refusal(path)
    assert f"in the header '{header}', which means several zones" in text
    assert offer in text
    logger = read(path, timezone="UTC-06:00")
    assert logger.timezone == "UTC-06:00"
    assert any("means several zones: times are taken as UTC-06:00." in sentence for sentence in logger.said)
    remembered = read(path, last=Choices(timezone="UTC-06:00", source="the last file of L1"))
    assert any("taken as UTC-06:00, as for the last file of L1." in sentence for sentence in remembered.said)


def test_letters_with_several_meanings_above_the_header_are_asked_for_too(write):
    path = write("Time,Temp (C)", f"{TIME},1.0", above="Time zone: CST\n")
    assert "found 'CST' in row 1, which means several zones" in refusal(path)


@pytest.mark.parametrize(
    ("header", "parts"),
    [
        ("Temp (0.1 °C)", 10), ("Temp (1/10 C)", 10), ("Temp [C x 10]", 10), ("Temp (tenths of degree C)", 10),
        ("Temp (°C*10)", 10), ("Temp (°C × 0.1)", 10), ("temp_c_x10", 10), ("Temp (0.01 °C)", 100),
        ("Temp (hundredths of °C)", 100), ("Temp (m°C)", 1000),
        ("Temp (dC)", 10), ("Temp 10^-1 C", 10), ("TempC x 10", 10),
    ],
)  # fmt: skip
def test_parts_of_a_degree_are_brought_to_degrees_and_said(write, header, parts):
    logger = read(write(f"Time,{header}", f"{TIME},{-3 * parts}", "2025-12-14 18:15,5"))
    assert logger.air_temperature.values.tolist() == [-3.0, 5 / parts]
    assert logger.resolution_c == pytest.approx(1 / parts)
    assert any(f"{-3 * parts:g} is read as -3." in sentence for sentence in logger.said)
    assert logger.unit == "degC"


def test_a_last_digit_or_an_accuracy_is_no_scale(write):
    logger = read(write("Time,Temp (0.1 °C)", f"{TIME},-2.1"))
    assert logger.air_temperature.values.tolist() == [-2.1]
    assert scale_in("Temp (±0.1 °C)") is scale_in("Temp (accuracy 0.1 °C)") is scale_in("Temp (10 °C max)") is None


def test_a_scale_that_the_numbers_contradict_is_refused(write):
    text = refusal(write("Time,Temp [C x 10]", f"{TIME},-21", "2025-12-14 18:15,-2.1"))
    assert "row 3, column Temp [C x 10]: found '-2.1' under a header that says tenths of a degree" in text


def test_a_code_for_nothing_in_tenths_is_named_as_it_stands(write):
    path = write("Time,Temp [C x 10]", f"{TIME},-21", "2025-12-14 18:15,-9999")
    assert "--missing -9999" in refusal(path)
    assert read(path, missing="-9999").air_temperature.values.tolist() == [-2.1]


@pytest.mark.parametrize(
    "header",
    [
        "Soil temp (C)", "Soil (°C)", "Water Temperature (°C)", "Board temp", "IndoorTempC", "tempinf", "Leaf temp",
        "Battery temperature", "PTemp_C", "Bodentemperatur", "TempIn (C)", "Temp In (°C)",
    ],
)  # fmt: skip
def test_a_temperature_of_something_else_than_air_is_taken_only_when_named(write, header):
    path = write(f"Time,{header}", f"{TIME},5.0")
    text = refusal(path)
    assert f"found no temperature of the air but '{header}'" in text
    assert "--temperature-column" in text
    assert read(path, temperature_column=header, unit="F" if header == "tempinf" else "C").air_temperature.size == 1


@pytest.mark.parametrize(
    "header",
    ["Temp 2 m above ground", "Air temp at ground level", "Outdoor temp (board 2)", "Temperatur in [°C]", "Temp in C"],
)
def test_air_beside_the_ground_is_air(write, header):
    assert read(write(f"Time,{header}", f"{TIME},5.0")).air_temperature.values.tolist() == [5.0]


def test_a_temperature_of_the_loggers_case_is_asked_about(write):
    said = read(write("Time,Internal temp (C)", f"{TIME},5.0")).said
    assert "Is 'Internal temp (C)' the air's temperature, and not that inside the logger's case?" in said


@pytest.mark.parametrize(
    ("celsius", "fahrenheit"),
    [("Temp (C)", "Temp (F)"), ("temp_c", "temp_f"), ("TempC", "TempF"), ("Celsius(°C)", "Fahrenheit(°F)")],
)
@pytest.mark.parametrize("turned", [False, True])
def test_one_probe_in_two_units_is_one_temperature(write, celsius, fahrenheit, turned):
    names, rows = [celsius, fahrenheit], [["-2.1", "28.2"], ["0.0", "32.0"], ["5.4", "41.7"]]
    if turned:
        names, rows = names[::-1], [row[::-1] for row in rows]
    path = write(",".join(["Time", *names]), *(",".join([f"2025-12-14 18:{n}0", *row]) for n, row in enumerate(rows)))
    logger = read(path)
    assert (logger.temperature_column, logger.air_temperature.values.tolist()) == (celsius, [-2.1, 0.0, 5.4])
    assert f"'{fahrenheit}' is '{celsius}' in another unit and was passed over." in logger.said
    assert channels_of(path, Asked("l1.csv", "UTC")) == [celsius]


def test_two_probes_in_two_units_are_two_temperatures(write):
    path = write("Time,Temp (C),Temp (F)", f"{TIME},-2.1,28.2", "2025-12-14 18:15,-2.1,30.0")
    assert "several columns of temperatures" in refusal(path)
    path = write("Time,Upper (C),Lower (F)", f"{TIME},-2.1,28.2")
    assert "several columns of temperatures" in refusal(path)


def test_of_mean_least_and_most_the_mean_is_named(write):
    text = refusal(write("Time,T_avg_C,T_min_C,T_max_C", f"{TIME},1,0,2"))
    assert "Beside 'T_min_C' (the min of each step), 'T_max_C' (the max of each step)" in text
    assert text.endswith("the readings are in 'T_avg_C': --temperature-column T_avg_C.")


def test_a_lone_least_or_most_of_each_step_is_asked_about_and_a_scatter_is_no_temperature(write):
    said = read(write("Time,Min Temp (C)", f"{TIME},5.0")).said
    assert "'Min Temp (C)' is read as the temperature at each time: does it hold the min of each step?" in said
    assert "no temperature of the air but 'Temp SD (C)'" in refusal(write("Time,Temp SD (C)", f"{TIME},0.5"))


def test_a_hint_names_the_air_and_not_the_case_or_the_soil(write):
    text = refusal(write("Time,Internal (C),Soil (C),External (C)", f"{TIME},5.0,6.0,7.0"))
    assert "such as --temperature-column 'External (C)'" in text
