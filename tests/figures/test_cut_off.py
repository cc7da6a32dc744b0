"""What a page has no room for is said on it, in words; and every label lies clear of what is drawn."""

import datetime as dt
from dataclasses import replace

import pandas as pd
import pytest

from hardiness.figures.formats import FORMATS, PAGES
from hardiness.figures.freeze_course import FreezeCourse, draw_freeze_course, prepare_freeze_course
from hardiness.figures.pairs import draw_pairs, prepare_pairs
from hardiness.figures.plate import Words, open_plate
from hardiness.figures.sheet import Sheet
from hardiness.figures.winters import Winters, draw_winters, prepare_winters
from tests.figures.pages import check_page, said, texts_of
from tests.figures.small_trial import night_readings
from tests.figures.test_prepared import PAIRS, SETTINGS, flow

MOST = {"A4": 8, "letter": 8, "slide": 4, "phone": 6}


def many_winters(number: int) -> Winters:
    """As many winters, the first of them the coldest."""
    prepared = prepare_winters(flow().freezes_that_count, flow().observations, settings=SETTINGS)
    coldest = max(prepared.seasons, key=lambda season: -season.freezes[0].minimum_c)
    others = [season for season in prepared.seasons if season is not coldest]
    chosen = [coldest, *(others[place % len(others)] for place in range(number - 1))]
    return replace(prepared, seasons=tuple(
        replace(season, name=f"{2020 + place}-{21 + place}") for place, season in enumerate(chosen)
    ))  # fmt: skip


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("number", [5, 12, 13])
def test_winters_go_on_over_pages_until_all_are_drawn(page: str, number: int) -> None:
    prepared = many_winters(number)
    sheets = draw_winters(prepared, page=page)
    for sheet in sheets:
        check_page(sheet)
    drawn = headings(sheets, {season.name for season in prepared.seasons})
    assert drawn == [season.name for season in prepared.seasons]
    assert len(sheets) == -(-number // MOST[page])
    if len(sheets) > 1:
        assert all(f"page {place} of {len(sheets)}" in said([sheet]) for place, sheet in enumerate(sheets, 1))
    scales = [{text.get_text() for text in texts_of(sheet) if text.get_text().startswith("−1")} for sheet in sheets]
    assert all(labels & {"−10"} for labels in scales)  # of the coldest winter, on every page


@pytest.mark.parametrize("page", PAGES)
def test_a_page_that_holds_all_winters_says_nothing_of_pages(page: str) -> None:
    assert "page 1" not in said(draw_winters(many_winters(MOST[page]), page=page))


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize(("beside", "around_c", "wanted"), [(1, -3.0, "−10.4, "), (4, -5.0, "−10.4")])
def test_the_coldest_freezes_are_labelled_beside_their_bars_however_many_there_are(
    page: str, beside: int, around_c: float, wanted: str
) -> None:
    """Freezes day after day, in narrow columns too: how cold it was is said of every winter."""
    prepared = many_winters(1)
    season, cold = prepared.seasons[0], prepared.seasons[0].freezes[0]
    around = tuple(
        replace(cold, event=str(day), minimum_c=around_c - 0.01 * day, hours=None,
                starts_on=cold.starts_on + dt.timedelta(days=day), ends_on=cold.starts_on + dt.timedelta(days=day + 1))
        for day in range(40, -41, -1) if day
    )  # fmt: skip
    crowded, middle = replace(season, freezes=(cold, *around)), (cold.starts_on - season.begins).days
    full = replace(prepared, seasons=(crowded,) * beside, first_day=middle - 45, last_day=middle + 45)
    sheets = draw_winters(full, page=page)
    for sheet in sheets:
        check_page(sheet)
    assert said(sheets).split("·", 1)[-1].count(wanted) >= beside


def many_sensors(number: int) -> FreezeCourse:
    readings = {"L1": night_readings(0.0), "L2": night_readings(1.2), "S9": night_readings(0.6)}
    prepared = prepare_freeze_course(readings, flow().freezes, event="2031-01-08", settings=SETTINGS)
    first = prepared.courses[0]
    return replace(prepared, courses=tuple(
        replace(first, sensor="记录仪" if place == 1 else f"L{place:02d}") for place in range(number)
    ))  # fmt: skip


def headings(sheets: list[Sheet], names: set[str]) -> list[str]:
    return [text.get_text() for sheet in sheets for text in texts_of(sheet) if text.get_text() in names]


@pytest.mark.parametrize("number", [6, 30, 90])
@pytest.mark.parametrize("page", PAGES)
def test_sensors_that_have_no_panel_are_counted(page: str, number: int) -> None:
    prepared = many_sensors(number)
    sheets = draw_freeze_course(prepared, page=page)
    for sheet in sheets:
        check_page(sheet)
    drawn = headings(sheets, {course.sensor for course in prepared.courses} | {"no. 2"})
    assert "by its number from the coldest on" in said(sheets)
    if len(drawn) == number:
        assert "drawn:" not in said(sheets)
    else:
        pale = ", the others as pale lines" if number <= 40 else ""
        assert f"drawn: the {len(drawn)} coldest of {number} sensors{pale}" in said(sheets).replace("  ", " ")
    assert len(drawn) == 4 if page == "slide" else len(drawn) >= 6


def test_four_sensors_on_a_slide_are_all_of_them() -> None:
    assert "drawn:" not in said(draw_freeze_course(many_sensors(4), page="slide"))


def long_rows(number: int) -> pd.DataFrame:
    names = [f"open pollinated seedling of the old tree by the east gate, row 11, place 4, no. {row}"
             for row in range(number)]  # fmt: skip
    table = pd.concat([PAIRS.iloc[:1]] * (number + 1), ignore_index=True)
    return table.assign(
        selection_a="OL-01", selection_b=[*names, "橄榄"], rootstock="all", difference_c=-0.4, low_c=-0.6
    )


@pytest.mark.parametrize("page", PAGES)
def test_long_names_leave_the_scale_its_room_and_are_told_apart(page: str) -> None:
    sheets = draw_pairs(prepare_pairs(long_rows(30), selection="OL-01", rootstock="all", settings=SETTINGS), page=page)
    for sheet in sheets:
        check_page(sheet)
    written = [text.get_text() for sheet in sheets for text in texts_of(sheet)]
    named = [text for text in written if "…" in text]
    assert len(named) == len(set(named)) == 30
    assert "no. 31" in written and "by its number from the top" in said(sheets)
    assert {"hardier", "more tender"} <= set(written)


def test_a_title_that_is_too_long_ends_in_an_ellipsis() -> None:
    words = Words("word " * 80, "Hill", "", "")
    lines = [text.get_text() for text in texts_of(open_plate(FORMATS["A4"], words).sheet)]
    assert lines[2].endswith("…") and len(lines) == 4
