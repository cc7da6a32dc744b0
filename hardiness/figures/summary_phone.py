"""The summary on a phone: one narrow column, 390 px wide, as long as it takes.

The same marks as on paper, larger: title; a strip per winter; then a block per cell with its squares, its floor on the
shared temperature scale and its words; the key; the method.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from hardiness import words
from hardiness.figures import summary_key as key
from hardiness.figures.formats import FORMATS, Format
from hardiness.figures.labels import Labels, label_cells
from hardiness.figures.scale import OTHER, Scale, draw_grid, draw_labels
from hardiness.figures.sheet import Sheet
from hardiness.figures.style import ACCENT, HAIRLINE, INK, QUIET
from hardiness.figures.summary_cells import Cell, cell_texts
from hardiness.figures.summary_data import Summary
from hardiness.figures.summary_floors import draw_floor, draw_untested
from hardiness.figures.summary_grades import Square
from hardiness.figures.summary_rows import draw_bands, name_zones
from hardiness.figures.summary_squares import FOLDS, draw_square, folded
from hardiness.figures.summary_strips import draw_strip, plan_labels, strip_height
from hardiness.figures.summary_winters import recent, winter_sentence
from hardiness.figures.typeface import MM_PER_POINT, SEMIBOLD, width_mm, wrap

PHONE = FORMATS["phone"]
SIZES, WIDTH, MARGIN, ROOM = PHONE.sizes, PHONE.width, PHONE.margin, PHONE.room
BLOCKS_PER_SCALE = 4  # so that a scale is always in sight
CELLS_PER_SHEET = 40  # a picture of some 10,000 dots; longer ones do not open on every phone
SQUARE, SQUARES_LINE = 3.7, 4.4  # [mm]
BETWEEN = 2.6  # [mm] between the squares of two winters
MOST_LINES = 2  # of squares in a block


def phone_sheets(summary: Summary, page: Format) -> list[Sheet]:
    """Draw the summary for a phone, on several sheets where it has many rows.

    Parameters
    ----------
    summary : Summary
    page : Format
        The phone.

    Returns
    -------
    list of Sheet
    """
    count = max(math.ceil(len(summary.cells) / CELLS_PER_SHEET), 1)
    each = math.ceil(len(summary.cells) / count)
    labels = label_cells(summary.cells, SIZES.text, SIZES.text, 0.42 * ROOM, 0.22 * ROOM)
    fold = _fold(summary)
    return [
        _draw_sheet(
            page.sheet(summary.title, summary.description, 100.0),
            summary,
            summary.cells[n * each : (n + 1) * each],
            labels,
            fold,
            n,
            count,
        )
        for n in range(count)
    ]


def _draw_sheet(
    sheet: Sheet, summary: Summary, cells: Sequence[Cell], labels: Labels, fold: str, index: int, count: int
) -> Sheet:
    scale = Scale(summary.cold_c, summary.warm_c, MARGIN, WIDTH - MARGIN - 6.0)
    y = _draw_head(sheet, summary, f"{index + 1} of {count}" if count > 1 else "", continued=index > 0)
    if not index:
        y = _draw_winters(sheet, summary, scale, y)
    y = _heading(sheet, "What the cold did, and what we now know", y + 3.0)
    for first in range(0, len(cells), BLOCKS_PER_SCALE):
        y += 4.0
        draw_labels(sheet, scale, OTHER[summary.units], SIZES, y, y + 2.2)
        y += 3.0
        if summary.half_zones:
            name_zones(sheet, scale, SIZES.small, y + 2.6)
            y += 3.2
        blocks = cells[first : first + BLOCKS_PER_SCALE]
        for place, cell in enumerate(blocks):
            y = _draw_block(sheet, summary, cell, labels, fold, scale, y, last=place == len(blocks) - 1)
        draw_labels(sheet, scale, summary.units, SIZES, y + 3.2, y)
        y += 5.5
    if not cells:
        sheet.write(MARGIN, y + 5.0, "No selection is registered yet.", SIZES.text, column="name")
        y += 9.0
    for group in key.key_groups(summary, SIZES, fold):
        sheet.stroke([(MARGIN, y), (WIDTH - MARGIN, y)], HAIRLINE, 0.5)
        y = key.draw_group(sheet, group, SIZES, MARGIN, ROOM, y + 2.0) + 2.0
    lines = key.method_lines(summary, SIZES, ROOM)
    sheet.stroke([(MARGIN, y), (WIDTH - MARGIN, y)], HAIRLINE, 0.5)
    key.draw_method(sheet, lines, SIZES, MARGIN, y + 1.6)
    sheet.finish()
    sheet.cut(y + 1.6 + key.method_height(lines, SIZES) + MARGIN)
    return sheet


def _fold(summary: Summary) -> str:
    """Every plant where two lines of squares hold those of every cell, else fewer."""
    for fold in FOLDS:
        if all(len(_lines(summary, cell, fold)) <= MOST_LINES for cell in summary.cells):
            return fold
    return "worst"


def _winter_name(name: str) -> str:
    return name[2:] if "-" in name else name


def _lines(summary: Summary, cell: Cell, fold: str) -> list[list[tuple[str, tuple[Square, ...]]]]:
    """Set a cell's winters with a square on lines: the name of a winter, and its squares side by side."""
    lines: list[list[tuple[str, tuple[Square, ...]]]] = []
    used = 0.0
    for winter, squares in zip(summary.scored, cell.squares, strict=True):
        if not squares:
            continue
        name, shown = _winter_name(winter.name), folded(squares, fold)
        wide = _winter_width(name, len(shown))
        if not lines or used + wide - BETWEEN > ROOM:
            lines.append([])
            used = 0.0
        lines[-1].append((name, shown))
        used += wide
    return lines


