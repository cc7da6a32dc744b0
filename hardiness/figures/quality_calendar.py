"""The calendar of all sensors: when each had readings, which of them are flagged, and what was decided.

``prepare_quality_calendar`` turns flags, readings and freezes into numbers and words, ``draw_quality_calendar`` puts
them on as many pages as they take: a panel a winter, a band a sensor. The band is there where readings are, thin on a
day with few; a freeze is a short bar below it, hollow where it was estimated. A flag is a filled box with a number
while nothing is decided, a crossed one where it is masked, a hollow one where it was accepted; the numbers are
explained below.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import xarray as xr

from hardiness import words
from hardiness.figures.formats import Format, format_named
from hardiness.figures.naming import short_names
from hardiness.figures.plate import Plate, Words, close_plate, empty_plate, open_plate, unwritten
from hardiness.figures.quality_lanes import Bar, Lane, Mark, Panel, draw_entry, draw_panel, entry_height, lanes_within
from hardiness.figures.sheet import Sheet
from hardiness.figures.style import drawing
from hardiness.figures.typeface import MM_PER_POINT, clean
from hardiness.settings import Settings
from hardiness.weather.events import winter_of
from hardiness.weather.quality import freezes_in_doubt

ENOUGH = 0.8  # [1] share of a day's readings that makes it whole
MOST_WINTERS, MOST_LISTED = 6, 40  # panels and explained flags on one page; what is left out is counted
LABEL_SHARE = 0.22  # of the width, at most, for the names of sensors
PANEL_GAP = 1.6  # lines between two winters
LEAST_LANES = 3  # of a winter that begins on a page
LEAST_DAYS = 3  # a month with fewer days of readings is not drawn: the spill of a zone over the end of a season
METHOD = (
    "Band: days with readings; thin where under 80 % of a day is there. Bar below: a freeze; hollow: estimated from "
    "other sensors. Filled box: flagged and undecided; crossed: masked, counts nowhere; hollow: accepted as sound. "
    "Gaps of less than a day are not drawn; hardiness quality lists those outside summer."
)


@dataclass(frozen=True, slots=True)
class QualityCalendar:
    """What the figure shows.

    Parameters
    ----------
    words : Words
    panels : tuple of Panel
    entries : tuple of (int, str, str)
        Number, sensor and text of each explained flag.
    """

    words: Words
    panels: tuple[Panel, ...]
    entries: tuple[tuple[int, str, str], ...]


def prepare_quality_calendar(
    flags: pd.DataFrame, readings: Mapping[str, xr.DataArray], freezes: pd.DataFrame, settings: Settings
) -> QualityCalendar:
    """Turn flags, readings and freezes into what the figure shows.

    Parameters
    ----------
    flags : pandas.DataFrame
        Columns of ``schema.FLAGS``.
    readings : mapping of str to xarray.DataArray
        Readings of each sensor, in UTC. [degC]
    freezes : pandas.DataFrame
        The freezes table, without those that notes set aside.
    settings : Settings
        Of the trial: its name, zone and place.

    Returns
    -------
    QualityCalendar
    """
    days = {sensor: _days_of(air, settings) for sensor, air in sorted(readings.items()) if air.size}
    title, trial = _title(flags, freezes, len(days)), clean(settings.name)
    if not days:
        empty = "hardiness add readings FILE --sensor S adds a logger's readings."
        return QualityCalendar(Words(title, trial, "", f"{title}. {empty}", empty), (), ())
    drawn = flags[flags["flag"] != "gap"]
    winters: dict[str, dict[str, pd.Series]] = {}
    for sensor, shares in days.items():
        noons = pd.DatetimeIndex(shares.index + pd.Timedelta(hours=12)).tz_localize("UTC")
        for winter, some in shares.groupby(np.array(winter_of(noons, settings))):
            winters.setdefault(str(winter), {})[sensor] = some
    shown = sorted(winters)[-MOST_WINTERS:]
    span = _months_met([some for winter in shown for some in winters[winter].values()], settings)
    numbered = drawn.sort_values(["from", "sensor"], kind="stable").reset_index(drop=True)
    numbered["number"] = np.arange(1, len(numbered) + 1)
    panels = tuple(_panel(winter, winters[winter], span, numbered, freezes, settings) for winter in shown)
    there = {mark.number for panel in panels for lane in panel.lanes for mark in lane.marks}
    listed = numbered[numbered["number"].isin(there)].head(MOST_LISTED)
    counted = set(freezes["freeze"])
    entries = tuple((int(row["number"]), str(row["sensor"]), _entry(row, counted, settings))
                    for _, row in listed.iterrows())  # fmt: skip
    missing = [
        text
        for amount, text in (
            (len(winters) - len(shown), words.count(len(winters) - len(shown), "earlier winter")),
            (len(drawn) - len(entries), words.count(len(drawn) - len(entries), "flag")),
        )
        if amount
    ]
    facts = f"{trial} · what the sensors tell, winter by winter"
    if missing:
        facts += f" · not here: {words.listed(missing)}; hardiness quality lists all flags"
    told = " ".join(f"{sensor}, {text}" for _, sensor, text in entries)
    return QualityCalendar(Words(title, facts, METHOD, f"{title}. {told} {METHOD}"), panels, entries)


def _title(flags: pd.DataFrame, freezes: pd.DataFrame, sensors: int) -> str:
    drawn = flags[flags["flag"] != "gap"]
    if not sensors:
        return "There are no readings yet"
    if drawn.empty:
        return f"Nothing odd{' but gaps' if len(flags) else ''} in the readings of {words.count(sensors, 'sensor')}"
    doubtful = freezes_in_doubt(flags, freezes)
    waiting = int((drawn["verdict"] == "").sum())
    if not waiting:
        return f"All {words.count(len(drawn), 'flag')} on the readings of {words.count(sensors, 'sensor')} decided"
    some = f"{words.count(waiting, 'flag')} undecided"
    return f"{some}: {words.count(len(doubtful), 'freeze')} in doubt" if doubtful else f"{some}, and no freeze in doubt"


def _days_of(air_temperature: xr.DataArray, settings: Settings) -> pd.Series:
    """Share of a day's readings that is there, by local day."""
    times = pd.DatetimeIndex(air_temperature["time"].to_numpy()).tz_localize("UTC").tz_convert(settings.zone)
    counts = pd.Series(1, index=times.tz_localize(None).normalize()).groupby(level=0).sum()
    usual = float(counts.quantile(0.75))
    shares: pd.Series = (counts / max(usual, 1.0)).clip(upper=1.0)
    return shares


