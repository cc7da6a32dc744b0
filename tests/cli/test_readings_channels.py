"""``hardiness add readings`` with several sensors in one file, and what is remembered for the next file of each."""

import pytest

from hardiness.errors import InputError
from hardiness.trial import open_trial
from tests.cli.conftest import Line, as_csv, readings, refused

NIGHT = readings({"2023-01-10": -7.0})
LATER = readings({"2023-02-10": -7.0})


def two_columns(rows=NIGHT, header="Date Time,Air (C),Soil (C)") -> str:
    return "\n".join([header, *(f"{time:%Y-%m-%d %H:%M},{value:g},{value + 4:g}" for time, value in rows), ""])


def long_format(rows=NIGHT) -> str:
    lines = [
        f"{time:%Y-%m-%d %H:%M},{name},{value + add:g}" for time, value in rows for name, add in (("A", 0), ("B", 4))
    ]
    return "\n".join(["Date Time,Probe,Temp (C)", *lines, ""])


def values(line: Line, sensor: str) -> list[float]:
    with open_trial(line.folder) as trial:
        return trial.store.readings_of(sensor).to_numpy().tolist()


def options_of(line: Line) -> list[tuple[str, str]]:
    return [(row["sensor"], row["options"]) for row in line.csv("uploads") if row["table"] == "readings"]


def test_a_sensor_for_each_column_in_their_order(line: Line):
    ended = line.added("readings", two_columns(), "two.csv", "--sensor", "L1", "--sensor", "L2")
    assert "two.csv (readings of L1): 96 readings added." in ended.err
    assert "two.csv (readings of L2): 96 readings added." in ended.err
    assert (min(values(line, "L1")), min(values(line, "L2"))) == (-7.0, -3.0)
    assert list(line.held("sensors")["sensor"]) == ["L1", "L2"]


def test_columns_by_name_or_number_and_others_left_alone(line: Line):
    text = two_columns(header="Date Time,Air = near (C),Soil (C)")
    line.added("readings", text, "two.csv", "--channel", "3=L2")
    assert list(line.held("sensors")["sensor"]) == ["L2"]
    line.added("readings", text, "two.csv", "--channel", "Air = near (C)=L1", "--channel", "soil=L2")
    assert (min(values(line, "L1")), min(values(line, "L2"))) == (-7.0, -3.0)


def test_a_column_that_names_the_sensor_of_each_row(line: Line):
    ended = line.added("readings", long_format(), "long.csv", "--sensor-column", "probe")
    assert "long.csv (readings of A): 96 readings added." in ended.err
    assert (min(values(line, "A")), min(values(line, "B"))) == (-7.0, -3.0)


@pytest.mark.parametrize(
    ("text", "first", "again"),
    [
        (two_columns(), ("--sensor", "L1", "--sensor", "L2"), ("--channel", "2=L1", "--channel", "Soil=L2")),
        (two_columns(), ("--channel", "Air (C)=L1"), ("--sensor", "L1", "--temperature-column", "Air (C)")),
        (long_format(), ("--sensor-column", "Probe"), ("--sensor-column", "2")),
    ],
)
def test_the_same_file_again_changes_nothing_however_its_channels_are_named(line: Line, text, first, again):
    line.added("readings", text, "f.csv", *first)
    before = line.state
    ended = line.added("readings", text, "g.csv", *again)
    assert ended.err.count("nothing has changed") == len(line.held("sensors"))
    assert line.state == before


def test_of_a_channel_that_is_there_and_one_that_is_new_only_the_new_one_is_added(line: Line):
    line.added("readings", two_columns(), "two.csv", "--channel", "Air (C)=L1")
    ended = line.added("readings", two_columns(), "two.csv", "--channel", "Air (C)=L1", "--channel", "Soil (C)=L2")
    assert "two.csv (readings of L1): nothing added." in ended.err
    assert "two.csv (readings of L2): 96 readings added." in ended.err
    assert len(values(line, "L1")) == len(values(line, "L2")) == 96


