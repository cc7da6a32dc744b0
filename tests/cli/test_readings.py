"""``hardiness add readings``: whose, in which zone and unit, from which columns; what overlaps and what contradicts."""

from datetime import datetime, timedelta

import pytest

from hardiness.trial import open_trial
from tests.cli.conftest import Line, as_csv, hardiness, program, readings, refused

NIGHT = readings({"2023-01-10": -7.0})
MORNING = datetime(2023, 1, 11, 9, 30)  # the freeze's end by the logger's clock


def ends(line: Line) -> list[str]:
    return [row["ends"] for row in line.csv("freezes")]


def values(line: Line, sensor: str = "L1") -> list[float]:
    with open_trial(line.folder) as trial:
        return trial.store.readings_of(sensor).to_numpy().tolist()


def test_an_unknown_sensor_becomes_a_logger_and_that_is_said(line: Line):
    ended = line.added("readings", as_csv(NIGHT), "l1.csv", "--sensor", "L1")
    assert "l1.csv (readings): 96 readings added." in ended.err
    assert "'L1' is new" in ended.err and "logger" in ended.err
    assert "shield" in ended.err
    assert line.held("sensors")[["sensor", "kind"]].to_numpy().tolist() == [["L1", "logger"]]
    known = line.added("readings", as_csv(readings({"2023-02-10": -7.0})), "more.csv", "--sensor", "L1")
    assert "new" not in known.err and "shield" not in known.err


def test_a_new_sensor_with_nearly_a_known_name_is_pointed_out(line: Line):
    line.added("readings", as_csv(NIGHT), "a.csv", "--sensor", "lower block")
    assert "Did you mean 'lower block'?" in line.added("readings", as_csv(NIGHT), "b.csv", "--sensor", "lowr block").err


@pytest.mark.parametrize("sensor", ["", "  ", "L1;L2", "L\n1", "L1\udcff"])
def test_a_name_that_is_none_of_a_sensor_is_refused(line: Line, sensor):
    ended = refused(line, "readings", as_csv(NIGHT), "l1.csv", "--sensor", sensor)
    assert "--sensor" in ended.err and "accepted" in ended.err


def test_a_sensor_must_be_named(line: Line):
    assert "--sensor" in refused(line, "readings", as_csv(NIGHT)).err


def test_spaces_around_a_sensor_name_make_no_other_sensor(line: Line):
    line.added("readings", as_csv(NIGHT), "a.csv", "--sensor", "L1", "--timezone", "UTC-05:00")
    line.added("readings", as_csv(readings({"2023-02-10": -7.0})), "b.csv", "--sensor", " L1 ")
    assert list(line.held("sensors")["sensor"]) == ["L1"]
    assert ends(line) == ["2023-01-11T15:30:00+01:00", "2023-02-11T15:30:00+01:00"]  # the zone chosen last, for both


def test_of_the_zones_the_files_own_offset_comes_first(line: Line):
    rows = [f"{time:%Y-%m-%dT%H:%M:%S}-03:00,{value:g}" for time, value in NIGHT]
    text = "\n".join(["time,Temp (C)", *rows])
    ended = line.added("readings", text, "l1.csv", "--sensor", "L1", "--timezone", "UTC-05:00")
    assert "UTC-03:00" in ended.err and "UTC-05:00" in ended.err and "not used" in ended.err
    assert ends(line) == ["2023-01-11T13:30:00+01:00"]


def test_an_offset_in_the_header_is_the_files_own(line: Line):
    ended = line.added("readings", as_csv(NIGHT, '"Date Time, GMT-03:00",Temp (C)'), "l1.csv", "--sensor", "L1")
    assert "UTC-03:00" in ended.err
    assert ends(line) == ["2023-01-11T13:30:00+01:00"]


@pytest.mark.parametrize(
    "zone, end", [("UTC-05:00", "15:30"), ("America/New_York", "15:30"), ("utc", "10:30"), ("Europe/Lisbon", "10:30")]
)
def test_then_the_option_a_zone_or_a_fixed_offset(line: Line, zone, end):
    ended = line.added("readings", as_csv(NIGHT), "l1.csv", "--sensor", "L1", "--timezone", zone)
    assert "names the zone" not in ended.err  # nothing was assumed
    assert ends(line) == [f"2023-01-11T{end}:00+01:00"]


