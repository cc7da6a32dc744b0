"""Results: floors, comparisons, ranks, rootstocks, winters, claims, and what was left out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Annotated, Any

import pandas as pd
from fastapi import APIRouter, Query
from fastapi.responses import HTMLResponse

from hardiness import glance, schema, words
from hardiness.commands.printing import claim_texts, shown_floors
from hardiness.errors import InputError, Problem
from hardiness.flow import Flow
from hardiness.observations import left_out_summary
from hardiness.report.notes import claim_notes, floor_notes, weak_notes
from hardiness.schema import Column
from hardiness.tolerance.ranks import MULTIPLICITY
from hardiness.web.floors import CELL, floors_hardiest_first, strips_of
from hardiness.web.jobs import Answer
from hardiness.web.pages import link, part
from hardiness.web.tables import columns_named, containing, grid_of
from hardiness.web.visits import Viewer, Visit

router = APIRouter(prefix="/results")
SHARES = ("0.5", "0.75", "0.8", "0.9", "0.95")
FLOOR_NAMES = (
    "selection",
    "rootstock",
    "floor_c",
    "floor_low_c",
    "floor_high_c",
    "claimable_c",
    "tested_to_c",
    "evidence",
    "plants",
    "scores",
    "killed",
    "rests_on",
)
WINTERS = (
    Column("winter", "July to June north of the equator, the year south of it"),
    Column("freezes", "cold spells that count", "integer"),
    Column("coldest_c", "coldest reading of any sensor", "number", "degC"),
    Column("exposure_c", "coldest held temperature that a scored plant met", "number", "degC"),
    Column("plants", "plants scored that stood open", "integer"),
    Column("damaged", "of them, above grade 0", "integer"),
    Column("lost", "of them, newly dead", "integer"),
)
MOST_STRIPS = 120  # floors drawn side by side
LEAST_COMPARED, MOST_COMPARED = 2, 6
MOST_LISTED = 40  # selections in a list to choose from; of more, a few letters of the name are typed
Sort = Annotated[str, Query(max_length=40)]
Start = Annotated[int, Query(ge=0, le=10_000_000)]
Name = Annotated[str, Query(max_length=200)]
Find = Annotated[str, Query(max_length=200)]


@router.get("")
def _floors(
    visit: Viewer,
    sort: Sort = "floor_c",
    start: Start = 0,
    stock: Name = "",
    winter: Name = "",
    role: Name = "",
    share: Name = "0.9",
    grade: Name = "",
    find: Find = "",
) -> HTMLResponse:
    given = {
        "find": find,
        "stock": stock,
        "winter": winter,
        "role": role,
        "share": share,
        "grade": grade,
        "sort": sort,
        "start": start,
    }
    survive, asked = _share(share), _grade(grade, visit)

    def make(answer: Answer) -> dict[str, Any]:
        flow = answer.done
        settings = flow.settings
        whole = floors_hardiest_first(answer, survive, asked)
        table = whole[_chosen(whole, flow, stock, winter, role)]
        table = containing(table, columns_named(schema.FLOORS, CELL), find).reset_index(drop=True)
        shown, texts = shown_floors(table, settings)
        grid = grid_of(
            shown,
            columns_named(schema.FLOORS, FLOOR_NAMES),
            settings,
            links={"selection": _selection},
            texts=texts,
            sort=sort,
            start=start,
        )
        return {
            "grid": grid,
            "strips": strips_of(answer, table, survive=survive, grade=asked, most=MOST_STRIPS),
            "stocks": sorted(set(whole["rootstock"])),
            "winters": sorted(set(flow.observations["winter"])),
            "notes": floor_notes(flow, asked),
            "held": words.hours(settings.model_held_h),
            "percent": f"{100 * survive:g}",
            "can_fit": flow.can_fit,
            "reached": settings.worst if asked is None else asked,
        }

    return visit.answer("floors.html", "floors", make, given=given, shares=SHARES)


def _chosen(table: pd.DataFrame, flow: Flow, stock: str, winter: str, role: str) -> pd.Series:
    keep = pd.Series(True, index=table.index)
    if stock:
        keep &= table["rootstock"] == stock
    if winter:
        rows = flow.observations.loc[flow.observations["winter"] == winter, ["selection", "rootstock"]]
        keep &= pd.MultiIndex.from_frame(table[["selection", "rootstock"]]).isin(pd.MultiIndex.from_frame(rows))
    if role:
        register = flow.records.selections
        checks = set(register.loc[register["role"] == "check", "selection"])
        keep &= table["selection"].isin(checks) == (role == "check")
    return keep


def _share(text: str) -> float:
    if text not in SHARES:
        raise InputError(Problem(f"'{text}'", f"one of {', '.join(SHARES)}", column="share"))
    return float(text)


def _grade(text: str, visit: Visit) -> int | None:
    worst = visit.place.trial.settings.worst
    if not text or text == str(worst):
        return None
    if text not in {str(grade) for grade in range(1, worst)}:
        raise InputError(Problem(f"'{text}'", f"a grade from 1 to {worst}", column="grade"))
    return int(text)


def _selection(row: Any) -> str:
    return f"/results/selection/{part(row['selection'])}"


@router.get("/compare")
def _compare(
    visit: Viewer, a: Annotated[list[str] | None, Query(max_length=MOST_COMPARED)] = None, sort: Sort = ""
) -> HTMLResponse:
    chosen = list(dict.fromkeys(name for name in a or [] if name))

    def make(answer: Answer) -> dict[str, Any]:
        flow = answer.done
        tested = sorted(set(flow.observations.loc[flow.observations["protected"] == "", "selection"]))
        asked = [name for name in chosen if name in tested]
        made: dict[str, Any] = {
            "tested": tested,
            "asked": asked,
            "unknown": [n for n in chosen if n not in tested],
            "checks": flow.checks,
            "grid": None,
            "strips": None,
            "notes": weak_notes(flow),
        }
        if LEAST_COMPARED <= len(asked) <= MOST_COMPARED:
            table = answer.keep(("compare", tuple(asked)), lambda one: one.compare(asked))
            floors = floors_hardiest_first(answer)
            made["grid"] = grid_of(table, schema.COMPARE, flow.settings, sort=sort) if len(table) else None
            made["strips"] = strips_of(answer, floors[floors["selection"].isin(asked)].reset_index(drop=True))
            made["sentences"] = [
                _difference(row, flow.settings.units) for row in table.to_dict("records") if row["rootstock"] == "all"
            ]
        return made

    given = [("a", name) for name in chosen]
    return visit.answer("compare.html", "floors", make, given=given, most=MOST_COMPARED, most_listed=MOST_LISTED)


def _difference(row: dict[Any, Any], units: str) -> str:
    a, b, sure = row["selection_a"], row["selection_b"], row["probability_a_hardier"]
    hardier, other, probability = (a, b, sure) if sure >= 0.5 else (b, a, 1 - sure)
    text = "above 0.99" if probability > 0.99 else words.number(probability, 2)
    return f"{hardier} is the hardier of {hardier} and {other} with probability {text}."


@router.get("/ranks")
def _ranks(visit: Viewer, sort: Sort = "", start: Start = 0, stock: Name = "all", find: Find = "") -> HTMLResponse:
    def make(answer: Answer) -> dict[str, Any]:
        table = answer.keep("ranks", lambda flow: flow.ranks())
        stocks = sorted(set(table["rootstock"]) - {"all"})
        chosen = table[table["rootstock"] == stock].sort_values("rank", kind="stable")
        chosen = containing(chosen, columns_named(schema.RANKS, CELL), find)
        grid = grid_of(
            chosen,
            columns_named(schema.RANKS, [c.name for c in schema.RANKS if c.name != "rootstock"]),
            answer.done.settings,
            links={"selection": _selection},
            sort=sort,
            start=start,
        )
        notes = weak_notes(answer.done)
        return {"grid": grid, "stocks": stocks, "note": MULTIPLICITY, "notes": notes, "empty": table.empty}

    return visit.answer(
        "ranks.html", "floors", make, given={"find": find, "stock": stock, "sort": sort, "start": start}
    )


@router.get("/rootstocks")
def _rootstocks(visit: Viewer, sort: Sort = "") -> HTMLResponse:
    make = _plain_table("rootstocks", lambda flow: flow.rootstocks(), schema.ROOTSTOCKS, sort)
    return visit.answer("rootstocks.html", "floors", make, given={"sort": sort})


@router.get("/claims")
def _claims(visit: Viewer, sort: Sort = "", start: Start = 0, find: Find = "") -> HTMLResponse:
    table = _plain_table("claims", lambda flow: flow.claims, schema.CLAIMS, sort, start, _claim_texts, find)

    def make(answer: Answer) -> dict[str, Any]:
        return table(answer) | {"unheld": claim_notes(answer.done)}

    return visit.answer("claims.html", "floors", make, given={"find": find, "sort": sort, "start": start})


def _claim_texts(answer: Answer, table: pd.DataFrame) -> dict[str, list[str]]:
    return {"floor_c": claim_texts(table, floors_hardiest_first(answer), answer.done.settings)}


@router.get("/winters")
def _winters(visit: Viewer, sort: Sort = "") -> HTMLResponse:
    make = _plain_table("winters", glance.winters_table, WINTERS, sort)
    return visit.answer("winters.html", "observations", make, given={"sort": sort})


@router.get("/left-out")
def _left_out(visit: Viewer, sort: Sort = "", start: Start = 0, find: Find = "") -> HTMLResponse:
    def make(answer: Answer) -> dict[str, Any]:
        flow = answer.done
        shown = [column for column in schema.LEFT_OUT if column.name != "scored_on"]
        return {
            "grid": grid_of(containing(flow.left_out, shown, find), shown, flow.settings, sort=sort, start=start),
            "second": grid_of(flow.joined.second_look, schema.SECOND_LOOK, flow.settings),
            "kinds": [(row.reason, row.count, row.example) for row in left_out_summary(flow.left_out).itertuples()],
            "empty": flow.left_out.empty,
        }

    return visit.answer("left_out.html", "observations", make, given={"find": find, "sort": sort, "start": start})


def _plain_table(
    name: str,
    make_table: Callable[[Flow], pd.DataFrame],
    columns: Sequence[Column],
    sort: str,
    start: int = 0,
    texts_of: Callable[[Answer, pd.DataFrame], dict[str, list[str]]] = lambda answer, table: {},
    find: str = "",
) -> Callable[[Answer], dict[str, Any]]:
    def make(answer: Answer) -> dict[str, Any]:
        whole = answer.keep(name, make_table)
        table = containing(whole, columns, find)
        links = {"selection": _selection} if "selection" in table.columns else {}
        if "winter" in table.columns:
            links["winter"] = lambda row: link("/freezes", {"winter": row["winter"]})
        flow, texts = answer.done, texts_of(answer, table)
        grid = grid_of(table, columns, flow.settings, links=links, texts=texts, sort=sort, start=start)
        return {"grid": grid, "empty": whole.empty, "can_fit": flow.can_fit, "notes": weak_notes(flow)}

    return make
