"""Lines above and below the readings, codes for "no reading", and files whose dates have two orders."""

from __future__ import annotations

import gzip
from pathlib import Path

import pytest

from hardiness.read.choices import Choices
from tests.read.readers import read_file as read
from tests.read.readers import refusal_of as refusal

CELSIUS = [-1.5, -0.5, 0.5, 1.5, 2.5]
ROWS = [f"{n + 1},2025-12-14 {18 + n}:00,{celsius}" for n, celsius in enumerate(CELSIUS)]


@pytest.fixture
def write(tmp_path: Path):
    def write_file(*rows: str) -> Path:
        path = tmp_path / "l1.csv"
        path.write_text("".join(f"{row}\n" for row in rows), encoding="utf-8")
        return path

    return write_file


def without_number(rows: list[str]) -> list[str]:
    return [row.partition(",")[2] for row in rows]


@pytest.mark.parametrize(
    "above",
    [
        ["Start,2025-12-14 18:00"],
        ["Start,2025-12-14 18:00", "Stop,2025-12-20 18:00", "Serial,4411"],
        ["Logger,upper", "Start,2025-12-14 18:00,"],
        ["2025-12-21 08:00,downloaded"],
        ["Downloaded,2025-12-21,08:00"],
    ],
)
@pytest.mark.parametrize("numbered", [True, False])
def test_dates_above_the_header_are_no_readings(write, above, numbered):
    header, rows = ("No,Time,Temp (C)", ROWS) if numbered else ("Time,Temp (C)", without_number(ROWS))
    logger = read(write(*above, header, *rows))
    assert logger.air_temperature.values.tolist() == CELSIUS
    assert (logger.time_column, logger.temperature_column) == ("Time", "Temp (C)")
    assert logger.rows.tolist() == list(range(len(above) + 2, len(above) + 7))


def test_first_rows_of_events_belong_to_the_readings(write):
    events = [f"{n},2025-12-14 17:0{n},,Logged" for n in range(6)]
    logger = read(write("No,Time,Temp (C),Event", *events, *(f"{row}," for row in ROWS)))
    assert (logger.air_temperature.size, logger.missing) == (5, 6)


@pytest.mark.parametrize(
    "footer",
    [
        ["Minimum,2025-12-14 18:00,-1.5", "Maximum,2025-12-14 22:00,2.5", "Average,,0.5"],
        ["Min:,2025-12-14 19:00,-9.9"],
        [",,-4.2"],
        ["Average,,0.5", "End of export,,"],
    ],
)
def test_a_summary_with_numbers_is_passed_over_and_said(write, footer):
    logger = read(write("No,Time,Temp (C)", *ROWS, *footer))
    assert logger.air_temperature.values.tolist() == CELSIUS
    assert any("Below the last reading, row" in sentence and "passed over" in sentence for sentence in logger.said)


def test_a_temperature_without_a_time_among_readings_is_a_fault(write):
    rows = without_number(ROWS)
    assert "row 3, column Time: found an empty cell" in refusal(write("Time,Temp (C)", rows[0], ",-4.2", *rows[1:]))


def test_a_word_in_a_column_after_the_temperature_makes_no_summary(write):
    logger = read(write("Time,Temp (C),Note", *(f"{row},min" for row in without_number(ROWS))))
    assert logger.air_temperature.size == 5


PULLED = ["No,Time,Temp (C)", *ROWS, "6,2025-12-14 23:00,-127.00", "7,2025-12-14 23:30,327.67"]


def test_a_number_that_no_air_has_is_refused_with_the_option_that_passes_it_over(write):
    text = refusal(write(*PULLED))
    assert "row 7, column Temp (C): found -127 C" in text
    assert "If the number stands for no reading, say --missing '-127;327.67', or empty its cell." in text


def test_many_different_numbers_that_no_air_has_are_no_code(write):
    text = refusal(write("Time,Temp (C)", *(f"2025-12-14 {18 + n}:00,{-100 - n}" for n in range(5))))
    assert "If the number stands for no reading, empty its cell." in text


def test_a_number_that_means_no_reading_is_counted_as_missing_and_said(write):
    logger = read(write(*PULLED), missing="-127;327.67")
    assert (logger.air_temperature.size, logger.missing) == (5, 2)
    assert "-127 stands for no reading in 1 row of 'Temp (C)'." in logger.said
    assert "found 327.67 C" in refusal(write(*PULLED), missing="-127")


