"""The summary on paper: A4 or letter, upright, read from top to bottom.

Title (the finding); the winters' freezes on the temperature scale; under them, on the same scale and row by row, what
the cold did and what is now known; the key; the method. More rows than a page holds go on to further pages, each with
its scale and key.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from hardiness import words
from hardiness.figures import summary_key as key
from hardiness.figures.labels import Labels, label_cells
from hardiness.figures.scale import OTHER, Scale, draw_grid, draw_labels
from hardiness.figures.sheet import Sheet
from hardiness.figures.style import ACCENT, HAIRLINE, INK, PAPER_SIZES, QUIET
from hardiness.figures.summary_cells import Cell, floor_texts
from hardiness.figures.summary_data import Summary
from hardiness.figures.summary_floors import draw_floor, draw_untested
from hardiness.figures.summary_squares import Grid, arrange, draw_squares
from hardiness.figures.summary_strips import (
    draw_strip,
    draw_winter_words,
    plan_labels,
    strip_height,
    winter_words_width,
)
from hardiness.figures.summary_winters import recent
from hardiness.figures.typeface import MM_PER_POINT, REGULAR, SEMIBOLD, width_mm, wrap

SIZES = PAPER_SIZES
MARGIN = 9.5  # [mm]
DPI = 200.0
LEAST_PITCH, MOST_PITCH = 2.2, 4.6  # [mm] from row to row; 6 pt type is 2.1 mm
GROUP_GAP = 0.2  # of the pitch, between selections
GRID_ROOM, PANEL_ROOM = 56.0, 50.0  # [mm] most for squares, least for floors
NUMBERS = (("floor", 11.5), ("claimable", 10.5), ("evidence", 14.5), ("rests on", 10.7), ("lost", 8.5))  # [mm]
TITLE_LINE, TITLE_REST, HEADS, AXIS, FOOT_GAP = 5.9, 5.5, 10.4, 3.5, 5.5  # heights [mm]
KEY_SHARE = 0.47  # of the width, for the grades


@dataclass(frozen=True, slots=True)
class Columns:
    """Where things stand across a page. [mm]."""

    left: float
    stock: float
    squares: float
    scale: Scale
    numbers: tuple[float, ...]
    right: float


def paper_sheets(summary: Summary, width: float, height: float) -> list[Sheet]:
    """Draw the summary on as many pages as its rows need.

    Parameters
    ----------
    summary : Summary
    width, height : float
        Size of a page. [mm]

    Returns
    -------
    list of Sheet
    """
    title = wrap(summary.title, width - 2 * MARGIN, SIZES.title, SEMIBOLD)
    method = key.method_lines(summary, SIZES, width - 2 * MARGIN)
    groups = key.key_groups(summary, SIZES, "plants")
    body = height - 2 * MARGIN - TITLE_REST - HEADS - AXIS
    foot = FOOT_GAP + key.group_height(groups[0], SIZES, 2) + key.method_height(method, SIZES)
    later = body - TITLE_LINE - foot - key.group_height(groups[2], SIZES, 3)
    # Two lines of labels under the icicles where the rows leave room for them.
    for lanes in (2, 1):
        first = body - len(title) * TITLE_LINE - _winters_height(summary, groups[2], lanes) - foot
        if _demand(summary.cells, summary) * 3.2 <= first:
            break
    pages = _pages(summary, first, later)
    labels = label_cells(summary.cells, SIZES.text, SIZES.small)
    rooms = [first] + [later] * (len(pages) - 1)
    pitch = min(room / max(_demand(cells, summary), 1.0) for room, cells in zip(rooms, pages, strict=True))
    pitch = min(pitch, MOST_PITCH)
    columns, grid = _columns(summary, labels, width, pitch)
    sheets = []
    for index, cells in enumerate(pages):
        sheet = Sheet(width, height, dpi=DPI, heading=summary.title, description=summary.description)
        folio = f"page {index + 1} of {len(pages)}" if len(pages) > 1 else ""
        y = _draw_head(sheet, summary, title, folio, continued=index > 0)
        groups = key.key_groups(summary, SIZES, grid.fold)
        if not index:
            y = _draw_winters(sheet, summary, columns, groups[2], y, lanes)
        y = _draw_headings(sheet, summary, columns, grid, y)
        y = _draw_rows(sheet, summary, cells, labels, columns, grid, y, pitch)
        _draw_foot(sheet, groups if index else groups[:2], method, y)
        sheet.finish()
        sheets.append(sheet)
    return sheets


def _winters_height(summary: Summary, floors_key: key.Group, lanes: int) -> float:
    strips = len(recent(summary.winters)) * strip_height(SIZES, lanes)
    return max(7.0 + strips + 5.0, 2.0 + key.group_height(floors_key, SIZES) + 1.0)


def _demand(cells: Sequence[Cell], summary: Summary) -> float:
    """Height of the rows, in rows."""
    groups = len({cell.selection for cell in cells}) if summary.grouped else 0
    return len(cells) + GROUP_GAP * groups


def _pages(summary: Summary, first_room: float, next_room: float) -> list[tuple[Cell, ...]]:
    """Share the rows out so that pages are evenly full and no selection is torn apart."""
    blocks: list[list[Cell]] = []
    for cell in summary.cells:
        if blocks and summary.grouped and blocks[-1][0].selection == cell.selection:
            blocks[-1].append(cell)
        else:
            blocks.append([cell])
    total = _demand(summary.cells, summary) * LEAST_PITCH
    if total <= first_room:
        return [summary.cells]
    count = 2
    while first_room + (count - 1) * next_room < total * 1.02:
        count += 1
    # Every page is filled to the same share of its room.
    share = total / (first_room + (count - 1) * next_room)
    pages: list[list[Cell]] = [[]]
    for block in blocks:
        room = first_room if len(pages) == 1 else next_room
        if pages[-1] and len(pages) < count:
            used = _demand([*pages[-1], *block], summary) * LEAST_PITCH
            if used > min(room, share * room + LEAST_PITCH):
                pages.append([])
        pages[-1].extend(block)
    return [tuple(page) for page in pages]


def _columns(summary: Summary, labels: Labels, width: float, pitch: float) -> tuple[Columns, Grid]:
    """Labels as wide as they are, squares as wide as the floors leave them, and the scale between."""
    stock = MARGIN + labels.name_width + 1.6
    squares = stock + labels.stock_width + 2.2
    right = width - MARGIN
    panel_right = right - sum(wide for _, wide in NUMBERS) - 3.0
    room = min(GRID_ROOM, panel_right - PANEL_ROOM - 4.0 - squares)
    grid = arrange([cell.squares for cell in summary.cells], [winter.name for winter in summary.scored], room,
                   min(pitch - 0.1, 3.2))  # fmt: skip
    said = max((winter_words_width(winter, summary.units, SIZES) for winter in recent(summary.winters)), default=0.0)
    panel_left = max(squares + max(grid.width, 26.0) + 4.0, min(MARGIN + said + 3.0, panel_right - PANEL_ROOM))
    ends = [right - sum(wide for _, wide in NUMBERS[place + 1 :]) for place in range(len(NUMBERS))]
    scale = Scale(summary.cold_c, summary.warm_c, panel_left, panel_right)
    return Columns(MARGIN, stock, squares, scale, tuple(ends), right), grid


def _draw_head(sheet: Sheet, summary: Summary, title: Sequence[str], folio: str, *, continued: bool) -> float:
    trial = summary.trial or "Trial summary"
    y = MARGIN
    for line in [f"{trial}, continued"] if continued else title:
        y += TITLE_LINE
        sheet.write(MARGIN, y - 1.2, line, SIZES.title, weight=SEMIBOLD, column="title")
    y += 3.4
    order = "hardiest selection first" if summary.grouped else "hardiest first"
    what = f"{words.count(len(summary.cells), 'row')}: a selection on a rootstock, {order}" if summary.cells else ""
    facts = [what] if continued else [trial, what]
    line = " · ".join(fact for fact in facts if fact)
    sheet.write(MARGIN, y, line, SIZES.text, colour=QUIET, column="title")
    if folio:
        sheet.write(sheet.width_mm - MARGIN, y, folio, SIZES.text, colour=QUIET, align="right", column="folio")
    return y + 2.1


def _draw_winters(
    sheet: Sheet, summary: Summary, columns: Columns, floors_key: key.Group, top: float, lanes: int
) -> float:
    scale, y = columns.scale, top + 5.0
    sheet.write(columns.left, y, "How cold it was", SIZES.heading, weight=SEMIBOLD, column="heading")
    key_left = scale.right + 7.0
    key.draw_group(sheet, floors_key, SIZES, key_left, columns.right - key_left, top + 2.0)
    strips, y = recent(summary.winters), y + 2.0
    if not strips:
        sheet.write(columns.left, y + 2.6, "No freeze is measured yet.", SIZES.text, column="winter-words")
        return top + _winters_height(summary, floors_key, lanes)
    high = strip_height(SIZES, lanes)
    draw_grid(sheet, scale, summary.units, SIZES.small, y, y + high * len(strips))
    for winter in strips:
        sheet.stroke([(columns.left, y), (scale.left, y)], HAIRLINE, 0.5)
        draw_strip(sheet, winter, scale, plan_labels(winter, scale, summary.units, SIZES, lanes), SIZES, y)
        room = scale.left - columns.left - 3.0
        draw_winter_words(sheet, winter, summary.units, SIZES, columns.left, room, y + 2.6)
        y += high
    draw_labels(sheet, scale, summary.units, SIZES, y + 2.6, y)
    return top + _winters_height(summary, floors_key, lanes)


def _draw_headings(sheet: Sheet, summary: Summary, columns: Columns, grid: Grid, top: float) -> float:
    y = top + 3.6
    heading = "What the cold did" if summary.scored else ""
    sheet.write(columns.squares, y, heading, SIZES.heading, weight=SEMIBOLD, column="heading")
    sheet.write(columns.scale.left, y, "What we now know", SIZES.heading, weight=SEMIBOLD, column="heading")
    y += 5.2

    def head(x: float, text: str, align: str = "left") -> None:
        sheet.write(x, y, text, SIZES.small, colour=QUIET, align=align, column="heads")

    head(columns.left, "selection")
    head(columns.stock, "on")
    for column, winter in enumerate(grid.winters):
        x = columns.squares + column * grid.column
        name = summary.scored[winter].name
        short = name if width_mm(name, SIZES.small) < grid.column - 0.6 else name[2:]
        short = short if width_mm(short, SIZES.small) < grid.column - 0.6 else name[-2:]
        head(x, short)
    draw_labels(sheet, columns.scale, OTHER[summary.units], SIZES, y, y + 1.6)
    for (name, _), x in zip(NUMBERS, columns.numbers, strict=True):
        head(x, name, "right")
    unit_y = y - 1.2 * SIZES.small * MM_PER_POINT
    for x in columns.numbers[:2]:
        sheet.write(x, unit_y, f"°{summary.units}", SIZES.small, colour=QUIET, align="right", column="units")
    return y + 1.6


def _draw_rows(
    sheet: Sheet, summary: Summary, cells: Sequence[Cell], labels: Labels, columns: Columns, grid: Grid,
    top: float, pitch: float,
) -> float:  # fmt: skip
    scale, y, previous = columns.scale, top, ""
    for cell in cells:
        fresh = cell.selection != previous
        if summary.grouped and fresh and previous:
            draw_gap = GROUP_GAP * pitch
            sheet.stroke([(columns.left, y + draw_gap / 2), (columns.right, y + draw_gap / 2)], HAIRLINE, 0.4)
            y += draw_gap
        bottom = y + pitch
        draw_untested(sheet, cell, scale, y, bottom)
        draw_floor(sheet, cell, scale, y, bottom)
        _draw_row_words(sheet, summary, cell, labels, columns, (y + bottom) / 2, named=fresh or not summary.grouped)
        draw_squares(sheet, cell.squares, grid, SIZES, columns.squares, (y + bottom) / 2, len(summary.grades))
        y, previous = bottom, cell.selection
    if not cells:
        sheet.write(columns.left, y + 4.0, "No selection is registered yet.", SIZES.text, column="name")
        y += 8.0
    draw_grid(sheet, scale, summary.units, SIZES.small, top, y)
    draw_labels(sheet, scale, summary.units, SIZES, y + 3.0, y)
    return y + AXIS


def _draw_foot(sheet: Sheet, groups: Sequence[key.Group], method: Sequence[tuple[str, bool]], top: float) -> None:
    """Draw the key of the squares, that of the floors where it does not stand above, and the method."""
    room = sheet.width_mm - 2 * MARGIN
    y = top + 1.5
    sheet.stroke([(MARGIN, y), (MARGIN + room, y)], HAIRLINE, 0.5)
    y += 1.4
    bottom = key.draw_group(sheet, groups[0], SIZES, MARGIN, KEY_SHARE * room, y, 2)
    key.draw_group(sheet, groups[1], SIZES, MARGIN + KEY_SHARE * room, (1 - KEY_SHARE) * room, y, 2)
    for group in groups[2:]:
        bottom = key.draw_group(sheet, group, SIZES, MARGIN, room, bottom, 3)
    key.draw_method(sheet, method, SIZES, MARGIN, bottom + 1.6)


def _draw_row_words(
    sheet: Sheet, summary: Summary, cell: Cell, labels: Labels, columns: Columns, middle: float, *, named: bool
) -> None:
    if named:
        name = sheet.write(columns.left, middle, labels.names[cell.number], SIZES.text, weight=SEMIBOLD, middle=True,
                           column="name")  # fmt: skip
        if cell.check:
            beyond = columns.left + width_mm(name.get_text(), SIZES.text, SEMIBOLD) + 1.2
            sheet.write(beyond, middle, "check", SIZES.small, colour=QUIET, middle=True, column="name")
    sheet.write(columns.stock, middle, labels.stocks[cell.number], SIZES.small, middle=True, column="stock")
    floor, claimable = floor_texts(cell, summary.units)
    untested = cell.evidence == "untested"
    figures = (
        (floor, INK, REGULAR),
        (claimable, INK, REGULAR) if math.isnan(cell.claimable_c) else (claimable, ACCENT, SEMIBOLD),
        (cell.evidence + ("*" if cell.provisional else ""), INK, REGULAR),
        (cell.rests_on, QUIET, REGULAR),
        ("" if untested else f"{cell.killed} of {cell.plants}", INK, REGULAR),
    )
    for (text, colour, weight), x, (head, _) in zip(figures, columns.numbers, NUMBERS, strict=True):
        sheet.write(x, middle, text, SIZES.small, colour=colour, weight=weight, align="right", middle=True, column=head)
