"""``hardiness quality``, ``mask``, ``accept`` and ``calibrate``: what is odd, what is decided, and what comes of it."""

import datetime as dt
import re

import numpy as np
import openpyxl
import pandas as pd
import pytest

from hardiness import schema
from hardiness.trial import open_trial
from tests.cli.conftest import as_csv, readings

SPIKED = "2023-01-20 15:00"  # local time of the false reading; 14:00 UTC


def wiggled(rows):
    """Mild air that moves a little: nothing that is flat for days is sound."""
    return [
        (time, value + 0.1 * ((7 * time.day + 3 * time.hour) % 5 - 2) if value > 4 else value) for time, value in rows
    ]


def spiky(minimum=-20.0):
    """A freeze on the night of 14 January, and one false reading six days later."""
    rows = wiggled(readings({"2023-01-14": -6.0}, days=8))
    return as_csv([(time, minimum if f"{time:%Y-%m-%d %H:%M}" == SPIKED else value) for time, value in rows])


@pytest.fixture
def spiked(planted):
    planted.added("readings", spiky(), "l1.csv", "--sensor", "L1")
    return planted


def only_spike(line):
    (flag,) = [row for row in line.csv("quality") if row["flag"] == "spike"]
    return flag


def minima(line):
    return [float(row["minimum_c"]) for row in line.csv("freezes")]


def test_a_flag_has_its_code_its_sentence_and_the_freeze_it_touches(spiked):
    rows = spiked.done("quality", "--csv", "-")
    assert rows.header == schema.column_names(schema.FLAGS)
    flag = only_spike(spiked)
    assert flag["sensor"] == "L1" and flag["from"] == flag["to"] == "2023-01-20T15:00:00+01:00"
    assert flag["freezes"] == "2023-01-20 L1" and flag["verdict"] == "" and flag["worst_c"] == "-20.0"
    assert flag["sentence"] == "A single reading up to 25.1 °C below those before and after (−20.0 °C, 5.0 °C)."
    printed = spiked.done("quality")
    assert flag["code"] in printed.out
    assert printed.err == "L1: 432 readings; flags: spike 1; 1 to decide on.\n"


def test_a_flag_removes_nothing_and_freezes_say_that_one_is_in_doubt(spiked):
    assert minima(spiked) == [-6.0, -20.0]
    said = spiked.done("freezes", "--csv", "-").err
    assert said == (
        "1 of 2 freezes holds flagged readings that are neither masked nor accepted yet (2023-01-20 L1): hardiness "
        "quality says why, hardiness mask and hardiness accept decide.\n"
    )


def test_a_network_has_the_same_flags_and_freezes_point_to_them(spiked, monkeypatch):
    in_memory, freezes = spiked.done("quality", "--csv", "-"), spiked.done("freezes", "--csv", "-").out
    monkeypatch.setattr("hardiness.trial.MOST_IN_MEMORY", 0)
    assert spiked.done("quality", "--csv", "-") == in_memory
    told = spiked.done("freezes", "--csv", "-")
    assert told.out == freezes
    assert told.err == "Flags were not looked for: that takes minutes here. hardiness quality looks for them.\n"


def test_a_mask_takes_the_readings_out_keeps_them_stored_and_is_undone(spiked):
    with open_trial(spiked.folder) as trial:
        stored = trial.store.readings()["L1"].size
    done = spiked.done("mask", "L1", "--from", SPIKED, "--to", SPIKED, "--why", "door of the box stood open")
    assert done.err.startswith(
        "1 reading of L1 from 2023-01-20 15:00 to 2023-01-20 15:00 is masked: it counts nowhere, and nothing is "
        "deleted.\n"
    )
    assert minima(spiked) == [-6.0]
    assert spiked.done("freezes", "--csv", "-").err == ""
    assert only_spike(spiked)["verdict"] == "mask"
    (row,) = spiked.held("masks").to_dict("records")
    assert row == {"sensor": "L1", "from": "2023-01-20T14:00:00Z", "to": "2023-01-20T14:00:00Z", "verdict": "mask",
                   "reason": "door of the box stood open", "notes": ""}  # fmt: skip
    with open_trial(spiked.folder) as trial:
        assert trial.store.readings()["L1"].size == stored
        history = trial.store.history()
    assert (history["table"] == "masks").any() and (history["who"] != "").all()
    undone = spiked.done("mask", "L1", "--from", SPIKED, "--to", SPIKED, "--undo")
    assert undone.err == "1 row of masks stopped counting.\n"
    assert minima(spiked) == [-6.0, -20.0]


