"""The map of a block on its pages: every plant is there and can be read, however long the rows are."""

from dataclasses import replace

import pytest
from matplotlib.collections import PolyCollection
from matplotlib.colors import to_hex

from hardiness.figures.damage_map import LEAST_SIDE, DamageMap, Spot, draw_damage_map
from hardiness.figures.formats import FORMATS, PAGES
from hardiness.figures.sheet import Sheet
from hardiness.figures.style import grade_ramp
from hardiness.figures.summary_grades import Square
from tests.figures.pages import check_page, said, texts_of
from tests.figures.test_prepared import damage


def block(rows: int, places: int) -> DamageMap:
    """A block in which every plant is at grade 3."""
    spots = tuple(Spot(row, place, Square(f"T{row}-{place}", 0, 3), f"OL-{place}")
                  for row in range(rows) for place in range(places))  # fmt: skip
    return replace(
        damage("2032-02-03"),
        rows=tuple(f"R{row + 1}" for row in range(rows)),
        places=tuple(str(place + 1) for place in range(places)),
        spots=spots,
    )


def squares(sheet: Sheet) -> list[tuple[float, float]]:
    """Width and left end of every square of grade 3. [mm]."""
    fill = grade_ramp(6)[3].lower()
    out = []
    for art in sheet.findobj(PolyCollection):
        for path, face in zip(art.get_paths(), art.get_facecolor().repeat(len(art.get_paths()), axis=0), strict=False):
            if to_hex(face) == fill:
                across = path.vertices[:, 0]
                out.append((float(across.max() - across.min()), float(across.min())))
    return out


@pytest.mark.parametrize(("rows", "places"), [(2, 75), (1, 300), (60, 4), (40, 40)])
@pytest.mark.parametrize("page", PAGES)
def test_every_plant_is_on_a_page_and_large_enough_to_read(page: str, rows: int, places: int) -> None:
    sheets = draw_damage_map(block(rows, places), page=page)
    form = FORMATS[page]
    drawn = [square for sheet in sheets for square in squares(sheet)]
    assert len(drawn) == rows * places + len(sheets)  # and one in each key
    assert min(side for side, _ in drawn) >= min(LEAST_SIDE[form.narrow] - 0.5, 1.25 * form.sizes.small * 0.3527)
    for sheet in sheets:
        check_page(sheet)
        assert sheet.height_mm <= form.height + 0.1
    names = [text.get_text() for sheet in sheets for text in texts_of(sheet)]
    assert {f"R{row + 1}" for row in range(rows)} <= set(names)


def test_marks_of_the_map_are_explained_below_it() -> None:
    text = said(draw_damage_map(damage("2032-02-03")))
    for mark in ("cut corner", "roof", "dotted edge", "A dot:", "An empty place"):
        assert mark in text


def test_rows_that_the_fonts_cannot_write_are_numbered_and_that_is_said() -> None:
    text = said(draw_damage_map(replace(block(3, 4), rows=("R1", "行二", "R3"))))
    assert "no. 2" in text and "by its number among the rows" in text
