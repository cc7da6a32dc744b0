"""Pictures look as they did: the marks of each page against a small reference, spot by spot.

A page is drawn in grey without its text, at 240 dpi, reduced to 60, and cut into spots of 3 by 3 dots; where the mean
of a spot differs from the reference by more than 45 of 255 grey levels, a mark has moved, appeared or gone. Letters
stand a little differently in every version of matplotlib, and so do columns as wide as a text: between 3.9 and 3.11 no
spot differed by more than 34. Where text lies is checked apart, by ``tests/figures/pages.py``. ``python -m
tests.figures.test_reference`` draws the references anew after a change that was meant: look at them before they are
kept.
"""

import io
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from PIL import Image

from hardiness.figures.calibration import draw_calibration, prepare_calibration
from hardiness.figures.damage_map import draw_damage_map
from hardiness.figures.exposure_grade import draw_exposure_grade, prepare_exposure_grade
from hardiness.figures.freeze_course import draw_freeze_course, prepare_freeze_course
from hardiness.figures.pairs import draw_pairs, prepare_pairs
from hardiness.figures.quality_calendar import draw_quality_calendar, prepare_quality_calendar
from hardiness.figures.ranks import draw_ranks, prepare_ranks
from hardiness.figures.sheet import Sheet
from hardiness.figures.station_logger import draw_station_logger, prepare_station_logger
from hardiness.figures.style import PAPER, drawing, grade_ramp
from hardiness.figures.summary import draw_summary, prepare_summary
from hardiness.figures.survival import draw_survival, prepare_survival
from hardiness.figures.winters import draw_winters, prepare_winters
from tests.figures import test_calibration as calibrations
from tests.figures import test_quality_calendar as calendars
from tests.figures.conftest import make_trial
from tests.figures.pages import as_deuteranope, in_grey, texts_of
from tests.figures.small_trial import night_readings
from tests.figures.test_damage_map import block
from tests.figures.test_prepared import PAIRS, RANKS, SETTINGS, curve, damage, flow, rows_of_cell

FOLDER = Path(__file__).parent / "reference"
DPI, FINER, SPOT, TOLERANCE = 60, 4, 3, 45  # dots per inch, times, dots, grey levels
MOST_BYTES = 60_000


@cache
def summary(half_zones: bool):
    return prepare_summary(**make_trial(selections=10).tables(half_zones=half_zones))


def survival() -> object:
    rows = rows_of_cell(("a", -6.0, 0, 1), ("a", -9.0, 5, 5), ("b", -9.0, 4, 4), ("c", -9.0, 0, 3), ("c", -4.5, 0, 0))
    curves = {grade: curve(-4.0 - grade) for grade in range(1, 6)}
    return prepare_survival(curves, rows, selection="OL-07", rootstock="own", settings=SETTINGS)


def course() -> object:
    readings = {"L1": night_readings(0.0), "L2": night_readings(1.2), "S9": night_readings(0.6)}
    return prepare_freeze_course(readings, flow().freezes, event="2031-01-08", settings=SETTINGS)


def station() -> object:
    series = night_readings(0.6)
    return prepare_station_logger(series, night_readings(0.0), station_name="S9", logger_name="L1", settings=SETTINGS)


def calendar() -> object:
    """Flags of every verdict, a day with few readings, a gap, freezes measured and estimated."""
    flags = calendars.table(
        calendars.flag("L1", "2031-12-01", "2031-12-09", verdict="mask"),
        calendars.flag("L2", "2031-12-20T12", "2031-12-20T12"),
        calendars.flag("L2", "2032-01-08T18", "2032-01-12T18", verdict="keep"),
    )
    times = calendars.SEASONS["L1"]["time"].values
    kept = (times < np.datetime64("2032-01-10T10")) | (times >= np.datetime64("2032-01-25"))
    cold = pd.concat([
        calendars.freezes(("L1", "2031-12-02T00:00Z", "2031-12-06T00:00Z")),
        calendars.freezes(("L1", "2032-01-12T00:00Z", "2032-01-19T00:00Z"), source="estimated"),
    ])  # fmt: skip
    readings = {"L1": calendars.SEASONS["L1"][kept], "L2": calendars.SEASONS["L2"]}
    return prepare_quality_calendar(flags, readings, cold, calendars.HILL)


