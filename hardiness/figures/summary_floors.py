"""What we now know: the tolerance floor of a cell with its intervals, and the marks that stand on the same line.

In: :class:`~hardiness.figures.summary_cells.Cell` s. Out: their drawing. The five marks: a dot (median) on a thick line
(50 %) on a thin line; a short upright tick (tested to); a flag that points to the warm side (claimable); a hollow ring
(hearsay); a light hatch over all that is colder than tested to.
"""

from __future__ import annotations

import math

from hardiness.figures.scale import Scale
from hardiness.figures.sheet import LAYER, Point, Sheet
from hardiness.figures.style import ACCENT, HATCH, INK, PAPER, QUIET
from hardiness.figures.summary_cells import Cell

HATCH_APART = 1.15  # [mm] across
FADE = (0.9, 0.65, 0.42, 0.22)  # opacity of the dashes at an open end
FADE_DASH = 0.9  # [mm]
DOT, RING = 0.68, 0.98  # radius [mm] in a row of 3.4 mm


def draw_untested(sheet: Sheet, cell: Cell, scale: Scale, top: float, bottom: float) -> None:
    """Hatch all that is colder than the cell was tested to; the strokes of neighbouring rows join.

    Parameters
    ----------
    sheet : Sheet
    cell : Cell
    scale : Scale
    top, bottom : float
        Edges of the row. [mm]
    """
    edge = scale.right if math.isnan(cell.tested_to_c) else scale.x(cell.tested_to_c)
    hatch(sheet, scale.left, edge, top, bottom)


def hatch(sheet: Sheet, left: float, right: float, top: float, bottom: float) -> None:
    """Fill a rectangle with light slanting strokes on a grid that the whole page shares.

    Parameters
    ----------
    sheet : Sheet
    left, right, top, bottom : float
        Its edges. [mm]
    """
    # Each stroke lies on x + y = constant; cut it at the rectangle.
    first = math.ceil((left + top) / HATCH_APART)
    last = math.floor((right + bottom) / HATCH_APART)
    for total in (step * HATCH_APART for step in range(first, last + 1)):
        start, end = max(left, total - bottom), min(right, total - top)
        if end - start > 1e-6:
            sheet.stroke([(start, total - start), (end, total - end)], HATCH, 0.35, LAYER.hatch)


def draw_floor(sheet: Sheet, cell: Cell, scale: Scale, top: float, bottom: float) -> None:
    """Draw the floor of one cell with its marks between two edges of a row.

    Parameters
    ----------
    sheet : Sheet
    cell : Cell
    scale : Scale
    top, bottom : float
        Edges of the row. [mm]
    """
    middle, size = (top + bottom) / 2, min(bottom - top, 4.2)
    if cell.evidence != "untested":
        if not math.isnan(cell.floor_c):
            _draw_interval(sheet, cell, scale, middle, size)
        if not math.isnan(cell.tested_to_c):
            x = scale.x(cell.tested_to_c)
            sheet.stroke([(x, middle - 0.05 * size), (x, middle + 0.42 * size)], INK, 1.0, LAYER.mark)
        if not math.isnan(cell.claimable_c):
            draw_flag(sheet, scale.x(cell.claimable_c), middle, size)
    if not math.isnan(cell.claim_c):
        draw_ring(sheet, scale.x(cell.claim_c), middle, size, struck=cell.struck)
        if scale.outside(cell.claim_c):
            _draw_beyond(sheet, scale, cell.claim_c, middle, size)


def _draw_interval(sheet: Sheet, cell: Cell, scale: Scale, middle: float, size: float) -> None:
    """Lines and dot; at an open end the line stops at what was tested and fades, and no median is claimed."""
    cold, warm = cell.low_c, cell.high_c
    if cell.open_end == "cold":
        cold = cell.tested_to_c
        warm = max(warm, cold)
        _fade(sheet, scale.x(cold), middle, towards=-1, edge=scale.left)
    elif cell.open_end == "warm":
        warm = cell.warmest_fatal_c
        cold = min(cold, warm)
        _fade(sheet, scale.x(warm), middle, towards=1, edge=scale.right)
    _line(sheet, scale, cold, warm, middle, 0.8)
    if not (math.isnan(cell.q25_c) or math.isnan(cell.q75_c)):
        if cell.open_end == "none":
            _line(sheet, scale, cell.q25_c, cell.q75_c, middle, 2.4)
        elif cell.open_end == "cold" and cell.q75_c > cold:
            _line(sheet, scale, cold, cell.q75_c, middle, 2.4)
        elif cell.open_end == "warm" and cell.q25_c < warm:
            _line(sheet, scale, cell.q25_c, warm, middle, 2.4)
    if cell.open_end == "none":
        draw_dot(sheet, scale.x(cell.floor_c), middle, size)
        for end in (cold, warm):
            if scale.outside(end):
                _draw_beyond(sheet, scale, end, middle, size)


