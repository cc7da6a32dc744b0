"""The survival curves of a selection on a rootstock: a strip for each grade, on one temperature scale.

``prepare_survival`` takes the model's curves and the plants' rows, ``draw_survival`` puts them on a page. A line is the
share that comes through without reaching the grade, the tint its interval; the blue steps are Turnbull's estimate from
these plants alone (the share lies between the two); marks above and below a strip are plants.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import xarray as xr

from hardiness import words
from hardiness.figures.formats import Format, format_named
from hardiness.figures.naming import grade_heading, heading_lines
from hardiness.figures.plate import Plate, Words, close_plate, empty_plate, name_axes, open_plate
from hardiness.figures.scale import OTHER, Scale, draw_grid, draw_labels, temperature_ends
from hardiness.figures.sheet import LAYER, Sheet
from hardiness.figures.style import ACCENT, HAIRLINE, INK, PAPER, QUIET, drawing, grade_ramp
from hardiness.figures.summary_floors import circle, hatch
from hardiness.figures.typeface import MM_PER_POINT, SEMIBOLD, clean, width_mm
from hardiness.settings import Settings
from hardiness.tolerance.thresholds import plain_curves

BEYOND_C = 3.0  # [K] the curves are drawn so far colder than tested and warmer than met
POINTS = 141
LEAST_SHOWN = 0.5  # [1] share to which plants were tested where half a cell is spoken of
MOST_LINES = 2  # of a strip's heading
TINT = "#DDE3E0"
AXES = "Up: share of plants that come through without reaching the grade. Across: temperature held."
METHOD = (
    "Line: that share in a typical freeze; tint: its central {level} interval. Thin steps: the same from these plants "
    "alone (Turnbull); where two run, the share lies between. Ring above a strip: a plant came through there; square "
    "below: it reached the grade; a half square: it may have, on top of older damage. Hatched: colder than tested. An "
    "estimate for the places and winters tested."
)


@dataclass(frozen=True, slots=True)
class Mark:
    """Plants of one exposure and one fate.

    Parameters
    ----------
    exposure_c : float
        [degC]
    fate : str
        ``came``, ``reached`` or ``unclear``.
    rows : int
    """

    exposure_c: float
    fate: str
    rows: int


@dataclass(frozen=True, slots=True)
class Strip:
    """One grade.

    Parameters
    ----------
    grade : int
    heading : str
    low, middle, high : tuple of float
        Shares at the temperatures. [1]
    least, most : tuple of float
        Turnbull's; empty where there is no estimate. [1]
    marks : tuple of Mark
    """

    grade: int
    heading: str
    low: tuple[float, ...]
    middle: tuple[float, ...]
    high: tuple[float, ...]
    least: tuple[float, ...]
    most: tuple[float, ...]
    marks: tuple[Mark, ...]


@dataclass(frozen=True, slots=True)
class Survival:
    """What the figure shows.

    Parameters
    ----------
    words : Words
    units : str
    grades : int
    temperatures_c : tuple of float
        [degC]
    tested_to_c : float
        NaN where untested. [degC]
    strips : tuple of Strip
        From the first grade to the last.
    """

    words: Words
    units: str
    grades: int
    temperatures_c: tuple[float, ...]
    tested_to_c: float
    strips: tuple[Strip, ...]


def survival_temperatures(rows: pd.DataFrame) -> np.ndarray:
    """Choose the temperatures at which curves are drawn. [degC].

    Parameters
    ----------
    rows : pandas.DataFrame
        Observations of the cell.

    Returns
    -------
    ndarray
        [degC]
    """
    met = rows["exposure_c"].to_numpy(float)
    cold, warm = temperature_ends([met.min() - BEYOND_C, met.max() + BEYOND_C / 2]) if met.size else (-12.0, 0.0)
    return np.linspace(cold, warm, POINTS)


def prepare_survival(
    curves: Mapping[int, xr.DataArray],
    rows: pd.DataFrame,
    *,
    selection: str,
    rootstock: str,
    settings: Settings,
    level: float = 0.9,
) -> Survival:
    """Turn the curves of one cell into what the figure shows.

    Parameters
    ----------
    curves : mapping of int to xarray.DataArray
        By grade, dims (temperature, quantile), three quantiles. [1]
    rows : pandas.DataFrame
        The cell's observations, unprotected.
    selection, rootstock : str
    settings : Settings
    level : float
        Probability of the tint.

    Returns
    -------
    Survival
    """
    who = f"{clean(selection)} {words.on_stock(clean(rootstock))}"
    facts = clean(settings.name)
    method = METHOD.format(level=f"{100 * level:g} %")
    if rows.empty or not curves:
        none = "No selection is registered yet" if not selection else f"{who} has no score that counts"
        title = f"{none}: no curve can be drawn"
        empty = "It takes plants of it that met a freeze and were scored afterwards: hardiness add scores FILE."
        said = Words(title, facts, "", f"{title}. {empty}", empty)
        return Survival(said, settings.units, len(settings.grades), (), math.nan, ())
    temperatures = next(iter(curves.values()))["temperature"].to_numpy()
    strips = []
    for grade, shares in sorted(curves.items()):
        low, middle, high = (tuple(shares.to_numpy()[:, place].tolist()) for place in range(3))
        plain = plain_curves(rows, temperatures.tolist(), grade)
        least, most = (
            tuple(plain.to_numpy()[0, :, side].tolist()) if plain.sizes["selection"] else () for side in (0, 1)
        )
        heading = grade_heading(grade, clean(settings.grades[grade]), last=grade == settings.worst)
        strips.append(Strip(grade, heading, low, middle, high, least, most, _marks(rows, grade)))
    facts += f" · {words.count(rows['plant'].nunique(), 'plant')}, {words.count(len(rows), 'score')}"
    facts += f", {words.count(rows['winter'].nunique(), 'winter')}"
    tested = float(rows["exposure_c"].min())
    title = _title(who, rows, temperatures, strips[-1], settings)
    description = f"{title}. Tested to {words.temperature(tested, settings.units)}. " + " ".join(
        f"{strip.heading}: half come through {_where(temperatures, strip.middle, 0.5, settings.units)}."
        for strip in strips
    )
    said = Words(title, facts, method, description)
    return Survival(said, settings.units, len(settings.grades), tuple(temperatures.tolist()), tested, tuple(strips))


def _marks(rows: pd.DataFrame, grade: int) -> tuple[Mark, ...]:
    fate = np.where(rows["grade"] < grade, "came", np.where(rows["grade_low"] >= grade, "reached", "unclear"))
    counted = rows.assign(fate=fate).groupby(["exposure_c", "fate"], sort=True).size().reset_index(name="rows")
    return tuple(
        Mark(float(row["exposure_c"]), str(row["fate"]), int(row["rows"])) for row in counted.to_dict("records")
    )


def _title(who: str, rows: pd.DataFrame, temperatures: np.ndarray, last: Strip, settings: Settings) -> str:
    lost, came = rows["grade_low"] >= settings.worst, rows["grade"] < settings.worst
    if not lost.any():
        return f"{who}: none was lost, down to {words.temperature(float(rows['exposure_c'].min()), settings.units)}"
    if not came.any():
        warm = words.temperature(float(rows.loc[lost, "exposure_c"].max()), settings.units)
        return f"{who}: all were lost, the first at {warm}"
    nine, half = (_where(temperatures, last.middle, share, settings.units) for share in (0.9, 0.5))
    tested = float(rows["exposure_c"].min())
    if float(np.interp(tested, temperatures, last.middle)) > LEAST_SHOWN:
        cold = words.temperature(tested, settings.units)
        return f"{who}: 9 in 10 come through {nine}; nothing colder than {cold} was tested"
    return f"{who}: 9 in 10 come through {nine}, half come through {half}"


def _where(temperatures: np.ndarray, shares: tuple[float, ...], share: float, units: str) -> str:
    values = np.asarray(shares)
    if not values[0] < share < values[-1]:
        end = words.temperature(float(temperatures[0 if share <= values[0] else -1]), units)
        return f"{end} and colder" if share <= values[0] else f"{end} only when warmer"
    return words.temperature(float(np.interp(share, values, temperatures)), units)


def draw_survival(prepared: Survival, *, page: str | Format = "A4") -> list[Sheet]:
    """Draw the survival curves.

    Parameters
    ----------
    prepared : Survival
    page : str or Format
        One of the page formats, or the room that a page leaves for it.

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
        if prepared.words.empty:
            return empty_plate(form, prepared.words)
        plate = open_plate(form, prepared.words)
        name_axes(plate, AXES)
        return [close_plate(plate, _draw(plate, prepared, form))]


