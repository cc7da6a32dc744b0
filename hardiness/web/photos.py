"""The photos of scored plants, for those who may look: never by a file's name, only by what the records know."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, HTTPException, Query
from fastapi import Path as InPath
from fastapi.responses import HTMLResponse, Response

from hardiness.web.pages import link
from hardiness.web.visits import ScorerWrites, Viewer

router = APIRouter(prefix="/photos")
MOST_SHOWN = 60


@router.get("")
def _photos(visit: Viewer, plant: Annotated[str, Query(max_length=200)] = "") -> HTMLResponse:
    store = visit.place.trial.store
    photos = store.photos.of(plant or None)[::-1]
    scores = store.current("scores")
    grades = {
        (row["plant"], str(row["scored_on"]), row["observer"]): int(row["grade"]) for row in scores.to_dict("records")
    }
    shown = [(photo, grades.get((photo.plant, photo.scored_on, photo.observer))) for photo in photos[:MOST_SHOWN]]
    return visit.page("photos.html", plant=plant, photos=shown, more=max(len(photos) - MOST_SHOWN, 0))


@router.get("/{sha256}.jpg")
def _photo(visit: Viewer, sha256: Annotated[str, InPath(pattern="^[0-9a-f]{64}$")]) -> Response:
    data = visit.place.trial.store.photos.read(sha256)
    if data is None:
        raise HTTPException(404, "No photo is called so.")
    # What is under a SHA-256 never changes; it stays in the browser of the one who may see it.
    return Response(data, media_type="image/jpeg", headers={"Cache-Control": "private, max-age=86400, immutable"})


@router.post("/withdraw")
def _withdraw(
    visit: ScorerWrites,
    sha256: Annotated[str, Form(pattern="^[0-9a-f]{64}$")],
    plant: Annotated[str, Form(max_length=200)],
    scored_on: Annotated[str, Form(max_length=10)],
    observer: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    visit.trial.store.photos.withdraw(sha256, (plant, scored_on, observer))
    return visit.go(link("/photos", {"plant": plant}))
