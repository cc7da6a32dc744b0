"""``hardiness add readings FILE --preview``: how a file is read, what would come of it, what is wrong; no more."""

import pytest

from hardiness.trial import open_trial
from tests.cli.conftest import Line, as_csv, hardiness, program, readings

NIGHT = readings({"2023-01-10": -7.0})


def previewed(line: Line, content: str | bytes, *words: str, code: int = 0, name: str = "l1.csv"):
    """Preview a file and see that nothing was stored."""
    before = line.state
    ended = line("add", "readings", line.file(content, name), "--preview", *words)
    assert ended.code == code, ended.err
    assert line.state == before
    return ended


def facts(out: str) -> dict[str, str]:
    """The lines of two cells at the top."""
    told = [text.strip().split("  ", 1) for text in out.splitlines() if text.startswith("  ")]
    return {question: answer.strip() for question, answer in (pair for pair in told if len(pair) == 2)}


def test_what_was_recognised_stands_on_stdout(line: Line):
    text = as_csv(NIGHT, "Date Time,Temp (°C)").replace(",5\n", ",\n", 1)
    ended = previewed(line, text, "--sensor", "L1", "--timezone", "UTC-03:00")
    told = facts(ended.out)
    assert told["delimiter"] == "comma"
    assert told["encoding"] == "UTF-8"
    assert told["header"] == "row 1"
    assert told["times from"] == "Date Time"
    assert told["temperatures from"] == "Temp (°C)"
    assert told["unit"] == "C, as the file says"
    assert told["zone"] == "UTC-03:00, as the option says"
    assert told["clock"] == "24 h"
    assert told["usual interval"] == "60 min"
    assert told["first reading"] == "2023-01-09 05:00 UTC+01:00"  # 01:00 at UTC-03:00, by the trial's clock
    assert told["last reading"] == "2023-01-13 03:00 UTC+01:00"
    assert told["readings"] == "95"
    assert told["rows without a temperature"] == "1"
    assert "95 readings would be added." in ended.out
    assert ended.err == ""


def test_ten_rows_are_shown_with_a_true_minus_sign(line: Line):
    out = previewed(line, as_csv(NIGHT[50:]), "--sensor", "L1").out
    shown = out.split("The first readings:\n")[1].splitlines()[1:11]
    assert [row.split()[0] for row in shown] == [str(n) for n in range(2, 12)]
    assert shown[0].split()[1:] == ["2023-01-11", "02:00", "UTC+01:00", "2023-01-11", "01:00", "−7.00"]


def test_readings_that_agree_with_stored_ones_are_counted(line: Line):
    line.added("readings", as_csv(NIGHT[:60]), "a.csv", "--sensor", "L1")
    out = previewed(line, as_csv(NIGHT[40:]), "--sensor", "L1").out
    assert facts(out)["agree with stored ones"] == "20; the stored ones stay"
    assert "36 readings would be added." in out
    other = previewed(line, as_csv(NIGHT[40:]), "--sensor", "L2").out  # another sensor has none of them
    assert "56 readings would be added." in other


def test_the_same_file_is_told(line: Line):
    line.added("readings", as_csv(NIGHT), "a.csv", "--sensor", "L1")
    out = previewed(line, as_csv(NIGHT), "--sensor", "L1").out
    assert "nothing has changed" in out and "0 readings would be added" in out.replace("no readings", "0 readings")


def test_a_contradiction_is_a_problem_beside_what_was_recognised(line: Line):
    line.added("readings", as_csv(NIGHT), "a.csv", "--sensor", "L1")
    ended = previewed(line, as_csv([(time, value + 3) for time, value in NIGHT]), "--sensor", "L1", code=2)
    assert "l1.csv, rows 2-97" in ended.err and "hardiness withdraw upload" in ended.err
    assert facts(ended.out)["readings"] == "96"
    assert "would be added" not in ended.out


def test_a_bad_file_shows_what_it_can_lists_what_is_wrong_and_ends_2(line: Line):
    text = as_csv(NIGHT[:4]).replace(",5\n", ",warm\n", 1) + "yesterday,4\n2023-01-09 23:00,4\n"
    ended = previewed(line, text, "--sensor", "L1", code=2)
    assert [text.split(":")[0] for text in ended.problems("l1.csv")] == [
        "l1.csv, row 2, column Temp (C)",
        "l1.csv, row 6, column Date Time",
    ]
    assert facts(ended.out)["unit"] == "C, as the file says"
    assert "2023-01-09 01:00 UTC+01:00" in ended.out


