"""Every dialect of a logger's export tells the same readings; what was assumed is said; wrong choices are refused."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from hardiness.errors import InputError, UnitsError
from hardiness.read import recognition
from hardiness.read.loggers import LoggerFile, read_logger

DATA = Path(__file__).parents[1] / "data" / "loggers"

# What every file in tests/data/loggers tells: the evening of 2023-02-03, in UTC and degC.
TIMES = np.datetime64("2023-02-03T22:00", "ns") + np.arange(12) * np.timedelta64(15, "m")
CELSIUS = np.array([-1.0, -1.5, -2.0, -2.5, -3.0, -3.5, -4.0, -4.0, -4.5, -4.0, -1.5, 0.5])

# file: unit, where its zone is from, its zone, rows without a temperature
DIALECTS = {
    "bar.txt": ("degC", "default", "Europe/Madrid", 0),
    "bare_clock.csv": ("degC", "default", "Europe/Madrid", 0),
    "bom_bar_quotes.txt": ("degC", "default", "Europe/Madrid", 0),
    "carriage_returns.csv": ("degC", "default", "Europe/Madrid", 0),
    "clock_first.csv": ("degC", "default", "Europe/Madrid", 0),
    "compact.csv": ("degC", "default", "Europe/Madrid", 0),
    "compact_digits.csv": ("degC", "default", "Europe/Madrid", 0),
    "dots_semicolon.csv": ("degC", "default", "Europe/Madrid", 0),
    "epoch_fraction.txt": ("degC", "file", "UTC", 0),
    "epoch_milliseconds.csv": ("degC", "file", "UTC", 0),
    "epoch_seconds.csv": ("degC", "file", "UTC", 0),
    "event_rows.csv": ("degC", "default", "Europe/Madrid", 3),
    "exponents.csv": ("degC", "default", "Europe/Madrid", 0),
    "extra_channels.csv": ("degC", "default", "Europe/Madrid", 0),
    "footer_blank_lines.csv": ("degC", "default", "Europe/Madrid", 0),
    "four_headers.dat": ("degC", "default", "Europe/Madrid", 0),
    "header_again.csv": ("degC", "default", "Europe/Madrid", 0),
    "index_events_offset.csv": ("degF", "file", "UTC+01:00", 2),
    "iso_comma.csv": ("degC", "default", "Europe/Madrid", 0),
    "iso_fraction.csv": ("degC", "default", "Europe/Madrid", 0),
    "iso_offset.csv": ("degC", "file", "UTC+01:00", 0),
    "iso_offset_footer.csv": ("degC", "file", "UTC+01:00", 0),
    "iso_zulu.csv": ("degC", "file", "UTC", 0),
    "kelvin.csv": ("kelvin", "default", "Europe/Madrid", 0),
    "latin1.csv": ("degC", "default", "Europe/Madrid", 0),
    "many_digits.csv": ("degC", "default", "Europe/Madrid", 0),
    "missing_words.csv": ("degC", "default", "Europe/Madrid", 4),
    "month_first.csv": ("degC", "default", "Europe/Madrid", 0),
    "month_french.csv": ("degC", "default", "Europe/Madrid", 0),
    "month_name.csv": ("degC", "default", "Europe/Madrid", 0),
    "newest_first.csv": ("degC", "default", "Europe/Madrid", 0),
    "no_header.csv": ("degC", "default", "Europe/Madrid", 0),
    "noon_before.csv": ("degC", "default", "Europe/Madrid", 0),
    "noon_dots.csv": ("degF", "default", "Europe/Madrid", 0),
    "noon_semicolon_latin1.csv": ("degC", "default", "Europe/Madrid", 0),
    "noon_single_digits.csv": ("degF", "default", "Europe/Madrid", 0),
    "offset_above.csv": ("degF", "file", "UTC+01:00", 0),
    "padded.csv": ("degC", "default", "Europe/Madrid", 0),
    "quoted_decimal_comma.csv": ("degC", "default", "Europe/Madrid", 0),
    "serial_number_column.csv": ("degC", "default", "Europe/Madrid", 0),
    "short_year.csv": ("degC", "default", "Europe/Madrid", 0),
    "short_year_first.csv": ("degC", "default", "Europe/Madrid", 0),
    "thousands_beside.csv": ("degC", "default", "Europe/Madrid", 0),
    "thousands_dots_beside.csv": ("degC", "default", "Europe/Madrid", 0),
    "trailing_empty.csv": ("degC", "default", "Europe/Madrid", 0),
    "two_columns_noon.csv": ("degC", "default", "Europe/Madrid", 0),
    "two_columns_offset_header.csv": ("degF", "file", "UTC+01:00", 1),
    "two_columns_tab.txt": ("degC", "default", "Europe/Madrid", 0),
    "unicode_minus.csv": ("degC", "default", "Europe/Madrid", 0),
    "unit_in_cells.csv": ("degC", "default", "Europe/Madrid", 0),
    "unit_in_cells_f.csv": ("degF", "default", "Europe/Madrid", 0),
    "units_row.csv": ("degC", "default", "Europe/Madrid", 0),
    "utf16_big.txt": ("degC", "default", "Europe/Madrid", 0),
    "utf16_little.txt": ("degC", "default", "Europe/Madrid", 0),
    "utf16_unmarked.txt": ("degC", "default", "Europe/Madrid", 0),
    "weekday.csv": ("degC", "file", "UTC+01:00", 0),
    "weekday_month_noon.csv": ("degC", "default", "Europe/Madrid", 0),
    "zone_above.csv": ("degC", "file", "Europe/Madrid", 0),
    "zone_letters.csv": ("degC", "file", "UTC+01:00", 0),
}


def read(path: Path, **options: object) -> LoggerFile:
    chosen: dict[str, object] = {"timezone": None, "default_timezone": "Europe/Madrid"}
    return read_logger(path, **(chosen | options))  # type: ignore[arg-type]


@pytest.fixture
def write(tmp_path: Path):
    def write_file(text: str, encoding: str = "utf-8") -> Path:
        path = tmp_path / "l1.csv"
        path.write_bytes(text.encode(encoding))
        return path

    return write_file


def refusal(path: Path, **options: object) -> str:
    with pytest.raises(InputError) as error:
        read(path, **options)
    return str(error.value)


def test_every_stored_dialect_is_in_the_table():
    assert {path.name for path in DATA.iterdir()} == set(DIALECTS)


@pytest.mark.parametrize("name", DIALECTS)
def test_every_dialect_tells_the_same_readings(name):
    unit, zone_from, zone, missing = DIALECTS[name]
    logger = read(DATA / name, default_unit="F" if name == "noon_single_digits.csv" else "C")
    order = np.argsort(logger.air_temperature.time.values)
    np.testing.assert_array_equal(logger.air_temperature.time.values[order], TIMES)
    np.testing.assert_allclose(logger.air_temperature.values[order], CELSIUS, atol=1e-9)
    assert (logger.unit, logger.timezone_from, logger.timezone, logger.missing) == (unit, zone_from, zone, missing)
    assert logger.interval_min == 15.0


@pytest.mark.parametrize("name", DIALECTS)
def test_a_file_read_in_tiny_pieces_tells_the_same(name, monkeypatch):
    whole = read(DATA / name)
    monkeypatch.setattr("hardiness.read.slices.BLOCK", 50)  # a row or two
    monkeypatch.setattr("hardiness.read.text.PIECE", 7)
    pieces = read(DATA / name)
    np.testing.assert_array_equal(pieces.air_temperature.time.values, whole.air_temperature.time.values)
    np.testing.assert_array_equal(pieces.air_temperature.values, whole.air_temperature.values)
    assert (pieces.rows.tolist(), pieces.missing, pieces.said) == (whole.rows.tolist(), whole.missing, whole.said)


def test_a_file_that_becomes_shorter_while_it_is_read_is_refused(write, monkeypatch):
    path = write("Time,Temp (C)\n" + "2023-02-03 23:00,-1.0\n" * 400)
    sorting = recognition.read_fields

    def cut(*given, **named):
        os.truncate(path, 3000)
        return sorting(*given, **named)

    monkeypatch.setattr(recognition, "read_fields", cut)
    monkeypatch.setattr("hardiness.read.slices.BLOCK", 500)
    assert "a file that is being changed" in refusal(path)


def test_newest_first_stays_in_the_order_of_the_file():
    logger = read(DATA / "newest_first.csv")
    np.testing.assert_array_equal(logger.air_temperature.time.values, TIMES[::-1])
    np.testing.assert_array_equal(logger.rows, np.arange(2, 14))


def test_readings_are_labelled_float64_in_celsius_and_utc():
    air = read(DATA / "kelvin.csv").air_temperature
    assert air.name == "air_temperature"
    assert air.dims == ("time",)
    assert air.dtype == np.float64
    assert air.time.dtype == np.dtype("datetime64[ns]")
    assert air.attrs == {
        "units": "degC",
        "standard_name": "air_temperature",
        "long_name": "air temperature",
        "units_metadata": "temperature: on_scale",
    }


def test_rows_are_counted_as_a_text_editor_counts_them():
    logger = read(DATA / "footer_blank_lines.csv")
    np.testing.assert_array_equal(logger.rows, [5, 6, 7, 8, *range(11, 19)])


@pytest.mark.parametrize(
    ("cells", "unit", "resolution"),
    [
        (("31.1", "29.33"), "F", 0.01 * 5 / 9),
        (("31.1", "29"), "F", 0.1 * 5 / 9),
        (("-1", "-2"), "C", 1.0),
        (("-1.25", "-2"), "C", 0.01),
        (("272.1", "272"), "K", 0.1),
    ],
)
def test_resolution_is_the_last_digit_of_the_file_in_kelvin(write, cells, unit, resolution):
    path = write(f"Time,Temp\n2023-02-03 23:00,{cells[0]}\n2023-02-03 23:15,{cells[1]}\n")
    assert read(path, unit=unit).resolution_c == pytest.approx(resolution, rel=1e-12)


def test_numbers_are_the_floats_nearest_to_their_digits(write):
    cells = ["-3.21", "0.1", "1e-1", "-0.30000000000000004", "12.345678901234567", ".5", "-0.0", "+7.", "1.0E+1"]
    rows = [f"2023-02-03 23:{10 + minute},{cell}" for minute, cell in enumerate(cells)]
    logger = read(write("Time,Temp (C)\n" + "\n".join(rows) + "\n"))
    assert logger.air_temperature.values.tolist() == [float(cell) for cell in cells]
    assert not np.signbit(logger.air_temperature.values[6])


@pytest.mark.parametrize(
    ("cell", "nanoseconds"),
    [
        ("1675461600", 0),
        ("1675461600.123456789", 123_456_789),
        ("1675461600123", 123_000_000),
        ("1675461600123,5", 123_500_000),
    ],
)
def test_epoch_times_are_exact_to_the_nanosecond(write, cell, nanoseconds):
    logger = read(write(f"epoch;Temp (C)\n{cell};-1.5\n"))
    instant = np.datetime64("2023-02-03T22:00", "ns") + np.timedelta64(nanoseconds, "ns")
    assert logger.air_temperature.time.values[0] == instant


@pytest.mark.parametrize(
    ("cell", "clock"),
    [
        ("12:00 AM", "00:00"),
        ("12:05 am", "00:05"),
        ("12:00 PM", "12:00"),
        ("1:05 p.m.", "13:05"),
        ("11:59:59.5 P.M.", "23:59:59.5"),
        ("6:05\u202fAM", "06:05"),
        ("PM 6:05", "18:05"),
        ("06:05a", "06:05"),
        ("06h05", "06:05"),
        ("24:00", "24:00"),
    ],
)
def test_clocks_of_12_and_24_hours(write, cell, clock):
    logger = read(write(f"Time;Temp (C)\n2023-02-03 {cell};-1.5\n"), timezone="UTC")
    hours, _, rest = clock.partition(":")
    minutes, _, seconds = rest.partition(":")
    since = np.timedelta64(round((int(hours) * 3600 + int(minutes) * 60 + float(seconds or 0)) * 1e9), "ns")
    assert logger.air_temperature.time.values[0] == np.datetime64("2023-02-03", "ns") + since


def test_midnight_without_a_clock_is_midnight_and_said(write):
    logger = read(write("Time,Temp (C)\n2023-02-03 23:45:00,-1.0\n2023-02-04,-1.5\n"), timezone="UTC")
    assert logger.air_temperature.time.values[1] == np.datetime64("2023-02-04")
    assert any("read as midnight" in sentence for sentence in logger.said)


def test_unit_and_zone_that_nobody_names_are_said(write):
    logger = read(write("Time,Temp\n2023-02-03 23:00,31.1\n"), default_unit="F")
    assert logger.air_temperature.values[0] == pytest.approx(-0.5)
    assert any("unit of 'Temp': taken as F" in sentence for sentence in logger.said)
    assert any("taken as Europe/Madrid" in sentence for sentence in logger.said)


def test_unit_and_zone_that_are_given_are_not_said(write):
    path = write("Time,Temp\n2023-02-03 23:00,31.1\n")
    logger = read(path, unit="F", timezone="UTC+01:00", default_timezone="America/New_York")
    assert logger.said == []
    assert (logger.timezone, logger.timezone_from) == ("UTC+01:00", "option")
    assert logger.air_temperature.time.values[0] == np.datetime64("2023-02-03T22:00")


@pytest.mark.parametrize("name", ["iso_offset.csv", "offset_above.csv", "epoch_seconds.csv", "zone_letters.csv"])
def test_offset_of_the_file_wins_over_the_option_and_that_is_said(name):
    logger = read(DATA / name, timezone="UTC-07:00")
    np.testing.assert_array_equal(logger.air_temperature.time.values, TIMES)
    assert logger.timezone_from == "file"
    assert any("(UTC-07:00) was not used" in sentence for sentence in logger.said)


def test_offset_of_an_export_time_is_not_the_offset_of_the_readings(write):
    path = write("Exported 2023-02-06T08:00:00+09:00\nTime,Temp (C)\n2023-02-03 23:00,-1.0\n2023-02-03 23:15,-1.5\n")
    assert read(path).timezone == "Europe/Madrid"


def test_several_offsets_in_cells_are_all_named(write):
    path = write("Time,Temp (C)\n2023-03-26T01:45+01:00,-1.0\n2023-03-26T03:00+02:00,-1.5\n")
    logger = read(path)
    assert logger.timezone == "UTC+01:00, UTC+02:00"
    assert logger.interval_min == 15.0


def test_unit_option_may_repeat_but_not_contradict_the_file():
    assert read(DATA / "kelvin.csv", unit="K").unit == "kelvin"
    text = refusal(DATA / "kelvin.csv", unit="C")
    assert "more than one unit (K in the header 'T [K]', C in the option --unit)" in text
    assert "Leave --unit out" in text


def test_unknown_options_are_refused():
    path = DATA / "iso_comma.csv"
    assert "one of DMY, MDY, YMD" in refusal(path, date_order="DYM")
    assert "Did you mean 'Europe/Lisbon'" in refusal(path, timezone="Europe/Lisbonn")
    with pytest.raises(UnitsError, match="C, F or K"):
        read(path, unit="R")


def test_columns_are_named_by_name_by_name_without_unit_or_by_number(write):
    path = write("Time,Air (C),Soil (C)\n2023-02-03 23:00,-1.0,2.0\n2023-02-03 23:15,-1.5,2.1\n")
    for name in ("Soil (C)", "soil", "3"):
        assert read(path, temperature_column=name).air_temperature.values.tolist() == [2.0, 2.1]
    text = refusal(path, temperature_column="Sol", time_column="Tme")
    assert "Did you mean 'Time'?" in text
    assert "for --temperature-column one of 'Time', 'Air (C)', 'Soil (C)'" in text


def test_two_columns_of_one_name_are_told_apart_by_number(write):
    path = write("Time,Temp,Temp\n2023-02-03 23:00,-1.0,2.0\n")
    assert "--temperature-column 2" in refusal(path, temperature_column="Temp")
    assert read(path, temperature_column="3").air_temperature.values.tolist() == [2.0]


def test_one_of_several_columns_of_times_is_chosen_by_name(write):
    path = write(
        "Local,Sent,Temp (C)\n2023-02-03 23:00,2023-02-03 23:01,-1.0\n2023-02-03 23:15,2023-02-03 23:17,-1.5\n"
    )
    assert read(path, time_column="Sent").interval_min == 16.0
    two = write("Day,Clock,Uptime,Temp (C)\n2023-02-03,23:00,0:15,-1.0\n2023-02-03,23:15,0:30,-1.5\n")
    logger = read(two, time_column="Day + Clock")
    assert logger.time_column == "Day + Clock"
    assert logger.air_temperature.time.values[0] == TIMES[0]


def test_repeated_instants_keep_the_first_and_are_counted(write):
    rows = ["23:00,-1.00", "23:15,-1.50", "23:00,-1.00", "23:15,-1.55", "23:30,-2.00"]
    logger = read(write("Time,Temp (C)\n" + "".join(f"2023-02-03 {row}\n" for row in rows)))
    assert logger.air_temperature.values.tolist() == [-1.0, -1.5, -2.0]
    assert logger.rows.tolist() == [2, 3, 6]
    assert "2 rows repeat an instant with the same temperature: the first stays." in logger.said


@pytest.mark.parametrize(("other", "agrees"), [("-1.06", True), ("-1.07", False)])
def test_repeats_agree_to_six_hundredths_or_the_last_digit(write, other, agrees):
    path = write(f"Time,Temp (C)\n2023-02-03 23:00,-1.00\n2023-02-03 23:00,{other}\n")
    if agrees:
        assert read(path).air_temperature.values.tolist() == [-1.0]
    else:
        assert "rows 2 and 3, column Temp (C): found -1 C and -1.07 C at 2023-02-03 22:00:00 UTC" in refusal(path)
    coarse = write("Time,Temp (C)\n2023-02-03 23:00,-1\n2023-02-03 23:00,-2\n2023-02-03 23:15,-2\n")
    assert read(coarse).air_temperature.values.tolist() == [-1.0, -2.0]


def test_rows_out_of_order_are_fine(write):
    rows = [f"{time}".replace("T", " ")[:16] for time in TIMES]
    shuffled = [3, 1, 2, 0, 7, 5, 6, 4, 11, 9, 10, 8]
    text = "Time,Temp (C)\n" + "".join(f"{rows[n]},{CELSIUS[n]}\n" for n in shuffled)
    logger = read(write(text), timezone="UTC")
    np.testing.assert_array_equal(logger.air_temperature.time.values, TIMES[shuffled])
    np.testing.assert_array_equal(logger.air_temperature.values, CELSIUS[shuffled])
    assert logger.interval_min == 15.0


@pytest.mark.parametrize(
    "row",
    [
        "2023-02-03 23:00\t-1,0",  # with commas parting, "-1" could pass for an offset
        "2023-02-03,23:00;-1,0",  # with commas parting, there is a date too
        '"2023-02-03 23:00";"-1,0"',
        "2023-02-03 23:00|-1,0",
    ],
)
def test_the_delimiter_is_the_one_that_makes_sense_of_the_rows(write, row):
    mark = next(each for each in "\t;|" if each in row)
    logger = read(write(f"Time{mark}Temp (C)\n{row}\n"))
    assert logger.air_temperature.time.values.tolist() == [TIMES[0].astype(int)]
    assert logger.air_temperature.values.tolist() == [-1.0]


@pytest.mark.parametrize(
    ("header", "unit"),
    [
        ("Temp (°F)", "degF"),
        ("Temperature, °C", "degC"),
        ("T [K]", "kelvin"),
        ("Temp (deg F)", "degF"),
        ("Temperature (Fahrenheit)", "degF"),
        ("Temp(ºC)", "degC"),
        ("Temp (Â°C)", "degC"),
        ("Temp ℃", "degC"),
        ("Type K temperature (°C)", "degC"),
        ("temp_f", "degF"),
        ("Temperature Celsius", "degC"),
    ],
)
def test_units_of_headers_are_understood(write, header, unit):
    number = {"degC": "-1.0", "degF": "30.2", "kelvin": "272.15"}[unit]
    logger = read(write(f'Time;"{header}"\n2023-02-03 23:00;{number}\n'))
    assert logger.unit == unit
    assert logger.air_temperature.values[0] == pytest.approx(-1.0)
    assert not any("unit" in sentence for sentence in logger.said)


@pytest.mark.parametrize("header", ["Temp (K-type)", "Temp –5 F room", "Sensor F", "Temp probe 2", "Temperature"])
def test_what_is_no_unit_is_not_taken_for_one(write, header):
    logger = read(write(f"Time;{header}\n2023-02-03 23:00;-1.0\n"), temperature_column=header)
    assert any("taken as C" in sentence for sentence in logger.said)


def test_inch_sign_in_a_note_does_not_swallow_the_rest(write):
    logger = read(write('Time,Temp (C),Note\n2023-02-03 23:00,-1.0,6" below\n2023-02-03 23:15,-1.5,"a, b"\n'))
    assert logger.air_temperature.values.tolist() == [-1.0, -1.5]


def test_name_given_for_messages_is_used(tmp_path):
    path = tmp_path / "upload"
    path.write_text("Time,Temp\n2023-02-03 23:00,cold\n2023-02-03 23:15,-1\n", encoding="utf-8")
    assert refusal(path, name="hill.csv").startswith("hill.csv, row 2, column Temp: found 'cold'")


def test_progress_rises_to_the_whole_file(write):
    rows = [
        f"2023-{1 + n // 40320:02d}-{1 + n // 1440 % 28:02d} {n // 60 % 24:02d}:{n % 60:02d},-1.25"
        for n in range(80_000)
    ]
    path = write("Time,Temp (C)\n" + "\n".join(rows) + "\n")
    seen: list[tuple[int, int]] = []
    logger = read(path, timezone="UTC", progress=lambda done, total: seen.append((done, total)))
    done = [each for each, _ in seen]
    assert len(seen) >= 2
    assert done == sorted(set(done))
    assert seen[-1] == (path.stat().st_size, path.stat().st_size)
    assert logger.rows.size == 80_000
    assert logger.rows[-1] == 80_001
