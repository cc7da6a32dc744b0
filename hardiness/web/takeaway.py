"""Take away: pictures, tables, the report, cards, the scoring sheet, the whole trial as one file."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, HTTPException, Query
from fastapi import Path as InPath
from fastapi.responses import FileResponse, HTMLResponse, Response
from starlette.background import BackgroundTask

from hardiness.errors import InputError, Problem
from hardiness.figures.formats import PAGES
from hardiness.figures.gallery import FIGURES
from hardiness.flow import Flow
from hardiness.report.build import write_report
from hardiness.report.cards import card_pdf, make_cards
from hardiness.report.gathered import gather
from hardiness.report.scoring_sheet import write_scoring_sheet
from hardiness.report.tables import MOST_PAIRED, NamedTable, csv_table
from hardiness.report.typesetting import PAPERS
from hardiness.report.workbook import workbook_bytes
from hardiness.schema import RECORD_TABLES
from hardiness.web.downloads import ANSWERS, records_table
from hardiness.web.files import KINDS, file_name, given_file, ready
from hardiness.web.jobs import Answer
from hardiness.web.visits import Owner, Viewer, Visit

router = APIRouter(prefix="/takeaway")
Paper = Annotated[str, Query(max_length=20)]


@router.get("")
def _takeaway(visit: Viewer) -> HTMLResponse:
    def make(answer: Answer) -> dict[str, Any]:
        flow = answer.done
        return {
            "can_fit": flow.can_fit,
            "plants": len(flow.records.plants),
            "blocks": sorted({block for block in flow.records.plants["block"] if block}),
        }

    figures = [(name, entry.title) for name, entry in FIGURES.items()]
    return visit.answer(
        "takeaway.html",
        "floors",
        make,
        answers=list(ANSWERS),
        records=list(RECORD_TABLES),
        pages=PAGES,
        papers=list(PAPERS),
        figures=figures,
        server=visit.place.trial.settings.store_url is not None,
    )


@router.get("/tables/{name}.{kind}")
def _table(visit: Viewer, name: str, kind: Annotated[str, InPath(pattern="^(csv|xlsx)$")]) -> Response:
    settings = visit.place.trial.settings
    if name in RECORD_TABLES:
        table = records_table(visit.place.trial, name)
    elif name in ANSWERS:
        table = ready(visit, ANSWERS[name].stage).keep(("table", name), _maker(name))
    else:
        raise HTTPException(404, f"No table is called '{name[:40]}'.")
    content = csv_table(table, settings).encode() if kind == "csv" else workbook_bytes([table], settings)
    return given_file(content, file_name(visit, name.replace("_", "-"), kind))


def _maker(name: str) -> Callable[[Flow], NamedTable]:
    return lambda flow: ANSWERS[name].named(name, flow)


@router.get("/tables.xlsx")
def _tables(visit: Viewer) -> Response:
    answer = ready(visit, "floors")
    few = len(set(answer.done.observations["selection"])) <= MOST_PAIRED
    tables = [records_table(visit.place.trial, name) for name in RECORD_TABLES]
    tables += [answer.keep(("table", name), _maker(name)) for name in ANSWERS if name != "compare" or few]
    return given_file(workbook_bytes(tables, answer.done.settings), file_name(visit, "tables", "xlsx"))


@router.get("/report")
def _report(visit: Viewer, paper: Paper = "A4") -> HTMLResponse:
    _refuse_paper(paper)
    return visit.later("report.html", "floors", ("report", paper), _report_of(visit, paper))


@router.get("/report.zip")
def _report_file(visit: Viewer, paper: Paper = "A4") -> Response:
    _refuse_paper(paper)
    made = visit.place.answers.later(
        ready(visit, "floors"), ("report", paper), _report_of(visit, paper), patience_s=120.0
    )
    if made is None:
        raise HTTPException(503, "The report is still being written. Ask for it again in a minute.")
    return given_file(made["packed"], file_name(visit, "report", "zip"))


def _report_of(visit: Visit, paper: str) -> Callable[[Flow], dict[str, Any]]:
    token = visit.place.trial.store.state_token()

    def make(flow: Flow) -> dict[str, Any]:
        packed = _packed_report(flow, token, paper)
        return {"packed": packed, "megabytes": f"{len(packed) / 1e6:.1f}", "paper": paper}

    return make


def _refuse_paper(paper: str) -> None:
    if paper not in PAPERS:
        raise InputError(Problem(f"paper '{paper}'", f"one of {', '.join(PAPERS)}", column="paper"))


def _packed_report(flow: Flow, token: str, paper: str) -> bytes:
    with tempfile.TemporaryDirectory() as place:
        write_report(flow, flow.settings, Path(place) / "report", token=token, paper=paper)
        return Path(shutil.make_archive(str(Path(place) / "packed"), "zip", place, "report")).read_bytes()


@router.get("/cards.pdf")
def _cards(visit: Viewer, paper: Paper = "A4", selection: Annotated[str, Query(max_length=200)] = "") -> Response:
    _refuse_paper(paper)
    answer = ready(visit, "floors")

    def make(flow: Flow) -> bytes:
        gathered = gather(flow, flow.settings, answer.token, questions=False)
        return card_pdf(gathered, make_cards(gathered, [selection] if selection else []), paper=paper)

    return given_file(answer.keep(("cards", paper, selection), make), file_name(visit, "cards", "pdf"))


@router.get("/sheet.pdf")
def _sheet(
    visit: Viewer,
    paper: Paper = "A4",
    block: Annotated[str, Query(max_length=200)] = "",
    large: Annotated[str, Query(max_length=3)] = "",
) -> Response:
    _refuse_paper(paper)
    answer = ready(visit, "observations")
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "sheet.pdf"
        write_scoring_sheet(
            answer.done, answer.done.settings, path, large=large == "yes", block=block or None, paper=paper
        )
        return given_file(path.read_bytes(), file_name(visit, "sheet", "pdf"))


@router.get("/archive.zip")
def _archive(visit: Owner) -> Response:
    with ExitStack() as until_sent:
        folder = Path(until_sent.enter_context(tempfile.TemporaryDirectory(prefix="hardiness-")))
        visit.place.trial.store.write_archive(folder / "trial.zip")
        done = BackgroundTask(until_sent.pop_all().close)
    name = file_name(visit, "archive", "zip")
    return FileResponse(folder / "trial.zip", media_type=KINDS["zip"], filename=name, background=done)