def test_one_bad_channel_and_none_is_taken(line: Line):
    text = two_columns().replace(",-3\n", ",wet\n")
    ended = refused(line, "readings", text, "two.csv", "--sensor", "L1", "--sensor", "L2")
    assert "column Soil (C): found 'wet'" in ended.err


def test_one_contradiction_and_none_is_taken(line: Line):
    line.added("readings", as_csv([(time, value + 9) for time, value in NIGHT]), "old.csv", "--sensor", "L2")
    ended = refused(line, "readings", two_columns(), "two.csv", "--sensor", "L1", "--sensor", "L2")
    assert "two.csv, rows 2-97" in ended.err and "sensor 'L2'" in ended.err
    ended = refused(line, "readings", long_format(), "long.csv", "--sensor-column", "Probe", "--unit", "F")
    assert "more than one unit" in ended.err


def test_an_upload_is_withdrawn_with_all_its_channels(line: Line):
    line.added("readings", two_columns(), "two.csv", "--sensor", "L1", "--sensor", "L2")
    line.done("withdraw", "upload", line.csv("uploads")[0]["upload"][:12])
    with open_trial(line.folder) as trial:
        assert trial.store.readings() == {}
    assert line.done("doctor").code == 0


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "found no sensor; accepted: --sensor S, a --channel 'COLUMN=SENSOR' for each, or --sensor-column N"),
        (("--sensor", "L1"), "--channel 'Air (C)=SENSOR-1' --channel 'Soil (C)=SENSOR-2'"),
        (("--sensor", "L1", "--sensor", "L2", "--sensor", "L3"), "3 sensors for 2 columns of temperatures"),
        (("--sensor", "L1", "--sensor", "L1"), "'L1' twice"),
        (("--sensor", "L1", "--sensor", "L;2"), "--sensor: found"),
        (("--sensor", "L1", "--channel", "Soil (C)=L2"), "either --sensor or --channel"),
        (("--channel", "Soil (C)"), "no COLUMN=SENSOR"),
        (("--channel", "=L1"), "no COLUMN=SENSOR"),
        (("--channel", "Sol (C)=L1"), "Did you mean 'Soil (C)'?"),
        (("--channel", "Air (C)=L1", "--channel", "2=L2"), "column 'Air (C)' for two sensors"),
        (("--channel", "Air (C)=L1", "--temperature-column", "Soil (C)"), "--temperature-column"),
        (("--sensor", "L1", "--sensor-column", "Soil (C)"), "one of --sensor, --channel and --sensor-column"),
        (("--sensor-column", "Prob"), "no column 'Prob'"),
    ],
)
def test_what_cannot_be_told_is_refused_with_what_is_accepted(line: Line, words, told):
    assert told in refused(line, "readings", two_columns(), "two.csv", *words).err


def test_the_command_that_a_refusal_names_does_it(line: Line):
    ended = refused(line, "readings", two_columns(), "two.csv", "--sensor", "L1")
    assert "hardiness add readings two.csv --channel 'Air (C)=SENSOR-1' --channel 'Soil (C)=SENSOR-2'" in ended.err
    words = ("--channel", "Air (C)=SENSOR-1", "--channel", "Soil (C)=SENSOR-2")
    line.added("readings", two_columns(), "two.csv", *words)


def test_a_name_that_is_none_of_a_sensor_in_the_file_is_refused(line: Line):
    text = long_format().replace(",A,", ",A;1,")
    assert "A;1" in refused(line, "readings", text, "long.csv", "--sensor-column", "Probe").err


def test_what_an_option_said_is_used_for_the_sensors_next_file_and_said(line: Line):
    rows = [f"{time:%d/%m/%Y %H:%M},{value * 1.8 + 32:.2f},{value:g}" for time, value in NIGHT if time.day < 12]
    text = "\n".join(["Logged,Channel 1,Channel 2", *rows])
    words = ("--unit", "F", "--date-order", "dmy", "--temperature-column", "Channel 1", "--timezone", "UTC-05:00")
    line.added("readings", text, "a.csv", "--sensor", "L1", *words)
    later = text.replace("/01/2023", "/02/2023")
    ended = line.added("readings", later, "b.csv", "--sensor", "L1")
    assert "taken as F, as for the last file of L1" in ended.err
    assert "Temperatures are taken from 'Channel 1', as for the last file of L1" in ended.err
    assert "taken as UTC-05:00" in ended.err and "the last one chosen for sensor 'L1'" in ended.err
    assert round(min(values(line, "L1")), 6) == -7.0
    assert options_of(line)[1] == ("L1", "{}")  # what was remembered is no option of this file
    refused(line, "readings", later, "b.csv", "--sensor", "L2")  # another sensor has made no choice