def _line(sheet: Sheet, scale: Scale, cold: float, warm: float, middle: float, width: float) -> None:
    if cold < warm:
        ends = [(scale.x(cold), middle), (scale.x(warm), middle)]
        sheet.stroke(ends, PAPER, width + 1.2, LAYER.halo)  # lifts it off the hatch
        sheet.stroke(ends, INK, width)


def _fade(sheet: Sheet, x: float, middle: float, *, towards: int, edge: float) -> None:
    for step, opacity in enumerate(FADE):
        start = x + towards * (0.5 + 1.5 * step * FADE_DASH)
        end = start + towards * FADE_DASH
        if towards * (edge - end) >= 0:
            sheet.stroke([(start, middle), (end, middle)], PAPER, 2.0, LAYER.halo)
            sheet.stroke([(start, middle), (end, middle)], INK, 0.8, alpha=opacity)


def circle(x: float, y: float, radius: float) -> list[Point]:
    """List the corners of a circle fine enough for print. [mm].

    Parameters
    ----------
    x, y : float
        Its middle. [mm]
    radius : float
        [mm]

    Returns
    -------
    list of (float, float)
        [mm]
    """
    turns = [2 * math.pi * step / 36 for step in range(36)]
    return [(x + radius * math.cos(turn), y + radius * math.sin(turn)) for turn in turns]


def draw_dot(sheet: Sheet, x: float, y: float, size: float) -> None:
    """Draw the median: a dot with a rim of paper.

    Parameters
    ----------
    sheet : Sheet
    x, y : float
        Its middle. [mm]
    size : float
        Height of the row. [mm]
    """
    sheet.shape(circle(x, y, DOT * min(size / 3.4, 1.15)), fill=INK, edge=PAPER, width_pt=0.4)


def draw_flag(sheet: Sheet, x: float, middle: float, size: float) -> None:
    """Draw the claimable floor: a pole with a pennant to the warm side.

    Parameters
    ----------
    sheet : Sheet
    x : float
        The pole. [mm]
    middle : float
        Middle of the row. [mm]
    size : float
        Height of the row. [mm]
    """
    top, foot = middle - 0.47 * size, middle + 0.05 * size
    long = 0.5 * size
    sheet.stroke([(x, top), (x, foot)], PAPER, 1.9, LAYER.mark)
    sheet.shape([(x, top), (x + long, top + 0.2 * size), (x, top + 0.4 * size)], fill=ACCENT, layer=LAYER.cross)
    sheet.stroke([(x, top), (x, foot)], ACCENT, 0.9, LAYER.cross)


def draw_ring(sheet: Sheet, x: float, middle: float, size: float, *, struck: bool = False) -> None:
    """Draw hearsay: a hollow ring, struck through where the evidence speaks against it.

    Parameters
    ----------
    sheet : Sheet
    x, middle : float
        Its middle. [mm]
    size : float
        Height of the row. [mm]
    struck : bool
    """
    radius = RING * min(size / 3.4, 1.1)
    if struck:
        reach = 1.5 * radius
        line = [(x - reach, middle + reach), (x + reach, middle - reach)]
        sheet.stroke(line, PAPER, 2.0, LAYER.mark)
        sheet.stroke(line, QUIET, 0.9, LAYER.cross)
    sheet.shape(circle(x, middle, radius), edge=PAPER, width_pt=1.7, layer=LAYER.mark)
    sheet.shape(circle(x, middle, radius), edge=QUIET, width_pt=0.9, layer=LAYER.cross)


def _draw_beyond(sheet: Sheet, scale: Scale, celsius: float, middle: float, size: float) -> None:
    """Draw a chevron at the end of the scale: it goes on beyond."""
    sign = -1 if celsius < scale.cold_c else 1
    x = (scale.left if sign < 0 else scale.right) + sign * 1.4
    reach = 0.2 * size
    sheet.stroke([(x - sign * reach, middle - reach), (x, middle), (x - sign * reach, middle + reach)], QUIET, 0.8)
