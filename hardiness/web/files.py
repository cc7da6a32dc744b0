"""Files that are taken away: their kinds, their names, and waiting for the numbers in them."""

from __future__ import annotations

import re
from urllib.parse import quote

from fastapi import HTTPException
from fastapi.responses import Response

from hardiness.errors import InputError
from hardiness.web.jobs import Answer
from hardiness.web.visits import Visit

KINDS = {
    "png": "image/png",
    "svg": "image/svg+xml",
    "pdf": "application/pdf",
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "zip": "application/zip",
    "html": "text/html; charset=utf-8",
}
PATIENCE_S = 20.0  # [s] a download waits so long for its numbers


def ready(visit: Visit, stage: str) -> Answer:
    """Wait for an answer.

    Parameters
    ----------
    visit : Visit
    stage : str
        One of :data:`hardiness.web.jobs.NAMES`.

    Returns
    -------
    Answer
        With the stage done.

    Raises
    ------
    InputError
        If the records do not allow it.
    HTTPException
        If it takes too long.
    """
    answer = visit.place.answers.up_to(stage, patience_s=PATIENCE_S)
    if isinstance(answer.fault, InputError):
        raise answer.fault
    if not answer.has(stage):
        raise HTTPException(503, "That is still being worked out. Open the page 'Take away' and wait for it there.")
    return answer


def file_name(visit: Visit, what: str, kind: str) -> str:
    """Name a file that is taken away, after the trial.

    Parameters
    ----------
    visit : Visit
    what, kind : str
        What it is, and its ending.

    Returns
    -------
    str
    """
    trial = re.sub(r"[^\w-]+", "-", visit.place.trial.settings.name.casefold()).strip("-")[:40] or "trial"
    return f"{trial}-{what}.{kind}"


def given_file(content: bytes, name: str) -> Response:
    """Answer with a file to keep.

    Parameters
    ----------
    content : bytes
    name : str
        Its name; the ending says its kind.

    Returns
    -------
    Response
    """
    headers = {"Content-Disposition": f"attachment; filename*=UTF-8''{quote(name)}"}
    return Response(content, media_type=KINDS[name.rsplit(".", 1)[-1]], headers=headers)