def test_a_mask_in_the_hour_that_comes_twice_names_its_offsets(line):
    rows = [f"2031-10-26T{hour:02d}:{minute:02d}+00:00,{-3.0 - hour}" for hour in range(4) for minute in (0, 30)]
    line.added("readings", "\n".join(["Date Time,Temp (C)", *rows, ""]), "l1.csv", "--sensor", "L1")
    zone = line.folder / "trial.toml"
    zone.write_text(re.sub(r'timezone = "[^"]*"', 'timezone = "Europe/Lisbon"', zone.read_text()))
    ends = ("--from", "2031-10-26T01:30+01:00", "--to", "2031-10-26T01:30+00:00")
    said = line.done("mask", "L1", *ends, "--why", "held in the hand").err
    assert said.startswith("3 readings of L1 from 2031-10-26 01:30+01:00 to 2031-10-26 01:30+00:00 are masked")


def test_a_mask_can_be_set_again_after_it_was_taken_back(spiked):
    words = ("mask", "L1", "--from", SPIKED, "--to", SPIKED)
    for _ in range(2):
        spiked.done(*words, "--why", "spider")
        assert minima(spiked) == [-6.0]
        spiked.done(*words, "--undo")
        assert minima(spiked) == [-6.0, -20.0]


def test_times_with_an_offset_are_those_instants(spiked):
    spiked.done("mask", "L1", "--from", "2023-01-20T14:00Z", "--to", "2023-01-20T09:00-05:00", "--why", "spider")
    assert minima(spiked) == [-6.0]


def test_a_flag_is_masked_or_accepted_by_its_code_and_one_verdict_follows_another(spiked):
    code = only_spike(spiked)["code"]
    said = spiked.done("accept", "--flag", code, "--why", "ice was put on it").err
    assert said.startswith("1 reading of L1 from 2023-01-20 15:00 to 2023-01-20 15:00 accepted as sound.")
    assert only_spike(spiked)["verdict"] == "keep"
    assert minima(spiked) == [-6.0, -20.0]
    assert spiked.done("freezes", "--csv", "-").err == ""  # decided: no more in doubt
    changed = spiked.done("mask", "--flag", code, "--why", "it was no frost").err
    assert "  verdict: keep -> mask\n  reason: ice was put on it -> it was no frost\n" in changed
    assert minima(spiked) == [-6.0]
    wrong = spiked("accept", "--flag", code, "--undo")
    assert wrong.code == 2 and "on which the other verdict stands; accepted: hardiness mask ... --undo" in wrong.err
    spiked.done("mask", "--flag", code, "--undo")
    assert minima(spiked) == [-6.0, -20.0]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("mask",), ["--why: found no reason", "SENSOR: found no sensor"]),
        (("mask", "L1", "--why", "x"), ["--from: found nothing", "--to: found nothing"]),
        (
            ("mask", "L1", "--from", "20 January", "--to", "2023-02-30 01:00"),
            [
                "--why: found no reason",
                "--from: found '20 January'",
                "--to: found '2023-02-30 01:00', a time that does not",
            ],
        ),
        (
            ("mask", "L1", "--from", "2023-01-20 15:00", "--to", "2023-01-20 14:00", "--why", "x"),
            ["--to: found '2023-01-20 14:00', before --from; accepted: a time from '2023-01-20 15:00' on."],
        ),
        (
            ("mask", "L1", "--from", "2023-03-26 02:30", "--to", "2023-03-27 02:30", "--why", "x"),
            ["--from: found '2023-03-26 02:30', an hour that is skipped when the clocks of Europe/Madrid change"],
        ),
        (
            ("mask", "L1", "--from", "2024-01-20 15:00", "--to", "2024-01-20 16:00", "--why", "x"),
            ["found no reading of L1 from 2024-01-20 15:00 to 2024-01-20 16:00; accepted: a stretch with readings."],
        ),
        (
            ("mask", "L11", "--from", SPIKED, "--to", SPIKED, "--why", "x"),
            ["sensor: found sensor 'L11'; accepted: a sensor of the trial (L1). Did you mean 'L1'?"],
        ),
        (("mask", "--flag", "00000", "--why", "x"), ["--flag: found '00000', which no flag is called"]),
        (("mask", "L1", "--flag", "00000", "--why", "x"), ["found a flag beside a sensor or times"]),
        (("mask", "L1", "--from", SPIKED, "--to", SPIKED, "--undo"), ["never added; accepted: rows of masks."]),
        (("quality", "--sensor", "L9"), ["sensor: found sensor 'L9'; accepted: a sensor of the trial (L1)."]),
        (("calibrate", "L1", "--from", "1 Nov", "--offset", "1"), ["--from: found '1 Nov'; accepted: a date such as"]),
        (("calibrate", "L1", "--from", "2023-01-01"), ["--offset: found nothing; accepted: a number such as -0.3"]),
        (
            ("calibrate", "L1", "--from", "2023-01-01", "--offset", "warm"),
            ["--offset: found 'warm'; accepted: a number"],
        ),
        (
            ("calibrate", "L1", "--from", "2023-01-01", "--offset", "25"),
            ["found '25'; accepted: a number in °C from -20 to 20"],
        ),
    ],
)
def test_wrong_use_says_what_is_accepted_and_stores_nothing(spiked, words, said):
    before = spiked.state
    ended = spiked(*words)
    assert ended.code == 2 and ended.out == ""
    for sentence in said:
        assert sentence in ended.err
    assert spiked.state == before