PICTURES = {
    "summary_A4": lambda: draw_summary(summary(False))[0],
    "summary_half_zones": lambda: draw_summary(summary(True), page="letter")[0],
    "summary_slide": lambda: draw_summary(summary(True), page="slide")[1],
    "survival": lambda: draw_survival(survival())[0],
    "damage_map": lambda: draw_damage_map(damage("2032-02-03"))[0],
    "damage_map_phone": lambda: draw_damage_map(block(3, 40), page="phone")[0],
    "quality_calendar": lambda: draw_quality_calendar(calendar())[0],
    "calibration": lambda: draw_calibration(prepare_calibration(calibrations.made(2), calibrations.GRADES))[0],
    "winters": lambda: draw_winters(prepare_winters(flow().freezes, flow().observations, settings=SETTINGS))[0],
    "freeze_course": lambda: draw_freeze_course(course())[0],
    "exposure_grade": lambda: draw_exposure_grade(prepare_exposure_grade(flow().observations, settings=SETTINGS))[0],
    "ranks": lambda: draw_ranks(prepare_ranks(RANKS, rootstock="all", settings=SETTINGS))[0],
    "pairs_phone": lambda: draw_pairs(
        prepare_pairs(PAIRS, selection="OL-01", rootstock="all", settings=SETTINGS), page="phone"
    )[0],
    "station_logger": lambda: draw_station_logger(station())[0],
}


def picture(sheet: Sheet) -> Image.Image:
    """The marks of a page, in grey."""
    buffer = io.BytesIO()
    for text in texts_of(sheet):
        text.set_visible(False)
    with drawing():
        sheet.savefig(buffer, format="png", dpi=FINER * DPI / sheet.zoom, facecolor=PAPER)
    return Image.open(buffer).convert("L").reduce(FINER)


def worst_spot(one: Image.Image, other: Image.Image) -> float:
    """Largest difference of the mean grey of a spot."""
    assert abs(one.width - other.width) <= 2 and abs(one.height - other.height) <= 2, (one.size, other.size)
    wide, high = (min(pair) // SPOT * SPOT for pair in zip(one.size, other.size, strict=True))
    spots = [
        np.asarray(each, dtype=float)[:high, :wide].reshape(high // SPOT, SPOT, wide // SPOT, SPOT).mean(axis=(1, 3))
        for each in (one, other)
    ]
    return float(np.abs(spots[0] - spots[1]).max())


@pytest.mark.parametrize("name", PICTURES)
def test_a_picture_looks_as_its_reference(name: str) -> None:
    path = FOLDER / f"{name}.png"
    assert path.stat().st_size < MOST_BYTES
    assert worst_spot(picture(PICTURES[name]()), Image.open(path).convert("L")) <= TOLERANCE


def test_a_moved_mark_is_noticed() -> None:
    prepared = prepare_ranks(RANKS, rootstock="all", settings=SETTINGS)
    first, *others = prepared.rows
    moved = replace(prepared, rows=(replace(first, middle=first.middle + 0.2), *others))
    assert worst_spot(picture(draw_ranks(prepared)[0]), picture(draw_ranks(moved)[0])) > TOLERANCE


def test_grades_of_a_map_can_be_told_apart_in_grey_and_without_green_cones() -> None:
    sheet = draw_damage_map(damage("2032-02-03"))[0]
    with drawing():
        buffer = io.BytesIO()
        sheet.savefig(buffer, format="png", dpi=DPI)
    seen = np.asarray(Image.open(buffer).convert("RGB"), dtype=float) / 255
    fills = np.array([[int(fill[i : i + 2], 16) / 255 for i in (1, 3, 5)] for fill in grade_ramp(6)])
    drawn = [fill for fill in fills if (np.abs(seen - fill).max(axis=-1) < 0.01).any()]
    assert len(drawn) == 6  # each grade of the key is on the page
    for view in (in_grey, as_deuteranope):
        lightness = in_grey(view(fills))[:, 0]
        assert (np.diff(lightness) < -0.05).all()


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for each, draw in PICTURES.items():
        picture(draw()).quantize(64).save(FOLDER / f"{each}.png", optimize=True)
