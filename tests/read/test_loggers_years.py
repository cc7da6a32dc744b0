"""Clocks that were reset or never set: likely years are taken, odd ones said once a file, impossible ones refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from hardiness.errors import InputError
from hardiness.read.dialect import find_dialect
from hardiness.read.faults import Faults, sort_rows
from hardiness.read.instants import Instants, find_instants
from hardiness.read.loggers import LoggerFile, read_logger
from hardiness.read.row_reading import read_fields
from hardiness.read.text import Text

NOW = np.datetime64("2026-11-25T20:00", "s")  # what the computer's clock says in most of these tests [UTC]
ODD = "Is the logger's clock right?"


@pytest.fixture
def write(tmp_path: Path):
    def write_times(*times: str, temperatures: tuple[str, ...] = (), header: str = "Time,Temp (C)") -> Path:
        warmth = temperatures or tuple(f"-{n}.5" for n in range(len(times)))
        path = tmp_path / "l1.csv"
        rows = [f"{time},{each}\n" for time, each in zip(times, warmth, strict=True)]
        path.write_text(f"{header}\n{''.join(rows)}", encoding="utf-8")
        return path

    return write_times


def read(path: Path, zone: str = "UTC", **options: object) -> LoggerFile:
    return read_logger(path, timezone=zone, default_timezone="UTC", **options)  # type: ignore[arg-type]


def instants_of(path: Path, *, now: np.datetime64 = NOW, zone: str = "UTC", trial: str = "UTC") -> Instants:
    """The instants of a file as the reader finds them when the computer's clock says ``now``."""
    data = Text.of(path.read_bytes())
    dialect = find_dialect(data, file=path.name, time_column=None, temperature_column=None)
    faults = Faults(data, dialect, path.name)
    fields, _, _ = sort_rows(read_fields(data, dialect, file=path.name, progress=None), faults)
    found = find_instants(fields, dialect, faults, given_zone=zone, default_zone=trial, date_order=None, now=now)
    assert faults.problems() == found.problems == []
    return found


def odd_of(said: list[str]) -> list[str]:
    return [sentence for sentence in said if sentence.endswith(ODD)]


def test_a_clock_that_was_reset_and_one_that_runs_ahead_are_taken_and_said_in_one_sentence(write):
    path = write("1970-01-01 00:00", "1970-01-01 00:15", "2023-02-03 23:15", "2099-02-03 23:30")
    logger = read(path)
    expected = ["1970-01-01T00:00", "1970-01-01T00:15", "2023-02-03T23:15", "2099-02-03T23:30"]
    np.testing.assert_array_equal(logger.air_temperature.time.values, np.array(expected, "M8[ns]"))
    assert odd_of(instants_of(path).said) == [
        "2 readings lie before 1990; the first is row 2, 1970-01-01 00:00. 1 reading lies after today, 2026-11-25; it "
        f"is row 5, 2099-02-03 23:30. {ODD}"
    ]
    (sentence,) = odd_of(logger.said)
    assert "before 1990" in sentence and "1 reading lies after today, 20" in sentence


@pytest.mark.parametrize(("time", "lies"), [("1989-12-31 23:59", True), ("1990-01-01 00:00", False)])
def test_loggers_are_not_older_than_1990(write, time, lies):
    said = odd_of(instants_of(write(time, "2023-02-03 23:15")).said)
    assert said == ([f"1 reading lies before 1990; it is row 2, {time}. {ODD}"] if lies else [])


@pytest.mark.parametrize(
    ("time", "zone", "lies"),
    [
        ("2026-11-27 20:00", "UTC", False),
        ("2026-11-27 20:01", "UTC", True),
        ("2026-11-28 09:00", "UTC+13:00", False),  # the same two instants, on other clocks
        ("2026-11-28 09:01", "UTC+13:00", True),
        ("2026-11-27 12:00", "UTC-08:00", False),
        ("2026-11-27 12:01", "UTC-08:00", True),
    ],
)
def test_up_to_two_days_ahead_of_the_computers_clock_nothing_is_said(write, time, zone, lies):
    said = odd_of(instants_of(write("2026-11-25 08:00", time), zone=zone).said)
    assert said == ([f"1 reading lies after today, 2026-11-25; it is row 3, {time}. {ODD}"] if lies else [])


