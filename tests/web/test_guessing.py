"""Whose readings a dropped file holds: guessed where the name or the columns say it, asked where they do not."""

import pytest

from hardiness.trial import open_trial
from hardiness.web.guessing import lasting, sensors_named
from tests.web.hill import readings_text, words_of
from tests.web.test_writing import LATER, drop, numbers


def guesses(browser, **files):
    drop(browser, **files)
    pages = {name: browser.page(f"/readings/files/{number}") for name, number in numbers(browser).items()}
    return {name: page.split('name="sensor" value="')[1].split('"')[0] for name, page in pages.items()}


@pytest.mark.parametrize(
    "text, sensors, found",
    [
        ("b_L2.csv", ["L1", "L2"], ["L2"]),
        ("b_L2.csv", ["L1"], []),
        ("L10_2031.csv", ["L1"], []),
        ("L1_2031.csv", ["L1", "L10"], ["L1"]),
        ("2031L1.csv", ["L1"], ["L1"]),
        ("l1.CSV", ["L1"], ["L1"]),
        ("hill2031.csv", ["hill", "hill top"], ["hill"]),
        ("Hill-Top 2031.csv", ["hill", "hill top"], ["hill top"]),
        ("downhill.csv", ["hill"], []),
        ("L1_L2.csv", ["L1", "L2"], ["L1", "L2"]),
        ("βορράς_2031.csv", ["Βορράς"], ["Βορράς"]),
        ("anything.csv", ["-", "?"], []),
    ],
)
def test_a_sensor_is_named_only_by_its_whole_name(text, sensors, found):
    assert sensors_named(text, sensors) == found


def test_what_lasts_of_a_name_keeps_numbers_that_are_no_dates():
    assert lasting("b_L1_2030.csv") == lasting("b L1 2031-02-03 (1).csv") != lasting("b_L2_2030.csv")
    assert lasting("probe 20551.csv") == "probe 20551 csv"


def test_a_file_of_another_logger_is_asked_about(browser):
    assert guesses(browser, L2_2033__csv=readings_text(LATER)) == {"L2_2033.csv": ""}  # only L1 is known
    assert "Whose readings? The file does not say." in words_of(browser.page("/readings/files"))


def test_a_sensor_named_above_the_column_is_seen(browser):
    text = readings_text(LATER).replace("Air C", "L1 air C")
    assert guesses(browser, export__csv=text) == {"export.csv": "L1"}


def test_a_file_called_like_earlier_ones_is_of_their_sensor_unless_they_are_of_several(browser, folder, tmp_path):
    with open_trial(folder) as trial:
        for name, sensor, night in (("gate 2033.csv", "G", "2033-01-05"), ("data 2033.csv", "G", "2034-01-05"),
                                    ("data 2034.csv", "H", "2034-01-05")):  # fmt: skip
            path = tmp_path / name
            path.write_text(readings_text(((night, -6.0),)), encoding="utf-8")
            trial.add_readings(path, sensor)
    text = readings_text((("2035-01-05", -6.0),))
    assert guesses(browser, gate_2035__csv=text, data_2035__csv=text + " ") == {"gate_2035.csv": "G",
                                                                               "data_2035.csv": ""}  # fmt: skip


def test_a_file_that_was_withdrawn_says_nothing_of_the_next(browser, folder, tmp_path):
    path = tmp_path / "gate 2033.csv"
    path.write_text(readings_text(LATER), encoding="utf-8")
    with open_trial(folder) as trial:
        trial.withdraw_upload(trial.add_readings(path, "L1").sha256)
    assert guesses(browser, gate_2034__csv=readings_text((("2034-01-05", -6.0),))) == {"gate_2034.csv": ""}
