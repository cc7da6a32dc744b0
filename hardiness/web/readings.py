"""Readings: drop files, look at each, take in what is right; and the course of a sensor."""

from __future__ import annotations

from typing import Annotated, Any

import pandas as pd
from fastapi import APIRouter, File, Form, HTTPException, Path, Query, Request, UploadFile
from fastapi.responses import HTMLResponse, JSONResponse, Response

from hardiness import words
from hardiness.commands.quality import summer_gaps_of, summer_line
from hardiness.errors import InputError, Problem
from hardiness.flow import Flow
from hardiness.read.wallclock import time_text
from hardiness.weather.extents import extents_of
from hardiness.weather.sensors import sensors_known
from hardiness.web.clock import local
from hardiness.web.guessing import guess_sensor
from hardiness.web.holding import Held
from hardiness.web.jobs import Answer
from hardiness.web.looking import Choices, look_at, take_in
from hardiness.web.pages import link, part
from hardiness.web.traces import course_of, spans_of
from hardiness.web.visits import Scorer, ScorerWrites, Viewer, Visit

router = APIRouter(prefix="/readings")
MOST_FLAGS = 100  # odd stretches listed on a sensor's page
Text = Annotated[str, Query(max_length=200)]
Typed = Annotated[str, Form(max_length=200)]
Number = Annotated[str, Path(max_length=60)]
Sensor = Annotated[str, Path(max_length=250)]
Instant = Annotated[int | None, Query(ge=-2_000_000_000, le=20_000_000_000)]


@router.get("")
def _readings(visit: Viewer) -> HTMLResponse:
    def make(answer: Answer) -> dict[str, Any]:
        flow = answer.done
        zone = flow.settings.zone
        known = sensors_known(flow.records.sensors, flow.records.readings)
        extents = answer.keep("extents", lambda flow: extents_of(flow.records.readings))
        rows = []
        for name in known.index:
            extent = extents.get(name)
            rows.append(
                {
                    "sensor": name,
                    "kind": known.loc[name, "kind"],
                    "href": "" if extent is None else f"/readings/sensor/{part(name)}",
                    "readings": 0 if extent is None else extent.readings,
                    "exact": extent is None or extent.exact,
                    "first": None if extent is None else local(extent.first, zone).date(),
                    "last": None if extent is None else local(extent.last, zone).date(),
                    "freezes": int((flow.freezes["sensor"] == name).sum()),
                }
            )
        return {"rows": rows}

    waiting = visit.place.holding.of(visit.session.number)
    return visit.answer("readings.html", "freezes", make, held=waiting)


@router.post("/files")
def _drop(visit: ScorerWrites, files: Annotated[list[UploadFile] | None, File()] = None) -> Response:
    put = [file for file in files or [] if file.filename or file.size]
    if not put:
        raise InputError(Problem("no file chosen", "a logger's export, or several"))
    for file in put:
        visit.place.holding.put(file.file, file.filename or "", visit.session.number)
    return visit.go("/readings/files")


@router.get("/files")
def _waiting(visit: Scorer) -> HTMLResponse:
    return _files(visit)


def _files(
    visit: Visit,
    taken: list[tuple[str, list[str]]] | None = None,
    refused: dict[str, Any] | None = None,
    sensors: dict[str, str] | None = None,
) -> HTMLResponse:
    looks = []
    for held in visit.place.holding.of(visit.session.number):
        sensor = (sensors or {}).get(held.number) or guess_sensor(visit.place.trial, held)
        look = look_at(visit.place.trial, held, Choices(sensor))
        looks.append((look, sensor, (refused or {}).get(held.number, ())))
    known = sorted(visit.place.trial.store.current("sensors")["sensor"])
    return visit.page(
        "readings_files.html",
        looks=looks,
        taken=taken or [],
        known=known,
        ready=sum(not look.problems for look, _, _ in looks),
    )


@router.post("/take")
async def _take_all(visit: ScorerWrites, request: Request) -> HTMLResponse:
    form = await request.form()
    sensors = {
        name.removeprefix("sensor-"): str(value)[:200].strip()
        for name, value in form.items()
        if name.startswith("sensor-")
    }
    taken: list[tuple[str, list[str]]] = []
    refused: dict[str, Any] = {}
    for held in visit.place.holding.of(visit.session.number):
        if held.number not in sensors:
            continue
        try:
            taken.append(_taken(visit, held, Choices(sensors[held.number])))
        except InputError as error:
            refused[held.number] = error.problems
    return _files(visit, taken, refused, sensors)


def _taken(visit: Visit, held: Held, choices: Choices, *, keep: bool = False) -> tuple[str, list[str]]:
    intake = take_in(visit.trial, held, choices)
    if not keep:
        visit.place.holding.drop(held)
    added = words.count(intake.added, "reading")
    first = f"{held.name}: nothing added." if intake.repeated else f"{held.name}: {added} added to {choices.sensor}."
    return first, intake.said


def _held(visit: Visit, number: str) -> Held:
    held = visit.place.holding.find(number, visit.session.number)
    if held is None:
        raise HTTPException(404, "That file does not wait here any more. Drop it again.")
    return held


