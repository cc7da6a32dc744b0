"""The register: every record, table by table and one by one, with its history."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any

from fastapi import APIRouter, HTTPException, Query
from fastapi.responses import HTMLResponse, Response

from hardiness import glance
from hardiness.commands.upkeep import CHANGE, HISTORY, change_text
from hardiness.schema import RECORD_TABLES, Column, Table
from hardiness.web.jobs import Answer
from hardiness.web.records import ACTS, address, history_of, key_texts, layout_of, may_write, row_of
from hardiness.web.tables import containing, grid_of, text_of
from hardiness.web.uploads import upload_address
from hardiness.web.visits import Viewer, Visit

router = APIRouter(prefix="/register")
TableName = Annotated[str, Query(max_length=40)]
Key = Annotated[list[str] | None, Query(alias="key", max_length=4)]
Text = Annotated[str, Query(max_length=200)]
Start = Annotated[int, Query(ge=0, le=10_000_000)]


@router.get("")
def _register(
    visit: Viewer, table: TableName = "plants", find: Text = "", sort: Text = "", start: Start = 0
) -> HTMLResponse:
    layout = layout_of(table)
    frame = visit.place.trial.store.current(table)
    whole = len(frame)
    frame = containing(frame, layout.columns, find)
    settings = visit.place.trial.settings
    grid = grid_of(
        frame,
        layout.columns,
        settings,
        sort=sort,
        start=start,
        links={layout.key[0]: lambda row: address(table, key_texts(layout, row))},
    )
    given = {"table": table, "find": find, "sort": sort, "start": start}
    return visit.page(
        "register.html",
        grid=grid,
        layout=layout,
        given=given,
        whole=whole,
        may_write=may_write(visit, table),
    )


@router.get("/waiting")
def _waiting(visit: Viewer, sort: Text = "", start: Start = 0) -> HTMLResponse:
    def make(answer: Answer) -> dict[str, Any]:
        columns = [
            Column("plant", ""),
            Column("selection", ""),
            Column("rootstock", ""),
            Column("block", ""),
            Column("freeze", "the last one it met"),
            Column("ends", "when that ended", "time"),
        ]
        table = answer.keep("unscored", glance.unscored_plants)
        return {
            "grid": grid_of(
                table,
                columns,
                answer.done.settings,
                sort=sort,
                start=start,
                links={"plant": lambda row: address("plants", [str(row["plant"])])},
            )
        }

    return visit.answer("waiting.html", "observations", make, given={"sort": sort, "start": start})


@router.get("/plants/{plant:path}")
def _plant(visit: Viewer, plant: str) -> Response:
    return visit.go(address("plants", [plant]))


@router.get("/selections/{selection:path}")
def _selection(visit: Viewer, selection: str) -> Response:
    return visit.go(address("selections", [selection]))


@router.get("/row")
def _record(visit: Viewer, table: TableName = "", key: Key = None) -> HTMLResponse:
    return record_page(visit, layout_of(table), key)


def record_page(
    visit: Visit,
    layout: Table,
    key: list[str] | None,
    *,
    said: Sequence[str] = (),
    problems: Any = (),
    status: int = 200,
) -> HTMLResponse:
    """Answer with the page of a record.

    Parameters
    ----------
    visit : Visit
    layout : Table
    key : list of str or None
    said : sequence of str
        What came of an act on it.
    problems : sequence
        What stands against that act.
    status : int
        Of the answer.

    Returns
    -------
    HTMLResponse
    """
    parts, row = row_of(visit, layout, key)
    history = history_of(visit, layout.name, parts)
    if row is None and not history:
        raise HTTPException(404, f"No record of {layout.name} is called '{', '.join(parts)[:80]}'.")
    values = [(column, text_of(row[column.name])) for column in layout.columns] if row else []
    scores = None
    if layout.name == "plants" and row:
        held = visit.place.trial.store.current("scores")
        own = held[held["plant"] == row["plant"]].sort_values("scored_on", kind="stable")
        columns = [column for column in RECORD_TABLES["scores"].columns if column.name != "plant"]
        scores = grid_of(
            own,
            columns,
            visit.place.trial.settings,
            links={
                "scored_on": lambda one: address(
                    "scores", [str(row["plant"]), text_of(one["scored_on"]), text_of(one["observer"])]
                )
            },
        )
    return visit.page(
        "record.html",
        status=status,
        layout=layout,
        key=parts,
        row=row,
        values=values,
        history=history,
        acts=ACTS if layout.name == "plants" else {},
        scores=scores,
        may_write=may_write(visit, layout.name),
        edit=address(layout.name, parts, "/register/edit"),
        said=said,
        problems=problems,
    )


@router.get("/history")
def _acts(visit: Viewer, find: Text = "", start: Start = 0) -> HTMLResponse:
    table = visit.place.trial.store.history().iloc[::-1]
    shown = table.assign(
        change=[change_text(old, new) for old, new in zip(table["old"], table["new"], strict=True)],
    )
    columns = [*(column for column in HISTORY if column.name not in ("old", "new", "upload")), CHANGE]
    grid = grid_of(
        containing(shown, columns, find),
        columns,
        visit.place.trial.settings,
        links={"file": lambda row: upload_address(str(row["upload"])) if row["upload"] else ""},
        start=start,
        most=100,
    )
    return visit.page("history.html", grid=grid, whole=len(table), given={"find": find, "start": start})
