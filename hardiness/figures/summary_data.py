"""The numbers of the trial summary: everything the page says, before anything is drawn.

In: the trial's tables. Out: :class:`Summary`. Rows are sorted from the hardiest; past :data:`FLAT_ROWS` of them the
rootstocks of one selection stand together, hardiest selection first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from hardiness import words
from hardiness.figures.finding import finding
from hardiness.figures.summary_cells import Cell, cell_texts, prepare_cells
from hardiness.figures.summary_grades import prepare_squares
from hardiness.figures.summary_winters import Winter, gather_winters, winter_sentence
from hardiness.figures.typeface import clean, writable
from hardiness.sentences import FLOOR_CAUTION
from hardiness.settings import Settings

FLAT_ROWS = 45  # more cells than this are grouped by selection
EMPTY_SCALE_C = (-12.0, 0.0)  # [degC] where nothing was measured
FARTHEST_C = 4.0  # [K] the scale reaches no farther beyond what was met, tested or claimed; lines are cut there


@dataclass(frozen=True, slots=True)
class Summary:
    """What the summary page shows.

    Parameters
    ----------
    trial : str
        Its name; empty where the fonts cannot write it.
    units : str
        ``"C"`` or ``"F"``.
    grades : tuple of str
        The damage scale.
    survive, level : float
        Share of plants that the floors speak of, and of the wide interval.
    grade : int
        The grade not to be reached.
    held_h : float
        Held duration of the temperatures. [h]
    winters : tuple of Winter
        With freezes, by name.
    scored : tuple of Winter
        Those that have a column of squares: with at least one score.
    cells : tuple of Cell
        In the order of the rows.
    grouped : bool
        Whether the rows are grouped by selection.
    cold_c, warm_c : float
        Ends of the shared temperature scale. [degC]
    plants, scores : int
        How many stand behind the floors.
    first_met, last_met : str
        First and last day of the season on which a scored freeze began; empty where none.
    quartiles : bool
        Whether any row has its 50 % interval.
    title : str
        The finding.
    description : str
        The page in words.
    half_zones : bool
        Whether bands of hardiness half-zones lie behind the floors.
    """

    trial: str
    units: str
    grades: tuple[str, ...]
    survive: float
    level: float
    grade: int
    held_h: float
    winters: tuple[Winter, ...]
    scored: tuple[Winter, ...]
    cells: tuple[Cell, ...]
    grouped: bool
    cold_c: float
    warm_c: float
    plants: int
    scores: int
    first_met: str
    last_met: str
    quartiles: bool
    title: str
    description: str
    half_zones: bool = False


def prepare_summary(
    *,
    settings: Settings,
    floors: pd.DataFrame,
    freezes: pd.DataFrame,
    observations: pd.DataFrame,
    claims: pd.DataFrame,
    selections: pd.DataFrame,
    plants: pd.DataFrame,
    survive: float = 0.9,
    level: float = 0.9,
    grade: int | None = None,
    half_zones: bool = False,
) -> Summary:
    """Gather what the trial summary shows.

    Parameters
    ----------
    settings : Settings
        Name, unit, time zone, damage scale, thresholds.
    floors : pandas.DataFrame
        The floors table, with rows for untested cells; ``floor_q25_c`` and ``floor_q75_c`` [degC] where known.
    freezes, observations, claims : pandas.DataFrame
        The tables of these names.
    selections, plants : pandas.DataFrame
        The records.
    survive : float, default 0.9
        Share of plants that the floors speak of.
    level : float, default 0.9
        Level of the floors' interval.
    grade : int, optional
        Grade not to be reached; the last one unless told.
    half_zones : bool, default False
        Draw bands of hardiness half-zones behind the floors.

    Returns
    -------
    Summary

    Notes
    -----
    Plants and scores are summed over the floors table: protected rows are not among them.
    """
    winters = gather_winters(freezes, observations, settings)
    scored = tuple(winter for winter in winters if winter.scores)
    squares = prepare_squares(observations, plants, scored, worst=settings.worst)
    cells = prepare_cells(floors, claims, selections, observations, squares, winters=len(scored))
    grouped = len(cells) > FLAT_ROWS
    cold_c, warm_c = _scale_of(winters, cells)
    first_met, last_met = _days_met(winters, observations, settings)
    minima = [freeze.minimum_c for winter in winters for freeze in winter.freezes]
    title = finding(cells, units=settings.units, freezes=len(minima), coldest_c=min(minima, default=None))
    if grade is not None and grade != settings.worst:
        title += f", grade {grade} not reached"
    rows = _ordered(cells, grouped=grouped)
    name = clean(settings.name)
    return Summary(
        trial=name if writable(name) else "",
        units=settings.units,
        grades=settings.grades,
        survive=survive,
        level=level,
        grade=settings.worst if grade is None else grade,
        held_h=settings.model_held_h,
        winters=winters,
        scored=scored,
        cells=rows,
        grouped=grouped,
        cold_c=cold_c,
        warm_c=warm_c,
        plants=sum(cell.plants for cell in cells),
        scores=sum(cell.scores for cell in cells),
        first_met=first_met,
        last_met=last_met,
        quartiles=any(not math.isnan(cell.q25_c) for cell in cells),
        title=title,
        description=_description(title, settings, winters, rows),
        half_zones=half_zones,
    )


def _ordered(cells: Sequence[Cell], *, grouped: bool) -> tuple[Cell, ...]:
    """Hardiest first; what has no floor last, by name."""

    def hardiness(cell: Cell) -> tuple[float, float, str, str]:
        floor = math.inf if math.isnan(cell.floor_c) else cell.floor_c
        claim = math.inf if math.isnan(cell.claimable_c) else cell.claimable_c
        return floor, claim, cell.selection, cell.rootstock

    if not grouped:
        return tuple(sorted(cells, key=hardiness))
    best: dict[str, tuple[float, float, str, str]] = {}
    for cell in cells:
        best[cell.selection] = min(best.get(cell.selection, hardiness(cell)), hardiness(cell))
    return tuple(sorted(cells, key=lambda cell: (best[cell.selection], cell.selection, hardiness(cell))))


def _scale_of(winters: Sequence[Winter], cells: Sequence[Cell]) -> tuple[float, float]:
    """Set the ends of the scale: all that was met and claimed, and the intervals as far as that is sensible."""
    met = [freeze.minimum_c for winter in winters for freeze in winter.freezes]
    met += [value for cell in cells for value in (cell.tested_to_c, cell.claimable_c, cell.claim_c)]
    met = [value for value in met if not math.isnan(value)]
    if not met:
        return EMPTY_SCALE_C
    ends = [cell.low_c for cell in cells if cell.open_end == "none"] + [cell.high_c for cell in cells]
    ends += [cell.low_c for cell in cells if cell.open_end == "warm"]
    ends = [value for value in ends if not math.isnan(value)]
    cold = max(min([*met, *ends]), min(met) - FARTHEST_C)
    warm = min(max([*met, *ends]), max(met) + FARTHEST_C)
    # A whole degree with a little air, and never a scale of no length.
    cold, warm = float(math.floor(cold - 0.3)), float(math.ceil(warm + 0.3))
    return (cold, warm) if warm - cold >= 4.0 else (cold - 2.0, warm + 2.0)


def _days_met(winters: Sequence[Winter], observations: pd.DataFrame, settings: Settings) -> tuple[str, str]:
    """First and last day in the season on which the scored freezes began."""
    south = settings.latitude is not None and settings.latitude < 0
    events = set(observations["event"])
    days = [freeze.starts_on for winter in winters for freeze in winter.freezes if freeze.event in events]
    if not days:
        return "", ""
    # The season turns with the year in the south, in July in the north.
    season = sorted(days, key=lambda day: (((day.month - (1 if south else 7)) % 12), day.day))
    return words.day(season[0]), words.day(season[-1])


def _description(title: str, settings: Settings, winters: Sequence[Winter], cells: Sequence[Cell]) -> str:
    """Put the page in words, for those who cannot see it: names in full, also where the fonts lack them."""
    parts = [f"{title}.", f"Trial summary of {clean(settings.name)}."]
    parts += [f"{winter.name}: {winter_sentence(winter, settings.units)}." for winter in winters]
    for cell in cells:
        floor, claimable = cell_texts(cell, settings.units)
        who = f"{clean(cell.selection)} {words.on_stock(clean(cell.rootstock))}{' (check)' if cell.check else ''}"
        if cell.evidence == "untested":
            parts.append(f"{who}: untested.")
        elif cell.open_end == "cold":
            parts.append(f"{who}: at or below {claimable} °{settings.units}, {cell.evidence}.")
        else:
            parts.append(f"{who}: floor {floor}, claimable {claimable} °{settings.units}, {cell.evidence}.")
    return " ".join([*parts, FLOOR_CAUTION])
