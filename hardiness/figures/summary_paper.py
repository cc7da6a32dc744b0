"""The summary on paper: A4 or letter, upright, read from top to bottom.

Title (the finding); the winters' freezes on the temperature scale; under them, on the same scale and row by row, what
the cold did, what is now known and how sure; the key; the method. More rows than a page holds go on to further pages,
each with its scale and key.
"""

from __future__ import annotations

from collections.abc import Sequence

from hardiness import words
from hardiness.figures import summary_key as key
from hardiness.figures.formats import Format
from hardiness.figures.labels import label_cells
from hardiness.figures.scale import OTHER, draw_grid, draw_labels
from hardiness.figures.sheet import Sheet
from hardiness.figures.style import HAIRLINE, PAPER_SIZES, QUIET
from hardiness.figures.summary_cells import Cell
from hardiness.figures.summary_data import Summary
from hardiness.figures.summary_rows import (
    AXIS,
    LEAST_PITCH,
    MOST_PITCH,
    Columns,
    draw_headings,
    draw_rows,
    heads_height,
    place_columns,
    rows_demand,
)
from hardiness.figures.summary_strips import (
    draw_strip,
    draw_winter_words,
    plan_labels,
    strip_height,
    winter_words_width,
)
from hardiness.figures.summary_winters import MOST_WINTERS, recent
from hardiness.figures.typeface import SEMIBOLD, shorten, width_mm, wrap

SIZES = PAPER_SIZES
EASY_PITCH = 3.2  # [mm] rows with room for a second line of labels under the icicles
TITLE_LINE, TITLE_REST, FOOT_GAP = 5.9, 5.5, 5.5  # heights [mm]
KEY_SHARE = 0.47  # of the width, for the grades


def paper_sheets(summary: Summary, page: Format) -> list[Sheet]:
    """Draw the summary on as many pages as its rows need.

    Parameters
    ----------
    summary : Summary
    page : Format
        A4 or letter.

    Returns
    -------
    list of Sheet
    """
    title = wrap(summary.title, page.room, SIZES.title, SEMIBOLD)
    method = key.method_lines(summary, SIZES, page.room)
    groups = key.key_groups(summary, SIZES, "plants")
    body = page.height - 2 * page.margin - TITLE_REST - heads_height(summary) - AXIS
    foot = FOOT_GAP + key.group_height(groups[0], SIZES, 2) + key.method_height(method, SIZES)
    later = body - TITLE_LINE - foot - key.group_height(groups[2], SIZES, 3)
    # Two lines of labels under the icicles where the rows leave room for them.
    for lanes in (2, 1):
        first = body - len(title) * TITLE_LINE - winters_height(summary, groups[2], lanes) - foot
        if rows_demand(summary, summary.cells) * EASY_PITCH <= first:
            break
    pages = share_rows(summary, first, later, LEAST_PITCH)
    labels = label_cells(summary.cells, SIZES.text, SIZES.small)
    rooms = [first] + [later] * (len(pages) - 1)
    pitch = min(room / max(rows_demand(summary, cells), 1.0) for room, cells in zip(rooms, pages, strict=True))
    pitch = min(pitch, MOST_PITCH)
    columns, grid = place_columns(summary, labels, page.width, page.margin, pitch)
    sheets = []
    for index, cells in enumerate(pages):
        sheet = page.sheet(summary.title, summary.description)
        folio = f"page {index + 1} of {len(pages)}" if len(pages) > 1 else ""
        y = draw_head(sheet, summary, page.margin, title, folio, continued=index > 0)
        groups = key.key_groups(summary, SIZES, grid.fold)
        if not index:
            y = draw_winters(sheet, summary, columns, groups[2], y, lanes)
        y = draw_headings(sheet, summary, columns, grid, y)
        y = draw_rows(sheet, summary, cells, labels, columns, grid, y, pitch)
        _draw_foot(sheet, page, groups if index else groups[:2], method, y)
        sheet.finish()
        sheets.append(sheet)
    return sheets


def winters_height(summary: Summary, floors_key: key.Group, lanes: int, most: int = MOST_WINTERS) -> float:
    """Measure the strips of the winters with the key beside them. [mm].

    Parameters
    ----------
    summary : Summary
    floors_key : Group
    lanes : int
        Lines of labels under the icicles.
    most : int
        Strips; earlier winters share one.

    Returns
    -------
    float
        [mm]
    """
    strips = len(recent(summary.winters, most)) * strip_height(SIZES, lanes)
    return max(7.0 + strips + 5.0, 2.0 + key.group_height(floors_key, SIZES) + 1.0)


def share_rows(summary: Summary, first_room: float, next_room: float, pitch: float) -> list[tuple[Cell, ...]]:
    """Share the rows out so that pages are evenly full and no selection is torn apart.

    Parameters
    ----------
    summary : Summary
    first_room, next_room : float
        Height for rows on the first page, and on each further one. [mm]
    pitch : float
        Least height of a row. [mm]

    Returns
    -------
    list of tuple of Cell
        One per page.
    """
    blocks: list[list[Cell]] = []
    for cell in summary.cells:
        if blocks and summary.grouped and blocks[-1][0].selection == cell.selection:
            blocks[-1].append(cell)
        else:
            blocks.append([cell])
    total = rows_demand(summary, summary.cells) * pitch
    if total <= first_room:
        return [summary.cells]
    count = 2
    while first_room + (count - 1) * next_room < total * 1.02:
        count += 1
    while True:
        pages = _filled(summary, blocks, first_room, next_room, pitch, count)
        last = first_room if len(pages) == 1 else next_room
        # Selections that stay whole leave gaps: many of them add up to rows that the last page cannot hold.
        if len(pages[-1]) == len(blocks[-1]) or rows_demand(summary, pages[-1]) * pitch <= last:
            return [tuple(page) for page in pages]
        count += 1