def test_then_the_sensors_last_choice_and_that_is_said(line: Line):
    later = readings({"2023-02-10": -7.0})
    line.added("readings", as_csv(NIGHT), "a.csv", "--sensor", "L1", "--timezone", "UTC-05:00")
    ended = line.added("readings", as_csv(later), "b.csv", "--sensor", "L1")
    assert "UTC-05:00" in ended.err and "'L1'" in ended.err and "--timezone" in ended.err
    assert ends(line)[-1] == "2023-02-11T15:30:00+01:00"
    other = line.added("readings", as_csv(later), "c.csv", "--sensor", "L2")  # another sensor has made no choice
    assert "Europe/Madrid" in other.err


def test_then_the_trials_and_that_is_said(line: Line):
    ended = line.added("readings", as_csv(NIGHT), "a.csv", "--sensor", "L1")
    assert "Europe/Madrid" in ended.err and "trial's" in ended.err
    assert ends(line) == ["2023-01-11T09:30:00+01:00"]


def test_an_unknown_zone_is_refused_with_near_ones(line: Line):
    ended = refused(line, "readings", as_csv(NIGHT), "a.csv", "--sensor", "L1", "--timezone", "Europe/Lisboa")
    assert "'Europe/Lisboa'" in ended.err and "'Europe/Lisbon'" in ended.err and "UTC-05:00" in ended.err


def test_a_clock_that_skips_no_hour_is_refused_with_two_offsets(line: Line):
    night = [(datetime(2023, 3, 26) + timedelta(minutes=30 * step), 4.0) for step in range(48)]
    ended = refused(line, "readings", as_csv(night), "a.csv", "--sensor", "L1")
    assert "--timezone UTC+01:00" in ended.err and "--timezone UTC+02:00" in ended.err
    line.added("readings", as_csv(night), "a.csv", "--sensor", "L1", "--timezone", "UTC+01:00")


@pytest.mark.parametrize("unit, number, minimum", [("C", "-7", -7.0), ("F", "19.4", -7.0), ("K", "266.15", -7.0)])
def test_the_unit_is_the_options_where_the_file_names_none(line: Line, unit, number, minimum):
    shown = {"C": lambda c: c, "F": lambda c: c * 1.8 + 32, "K": lambda c: c + 273.15}[unit]
    rows = [(time, round(shown(value), 4)) for time, value in NIGHT]
    assert number in as_csv(rows, "Time,Temp")
    ended = line.added("readings", as_csv(rows, "Time,Temp"), "a.csv", "--sensor", "L1", "--unit", unit)
    assert "unit" not in ended.err
    assert [round(float(row["minimum_c"]), 6) for row in line.csv("freezes")] == [minimum]


def test_else_the_trials_unit_is_taken_and_that_is_said(line: Line):
    ended = line.added("readings", as_csv(NIGHT, "Time,Temp"), "a.csv", "--sensor", "L1")
    assert "unit of 'Temp'" in ended.err and "taken as C" in ended.err
    line.retoml('units = "C"', 'units = "F"')
    rows = [(time + timedelta(days=30), round(value * 1.8 + 32, 4)) for time, value in NIGHT]
    ended = line.added("readings", as_csv(rows, "Time,Temp"), "b.csv", "--sensor", "L1")
    assert "taken as F" in ended.err
    assert [round(float(row["minimum_c"]), 6) for row in line.csv("freezes")] == [-7.0, -7.0]


def test_a_unit_against_the_files_own_is_refused(line: Line):
    ended = refused(line, "readings", as_csv(NIGHT), "a.csv", "--sensor", "L1", "--unit", "F")
    assert "a.csv" in ended.err and "--unit" in ended.err
    assert "--unit" in refused(line, "readings", as_csv(NIGHT), "a.csv", "--sensor", "L1", "--unit", "R").err


def test_columns_can_be_named_or_numbered(line: Line):
    rows = [f"{time:%Y-%m-%d %H:%M},{time:%Y-%m-%d %H:%M},{value + 3:g},{value:g}" for time, value in NIGHT]
    text = "\n".join(["Logged,Sent,Soil (C),Air (C)", *rows])
    ended = refused(line, "readings", text, "a.csv", "--sensor", "L1")
    assert "--temperature-column" in ended.err or "--time-column" in ended.err
    words = ("--sensor", "L1", "--time-column", "Logged")
    ended = refused(line, "readings", text, "a.csv", *words, "--temperature-column", "Ari (C)")
    assert "'Ari (C)'" in ended.err and "Air (C)" in ended.err
    line.added("readings", text, "a.csv", *words, "--temperature-column", "Air (C)")
    assert min(values(line)) == -7.0
    line.added("readings", text, "a.csv", "--sensor", "L2", "--time-column", "2", "--temperature-column", "3")
    assert min(values(line, "L2")) == -4.0


