"""Figures from a flow: each takes the tables that it shows, prepares them, and draws."""

from __future__ import annotations

from hardiness.figures.sheet import Sheet
from hardiness.figures.summary import draw_summary, prepare_summary
from hardiness.flow import Flow
from hardiness.settings import Settings


def summary_of(flow: Flow, settings: Settings, *, page: str = "A4", half_zones: bool = False) -> list[Sheet]:
    """Draw the trial summary chart.

    Parameters
    ----------
    flow : Flow
    settings : Settings
    page : str
        One of the page formats.
    half_zones : bool
        Put bands of hardiness half-zones behind the floors.

    Returns
    -------
    list of Sheet
    """
    floors = flow.floors()
    half = flow.floors(level=0.5).rename(columns={"floor_low_c": "floor_q25_c", "floor_high_c": "floor_q75_c"})
    summary = prepare_summary(
        settings=settings,
        floors=floors.merge(half[["selection", "rootstock", "floor_q25_c", "floor_q75_c"]]),
        freezes=flow.freezes_that_count,
        observations=flow.observations,
        claims=flow.claims,
        selections=flow.records.selections,
        plants=flow.records.plants,
        half_zones=half_zones,
    )
    return draw_summary(summary, page=page)
