"""The gallery's figures as pages and as files: each drawn once for a state of the records."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence
from typing import Annotated, Any

from fastapi import APIRouter, HTTPException, Query
from fastapi import Path as InPath
from fastapi.responses import HTMLResponse, Response

from hardiness.errors import InputError, Problem
from hardiness.figures.formats import PAGES
from hardiness.figures.gallery import CHOICES, FIGURES, accepted_by, draw_figure
from hardiness.figures.saving import pdf_bytes, png_bytes, svg_texts
from hardiness.flow import Flow
from hardiness.web.files import KINDS, file_name, given_file, ready
from hardiness.web.pages import link
from hardiness.web.visits import Viewer

router = APIRouter(prefix="/pictures")
PATIENCE_S = 60.0  # [s] a picture waits so long: survival curves of many grades take their time
# What a figure rests on, where that is less than the floors.
STAGE_OF = {
    "winters": "observations",
    "damage_map": "observations",
    "exposure_grade": "observations",
    "freeze_course": "observations",
    "station_logger": "observations",
}
Figure = Annotated[str, InPath(max_length=40)]
Choice = Annotated[str, Query(max_length=200)]


@router.get("/{name}.{kind}")
def _picture(
    visit: Viewer,
    name: Figure,
    kind: Annotated[str, InPath(pattern="^(png|svg|pdf)$")],
    page: Choice = "A4",
    selection: Choice = "",
    rootstock: Choice = "",
    event: Choice = "",
    block: Choice = "",
    winter: Choice = "",
    sensor: Choice = "",
    station: Choice = "",
    show: Annotated[str, Query(max_length=3)] = "",
) -> Response:
    _refuse_unknown(name, page)
    chosen = {
        "selection": selection,
        "rootstock": rootstock,
        "event": event,
        "block": block,
        "winter": winter,
        "sensor": sensor,
        "station": station,
    }
    chosen = {word: value for word, value in chosen.items() if value and word in CHOICES}
    answer = ready(visit, STAGE_OF.get(name, "floors"))
    key = ("picture", name, kind, page, *sorted(chosen.items()))
    made = visit.place.answers.later(
        answer, key, lambda flow: drawn(flow, name, kind, page, chosen), patience_s=PATIENCE_S
    )
    if made is None:
        raise HTTPException(503, "That picture is still being drawn. Ask for it again in a minute.")
    content, ending = made
    if show and ending == kind:
        return Response(content, media_type=KINDS[kind])
    return given_file(content, file_name(visit, f"{name.replace('_', '-')}-{page.lower()}", ending))


def drawn(flow: Flow, name: str, kind: str, page: str, chosen: Mapping[str, str]) -> tuple[bytes, str]:
    """Draw a figure as a file; pages of a picture that is none of PDF come as a ZIP.

    Parameters
    ----------
    flow : Flow
    name, kind, page : str
        Which figure, ``png``, ``svg`` or ``pdf``, and the size of its page.
    chosen : mapping
        The gallery's choices.

    Returns
    -------
    content : bytes
    ending : str
        Of the file: ``kind``, or ``zip``.

    Raises
    ------
    InputError
        If the figure does not know a choice, or the trial has no such name.
    """
    if other := set(chosen) - set(accepted_by(name)):
        raise InputError(Problem(", ".join(sorted(other)), ", ".join(accepted_by(name)) or "no choice", column=name))
    figure = draw_figure(name, flow, flow.settings, page=page, **chosen)
    if kind == "pdf":
        return pdf_bytes(figure), kind
    pages: Sequence[bytes] = (
        png_bytes(figure) if kind == "png" else [text.encode("utf-8") for text in svg_texts(figure)]
    )
    if len(pages) == 1:
        return pages[0], kind
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for number, content in enumerate(pages, 1):
            archive.writestr(f"{name}-{number}.{kind}", content)
    return packed.getvalue(), "zip"


def _refuse_unknown(name: str, page: str) -> None:
    if name not in FIGURES:
        raise HTTPException(404, f"No picture is called '{name}'.")
    if page not in PAGES:
        raise InputError(Problem(f"page '{page}'", f"one of {', '.join(PAGES)}", column="page"))


@router.get("/{name}")
def _page(
    visit: Viewer,
    name: Figure,
    selection: Choice = "",
    rootstock: Choice = "",
    event: Choice = "",
    block: Choice = "",
    winter: Choice = "",
) -> HTMLResponse:
    _refuse_unknown(name, "A4")
    chosen = {"selection": selection, "rootstock": rootstock, "event": event, "block": block, "winter": winter}

    def make(_: Any) -> dict[str, Any]:
        return {"address": lambda kind, **more: link(f"/pictures/{name}.{kind}", chosen | more)}

    return visit.answer(
        "picture.html", "floors", make, name=name, title=FIGURES[name].title, pages=PAGES, chosen=chosen
    )
