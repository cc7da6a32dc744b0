"""The marks mean what the key says: where they stand, which way they point, and what is left out."""

import dataclasses
import math

import numpy as np
import pytest
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.colors import to_hex
from matplotlib.text import Text

from hardiness.figures.formats import FORMATS
from hardiness.figures.scale import Scale
from hardiness.figures.sheet import Sheet
from hardiness.figures.style import ACCENT, BAND, HATCH, INK, PAPER_SIZES, QUIET, drawing, grade_ramp
from hardiness.figures.summary_cells import Cell
from hardiness.figures.summary_data import Summary, prepare_summary
from hardiness.figures.summary_floors import draw_floor, draw_untested
from hardiness.figures.summary_grades import Square
from hardiness.figures.summary_paper import paper_sheets
from hardiness.figures.summary_squares import draw_square

SCALE = Scale(-14.0, -2.0, 20.0, 80.0)  # 5 mm to a degree
BRACKETED = Cell(
    number=1, selection="OL-07", rootstock="stock P", name="OL-07", stock="stock P", check=False, plants=4, scores=9,
    killed=1, floor_c=-9.0, low_c=-10.0, high_c=-8.0, q25_c=-9.4, q75_c=-8.6, tested_to_c=-9.5, claimable_c=-7.5,
    warmest_fatal_c=-9.5, evidence="bracketed", open_end="none", rests_on="cell", provisional=False, claim_c=-12.0,
    claim_holds=0.4, squares=(),
)  # fmt: skip


def drawn(cell: Cell) -> Sheet:
    with drawing():
        sheet = Sheet(100.0, 10.0, dpi=100.0, heading="", description="")
        draw_untested(sheet, cell, SCALE, 3.0, 7.0)
        draw_floor(sheet, cell, SCALE, 3.0, 7.0)
        sheet.finish()
    return sheet


def strokes(sheet: Sheet, colour: str, *, alpha: float = 1.0) -> list[np.ndarray]:
    return [
        np.asarray(segment)
        for lines in sheet.findobj(LineCollection)
        if to_hex(lines.get_colors()[0]).upper() == colour and (lines.get_alpha() == alpha)
        for segment in lines.get_segments()
    ]


def shapes(sheet: Sheet, *, fill: str | None = None, edge: str | None = None) -> list[np.ndarray]:
    found = []
    for polygons in sheet.findobj(PolyCollection):
        faces, edges = polygons.get_facecolors(), polygons.get_edgecolors()
        filled = len(faces) > 0 and faces[0][3] > 0
        if fill is not None and not (filled and to_hex(faces[0]).upper() == fill):
            continue
        if edge is not None and not (len(edges) and to_hex(edges[0]).upper() == edge and not filled):
            continue
        found += [path.vertices for path in polygons.get_paths()]
    return found


def test_the_median_is_a_dot_on_a_thick_line_on_a_thin_line() -> None:
    sheet = drawn(BRACKETED)
    (dot,) = shapes(sheet, fill=INK)
    assert np.mean([dot[:, 0].min(), dot[:, 0].max()]) == pytest.approx(SCALE.x(-9.0))
    across = sorted((line[0][0], line[1][0]) for line in strokes(sheet, INK) if line[0][1] == line[1][1])
    assert np.array(across) == pytest.approx(np.array([[40.0, 50.0], [43.0, 47.0]]))


def test_the_flag_stands_at_the_claimable_floor_and_points_to_the_warm_side() -> None:
    (pennant,) = shapes(drawn(BRACKETED), fill=ACCENT)
    assert pennant[:, 0].min() == pytest.approx(SCALE.x(-7.5))
    assert pennant[:, 0].max() > SCALE.x(-7.5) + 1.0


def test_the_tick_and_the_edge_of_the_hatch_stand_at_tested_to() -> None:
    sheet = drawn(BRACKETED)
    upright = [line for line in strokes(sheet, INK) if line[0][0] == line[1][0]]
    assert [line[0][0] for line in upright] == pytest.approx([SCALE.x(-9.5)])
    hatched = np.concatenate(strokes(sheet, HATCH))
    assert hatched[:, 0].min() == pytest.approx(SCALE.left, abs=0.01)
    assert hatched[:, 0].max() == pytest.approx(SCALE.x(-9.5), abs=0.01)
    assert hatched[:, 1].min() >= 3.0 - 1e-9 and hatched[:, 1].max() <= 7.0 + 1e-9