def _draw(plate: Plate, prepared: Survival, form: Format) -> float:
    sizes, sheet = form.sizes, plate.sheet
    small, line = sizes.small * MM_PER_POINT, 1.3 * sizes.text * MM_PER_POINT
    columns = min(3 if len(prepared.strips) > 4 else 2, len(prepared.strips)) if form.fixed else 1
    rows = -(-len(prepared.strips) // columns)
    beside = width_mm("100 %", sizes.small) + 1.6
    wide = form.room / columns
    lane = 1.5 * small
    ends = 3.6 * small  # a row of labels with its ticks
    named = [heading_lines(strip.heading, wide - beside - 7.0, sizes.text, MOST_LINES) for strip in prepared.strips]
    heading = line * max(len(lines) for lines in named)
    free = (plate.bottom - plate.top - 2 * ends) / rows - heading - 2 * lane - 1.6
    high = max(min(free, 26.0), 5.0)
    lowest = plate.top
    for column in range(columns):
        left = plate.left + column * wide + beside
        scale = Scale(prepared.temperatures_c[0], prepared.temperatures_c[-1], left, left - beside + wide - 7.0)
        y = plate.top + ends
        draw_labels(sheet, scale, OTHER[prepared.units], sizes, y - 1.2 - 0.4 * small, y - 0.4 * small)
        some = slice(column * rows, (column + 1) * rows)
        for strip, lines in zip(prepared.strips[some], named[some], strict=True):
            for up, text in enumerate(reversed(lines)):
                sheet.write(left, y + heading - (0.2 + up) * line, text, sizes.text, weight=SEMIBOLD,
                            column=f"strip-{left:.0f}")  # fmt: skip
            top = y + heading + lane
            _draw_strip(sheet, prepared, strip, scale, top, top + high, lane, form)
            y = top + high + lane + 1.6
        draw_labels(sheet, scale, prepared.units, sizes, y + 1.7 * small, y)
        lowest = max(lowest, y + ends)
    return lowest


def _draw_strip(
    sheet: Sheet, prepared: Survival, strip: Strip, scale: Scale, top: float, foot: float, lane: float, form: Format
) -> None:
    sizes = form.sizes
    draw_grid(sheet, scale, prepared.units, sizes.small, top, foot)
    hatch(sheet, scale.left, scale.x(prepared.tested_to_c), top, foot)
    for share, text in ((0.0, "0"), (0.5, "50"), (1.0, "100 %")):
        y = foot - share * (foot - top)
        sheet.stroke([(scale.left, y), (scale.right, y)], HAIRLINE if share == 0.5 else QUIET, 0.4, LAYER.grid)
        sheet.write(scale.left - 1.0, y, text, sizes.small, colour=QUIET, align="right", middle=True,
                    column=f"share-{scale.left:.0f}-{top:.0f}")  # fmt: skip
    xs = [scale.x(value) for value in prepared.temperatures_c]

    def path(shares: tuple[float, ...]) -> list[tuple[float, float]]:
        return [(x, foot - share * (foot - top)) for x, share in zip(xs, shares, strict=True)]

    sheet.shape([*path(strip.low), *reversed(path(strip.high))], fill=TINT, layer=LAYER.ground + 0.1)
    for shares in dict.fromkeys((strip.least, strip.most)):
        if shares:
            sheet.stroke(_stepped(path(shares)), ACCENT, 0.7, LAYER.halo)
    sheet.stroke(path(strip.middle), INK, 1.4)
    fill = grade_ramp(prepared.grades)[strip.grade]
    for mark, x in _apart(strip.marks, scale):
        _draw_mark(sheet, mark, x, top - 0.55 * lane if mark.fate == "came" else foot + 0.55 * lane, fill, form)


def _stepped(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    out = points[:1]
    for x, y in points[1:]:
        if y != out[-1][1]:
            out.append((x, out[-1][1]))
        out.append((x, y))
    return out


def _apart(marks: tuple[Mark, ...], scale: Scale) -> list[tuple[Mark, float]]:
    """Join marks of one fate that would overlap; they stand at the middle of their rows."""
    joined: list[tuple[Mark, float]] = []
    for fate in ("came", "reached", "unclear"):
        own: list[tuple[Mark, float]] = []
        for mark in (mark for mark in marks if mark.fate == fate):
            x = scale.x(mark.exposure_c)
            if own and x - own[-1][1] < 4.6:
                before, at = own[-1]
                rows = before.rows + mark.rows
                middle = (before.exposure_c * before.rows + mark.exposure_c * mark.rows) / rows
                own[-1] = (Mark(middle, fate, rows), (at * before.rows + x * mark.rows) / rows)
            else:
                own.append((mark, x))
        joined += own
    return joined


def _draw_mark(sheet: Sheet, mark: Mark, x: float, y: float, fill: str, form: Format) -> None:
    side = 0.55 * form.sizes.small * MM_PER_POINT
    if mark.fate == "came":
        sheet.shape(circle(x, y, side / 2), fill=PAPER, edge=INK, width_pt=0.7)
    elif mark.fate == "reached":
        sheet.shape(sheet.box(x - side / 2, y - side / 2, side, side), fill=fill, edge=INK, width_pt=0.5)
    else:
        sheet.shape(sheet.box(x - side / 2, y, side, side / 2), fill=PAPER, edge=INK, width_pt=0.6)
    if mark.rows > 1:
        sheet.write(x + side / 2 + 0.5, y, str(mark.rows), form.sizes.small, colour=QUIET, middle=True)
