"""The rows of a summary in columns: squares, floors on the shared scale, and figures, for paper and slides.

In: :class:`~hardiness.figures.summary_data.Summary`. Out: where its columns stand, and their headings and rows on a
sheet. Read from left to right: what the cold did, what we now know, how sure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from hardiness import words
from hardiness.figures.half_zones import half_zones
from hardiness.figures.labels import Labels
from hardiness.figures.scale import OTHER, Scale, draw_grid, draw_labels
from hardiness.figures.sheet import LAYER, Sheet
from hardiness.figures.style import ACCENT, BAND, HAIRLINE, INK, PAPER_SIZES, QUIET
from hardiness.figures.summary_cells import Cell, cell_texts
from hardiness.figures.summary_data import Summary
from hardiness.figures.summary_floors import draw_floor, draw_untested
from hardiness.figures.summary_squares import Grid, arrange, draw_squares
from hardiness.figures.summary_strips import winter_words_width
from hardiness.figures.summary_winters import recent
from hardiness.figures.typeface import MM_PER_POINT, REGULAR, SEMIBOLD, width_mm

SIZES = PAPER_SIZES
LEAST_PITCH, MOST_PITCH = 2.4, 4.6  # [mm] from row to row; 6.5 pt type is 2.3 mm
GROUP_GAP = 0.2  # of the pitch, between selections
GRID_ROOM, PANEL_ROOM = 56.0, 49.0  # [mm] most for squares, least for floors
NUMBERS = (("floor", 11.5), ("claimable", 11.3), ("evidence", 14.5), ("rests on", 10.7), ("lost", 8.5))  # [mm]
HEADS, ZONE_LINE, AXIS = 10.4, 2.9, 3.5  # heights [mm]


@dataclass(frozen=True, slots=True)
class Columns:
    """Where things stand across a page. [mm]."""

    left: float
    stock: float
    squares: float
    scale: Scale
    numbers: tuple[float, ...]
    right: float


def rows_demand(summary: Summary, cells: Sequence[Cell]) -> float:
    """Measure the height of rows, in rows.

    Parameters
    ----------
    summary : Summary
    cells : sequence of Cell

    Returns
    -------
    float
    """
    groups = len({cell.selection for cell in cells}) if summary.grouped else 0
    return len(cells) + GROUP_GAP * groups


def place_columns(summary: Summary, labels: Labels, width: float, margin: float, pitch: float) -> tuple[Columns, Grid]:
    """Set labels as wide as they are, squares as wide as the floors leave them, and the scale between.

    Parameters
    ----------
    summary : Summary
    labels : Labels
    width, margin : float
        Of the page. [mm]
    pitch : float
        From row to row. [mm]

    Returns
    -------
    tuple of (Columns, Grid)
    """
    stock = margin + labels.name_width + 1.6
    squares = stock + labels.stock_width + 2.2
    right = width - margin
    panel_right = right - sum(wide for _, wide in NUMBERS) - 3.0
    room = min(GRID_ROOM, panel_right - PANEL_ROOM - 4.0 - squares)
    grid = arrange([cell.squares for cell in summary.cells], [winter.name for winter in summary.scored], room,
                   min(pitch - 0.1, 3.2))  # fmt: skip
    said = max((winter_words_width(winter, summary.units, SIZES) for winter in recent(summary.winters)), default=0.0)
    panel_left = max(squares + max(grid.width, 26.0) + 4.0, min(margin + said + 3.0, panel_right - PANEL_ROOM))
    ends = [right - sum(wide for _, wide in NUMBERS[place + 1 :]) for place in range(len(NUMBERS))]
    scale = Scale(summary.cold_c, summary.warm_c, panel_left, panel_right)
    return Columns(margin, stock, squares, scale, tuple(ends), right), grid


def heads_height(summary: Summary) -> float:
    """Measure the headings above the rows. [mm].

    Parameters
    ----------
    summary : Summary

    Returns
    -------
    float
        [mm]
    """
    return HEADS + (ZONE_LINE if summary.half_zones else 0.0)


def draw_headings(sheet: Sheet, summary: Summary, columns: Columns, grid: Grid, top: float) -> float:
    """Write the headings, the names of the columns, and the other unit's scale.

    Parameters
    ----------
    sheet : Sheet
    summary : Summary
    columns : Columns
    grid : Grid
    top : float
        [mm]

    Returns
    -------
    float
        Where the rows begin. [mm]
    """
    y = top + 3.6
    heading = "What the cold did" if summary.scored else ""
    sheet.write(columns.squares, y, heading, SIZES.heading, weight=SEMIBOLD, column="heading")
    sheet.write(columns.scale.left, y, "What we now know", SIZES.heading, weight=SEMIBOLD, column="heading")
    sheet.write(columns.numbers[1] + 2.6, y, "How sure", SIZES.heading, weight=SEMIBOLD, column="heading")
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
    if len(grid.winters) < len(summary.scored):
        told = f"latest {len(grid.winters)} of {words.count(len(summary.scored), 'winter')}"
        sheet.write(columns.squares, unit_y, told, SIZES.small, colour=QUIET, column="units")
    if summary.half_zones:
        name_zones(sheet, columns.scale, SIZES.small, y + 1.6 + 0.76 * ZONE_LINE)
    return y + 1.6 + (ZONE_LINE if summary.half_zones else 0.0)


def draw_rows(
    sheet: Sheet, summary: Summary, cells: Sequence[Cell], labels: Labels, columns: Columns, grid: Grid,
    top: float, pitch: float,
) -> float:  # fmt: skip
    """Draw rows, and the scale below them.

    Parameters
    ----------
    sheet : Sheet
    summary : Summary
    cells : sequence of Cell
        Those of this page.
    labels : Labels
    columns : Columns
    grid : Grid
    top : float
        [mm]
    pitch : float
        From row to row. [mm]

    Returns
    -------
    float
        Where they end. [mm]
    """
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
    if summary.half_zones:
        draw_bands(sheet, scale, top - ZONE_LINE, y)
    draw_grid(sheet, scale, summary.units, SIZES.small, top, y)
    draw_labels(sheet, scale, summary.units, SIZES, y + 3.0, y)
    return y + AXIS


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
    floor, claimable = cell_texts(cell, summary.units)
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


def draw_bands(sheet: Sheet, scale: Scale, top: float, bottom: float) -> None:
    """Tint every other half-zone, and rule off all of them.

    Parameters
    ----------
    sheet : Sheet
    scale : Scale
    top, bottom : float
        [mm]
    """
    for number, zone in enumerate(half_zones()):
        cold, warm = max(zone.cold_c, scale.cold_c), min(zone.warm_c, scale.warm_c)
        if cold < warm:
            left, right = scale.x(cold), scale.x(warm)
            if number % 2:
                sheet.shape(sheet.box(left, top, right - left, bottom - top), fill=BAND, layer=LAYER.ground)


def name_zones(sheet: Sheet, scale: Scale, size: float, baseline: float) -> None:
    """Write the name of each half-zone in the middle of its band, where it fits.

    Parameters
    ----------
    sheet : Sheet
    scale : Scale
    size : float
        [pt]
    baseline : float
        [mm]
    """
    for zone in half_zones():
        cold, warm = max(zone.cold_c, scale.cold_c), min(zone.warm_c, scale.warm_c)
        if cold < warm and scale.x(warm) - scale.x(cold) > width_mm(zone.name, size) + 0.6:
            middle = (scale.x(cold) + scale.x(warm)) / 2
            sheet.write(middle, baseline, zone.name, size, colour=QUIET, align="center", column="zones")
