"""The summary as slides, 16 to 9: first how cold it was, with the key and the method, then the rows, most hardy first.

The same rows, marks and scale as on paper; a slide holds as many rows as can be read from the back of a room.
"""

from __future__ import annotations

from hardiness.figures import summary_key as key
from hardiness.figures.formats import Format
from hardiness.figures.labels import label_cells
from hardiness.figures.sheet import Sheet
from hardiness.figures.style import HAIRLINE, PAPER_SIZES
from hardiness.figures.summary_data import Summary
from hardiness.figures.summary_paper import TITLE_LINE, TITLE_REST, draw_head, draw_winters, share_rows, winters_height
from hardiness.figures.summary_rows import (
    AXIS,
    MOST_PITCH,
    draw_headings,
    draw_rows,
    heads_height,
    place_columns,
    rows_demand,
)
from hardiness.figures.summary_winters import MOST_WINTERS
from hardiness.figures.typeface import MM_PER_POINT, SEMIBOLD, wrap
from hardiness.sentences import FLOOR_CAUTION

SIZES = PAPER_SIZES
LEAST_PITCH = 3.0  # [mm] from row to row, before the slide is enlarged
CAUTION_LINE = 2.8  # [mm]
LEAST_WINTERS = 4  # strips that keep a line of labels, before earlier winters share one


def slide_sheets(summary: Summary, page: Format) -> list[Sheet]:
    """Draw the summary as slides.

    Parameters
    ----------
    summary : Summary
    page : Format
        The slide.

    Returns
    -------
    list of Sheet
    """
    title = wrap(summary.title, page.room, SIZES.title, SEMIBOLD)
    marks = key.key_groups(summary, SIZES, "plants")[2]
    room = page.height - 2 * page.margin - len(title) * TITLE_LINE - TITLE_REST - heads_height(summary) - AXIS
    room -= 3.0 + key.group_height(marks, SIZES, 3) + CAUTION_LINE
    pages = share_rows(summary, room, room, LEAST_PITCH)
    labels = label_cells(summary.cells, SIZES.text, SIZES.small)
    pitch = min(MOST_PITCH, *(room / max(rows_demand(summary, cells), 1.0) for cells in pages))
    columns, grid = place_columns(summary, labels, page.width, page.margin, pitch)
    groups = key.key_groups(summary, SIZES, grid.fold)
    count = len(pages) + 1
    first = page.sheet(summary.title, summary.description)
    y = draw_head(first, summary, page.margin, title, f"slide 1 of {count}", continued=False)
    lanes, most = _strips(summary, groups, _foot(summary, page, groups) - 3.0 - y)
    y = draw_winters(first, summary, columns, groups[2], y, lanes, most)
    _draw_foot(first, summary, page, groups, y)
    sheets = [first]
    for index, cells in enumerate(pages):
        sheet = page.sheet(summary.title, summary.description)
        y = draw_head(sheet, summary, page.margin, title, f"slide {index + 2} of {count}", continued=False)
        y = draw_headings(sheet, summary, columns, grid, y)
        y = draw_rows(sheet, summary, cells, labels, columns, grid, y, pitch)
        sheet.write(
            page.margin, page.height - page.margin, FLOOR_CAUTION, SIZES.small, weight=SEMIBOLD, column="method"
        )
        bottom = page.height - page.margin - key.group_height(marks, SIZES, 3) - CAUTION_LINE
        key.draw_group(sheet, groups[2], SIZES, page.margin, page.room, bottom, 3)
        sheets.append(sheet)
    for sheet in sheets:
        sheet.finish()
    return sheets


def _strips(summary: Summary, groups: tuple[key.Group, ...], room: float) -> tuple[int, int]:
    """Choose how many lines of labels each winter has, and how many winters a strip of their own, so that they fit."""
    plans = [(lanes, most) for lanes in (2, 1, 0) for most in range(MOST_WINTERS, 0, -1)]
    plans.sort(key=lambda plan: (min(plan[1], LEAST_WINTERS), plan[0] > 0, plan[1], plan[0]), reverse=True)
    fitting = (plan for plan in plans if winters_height(summary, groups[2], *plan) <= room)
    return next(fitting, (0, 1))


def _foot(summary: Summary, page: Format, groups: tuple[key.Group, ...]) -> float:
    """Where the keys of grades and squares begin, right above the method. [mm]."""
    foot = page.height - page.margin - key.method_height(key.method_lines(summary, SIZES, page.room), SIZES)
    return foot - max(key.group_height(group, SIZES, 2) for group in groups[:2]) - SIZES.small * MM_PER_POINT


def _draw_foot(sheet: Sheet, summary: Summary, page: Format, groups: tuple[key.Group, ...], top: float) -> None:
    """Draw the keys of grades and squares side by side, and the method at the foot of the slide."""
    half = page.room / 2
    method = key.method_lines(summary, SIZES, page.room)
    y = min(top + 3.0, _foot(summary, page, groups))
    sheet.stroke([(page.margin, y), (page.margin + page.room, y)], HAIRLINE, 0.5)
    for place, group in enumerate(groups[:2]):
        key.draw_group(sheet, group, SIZES, page.margin + place * half, half, y + 1.4, 2)
    key.draw_method(sheet, method, SIZES, page.margin, page.height - page.margin - key.method_height(method, SIZES))
