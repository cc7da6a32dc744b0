"""Freezes: a winter's, and one cold spell with its course and the plants that met it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

import pandas as pd
from fastapi import APIRouter, HTTPException, Path, Query
from fastapi.responses import HTMLResponse, JSONResponse

from hardiness import schema, words
from hardiness.flow import Flow
from hardiness.schema import Column
from hardiness.settings import Settings
from hardiness.web.jobs import Answer
from hardiness.web.pages import part
from hardiness.web.strips import Scale, scale_over
from hardiness.web.tables import columns_named, grid_of
from hardiness.web.traces import course_of, spans_of
from hardiness.web.visits import Viewer

router = APIRouter(prefix="/freezes")
AROUND = pd.Timedelta(hours=18)  # of a course before and after the cold spell
GRADE_AFTER = Column("grade", "state of the plant when its window closed", "integer")
Freeze = Annotated[str, Path(max_length=300)]
Sort = Annotated[str, Query(max_length=40)]


@dataclass(frozen=True, slots=True)
class Bar:
    """One freeze on a strip.

    Parameters
    ----------
    freeze, href, sensor, when, said : str
    onset, coldest : float
        Ends of its bar. [%]
    held : float or None
        Where the held temperature of the model stands. [%]
    aside : bool
        Whether a note sets it aside.
    """

    freeze: str
    href: str
    sensor: str
    when: str
    said: str
    onset: float
    coldest: float
    held: float | None
    aside: bool


@router.get("")
def _freezes(
    visit: Viewer,
    winter: Annotated[str, Query(max_length=40)] = "",
    sort: Sort = "",
    start: Annotated[int, Query(ge=0, le=10_000_000)] = 0,
) -> HTMLResponse:
    given = {"winter": winter, "sort": sort, "start": start}

    def make(answer: Answer) -> dict[str, Any]:
        flow = answer.done
        winters = sorted(set(flow.freezes["winter"]))
        chosen = winter if winter in winters else (winters[-1] if winters else "")
        table = flow.freezes[flow.freezes["winter"] == chosen]
        counted = set(flow.freezes_that_count["freeze"])
        scale = scale_over([flow.settings.rules.onset_c, *flow.freezes["minimum_c"]], flow.settings.units)
        return {
            "winters": winters,
            "chosen": chosen,
            "bars": [_bar(row, scale, flow.settings, counted) for row in table.to_dict("records")],
            "scale": scale,
            "grid": grid_of(
                table, _columns(flow.settings), flow.settings, links={"freeze": _link}, sort=sort, start=start
            ),
            "held_h": words.hours(flow.settings.model_held_h),
            "onset": words.temperature(flow.settings.rules.onset_c, flow.settings.units, 0),
        }

    return visit.answer("freezes.html", "freezes", make, given=given)


def _columns(settings: Settings) -> list[Column]:
    rules = settings.rules
    hours = [schema.hours_column(threshold) for threshold in rules.thresholds]
    held = [schema.held_column(hours) for hours in rules.held_h]
    names = (
        "freeze",
        "sensor",
        "source",
        "starts",
        "ends",
        "minimum_c",
        "duration_h",
        *hours,
        *held,
        "degree_hours_c_h",
        "fall_rate_c_per_h",
        "coverage",
        "sd_c",
    )
    return columns_named(schema.freeze_columns(rules.thresholds, rules.held_h), names)


def _link(row: Any) -> str:
    return f"/freezes/{part(row['freeze'])}"


def _bar(row: dict[Any, Any], scale: Scale, settings: Settings, counted: set[str]) -> Bar:
    held = row[schema.held_column(settings.model_held_h)]
    starts = row["starts"].tz_convert(settings.zone)
    coldest = words.temperature(row["minimum_c"], settings.units)
    return Bar(
        freeze=row["freeze"],
        href=_link(row),
        sensor=row["sensor"],
        when=f"{words.day(starts.date())}, {words.hours(row['duration_h'])}",
        said=f"{row['freeze']}: down to {coldest} in {words.hours(row['duration_h'])}.",
        onset=scale.at(settings.rules.onset_c),
        coldest=scale.at(row["minimum_c"]),
        held=None if pd.isna(held) else scale.at(held),
        aside=row["freeze"] not in counted,
    )


def _event(flow: Flow, name: str) -> pd.DataFrame:
    """The freezes of the cold spell that a freeze or an event names."""
    rows = flow.freezes[(flow.freezes["freeze"] == name) | (flow.freezes["event"] == name)]
    if rows.empty:
        raise HTTPException(404, f"No freeze of this trial is called '{name[:80]}'.")
    return flow.freezes[flow.freezes["event"].isin(rows["event"])]


@router.get("/{freeze:path}/course.json")
def _course(visit: Viewer, freeze: Freeze) -> JSONResponse:
    answer = visit.place.answers.up_to("freezes")
    if not answer.has("freezes"):
        return JSONResponse({"waiting": True}, 202)
    flow = answer.done
    rows = _event(flow, freeze)
    start, end = rows["starts"].min() - AROUND, rows["ends"].max() + AROUND
    return JSONResponse(
        {
            "zone": flow.settings.timezone,
            "unit": f"°{flow.settings.units}",
            "courses": [
                {"sensor": sensor, **course_of(flow, sensor, start, end)}
                for sensor in sorted(flow.readings)
                if sensor in set(rows["sensor"])
            ],
            "freezes": spans_of(rows, "starts", "ends", "freeze"),
            "flags": [],
            "lines": [round(words.shown(t.celsius, flow.settings.units), 2) for t in flow.settings.rules.thresholds],
        }
    )


@router.get("/{freeze:path}")
def _freeze(visit: Viewer, freeze: Freeze, sort: Sort = "") -> HTMLResponse:
    def make(answer: Answer) -> dict[str, Any]:
        flow = answer.done
        rows = _event(flow, freeze)
        met = flow.exposures[flow.exposures["freeze"].isin(rows["freeze"])]
        seen = flow.observations.loc[flow.observations["freeze"].isin(rows["freeze"]), ["plant", "freeze", "grade"]]
        met = met.merge(seen, on=["plant", "freeze"], how="left").astype({"grade": "Int64"})
        rules = flow.settings.rules
        held = schema.held_column(flow.settings.model_held_h)
        columns = columns_named(
            schema.freeze_columns(rules.thresholds, rules.held_h), ["sensor", "minimum_c", held, "duration_h"]
        )
        grid = grid_of(
            met,
            [*schema.EXPOSED, *columns, GRADE_AFTER],
            flow.settings,
            sort=sort or "minimum_c",
            links={
                "plant": lambda row: f"/register/plants/{part(row['plant'])}",
                "selection": lambda row: f"/results/selection/{part(row['selection'])}",
            },
        )
        notes = flow.records.freeze_notes
        zone = flow.settings.zone
        first, last = rows["starts"].min().tz_convert(zone).date(), rows["ends"].max().tz_convert(zone).date()
        about = notes[(notes["from"] <= last) & (notes["to"] >= first)] if len(notes) else notes
        return {
            "sensors": grid_of(rows, _columns(flow.settings), flow.settings),
            "met": grid,
            "plants": met["plant"].nunique(),
            "scored": seen["plant"].nunique(),
            "blocks": sorted(
                set(flow.records.plants.loc[flow.records.plants["plant"].isin(met["plant"]), "block"]) - {""}
            ),
            "coldest": words.temperature(rows["minimum_c"].min(), flow.settings.units),
            "first": first,
            "last": last,
            "event": rows["event"].iloc[0],
            "air": flow.air.set_index("event").loc[rows["event"].iloc[0]],
            "aside": not set(rows["freeze"]) & set(flow.freezes_that_count["freeze"]),
            "notes": [(row.block, row.note, row.set_aside) for row in about.itertuples()],
        }

    return visit.answer("freeze.html", "observations", make, freeze=freeze)
