"""Scoring in the rows, on a phone: the page, what its cards show, and the taps that it sends.

The page itself holds the queue of taps; this side takes each of them at most once. See
:mod:`hardiness.web.score_writes`.
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any

from fastapi import APIRouter, Form, Query, UploadFile
from fastapi.responses import HTMLResponse, JSONResponse, Response

from hardiness.errors import InputError
from hardiness.report.pocket_sheet import cards_data, pocket_html
from hardiness.report.walk import Walk, walk_of
from hardiness.schema import SCORES
from hardiness.store.jpeg import MOST_BYTES
from hardiness.web.files import file_name, given_file, ready
from hardiness.web.score_writes import Outcome, Tap, held_values, put_score, undo_score
from hardiness.web.visits import Scorer, ScorerWrites, Viewer, Visit
from hardiness.web.wording import for_page

router = APIRouter(prefix="/score")
STATUS = {"stored": 200, "undone": 200, "conflict": 409, "refused": 422}


@router.get("")
def _scoring(visit: Scorer) -> HTMLResponse:
    return visit.page("scoring.html", plants=len(visit.place.trial.store.current("plants")))


@router.get("/sheet.html")
def _sheet(visit: Viewer) -> Response:
    """Give the same cards as one file to keep, for rows without a connection."""
    flow = ready(visit, "exposures").done
    walk = walk_of(flow)
    return given_file(pocket_html(flow, flow.settings, walk), file_name(visit, "sheet", "html"))


@router.get("/cards.json")
def _cards(visit: Scorer, on: Annotated[dt.date | None, Query()] = None, held_only: bool = False) -> Response:
    """What the cards show; while the walk is not found yet, how far that is."""
    trial = visit.place.trial
    today = dt.datetime.now(trial.settings.zone).date()
    day = on or today
    given: dict[str, Any] = {
        "state": "ready",
        "trial": trial.store.identity,
        "name": trial.settings.name,
        "who": visit.who if visit.accounts else "",
        "token": visit.place.sessions.token(visit.session),
        "today": today.isoformat(),
        "day": day.isoformat(),
        "held": _held(visit, day),
    }
    if not held_only:
        answer = visit.place.answers.up_to("exposures")
        if isinstance(answer.fault, InputError):
            given |= {"state": "blocked", "sentences": [for_page(problem) for problem in answer.fault.problems]}
        elif not answer.has("exposures"):
            given |= {"state": "working"}
        else:
            walk: Walk = answer.keep("walk", walk_of)
            given |= cards_data(walk, trial.settings)
    response = JSONResponse(given)
    if visit.session.fresh:
        visit.place.sessions.write(response, visit.session)
    return response


def _held(visit: Visit, day: dt.date) -> list[dict[str, Any]]:
    """The scores of one day, of all observers."""
    scores = visit.place.trial.store.current(SCORES.name)
    rows = scores[scores["scored_on"] == day].to_dict("records")
    return [
        {"plant": row["plant"], "observer": row["observer"]} | (held_values({str(k): v for k, v in row.items()}) or {})
        for row in rows
    ]


def _answer(outcome: Outcome) -> JSONResponse:
    return JSONResponse(outcome.model_dump(), STATUS[outcome.state])


@router.post("/taps")
def _tap(visit: ScorerWrites, tap: Tap) -> JSONResponse:
    return _answer(put_score(visit.trial, tap))


@router.post("/undo")
def _undo(visit: ScorerWrites, tap: Tap) -> JSONResponse:
    return _answer(undo_score(visit.trial, tap))


@router.post("/photos")
def _photo(
    visit: ScorerWrites,
    file: UploadFile,
    trial: Annotated[str, Form(max_length=64)],
    plant: Annotated[str, Form(max_length=200)],
    scored_on: Annotated[str, Form(max_length=10)],
    observer: Annotated[str, Form(max_length=200)] = "",
) -> JSONResponse:
    data = file.file.read(MOST_BYTES + 1)  # one more than is taken, so that too much is seen without reading it all
    if trial != visit.place.trial.store.identity:
        return _answer(Outcome(state="refused", sentences=["That photo is for another trial."]))
    try:
        photo = visit.trial.store.photos.add(data, (plant, scored_on, observer))
    except InputError as error:
        return _answer(Outcome(state="refused", sentences=[for_page(problem) for problem in error.problems]))
    return JSONResponse({"state": "stored", "sentences": [], "photo": f"/photos/{photo.sha256}.jpg"})