@pytest.mark.parametrize(("trial", "today"), [("Pacific/Auckland", "2026-11-26"), ("America/New_York", "2026-11-25")])
def test_today_is_the_trials_and_not_greenwichs(write, trial, today):
    (said,) = odd_of(instants_of(write("2031-01-10 06:00"), trial=trial).said)
    assert said == f"1 reading lies after today, {today}; it is row 2, 2031-01-10 06:00. {ODD}"


def test_the_computers_own_clock_is_the_one_that_counts(write):
    now = np.datetime64("now", "m")
    ahead, near = (str(now + np.timedelta64(hours, "h")).replace("T", " ") for hours in (49, 47))
    assert odd_of(read(write(near)).said) == []
    assert f"it is row 2, {ahead}. {ODD}" in odd_of(read(write(ahead)).said)[0]


def test_rows_without_a_temperature_are_no_readings_to_be_counted(write):
    times = ("1970-01-01 00:00", "2031-01-10 06:00", "2031-01-10 06:15", "2031-01-10 06:30")
    path = write(*times, temperatures=("", "", "-4.5", "-5"))
    expected = f"2 readings lie after today, 2026-11-25; the first is row 4, 2031-01-10 06:15. {ODD}"
    assert odd_of(instants_of(path).said) == [expected]


@pytest.mark.parametrize(
    ("cell", "instant"),
    [
        ("1850-01-01 00:00", "1850-01-01T00:00"),
        ("31.12.2199 23:59", "2199-12-31T23:59"),
        ("14-Dec-2031 06:05 AM", "2031-12-14T06:05"),
        ("12/14/31 6:05", "2031-12-14T06:05"),
        ("12/14/89 6:05", "2089-12-14T06:05"),  # two digits: 90-99 are 1990-1999, others 20xx
        ("12/14/90 6:05", "1990-12-14T06:05"),
        ("1955600000", "2031-12-21T06:13:20"),
        ("7258118399", "2199-12-31T23:59:59"),
    ],
)
def test_years_from_1850_to_2199_are_read_in_every_form(write, cell, instant):
    assert str(read(write(cell)).air_temperature.time.values[0]) == f"{np.datetime64(instant, 's')}.000000000"


@pytest.mark.parametrize("zone", ["UTC-11:00", "UTC", "UTC+13:00"])
def test_the_year_that_counts_is_the_one_in_the_cell(write, zone):
    times = ("1850-01-01 00:00", "2023-02-03 23:15", "2199-12-31 23:59")
    assert read(write(*times), zone).rows.tolist() == [2, 3, 4]
    with pytest.raises(InputError) as error:
        read(write("1849-12-31 23:59", "2023-02-03 23:15", "2200-01-01 00:00"), zone)
    assert [str(problem) for problem in error.value.problems] == [
        f"l1.csv, row {row}, column Time: found '{time}'; accepted: a time from 1850 to 2199. A slip, or a clock that "
        "was never set? Correct these times, or leave the rows out."
        for row, time in ((2, "1849-12-31 23:59"), (4, "2200-01-01 00:00"))
    ]


def test_a_reset_amid_the_hour_that_repeats_leaves_the_other_readings_where_they_were(write):
    """Paris, 2022-10-30: the clocks go from 03:00 back to 02:00; before that night the logger's battery fell out."""
    night = [f"2022-10-30 {clock}" for clock in ("01:30", "02:00", "02:30", "02:00", "02:30", "03:00")]
    logger = read(write("1970-01-01 00:00", "1970-01-01 00:30", *night, "2099-06-01 00:00"), "Europe/Paris")
    steps = np.diff(logger.air_temperature.time.values[2:8])
    assert (steps == np.timedelta64(30, "m")).all()
    assert str(logger.air_temperature.time.values[2])[:16] == "2022-10-29T23:30"


def test_a_lone_reading_of_a_reset_clock_says_nothing_of_summer_time(write):
    path = write("1970-01-01 00:00", "2023-02-03 23:15")  # half a century is no usual interval
    assert read(path, "Europe/Paris").rows.tolist() == [2, 3]


def test_a_clock_that_was_reset_twice_cannot_be_told_apart_and_that_is_offered_as_a_cause(write):
    path = write("1970-01-01 00:00", "2023-02-03 23:15", "1970-01-01 00:00")
    with pytest.raises(InputError, match=r"rows 2 and 4, .*one temperature for one instant.* a clock that was reset"):
        read(path)