def test_hearsay_is_a_hollow_ring() -> None:
    (ring,) = shapes(drawn(BRACKETED), edge=QUIET)
    assert np.mean([ring[:, 0].min(), ring[:, 0].max()]) == pytest.approx(SCALE.x(-12.0))
    assert not shapes(drawn(dataclasses.replace(BRACKETED, claim_c=math.nan)), edge=QUIET)


def test_where_all_survived_no_cold_end_and_no_median_are_drawn() -> None:
    sheet = drawn(dataclasses.replace(
        BRACKETED, evidence="all survived", open_end="cold", floor_c=-11.5, low_c=-13.5, high_c=-8.5, q25_c=-12.0,
        q75_c=-9.0, claimable_c=-8.4, claim_c=math.nan,
    ))  # fmt: skip
    assert not shapes(sheet, fill=INK)
    assert min(line[:, 0].min() for line in strokes(sheet, INK)) == pytest.approx(SCALE.x(-9.5))
    dashes = [line for alpha in (0.9, 0.65, 0.42, 0.22) for line in strokes(sheet, INK, alpha=alpha)]
    assert len(dashes) == 4 and max(line[:, 0].max() for line in dashes) < SCALE.x(-9.5)


def test_where_all_survived_and_the_whole_interval_lies_beyond_the_test_nothing_but_the_fade_is_left() -> None:
    sheet = drawn(dataclasses.replace(
        BRACKETED, evidence="all survived", open_end="cold", floor_c=-12.5, low_c=-13.5, high_c=-11.0, q25_c=-13.0,
        q75_c=-12.0, claimable_c=-9.5,
    ))  # fmt: skip
    assert all(line[0][0] == line[1][0] for line in strokes(sheet, INK))  # only the tick


def test_where_all_died_no_warm_end_is_drawn_and_no_flag() -> None:
    sheet = drawn(dataclasses.replace(
        BRACKETED, evidence="all died", open_end="warm", floor_c=-6.0, low_c=-8.0, high_c=-4.0, q25_c=-6.6, q75_c=-5.4,
        claimable_c=math.nan, warmest_fatal_c=-7.0,
    ))  # fmt: skip
    assert not shapes(sheet, fill=INK) and not shapes(sheet, fill=ACCENT)
    across = [line for line in strokes(sheet, INK) if line[0][1] == line[1][1]]
    assert [line[:, 0].tolist() for line in across] == [[SCALE.x(-8.0), SCALE.x(-7.0)]]


def test_an_untested_row_is_hatched_from_end_to_end() -> None:
    nothing = dict.fromkeys(("floor_c", "low_c", "high_c", "q25_c", "q75_c", "tested_to_c", "claimable_c",
                             "warmest_fatal_c"), math.nan)  # fmt: skip
    sheet = drawn(dataclasses.replace(BRACKETED, evidence="untested", rests_on="", **nothing))
    hatched = np.concatenate(strokes(sheet, HATCH))
    assert hatched[:, 0].max() == pytest.approx(SCALE.right, abs=0.6)
    assert not strokes(sheet, INK) and not shapes(sheet, fill=INK) and shapes(sheet, edge=QUIET)


def test_an_end_beyond_the_scale_is_cut_and_marked() -> None:
    sheet = drawn(dataclasses.replace(BRACKETED, low_c=-20.0))
    assert min(line[:, 0].min() for line in strokes(sheet, INK)) == pytest.approx(SCALE.left)
    assert any(line[:, 0].min() < SCALE.left for line in strokes(sheet, QUIET))


def square(**marks: bool | int | None) -> Sheet:
    with drawing():
        sheet = Sheet(20.0, 20.0, dpi=100.0, heading="", description="")
        draw_square(sheet, Square(**{"plant": "A", "slot": 0, "grade": 2, **marks}), 5.0, 5.0, 3.0, PAPER_SIZES, 6)  # type: ignore[arg-type]
        sheet.finish()
    return sheet


def written(sheet: Sheet) -> list[str]:
    return [artist.get_text() for artist in sheet.findobj(Text) if isinstance(artist, Text) and artist.get_text()]