def _winter_width(name: str, squares: int) -> float:
    return width_mm(name, SIZES.small) + 1.2 + squares * SQUARE + BETWEEN


def _heading(sheet: Sheet, text: str, top: float) -> float:
    sheet.write(MARGIN, top + 4.0, text, SIZES.heading, weight=SEMIBOLD, column="heading")
    return top + 5.0


def _draw_head(sheet: Sheet, summary: Summary, folio: str, *, continued: bool) -> float:
    y = MARGIN
    size = SIZES.heading if continued else SIZES.title
    title = f"{summary.trial or 'Trial summary'}, continued" if continued else summary.title
    step = 1.22 * size * MM_PER_POINT
    for line in wrap(title, ROOM, size, SEMIBOLD):
        y += step
        sheet.write(MARGIN, y - 0.22 * step, line, size, weight=SEMIBOLD, column="title")
    order = "hardiest selection first" if summary.grouped else "hardiest first"
    rows = f"{words.count(len(summary.cells), 'row')}, {order}" if summary.cells else ""
    facts = ["" if continued else summary.trial or "Trial summary", rows, folio]
    for line in wrap(" · ".join(fact for fact in facts if fact), ROOM, SIZES.text):
        y += 1.3 * SIZES.text * MM_PER_POINT
        sheet.write(MARGIN, y, line, SIZES.text, colour=QUIET, column="title")
    return y + 2.0


