"""Changing the register: by a form, by a file, and back again.

An edit is an intake of one row, kept like any file: it is checked alike, and can be taken back alike.
"""

from __future__ import annotations

import datetime as dt
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Form, HTTPException, Query, Request, UploadFile
from fastapi.responses import HTMLResponse, Response

from hardiness.commands.intake import MOST_CHANGES, counts_text
from hardiness.errors import InputError, Problem
from hardiness.schema import Table
from hardiness.web.holding import shown_name
from hardiness.web.pages import link
from hardiness.web.records import ACTS, address, layout_of, refuse_other_key, refuse_unless_may, row_of
from hardiness.web.register import record_page
from hardiness.web.tables import text_of
from hardiness.web.visits import Scorer, ScorerWrites, Visit

router = APIRouter(prefix="/register")
TableName = Annotated[str, Query(max_length=40)]
Key = Annotated[list[str] | None, Query(alias="key", max_length=4)]
Text = Annotated[str, Query(max_length=200)]


@router.get("/edit")
def _edit(
    visit: Scorer,
    table: TableName = "",
    key: Key = None,
    act: Text = "",
    copy_of: Text = "",
    sensor: Text = "",
    first: Annotated[str, Query(alias="from", max_length=40)] = "",
    last: Annotated[str, Query(alias="to", max_length=40)] = "",
) -> HTMLResponse:
    layout = layout_of(table)
    refuse_unless_may(visit, table)
    values: dict[str, str] = {}
    if key:
        parts, row = row_of(visit, layout, key)
        if row is None:
            raise HTTPException(404, f"No record of {table} is called '{', '.join(parts)[:80]}'.")
        values = {name: text_of(value) for name, value in row.items()}
    elif copy_of and table == "plants":
        _, row = row_of(visit, layout, [copy_of])
        if row is None:
            raise HTTPException(404, f"No plant is called '{copy_of[:80]}'.")
        today = dt.datetime.now(visit.place.trial.settings.zone).date()
        values = {
            "selection": text_of(row["selection"]),
            "copy_of": text_of(row["copy_of"]) or copy_of,
            "grafted_on": today.isoformat(),
        }
    elif sensor and table == "masks":
        values = {"sensor": sensor, "from": first, "to": last}
    return _form(visit, layout, values, act=act if key else "", new=not key)


def _form(
    visit: Visit, layout: Table, values: Mapping[str, str], *, act: str, new: bool, problems: Any = ()
) -> HTMLResponse:
    asked = ACTS.get(act, layout.names) if layout.name == "plants" else layout.names
    columns = [column for column in layout.columns if column.name in asked and (new or column.name not in layout.key)]
    store = visit.place.trial.store
    known = {
        "selection": sorted(store.current("selections")["selection"]),
        "sensor": sorted(store.current("sensors")["sensor"]),
    }
    plants = store.current("plants")
    known |= {
        "rootstock": sorted(set(plants["rootstock"])),
        "block": sorted({block for block in plants["block"] if block}),
    }
    return visit.page(
        "record_edit.html",
        status=422 if problems else 200,
        layout=layout,
        columns=columns,
        values=values,
        key=[values.get(name, "") for name in layout.key],
        act=act,
        new=new,
        known=known,
        problems=problems,
        back="" if new else address(layout.name, [values.get(n, "") for n in layout.key]),
    )


@router.post("/edit")
async def _put(visit: ScorerWrites, request: Request) -> Response:
    form = {name: str(value)[:20_000] for name, value in (await request.form()).items()}
    layout = layout_of(form.get("table", ""))
    refuse_unless_may(visit, layout.name)
    new, act = form.get("new") == "yes", form.get("act", "")
    typed = {name: form[name].strip() for name in layout.names if name in form}
    key = [typed.get(name, "") for name in layout.key]
    _, row = row_of(visit, layout, key)
    try:
        if new and row is not None:
            raise InputError(
                Problem(
                    f"{', '.join(part for part in key if part)}, registered already",
                    "one that is new",
                    hint="Open that record to change it.",
                )
            )
        if not new and row is None:
            raise InputError(Problem(f"{', '.join(key)}, which does not count", f"a record of {layout.name}"))
        changed = _changed(layout, typed, row)
        if not changed:
            return visit.go(address(layout.name, key))
        visit.trial.add_rows(layout.name, [changed])
    except InputError as error:
        values = {name: text_of(value) for name, value in (row or {}).items()} | typed
        return _form(visit, layout, values, act=act, new=new, problems=error.problems)
    return visit.go(address(layout.name, key))


def _changed(layout: Table, typed: Mapping[str, str], row: Mapping[str, Any] | None) -> dict[str, str]:
    """What an intake of one row must say: its key, what its table requires, and what is other than before."""
    if row is None:
        return {name: value for name, value in typed.items() if value or layout[name].required}
    other = {name: value for name, value in typed.items() if name not in layout.key and value != text_of(row[name])}
    if not other:
        return {}
    needed = {
        column.name: text_of(row[column.name])
        for column in layout.columns
        if column.required or column.name in layout.key
    }
    return needed | other


@router.post("/withdraw")
def _withdraw(
    visit: ScorerWrites,
    table: Annotated[str, Form(max_length=40)],
    key: Annotated[list[str], Form(max_length=4)],
    undo: Annotated[str, Form(max_length=3)] = "",
) -> Response:
    layout = layout_of(table)
    refuse_unless_may(visit, table)
    refuse_other_key(layout, key)
    try:
        done = visit.trial.withdraw_rows(table, [dict(zip(layout.key, key, strict=True))], undo=undo == "yes")
    except InputError as error:
        return record_page(visit, layout, key, problems=error.problems, status=422)
    return record_page(visit, layout, key, said=done.said)


@router.post("/files")
def _file(visit: ScorerWrites, table: Annotated[str, Form(max_length=40)], file: UploadFile) -> HTMLResponse:
    layout_of(table)
    refuse_unless_may(visit, table)
    name = shown_name(file.filename or "")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "file"
        with path.open("wb") as out:
            while piece := file.file.read(1_000_000):
                out.write(piece)
        try:
            intake = visit.trial.add_table(table, path, name=name)
        except InputError as error:
            return visit.page(
                "done.html",
                status=422,
                heading=f"{name} was not taken in",
                problems=error.problems,
                back=link("/register", {"table": table}),
                changes=[],
                more=0,
            )
    return visit.page(
        "done.html",
        heading=f"{name} was taken in" if not intake.repeated else f"{name} was here before",
        said=[f"{counts_text(intake)}.".capitalize(), *intake.said],
        back=link("/register", {"table": table}),
        changes=[(" ".join(p for p in c.key if p), c.column, c.old, c.new) for c in intake.updated[:MOST_CHANGES]],
        more=max(len(intake.updated) - MOST_CHANGES, 0),
    )
