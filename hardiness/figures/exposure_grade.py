"""What each cold did: exposure against grade, how many plants were found in each grade at each temperature.

``prepare_exposure_grade`` counts rows by half degree and grade, ``draw_exposure_grade`` draws a square for each count,
as large as the share of the plants that met this temperature, with the number of plants in it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from hardiness import words
from hardiness.figures.formats import Format, format_named
from hardiness.figures.plate import Plate, Words, close_plate, empty_plate, open_plate
from hardiness.figures.scale import OTHER, Scale, draw_grid, draw_labels, temperature_ends
from hardiness.figures.sheet import Sheet
from hardiness.figures.style import HAIRLINE, INK, QUIET, drawing, grade_ramp, text_on
from hardiness.figures.typeface import MM_PER_POINT, SEMIBOLD, clean, shorten, width_mm, wrap
from hardiness.settings import Settings

BIN_C, NARROW_BIN_C = 0.5, 1.0  # [K] exposures so near each other are counted together
LEAST_SHARE_SIDE = 0.3  # of the largest square, for the rarest grade
METHOD = (
    "A square: plants found in this grade after meeting this held temperature (counted by {bin}, protected rows "
    "left out); its area is their share of all that met it, the figure their number. A grade may carry older "
    "damage of the same winter."
)


@dataclass(frozen=True, slots=True)
class Count:
    """Rows of one grade at one temperature.

    Parameters
    ----------
    exposure_c : float
        Middle of the bin. [degC]
    grade : int
    rows : int
    share : float
        Of all rows at this temperature. [1]
    """

    exposure_c: float
    grade: int
    rows: int
    share: float


@dataclass(frozen=True, slots=True)
class ExposureGrade:
    """What the figure shows.

    Parameters
    ----------
    words : Words
    units : str
    grades : tuple of str
    counts : tuple of Count
    bin_c : float
        [K]
    """

    words: Words
    units: str
    grades: tuple[str, ...]
    counts: tuple[Count, ...]
    bin_c: float


def prepare_exposure_grade(
    observations: pd.DataFrame, *, settings: Settings, selection: str = "", rootstock: str = "", bin_c: float = BIN_C
) -> ExposureGrade:
    """Count rows by exposure and grade.

    Parameters
    ----------
    observations : pandas.DataFrame
        The observations table.
    settings : Settings
    selection, rootstock : str
        Only these; empty: all.
    bin_c : float
        Exposures so near each other are counted together. [K]

    Returns
    -------
    ExposureGrade
    """
    rows = observations[observations["protected"].isin(["", "no"]) & observations["exposure_c"].notna()]
    rows = rows[rows["selection"] == selection] if selection else rows
    rows = rows[rows["rootstock"] == rootstock] if rootstock else rows
    who = clean(selection) if selection else "The trial's plants"
    who += f" {words.on_stock(clean(rootstock))}" if rootstock else ""
    facts = clean(settings.name)
    if rows.empty:
        title = f"{who}: no score that counts yet"
        empty = "It takes scores of plants that have met a freeze: hardiness add scores FILE."
        return ExposureGrade(
            Words(title, facts, "", f"{title}. {empty}", empty), settings.units, settings.grades, (), bin_c
        )
    bins = (rows["exposure_c"] / bin_c).round() * bin_c
    counted = rows.assign(bin=bins).groupby(["bin", "grade"], sort=True).size().reset_index(name="rows")
    totals = bins.value_counts()
    counts = tuple(
        Count(float(row["bin"]), int(row["grade"]), int(row["rows"]), float(row["rows"] / totals[row["bin"]]))
        for row in counted.to_dict("records")
    )
    title = _title(who, rows, settings)
    facts += f" · {words.count(rows['plant'].nunique(), 'plant')}, {words.count(len(rows), 'row')}"
    listed = "; ".join(
        f"{words.temperature(count.exposure_c, settings.units)}, grade {count.grade}: {count.rows}" for count in counts
    )
    method = METHOD.format(bin="half a degree" if bin_c == BIN_C else f"{bin_c:g} °C")
    said = Words(title, facts, method, f"{title}. {listed}.")
    return ExposureGrade(said, settings.units, settings.grades, counts, bin_c)


def _title(who: str, rows: pd.DataFrame, settings: Settings) -> str:
    dead = rows[rows["grade"] == settings.worst]
    if dead.empty:
        return f"{who}: none dead, down to {words.temperature(float(rows['exposure_c'].min()), settings.units)}"
    warmest = words.temperature(float(dead["exposure_c"].max()), settings.units)
    alive = rows[rows["grade"] < settings.worst]
    if alive.empty:
        return f"{who}: all dead, the first at {warmest}"
    coldest = words.temperature(float(alive["exposure_c"].min()), settings.units)
    return f"{who}: first deaths at {warmest}, some alive after {coldest}"


def draw_exposure_grade(prepared: ExposureGrade, *, page: str = "A4") -> list[Sheet]:
    """Draw exposure against grade.

    Parameters
    ----------
    prepared : ExposureGrade
    page : str
        One of the page formats.

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
        return [close_plate(plate, _draw(plate, prepared, form))]