def _draw_winters(sheet: Sheet, summary: Summary, scale: Scale, top: float) -> float:
    y = _heading(sheet, "How cold it was", top + 3.0)
    strips = recent(summary.winters)
    if not strips:
        sheet.write(MARGIN, y + 4.0, "No freeze is measured yet.", SIZES.text, column="winter-words")
        return y + 6.0
    for winter in strips:
        y += 5.2
        sheet.write(MARGIN, y, winter.name, SIZES.text, weight=SEMIBOLD, column="winter-words")
        indent = width_mm(f"{winter.name}  ", SIZES.text, SEMIBOLD)
        for line in wrap(winter_sentence(winter, summary.units), ROOM - indent, SIZES.small):
            sheet.write(MARGIN + indent, y, line, SIZES.small, column="winter-words")
            y += 1.25 * SIZES.small * MM_PER_POINT
        y -= 1.0
        marks = plan_labels(winter, scale, summary.units, SIZES, 2)
        high = strip_height(SIZES, 1 + max(mark.lane for mark in marks))
        draw_grid(sheet, scale, summary.units, SIZES.small, y, y + high)
        draw_strip(sheet, winter, scale, marks, SIZES, y)
        y += high
    draw_labels(sheet, scale, summary.units, SIZES, y + 3.4, y)
    return y + 5.0


def _draw_block(
    sheet: Sheet, summary: Summary, cell: Cell, labels: Labels, fold: str, scale: Scale, top: float, *, last: bool
) -> float:
    """One cell: who and how much, the squares, the floor, the words."""
    y = top + 4.2
    floor, claimable = cell_texts(cell, summary.units)
    name = f"{labels.names[cell.number]} "
    sheet.write(MARGIN, y, name, SIZES.text, weight=SEMIBOLD, column=f"block-{top:.0f}")
    x = MARGIN + width_mm(name, SIZES.text, SEMIBOLD) + 0.6
    stock = words.on_stock(labels.stocks[cell.number]) + (", check" if cell.check else "")
    sheet.write(x, y, stock, SIZES.text, column=f"block-{top:.0f}")
    untested = cell.evidence == "untested"
    figure = "untested" if untested else claimable if claimable == "none" else f"{claimable} °{summary.units}"
    colour = INK if math.isnan(cell.claimable_c) else ACCENT
    sheet.write(WIDTH - MARGIN, y, figure, SIZES.text, colour=colour, weight=SEMIBOLD, align="right",
                column=f"block-{top:.0f}")  # fmt: skip
    y = _draw_squares(sheet, summary, cell, fold, y + 1.2) + 0.4
    bottom = y + 5.4
    if summary.half_zones:
        draw_bands(sheet, scale, y, bottom)
    draw_grid(sheet, scale, summary.units, SIZES.small, y, bottom)
    draw_untested(sheet, cell, scale, y, bottom)
    draw_floor(sheet, cell, scale, y, bottom)
    y = bottom + 0.6
    if not untested:
        said = floor if floor == "at or below" else f"floor {floor}"
        said = f"at or below {claimable}" if floor == "at or below" else said
        facts = f"{said}, {cell.evidence}{'*' if cell.provisional else ''}, {cell.killed} of {cell.plants} lost"
        facts += f", rests on {cell.rests_on}" if cell.rests_on else ""
        y += 1.1 * SIZES.small * MM_PER_POINT
        sheet.write(MARGIN, y, facts, SIZES.small, colour=QUIET, column=f"facts-{top:.0f}")
    y += 2.0
    if not last:
        sheet.stroke([(MARGIN, y), (WIDTH - MARGIN, y)], HAIRLINE, 0.5)
    return y


def _draw_squares(sheet: Sheet, summary: Summary, cell: Cell, fold: str, top: float) -> float:
    lines = _lines(summary, cell, fold)[-MOST_LINES:]
    for number, line in enumerate(lines):
        x, y = MARGIN, top + number * SQUARES_LINE
        for name, squares in line:
            sheet.write(x, y + SQUARE / 2, name, SIZES.small, colour=QUIET, middle=True, column=f"grades-{y:.0f}")
            beside = x + width_mm(name, SIZES.small) + 1.2
            for place, square in enumerate(squares):
                draw_square(sheet, square, beside + place * SQUARE, y, SQUARE - 0.3, SIZES, len(summary.grades))
            x += _winter_width(name, len(squares))
    return top + len(lines) * SQUARES_LINE