def test_the_same_file_with_the_same_sensor_and_options_changes_nothing(line: Line):
    words = ("--sensor", "L1", "--timezone", "UTC")
    line.added("readings", as_csv(NIGHT), "a.csv", *words)
    before = line.state
    ended = line.added("readings", as_csv(NIGHT), "b.csv", *words)
    assert "same file" in ended.err and "nothing has changed" in ended.err and "'a.csv'" in ended.err
    assert line.state == before
    line.added("readings", as_csv(NIGHT), "a.csv", "--sensor", "L2", "--timezone", "UTC")  # another sensor's
    assert len(line.csv("freezes")) == 2


def test_the_same_file_in_another_zone_contradicts_itself(line: Line):
    line.added("readings", as_csv(NIGHT), "a.csv", "--sensor", "L1", "--timezone", "UTC")
    ended = refused(line, "readings", as_csv(NIGHT), "a.csv", "--sensor", "L1", "--timezone", "UTC+03:00")
    assert "--timezone" in ended.err


def test_dumps_that_overlap_keep_the_first_and_say_how_many(line: Line):
    line.added("readings", as_csv(NIGHT[:60]), "a.csv", "--sensor", "L1")
    nudged = [(time, round(value + 0.05, 2)) for time, value in NIGHT[40:]]
    ended = line.added("readings", as_csv(nudged), "b.csv", "--sensor", "L1")
    assert "b.csv (readings): 36 readings added." in ended.err
    assert "20 of 56 readings of b.csv" in ended.err and "the first ones stay" in ended.err
    held = values(line)
    assert len(held) == 96
    assert held[:60] == [value for _, value in NIGHT[:60]]
    assert held[60:] == [value for _, value in nudged[20:]]


@pytest.mark.parametrize(
    "step, digits, agrees",
    [(0.06, 2, True), (0.07, 2, False), (0.1, 1, True), (0.2, 1, False), (1, 0, True), (2, 0, False)],
)
def test_readings_agree_within_the_coarser_last_digit_and_at_least_6_hundredths(line: Line, step, digits, agrees):
    fine = [f"{time:%Y-%m-%d %H:%M},4.00" for time, _ in NIGHT[:20]]
    coarse = [f"{time:%Y-%m-%d %H:%M},{4 + step:.{digits}f}" for time, _ in NIGHT[:20]]
    line.added("readings", "\n".join(["Date Time,Temp (C)", *fine]), "a.csv", "--sensor", "L1")
    text = "\n".join(["Date Time,Temp (C)", *coarse])
    if agrees:
        assert "20 of 20 readings" in line.added("readings", text, "b.csv", "--sensor", "L1").err
    else:
        assert "rows 2-21" in refused(line, "readings", text, "b.csv", "--sensor", "L1").err


def test_contradictions_are_refused_with_their_rows(line: Line):
    line.added("readings", as_csv(NIGHT), "a.csv", "--sensor", "L1")
    wrong = list(NIGHT)
    for row in (10, 11, 12, 50):
        wrong[row] = (wrong[row][0], wrong[row][1] + 2)
    ended = refused(line, "readings", as_csv(wrong), "b.csv", "--sensor", "L1")
    assert "b.csv, rows 12-14: found " in ended.err and "b.csv, row 52: found " in ended.err
    assert "'a.csv'" in ended.err and "hardiness withdraw upload" in ended.err
    assert line.csv("uploads")[0]["upload"][:12] in ended.err


