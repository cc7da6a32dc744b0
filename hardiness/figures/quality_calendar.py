"""The calendar of all sensors: when each had readings, which of them are flagged, and what was decided.

``prepare_quality_calendar`` turns flags, readings and freezes into numbers and words, ``draw_quality_calendar`` puts
them on a page: a panel a winter, a band a sensor. The band is there where readings are; a freeze is a short tick below
it. A flag is a filled box with a number while nothing is decided, a crossed one where it is masked, a hollow one where
it was accepted; the numbers are explained below.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import xarray as xr

from hardiness import words
from hardiness.errors import InputError, Problem, near_name
from hardiness.figures.quality_lanes import Lane, Mark, Panel, draw_panel
from hardiness.figures.sheet import Sheet
from hardiness.figures.style import PAPER_SIZES, PHONE_SIZES, QUIET, Sizes, drawing
from hardiness.figures.typeface import MM_PER_POINT, SEMIBOLD, clean, shorten, width_mm, wrap
from hardiness.settings import Settings
from hardiness.weather.events import winter_of
from hardiness.weather.quality import freezes_in_doubt

PAGES = ("A4", "phone")
ENOUGH = 0.8  # [1] share of a day's readings that makes it whole
MOST_WINTERS, MOST_LISTED = 6, 40  # panels and explained flags on one page; what is left out is counted
LEAST_DAYS = 3  # a month with fewer days of readings is not drawn: the spill of a zone over the end of a season
METHOD = (
    "Band: days with readings; pale where under 80 % of a day is there. Blue ticks: freezes. Filled box: flagged and "
    "undecided; crossed: masked, counts nowhere; hollow: accepted as sound. Gaps of less than a day are not drawn; "
    "hardiness quality lists them."
)


@dataclass(frozen=True, slots=True)
class QualityCalendar:
    """What the page shows.

    Parameters
    ----------
    title, description, trial : str
    panels : tuple of Panel
    entries : tuple of (int, str)
        Number and text of each explained flag.
    left_out : str
        What the page has no room for; empty: nothing.
    """

    title: str
    description: str
    trial: str
    panels: tuple[Panel, ...]
    entries: tuple[tuple[int, str], ...]
    left_out: str


def prepare_quality_calendar(
    flags: pd.DataFrame, readings: Mapping[str, xr.DataArray], freezes: pd.DataFrame, settings: Settings
) -> QualityCalendar:
    """Turn flags, readings and freezes into what the page shows.

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
    entries = tuple((int(row["number"]), _entry(row, settings)) for _, row in listed.iterrows())
    missing = [
        text
        for amount, text in (
            (len(winters) - len(shown), words.count(len(winters) - len(shown), "earlier winter")),
            (len(drawn) - len(entries), words.count(len(drawn) - len(entries), "flag")),
        )
        if amount
    ]
    left_out = f"Not on this page: {words.listed(missing)}; hardiness quality lists all flags." if missing else ""
    title = _title(flags, freezes, len(days))
    return QualityCalendar(title, f"{title}. {METHOD}", clean(settings.name), panels, entries, left_out)


def _title(flags: pd.DataFrame, freezes: pd.DataFrame, sensors: int) -> str:
    drawn = flags[flags["flag"] != "gap"]
    if not sensors:
        return "There are no readings yet"
    if drawn.empty:
        return f"Nothing odd but gaps in the readings of {words.count(sensors, 'sensor')}"
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
        ticks = tuple(
            (max(float(a), 0.0), min(float(b), float(whole)))
            for a, b in zip(*spans[1], strict=True)
            if b >= 0 and a <= whole
        )
        days = ((pd.DatetimeIndex(shares.index) - opens) / pd.Timedelta(days=1)).to_numpy(dtype=float)
        inside = (days >= 0) & (days < whole)
        bands = _bands(days[inside], shares.to_numpy(dtype=float)[inside] >= ENOUGH)
        lanes.append(Lane(sensor, bands, ticks, marks))
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


def _entry(row: pd.Series, settings: Settings) -> str:
    begin = row["from"].tz_convert(settings.zone).strftime("%Y-%m-%d %H:%M")
    decided = {"mask": " Masked.", "keep": " Accepted."}.get(row["verdict"], "")
    touched = f" Touches {row['freezes']}." if row["freezes"] else ""
    return clean(f"{row['sensor']}, {row['flag']}, {begin} ({row['code']}). {row['sentence']}{touched}{decided}")


def draw_quality_calendar(picture: QualityCalendar, *, page: str = "A4") -> list[Sheet]:
    """Draw the calendar of all sensors.

    Parameters
    ----------
    picture : QualityCalendar
    page : str
        ``"A4"`` (210 mm wide, as high as it takes) or ``"phone"`` (390 px wide).

    Returns
    -------
    list of Sheet
        One page.

    Raises
    ------
    InputError
        If ``page`` is neither.
    """
    if page not in PAGES:
        raise InputError(Problem(f"page '{page}'", f"one of {', '.join(PAGES)}", hint=near_name(page, PAGES)))
    with drawing():
        if page == "phone":
            return [_draw(picture, PHONE_SIZES, 390 / 96 * 25.4, 4.2, 192.0)]
        return [_draw(picture, PAPER_SIZES, 210.0, 15.0, 200.0)]


def _draw(picture: QualityCalendar, sizes: Sizes, width: float, margin: float, dpi: float) -> Sheet:
    sheet = Sheet(width, 100.0, dpi=dpi, heading=picture.title, description=picture.description)
    room = width - 2 * margin
    y = margin
    for line in wrap(picture.title, room, sizes.title, SEMIBOLD):
        y += 1.22 * sizes.title * MM_PER_POINT
        sheet.write(margin, y, line, sizes.title, weight=SEMIBOLD, column="title")
    y += 1.6 * sizes.text * MM_PER_POINT
    subject = f"{picture.trial}: what the sensors tell, winter by winter"
    sheet.write(margin, y, shorten(subject, room, sizes.text), sizes.text, colour=QUIET, column="title")
    y += 2.2 * sizes.text * MM_PER_POINT
    names = [clean(lane.sensor) for panel in picture.panels for lane in panel.lanes]
    winters = [width_mm(panel.winter, sizes.heading, SEMIBOLD) for panel in picture.panels]
    longest = max([*(width_mm(name, sizes.text) for name in names), 0.0])
    label = max([min(longest, 0.22 * room), *winters]) + 2.5
    for panel in picture.panels:
        y = draw_panel(sheet, panel, sizes, margin, y, label, room) + 2.0 * sizes.text * MM_PER_POINT
    column = width_mm("000", sizes.small) + 1.5
    for number, text in picture.entries:
        sheet.write(margin + column - 1.5, y, str(number), sizes.small, align="right", column="numbers")
        for line in wrap(text, room - column, sizes.small):
            sheet.write(margin + column, y, line, sizes.small, column="entries")
            y += 1.35 * sizes.small * MM_PER_POINT
        y += 0.35 * sizes.small * MM_PER_POINT
    y += 0.8 * sizes.small * MM_PER_POINT
    for text in (picture.left_out, METHOD):
        for line in wrap(text, room, sizes.small) if text else ():
            sheet.write(margin, y, line, sizes.small, colour=QUIET, column="method")
            y += 1.3 * sizes.small * MM_PER_POINT
    sheet.finish()
    sheet.cut(y + margin - sizes.small * MM_PER_POINT)
    return sheet
