"""Sentences of the command line on a page: they name the page's own fields, buttons and pages."""

from __future__ import annotations

import pytest

from hardiness.errors import Problem
from hardiness.web.wording import FIELDS, KEEP, for_page
from tests.web.hill import readings_text, words_of
from tests.web.test_writing import drop, numbers


@pytest.mark.parametrize(
    "said, told",
    [
        ("--time-column names another.", "the field 'Column of times' names another."),
        ("Name the air temperature, such as --temperature-column Low_C.",
         "Name the air temperature, such as Low_C in the field 'Column of temperatures'."),
        ("such as --temperature-column 'Low C', or take each as a sensor of its own, under names of your choice: "
         "hardiness add readings 'two files.csv' --channel 'Low C=SENSOR-1' --channel 'High C=SENSOR-2'",
         "such as 'Low C' in the field 'Column of temperatures', or take each as a sensor of its own: name one there "
         f"and its sensor, press '{KEEP}', then the next."),
        ("Is it the right sensor, and the right --timezone? If 'a.csv' is wrong, withdraw it: hardiness withdraw "
         "upload 0123456789ab.",
         "Is it the right sensor, and the right entry in the field 'Clock of the file'? If 'a.csv' is wrong, withdraw "
         "it in the register, under Files taken in."),
        ("Is the unit right? It is given with --unit C or F.",
         "Is the unit right? It is given with C or F in the field 'Unit'."),
        ("Say which it is: --date-order dmy or --date-order mdy.",
         "Say which it is: dmy in the field 'Order of the date' or mdy in the field 'Order of the date'."),
        ("Try --timezone UTC+01:00 (the zone's winter time).",
         "Try UTC+01:00 in the field 'Clock of the file' (the zone's winter time)."),
        ("(--sensor-column names the column that tells them apart)",
         "(the command line can part them by a column of names)"),
        ("If the number stands for no reading, say --missing -127, or empty its cell.",
         "If the number stands for no reading, say -127 in the field 'No reading', or empty its cell."),
        ("say --missing '-127;327.67', or empty its cell",
         "say '-127;327.67' in the field 'No reading', or empty its cell"),
        ("Say what '*' marks: --mark '*=reading' if numbers with it count as readings, --mark '*=none' if they do not.",
         "Say what '*' marks: '*=reading' in the field 'Marks' if numbers with it count as readings, '*=none' in the "
         "field 'Marks' if they do not."),
        ("found 'E' for --mark; accepted: a mark", "found 'E' for the field 'Marks'; accepted: a mark"),
        ("Say which: --timezone UTC-06:00 or --timezone America/Chicago.",
         "Say which: UTC-06:00 in the field 'Clock of the file' or America/Chicago in the field 'Clock of the file'."),
        ("the readings are in 'T_avg': --temperature-column T_avg.",
         "the readings are in 'T_avg': T_avg in the field 'Column of temperatures'."),
        ("Keep only the rows of one of them, or name each row's sensor: --sensor-column 'Type'.",
         "Keep only the rows of one of them, or have the command line part them by this column."),
        ("Name some with selections=[...], or yardsticks with against=[...].",
         "The page Compare takes those you choose."),
        ("To undo that: hardiness withdraw scores FILE --undo.", "To undo that in the register, each on its own page."),
        ("Plants and hardiness stay as they are.", "Plants and hardiness stay as they are."),
    ],
)  # fmt: skip
def test_options_and_verbs_become_fields_and_pages(said, told):
    assert for_page(said) == told
    problem = Problem("x", "y", file="a.csv", row=3, hint=said)
    assert for_page(problem) == f"a.csv, row 3: found x; accepted: y. {told}"


def test_the_fields_and_the_button_are_those_of_the_page(browser):
    text = "Time,Low C,High C\n2030-01-10 05:00,-5.00,-4.00\n2030-01-10 06:00,-5.00,-4.00\n"
    drop(browser, two__csv=text)
    (number,) = numbers(browser).values()
    page = browser.page(f"/readings/files/{number}")
    said = words_of(page)
    for name in (*FIELDS.values(), KEEP):
        assert f">{name}</" in page, name
    assert "--" not in said.split("The first lines as they stand")[0].split("What it leaves open")[0]
    assert "hardiness add" not in said and f"press '{KEEP}', then the next" in said


def test_a_refused_file_and_record_name_fields_too(browser):
    changed = readings_text().replace("2030-01-10 05:00,-5.00", "2030-01-10 05:00,-9.00")
    drop(browser, again__csv=changed)
    (number,) = numbers(browser).values()
    answer = browser.post(f"/readings/files/{number}", {"sensor": "L1"})
    assert answer.status_code == 422 and "--timezone" not in answer.text
    assert "Clock of the file" in answer.text and "under Files taken in" in answer.text