def test_every_bad_row_of_readings_is_listed_at_once(line: Line):
    rows = as_csv(NIGHT).splitlines()
    rows[5] = "2023-01-32 03:00,5"
    rows[9] = rows[9].split(",")[0] + ",warm"
    rows[20] = "yesterday,4.5"
    ended = refused(line, "readings", "\n".join(rows), "a.csv", "--sensor", "L1")
    for row, text in ((6, "2023-01-32"), (10, "warm"), (21, "yesterday")):
        assert any(f"row {row}" in line and text in line for line in ended.problems("a.csv")), ended.err


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"Date Time,Temp (C)\n",
        b"Date Time,Temp (C)\n\n\n",
        bytes(range(256)) * 100,
        b"PK\x03\x04" + b"\x00" * 400,
        b"a letter, with a comma.\nno reading in it, at all\n",
        b"Date Time,Temp (C)\n2023-01-10 00:00,\n",
    ],
)
def test_what_holds_no_readings_is_refused(line: Line, content):
    ended = refused(line, "readings", content, "a.csv", "--sensor", "L1")
    assert "a.csv" in ended.err and "accepted" in ended.err


@pytest.mark.parametrize("start", [b"", b"Date Time,Temp (C)\n2023-01-10 00:00,"])
def test_a_line_of_200_mb_is_no_reading(line: Line, tmp_path, start):
    path = tmp_path / "long.csv"
    with path.open("wb") as file:
        file.write(start)
        for _ in range(200):
            file.write(b"7" * 1_000_000)
    before = line.state
    ended = line("add", "readings", path, "--sensor", "L1")
    assert ended.code == 2
    assert "long.csv" in ended.err and len(ended.err) < 1000
    assert line.state == before


def test_numbers_that_no_air_has_ask_for_the_unit(line: Line):
    kelvin = [(time, round(value + 273.15, 2)) for time, value in NIGHT]
    ended = refused(line, "readings", as_csv(kelvin, "Time,Temp"), "a.csv", "--sensor", "L1")
    assert "--unit K" in ended.err


def test_a_number_that_means_no_reading_is_passed_over_and_remembered(line: Line):
    pulled = [(time, -127 if n == 7 else 327.67 if n == 9 else value) for n, (time, value) in enumerate(NIGHT)]
    text = as_csv(pulled, "Time,Temp (C)")
    hint = "If the number stands for no reading, say --missing '-127;327.67', or empty its cell."
    assert hint in refused(line, "readings", text, "a.csv", "--sensor", "L1").err
    ended = line.added("readings", text, "a.csv", "--sensor", "L1", "--missing", "-127", "--missing", "327.67")
    assert f"{len(NIGHT) - 2} readings added" in ended.err
    assert "327.67 stands for no reading in 1 row of 'Temp (C)'." in ended.err
    later = as_csv([(time.replace(year=2024), value) for time, value in pulled], "Time,Temp (C)")
    ended = line.added("readings", later, "b.csv", "--sensor", "L1")
    assert "-127 stands for no reading in 1 row of 'Temp (C)', as for the last file of L1." in ended.err
    assert hint in refused(line, "readings", later, "b.csv", "--sensor", "L2").err  # another sensor has made no choice


def test_what_a_mark_means_is_kept_for_the_sensors_next_file(line: Line):
    text = "Time,Temp (C)\n2023-01-14 06:05,-3.2\n2023-01-14 06:20,-2.1*\n2023-01-14 06:35,-2.2 E\n"
    assert (
        "--mark '*=reading' if numbers with it count" in refused(line, "readings", text, "a.csv", "--sensor", "L1").err
    )
    ended = line.added("readings", text, "a.csv", "--sensor", "L1", "--mark", "*=reading", "--mark", "E=none")
    assert "2 readings added" in ended.err
    ended = line.added("readings", text.replace("2023", "2024"), "b.csv", "--sensor", "L1")
    assert "'*' in 'Temp (C)' marks readings that count, in 1 row, as for the last file of L1." in ended.err
    assert "'E' in 'Temp (C)' means no reading, in 1 row, as for the last file of L1." in ended.err


def test_no_progress_bar_in_a_pipe_and_stdout_stays_empty(line: Line):
    ran = program("add", "readings", line.file(as_csv(NIGHT), "a.csv"), "--sensor", "L1", "--trial", line.folder)
    assert ran.returncode == 0
    assert ran.stdout == ""
    assert not set("\r\x1b\u2501\u2588") & set(ran.stderr)
    assert ran.stderr.startswith("a.csv (readings): 96 readings added.")


def test_help_names_every_option_of_readings():
    told = hardiness("add", "readings", "--help").out
    for option in ("--sensor", "--timezone", "--unit", "--time-column", "--temperature-column", "--date-order",
                   "--missing", "--mark"):  # fmt: skip
        assert option in told
