"""Files that were taken in: all of them, and each with what came of it, to withdraw it or have it count again.

What would change is worked out and shown before anything is done; who, when and why stay in the history.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Annotated

import pandas as pd
from fastapi import APIRouter, Form, HTTPException, Query
from fastapi.responses import HTMLResponse

from hardiness import words
from hardiness.commands.upkeep import SHOWN_HASH, UPLOADS, change_text
from hardiness.errors import InputError, Problem, StoreError
from hardiness.web.clock import local
from hardiness.web.jobs import Answer
from hardiness.web.pages import Progress, link
from hardiness.web.tables import columns_named, containing, grid_of
from hardiness.web.visits import OwnerWrites, Viewer, Visit
from hardiness.web.wording import for_page

router = APIRouter(prefix="/register")
SHOWN = ("file", "table", "sensor", "rows", "added_at", "who", "counts")
MOST_ROWS = 40  # rows and changes listed of one file
MOST_FREEZES = 12  # freezes named in one sentence
LONGEST_WHY = 500  # characters
Text = Annotated[str, Query(max_length=200)]
Start = Annotated[int, Query(ge=0, le=10_000_000)]
Back = Annotated[str, Query(max_length=1000)]
Hash = Annotated[str, Query(pattern="^[0-9a-f]{64}$")]


@dataclass(frozen=True, slots=True)
class Foreseen:
    """What would come of withdrawing a file, or of having it count again.

    Parameters
    ----------
    undo : bool
        Whether it is to count again.
    told : list of str
        Sentences on what would change.
    rows : list of str
        Rows that drop out or come back, and values that change.
    more : int
        Rows and values not listed.
    problems : sequence
        What stands against it.
    """

    undo: bool
    told: list[str] = field(default_factory=list)
    rows: list[str] = field(default_factory=list)
    more: int = 0
    problems: Sequence[Problem | str] = ()


def upload_address(upload: str, back: str = "") -> str:
    """Write the address of a file's page.

    Parameters
    ----------
    upload : str
        Its SHA-256.
    back : str
        The page to go back to afterwards.

    Returns
    -------
    str
    """
    return link("/register/upload", {"upload": upload, "back": back})


@router.get("/uploads")
def _uploads(visit: Viewer, find: Text = "", sort: Text = "", start: Start = 0) -> HTMLResponse:
    table = visit.place.trial.store.uploads().iloc[::-1]
    columns = columns_named(UPLOADS, SHOWN)
    found = containing(table, [*columns, *columns_named(UPLOADS, ("upload",))], find)
    links = {"file": lambda row: upload_address(str(row["upload"]))}
    grid = grid_of(found, columns, visit.place.trial.settings, sort=sort, start=start, links=links)
    return visit.page("uploads.html", grid=grid, whole=len(table), given={"find": find, "sort": sort, "start": start})


@router.get("/upload")
def _upload(visit: Viewer, upload: Hash, back: Back = "") -> HTMLResponse:
    return _page(visit, upload, back)


@router.post("/upload")
def _turn(
    visit: OwnerWrites,
    upload: Annotated[str, Form(pattern="^[0-9a-f]{64}$")],
    why: Annotated[str, Form(max_length=LONGEST_WHY)] = "",
    undo: Annotated[str, Form(max_length=3)] = "",
    back: Annotated[str, Form(max_length=1000)] = "",
) -> HTMLResponse:
    if not why.strip():
        problem = Problem("no reason", "a few words on why; they are kept with your name", column="why")
        return _page(visit, upload, back, [problem])
    try:
        done = visit.trial.withdraw_upload(upload, undo=undo == "yes", why=why)
    except InputError as error:
        return _page(visit, upload, back, error.problems)
    return visit.page(
        "done.html",
        heading="Done" if done.count else "Nothing has changed",
        said=done.said,
        back=_inside(back),
        changes=[],
        more=0,
    )


def _inside(back: str) -> str:
    """Keep an address that stays on these pages; browsers drop tabs and line ends, and take a backslash for a slash."""
    stays = back.startswith("/") and back[1:2] not in ("/", "\\") and back.isprintable()
    return back if stays else "/register/uploads"


def _page(visit: Visit, upload: str, back: str, problems: Sequence[Problem | str] = ()) -> HTMLResponse:
    uploads = visit.place.trial.store.uploads()
    own = uploads[uploads["upload"] == upload]
    if own.empty:
        raise HTTPException(404, "No file of this trial has that number.")
    offers: list[Foreseen] = []
    if visit.may("owner"):
        ways = [undo for undo in (False, True) if (own["counts"] != undo).any()]
        answer, fault = _answer_of(visit)
        if answer is not None and not answer.has("observations") and answer.fault is None:
            return visit.page("upload.html", waiting=Progress.of(answer, "observations"), file=own["file"].iloc[0])
        offers = [_foreseen(visit, upload, undo, answer, fault) for undo in ways]
    zone = visit.place.trial.settings.zone
    acts = visit.place.trial.store.history()
    acts = acts[(acts["upload"] == upload) & (acts["key"] == "")].iloc[::-1]
    return visit.page(
        "upload.html",
        status=422 if problems else 200,
        problems=problems,
        upload=upload,
        short=upload[:SHOWN_HASH],
        file=own["file"].iloc[0],
        intakes=[
            (row.table, row.sensor, row.rows, local(row.added_at, zone), row.who, change_text("", str(row.options)),
             row.counts)
            for row in own.itertuples()
        ],
        acts=[(local(row.at, zone), row.who, row.action, _why(str(row.new))) for row in acts.itertuples()],
        offers=offers,
        longest=LONGEST_WHY,
        back=_inside(back) if back else "",
    )  # fmt: skip


def _why(new: str) -> str:
    return str(json.loads(new).get("why", "")) if new else ""


def _answer_of(visit: Visit) -> tuple[Answer | None, str]:
    """The answers as they stand, or what keeps them from being there: a file at fault must open nevertheless."""
    try:
        return visit.place.answers.up_to("observations"), ""
    except StoreError as error:
        return None, str(error)


def _foreseen(visit: Visit, upload: str, undo: bool, answer: Answer | None, fault: str) -> Foreseen:
    try:
        done = visit.trial.withdraw_upload(upload, undo=undo, rehearse=True)
    except InputError as error:
        return Foreseen(undo, problems=error.problems)
    told = [fault] if fault else []
    if done.gone or done.back:
        drop, come = ("drops", "comes") if len(done.gone or done.back) == 1 else ("drop", "come")
        told.append(f"{words.count(len(done.gone), 'row')} {drop} out." if done.gone
                    else f"{words.count(len(done.back), 'row')} {come} back.")  # fmt: skip
    if done.changed:
        rows = words.count(len({change.key for change in done.changed}), "row")
        told.append(f"{rows} that other files have too: values become what those say.")
    zone = visit.place.trial.settings.zone
    for part in done.parts:
        first, last = (local(pd.Timestamp(at), zone) for at in (part.first_ns, part.last_ns))
        span = f"{first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M}"
        verb = "count again" if undo else "stop counting"
        told.append(f"{words.count(part.readings, 'reading')} of {part.sensor}, {span}, {verb}.")
        if answer is not None and answer.fault is None and not undo:
            told.extend(_resting(answer, part.sensor, part.first_ns, part.last_ns))
    told += [for_page(sentence) for sentence in done.missed]
    if not (done.gone or done.back or done.changed or done.parts):
        told.append("No value changes: other files say the same.")
    listed = [" ".join(bit for bit in key if bit) for key in (*done.gone, *done.back)]
    listed += [
        f"{' '.join(bit for bit in one.key if bit)}, {one.column}: {one.old or '(empty)'} → {one.new or '(empty)'}"
        for one in done.changed
    ]
    return Foreseen(undo, told, listed[:MOST_ROWS], max(len(listed) - MOST_ROWS, 0))


def _resting(answer: Answer, sensor: str, first_ns: int, last_ns: int) -> list[str]:
    """Say which freezes, and how many scores, rest on readings of that stretch."""
    freezes, observations = answer.done.freezes, answer.done.observations
    starts, ends = (freezes[name].dt.tz_convert("UTC") for name in ("starts", "ends"))
    first, last = (pd.Timestamp(at, tz="UTC") for at in (first_ns, last_ns))
    inside = freezes[(freezes["sensor"] == sensor) & (starts <= last) & (ends >= first)]["freeze"].tolist()
    if not inside:
        return ["No freeze lies in that time."]
    left = len(inside) - MOST_FREEZES
    named = words.listed(inside if left <= 0 else [*inside[:MOST_FREEZES], f"{left} more"])
    them = "it" if len(inside) == 1 else "them"
    scores = int(observations["freeze"].isin(inside).sum())
    rest = f"{words.count(scores, 'score').capitalize()} of plants {'rests' if scores == 1 else 'rest'} on {them}."
    return [
        f"{words.count(len(inside), 'freeze')} in that time: {named}. {rest}",
        "All of that is worked out anew without these readings; where another file has the same times, its readings "
        "take their place.",
    ]
