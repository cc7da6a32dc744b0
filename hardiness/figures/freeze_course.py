"""One freeze at every sensor: time runs down the page, cold is on the left, a panel a sensor.

``prepare_freeze_course`` cuts the readings of one event out and adds its hours at or below thresholds,
``draw_freeze_course`` puts them on a page. In each panel the other sensors stand behind as hairlines.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import pandas as pd
import xarray as xr

from hardiness import words
from hardiness.figures.formats import Format, format_named
from hardiness.figures.naming import event_words, short_names
from hardiness.figures.plate import Plate, Words, close_plate, empty_plate, open_plate, unwritten
from hardiness.figures.scale import OTHER, Scale, draw_grid, draw_labels, temperature_ends
from hardiness.figures.sheet import LAYER, Sheet
from hardiness.figures.style import ACCENT, BAND, HATCH, INK, PAPER, QUIET, drawing
from hardiness.figures.summary_floors import circle
from hardiness.figures.typeface import MM_PER_POINT, SEMIBOLD, clean, width_mm
from hardiness.schema import hours_column
from hardiness.settings import Settings

AROUND = pd.Timedelta(hours=6)  # before the first crossing and after the last
LEAST_GAP_H = 1.5  # a step longer than this, and than three usual ones, breaks the line [h]
MOST_HOURS = 4  # thresholds listed below a panel
COLUMNS = {True: 2, False: 4}  # panels beside each other, on a phone and elsewhere
LEAST_HIGH = 38.0  # [mm] of a panel
MOST_PALE = 40  # of more sensors only those that have a panel stand behind the others
METHOD = (
    "Line: air temperature at the sensor, times of the trial's zone; tinted: at or below {onset}, where a freeze "
    "begins. Dot: the minimum. Pale lines: {others}. A break: no readings. Below: hours at or below the coldest "
    "thresholds reached."
)


@dataclass(frozen=True, slots=True)
class Course:
    """One sensor in the event.

    Parameters
    ----------
    sensor : str
    hours : tuple of tuple of float
        Since the beginning of the picture, in unbroken runs. [h]
    temperatures_c : tuple of tuple of float
        At these. [degC]
    minimum_h, minimum_c : float
        When and how cold. [h], [degC]
    below : tuple of str
        Hours at or below thresholds, as text, coldest first.
    """

    sensor: str
    hours: tuple[tuple[float, ...], ...]
    temperatures_c: tuple[tuple[float, ...], ...]
    minimum_h: float
    minimum_c: float
    below: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FreezeCourse:
    """What the figure shows.

    Parameters
    ----------
    words : Words
    units : str
    onset_c : float
        [degC]
    begins : datetime.datetime or None
        In the trial's zone.
    lasts_h : float
        [h]
    courses : tuple of Course
        Coldest first.
    zone : str
    """

    words: Words
    units: str
    onset_c: float
    begins: dt.datetime | None
    lasts_h: float
    courses: tuple[Course, ...]
    zone: str


def prepare_freeze_course(
    readings: Mapping[str, xr.DataArray],
    freezes: pd.DataFrame,
    *,
    event: str,
    settings: Settings,
    offsets_c: Mapping[str, float] | None = None,
) -> FreezeCourse:
    """Cut one event out of all readings.

    Parameters
    ----------
    readings : mapping of str to xarray.DataArray
        Air temperature of each sensor, in UTC. [degC]
    freezes : pandas.DataFrame
        The freezes table.
    event : str
        The event's date.
    settings : Settings
    offsets_c : mapping of str to float, optional
        Added to the readings of a sensor. [K]

    Returns
    -------
    FreezeCourse
    """
    own = freezes[freezes["event"] == event].sort_values(["minimum_c", "sensor"], kind="stable")
    own = own.drop_duplicates("sensor")
    facts, onset = clean(settings.name), settings.rules.onset_c
    if own.empty:
        title = f"No freeze of {event} is listed" if event else "No freeze is measured yet"
        empty = (
            "hardiness freezes lists those there are; hardiness add readings FILE --sensor S adds a logger's readings."
        )
        said = Words(title, facts, "", f"{title}. {empty}", empty)
        return FreezeCourse(said, settings.units, onset, None, 0.0, (), settings.timezone)
    starts, ends = own["starts"].min(), own["ends"].max()
    first, last = (
        (starts - AROUND).tz_convert("UTC").tz_localize(None).to_datetime64(),
        (ends + AROUND).tz_convert("UTC").tz_localize(None).to_datetime64(),
    )
    courses = []
    for record in own.to_dict("records"):
        sensor = record["sensor"]
        if sensor not in readings:
            continue
        times, values = _cut(readings[sensor], first, last, (offsets_c or {}).get(sensor, 0.0))
        if not times.size:
            continue
        coldest = int(np.argmin(values))
        runs = _runs(times)
        courses.append(
            Course(
                sensor,
                tuple(tuple(times[run].tolist()) for run in runs),
                tuple(tuple(values[run].tolist()) for run in runs),
                float(times[coldest]),
                float(values[coldest]),
                _below(record, settings),
            )
        )
    coldest_row = own.iloc[0]
    who = clean(str(coldest_row["sensor"]))
    spread = float(own["minimum_c"].max() - own["minimum_c"].min())
    title = f"{words.temperature(float(coldest_row['minimum_c']), settings.units)} at {who}"
    if len(own) > 1:
        warmest = own.iloc[-1]
        title += (
            f", {words.temperature(float(warmest['minimum_c']), settings.units)} at {clean(str(warmest['sensor']))}"
        )
    title += (
        f" in the freeze of {event_words(event)}"
        if spread or len(own) == 1
        else f" alike in the freeze of {event_words(event)}"
    )
    begins = (starts - AROUND).tz_convert(settings.zone)
    description = f"{title}. " + " ".join(
        f"{clean(course.sensor)}: minimum {words.temperature(course.minimum_c, settings.units)}; "
        f"{', '.join(course.below) or 'no threshold reached'}."
        for course in courses
    )
    lasted = words.hours(float(coldest_row["duration_h"]))
    facts += f" · {words.count(len(courses), 'sensor')} · {lasted} at the coldest"
    others = "the other sensors" if len(courses) <= MOST_PALE else "the other sensors drawn"
    method = METHOD.format(onset=words.temperature(onset, settings.units), others=others)
    lasts_h = (ends - starts + 2 * AROUND) / pd.Timedelta(hours=1)
    said = Words(title, facts, method, description)
    begun = begins.floor("s").to_pydatetime()
    return FreezeCourse(said, settings.units, onset, begun, lasts_h, tuple(courses), settings.timezone)


def _cut(
    series: xr.DataArray, first: np.datetime64, last: np.datetime64, offset_c: float
) -> tuple[np.ndarray, np.ndarray]:
    times, values = series["time"].to_numpy().astype("datetime64[ns]"), series.to_numpy().astype(float)
    kept = (times >= first) & (times <= last) & np.isfinite(values)
    order = np.argsort(times[kept], kind="stable")
    hours = (times[kept][order] - first) / np.timedelta64(1, "h")
    return hours, values[kept][order] + offset_c


def _runs(hours: np.ndarray) -> list[slice]:
    """Cut where readings are missing for long."""
    steps = np.diff(hours)
    longest = max(LEAST_GAP_H, 3 * float(np.median(steps))) if steps.size else LEAST_GAP_H
    cuts = [0, *(np.flatnonzero(steps > longest) + 1).tolist(), hours.size]
    return [slice(a, b) for a, b in pairwise(cuts)]


def _below(record: dict[object, object], settings: Settings) -> tuple[str, ...]:
    said = []
    for threshold in sorted(settings.rules.thresholds, key=lambda t: t.celsius):
        value = record.get(hours_column(threshold))
        if isinstance(value, float) and value > 0:
            said.append(f"{words.hours(value)} ≤ {words.threshold_text(threshold, settings.units)}")
    return tuple(said[:MOST_HOURS])


def draw_freeze_course(prepared: FreezeCourse, *, page: str = "A4") -> list[Sheet]:
    """Draw the course of a freeze.

    Parameters
    ----------
    prepared : FreezeCourse
    page : str
        One of the page formats.

    Returns
    -------
    list of Sheet
        One page, with the coldest sensors where there is no room for all, which it says.

    Raises
    ------
    InputError
        If there is no such format.
    """
    form = format_named(page)
    with drawing():
        if prepared.words.empty or not prepared.courses:
            return empty_plate(form, prepared.words)
        said = unwritten(prepared.words, [course.sensor for course in prepared.courses], "from the coldest on")
        plate = open_plate(form, said)
        most = _room_for(prepared, form, plate)
        if most < len(prepared.courses):
            rest = ", the others as pale lines" if len(prepared.courses) <= MOST_PALE else ""
            which = f"the {most} coldest" if most > 1 else "the coldest"
            told = f"drawn: {which} of {words.count(len(prepared.courses), 'sensor')}{rest}"
            plate = open_plate(form, replace(said, facts=f"{said.facts} · {told}"))
        return [close_plate(plate, _draw(plate, prepared, prepared.courses[:most], form))]


def _room_for(prepared: FreezeCourse, form: Format, plate: Plate) -> int:
    """How many panels a page holds: on a slide one row of them."""
    columns = min(COLUMNS[form.narrow], len(prepared.courses))
    around = sum(_around(prepared.courses, form)) + 2.0
    line = 2.7 * form.sizes.text * MM_PER_POINT  # for saying that not all are drawn
    rows = 1 if form.fixed else max(int((plate.bottom - plate.top - line) / (LEAST_HIGH + around)), 1)
    return min(rows * columns, len(prepared.courses))


def _around(courses: Sequence[Course], form: Format) -> tuple[float, float]:
    """Heights of what stands above and below a panel. [mm]."""
    small = form.sizes.small * MM_PER_POINT
    below = (3.4 + 1.35 * max(len(course.below) for course in courses)) * small
    return 1.4 * form.sizes.heading * MM_PER_POINT + 2.2 * small, below


def _draw(plate: Plate, prepared: FreezeCourse, shown: tuple[Course, ...], form: Format) -> float:
    sizes = form.sizes
    columns = min(COLUMNS[form.narrow], len(shown))
    names = short_names([course.sensor for course in shown], form.room / columns - 12.0, sizes.heading)
    every = [value for course in prepared.courses for run in course.temperatures_c for value in run]
    cold, warm = temperature_ends([*every, prepared.onset_c])
    margin = width_mm("30 Sep", sizes.small) + 1.8
    head, foot = _around(shown, form)
    rows = -(-len(shown) // columns)
    high = (plate.bottom - plate.top) / rows - head - foot - 2.0
    high = min(high, 105.0 if rows == 1 else 80.0)
    wide = (form.room - margin) / columns
    behind = prepared.courses if len(prepared.courses) <= MOST_PALE else shown
    figure = (width_mm("−10.0", sizes.text, SEMIBOLD) + 2.6) / (wide - 7.0)  # beside the coldest dot
    cold = min(cold, min(every) - figure / (1.0 - figure) * (warm - min(every)))
    y = plate.top
    for row in range(rows):
        top = y + head
        for place in range(columns):
            number = row * columns + place
            if number >= len(shown):
                break
            left = plate.left + margin + place * wide
            scale = Scale(cold, warm, left + 1.0, left + wide - 6.0)
            _draw_panel(plate.sheet, prepared, shown[number], behind, names[number], scale, top, high, form,
                        first=place == 0, edge=plate.left)  # fmt: skip
        y = top + high + foot
    return y


def _draw_panel(
    sheet: Sheet, prepared: FreezeCourse, course: Course, behind: Sequence[Course], name: str, scale: Scale, top: float,
    high: float, form: Format, *, first: bool, edge: float,
) -> None:  # fmt: skip
    sizes = form.sizes
    small = sizes.small * MM_PER_POINT
    per_hour = high / prepared.lasts_h
    onset = scale.x(prepared.onset_c)
    sheet.shape(sheet.box(scale.left, top, onset - scale.left, high), fill=BAND, layer=LAYER.ground)
    draw_grid(sheet, scale, prepared.units, sizes.small, top, top + high)
    sheet.write(scale.left, top - 2.6 * small, name, sizes.heading, weight=SEMIBOLD, column=f"sensor-{top:.0f}")
    draw_labels(sheet, scale, OTHER[prepared.units], sizes, top - 1.1, top)
    draw_labels(sheet, scale, prepared.units, sizes, top + high + 1.5 * small, top + high)
    for y, text, day in _clock(prepared, top, per_hour, 1.5 * small):
        sheet.stroke([(scale.left, y), (scale.right, y)], HATCH if day else PAPER, 0.5 if day else 0.6, LAYER.hatch)
        if first:
            sheet.write(edge, y, text, sizes.small, colour=INK if day else QUIET, middle=True, column="clock")
    if first and prepared.begins is not None:
        sheet.write(edge, top - 1.1, words.day(prepared.begins.date()), sizes.small, column="clock")
    for other in behind:
        if other is not course:
            _trace(sheet, other, scale, top, per_hour, HATCH, 0.5)
    _trace(sheet, course, scale, top, per_hour, INK, 1.3)
    x, y = scale.x(course.minimum_c), top + course.minimum_h * per_hour
    sheet.shape(circle(x, y, 0.9), fill=ACCENT, edge=PAPER, width_pt=0.5)
    text = words.number(words.shown(course.minimum_c, prepared.units))
    wide = width_mm(text, sizes.text, SEMIBOLD)
    left = x - 1.6 - wide if x - 1.6 - wide > scale.left else x + 1.8
    sheet.shape(sheet.box(left - 0.3, y - 0.5 * sizes.text * MM_PER_POINT, wide + 0.6, sizes.text * MM_PER_POINT),
                fill=BAND, layer=LAYER.mark)  # fmt: skip
    sheet.write(left, y, text, sizes.text, weight=SEMIBOLD, colour=ACCENT, middle=True)
    for line, said in enumerate(course.below):
        sheet.write(scale.left, top + high + (3.7 + 1.35 * line) * small, said, sizes.small,
                    column=f"below-{scale.left:.0f}")  # fmt: skip


def _trace(sheet: Sheet, course: Course, scale: Scale, top: float, per_hour: float, colour: str, width: float) -> None:
    for hours, values in zip(course.hours, course.temperatures_c, strict=True):
        points = [(scale.x(value), top + hour * per_hour) for hour, value in zip(hours, values, strict=True)]
        if len(points) > 1:
            sheet.stroke(points, colour, width, LAYER.halo if colour == HATCH else LAYER.line)


def _clock(prepared: FreezeCourse, top: float, per_hour: float, apart: float) -> list[tuple[float, str, bool]]:
    """Midnights with their date, and whole hours between them where they are far enough apart."""
    if prepared.begins is None:
        return []
    step = next((hours for hours in (3, 6, 12, 24) if hours * per_hour >= apart), 24)
    days = -(-24 // max(int(24 * per_hour / apart), 1) // 24) if 24 * per_hour < apart else 1
    marks = []
    moment = prepared.begins.replace(minute=0, second=0, microsecond=0, tzinfo=None)
    begins = prepared.begins.replace(tzinfo=None)
    while (moment - begins).total_seconds() / 3600 <= prepared.lasts_h:
        hours = (moment - begins).total_seconds() / 3600
        if hours >= 0 and moment.hour % step == 0 and (step < 24 or moment.toordinal() % max(days, 1) == 0):
            midnight = moment.hour == 0
            marks.append(
                (top + hours * per_hour, words.day(moment.date()) if midnight else f"{moment.hour}:00", midnight)
            )
        moment += dt.timedelta(hours=1)
    return marks