def test_numbers_that_mean_no_reading_are_those_of_the_last_file(write):
    last = Choices.of({"missing": "-127;327.67"}, "the last file of L1")
    logger = read(write(*PULLED), last=last)
    assert (logger.air_temperature.size, logger.missing) == (5, 2)
    assert "-127 stands for no reading in 1 row of 'Temp (C)', as for the last file of L1." in logger.said
    assert "found 327.67 C" in refusal(write(*PULLED), last=last, missing="-127")


@pytest.mark.parametrize("number", ["n/a", "-127 C", "12,5,1"])
def test_what_is_no_number_is_refused(write, number):
    assert "for --missing; accepted: a number as it stands in the file" in refusal(write(*PULLED), missing=number)


@pytest.mark.parametrize("cell", ["Lo", "OL", "---.-", "--.--"])
def test_what_a_display_shows_without_a_reading_is_missing(write, cell):
    logger = read(write("No,Time,Temp (C)", *ROWS, f"6,2025-12-14 23:00,{cell}"))
    assert (logger.air_temperature.size, logger.missing) == (5, 1)


def test_a_blank_after_the_sign_is_read_over(write):
    assert read(write("Time;Temp (C)", "2025-12-14 18:00;- 2,1")).air_temperature.values.tolist() == [-2.1]


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("Month,Day,Hour,Temp\n12,14,18,1.5\n", "name them with --time-column"),
        ("Year,Month,Day,Temp\n2025,12,14,1.5\n", "--time-column 'year=COLUMN + doy=COLUMN + hhmm=COLUMN'"),
        ("Date        Temp\n2025-12-14  1.5\n", "found dates in 'Date' and no time of day"),
        ("Time      Temp\nabout 6     cold\n", "Columns lined up by blanks? Save the file as CSV"),
    ],
)
def test_ways_of_writing_that_are_not_read_are_told_with_a_way_out(write, text, hint):
    assert hint in refusal(write(*text.splitlines()))


PACKED = gzip.compress(("Time,Temp (°C)\n" + "".join(f"{row[2:]}\n" for row in ROWS)).encode())


def test_a_gzipped_file_is_read_as_what_it_holds(tmp_path):
    path = tmp_path / "l1.csv.gz"
    path.write_bytes(PACKED)
    assert read(path).air_temperature.values.tolist() == CELSIUS


def test_a_damaged_gzip_file_or_one_of_something_else_is_refused(tmp_path, monkeypatch):
    path = tmp_path / "l1.csv.gz"
    path.write_bytes(PACKED[: len(PACKED) // 2])
    assert "a gzip file that cannot be unpacked" in refusal(path)
    path.write_bytes(PACKED[:15] + b"\xff\xff" + PACKED[17:])
    assert "a gzip file that cannot be unpacked" in refusal(path)
    path.write_bytes(gzip.compress(b"\x89PNG\r\n\x1a\n" + bytes(50)))
    assert "a PNG picture" in refusal(path)
    monkeypatch.setattr("hardiness.read.plaintext.MOST_UNPACKED", 100)
    path.write_bytes(PACKED)
    assert "a gzip file that unpacks to more than 100 bytes" in refusal(path)


def test_cyrillic_headers_are_read_in_their_own_letters(tmp_path):
    path = tmp_path / "l1.csv"
    path.write_bytes("Дата и время;Температура, °C;Влажность, %\n14.12.2025 18:00;-2,1;80\n".encode("cp1251"))
    logger = read(path)
    assert (logger.time_column, logger.temperature_column) == ("Дата и время", "Температура, °C")
    assert (logger.air_temperature.values.tolist(), logger.unit) == ([-2.1], "degC")


@pytest.mark.parametrize(
    "dates",
    [
        ["25/12/2025", "26/12/2025", "12/27/2025", "12/28/2025"],
        ["25/12/2025", "12/28/2025"],
        ["25/12/2025", "13/12/2025", "14/12/2025", "12/27/2025", "12/28/2025"],
    ],
)
def test_dates_in_two_orders_are_told_with_a_row_of_each(write, dates):
    text = refusal(write("Time,Temp (C)", *(f"{date} 06:00,1.5" for date in dates)))
    row = 2 + next(n for n, date in enumerate(dates) if date.startswith("12/2"))
    orders = f"row 2 can only be day/month/year, row {row} only month/day/year"
    assert f"found dates in two orders: {orders}; accepted: one order all through the file" in text
    assert "--date-order" not in text


def test_one_date_that_fits_another_order_is_a_slip(write):
    dates = ["25/12/2025", "26/12/2025", "12/27/2025", "28/12/2025"]
    text = refusal(write("Time,Temp (C)", *(f"{date} 06:00,1.5" for date in dates)))
    assert "row 4, column Time: found '12/27/2025 06:00', a day that does not exist" in text