def _months_met(series: Sequence[pd.Series], settings: Settings) -> tuple[int, int]:
    """First and last month of the season, counted from its start, in which any winter has readings."""
    starts = _first_month(settings)
    met: set[int] = set()
    for some in series:
        counts = np.bincount((pd.DatetimeIndex(some.index).month - starts) % 12, minlength=12)
        met |= set(np.flatnonzero(counts >= min(LEAST_DAYS, counts.max())).tolist())
    return (min(met), max(met)) if met else (0, 11)


def _first_month(settings: Settings) -> int:
    return 1 if settings.latitude is not None and settings.latitude < 0 else 7


def _panel(
    winter: str, sensors: Mapping[str, pd.Series], span: tuple[int, int], flags: pd.DataFrame, freezes: pd.DataFrame,
    settings: Settings,
) -> Panel:  # fmt: skip
    begin = pd.Timestamp(int(winter[:4]), _first_month(settings), 1)
    edges = [begin + pd.DateOffset(months=month) for month in range(span[0], span[1] + 2)]
    opens, whole = edges[0], (edges[-1] - edges[0]).days

    def local(times: pd.Series) -> np.ndarray:
        naive = pd.DatetimeIndex(times).tz_convert(settings.zone).tz_localize(None)
        days: np.ndarray = ((naive - opens) / pd.Timedelta(days=1)).to_numpy(dtype=float)
        return days

    lanes = []
    for sensor, shares in sensors.items():
        own, cold = flags[flags["sensor"] == sensor], freezes[freezes["sensor"] == sensor]
        spans = [(local(table[a]), local(table[b])) for table, a, b in ((own, "from", "to"), (cold, "starts", "ends"))]
        marks = tuple(
            Mark(int(number), max(float(a), 0.0), min(float(b), float(whole)), str(verdict))
            for a, b, number, verdict in zip(*spans[0], own["number"], own["verdict"], strict=True)
            if b >= 0 and a <= whole
        )
        bars = tuple(
            Bar(max(float(a), 0.0), min(float(b), float(whole)), estimated)
            for a, b, estimated in zip(*spans[1], cold["source"] == "estimated", strict=True)
            if b >= 0 and a <= whole
        )
        days = ((pd.DatetimeIndex(shares.index) - opens) / pd.Timedelta(days=1)).to_numpy(dtype=float)
        inside = (days >= 0) & (days < whole)
        bands = _bands(days[inside], shares.to_numpy(dtype=float)[inside] >= ENOUGH)
        lanes.append(Lane(sensor, bands, bars, marks))
    months = tuple(((edge - opens).days, words.MONTHS[edge.month - 1]) for edge in edges[:-1])
    return Panel(winter, float(whole), months, tuple(lanes))