def test_a_grade_is_a_square_of_its_colour_with_its_number() -> None:
    for grade in range(5):
        sheet = square(grade=grade)
        assert written(sheet) == [str(grade)]
        assert len(shapes(sheet, fill=grade_ramp(6)[grade].upper())) == 1


def test_death_is_a_filled_square_with_a_cross() -> None:
    sheet = square(grade=5)
    assert written(sheet) == []
    assert len(shapes(sheet, fill=grade_ramp(6)[5].upper())) == 1
    assert sum(len(lines.get_segments()) for lines in sheet.findobj(LineCollection)) == 2


def test_what_does_not_count_in_full_is_told_apart_without_colour() -> None:
    plain, standing = square(), square(standing=True)
    corners = [len(np.unique(shapes(sheet, fill=grade_ramp(6)[2].upper())[0], axis=0)) for sheet in (plain, standing)]
    assert corners == [4, 5]  # a corner is cut off
    provisional, protected = square(provisional=True), square(protected=True)
    dashes = [sheet.findobj(PolyCollection)[0].get_linestyles()[0][1] for sheet in (provisional, protected)]
    assert dashes[0] is not None and dashes[1] is None
    assert len(strokes(protected, INK)) == 1 and not strokes(provisional, INK)  # a roof
    assert not any(shapes(sheet, fill=grade_ramp(6)[2].upper()) for sheet in (provisional, protected))
    assert written(provisional) == written(protected) == ["2"]


def test_figures_stand_clear_of_the_scale(summary: Summary) -> None:
    with drawing():
        (sheet,) = paper_sheets(summary, FORMATS["A4"])
        renderer = sheet.canvas.get_renderer()  # type: ignore[attr-defined]
        to_mm = sheet.width_mm / sheet.bbox.width
        texts = [artist for artist in sheet.findobj(Text) if isinstance(artist, Text)]
        floors = [t.get_window_extent(renderer).x0 * to_mm for t in texts if t.get_gid() == "text-floor"]
        stocks = [t.get_window_extent(renderer).x1 * to_mm for t in texts if t.get_gid() == "text-stock"]
    hatched = np.concatenate(strokes(sheet, HATCH))
    in_rows = hatched[hatched[:, 1] > 80.0]  # below the key
    assert len(floors) == len(summary.cells) and min(floors) > in_rows[:, 0].max() + 1.0
    assert max(stocks) < in_rows[:, 0].min() - 30.0  # the squares stand between


def test_hearsay_is_struck_through_only_where_the_evidence_speaks_against_it() -> None:
    slanting = [
        [line for line in strokes(drawn(cell), QUIET) if line[0][0] != line[1][0] and line[0][1] != line[1][1]]
        for cell in (BRACKETED, dataclasses.replace(BRACKETED, claim_holds=0.01))
    ]
    assert [len(lines) for lines in slanting] == [0, 1]
    assert np.mean(slanting[1][0][:, 0]) == pytest.approx(SCALE.x(-12.0))
    assert not dataclasses.replace(BRACKETED, claim_holds=math.nan).struck  # nothing is known: nothing is struck


def test_half_zones_lie_behind_the_floors_at_their_edges(trial) -> None:
    summary = prepare_summary(**trial.tables(half_zones=True))
    with drawing():
        (sheet,) = paper_sheets(summary, FORMATS["A4"])
    bands = shapes(sheet, fill=BAND)
    assert bands
    names = {text.get_text() for text in sheet.findobj(Text) if text.get_gid() == "text-zones"}
    assert {"8a", "8b"} <= names
    labels = {
        t.get_text(): t.get_position()[0] for t in sheet.findobj(Text) if str(t.get_gid()).startswith("text-axis")
    }
    edges = sorted({round(float(x), 3) for band in bands for x in (band[:, 0].min(), band[:, 0].max())})
    assert min(abs(edge - labels["15"]) for edge in edges) < 0.01  # 15 degF is where 8b begins
    assert not shapes(drawn_paper(prepare_summary(**trial.tables())), fill=BAND)


def drawn_paper(summary: Summary) -> Sheet:
    with drawing():
        return paper_sheets(summary, FORMATS["A4"])[0]
