"""Dates and times given in parts, a column for each, are read as the times they make up; odd parts are told by cell."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import numpy as np
import pytest

from hardiness.read.choices import Choices
from hardiness.read.preview import Preview
from hardiness.read.previewing import preview_logger
from hardiness.read.recognition import Asked
from tests.read.readers import read_file, refusal_of, times_of

read = partial(read_file, default_timezone="UTC")
refusal = partial(refusal_of, default_timezone="UTC")
FIRST, LAST = "2023-01-14T23:45:00", "2023-01-15T00:15:00"


@pytest.fixture
def write(tmp_path: Path):
    def write_file(*rows: str) -> Path:
        path = tmp_path / "l1.csv"
        path.write_text("".join(f"{row}\n" for row in rows), encoding="utf-8")
        return path

    return write_file


# header, and the rows of 23:45 on 14 January 2023, midnight and 0:15, as loggers write them
PARTED = {
    "minutes": ("Year,Month,Day,Hour,Minute,Temp", "2023,1,14,23,45,-3.1", "2023,1,15,0,0,-3.2", "2023,1,15,0,15,-3.3"),
    "seconds": (
        "YYYY;MM;DD;HH;MM;SS;T [°C]", "2023;01;14;23;45;00;-3,1", "2023;01;15;00;00;00;-3,2",
        "2023;01;15;00;15;00;-3,3",
    ),
    "two letters each": ("YY;MM;DD;HH;MI;Temp", "23;1;14;23;45;-3.1", "23;1;15;0;0;-3.2", "23;1;15;0;15;-3.3"),
    "day of the year": ("Year,DOY,HHMM,Temp", "2023,14,2345,-3.1", "2023,15,0,-3.2", "2023,15,15,-3.3"),
    "midnight as 2400": ("Year,Julian day,Time,Temp", "2023,14,2345,-3.1", "2023,14,2400,-3.2", "2023,15,15,-3.3"),
    "midnight as 24": ("year,doy,hour,minute,temp", "2023,14,23,45,-3.1", "2023,14,24,0,-3.2", "2023,15,0,15,-3.3"),
    "any order": (
        "Temp,Minute,Hour,Day,Month,Year", "-3.1,45,23,14,1,2023", "-3.2,0,0,15,1,2023", "-3.3,15,0,15,1,2023",
    ),
    "a clock": ("Day,Month,Year,Time,Temp", "14,1,2023,23:45,-3.1", "15,1,2023,00:00,-3.2", "15,1,2023,00:15,-3.3"),
    "a 12-hour clock": (
        "Year,Month,Day,Time,Temp", "2023,1,14,11:45 PM,-3.1", "2023,1,15,12:00 AM,-3.2", "2023,1,15,12:15 AM,-3.3",
    ),
    "halves": (
        "Month,Day,Year,Hour,Minute,AM/PM,Temp", "1,14,2023,11,45,PM,-3.1", "1,15,2023,12,0,AM,-3.2",
        "1,15,2023,12,15,AM,-3.3",
    ),
    "halves beside a time": (
        "Date,Time,,Temp", "01/14/2023,11:45,PM,-3.1", "01/15/2023,12:00,AM,-3.2", "01/15/2023,12:15,AM,-3.3",
    ),
    "halves beside both": (
        "Time,AM or PM,Temp", "2023-01-14 11:45,pm,-3.1", "2023-01-15 12:00,am,-3.2", "2023-01-15 12:15,am,-3.3",
    ),
    "months by name": (
        "Day,Month,Year,Hour,Min,Temp", "14,Jan,2023,23,45,-3.1", "15,January,2023,0,0,-3.2", "15,Jan,2023,0,15,-3.3",
    ),
    "two digits": ("Yr|Mo|Dy|Hr|Mn|Temp", "23|1|14|23|45|-3.1", "23|1|15|0|0|-3.2", "23|1|15|0|15|-3.3"),
    "decimals": (
        "Year,Month,Day,Hour,Minute,Second,Temp", "2023.0,1.0,14.0,23.0,45.0,0.00,-3.1",
        "2023.0,1.0,15.0,0.0,0.0,0.00,-3.2", "2023.0,1.0,15.0,0.0,15.0,0.00,-3.3",
    ),
    "a day in fractions": ("Year,DOY,Temp", "2023,14.98958,-3.1", "2023,15.0,-3.2", "2023,15.01042,-3.3"),
    "a date and numbers": (
        "Date,Hour,Minute,Temp", "2023-01-14,23,45,-3.1", "2023-01-15,0,0,-3.2", "2023-01-15,0,15,-3.3",
    ),
    "digits": ("YYYYMMDD,HHMM,Temp", "20230114,2345,-3.1", "20230115,0,-3.2", "20230115,15,-3.3"),
    "no names": ("101,2023,14,2345,-3.1", "101,2023,15,0,-3.2", "101,2023,15,15,-3.3"),
    "no names, all parts": (
        "2023,1,14,23,45,0,-3.1", "2023,1,15,0,0,0,-3.2", "2023,1,15,0,15,0,-3.3",
    ),
    "other names": ("a,b,c,d,e,f", "2023,1,14,23,45,-3.1", "2023,1,15,0,0,-3.2", "2023,1,15,0,15,-3.3"),
    "below a preamble": (
        "Export,2023-02-01 10:00", "Station,3", "", "Year,Month,Day,Hour,Minute,Temp", "2023,1,14,23,45,-3.1",
        "2023,1,15,0,0,-3.2", "2023,1,15,0,15,-3.3",
    ),
    "units below": (
        "Year,Day of year,Hour,Minute,Air", "yyyy,ddd,hh,mm,°C", "2023,14,23,45,-3.1", "2023,15,0,0,-3.2",
        "2023,15,0,15,-3.3",
    ),
    "by blanks": (
        "YYYY MM DD hh mm  T(C)", "2023  1 14 23 45  -3.1", "2023  1 15  0  0  -3.2", "2023  1 15  0 15  -3.3",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", PARTED)
def test_times_in_parts_are_the_times_that_the_parts_make_up(write, name):
    temperature = "5" if name == "no names" else None  # the first column is a number of the program's, constant
    logger = read(write(*PARTED[name]), temperature_column=temperature)
    assert times_of(logger) == [FIRST, "2023-01-15T00:00:00", LAST]
    assert logger.air_temperature.values.tolist() == [-3.1, -3.2, -3.3]


@pytest.mark.parametrize(
    "header",
    [
        "Jahr;Monat;Tag;Stunde;Minute;Lufttemperatur",
        "Année;Mois;Jour;Heure;Minute;Température",
        "Año;Mes;Día;Hora;Minuto;Temperatura",
        "Ano;Mês;Dia;Hora;Minuto;Temperatura",
        "Anno;Mese;Giorno;Ora;Minuti;Temperatura",
        "Jaar;Maand;Dag;Uur;Minuut;Temperatuur",
        "Rok;Miesiąc;Dzień;Godzina;Minuta;Temperatura",
        "År;Månad;Dag;Timme;Minut;Temperatur",
        "год;месяц;день;час;минута;Температура",
        "年;月;日;時;分;気温(℃)",
        "Year (UTC);Month (UTC);Day (UTC);Hour (UTC);Minute (UTC);Temp",
        "Year_UTC;Month_UTC;Day_UTC;Hour_UTC;Minute_UTC;Temp",
    ],
)
def test_parts_are_named_in_the_languages_of_loggers(write, header):
    logger = read(write(header, "2023;1;14;23;45;-3,1", "2023;1;15;0;15;-3,3"))
    assert times_of(logger) == [FIRST, LAST]
    assert logger.time_column == " + ".join(header.split(";")[:5])
    assert logger.timezone_from == ("file" if "UTC" in header else "default")


def test_what_numbers_without_names_were_taken_for_is_said(write):
    rows = PARTED["no names, all parts"]
    assert any("'column 4' (hour)" in sentence for sentence in read(write(*rows)).said)
    assert not any("put together" in sentence for sentence in read(write(*PARTED["minutes"])).said)


@pytest.mark.parametrize("named", ["year=a + doy=b + hhmm=c", "year=1+doy=2+hhmm=3", "YEAR = a+DOY = b+HHMM = c"])
def test_parts_without_names_may_be_said(write, named):
    path = write("a,b,c,Temp", "2023,14,2345,-3.1", "2023,15,15,-3.3")
    assert times_of(read(path, time_column=named)) == [FIRST, LAST]


def test_the_way_to_name_parts_is_told(write):
    text = refusal(write("a,b,c,Temp", "2023,14,2345,-3.1", "2023,15,15,-3.3"), time_column="a + b + c")
    assert "Say what each column holds, such as --time-column 'year=COLUMN + doy=COLUMN + hhmm=COLUMN'" in text


def test_parts_that_were_named_are_those_of_the_next_file(write):
    last = Choices.of({"time_column": "year=a + doy=b + hhmm=c"}, "the last file of L1")
    path = write("a,b,c,Temp,Sent", "2023,14,2345,-3.1,2023-01-16 10:00", "2023,15,15,-3.3,2023-01-16 10:00")
    logger = read(path, last=last)
    assert times_of(logger) == [FIRST, LAST]
    assert "Times are taken from 'a + b + c', as for the last file of L1; --time-column names another." in logger.said


@pytest.mark.parametrize("named", ["year=a + doy=b + hhmm=c", "year=1 + doy=2 + hhmm=3"])
def test_parts_that_were_named_are_used_where_nothing_else_tells_the_times(write, named):
    last = Choices.of({"time_column": named}, "the last file of L1")
    path = write("a,b,c,Temp", "2023,14,2345,-3.1", "2023,15,15,-3.3")
    assert times_of(read(path, last=last)) == [FIRST, LAST]
    other = write("Time,Temp", "2023-01-14 23:45,-3.1", "2023-01-15 00:15,-3.3")
    assert times_of(read(other, last=last)) == [FIRST, LAST]


def test_numbers_of_columns_settle_only_what_is_open(write):
    last = Choices.of({"time_column": "year=2 + doy=3 + hhmm=4"}, "the last file of L1")
    path = write("Year,DOY,HHMM,Temp,Port", "2023,14,2345,10,1", "2023,15,15,11,2")
    assert times_of(read(path, last=last, temperature_column="Temp")) == [FIRST, LAST]


@pytest.mark.parametrize(
    ("row", "column", "told"),
    [
        ("2023,13,15,0,15,-3", "Month", "found '13'; accepted: a month from 1 to 12, or its name"),
        ("2023,1,32,0,15,-3", "Day", "found '32'; accepted: a day from 1 to 31"),
        ("2023,1,15,25,15,-3", "Hour", "found '25'; accepted: an hour from 0 to 24"),
        ("2023,1,15,0,60,-3", "Minute", "found '60'; accepted: a minute from 0 to 59"),
        ("2023,1,15,0.5,0,-3", "Hour", "found '0.5'; accepted: an hour"),
        ("2023,1,15,-1,0,-3", "Hour", "found '-1'; accepted: an hour"),
        ("2023,,15,0,0,-3", "Month", "found an empty cell; accepted: a month"),
        ("1023,1,15,0,0,-3", "Year", "found '1023'; accepted: a year from 1850 to 2199"),
        ("2023,2,29,0,0,-3", "Day", "found '2023', '2', '29', '0', '0', no time that exists"),
        ("2023,1,15,24,15,-3", "Day", "found '2023', '1', '15', '24', '15', no time that exists"),
    ],
)
def test_every_odd_part_is_a_fault_with_its_row_and_column(write, row, column, told):
    assert f"l1.csv, row 4, column {column}: {told}" in refusal(write(*PARTED["minutes"][:3], row))


def test_a_day_beyond_the_years_last_is_a_fault(write):
    text = refusal(write("Year,DOY,HHMM,Temp", "2024,366,2345,-3", "2023,366,2345,-3", "2024,15,1260,-3"))
    assert "row 3, column DOY: found '2023', '366', '2345', no time that exists" in text
    assert "row 4, column HHMM: found '1260'; accepted: hours and minutes in one number" in text


@pytest.mark.parametrize(
    "rows",
    [
        ("Date,Max,Min,Temp", "2023-01-14,3,1,2", "2023-01-15,4,2,3"),  # a minimum, no minute
        ("Date,T,H", "2023-01-14,3,1", "2023-01-15,4,2"),  # a humidity, no hour
        ("Month,Day,Hour,Temp", "1,14,23,-3.1", "1,15,0,-3.2", "1,15,1,-3.2"),
        ("1,2,2023,10,-3", "1,2,2023,11,-3", "1,2,2023,12,-3"),  # day or month first
    ],
)
def test_parts_that_make_up_no_plain_time_are_refused(write, rows):
    assert "--time-column" in refusal(write(*rows))


def test_numbers_that_could_be_two_times_are_none(write):
    # 1 February or 2 January, 6:05 on; or, from the third column on, minutes of the sixth day of the year
    path = write(*(f"1;2;2023;6;{minute};-3" for minute in (5, 20, 35, 50)))
    assert "found no column of times" in refusal(path, temperature_column="6")


@pytest.mark.parametrize(
    ("row", "column", "told"),
    [("2023;14;;-3.1", "column 3", "an empty cell"), ("2023;;545;-3.1", "column 2", "an empty cell")],
)
def test_a_slip_in_the_first_row_is_a_fault_without_a_header_too(write, row, column, told):
    path = write(row, *(f"2023;14;{hhmm};-3.2" for hhmm in (600, 615, 630, 645)))
    assert f"l1.csv, row 1, column {column}: found {told}" in refusal(path)


def test_a_line_of_numbers_above_rows_without_a_header_is_no_reading(write):
    path = write("12345,17,2", *(f"2023-01-14 23:{minute},-3.1,88" for minute in (15, 30, 45)))
    logger = read(path, temperature_column="2")
    assert times_of(logger)[-1] == FIRST and logger.rows.tolist() == [2, 3, 4]


@pytest.mark.parametrize("named", ["date=Date + hour=Hour", "Date + Clock"])
def test_two_times_of_day_are_never_added_up(write, named):
    path = write("Date,Hour,Clock,Temp", "2023-01-14 00:00,5,05:00,-3.1", "2023-01-14 06:00,6,06:00,-3.2")
    text = refusal(path, time_column=named)
    assert "l1.csv, row 3, column Date: found '2023-01-14 06:00'" in text
    assert "row 2" not in text


def test_a_minimum_beside_an_average_is_no_minute(write):
    path = write("Date,Hour,Min,Avg", "2023-01-14,3,1,2", "2023-01-14,4,2,3")
    assert times_of(read(path, temperature_column="Avg")) == ["2023-01-14T03:00:00", "2023-01-14T04:00:00"]


def test_a_minimum_apart_from_the_hour_is_no_minute(write):
    path = write("Date,Hour,Temp,Min", "2023-01-14,3,2,1", "2023-01-14,4,3,2")
    assert times_of(read(path, temperature_column="Temp")) == ["2023-01-14T03:00:00", "2023-01-14T04:00:00"]


def test_flags_of_one_letter_are_no_halves_of_the_day(write):
    path = write("Time,Flag,Temp", "2023-01-14 11:45,P,-3.1", "2023-01-15 00:15,A,-3.3")
    assert times_of(read(path)) == ["2023-01-14T11:45:00", LAST]


def test_a_summary_below_times_in_parts_is_passed_over(write):
    logger = read(write(*PARTED["minutes"], "Average,,,,,-3.2", "Total rows,3,,,,"))
    assert logger.air_temperature.values.tolist() == [-3.1, -3.2, -3.3]
    assert any("passed over" in sentence for sentence in logger.said)


def test_a_preview_shows_what_each_column_holds(write):
    preview: Preview = preview_logger(write(*PARTED["day of the year"]), Asked("l1.csv", "UTC"))
    assert preview.time_column == "Year + DOY + HHMM"
    assert [column.role for column in preview.columns] == [
        "year",
        "day of the year",
        "hours and minutes",
        "temperature",
    ]
    assert preview.rows[0].utc == "2023-01-14 23:45"


def test_times_in_parts_are_read_block_by_block(write, monkeypatch):
    days, hours = np.divmod(np.arange(24 * 300), 24)
    rows = [f"2023,{day + 1},{hour * 100},{-hour / 10:.1f}" for day, hour in zip(days, hours, strict=True)]
    path = write("Year,DOY,HHMM,Temp (C)", *rows)
    whole = read(path)
    monkeypatch.setattr("hardiness.read.slices.BLOCK", 1000)
    pieces = read(path)
    expected = np.datetime64("2023-01-01", "ns") + np.arange(24 * 300) * np.timedelta64(1, "h")
    np.testing.assert_array_equal(whole.air_temperature.time.values, expected)
    np.testing.assert_array_equal(pieces.air_temperature.time.values, expected)