def _filled(
    summary: Summary, blocks: Sequence[list[Cell]], first_room: float, next_room: float, pitch: float, count: int
) -> list[list[Cell]]:
    """Fill so many pages, each to the same share of its room."""
    share = rows_demand(summary, summary.cells) * pitch / (first_room + (count - 1) * next_room)
    pages: list[list[Cell]] = [[]]
    for block in blocks:
        room = first_room if len(pages) == 1 else next_room
        if pages[-1] and len(pages) < count:
            used = rows_demand(summary, [*pages[-1], *block]) * pitch
            if used > min(room, share * room + pitch):
                pages.append([])
        pages[-1].extend(block)
    return pages


def draw_head(
    sheet: Sheet, summary: Summary, margin: float, title: Sequence[str], folio: str, *, continued: bool
) -> float:
    """Write the finding, and below it which trial and how many rows.

    Parameters
    ----------
    sheet : Sheet
    summary : Summary
    margin : float
        [mm]
    title : sequence of str
        Lines of the finding.
    folio : str
        Which page of how many.
    continued : bool
        Whether an earlier page carries the finding.

    Returns
    -------
    float
        Where it ends. [mm]
    """
    trial = summary.trial or "Trial summary"
    room = sheet.width_mm - 2 * margin
    y = margin
    for line in [shorten(f"{trial}, continued", room, SIZES.title, SEMIBOLD)] if continued else title:
        y += TITLE_LINE
        sheet.write(margin, y - 1.2, line, SIZES.title, weight=SEMIBOLD, column="title")
    y += 3.4
    order = "hardiest selection first" if summary.grouped else "hardiest first"
    what = f"{words.count(len(summary.cells), 'row')}: a selection on a rootstock, {order}" if summary.cells else ""
    left = room - width_mm(f" · {what}   {folio}", SIZES.text)  # for the trial's name
    facts = [what] if continued else [shorten(trial, left, SIZES.text), what]
    line = " · ".join(fact for fact in facts if fact)
    sheet.write(margin, y, line, SIZES.text, colour=QUIET, column="title")
    if folio:
        sheet.write(sheet.width_mm - margin, y, folio, SIZES.text, colour=QUIET, align="right", column="folio")
    return y + 2.1


def draw_winters(
    sheet: Sheet, summary: Summary, columns: Columns, floors_key: key.Group, top: float, lanes: int,
    most: int = MOST_WINTERS,
) -> float:  # fmt: skip
    """Draw a strip per winter, its words on the left, the key of the floors on the right.

    Parameters
    ----------
    sheet : Sheet
    summary : Summary
    columns : Columns
    floors_key : Group
    top : float
        [mm]
    lanes : int
        Lines of labels under the icicles.
    most : int
        Strips; earlier winters share one.

    Returns
    -------
    float
        Where it ends. [mm]
    """
    scale, y = columns.scale, top + 5.0
    sheet.write(columns.left, y, "How cold it was", SIZES.heading, weight=SEMIBOLD, column="heading")
    key_left = scale.right + 7.0
    key.draw_group(sheet, floors_key, SIZES, key_left, columns.right - key_left, top + 2.0)
    strips, y = recent(summary.winters, most), y + 2.0
    if not strips:
        sheet.write(columns.left, y + 2.6, "No freeze is measured yet.", SIZES.text, column="winter-words")
        return top + winters_height(summary, floors_key, lanes, most)
    high = strip_height(SIZES, lanes)
    draw_labels(sheet, scale, OTHER[summary.units], SIZES, y - 1.4, y)
    draw_grid(sheet, scale, summary.units, SIZES.small, y, y + high * len(strips))
    room = scale.left - columns.left - 3.0
    smaller = any(winter_words_width(winter, summary.units, SIZES) > room for winter in strips)
    for winter in strips:
        sheet.stroke([(columns.left, y), (scale.left, y)], HAIRLINE, 0.5)
        draw_strip(sheet, winter, scale, plan_labels(winter, scale, summary.units, SIZES, lanes), SIZES, y)
        draw_winter_words(sheet, winter, summary.units, SIZES, columns.left, room, y + 2.6, smaller=smaller)
        y += high
    draw_labels(sheet, scale, summary.units, SIZES, y + 2.6, y)
    return top + winters_height(summary, floors_key, lanes, most)


def _draw_foot(
    sheet: Sheet, page: Format, groups: Sequence[key.Group], method: Sequence[tuple[str, bool]], top: float
) -> None:
    """Draw the key of the squares, that of the floors where it does not stand above, and the method."""
    y = top + 1.5
    sheet.stroke([(page.margin, y), (page.margin + page.room, y)], HAIRLINE, 0.5)
    y += 1.4
    share = KEY_SHARE * page.room
    bottom = key.draw_group(sheet, groups[0], SIZES, page.margin, share, y, 2)
    key.draw_group(sheet, groups[1], SIZES, page.margin + share, page.room - share, y, 2)
    for group in groups[2:]:
        bottom = key.draw_group(sheet, group, SIZES, page.margin, page.room, bottom, 3)
    key.draw_method(sheet, method, SIZES, page.margin, bottom + 1.6)
