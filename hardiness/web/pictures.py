"""The gallery's figures as pages and as files: each drawn once for a state of the records.

A page shows a figure as slides on a desk, as a strip on a phone, and all sheets of either; a file holds one format.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Mapping, Sequence
from itertools import zip_longest
from typing import Annotated, Any

from fastapi import APIRouter, Depends, HTTPException, Query, Request
from fastapi import Path as InPath
from fastapi.responses import HTMLResponse, Response

from hardiness.errors import InputError, Problem
from hardiness.figures.formats import PAGES
from hardiness.figures.gallery import CHOICES, FIGURES, draw_figure, names_to_choose
from hardiness.figures.saving import pdf_bytes, png_bytes, svg_texts
from hardiness.figures.sheet import Sheet
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
    "quality_calendar": "freezes",
}
WIDE, NARROW = "slide", "phone"  # the formats that a page shows, on a desk and on a phone
Figure = Annotated[str, InPath(max_length=40)]
LONGEST = 200  # characters of a choice


def _chosen(request: Request) -> dict[str, str]:
    """What an address chooses of what the gallery offers."""
    given = {word: request.query_params.get(word, "") for word in CHOICES}
    if long := [word for word, value in given.items() if len(value) > LONGEST]:
        raise InputError([Problem("a text that is too long", f"{LONGEST} characters", column=word) for word in long])
    return {word: value for word, value in given.items() if value}


Chosen = Annotated[dict[str, str], Depends(_chosen)]


@router.get("/{name}.{kind}")
def _picture(
    visit: Viewer,
    name: Figure,
    kind: Annotated[str, InPath(pattern="^(png|svg|pdf)$")],
    chosen: Chosen,
    page: Annotated[str, Query(max_length=20)] = "A4",
    show: Annotated[str, Query(max_length=3)] = "",
) -> Response:
    _refuse_unknown(name, page)
    answer = ready(visit, STAGE_OF.get(name, "floors"))

    def drawn_once(key: tuple[str, ...], make: Callable[[Flow], Any]) -> Any:
        made = visit.place.answers.later(answer, key, make, patience_s=PATIENCE_S)
        if made is None:
            raise HTTPException(503, "That picture is still being drawn. Ask for it again in a minute.")
        return made

    if show and kind == "svg" and page in (WIDE, NARROW):
        sheets: Sequence[bytes] = drawn_once(_key(name, chosen), _showing(name, chosen))["drawn"][page]
    else:
        key = (*_key(name, chosen), kind, page)
        sheets = drawn_once(key, lambda flow: drawn(flow, name, kind, page, chosen))
    if show:
        number = int(show) if show.isdecimal() else 1
        if not 1 <= number <= len(sheets):
            raise HTTPException(404, f"The picture '{name}' has no sheet {number}.")
        return Response(sheets[number - 1], media_type=KINDS[kind])
    content, ending = (sheets[0], kind) if len(sheets) == 1 else (_packed(name, kind, sheets), "zip")
    return given_file(content, file_name(visit, f"{name.replace('_', '-')}-{page.lower()}", ending))


def drawn(flow: Flow, name: str, kind: str, page: str, chosen: Mapping[str, str]) -> tuple[bytes, ...]:
    """Draw a figure as files.

    Parameters
    ----------
    flow : Flow
    name, kind, page : str
        Which figure, ``png``, ``svg`` or ``pdf``, and the size of its page.
    chosen : mapping
        The gallery's choices.

    Returns
    -------
    tuple of bytes
        A file a sheet; of PDF one file with all.

    Raises
    ------
    InputError
        If the figure does not know a choice, or the trial has no such name.
    """
    figure = draw_figure(name, flow, flow.settings, page=page, **chosen)
    if kind == "pdf":
        return (pdf_bytes(figure),)
    return tuple(png_bytes(figure)) if kind == "png" else _svg(figure)


def _svg(figure: Any) -> tuple[bytes, ...]:
    return tuple(text.encode("utf-8") for text in svg_texts(figure))


def _packed(name: str, kind: str, sheets: Sequence[bytes]) -> bytes:
    """Put the sheets of a picture into one ZIP."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for number, content in enumerate(sheets, 1):
            archive.writestr(f"{name}-{number}.{kind}", content)
    return packed.getvalue()


def _key(name: str, chosen: Mapping[str, str]) -> tuple[str, ...]:
    return ("picture", name, *(text for pair in sorted(chosen.items()) for text in pair))


def _showing(name: str, chosen: Mapping[str, str]) -> Callable[[Flow], dict[str, Any]]:
    """Draw what a page shows: the sheets in both formats, what they say, and what else may be chosen."""

    def make(flow: Flow) -> dict[str, Any]:
        wide, narrow = (draw_figure(name, flow, flow.settings, page=page, **chosen) for page in (WIDE, NARROW))
        sheets = {WIDE: _svg(wide), NARROW: _svg(narrow)}
        finding = wide.heading if isinstance(wide, Sheet) else FIGURES[name].title
        pairs = zip_longest(*(range(1, len(some) + 1) for some in sheets.values()))
        return {"drawn": sheets, "finding": finding, "sheets": list(pairs), "options": names_to_choose(name, flow)}

    return make


def _refuse_unknown(name: str, page: str) -> None:
    if name not in FIGURES:
        raise HTTPException(404, f"No picture is called '{name}'.")
    if page not in PAGES:
        raise InputError(Problem(f"page '{page}'", f"one of {', '.join(PAGES)}", column="page"))


@router.get("/{name}")
def _page(visit: Viewer, name: Figure, chosen: Chosen) -> HTMLResponse:
    _refuse_unknown(name, WIDE)
    return visit.later(
        "picture.html",
        STAGE_OF.get(name, "floors"),
        _key(name, chosen),
        _showing(name, chosen),
        name=name,
        title=FIGURES[name].title,
        pages=PAGES,
        chosen=chosen,
        meanings=CHOICES,
        address=lambda kind, **more: link(f"/pictures/{name}.{kind}", chosen | more),
    )
