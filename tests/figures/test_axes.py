"""What runs up and across is named on the page, and figures in a picture have air around them."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.colors import to_hex
from matplotlib.text import Text

from hardiness.figures.calibration import draw_calibration, prepare_calibration
from hardiness.figures.damage_map import draw_damage_map
from hardiness.figures.exposure_grade import Count, draw_exposure_grade, prepare_exposure_grade
from hardiness.figures.formats import PAGES
from hardiness.figures.freeze_course import draw_freeze_course, prepare_freeze_course
from hardiness.figures.quality_calendar import draw_quality_calendar, prepare_quality_calendar
from hardiness.figures.ranks import draw_ranks, prepare_ranks
from hardiness.figures.sheet import Sheet
from hardiness.figures.station_logger import draw_station_logger, prepare_station_logger
from hardiness.figures.style import grade_ramp
from hardiness.figures.survival import draw_survival, prepare_survival
from hardiness.tolerance.calibration import calibration_table
from hardiness.tolerance.prediction import predict_rows
from tests.figures.pages import said, texts_of
from tests.figures.small_trial import night_readings
from tests.figures.test_prepared import RANKS, SETTINGS, curve, damage, flow, rows_of_cell
from tests.figures.test_quality_calendar import HILL, air, freezes, table


@pytest.mark.parametrize("page", PAGES)
def test_shares_have_their_axes_named_above_the_first_panel(page: str) -> None:
    rows = rows_of_cell(("a", -6.0, 0, 1), ("b", -9.0, 5, 5))
    curves = {grade: curve(-4.0 - grade) for grade in range(1, 6)}
    survival = prepare_survival(curves, rows, selection="OL-01", rootstock="own", settings=SETTINGS)
    calibration = prepare_calibration(calibration_table(predict_rows(flow().fit.posterior)), SETTINGS.grades, "Terrace")
    for sheets in (draw_survival(survival, page=page), draw_calibration(calibration, page=page)):
        named = [text for text in texts_of(sheets[0]) if text.get_gid() == "text-axes"]
        assert " ".join(text.get_text() for text in named).startswith("Up: share of ")
        assert "Across: " in said(sheets)
        assert set(SETTINGS.grades[1].split()) <= set(said(sheets).split())  # a heading loses no word to its room
        first = [text for text in texts_of(sheets[0]) if text.get_text().startswith("1 or worse:")]
        assert len(first) == 1 and max(text.get_position()[1] for text in named) < first[0].get_position()[1]


def _places(sheet: Sheet, *starts: str) -> np.ndarray:
    """Centres of the texts whose column begins so, as shares of the page from its lower left corner; dims (text, 2)."""
    renderer = sheet.canvas.get_renderer()  # type: ignore[attr-defined]
    ids = tuple(f"text-{start}" for start in starts)
    boxes = [text.get_window_extent(renderer) for text in texts_of(sheet) if (text.get_gid() or "").startswith(ids)]
    return np.array([((box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2) for box in boxes]) / sheet.bbox.size


def test_a_slide_is_filled_by_its_picture_and_elsewhere_it_is_square() -> None:
    calibration = prepare_calibration(calibration_table(predict_rows(flow().fit.posterior)), SETTINGS.grades, "Terrace")
    station = night_readings(0.0)
    pair = prepare_station_logger(station, station - 1.0, station_name="S9", logger_name="L1", settings=SETTINGS)
    panels, square = draw_calibration(calibration, page="slide")[0], draw_station_logger(pair, page="slide")[0]
    assert _places(panels, "foot")[:, 1].min() - _places(panels, "method")[:, 1].max() < 0.12
    assert _places(square, "across")[:, 0].max() > 0.8
    for sheet in (draw_calibration(calibration)[0], draw_station_logger(pair)[0]):
        grid = [line.get_extents() for art in sheet.findobj(LineCollection) for line in art.get_paths()]
        (up, across) = (max(getattr(line, side) for line in grid) for side in ("height", "width"))
        assert up == pytest.approx(across, rel=1e-6)


def test_the_first_rank_is_labelled_whatever_the_step() -> None:
    prepared = replace(prepare_ranks(RANKS, rootstock="all", settings=SETTINGS), ranked=120)
    labels = [
        text.get_text() for text in texts_of(draw_ranks(prepared)[0]) if (text.get_gid() or "")[:9] == "text-axis"
    ]
    assert labels.count("1") == 2 and "20" in labels  # above the rows and below them


def test_no_line_of_the_scale_runs_through_a_name_that_stands_above_its_interval() -> None:
    names = [f"{name}, an open pollinated seedling from beside the gate, row 7" for name in RANKS["selection"]]
    (sheet,) = draw_ranks(
        prepare_ranks(RANKS.assign(selection=names), rootstock="all", settings=SETTINGS), page="phone"
    )
    here = sheet.paper.transData.inverted()
    boxes = [text.get_window_extent(sheet.canvas.get_renderer()).transformed(here) for text in texts_of(sheet)
             if text.get_gid() == "text-name"]  # fmt: skip
    lines = [path.get_extents() for art in sheet.findobj(LineCollection) for path in art.get_paths()]
    upright = [line for line in lines if line.width < 1e-9 < line.height]
    inside = [line for line in upright for box in boxes if box.x0 < line.x0 < box.x1]
    assert len(boxes) >= len(names) and inside
    for box in boxes:
        middle = (box.y0 + box.y1) / 2
        assert not any(box.x0 < line.x0 < box.x1 and line.y0 < middle < line.y1 for line in upright)


def test_a_map_names_its_rows_and_places_and_the_clock_its_first_day() -> None:
    assert "row / place" in said(draw_damage_map(damage("2032-02-03")))
    readings = {"L1": night_readings(0.0)}
    course = prepare_freeze_course(readings, flow().freezes, event="2031-01-08", settings=SETTINGS)
    assert course.begins is not None and course.begins.hour != 0
    for page in PAGES:
        assert f"{course.begins.day} Jan" in said(draw_freeze_course(course, page=page))


@pytest.mark.parametrize("page", PAGES)
def test_a_count_stands_in_its_square_with_air_around_it_or_below_it(page: str) -> None:
    prepared = prepare_exposure_grade(flow().observations, settings=SETTINGS)
    shares = np.linspace(0.02, 1.0, 12)
    counts = tuple(
        Count(-12.0 + number, 2, 10 + number + 1000 * (number % 2), float(share)) for number, share in enumerate(shares)
    )
    sheet = draw_exposure_grade(replace(prepared, counts=counts, bin_c=1.0), page=page)[0]
    fill = grade_ramp(6)[2].lower()
    squares = [path.get_extents() for art in sheet.findobj(PolyCollection) if to_hex(art.get_facecolor()[0]) == fill
               for path in art.get_paths()]  # fmt: skip
    assert len(squares) == len(counts)
    numbers = {str(count.rows) for count in counts}
    texts = [text for text in texts_of(sheet) if text.get_text() in numbers and text.get_ha() == "center"
             and text.get_gid() == "text"]  # fmt: skip
    assert len(texts) == len(counts)
    inside = 0
    for text in texts:
        box = text.get_window_extent(sheet.canvas.get_renderer()).transformed(sheet.paper.transData.inverted())
        own = min(squares, key=lambda square: abs((square.x0 + square.x1) / 2 - text.get_position()[0]))
        if text.get_position()[1] < own.y1:
            inside += 1
            assert own.x0 + 0.25 < box.x0 and box.x1 < own.x1 - 0.25
        else:
            assert text.get_position()[1] > own.y1
    assert 0 < inside < len(counts)


@pytest.mark.parametrize("page", PAGES)
def test_a_winter_of_a_few_sensors_is_not_torn_apart(page: str) -> None:
    seasons = {f"L{number}": air("2030-11-01", "2034-02-28T23", step_h=6) for number in range(4)}
    sheets = draw_quality_calendar(prepare_quality_calendar(table(), seasons, freezes(), HILL), page=page)
    for sheet in sheets:
        lanes = [text.get_text() for text in sheet.findobj(Text) if text.get_text() in seasons]
        assert len(lanes) % 4 == 0 and lanes
