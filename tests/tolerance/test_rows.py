"""What the model may be fitted to: every fault is named with what was found, where, and what is accepted."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from hardiness.errors import FitError
from hardiness.tolerance.rows import MOST_LISTED, check_observations


def rows(n=4, **columns):
    """Plants of one cell, each in a freeze of its own."""
    number = np.arange(n)
    table = pd.DataFrame({
        "plant": [f"p{i}" for i in number], "selection": "A", "rootstock": "own", "freeze": [f"f{i}" for i in number],
        "exposure_c": -6.0 - number, "exposure_sd_c": 0.5, "grade": number % 6,
    })  # fmt: skip
    return table.assign(**columns)


def told(table, grades=6, **options):
    with pytest.raises(FitError) as caught:
        check_observations(table, grades, **options)
    return [str(problem) for problem in caught.value.problems]


def in_one_freeze(**columns):
    """Two plants in the freeze f0 at -6 degC."""
    return rows(2, freeze="f0", exposure_c=-6.0).assign(**columns)


@pytest.mark.parametrize("given", [{"plant": ["p"]}, [], None, np.zeros((2, 7)), "rows.csv"])
def test_what_is_no_table_is_refused(given):
    kind = type(given).__name__
    said = f"observations: found a {kind}; accepted: a pandas DataFrame with plant, selection, rootstock"
    assert told(given)[0].startswith(said)


def test_a_column_that_stands_twice_is_refused():
    table = rows()
    twice = pd.concat([table, table[["grade"]]], axis=1)
    assert told(twice) == ["column 'grade': found it 2 times; accepted: once."]


def test_a_bad_grade_is_one_fault_and_not_one_of_a_column_that_is_not_there():
    assert told(rows(grade=[0, 7, 1, 2])) == ["row 1, column grade: found 7; accepted: a whole grade 0-5."]
    partly = rows(grade=[0, 7, 1, 2], grade_low=[0, np.nan, 1, np.nan])
    assert told(partly) == ["row 1, column grade: found 7; accepted: a whole grade 0-5."]
    low = rows(grade_low=[0, -1, 0, 0])
    assert told(low) == ["row 1, column grade_low: found -1; accepted: a whole grade from 0 to the row's grade."]


@pytest.mark.parametrize(
    "grades, found",
    [
        ([True, False, True, True], "True"),
        ([1, True, 0, 2], "True"),
        ([1, np.True_, 0, 2], "True"),
        (pd.array([True, None, False, True], dtype="boolean"), "True"),
        ([1, "three", 0, 2], "three"),
        ([1, None, 0, 2], "nothing"),
        ([1, [2], 0, 2], r"[2]"),
        ([1, 2 + 0j, 0, 2], "(2+0j)"),
        ([1, dt.date(2031, 1, 2), 0, 2], "2031-01-02"),
    ],
)
def test_a_grade_that_is_no_number_is_refused(grades, found):
    said = told(rows(grade=pd.Series(grades, dtype=None if hasattr(grades, "dtype") else object)))
    assert any(f"column grade: found {found}; accepted: a whole grade 0-5." in line for line in said)
    assert all("grade_low" not in line for line in said)


def test_grades_as_text_or_with_a_gap_in_grade_low_are_read():
    table = check_observations(rows(grade=["0", "1", "2", "3"], grade_low=[None, 0, None, 3], near=["", 2, "", 1]), 6)
    assert table["grade"].tolist() == [0, 1, 2, 3]
    assert table["grade_low"].tolist() == [0, 0, 2, 3] and table["near"].tolist() == [1, 2, 1, 1]


def test_dates_are_no_temperatures():
    said = told(rows(exposure_sd_c=pd.Timestamp("2031-01-02")))
    assert said[0] == "row 0, column exposure_sd_c: found 2031-01-02 00:00:00; accepted: a number, 0 or more."


def test_a_sensors_standard_deviation_is_a_number():
    said = told(rows(sensor="L1", event="e", sensor_sd_c=["x", 0.3, 0.3, -0.3]))
    assert said == [f"row {row}, column sensor_sd_c: found {found}; accepted: a number, 0 or more."
                    for row, found in ((0, "x"), (3, "-0.3"))]  # fmt: skip
    assert check_observations(rows(sensor_sd_c=["", None, 0.3, 0.3]), 6)["sensor_sd_c"].isna().sum() == 2


@pytest.mark.parametrize("sensor", [None, ["", "", ""], ["", None, np.nan], ["", "", "L1"], ["L1", "L1", ""]])
def test_a_freeze_with_two_exposures_at_one_sensor_is_refused_also_where_sensors_are_not_named(sensor):
    table = rows(3, freeze=["f0", "f0", "f1"])
    table = table if sensor is None else table.assign(sensor=sensor)
    hint = " Rows without a sensor count as one sensor."
    assert told(table) == [f"freeze f0 has two exposures at one sensor (-6 and -7); accepted: one.{hint}"]


def test_two_sensors_may_tell_of_one_freeze():
    assert len(check_observations(rows(2, freeze="f0", sensor=["L1", "L2"]), 6)) == 2
    named = told(rows(3, freeze="f0", sensor=["L1", "L2", "L2"]))
    assert named == ["freeze f0 has two exposures at one sensor (-7 and -8); accepted: one."]


def test_a_freeze_says_one_thing_of_itself():
    said = told(in_one_freeze(exposure_sd_c=[0.5, 0.7], sensor="L1"))
    assert said == ["freeze f0 has two values of exposure_sd_c at one sensor (0.5 and 0.7); accepted: one."]
    said = told(in_one_freeze(event=["2031-12-14", "2031-12-20"], sensor="L1"))
    assert said == ["freeze f0 lies in two events (2031-12-14 and 2031-12-20); accepted: one."]
    assert len(check_observations(in_one_freeze(event=["2031-12-14", ""]), 6)) == 2


def test_a_rootstock_is_not_called_as_the_mean_over_all_of_them():
    assert told(rows(rootstock=["own", "all", "own", "own"]).assign(plant=["p0", "p1", "p2", "p3"])) == [
        "row 1, column rootstock: found 'all'; accepted: another name, since comparisons and ranks call the mean over "
        "all rootstocks so."
    ]


def test_rows_of_a_repeated_index_are_told_by_their_place():
    table = rows(grade=[0, 7, 1, 8]).set_index(pd.Index([5, 5, 5, 6]))
    assert told(table) == [f"row {place} (index {label}), column grade: found {grade}; accepted: a whole grade 0-5."
                           for place, label, grade in ((1, 5, 7), (3, 6, 8))]  # fmt: skip
    sound = rows().set_index(pd.Index([5, 5, 5, 6]))
    pd.testing.assert_frame_equal(check_observations(sound, 6), check_observations(rows(), 6))


def test_rows_left_out_do_not_change_how_others_are_called():
    table = rows(protected=["cover", "", "", ""], grade=[0, 1, 9, 2]).set_index(pd.Index(["a", "b", "c", "d"]))
    assert told(table) == ["row c, column grade: found 9; accepted: a whole grade 0-5."]


@pytest.mark.parametrize("protected", [True, False])
def test_an_unknown_kind_of_protection_is_refused(protected):
    table = rows(protected=["tent", "", "no", "covr"])
    first, second = told(table, protected=protected)
    assert first.startswith("row 0, column protected: found 'tent'; accepted: nothing, or one of no, cover, bank")
    assert second.endswith("Did you mean 'cover'?")


@pytest.mark.parametrize(
    "column, value, said",
    [("grade", 9, "column grade"), ("plant", "", "column plant"), ("exposure_c", np.inf, "column exposure_c")],
)
def test_long_lists_stop_and_say_how_many_more_there_are(column, value, said):
    found = told(rows(45).assign(**{column: value}))
    assert len(found) == MOST_LISTED + 1 and all(said in line for line in found[:-1])
    assert found[-1] == "... and 25 more like the last one."


def test_long_lists_of_contradictions_stop_too():
    table = rows(60)
    found = told(pd.concat([table, table], ignore_index=True))
    assert found[-1] == "... and 40 more like the last one." and len(found) == MOST_LISTED + 1
    assert found[0] == "plant p0, freeze f0: two rows; accepted: one row for a plant and freeze."


@pytest.mark.parametrize("value", [None, np.nan, pd.NA, "", "x", True, np.inf, -1, [1], {"a": 1}, 1 + 2j, pd.NaT, b"x"])
@pytest.mark.parametrize(
    "column", ["plant", "freeze", "exposure_sd_c", "grade", "near", "event", "sensor", "protected"]
)
def test_whatever_stands_in_a_cell_is_read_or_refused(column, value):
    """Nothing ends in another error, and no warning is given (they are errors here)."""
    table = rows(event="e", sensor="L1", sensor_sd_c=0.1, near=1, protected="").astype({column: object})
    for where in ([0], [0, 1, 2, 3]):
        cells = [value if row in where else cell for row, cell in enumerate(table[column])]
        odd = table.assign(**{column: pd.Series(cells, dtype=object)})
        try:
            assert len(check_observations(odd, 6)) == 4
        except FitError as error:
            assert "accepted: " in str(error) or "nothing to fit" in str(error)
