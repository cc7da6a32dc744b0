"""The title says what the trial found, and no more."""

import math
from dataclasses import dataclass

import pytest

from hardiness.figures.finding import finding


@dataclass
class Row:
    name: str
    claimable_c: float
    check: bool = False
    stock: str = "stock P"
    scores: int = 4


def test_a_better_candidate_is_set_against_the_best_check() -> None:
    rows = [Row("OL-07", -9.43), Row("OL-01", -8.3, check=True), Row("OL-02", -7.0, check=True), Row("OL-05", -9.0)]
    assert finding(rows) == "OL-07 on stock P can be claimed hardy to −9.4 °C; the best check to −8.3 °C"


def test_a_check_that_stays_ahead_is_named_first() -> None:
    rows = [Row("OL-07", -8.6), Row("OL-01", -9.0, check=True, stock="own")]
    assert finding(rows) == (
        "No candidate can be claimed hardier than the check OL-01 on its own roots (−9.0 °C); "
        "next comes OL-07 on stock P, −8.6 °C"
    )


def test_equal_figures_are_said_to_be_equal() -> None:
    rows = [Row("OL-07", -8.64), Row("OL-09", -8.61), Row("OL-01", -8.66, check=True)]
    assert finding(rows) == "OL-07 on stock P and 1 other can be claimed hardy to −8.6 °C, the same as the best check"


def test_without_checks_the_figure_stands_among_the_others() -> None:
    rows = [Row("OL-07", -8.6), Row("OL-08", -7.0), Row("OL-09", math.nan)]
    assert finding(rows) == "OL-07 on stock P can be claimed hardy to −8.6 °C, the coldest figure of 2"
    assert finding(rows[:1]) == "OL-07 on stock P can be claimed hardy to −8.6 °C"


def test_figures_are_in_the_unit_shown() -> None:
    rows = [Row("OL-07", -10.0), Row("OL-01", -8.0, check=True)]
    assert "hardy to 14.0 °F; the best check to 17.6 °F" in finding(rows, units="F")


@pytest.mark.parametrize(
    ("rows", "options", "said"),
    [
        ([], {}, "No plant has a score that counts yet; no freeze measured"),
        ([Row("OL-07", math.nan, scores=0)], {"freezes": 1, "coldest_c": -6.1},
         "No plant has a score that counts yet; 1 freeze measured, the coldest −6.1 °C"),
        ([Row("OL-07", math.nan)], {"freezes": 2, "coldest_c": -6.1},
         "No selection can be claimed hardy yet: none came through; 2 freezes measured, the coldest −6.1 °C"),
        ([Row("OL-01", -7.0, check=True)], {},
         "Only checks carry a figure so far; the coldest is OL-01 on stock P, −7.0 °C"),
    ],
)  # fmt: skip
def test_where_nothing_can_be_claimed_the_title_says_what_is_missing(
    rows: list[Row], options: dict[str, float], said: str
) -> None:
    assert finding(rows, **options) == said  # type: ignore[arg-type]


def test_a_long_name_is_cut_in_the_middle() -> None:
    said = finding([Row("open pollinated seedling by the east gate, row 11, place 4", -8.6)])
    assert said.startswith("open pollinated…") and "place 4 on stock P" in said and len(said) < 90
