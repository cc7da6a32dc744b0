"""A station against a logger: the coldest of each night at both, and the line between them.

``prepare_station_logger`` pairs the minima of nights (noon to noon in the trial's zone) and fits a line by least
squares; ``draw_station_logger`` puts them on a page. It describes; it is not the model that fills a silent logger.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
import xarray as xr

from hardiness import words
from hardiness.figures.formats import Format, format_named
from hardiness.figures.naming import printable
from hardiness.figures.plate import Plate, Words, close_plate, empty_plate, open_plate
from hardiness.figures.ruler import Ruler
from hardiness.figures.scale import OTHER, Scale, draw_grid, draw_labels, temperature_ends
from hardiness.figures.sheet import LAYER, Sheet
from hardiness.figures.style import ACCENT, HAIRLINE, HATCH, INK, PAPER, QUIET, drawing
from hardiness.figures.summary_floors import circle
from hardiness.figures.typeface import MM_PER_POINT, clean, shorten, width_mm
from hardiness.settings import Settings
from hardiness.units import difference_to_fahrenheit, to_celsius

LEAST_NIGHTS = 5
WARMEST_C = 5.0  # [degC] nights warmer at the station say nothing about frost
ENOUGH = 0.75  # share of a night's readings that makes it whole
MOST_HIGH = 160.0  # [mm] of the picture
WIDEST = 3.0  # [1] how much wider than high it is at most on a slide, which has no room below; a square elsewhere
METHOD = (
    "A dot: one night, noon to noon; coldest reading at the station (across) and at the logger (up). Nights above "
    "{warmest} at the station, and nights with gaps, are left out. Thick line: least squares; pale lines: where nine "
    "of ten nights lie; thin line: both alike. Dark dots: freezing at the logger."
)


@dataclass(frozen=True, slots=True)
class StationLogger:
    """What the figure shows.

    Parameters
    ----------
    words : Words
    units : str
    station, logger : str
    station_c, logger_c : tuple of float
        Coldest of each night. [degC]
    slope : float
        Degrees at the logger per degree at the station. [1]
    intercept_c : float
        Of the line. [degC]
    scatter_c : float
        Standard deviation around the line. [K]
    """

    words: Words
    units: str
    station: str
    logger: str
    station_c: tuple[float, ...]
    logger_c: tuple[float, ...]
    slope: float
    intercept_c: float
    scatter_c: float


def prepare_station_logger(
    station: xr.DataArray, logger: xr.DataArray, *, station_name: str, logger_name: str, settings: Settings
) -> StationLogger:
    """Pair the minima of nights and fit a line.

    Parameters
    ----------
    station, logger : xarray.DataArray
        Air temperature, dims (time,), in UTC. [degC]
    station_name, logger_name : str
    settings : Settings

    Returns
    -------
    StationLogger
    """
    a, b = clean(station_name), clean(logger_name)
    both = pd.concat([_nights(station, settings), _nights(logger, settings)], axis=1, join="inner").dropna()
    both = both[both.iloc[:, 0] <= WARMEST_C]
    x, y = both.iloc[:, 0].to_numpy(float), both.iloc[:, 1].to_numpy(float)
    facts = f"{clean(settings.name)} · {words.count(len(both), 'night')}"
    if len(both) < LEAST_NIGHTS or np.ptp(x) < 1e-9:
        missing = " and no ".join(kind for kind, name in (("station", a), ("logger", b)) if not name)
        title = f"{b} and {a} share too few cold nights to compare"
        if missing:
            title = f"No {missing} has readings yet{f' to compare {b or a} with' if a or b else ''}"
        empty = f"It takes {LEAST_NIGHTS} nights with readings of both, a station and a logger: hardiness add readings."
        said = Words(title, facts, "", f"{title}. {empty}", empty)
        return StationLogger(said, settings.units, a, b, (), (), math.nan, math.nan, math.nan)
    slope, intercept = (float(value) for value in np.polyfit(x, y, 1))
    scatter = float(np.sqrt(((y - intercept - slope * x) ** 2).sum() / (len(both) - 2)))
    freezing = x <= 0
    gap = float(np.mean((y - x)[freezing])) if freezing.any() else float(np.mean(y - x))
    step = difference_to_fahrenheit if settings.units == "F" else float
    when = "in nights of frost at the station" if freezing.any() else "in cool nights"
    size = f"{words.number(abs(step(gap)))} °{settings.units}"
    title = f"{b} runs {size} {'colder' if gap < 0 else 'warmer'} than {a} {when}"
    facts += f" · single nights scatter by {words.number(step(scatter))} °{settings.units} around the line"
    method = METHOD.format(warmest=words.temperature(WARMEST_C, settings.units))
    description = (
        f"{title}. Line: slope {words.number(slope, 2)}, {words.temperature(intercept, settings.units)} at 0 °C."
    )
    return StationLogger(Words(title, facts, method, description), settings.units, a, b, tuple(x.tolist()),
                         tuple(y.tolist()), slope, intercept, scatter)  # fmt: skip


def _nights(series: xr.DataArray, settings: Settings) -> pd.Series:
    """Coldest reading from noon to noon, by the day on which the night begins; nights with gaps are left out."""
    values = series.to_numpy().astype(float)
    known = np.isfinite(values)
    times = pd.DatetimeIndex(series["time"].to_numpy().astype("datetime64[ns]")[known]).tz_localize("UTC")
    night = (times.tz_convert(settings.zone) - pd.Timedelta(hours=12)).tz_localize(None).normalize()
    grouped = pd.Series(values[known], index=night).groupby(level=0)
    counts = grouped.size()
    usual = float(counts.median()) if len(counts) else 0.0
    return grouped.min()[counts >= ENOUGH * usual]


def draw_station_logger(prepared: StationLogger, *, page: str = "A4") -> list[Sheet]:
    """Draw station against logger.

    Parameters
    ----------
    prepared : StationLogger
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