def test_a_file_of_which_it_is_not_clear_which_column_is_which_shows_its_columns(line: Line):
    text = "Time;Air (C);Soil (C)\n2023-01-10 00:00;-1,5;2\n"
    ended = previewed(line, text, "--sensor", "L1", code=2)
    assert "--channel 'Air (C)=SENSOR-1' --channel 'Soil (C)=SENSOR-2'" in ended.err
    assert "2  Air (C)   not read  -1,5" in ended.out
    assert "  2023-01-10 00:00;-1,5;2" in ended.out


@pytest.mark.parametrize("content", [b"", b"\x89PNG\r\n\x1a\n" + b"\x00" * 50, b"no table at all\n"])
def test_what_is_no_file_of_readings_ends_2(line: Line, content):
    ended = previewed(line, content, "--sensor", "L1", code=2)
    assert "l1.csv" in ended.err and "accepted" in ended.err


def test_a_preview_needs_no_sensor(line: Line):
    out = previewed(line, as_csv(NIGHT)).out
    assert "sensor" not in facts(out)
    assert "96 readings would be added." in out


def test_what_is_remembered_for_the_sensor_is_used(line: Line):
    bare = "Time,Temp\n2023-01-1{} 00:00,23\n"
    line.added("readings", bare.format(0), "a.csv", "--sensor", "L1", "--unit", "F")
    out = previewed(line, bare.format(1), "--sensor", "L1").out
    assert facts(out)["unit"] == "F, as for the last file of this sensor"
    assert "taken as F, as for the last file of L1" in out


def test_every_channel_is_shown(line: Line):
    text = "Time,Air (C),Soil (C)\n2023-01-10 00:00,-1.5,2\n2023-01-10 01:00,-2,2.5\n"
    line.added("readings", as_csv([(NIGHT[0][0].replace(day=10, hour=0), -9.0)]), "a.csv", "--sensor", "L2")
    out = previewed(line, text, "--sensor", "L1", "--sensor", "L3").out
    assert out.count("looked at, nothing stored") == 2
    assert out.count("2 readings would be added.") == 2
    ended = previewed(line, text, "--channel", "Air (C)=L1", "--channel", "Soil (C)=L2", code=2)
    assert "sensor 'L2'" in ended.err
    assert "2 readings would be added." in ended.out  # of the channel that nothing stands against


def test_a_column_of_sensors_is_shown_sensor_by_sensor(line: Line):
    text = "Time,Probe,Temp (C)\n2023-01-10 00:00,A,-1.5\n2023-01-10 00:00,B,2\n"
    out = previewed(line, text, "--sensor-column", "Probe").out
    assert [text.split()[1] for text in out.splitlines() if text.startswith("  sensor ")] == ["A", "B"]


def test_an_unknown_zone_is_refused(line: Line):
    ended = previewed(line, as_csv(NIGHT), "--sensor", "L1", "--timezone", "Europe/Lisboa", code=2)
    assert "'Europe/Lisbon'" in ended.err


def test_a_preview_in_a_pipe_is_plain_text(line: Line):
    ran = program("add", "readings", line.file(as_csv(NIGHT), "a.csv"), "--preview", "--trial", line.folder)
    assert ran.returncode == 0
    assert ran.stdout.startswith("a.csv: looked at, nothing stored.")
    assert "\x1b" not in ran.stdout + ran.stderr


def test_python_previews_too(line: Line):
    path = line.file(as_csv(NIGHT), "l1.csv")
    with open_trial(line.folder) as trial:
        preview = trial.preview_readings(path, "L1")
        assert (preview.readings, preview.known, preview.problems) == (96, 0, [])
        assert trial.store.readings() == {}
        assert [each.sensor for each in trial.preview_channels(path, sensors=["L7"])] == ["L7"]


def test_help_names_the_options():
    told = hardiness("add", "readings", "--help").out
    for option in ("--preview", "--channel", "--sensor-column", "--sensor"):
        assert option in told