def _draw(plate: Plate, prepared: ExposureGrade, form: Format) -> float:
    sizes, sheet, lanes = form.sizes, plate.sheet, len(prepared.grades)
    small, line = sizes.small * MM_PER_POINT, 1.2 * sizes.small * MM_PER_POINT
    beside = width_mm(f"{lanes} ", sizes.text, SEMIBOLD) + 0.8
    label = min(0.26 * form.room, beside + max(width_mm(clean(name), sizes.small) for name in prepared.grades) + 0.1)
    left = plate.left + label + 2.0
    cold, warm = temperature_ends([count.exposure_c for count in prepared.counts])
    scale = Scale(cold, warm, left, plate.right - 7.0)
    per_bin = prepared.bin_c / (warm - cold) * (scale.right - scale.left)
    high = min((plate.bottom - plate.top - 6.4 * small) / lanes, 11.5)
    most = min(high - 0.6, max(per_bin - 0.2, 2.2))
    y = plate.top + 3.0 * small
    draw_labels(sheet, scale, OTHER[prepared.units], sizes, y - 1.2, y)
    draw_grid(sheet, scale, prepared.units, sizes.small, y, y + lanes * high)
    for grade, name in enumerate(prepared.grades):
        middle = y + (grade + 0.5) * high
        sheet.stroke([(plate.left, y + grade * high), (scale.right, y + grade * high)], HAIRLINE, 0.4, 2.0)
        said = wrap(clean(name), label - beside, sizes.small)[: max(int(high / line), 1)]
        first = middle - (len(said) - 1) * line / 2
        sheet.write(plate.left, first, str(grade), sizes.text, weight=SEMIBOLD, middle=True, column="grades")
        for place, text in enumerate(said):
            sheet.write(plate.left + beside, first + place * line, shorten(text, label - beside, sizes.small),
                        sizes.small, middle=True, column="grades")  # fmt: skip
    ramp = grade_ramp(lanes)
    for count in prepared.counts:
        side = most * max(math.sqrt(count.share), LEAST_SHARE_SIDE)
        x, middle = scale.x(count.exposure_c), y + (count.grade + 0.5) * high
        fill = ramp[count.grade]
        sheet.shape(sheet.box(x - side / 2, middle - side / 2, side, side), fill=fill, edge=QUIET, width_pt=0.3)
        inside = width_mm(str(count.rows), sizes.small) < side - 0.6 and side > small
        text_y = middle if inside else middle + side / 2 + 0.55 * small
        sheet.write(x, text_y, str(count.rows), sizes.small, colour=text_on(fill) if inside else INK, align="center",
                    middle=True)  # fmt: skip
    foot = y + lanes * high
    draw_labels(sheet, scale, prepared.units, sizes, foot + 1.6 * small, foot)
    return foot + 2.4 * small
