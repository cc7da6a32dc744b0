"""Figures made of rows: names on the left, marks on one scale, figures on the right; as many pages as they take.

On a phone a name that would squeeze the scale stands on a line of its own, above its marks.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from hardiness.figures.formats import Format
from hardiness.figures.naming import short_names
from hardiness.figures.plate import Plate, Words, close_plate, open_plate, unwritten
from hardiness.figures.ruler import Ruler
from hardiness.figures.sheet import LAYER, Sheet
from hardiness.figures.style import HAIRLINE, INK, PAPER, QUIET, Sizes
from hardiness.figures.summary_floors import circle
from hardiness.figures.typeface import MM_PER_POINT, SEMIBOLD, width_mm

PITCH = 1.75  # of the type's height, from row to row
NAME_SHARE = 0.3  # of the width, at most, for names beside the marks
MOST_ROWS = 150  # on a phone's page: longer pictures do not open on every phone


@dataclass(frozen=True, slots=True)
class Row:
    """One row: an estimate with its interval, and figures.

    Parameters
    ----------
    name : str
    note : str
        Written small behind the name.
    low, middle, high : float
    figures : tuple of str
        On the right, one per column.
    """

    name: str
    note: str
    low: float
    middle: float
    high: float
    figures: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RowsLayout:
    """What all rows share.

    Parameters
    ----------
    low, high : float
        Ends of the scale.
    heads : tuple of str
        Over the names, then over each column of figures.
    label : callable
        Text of a tick.
    least_step : float
        Between ticks.
    zero : float or None
        A value to rule off.
    sides : tuple of str
        What the two ends of the scale mean; may be empty.
    first : float or None
        A value to label whatever the step between ticks, such as the first rank.
    """

    low: float
    high: float
    heads: tuple[str, ...]
    label: Callable[[float], str]
    least_step: float = 0.1
    zero: float | None = None
    sides: tuple[str, str] = ("", "")
    first: float | None = None


def draw_row_pages(rows: Sequence[Row], layout: RowsLayout, said: Words, form: Format) -> list[Sheet]:
    """Draw rows on as many pages as they take.

    Parameters
    ----------
    rows : sequence of Row
    layout : RowsLayout
    said : Words
    form : Format

    Returns
    -------
    list of Sheet
    """
    sizes = form.sizes
    said = unwritten(said, [row.name for row in rows], "from the top")
    names = short_names([row.name for row in rows], NAME_SHARE * form.room, sizes.text)
    stacked = form.narrow and not _fits(rows, names, layout, form)
    if stacked:
        noted = max(width_mm(row.note, sizes.small) for row in rows)
        names = short_names([row.name for row in rows], 0.98 * (form.room - 1.2 - noted), sizes.text)
    pitch = PITCH * sizes.text * MM_PER_POINT
    plate = open_plate(form, said)
    extra = (6.5 + 1.5 * stacked) * sizes.small * MM_PER_POINT  # scale above and below
    each = max(int((plate.bottom - plate.top - extra) / (pitch * (1 + stacked))), 1)
    each = min(each, MOST_ROWS) if form.narrow else each
    count = math.ceil(len(rows) / each)
    each = math.ceil(len(rows) / count)
    columns = _columns(rows, names, layout, form, stacked)
    sheets = []
    for number in range(count):
        folio = f"page {number + 1} of {count}" if count > 1 else ""
        plate = plate if not folio else open_plate(form, said, folio=folio)
        some = slice(number * each, (number + 1) * each)
        foot = _draw_rows(plate, rows[some], names[some], layout, columns, pitch, stacked=stacked)
        sheets.append(close_plate(plate, foot))
    return sheets


def _fits(rows: Sequence[Row], names: Sequence[str], layout: RowsLayout, form: Format) -> bool:
    """Whether whole names leave the scale the width that its ends want for their words."""
    ruler = _columns(rows, names, layout, form, stacked=False)[0]
    sides = sum(width_mm(side, form.sizes.small) for side in layout.sides) + 2.0
    return all(name == row.name for name, row in zip(names, rows, strict=True)) and ruler.end - ruler.start >= sides


def _note_at(name: str, sizes: Sizes) -> float:
    """Where a name's note begins, from the name's left end. [mm]."""
    wide = width_mm(name, sizes.text, SEMIBOLD)
    return wide + 1.2 + 0.02 * wide  # a picture in dots sets type up to 2 % wider than it is measured


def _columns(
    rows: Sequence[Row], names: Sequence[str], layout: RowsLayout, form: Format, stacked: bool
) -> tuple[Ruler, list[float]]:
    """Find the scale, and the right ends of the columns of figures. [mm]."""
    sizes, left, right = form.sizes, form.margin, form.width - form.margin
    named = [
        _note_at(name, sizes) + width_mm(row.note, sizes.small) if row.note else width_mm(name, sizes.text, SEMIBOLD)
        for name, row in zip(names, rows, strict=True)
    ]
    left += 1.0 if stacked else max([*named, width_mm(layout.heads[0], sizes.small)]) + 3.0
    wide = [
        max([width_mm(head, sizes.small), *(width_mm(row.figures[place], sizes.text) for row in rows)]) + 3.0
        for place, head in enumerate(layout.heads[1:])
    ]
    ends = [right - sum(wide[place + 1 :]) for place in range(len(wide))]
    return Ruler(layout.low, layout.high, left, right - sum(wide) - 2.5), ends


def _draw_rows(
    plate: Plate, rows: Sequence[Row], names: Sequence[str], layout: RowsLayout, columns: tuple[Ruler, list[float]],
    pitch: float, *, stacked: bool,
) -> float:  # fmt: skip
    sheet, sizes = plate.sheet, plate.page.sizes
    small = sizes.small * MM_PER_POINT
    ruler, ends = columns
    y = plate.top + (1.2 + 1.5 * stacked) * small
    for side, (text, align) in enumerate(zip(layout.sides, ("left", "right"), strict=True)):
        if text:
            sheet.write(ruler.start if side == 0 else ruler.end, y, text, sizes.small, colour=QUIET, align=align,
                        column="sides")  # fmt: skip
    y += 1.5 * small
    if stacked:
        sheet.write(plate.left, y - 3.0 * small, layout.heads[0], sizes.small, colour=QUIET, column="heads")
    else:
        sheet.write(plate.left, y, layout.heads[0], sizes.small, colour=QUIET, column="heads")
    for end, head in zip(ends, layout.heads[1:], strict=True):
        sheet.write(end, y, head, sizes.small, colour=QUIET, align="right", column="heads")
    top = y + 0.7 * small
    foot = top + len(rows) * pitch * (1 + stacked)
    runs = [(top, foot)]  # of lines down the page: where names stand above their intervals, none through a name
    if stacked:
        runs = [(top + (2 * number + 0.95) * pitch, top + (2 * number + 1.95) * pitch) for number in range(len(rows))]
    ticks = ruler.ticks(max(9.0, 2.2 * width_mm(layout.label(layout.high), sizes.small)), layout.least_step)
    if layout.first is not None and layout.first not in ticks:
        clear = ruler.at(layout.first) + 1.6 * width_mm(layout.label(layout.high), sizes.small)
        ticks = [layout.first, *(value for value in ticks if ruler.at(value) > clear)]
    for value in ticks:
        x = ruler.at(value)
        for first, last in runs:
            sheet.stroke([(x, first), (x, last)], HAIRLINE, 0.4, LAYER.grid)
        for at in (y, foot + 1.5 * small):
            sheet.write(x, at, layout.label(value), sizes.small, colour=QUIET, align="center", column=f"axis-{at:.0f}")
    if layout.zero is not None:
        x = ruler.at(layout.zero)
        for first, last in runs:
            sheet.stroke([(x, first), (x, last)], QUIET, 0.8, LAYER.grid)
    for number, (row, name) in enumerate(zip(rows, names, strict=True)):
        line = top + (number * (1 + stacked) + 0.5) * pitch  # of the name
        middle = line + pitch * stacked - 0.15 * pitch * stacked
        sheet.write(plate.left, line, name, sizes.text, weight=SEMIBOLD, middle=True, column="name")
        if row.note:
            sheet.write(
                plate.left + _note_at(name, sizes),
                line,
                row.note,
                sizes.small,
                colour=QUIET,
                middle=True,
                column="name",
            )
        sheet.stroke([(ruler.at(row.low), middle), (ruler.at(row.high), middle)], INK, 0.9)
        sheet.shape(circle(ruler.at(row.middle), middle, 0.26 * sizes.text * MM_PER_POINT), fill=INK, edge=PAPER,
                    width_pt=0.5)  # fmt: skip
        for end, text in zip(ends, row.figures, strict=True):
            sheet.write(end, middle, text, sizes.text, align="right", middle=True, column=f"figure-{end:.0f}")
    return foot + 2.2 * small
