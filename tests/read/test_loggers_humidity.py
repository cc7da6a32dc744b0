"""A logger's own humidity and dew points: which column is whose, what its cells say, and no temperature is lost."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hardiness.read.conditions import DEW_POINT, RELATIVE_HUMIDITY
from hardiness.read.loggers import LoggerFile, channels_of, read_by_sensor, read_channels, read_logger
from hardiness.read.previewing import preview_channels, preview_logger
from hardiness.read.recognition import Asked

ASKED = Asked("f.csv", "UTC")


@pytest.fixture
def write(tmp_path: Path):
    def write_file(text: str, encoding: str = "utf-8") -> Path:
        path = tmp_path / "f.csv"
        path.write_text(text, encoding=encoding)
        return path

    return write_file


def read(path: Path, **options: str) -> LoggerFile:
    return read_logger(path, timezone="UTC", default_timezone="UTC", **options)  # type: ignore[arg-type]


def humidity(file: LoggerFile) -> list[float] | None:
    return file.conditions[RELATIVE_HUMIDITY].tolist() if RELATIVE_HUMIDITY in file.conditions else None


def table(header: str, *cells: str, delimiter: str = ",") -> str:
    """A row an hour, each with the cells given."""
    rows = [f"2023-01-14 {hour:02d}:00{delimiter}{each}" for hour, each in enumerate(cells)]
    return "\n".join([f"Time{delimiter}{header}", *rows]) + "\n"


@pytest.mark.parametrize(
    "name, cells, values",
    [
        ("RH (%)", ["88", "91.5"], [88.0, 91.5]),
        ("RH, %", ["88.25", ""], [88.25, np.nan]),
        ("Humidity", ["88 %", "91.5%"], [88.0, 91.5]),
        ("Relative Humidity (%RH)", ["88.0 %RH", "91.5 %rh"], [88.0, 91.5]),
        ("%RH", ["100", "1"], [100.0, 1.0]),
        ("R.H.", ["88", "91.5"], [88.0, 91.5]),
        ("RH1", ["88", "91.5"], [88.0, 91.5]),
        ("Luftfeuchte %", ["88", "--"], [88.0, np.nan]),
        ("rF [%]", ["88", "NaN"], [88.0, np.nan]),
        ("Humidité relative", ["88", "89"], [88.0, 89.0]),
        ("Umidità (%)", ["88", "89"], [88.0, 89.0]),
        ("HR (%)", ["88", "89"], [88.0, 89.0]),
        ("Humedad relativa", ["8.8e1", "89"], [88.0, 89.0]),
        ("H1 [%]", ["88", "89"], [88.0, 89.0]),
    ],
)
def test_a_humidity_is_read_whatever_its_column_is_called(write, name, cells, values):
    header = f'"{name}"' if "," in name else name
    file = read(write(table(f"Temp (C),{header}", *(f"-{n}.5,{cell}" for n, cell in enumerate(cells)))))
    assert humidity(file) == pytest.approx(values, nan_ok=True)
    assert file.air_temperature.values.tolist() == [-0.5, -1.5]
    assert f"'{name}' is read too, as relative humidity over water: hardiness freezes --air." in file.said
    assert file.resolution_c == pytest.approx(0.1)  # the digits of the humidity say nothing of the thermometer's


@pytest.mark.parametrize(
    "name",
    ["Soil humidity (%)", "Bodenfeuchte %", "Leaf wetness (%)", "Abs. humidity (g/m3)", "Humidity sensor (V)",
     "Humidity alarm", "Battery (%)", "Soil moisture", "Hr", "Humus (%)", "Humidity limit %"],
)  # fmt: skip
def test_what_is_no_humidity_of_the_air_is_left_alone(write, name):
    file = read(write(table(f"Temp (C),{name}", "-1.5,41", "-2.0,42")))
    assert (file.conditions, file.said) == ({}, [])


def test_a_column_of_words_is_no_humidity(write):
    assert read(write(table("Temp (C),Humidity", "-1.5,low", "-2.0,high"))).conditions == {}


def test_odd_cells_are_counted_and_cost_no_temperature(write):
    cells = ["-1.5,88", "-2.0,wet", "-2.5,140", "-3.0,-5", "-3.5,0", "-4.0,", "-4.5,ERR", "-5.0,97"]
    file = read(write(table("Temp (C),RH (%)", *cells)))
    assert file.air_temperature.values.tolist() == [-1.5, -2.0, -2.5, -3.0, -3.5, -4.0, -4.5, -5.0]
    assert humidity(file) == pytest.approx([88.0, *[np.nan] * 6, 97.0], nan_ok=True)
    sentence = (
        "4 cells of 'RH (%)' are no humidity from 1 to 100 % (the first: row 3, 'wet'); their temperatures are kept."
    )
    assert sentence in file.said
    one = read(write(table("Temp (C),RH (%)", "-1.5,88", "-2.0,101")))
    sentence = "1 cell of 'RH (%)' is no humidity from 1 to 100 % (the first: row 3, '101'); its temperature is kept."
    assert sentence in one.said


def test_a_column_in_which_nothing_is_sound_is_said_and_not_kept(write):
    file = read(write(table("Temp (C),RH (%)", "-1.5,0", "-2.0,0", "-2.5,0")))
    assert file.conditions == {}
    assert [text for text in file.said if "RH" in text] == [
        "3 cells of 'RH (%)' are no humidity from 1 to 100 % (the first: row 2, '0'); their temperatures are kept.",
        "'RH (%)' holds no humidity.",
    ]
    assert "'RH (%)' holds no humidity." in read(write(table("Temp (C),RH (%)", "-1.5,", "-2.0,"))).said


def test_rows_and_humidity_stay_together_where_rows_fall_out(write):
    text = (
        "Time,Temp (C),RH (%)\n2023-01-14 02:00,-3,83\n2023-01-14 01:00,,82\n2023-01-14 00:00,-1,81\n"
        "Time,Temp (C),RH (%)\n2023-01-14 02:00,-3,99\n\n2023-01-14 03:00,-4,84\nEnd of file,,\n"
    )
    file = read(write(text))
    assert file.air_temperature.values.tolist() == [-3.0, -1.0, -4.0]
    assert humidity(file) == [83.0, 81.0, 84.0]  # of a repeated instant the first row stays, with its humidity
    assert not any("no humidity" in text for text in file.said)  # neither a header nor a footer is an odd cell


@pytest.mark.parametrize(
    "header, cells, values",
    [
        ("Temp (C),Dew point (C)", ["-1.5,-3.5", "-2.0,-4"], [-3.5, -4.0]),
        ("Temp (F),Dew Point (F)", ["30.0,14.0", "29.0,23"], [-10.0, -5.0]),
        ("Temp (C),DewPt (F)", ["-1.5,14.0", "-2.0,23"], [-10.0, -5.0]),
        ("Temp (F),Dew point", ["30.0,14.0", "29.0,23"], [-10.0, -5.0]),
        ("Temp,Taupunkt", ["-1.5 °C,-3.5 °C", "-2.0 °C,-4 °C"], [-3.5, -4.0]),
        ("Temperatur (°C),Taupunkt (°C)", ["-1.5,-3.5", "-2.0,wet"], [-3.5, np.nan]),
        ("Temp (C),Point de rosée (°C)", ["-1.5,-3.5", "-2.0,90"], [-3.5, np.nan]),
    ],
)
def test_a_dew_point_comes_in_its_own_unit_or_that_of_the_temperatures(write, header, cells, values):
    file = read(write(table(header, *cells)))
    assert file.conditions[DEW_POINT] == pytest.approx(values, nan_ok=True)
    assert file.air_temperature.values[0] == pytest.approx(-1.5 if "30.0" not in cells[0] else -10 / 9)
    odd = [text for text in file.said if "no dew point from -80 to 35 degC" in text]
    assert len(odd) == int(np.isnan(values).sum())


def test_humidity_and_dew_point_may_both_be_there(write):
    file = read(write(table("Temp (C),RH (%),Dew Point (C)", "-1.5,88,-3.2", "-2.0,89,-3.5")))
    assert (humidity(file), file.conditions[DEW_POINT].tolist()) == ([88.0, 89.0], [-3.2, -3.5])


PAIRS = [
    "T1,RH1,T2,RH2",
    "T1 (C),RH1 (%),T2 (C),RH2 (%)",
    "Temp 1,Humidity 1,Temp 2,Humidity 2",
    "Temperature_A,RH_A,Temperature_B,RH_B",
    "TempTop,HumTop,TempLow,HumLow",
    "Upper temp (°C),Upper RH (%),Lower temp (°C),Lower RH (%)",
    '"Temp, °C (serial 11, a)","RH, % (serial 11, a)","Temp, °C (serial 12, b)","RH, % (serial 12, b)"',
    "Temperatur 1 °C,Feuchte 1 %,Temperatur 2 °C,Feuchte 2 %",
]


@pytest.mark.parametrize("header", PAIRS)
@pytest.mark.parametrize("turned", [False, True], ids=["in turn", "humidities first"])
def test_each_of_several_temperatures_takes_the_humidity_of_its_name(write, header, turned):
    names = header.split('","') if header.startswith('"') else header.split(",")
    names = [f'"{name.strip(chr(34))}"' for name in names]
    cells = ["-1.5", "81", "-6.5", "92"]
    order = [3, 1, 2, 0] if turned else [0, 1, 2, 3]
    path = write(table(",".join(names[n] for n in order), *[",".join(cells[n] for n in order)] * 3))
    temperatures = [name.strip('"') for name in (names[0], names[2])]
    assert sorted(channels_of(path, ASKED)) == sorted(temperatures)
    first, second = read_channels(path, temperatures, ASKED)
    assert (humidity(first), humidity(second)) == ([81.0] * 3, [92.0] * 3)
    assert (first.air_temperature.values[0], second.air_temperature.values[0]) == (-1.5, -6.5)
    roles = [[column.role for column in preview.columns[1:]] for preview in
             preview_channels(path, [(temperatures[0], "L1"), (temperatures[1], "L2")], ASKED)]  # fmt: skip
    assert roles[0][order.index(1)] == roles[1][order.index(3)] == "humidity"
    assert roles[0][order.index(3)] == roles[1][order.index(1)] == ""


@pytest.mark.parametrize(
    "header, which",
    [
        ("Temp 1,Temp 2,RH", "Temp 1"),
        ("Temp 1,RH 2,Temp 2", "Temp 1"),
        ("Temp,RH A,RH B", "Temp"),
        ("Outdoor temp,Outdoor temp raw,Indoor RH", "Outdoor temp"),
        ("Soil temp,RH,Air temp", "Soil temp"),
    ],
)
def test_where_it_is_not_plain_none_is_taken_and_that_is_said(write, header, which):
    file = read(write(table(header, "-1.5,81,82", "-2.0,82,83")), temperature_column=which)
    assert file.conditions == {}
    (said,) = [text for text in file.said if "left out" in text]
    assert f"it is not plain which humidity goes with '{which}'" in said
    assert "'T1' and 'RH1'" in said
    assert file.air_temperature.size == 2


def test_one_temperature_and_one_humidity_go_together_unless_their_names_say_otherwise(write):
    assert humidity(read(write(table("Ch1 temp (C),Ch2 RH (%)", "-1.5,81")))) == [81.0]  # channels of one logger
    assert humidity(read(write(table("Air temp (C),Humidity (%)", "-1.5,81")))) == [81.0]
    file = read(write(table("Outdoor temp (C),Indoor humidity (%)", "-1.5,81")))
    assert humidity(file) is None and any("'Indoor humidity (%)' is left out" in text for text in file.said)
    soil = write(table("Soil temp (C),RH (%)", "-1.5,81"))
    assert humidity(read(soil, temperature_column="Soil temp (C)")) is None


def test_the_humidity_of_the_air_is_not_given_to_the_soil(write):
    path = write(table("Air (C),RH (%),Soil (C)", "-1.5,81,4.0", "-2.0,82,4.0"))
    air, soil = read_channels(path, ["Air (C)", "Soil (C)"], ASKED)
    assert (humidity(air), humidity(soil)) == ([81.0, 82.0], None)
    assert any("goes with 'Soil (C)'" in text for text in soil.said)


def test_a_column_of_sensors_parts_the_humidity_too(write):
    path = write(table("Probe,Temp (C),RH (%)", "A,-1.5,81", "B,-2.5,91", "A,,80", "B,-3.5,wet", "A,-4.5,84"))
    files = read_by_sensor(path, Asked("f.csv", "UTC", sensor_column="Probe"))
    assert humidity(files["A"]) == [81.0, 84.0]
    assert humidity(files["B"]) == pytest.approx([91.0, np.nan], nan_ok=True)
    assert files["B"].air_temperature.values.tolist() == [-2.5, -3.5]


def test_a_preview_shows_the_column_and_says_the_same(write):
    path = write(table("Temp (C);RH (%);Dew point (C)", "-1,5;88;-3", "-2,0;wet;-3", delimiter=";"))
    preview = preview_logger(path, Asked("f.csv", "UTC", timezone="UTC"))
    assert [column.role for column in preview.columns] == ["time", "temperature", "humidity", "dew point"]
    assert preview.said == read(path).said
    assert preview.logger is not None and list(preview.logger.conditions) == [RELATIVE_HUMIDITY, DEW_POINT]


ODD = st.text(st.characters(exclude_categories=["Cs", "Cc"], exclude_characters=',"'), max_size=90)


@given(st.dictionaries(st.integers(0, 11), ODD, max_size=4))
@settings(max_examples=150, deadline=None)
def test_no_humidity_cell_costs_a_temperature(odd):
    damp = [odd.get(row, f"{80 + row}.5") for row in range(12)]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "f.csv"
        path.write_text(table("Temp (C),RH (%)", *(f"-{row}.5,{cell}" for row, cell in enumerate(damp))), "utf-8")
        file = read(path)
    assert file.air_temperature.values.tolist() == [-row - 0.5 for row in range(12)]
    found = file.conditions[RELATIVE_HUMIDITY]
    assert [found[row] for row in range(12) if row not in odd] == [80.5 + row for row in range(12) if row not in odd]
    assert ((found >= 1) & (found <= 100) | np.isnan(found)).all()


def test_humidity_is_read_by_pieces(write, monkeypatch):
    cells = [f"{-n % 9 - 1}.{n % 10},{40 + n % 60}.{n % 100:02d}" for n in range(24)]
    path = write(table("Temp (C),RH (%)", *cells))
    whole = humidity(read(path))
    monkeypatch.setattr("hardiness.read.slices.BLOCK", 64)  # two rows at a time
    assert humidity(read(path)) == whole == [float(cell.split(",")[1]) for cell in cells]
