"""The logger's clock: zones are read, a clock that changes is followed, one that does not is found out."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from hardiness.errors import InputError, Problem
from hardiness.read.clock import parse_zone, zone_name, zones_in
from hardiness.read.loggers import LoggerFile, read_logger

PARIS, NEW_YORK, SYDNEY, LORD_HOWE = "Europe/Paris", "America/New_York", "Australia/Sydney", "Australia/Lord_Howe"
MINUTE = np.timedelta64(1, "m")
# Paris: back on 2022-10-30 at 01:00 UTC (03:00 -> 02:00), forwards on 2023-03-26 at 01:00 UTC (02:00 -> 03:00).
AUTUMN, SPRING = "2022-10-29T18:00", "2023-03-25T18:00"


def steps(start: str, minutes: int, hours: int = 16) -> np.ndarray:
    """Instants in UTC from a start on, [ns]."""
    return np.datetime64(start, "ns") + np.arange(0, hours * 60, minutes) * MINUTE


def local_times(utc: np.ndarray, zone: str) -> list[str]:
    """What a clock in a zone showed, worked out by the standard library alone."""
    aware = [instant.astype("datetime64[us]").item().replace(tzinfo=ZoneInfo("UTC")) for instant in utc]
    return [instant.astimezone(parse_zone(zone)).strftime("%Y-%m-%d %H:%M:%S") for instant in aware]


@pytest.fixture
def read_times(tmp_path: Path):
    def read(times: list[str], zone: str, period: int = 7) -> LoggerFile:
        path = tmp_path / "l1.csv"
        rows = [f"{time},{n % period / 10:.1f}\n" for n, time in enumerate(times)]
        path.write_text("Time,Temp (C)\n" + "".join(rows), encoding="utf-8")
        return read_logger(path, timezone=zone, default_timezone="UTC")

    return read


def refusal(read_times, times: list[str], zone: str) -> Problem:
    with pytest.raises(InputError) as error:
        read_times(times, zone)
    assert len(error.value.problems) == 1, error.value.problems
    problem = error.value.problems[0]
    assert isinstance(problem, Problem)
    return problem


@pytest.mark.parametrize("minutes", [1, 5, 10, 15, 30, 40, 45, 50, 60, 90, 120, 180, 240])
@pytest.mark.parametrize(
    ("start", "zone"),
    [
        (AUTUMN, PARIS),
        (SPRING, PARIS),
        ("2022-11-05T20:07", NEW_YORK),
        ("2023-03-11T21:00", NEW_YORK),
        ("2023-04-01T08:00", SYDNEY),
    ],
)
def test_a_clock_that_follows_its_zone_is_followed_across_its_changes(read_times, minutes, start, zone):
    utc = steps(start, minutes)
    logger = read_times(local_times(utc, zone), zone)
    np.testing.assert_array_equal(logger.air_temperature.time.values, utc)


@pytest.mark.parametrize("minutes", [5, 10, 15, 20])
def test_a_change_by_half_an_hour_is_followed_too(read_times, minutes):
    utc = steps("2023-04-01T08:00", minutes)
    np.testing.assert_array_equal(read_times(local_times(utc, LORD_HOWE), LORD_HOWE).air_temperature.time.values, utc)


@pytest.mark.parametrize("minutes", [10, 60])
def test_a_file_newest_first_is_followed_across_a_change(read_times, minutes):
    utc = steps(AUTUMN, minutes)[::-1]
    np.testing.assert_array_equal(read_times(local_times(utc, PARIS), PARIS).air_temperature.time.values, utc)


def test_two_downloads_one_after_the_other_each_have_their_repeat(read_times):
    utc = steps(AUTUMN, 15)
    logger = read_times(local_times(np.concatenate((utc, utc)), PARIS), PARIS, period=utc.size)
    np.testing.assert_array_equal(logger.air_temperature.time.values, utc)


def test_several_winters_are_followed(read_times):
    utc = np.arange("2019-09-01", "2023-09-01", 60, "datetime64[m]").astype("datetime64[ns]")
    logger = read_times(local_times(utc, PARIS), PARIS)
    np.testing.assert_array_equal(logger.air_temperature.time.values, utc)


@pytest.mark.parametrize("minutes", [5, 15, 30, 60, 120, 180])
@pytest.mark.parametrize("start", [AUTUMN, SPRING])
@pytest.mark.parametrize("offset", ["UTC+01:00", "UTC+02:00"])
def test_a_clock_kept_on_one_offset_is_refused_and_both_offsets_offered(read_times, minutes, start, offset):
    utc = steps(start, minutes, 24)
    times = local_times(utc, offset)
    problem = refusal(read_times, times, PARIS)
    assert "--timezone UTC+01:00" in str(problem.hint)
    assert "--timezone UTC+02:00" in str(problem.hint)
    assert problem.row is not None
    assert problem.column == "Time"
    np.testing.assert_array_equal(read_times(times, offset).air_temperature.time.values, utc)


def test_the_reading_inside_the_skipped_hour_is_named(read_times):
    problem = refusal(read_times, ["2023-03-26 01:45", "2023-03-26 02:15", "2023-03-26 03:15"], PARIS)
    assert problem.found == "1 reading inside the time that the zone's clocks skip in spring (2023-03-26 02:15)"
    assert problem.row == 3


def test_every_change_that_the_clock_missed_is_told(read_times):
    utc = np.arange("2021-09-01", "2023-05-01", 60, "datetime64[m]").astype("datetime64[ns]")
    with pytest.raises(InputError) as error:
        read_times(local_times(utc, "UTC+01:00"), PARIS)
    assert len(error.value.problems) == 4


def test_a_western_zone_offers_its_own_offsets(read_times):
    times = local_times(steps("2022-11-05T20:00", 15), "UTC-05:00")
    problem = refusal(read_times, times, NEW_YORK)
    assert "--timezone UTC-05:00" in str(problem.hint)
    assert "--timezone UTC-04:00" in str(problem.hint)


@pytest.mark.parametrize("offset", ["UTC+01:00", "UTC+02:00"])
def test_a_file_wholly_on_one_side_of_a_change_is_fine_whatever_its_clock(read_times, offset):
    for start in ("2022-12-01T00:00", "2022-07-01T00:00"):
        times = local_times(steps(start, 15), offset)
        assert read_times(times, PARIS).timezone == PARIS


def test_a_gap_over_the_whole_changed_hour_is_fine(read_times):
    utc = np.concatenate((steps("2022-10-29T18:00", 15, 5), steps("2022-10-30T04:00", 15, 5)))
    np.testing.assert_array_equal(read_times(local_times(utc, PARIS), PARIS).air_temperature.time.values, utc)


@pytest.mark.parametrize(
    ("first", "last"),
    [
        ("2022-10-29T22:00", "2022-10-30T00:45"),  # ends in the first pass
        ("2022-10-30T01:15", "2022-10-30T04:00"),  # begins in the second pass
    ],
)
def test_a_file_that_begins_or_ends_in_the_repeated_hour_has_one_pass(read_times, first, last):
    utc = np.arange(np.datetime64(first, "ns"), np.datetime64(last, "ns"), 15 * MINUTE)
    np.testing.assert_array_equal(read_times(local_times(utc, PARIS), PARIS).air_temperature.time.values, utc)


@pytest.mark.parametrize(
    ("lost_from", "lost_to"),
    [
        ("2022-10-30T00:20", "2022-10-30T03:00"),  # only the beginning of the first pass is left
        ("2022-10-29T22:00", "2022-10-30T01:20"),  # only the end of the second pass is left
        ("2022-10-30T00:20", "2022-10-30T01:00"),  # a gap before the turn, and the repeat still seen
    ],
)
def test_a_gap_beside_the_repeated_hour_leaves_the_pass_known(read_times, lost_from, lost_to):
    utc = steps(AUTUMN, 15)
    utc = utc[(utc < np.datetime64(lost_from)) | (utc >= np.datetime64(lost_to))]
    np.testing.assert_array_equal(read_times(local_times(utc, PARIS), PARIS).air_temperature.time.values, utc)


@pytest.mark.parametrize(
    "clocks",
    [
        ["02:15", "02:30"],  # nothing but the repeated hour
        ["00:00", "00:15", "00:30", "02:15", "02:30", "05:00"],  # gaps on both sides of it
        ["01:30", "01:45", "02:00", "02:45", "03:00", "03:15"],  # a gap inside it
    ],
)
def test_a_pass_that_cannot_be_known_is_asked_for(read_times, clocks):
    problem = refusal(read_times, [f"2022-10-30 {clock}" for clock in clocks], PARIS)
    assert "first or second pass unknown" in problem.found
    assert "--timezone UTC+01:00" in str(problem.hint)


def test_rows_shuffled_in_the_repeated_hour_are_refused(read_times):
    times = local_times(steps("2022-10-29T22:00", 15, 6), PARIS)
    order = [5, 3, 9, 0, 11, 1, 8, 2, 15, 4, 13, 6, 10, 7, 17, 12, 19, 14, 16, 18, 23, 20, 22, 21]
    with pytest.raises(InputError, match="--timezone UTC"):
        read_times([times[n] for n in order], PARIS)


def test_doubled_rows_in_the_repeated_hour_are_no_repeat(read_times):
    times = [time for time in local_times(steps(AUTUMN, 15), "UTC+01:00") for _ in range(2)]
    with pytest.raises(InputError, match="without a repeat"):
        read_times(times, PARIS)


@pytest.mark.parametrize(
    ("text", "hours"),
    [
        ("UTC", 0),
        ("gmt", 0),
        ("Z", 0),
        ("UTC-05:00", -5),
        ("UTC+1", 1),
        ("GMT+0530", 5.5),
        ("-03:30", -3.5),
        ("UTC−5", -5),
        (" UTC+14:00 ", 14),
    ],
)
def test_fixed_offsets_are_zones(text, hours):
    assert parse_zone(text).utcoffset(None) == timedelta(hours=hours)


@pytest.mark.parametrize("text", ["Europe/Paris", "europe/paris", "Etc/GMT+5", "UTC-05:00", "UTC"])
def test_a_zone_is_read_back_from_its_name(text):
    assert parse_zone(zone_name(parse_zone(text))) == parse_zone(text)


@pytest.mark.parametrize(
    ("text", "near"),
    [
        ("Lisbon", "'Europe/Lisbon'"),
        ("Europe/Lissabon", "'Europe/Lisbon'"),
        ("America/New York", "'America/New_York'"),
        ("new york", "'America/New_York'"),
    ],
)
def test_an_unknown_zone_is_refused_with_near_names(text, near):
    with pytest.raises(InputError) as error:
        parse_zone(text)
    assert near in str(error.value)


@pytest.mark.parametrize("text", ["", "UTC+15", "UTC+1:75", "CST6", "+", "../etc/passwd", "local"])
def test_what_is_no_zone_is_refused(text):
    with pytest.raises(InputError, match="accepted: a time zone such as"):
        parse_zone(text)


@pytest.mark.parametrize(
    ("text", "is_heading", "zones"),
    [
        ("Date Time, GMT-05:00", True, ["UTC-05:00"]),
        ("Date Time, GMT+01:00", True, ["UTC+01:00"]),
        ("Time (UTC+1)", True, ["UTC+01:00"]),
        ("Time (UTC)", True, ["UTC"]),
        ("Time (UTC−05:00)", True, ["UTC-05:00"]),
        ("Time (Europe/Paris)", True, ["Europe/Paris"]),
        ("Time EST", True, ["UTC-05:00"]),
        ("Date-Time", True, []),
        ("Time (h-5)", True, []),
        ("Time zone: -05:00", False, ["UTC-05:00"]),
        ("UTC offset;+5:30", False, ["UTC+05:30"]),
        ("Time zone,UTC", False, ["UTC"]),
        ("Zone 3, orchard -5 m", False, []),
        ("Temperature offset: +0.5", False, []),
        ("Offset: -1", False, []),
        ("Time offset: -1.5", False, []),
        ("Time zone: Etc/GMT+5", False, ["Etc/GMT+5"]),
        ("Exported at 10:00 UTC", False, []),
        ("Launched 2023-02-03 10:00:00 GMT-06:00", False, ["UTC-06:00"]),
    ],
)
def test_zones_are_found_in_headers_and_lines_above(text, is_heading, zones):
    assert zones_in(text, is_heading=is_heading) == zones


@pytest.mark.parametrize(
    ("dates", "order"),
    [
        (["01/02/2023", "13/02/2023"], "2023-02-01"),  # a number above 12
        (["01/02/2023", "02/13/2023"], "2023-01-02"),
        (["01/02/2023", "02/02/2023", "03/02/2023"], "2023-02-01"),  # days follow one another
        (["02/01/2023", "02/02/2023", "02/03/2023"], "2023-02-01"),
        (["03/02/2023", "02/02/2023", "01/02/2023"], "2023-02-03"),  # the same, newest first
        (["05/01/2023", "03/02/2023"], "2023-01-05"),  # times run one way
        (["01.02.23", "02.02.23"], "2023-02-01"),
        (["02/01/03", "02/02/03"], "2003-02-01"),
        (["03-02-01", "03-02-02"], "2003-02-01"),
        (["31-12-99", "01-01-00"], "1999-12-31"),
        (["05/05/2023"], "2023-05-05"),  # one day, whichever number comes first
    ],
)
def test_the_order_of_day_and_month_is_decided_from_the_whole_file(read_times, dates, order):
    logger = read_times([f"{date} {hour:02d}:00" for date in dates for hour in (6, 12)], "UTC")
    assert logger.air_temperature.time.values[0] == np.datetime64(f"{order}T06:00")


@pytest.mark.parametrize(
    "dates",
    [["03/02/2023"], ["01/02/2023", "01/04/2023"], ["01/02/2023", "05/06/2023", "03/04/2023"], ["01/02/03"]],
)
def test_an_order_that_the_file_leaves_open_is_asked_for(read_times, dates):
    problem = refusal(read_times, [f"{date} 06:00" for date in dates], "UTC")
    assert "--date-order DMY or --date-order MDY" in str(problem.hint)


def test_one_wrong_date_does_not_turn_the_order(read_times):
    with pytest.raises(InputError, match=r"row 3, column Time: found '13/14/2023 06:00', a day that does not exist"):
        read_times(["14/01/2023 06:00", "13/14/2023 06:00", "15/01/2023 06:00", "16/01/2023 06:00"], "UTC")