def test_a_gap_has_no_readings_to_mask_and_may_be_accepted(planted):
    rows = wiggled(readings({"2023-01-14": -6.0}, days=3))
    planted.added("readings", as_csv(rows[:40] + rows[52:]), "l1.csv", "--sensor", "L1")
    (gap,) = planted.csv("quality")
    assert gap["flag"] == "gap"
    refused = planted("mask", "--flag", gap["code"], "--why", "x")
    assert refused.code == 2 and "A gap holds no readings." in refused.err
    planted.done("accept", "--flag", gap["code"], "--why", "read out in the field")
    (gap,) = planted.csv("quality")
    assert gap["verdict"] == "keep"


def test_gaps_over_summer_are_one_quiet_line_and_no_flag(planted):
    for year in (2022, 2023):
        rows = wiggled(readings({f"{year}-11-20": -6.0, f"{year + 1}-03-14": -6.0}, days=3))
        planted.added("readings", as_csv(rows), f"l1-{year}.csv", "--sensor", "L1")
    assert [row["from"][:7] for row in planted.csv("quality")] == ["2022-11", "2023-11"]  # inside each winter
    said = planted.done("quality").err.splitlines()
    assert said[0].endswith("flags: gap 2.")
    assert said[1:] == [
        "Not listed: 1 gap over summer at 1 sensor, of up to 243 days; no sensor read −2.0 °C or lower in it."
    ]
    planted.added("readings", as_csv(readings({"2023-04-20": -3.0})), "l2.csv", "--sensor", "L2")
    assert len(planted.csv("quality", "--sensor", "L1")) == 3  # a freeze fell meanwhile at another sensor
    assert "Not listed" not in planted.done("quality").err


def test_a_dated_offset_counts_from_its_date_and_the_next_one_takes_its_place(planted):
    planted.added("sensors", "sensor,offset_c\nL1,0.2\n")
    rows = readings({"2023-01-14": -6.0, "2023-02-14": -6.0, "2023-03-14": -6.0}, days=2)
    planted.added("readings", as_csv(rows), "l1.csv", "--sensor", "L1")
    assert minima(planted) == pytest.approx([-5.8] * 3)
    said = planted.done("calibrate", "L1", "--from", "2023-02-01", "--offset", "-0.3", "--why", "ice point").err
    assert said == (
        "−0.3 °C is added to the readings of L1 from 2023-02-01 on, in place of its own +0.2 °C, until its next "
        "calibration.\n"
    )
    assert minima(planted) == pytest.approx([-5.8, -6.3, -6.3])
    planted.done("calibrate", "L1", "--from", "2023-03-01", "--offset", "0.9 F")
    assert minima(planted) == pytest.approx([-5.8, -6.3, -5.5])
    changed = planted.done("calibrate", "L1", "--from", "2023-03-01", "--offset", "+0.4").err
    assert "  offset_c: 0.5 -> 0.4\n" in changed
    planted.done("calibrate", "L1", "--from", "2023-03-01", "--undo")
    assert minima(planted) == pytest.approx([-5.8, -6.3, -6.3])
    assert planted.held("calibrations")["notes"].tolist() == ["ice point"]


def test_in_a_trial_in_fahrenheit_a_bare_offset_is_in_fahrenheit(planted):
    planted.retoml('units = "C"', 'units = "F"')
    planted.added("readings", as_csv(readings({"2023-01-14": -6.0})), "l1.csv", "--sensor", "L1", "--unit", "C")
    said = planted.done("calibrate", "L1", "--from", "2023-01-01", "--offset", "-0.9").err
    assert said.startswith("−0.9 °F is added")
    assert planted.held("calibrations")["offset_c"].tolist() == pytest.approx([-0.5])


def test_the_help_says_how_an_ice_point_check_is_done(planted):
    told = " ".join(planted.done("calibrate", "--help").out.split())
    assert "crushed ice" in told and "--offset -0.3" in told
    assert "Keep mains electricity away from water" in told and "waterproof" in told


def test_masks_and_calibrations_come_from_files_too(spiked):
    spiked.added(
        "masks", f"sensor,from,to,verdict,reason\nL1,{SPIKED},2023-01-20T16:00+01:00,mask,spider\n", "masks.csv"
    )
    spiked.added("calibrations", "sensor,from,offset_c\nL1,2023-01-01,-0.5\n", "calibrations.csv")
    assert minima(spiked) == pytest.approx([-6.5])
    ended = spiked.done("withdraw", "masks", spiked.file(f"sensor,from,to\nL1,{SPIKED},2023-01-20 16:00\n"))
    assert ended.err == "1 row of masks stopped counting.\n"
    assert minima(spiked) == pytest.approx([-6.5, -20.5])


