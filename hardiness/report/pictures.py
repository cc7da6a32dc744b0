"""The figures of a report, as SVG: the summary chart, a selection's survival curves, the calibration plot."""

from __future__ import annotations

import re
from collections.abc import Sequence

import pandas as pd
from matplotlib.figure import Figure

from hardiness.figures.calibration import draw_calibration, prepare_calibration
from hardiness.figures.formats import Format
from hardiness.figures.saving import svg_texts
from hardiness.figures.sheet import Sheet
from hardiness.figures.style import Sizes
from hardiness.figures.summary import draw_summary, prepare_summary
from hardiness.figures.survival import draw_survival, prepare_survival
from hardiness.report.blocks import Picture
from hardiness.report.gathered import Gathered
from hardiness.report.typesetting import PAPER_WIDTHS

MOST_CHARTED = 160  # rows of floors in the chart; past it the hardiest selections and the checks
_HUNDREDTHS = re.compile(r"(\.\d\d)\d+")
SIDE_MARGIN = 15.0  # [mm] of a printed page
SIZES = Sizes(title=9.5, heading=8.0, text=7.0, small=6.5)  # [pt] below the headings of the page that holds them
CURVES_HIGH = {"A4": 78.0, "letter": 72.0}  # [mm] beside what else stands on a selection's page
PLOT_HIGH = 250.0  # [mm] at most
NARROW_MOST_ROWS = 80  # rows of floors past which a phone gets the paper's chart too


def summary_picture(gathered: Gathered, paper: str = "A4") -> Picture | None:
    """Draw the trial summary chart.

    Parameters
    ----------
    gathered : Gathered
    paper : str
        ``A4`` or ``letter``.

    Returns
    -------
    Picture or None
        None where nothing is registered.
    """
    if gathered.floors.empty:
        return None
    charted = charted_selections(gathered)
    flow, settings = gathered.flow, gathered.settings
    half = flow.floors(level=0.5).rename(columns={"floor_low_c": "floor_q25_c", "floor_high_c": "floor_q75_c"})
    floors = gathered.floors.merge(half[["selection", "rootstock", "floor_q25_c", "floor_q75_c"]])
    floors = floors[floors["selection"].isin(charted)]

    def of_charted(table: pd.DataFrame) -> pd.DataFrame:
        return table[table["selection"].isin(charted)]

    summary = prepare_summary(
        settings=settings,
        floors=floors,
        freezes=flow.freezes_that_count,
        observations=of_charted(flow.observations),
        claims=of_charted(gathered.claims),
        selections=of_charted(flow.records.selections),
        plants=of_charted(flow.records.plants),
    )
    pages = draw_summary(summary, page=paper)
    narrow = draw_summary(summary, page="phone") if len(floors) <= NARROW_MOST_ROWS else ()
    return picture_of(pages, narrow, whole_page=True)


def charted_selections(gathered: Gathered) -> set[str]:
    """Choose the selections of the summary chart: all, or the hardiest and the checks where they are very many.

    Parameters
    ----------
    gathered : Gathered

    Returns
    -------
    set of str
    """
    if len(gathered.floors) <= MOST_CHARTED:
        return set(gathered.order)
    register = gathered.flow.records.selections
    rows = gathered.floors["selection"].value_counts()
    chosen, room = set(gathered.flow.checks), MOST_CHARTED
    chosen &= set(register["selection"])
    room -= sum(int(rows.get(name, 0)) for name in chosen)
    for name in gathered.order:
        room -= 0 if name in chosen else int(rows.get(name, 0))
        if room < 0:
            break
        chosen.add(name)
    return chosen


def room_for(high_mm: float, paper: str) -> Format:
    """The room between the margins of a printed page: what is drawn in it is printed at its own size.

    Parameters
    ----------
    high_mm : float
        [mm]
    paper : str
        ``A4`` or ``letter``.

    Returns
    -------
    Format
    """
    return Format("report", PAPER_WIDTHS[paper] - 2 * SIDE_MARGIN, high_mm, 0.0, SIZES, 200.0)


def calibration_picture(gathered: Gathered, paper: str = "A4") -> Picture | None:
    """Draw predicted against seen.

    Parameters
    ----------
    gathered : Gathered
    paper : str
        ``A4`` or ``letter``.

    Returns
    -------
    Picture or None
        None where there are no checks.
    """
    if gathered.checks is None:
        return None
    settings = gathered.settings
    prepared = prepare_calibration(gathered.checks.calibration, settings.grades, settings.name)
    pages, narrow = (draw_calibration(prepared, page=page) for page in (room_for(PLOT_HIGH, paper), "phone"))
    return picture_of(pages, narrow)


def curve_picture(gathered: Gathered, selection: str, paper: str = "A4") -> Picture | None:
    """Draw the survival curves of a selection, on the rootstock with most rows: a middling grade, and the last.

    Parameters
    ----------
    gathered : Gathered
    selection : str
    paper : str
        ``A4`` or ``letter``.

    Returns
    -------
    Picture or None
        None where it has no observation, or the trial is too large for curves in a report.
    """
    rows = gathered.tested[gathered.tested["selection"] == selection]
    if rows.empty or not gathered.curves:
        return None
    rootstock = str(rows["rootstock"].value_counts().sort_index().idxmax())
    cell = rows[rows["rootstock"] == rootstock]
    curves = {
        grade: every.isel(selection_rootstock=every.indexes["selection_rootstock"].get_loc((selection, rootstock)))
        for grade, every in gathered.curves.items()
    }
    prepared = prepare_survival(curves, cell, selection=selection, rootstock=rootstock, settings=gathered.settings)
    pages, narrow = (draw_survival(prepared, page=page) for page in (room_for(CURVES_HIGH[paper], paper), "phone"))
    return picture_of(pages, narrow)


def picture_of(pages: Sequence[Figure], narrow: Sequence[Figure] = (), *, whole_page: bool = False) -> Picture:
    """Turn drawn pages into a picture of a report.

    Parameters
    ----------
    pages : sequence of Figure
        For paper and desk.
    narrow : sequence of Figure
        For a phone.
    whole_page : bool
        Whether each takes a page of its own in print.

    Returns
    -------
    Picture
    """
    first = pages[0]
    words = f"{first.heading}. {first.description}" if isinstance(first, Sheet) else ""
    desk, phone = ([_lean(text) for text in svg_texts(each, inside=True)] if each else [] for each in (pages, narrow))
    return Picture(tuple(desk), tuple(phone), words, whole_page)


def _lean(svg: str) -> str:
    """Leave out what a report has no use for in each of its pictures.

    Ids that nothing refers to: several texts share one, and a page may name each only once. Digits of a path beyond a
    hundredth of a point.
    """
    svg = re.sub(r"\bd=\"[^\"]+\"", lambda path: _HUNDREDTHS.sub(r"\1", path[0]), svg)
    svg = re.sub(r"<!--.*?-->|<metadata>.*?</metadata>|(?<=>)\s+(?=<)", "", svg, flags=re.DOTALL)
    used = set(re.findall(r"#([\w.-]+)", svg)) | set(" ".join(re.findall(r'aria-\w+="([^"]+)"', svg)).split())
    return re.sub(r' id="([^"]+)"', lambda match: match[0] if match[1] in used else "", svg)