def _bands(days: np.ndarray, whole: np.ndarray) -> tuple[tuple[float, float, bool], ...]:
    """Join days on end that are alike."""
    if days.size == 0:
        return ()
    cut = (np.diff(days) > 1.5) | (whole[1:] != whole[:-1])
    firsts = np.concatenate(([0], np.flatnonzero(cut) + 1))
    lasts = np.concatenate((np.flatnonzero(cut), [days.size - 1]))
    return tuple((float(days[a]), float(days[b]) + 1.0, bool(whole[a])) for a, b in zip(firsts, lasts, strict=True))


def _entry(row: pd.Series, counted: set[str], settings: Settings) -> str:
    """Say what a flag found, and what rests on it; the sensor's name goes before."""
    begin = row["from"].tz_convert(settings.zone).strftime("%Y-%m-%d %H:%M")
    decided = {"mask": " Masked.", "keep": " Accepted."}.get(row["verdict"], "")
    names = str(row["freezes"]).split("; ") if row["freezes"] else []
    touched = words.listed([name if name in counted else f"{name} (set aside by a note)" for name in names])
    return clean(f"{row['flag']}, {begin} ({row['code']}). {row['sentence']}"
                 f"{f' Touches {touched}.' if names else ''}{decided}")  # fmt: skip


def draw_quality_calendar(prepared: QualityCalendar, *, page: str = "A4") -> list[Sheet]:
    """Draw the calendar of all sensors.

    Parameters
    ----------
    prepared : QualityCalendar
    page : str
        One of the page formats.

    Returns
    -------
    list of Sheet
        As many pages as it takes.

    Raises
    ------
    InputError
        If there is no such format.
    """
    form = format_named(page)
    with drawing():
        if prepared.words.empty:
            return empty_plate(form, prepared.words)
        return _draw(prepared, form)


def _draw(prepared: QualityCalendar, form: Format) -> list[Sheet]:
    sensors = sorted({lane.sensor for panel in prepared.panels for lane in panel.lanes})
    names = dict(zip(sensors, short_names(sensors, LABEL_SHARE * form.room, form.sizes.text, 400), strict=True))
    said = unwritten(prepared.words, sensors, "among the sensors by name")
    pages = _share(prepared, names, open_plate(form, said))
    if len(pages) > 1:
        pages = _share(prepared, names, open_plate(form, said, folio="page 100 of 100"))
    sheets = []
    for number, blocks in enumerate(pages, 1):
        folio = f"page {number} of {len(pages)}" if len(pages) > 1 else ""
        plate = open_plate(form, said, folio=folio)
        y = plate.top
        for block in blocks:
            if isinstance(block, Panel):
                y = draw_panel(plate, block, names, y) + PANEL_GAP * form.sizes.text * MM_PER_POINT
            else:
                y = draw_entry(plate, *block, y)
        sheets.append(close_plate(plate, y))
    return sheets


def _share(prepared: QualityCalendar, names: Mapping[str, str], plate: Plate) -> list[list[Panel | tuple[int, str]]]:
    """Share panels and entries out to pages: a panel that is too long goes on, with its heading, on the next."""
    gap = PANEL_GAP * plate.page.sizes.text * MM_PER_POINT
    pages: list[list[Panel | tuple[int, str]]] = [[]]
    left = plate.bottom - plate.top  # [mm] of the page
    for panel in prepared.panels:
        lanes = panel.lanes
        while lanes:
            room, _ = lanes_within(plate.page, left)
            orphans = 0 < len(lanes) - room < LEAST_LANES and len(lanes) < 2 * LEAST_LANES
            if pages[-1] and (room < min(len(lanes), LEAST_LANES) or orphans):
                pages.append([])
                left = plate.bottom - plate.top
                continue
            some = max(min(room, len(lanes)), 1)
            pages[-1].append(replace(panel, lanes=lanes[:some]))
            left -= lanes_within(plate.page, 0.0, some)[1] + gap
            lanes = lanes[some:]
    for number, sensor, text in prepared.entries:
        entry = (number, f"{names.get(sensor, clean(sensor))}, {text}")
        high = entry_height(plate, entry[1])
        if high > left and pages[-1]:
            pages.append([])
            left = plate.bottom - plate.top
        pages[-1].append(entry)
        left -= high
    return pages