def test_the_last_choice_counts_and_a_withdrawn_file_makes_none(line: Line):
    bare = "Time,Temp\n2023-01-10 00:00,{}\n"
    line.added("readings", bare.format(23), "a.csv", "--sensor", "L1", "--unit", "F")
    line.added("readings", bare.format(268).replace("-10", "-11"), "b.csv", "--sensor", "L1", "--unit", "K")
    ended = line.added("readings", bare.format(269).replace("-10", "-12"), "c.csv", "--sensor", "L1")
    assert "taken as K, as for the last file of L1" in ended.err
    (sha,) = [row["upload"] for row in line.csv("uploads") if row["file"] == "b.csv"]
    line.done("withdraw", "upload", sha)
    ended = line.added("readings", bare.format(24).replace("-10", "-13"), "d.csv", "--sensor", "L1")
    assert "taken as F, as for the last file of L1" in ended.err


def test_a_channel_chosen_for_a_sensor_is_its_channel_the_next_time(line: Line):
    line.added("readings", two_columns(), "a.csv", "--sensor", "L1", "--sensor", "L2")
    ended = line.added("readings", two_columns(LATER), "b.csv", "--sensor", "L2")
    assert "Temperatures are taken from 'Soil (C)', as for the last file of L2" in ended.err
    assert min(values(line, "L2")) == -3.0


def test_a_column_of_times_chosen_for_a_sensor_is_the_one_for_its_channels_too(line: Line):
    rows = [f"{time:%Y-%m-%d %H:%M},{time:%Y-%m-%d %H:%M},{value:g},{value + 4:g}" for time, value in NIGHT]
    text = "\n".join(["Sent,Logged,Air (C),Soil (C)", *rows])
    words = ("--sensor", "L1", "--sensor", "L2")
    assert "--time-column" in refused(line, "readings", text, "a.csv", *words).err
    line.added("readings", text, "a.csv", *words, "--time-column", "Logged")
    ended = line.added("readings", text.replace("2023-01", "2023-03"), "b.csv", *words)
    assert ended.err.count("Times are taken from 'Logged', as for the last file of") == 2


def test_channels_given_in_another_order_than_last_time_are_said(line: Line):
    line.added("readings", two_columns(), "a.csv", "--sensor", "L1", "--sensor", "L2")
    ended = line.added("readings", two_columns(LATER), "b.csv", "--sensor", "L2", "--sensor", "L1")
    assert "Sensor 'L2' is read from 'Air (C)'; for the last file of L2 it was 'Soil (C)'." in ended.err


def test_each_sensor_of_a_column_has_the_zone_chosen_for_it_before(line: Line):
    line.added("readings", as_csv(LATER), "a.csv", "--sensor", "A", "--timezone", "UTC-05:00")
    ended = line.added("readings", long_format(), "long.csv", "--sensor-column", "Probe")
    assert "the last one chosen for sensor 'A'" in ended.err
    starts = [row["starts"][:16] for row in line.csv("freezes") if row["sensor"] == "A"]
    assert starts[0] == "2023-01-11T04:30"


def test_python_takes_channels_too(line: Line):
    path = line.file(two_columns(), "two.csv")
    with open_trial(line.folder) as trial:
        intakes = trial.add_channels(path, channels=[("Soil (C)", "L2"), ("Air (C)", "L1")])
        assert [(intake.sensor, intake.added) for intake in intakes] == [("L2", 96), ("L1", 96)]
        with pytest.raises(InputError):
            trial.add_channels(path)
