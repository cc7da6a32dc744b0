"""Several sensors in one file: a column each, or a column that names the sensor of each row."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hardiness.errors import InputError
from hardiness.read.loggers import channels_of, read_by_sensor, read_channels, read_logger
from hardiness.read.recognition import Asked

ASKED = Asked("f.csv", "UTC")
WIDE = "Time;Air (°C);RH (%);Soil (°C);Dew point (°C)\n03.02.2023 23:00;-1,5;88;2,0;-3\n14.02.2023 23:15;-2,0;89;;-3\n"


@pytest.fixture
def write(tmp_path: Path):
    def write_file(text: str) -> Path:
        path = tmp_path / "f.csv"
        path.write_text(text, encoding="utf-8")
        return path

    return write_file


def refusal(call, *arguments: object, **options: object) -> list[str]:
    with pytest.raises(InputError) as error:
        call(*arguments, **options)
    return [str(problem) for problem in error.value.problems]


def by_sensor(path: Path, column: str = "Probe", **options: object):
    return read_by_sensor(path, Asked("f.csv", "UTC", sensor_column=column, **options))  # type: ignore[arg-type]


def test_channels_are_the_columns_that_could_hold_air_temperatures(write):
    assert channels_of(write(WIDE), ASKED) == ["Air (°C)", "Soil (°C)"]


def test_columns_of_one_name_are_known_by_their_numbers(write):
    path = write("Time,Temp,Temp,Temp\n2023-02-03 23:00,-1,-2,-3\n")
    assert channels_of(path, ASKED) == ["2", "3", "4"]
    read = read_channels(path, ["2", "4"], ASKED)
    assert [each.air_temperature.values.tolist() for each in read] == [[-1.0], [-3.0]]


def test_each_channel_is_read_as_if_it_were_alone(write):
    path = write(WIDE)
    read = read_channels(path, ["Air (°C)", "Soil (°C)"], ASKED)
    for each, column in zip(read, ("Air (°C)", "Soil (°C)"), strict=True):
        alone = read_logger(path, timezone=None, default_timezone="UTC", temperature_column=column)
        np.testing.assert_array_equal(each.air_temperature.values, alone.air_temperature.values)
        assert (each.rows.tolist(), each.missing, each.said) == (alone.rows.tolist(), alone.missing, alone.said)
    assert [each.missing for each in read] == [0, 1]


def test_the_faults_of_all_channels_are_told_at_once_and_each_once(write):
    path = write("Time,Air (C),Soil (C)\n2023-02-31 23:00,-1,2\n2023-02-03 23:15,cold,2\n2023-02-03 23:30,-1,warm\n")
    told = refusal(read_channels, path, ["Air (C)", "Soil (C)"], ASKED)
    assert [text.split(":")[0] for text in told] == [
        "f.csv, row 2, column Time",
        "f.csv, row 3, column Air (C)",
        "f.csv, row 4, column Soil (C)",
    ]


def test_another_number_of_sensors_than_of_channels_is_refused_with_the_command(write):
    (text,) = refusal(channels_of, write(WIDE), ASKED, wanted=3)
    assert "3 sensors for 2 columns of temperatures ('Air (°C)', 'Soil (°C)')" in text
    assert "hardiness add readings f.csv --channel 'Air (°C)=SENSOR-1' --channel 'Soil (°C)=SENSOR-2'" in text


def test_several_channels_and_one_sensor_are_refused_with_the_command(write):
    (text,) = refusal(read_logger, write(WIDE), timezone=None, default_timezone="UTC")
    assert "--channel 'Air (°C)=SENSOR-1' --channel 'Soil (°C)=SENSOR-2'" in text
    assert "--temperature-column 'Air (°C)'" in text


def test_channels_that_are_not_there_or_named_twice_are_told_together(write):
    told = refusal(channels_of, write(WIDE), ASKED, named=["Ari (°C)", "Soil", "soil (°c)"])
    assert len(told) == 2
    assert "no column 'Ari (°C)'" in told[0] and "Did you mean 'Air (°C)'" in told[0]
    assert "column 'Soil (°C)' for two sensors" in told[1]


def test_a_column_of_names_parts_the_rows(write):
    path = write(
        "Time,Probe,Temp (C)\n2023-02-03 23:00,A1,-1.0\n2023-02-03 23:00,' B 2',-2.0\n2023-02-03 23:15, A1 ,\n"
        '2023-02-03 23:15,"C",-3\n2023-02-03 23:30,A1,-1.5\n'.replace("'", "")
    )
    read = by_sensor(path)
    assert list(read) == ["A1", "B 2", "C"]
    assert read["A1"].air_temperature.values.tolist() == [-1.0, -1.5]
    assert (read["A1"].rows.tolist(), read["A1"].missing) == ([2, 6], 1)
    assert read["B 2"].air_temperature.values.tolist() == [-2.0]


def test_the_order_of_dates_is_decided_from_the_rows_of_all_sensors(write):
    path = write("Time,Probe,Temp (C)\n03/02/2023 23:00,A,-1\n14/02/2023 23:00,B,-2\n")
    read = by_sensor(path)
    assert str(read["A"].air_temperature.time.values[0]).startswith("2023-02-03T23:00")
    assert "day/month/year" in read["A"].said[0]
    unclear = write("Time,Probe,Temp (C)\n03/02/2023 23:00,A,-1\n05/04/2023 23:00,B,-2\n05/04/2023 23:15,A,-2\n")
    (text,) = refusal(by_sensor, unclear)
    assert "--date-order DMY or --date-order MDY" in text
    read = by_sensor(unclear, date_order="MDY")
    assert str(read["A"].air_temperature.time.values[0]).startswith("2023-03-02T23:00")


def test_a_row_that_names_no_sensor_is_a_fault(write):
    path = write("Time,Probe,Temp (C)\n2023-02-03 23:00,A,-1\n2023-02-03 23:15,,-2\n2023-02-03 23:30, ,-2\n")
    told = refusal(by_sensor, path)
    assert [text.split(": found")[0] for text in told] == ["f.csv, row 3, column Probe", "f.csv, row 4, column Probe"]
    assert "an empty cell; accepted: the name of a sensor" in told[0]


def test_one_instant_twice_is_a_fault_within_a_sensor_only(write):
    path = write("Time,Probe,Temp (C)\n2023-02-03 23:00,A,-1.0\n2023-02-03 23:00,B,-5.0\n2023-02-03 23:00,B,-6.0\n")
    (text,) = refusal(by_sensor, path)
    assert "rows 3 and 4" in text and "-5 C and -6 C" in text
    told = refusal(read_logger, path, timezone=None, default_timezone="UTC")
    assert "--sensor-column" in told[0]


def test_a_column_that_is_not_there_is_refused_with_a_near_one(write):
    path = write("Time,Probe,Temp (C)\n2023-02-03 23:00,A,-1\n")
    assert "Did you mean 'Probe'?" in refusal(by_sensor, path, "Prob")[0]


def test_a_column_of_too_many_names_is_something_else(write):
    rows = [f"2023-02-03 {n // 60:02d}:{n % 60:02d},note {n},-1.0" for n in range(1100)]
    (text,) = refusal(by_sensor, write("Time,Probe,Temp (C)\n" + "\n".join(rows) + "\n"))
    assert "more than 1000 different names" in text


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.lists(
        st.tuples(st.sampled_from(["L1", "L2", "7", "hill top", "Ä-3"]), st.integers(-400, 400)),
        min_size=1,
        max_size=40,
    ),
    st.sampled_from(",;\t|"),
)
def test_wide_and_long_tell_the_same_readings(rows, mark):
    names = list(dict.fromkeys(name for name, _ in rows))
    long, wide = [mark.join(("Time", "Who", "Temp (C)"))], [mark.join(("Time", *(f"{name} (C)" for name in names)))]
    expected: dict[str, list[float]] = {name: [] for name in names}
    for minute, (name, tenths) in enumerate(rows):
        time = f"2023-02-03 {minute // 60:02d}:{minute % 60:02d}"
        text = f"{tenths / 10:.1f}"
        expected[name].append(float(text))
        long.append(mark.join((time, name, text)))
        wide.append(mark.join((time, *(text if each == name else "" for each in names))))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "f.csv"
        path.write_text("\n".join(long) + "\n", encoding="utf-8")
        told = by_sensor(path, "Who")
        path.write_text("\n".join(wide) + "\n", encoding="utf-8")
        columns = read_channels(path, [f"{name} (C)" for name in names], ASKED)
    assert list(told) == names
    for name, column in zip(names, columns, strict=True):
        assert told[name].air_temperature.values.tolist() == expected[name]
        assert column.air_temperature.values.tolist() == expected[name]
        np.testing.assert_array_equal(told[name].air_temperature.time.values, column.air_temperature.time.values)
