"""The trial now: what is in it, what waits, where the floors stand."""

from __future__ import annotations

from typing import Any

import pandas as pd
from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from hardiness import glance, words
from hardiness.flow import Flow
from hardiness.schema import RECORD_TABLES
from hardiness.weather.extents import extents_of
from hardiness.web.clock import local
from hardiness.web.floors import strips_of
from hardiness.web.jobs import Answer
from hardiness.web.visits import Viewer

router = APIRouter()
MOST_STRIPS = 12  # floors on the first page
MOST_NAMED = 6  # names in one sentence


@router.get("/")
def _home(visit: Viewer) -> HTMLResponse:
    return visit.answer("home.html", "observations", lambda answer: _now(visit, answer))


@router.get("/now/floors")
def _floors(visit: Viewer) -> HTMLResponse:
    return visit.answer("_home_floors.html", "floors", lambda answer: {"strips": strips_of(answer, most=MOST_STRIPS)})


def _now(visit: Viewer, answer: Answer) -> dict[str, Any]:
    flow = answer.done
    held = {name: len(getattr(flow.records, name)) for name in RECORD_TABLES}
    told = answer.keep("now", _told)
    ready = answer.has("floors")
    return {
        "held": held,
        "sensors": len(flow.records.readings),
        "can_fit": flow.can_fit,
        "strips": strips_of(answer, most=MOST_STRIPS) if ready and flow.can_fit else None,
        "files": len(visit.place.holding.of(visit.session.number)),
        "next": _next(held, told, len(flow.records.readings)),
        **told,
    }


def _told(flow: Flow) -> dict[str, Any]:
    counted = flow.freezes_that_count
    coldest = counted.sort_values("minimum_c", kind="stable").iloc[0] if len(counted) else None
    unscored, silent, single = (
        glance.unscored_plants(flow),
        glance.silent_sensors(flow),
        glance.single_selections(flow),
    )
    last = None if unscored.empty else unscored.sort_values("ends").iloc[-1]
    extents = extents_of(flow.records.readings).values()
    return {
        "readings": sum(extent.readings for extent in extents),
        "readings_exact": all(extent.exact for extent in extents),
        "winters": sorted(set(counted["winter"])),
        "freezes": counted["event"].nunique(),
        "coldest": None
        if coldest is None
        else (coldest["minimum_c"], _local(coldest["starts"], flow), coldest["sensor"]),
        "living": len(glance.living_plants(flow)),
        "unscored": len(unscored),
        "unscored_after": None if last is None else (last["freeze"], _local(last["ends"], flow)),
        "silent": [(row.sensor, None if row.last is pd.NaT else _local(row.last, flow)) for row in silent.itertuples()],
        "unheard": len(glance.plants_without_sensor(flow)),
        "single": len(single),
        "single_names": named(single["selection"].tolist()),
        "second_look": len(flow.joined.second_look),
    }


def _local(instant: Any, flow: Flow) -> Any:
    return local(instant, flow.settings.zone).date()


def named(names: list[str]) -> str:
    """Name a few of some names in a sentence.

    Parameters
    ----------
    names : list of str

    Returns
    -------
    str

    Examples
    --------
    >>> named(["OL-01", "OL-02"])
    'OL-01 and OL-02'
    """
    more = len(names) - MOST_NAMED
    return words.listed(names if more <= 1 else [*names[:MOST_NAMED], f"{more} more"])


def _next(held: dict[str, int], told: dict[str, Any], sensors: int) -> str:
    """Say which step comes next; the page has a sentence and a button for each."""
    if not held["selections"] and not held["plants"]:
        return "register"
    if not held["plants"]:
        return "plants"
    if not sensors:
        return "readings"
    if told["unscored"]:
        return "score"
    if not held["scores"]:
        return "wait"
    return "results"