def _draw(plate: Plate, prepared: StationLogger, form: Format) -> float:
    sizes, sheet = form.sizes, plate.sheet
    small = sizes.small * MM_PER_POINT
    cold, warm = temperature_ends([*prepared.station_c, *prepared.logger_c], air=0.1)
    left = plate.left + width_mm("−20 °F", sizes.small) + 1.6
    across, high = plate.right - left - 7.0, min(plate.bottom - plate.top - 7.9 * small, MOST_HIGH)
    high = min(across, high)
    wide = min(across, WIDEST * high) if form.fixed else high
    head = plate.top + 4.0 * small
    foot = head + high
    scale, up = Scale(cold, warm, left, left + wide), Ruler(cold, warm, foot, head)
    sheet.write(plate.left, plate.top + 0.9 * small,
                _axis(prepared.logger, f" (logger), coldest of the night [°{prepared.units}]", form.room, sizes.small),
                sizes.small, colour=QUIET, column="up")  # fmt: skip
    draw_labels(sheet, scale, OTHER[prepared.units], sizes, head - 1.2, head)
    draw_grid(sheet, scale, prepared.units, sizes.small, head, foot)
    for above, text in Scale(cold, warm, 0.0, high).ticks(prepared.units, sizes.small):
        y = foot - above
        sheet.stroke([(left, y), (left + wide, y)], HAIRLINE, 0.4, LAYER.grid)
        sheet.write(left - 1.2, y, text, sizes.small, colour=QUIET, align="right", middle=True, column="up-labels")
    sheet.stroke([(left, foot), (left + wide, head)], QUIET, 0.6, LAYER.halo)
    for shift, colour, width in ((-1.645, HATCH, 0.8), (1.645, HATCH, 0.8), (0.0, ACCENT, 1.8)):
        _line(sheet, prepared, scale, up, shift * prepared.scatter_c, colour, width)
    onset = to_celsius(0.0, "C")
    for x, y in zip(prepared.station_c, prepared.logger_c, strict=True):
        dark = y <= onset
        sheet.shape(circle(scale.x(x), up.at(y), 0.55 if dark else 0.45), fill=INK if dark else PAPER,
                    edge=PAPER if dark else QUIET, width_pt=0.3 if dark else 0.5)  # fmt: skip
    draw_labels(sheet, scale, prepared.units, sizes, foot + 1.6 * small, foot)
    sheet.write(left + wide, foot + 3.2 * small,
                _axis(prepared.station, " (station), coldest of the night", wide, sizes.small), sizes.small,
                colour=QUIET, align="right", column="across")  # fmt: skip
    return foot + 3.6 * small


def _axis(name: str, what: str, room: float, size: float) -> str:
    """Name an axis after a sensor, which is shortened where it is long."""
    return shorten(printable(name), room, size, tail=what)


def _line(
    sheet: Sheet, prepared: StationLogger, scale: Scale, up: Ruler, shift_c: float, colour: str, width: float
) -> None:
    """Draw the line, cut at the edges of the square."""
    ends = np.linspace(min(prepared.station_c), max(prepared.station_c), 201)
    level = prepared.intercept_c + prepared.slope * ends + shift_c
    inside = (level >= up.low) & (level <= up.high)
    if inside.sum() > 1:
        x, y = ends[inside], level[inside]
        line = [(scale.x(float(x[0])), up.at(float(y[0]))), (scale.x(float(x[-1])), up.at(float(y[-1])))]
        if shift_c:
            sheet.stroke(line, colour, width, LAYER.halo)
        else:  # over the dots, which may be many, with a clear edge
            sheet.stroke(line, PAPER, width + 1.0, LAYER.mark + 0.5)
            sheet.stroke(line, colour, width, LAYER.cross)