@router.get("/files/{number}")
def _look(
    visit: Scorer,
    number: Number,
    sensor: Text = "",
    timezone: Text = "",
    unit: Text = "",
    time_column: Text = "",
    temperature_column: Text = "",
    date_order: Text = "",
    missing: Text = "",
    marks: Text = "",
) -> HTMLResponse:
    held = _held(visit, number)
    sensor = sensor or guess_sensor(visit.place.trial, held)
    choices = Choices(sensor, timezone, unit, time_column, temperature_column, date_order, missing, marks)
    return _file(visit, held, choices)


def _file(visit: Visit, held: Held, choices: Choices, problems: Any = ()) -> HTMLResponse:
    look = look_at(visit.place.trial, held, choices)
    known = sorted(visit.place.trial.store.current("sensors")["sensor"])
    status = 422 if problems else 200
    return visit.page(
        "readings_file.html", status=status, look=look, choices=choices, known=known, refused=problems or look.problems
    )


@router.post("/files/{number}")
def _take(
    visit: ScorerWrites,
    number: Number,
    sensor: Typed = "",
    timezone: Typed = "",
    unit: Typed = "",
    time_column: Typed = "",
    temperature_column: Typed = "",
    date_order: Typed = "",
    missing: Typed = "",
    marks: Typed = "",
    act: Typed = "",
) -> Response:
    held = _held(visit, number)
    choices = Choices(
        sensor.strip(), timezone.strip(), unit, time_column, temperature_column, date_order, missing.strip(),
        marks.strip(),
    )  # fmt: skip
    if act == "look":
        return _file(visit, held, choices)
    try:
        taken = _taken(visit, held, choices, keep=act == "keep")
    except InputError as error:
        return _file(visit, held, choices, error.problems)
    return _files(visit, [taken])


@router.post("/files/{number}/drop")
def _let_go(visit: ScorerWrites, number: Number) -> Response:
    visit.place.holding.drop(_held(visit, number))
    return visit.go("/readings/files" if visit.place.holding.of(visit.session.number) else "/readings")


@router.get("/sensor/{sensor:path}/course.json")
def _course(
    visit: Viewer,
    sensor: Sensor,
    start: Annotated[int | None, Query(alias="from", ge=-2_000_000_000, le=20_000_000_000)] = None,
    end: Annotated[int | None, Query(alias="to", ge=-2_000_000_000, le=20_000_000_000)] = None,
) -> JSONResponse:
    answer = visit.place.answers.up_to("freezes")
    if not answer.has("freezes"):
        return JSONResponse({"waiting": True}, 202)
    flow = answer.done
    _known(flow, sensor)
    first, last = (None if at is None else pd.Timestamp(at, unit="s") for at in (start, end))
    flags = answer.keep("flags", _flags)
    own = flow.freezes[flow.freezes["sensor"] == sensor]
    return JSONResponse(
        {
            "zone": flow.settings.timezone,
            "unit": f"°{flow.settings.units}",
            "courses": [{"sensor": sensor, **course_of(flow, sensor, first, last)}],
            "freezes": spans_of(own, "starts", "ends", "freeze"),
            "flags": spans_of(flags[(flags["sensor"] == sensor) & (flags["flag"] != "gap")], "from", "to", "sentence"),
            "lines": [],
        }
    )


def _flags(flow: Flow) -> pd.DataFrame:
    return flow.flags


def _decision(flag: Any) -> str:
    """Where a flag is decided on: the form of a judged stretch, filled in; empty for a gap, which has no readings."""
    if flag.flag == "gap":
        return ""
    times = {"from": time_text(flag.first), "to": time_text(flag.to)}
    return link("/register/edit", {"table": "masks", "sensor": flag.sensor, **times})


def _known(flow: Flow, sensor: str) -> None:
    if sensor not in flow.readings:
        raise HTTPException(404, f"No sensor with readings is called '{sensor[:80]}'.")


@router.get("/sensor/{sensor:path}")
def _sensor(visit: Viewer, sensor: Sensor) -> HTMLResponse:
    def make(answer: Answer) -> dict[str, Any]:
        flow = answer.done
        _known(flow, sensor)
        flags = answer.keep("flags", _flags)
        own = flags[flags["sensor"] == sensor]
        gaps = answer.keep("summer gaps", lambda _: summer_gaps_of(visit.place.trial, None))
        freezes = flow.freezes[flow.freezes["sensor"] == sensor]
        uploads = visit.place.trial.store.uploads()
        files = uploads[uploads["sensor"] == sensor]
        return {
            "flags": [
                (local(row.first, flow.settings.zone).date(), row.sentence, row.verdict, _decision(row))
                for row in own.rename(columns={"from": "first"}).head(MOST_FLAGS).itertuples()
            ],
            "many": len(own),
            "quiet": summer_line(gaps[gaps["sensor"] == sensor], flow.settings),
            "freezes": freezes["freeze"].tolist()[::-1],
            "files": [
                (row.file, row.rows, local(row.added_at, flow.settings.zone).date(), row.who, row.counts, row.upload)
                for row in files.itertuples()
            ],
        }

    return visit.answer("sensor.html", "freezes", make, sensor=sensor)
