"""Whether what the model says happens as often as it says: predicted against seen, a panel for each grade.

``prepare_calibration`` turns the calibration table into numbers and words, ``draw_calibration`` puts them on a page. A
dot is the share of rows that reached the grade, a pale bar the range in which nine of ten such shares should lie, the
slanting line where predicted and seen are the same. A dot outside its bar is an open ring.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from hardiness import words
from hardiness.figures.formats import PAGES, Format, format_named
from hardiness.figures.naming import grade_heading, heading_lines
from hardiness.figures.plate import Plate, Words, close_plate, empty_plate, name_axes, open_plate
from hardiness.figures.sheet import LAYER, Sheet
from hardiness.figures.style import HAIRLINE, INK, PAPER, QUIET, Sizes, drawing
from hardiness.figures.summary_floors import circle
from hardiness.figures.typeface import MM_PER_POINT, SEMIBOLD, clean, shorten, width_mm

BAR = "#CFD8DC"  # the range that chance allows
MOST_LINES = {False: 3, True: 2}  # of a panel's heading, of one row of panels and of several
COLUMNS = {True: 2, False: 3}  # panels beside each other at least, on a phone and elsewhere
TALLEST = 1.7  # [1] how much higher than wide a panel is at most, where a slide leaves room below
LEAST_ROWS = 20  # of fewer nothing is concluded; common practice, no source
TICKS = (0.0, 0.25, 0.5, 0.75, 1.0)
METHOD = (
    "Slanting line: both shares alike. Each row is predicted from the other plants and from its plant's own earlier "
    "scores. Bars: where nine of ten such shares lie if the predictions are right, rows taken as independent; an open "
    "ring lies outside."
)
AXES = "Up: share of rows that reached the grade [%]. Across: share predicted [%]."


__all__ = ["PAGES", "Calibration", "draw_calibration", "prepare_calibration"]


@dataclass(frozen=True, slots=True)
class Bin:
    """One bin of predictions, all as shares.

    Parameters
    ----------
    predicted, seen, low, high : float
        Mean prediction; share that reached the grade; its limits. [1]
    rows : int
    fits : bool
    """

    predicted: float
    seen: float
    low: float
    high: float
    rows: int
    fits: bool


@dataclass(frozen=True, slots=True)
class Panel:
    """One grade.

    Parameters
    ----------
    heading, foot : str
    bins : tuple of Bin
    """

    heading: str
    foot: str
    bins: tuple[Bin, ...]


@dataclass(frozen=True, slots=True)
class Calibration:
    """What the page shows.

    Parameters
    ----------
    words : Words
    panels : tuple of Panel
    """

    words: Words
    panels: tuple[Panel, ...]


def prepare_calibration(table: pd.DataFrame, grades: Sequence[str], trial: str = "") -> Calibration:
    """Turn a calibration table into what the page shows.

    Parameters
    ----------
    table : DataFrame
        Columns of ``schema.CALIBRATION``.
    grades : sequence of str
        Names of all grades, from the unharmed one.
    trial : str
        Its name.

    Returns
    -------
    Calibration
    """
    panels = []
    for grade in range(1, len(grades)):
        some = table[table["grade"] == grade]
        rows, fits = some["rows"].to_numpy(float), some["as_predicted"].to_numpy(bool)
        shares = [some[name].to_numpy(float) / rows for name in ("expected", "reached", "low", "high")]
        bins = tuple(
            Bin(float(predicted), float(seen), float(low), float(high), int(n), bool(fit))
            for predicted, seen, low, high, n, fit in zip(*shares, rows, fits, strict=True)
        )
        last = grade == len(grades) - 1
        foot = (
            f"{int(some['reached'].sum()):,} of {words.count(int(some['rows'].sum()), 'row')}, "
            f"{words.number(float(some['expected'].sum()), 0)} expected"
            if bins
            else "no row could show it"
        )
        panels.append(Panel(grade_heading(grade, clean(grades[grade]), last=last), foot, bins))
    groups = sum(len(panel.bins) for panel in panels)
    most = int(table.groupby("grade")["rows"].sum().max()) if groups else 0
    title, facts = _title(panels, most), clean(trial)
    if not groups:
        empty = "It takes scores of plants that met a freeze: hardiness add scores FILE."
        return Calibration(Words(title, facts, "", f"{title}. {empty}", empty), ())
    facts = " · ".join(part for part in (facts, f"{words.count(most, 'row')}, {words.count(groups, 'group')}") if part)
    told = " ".join(f"{panel.heading}: {panel.foot}." for panel in panels)
    return Calibration(Words(title, facts, METHOD, f"{title}. {told} {METHOD}"), tuple(panels))


def _title(panels: Sequence[Panel], rows: int) -> str:
    bins = [some for panel in panels for some in panel.bins]
    if not bins:
        return "No row could be predicted yet"
    if rows < LEAST_ROWS:
        return f"Only {words.count(rows, 'row')} predicted: too few to tell whether the model is right"
    outside = sum(not some.fits for some in bins)
    if outside == 0:
        return "Damage came about as often as the model predicted"
    share = f"{len(bins) - outside} of {len(bins)} groups of scores came as often as predicted"
    return share if outside <= math.ceil(0.2 * len(bins)) else f"Only {share}: read the floors with care"


def draw_calibration(picture: Calibration, *, page: str | Format = "A4") -> list[Sheet]:
    """Draw the calibration of a fit.

    Parameters
    ----------
    picture : Calibration
    page : str or Format
        One of the page formats, or the room that a page leaves for it; on paper and on a phone as high as it takes.

    Returns
    -------
    list of Sheet
        One page.

    Raises
    ------
    InputError
        If there is no such format.
    """
    form = format_named(page)
    with drawing():
        if picture.words.empty:
            return empty_plate(form, picture.words)
        plate = open_plate(form, picture.words)
        name_axes(plate, AXES)
        return [close_plate(plate, _draw(plate, picture, form))]


def _draw(plate: Plate, picture: Calibration, form: Format) -> float:
    sizes = form.sizes
    scale = width_mm("100", sizes.small) + 2.0  # figures of the upright scale
    high, small = 1.25 * sizes.text * MM_PER_POINT, sizes.small * MM_PER_POINT  # of a line
    below = 2.9 * small + 1.2 * high  # of a panel
    least = COLUMNS[form.narrow]
    for columns in range(least, max(len(picture.panels), least) + 1):  # more beside each other where they are many
        side = form.room / columns - scale - 4.0
        rows = -(-len(picture.panels) // columns)
        most = MOST_LINES[rows > 1]
        around = (most + 0.6) * high + below
        if rows * (side + around) <= plate.bottom - plate.top:
            break
    room = (plate.bottom - plate.top) / rows - around
    side = min(side, room)
    tall = min(room, TALLEST * side) if form.fixed else side
    headings = [heading_lines(panel.heading, side + 3.0, sizes.text, most) for panel in picture.panels]
    y = plate.top
    for first in range(0, len(headings), columns):
        lines = max(len(heading) for heading in headings[first : first + columns])
        head = y + (lines + 0.6) * high
        for place, panel in enumerate(picture.panels[first : first + columns]):
            left = plate.left + place * form.room / columns + scale
            for up, text in enumerate(reversed(headings[first + place])):
                plate.sheet.write(left, head - (0.6 + up) * high, text, sizes.text, weight=SEMIBOLD,
                                  column=f"head-{left:.0f}")  # fmt: skip
            _draw_panel(plate.sheet, panel, sizes, left, head, (side, tall))
        y = head + tall + 2.9 * small + 1.2 * high
    return y


def _draw_panel(sheet: Sheet, panel: Panel, sizes: Sizes, left: float, head: float, sides: tuple[float, float]) -> None:
    side, tall = sides
    foot = head + tall
    for share in TICKS:
        x, y = left + share * side, foot - share * tall
        sheet.stroke([(x, head), (x, foot)], HAIRLINE, 0.4, LAYER.grid)
        sheet.stroke([(left, y), (left + side, y)], HAIRLINE, 0.4, LAYER.grid)
        label = words.number(100 * share, 0)
        sheet.write(x, foot + 1.35 * sizes.small * MM_PER_POINT, label, sizes.small, colour=QUIET, align="center",
                    column=f"across-{left:.0f}-{head:.0f}")  # fmt: skip
        sheet.write(left - 1.2, y, label, sizes.small, colour=QUIET, align="right", middle=True,
                    column=f"up-{left:.0f}-{head:.0f}")  # fmt: skip
    sheet.stroke([(left, foot), (left + side, head)], QUIET, 0.6, LAYER.line)
    wide = 0.035 * side
    for some in panel.bins:
        x = left + some.predicted * side
        bottom, above = foot - some.low * tall, foot - some.high * tall
        thick = max(bottom - above, 0.6)
        middle = (bottom + above) / 2
        sheet.shape(sheet.box(x - wide / 2, middle - thick / 2, wide, thick), fill=BAR, layer=LAYER.halo)
        dot = circle(x, foot - some.seen * tall, 0.024 * side)
        if some.fits:
            sheet.shape(dot, fill=INK, edge=PAPER, width_pt=0.4)
        else:
            sheet.shape(dot, fill=PAPER, edge=INK, width_pt=1.0)
    foot += 2.9 * sizes.small * MM_PER_POINT
    sheet.write(left, foot, shorten(panel.foot, side + 3.5, sizes.small), sizes.small,
                colour=QUIET, column=f"foot-{left:.0f}-{head:.0f}")  # fmt: skip