def test_times_of_a_workbook_are_taken_midnight_too(spiked, tmp_path):
    book = openpyxl.Workbook()
    book.active.append(["sensor", "from", "to", "verdict", "reason"])
    book.active.append(["L1", dt.datetime(2023, 1, 20), dt.datetime(2023, 1, 20, 15, 0), "mask", "spider"])
    book.save(tmp_path / "masks.xlsx")
    spiked.done("add", "masks", tmp_path / "masks.xlsx")
    assert spiked.held("masks")[["from", "to"]].values.tolist() == [["2023-01-19T23:00:00Z", "2023-01-20T14:00:00Z"]]
    assert minima(spiked) == [-6.0]


def test_a_flag_tells_the_temperature_that_the_freeze_has(spiked):
    spiked.added("sensors", "sensor,offset_c\nL1,0.2\n")
    assert float(only_spike(spiked)["worst_c"]) == pytest.approx(-19.8)
    spiked.done("calibrate", "L1", "--from", "2023-01-01", "--offset", "-0.5")
    assert float(only_spike(spiked)["worst_c"]) == pytest.approx(-20.5)
    assert minima(spiked) == pytest.approx([-6.5, -20.5])


def test_a_file_of_masks_is_refused_whole_with_every_bad_row(spiked):
    before = spiked.state
    table = (
        "sensor,from,to,verdict,reason\n"
        "L1,2023-01-20 15:00,2023-01-20 14:00,mask,spider\n"
        "L7,2023-01-20 15:00,2023-01-20 16:00,keep,looked\n"
    )
    ended = spiked.add("masks", table, "masks.csv")
    assert ended.code == 2
    assert ended.problems("masks.csv") == [
        "masks.csv, row 2, column to: found 2023-01-20T13:00:00Z, before 2023-01-20T14:00:00Z; accepted: a time from "
        "2023-01-20T14:00:00Z on.",
        "masks.csv, row 3, column sensor: found sensor 'L7', not in sensors; accepted: a sensor of the trial.",
    ]
    cells = "sensor,from,to,verdict,reason\nL1,2023-01-20,2023-01-20 16:00,drop,\n"
    ended = spiked.add("masks", cells, "cells.csv")
    assert [text.split(";")[0] for text in ended.problems("cells.csv")] == [
        "cells.csv, row 2, column from: found '2023-01-20'",
        "cells.csv, row 2, column verdict: found 'drop'",
        "cells.csv, row 2, column reason: found an empty cell",
    ]
    assert spiked.state == before


def test_a_trial_without_readings_has_no_flags_and_says_what_to_do(line):
    ended = line.done("quality", "--csv", "-")
    assert ended.rows == [] and ended.header == schema.column_names(schema.FLAGS)
    assert ended.err == "There are no readings yet: hardiness add readings FILE --sensor S adds a logger's.\n"


def test_the_calendar_is_drawn_where_it_is_asked_for(spiked, tmp_path):
    file = tmp_path / "calendar.svg"
    ended = spiked.done("quality", "--figure", file)
    text = file.read_text(encoding="utf-8")
    assert "1 flag undecided: 1 freeze in doubt" in text and "L1, spike, 2023-01-20 15:00" in text
    assert f"The calendar is {file}." in ended.err
    refused = spiked("quality", "--figure", tmp_path / "calendar.txt")
    assert refused.code == 2 and "accepted: one of .png, .svg, .pdf" in refused.err


def test_a_freeze_that_a_note_sets_aside_is_not_called_doubtful(spiked):
    spiked.added("freeze_notes", "from,to,set_aside\n2023-01-20,2023-01-20,yes\n")
    assert spiked.done("freezes", "--csv", "-").err == ""
    assert only_spike(spiked)["freezes"] == "2023-01-20 L1"


def test_flags_keep_their_codes_when_more_readings_come(spiked):
    code = only_spike(spiked)["code"]
    later = as_csv(readings({"2023-03-14": -4.0}, days=3))
    spiked.added("readings", later, "l1-march.csv", "--sensor", "L1")
    assert only_spike(spiked)["code"] == code


def test_from_python_the_flow_gives_the_same_flags(spiked):
    with open_trial(spiked.folder) as trial:
        flags = trial.flow().flags
    assert list(flags.columns) == schema.column_names(schema.FLAGS)
    assert flags["from"].dtype == pd.DatetimeTZDtype("ns", "UTC")
    assert np.isclose(flags.loc[flags["flag"] == "spike", "worst_c"], -20).all()
