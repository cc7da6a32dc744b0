"""One selection: its floors, what its plants met, and what the figures rest on."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, HTTPException, Path
from fastapi.responses import HTMLResponse

from hardiness import schema
from hardiness.commands.checking import told_about
from hardiness.commands.printing import claim_texts, shown_floors
from hardiness.flow import Flow
from hardiness.plainwords import explain_selection, listed_cells
from hardiness.web.floors import floors_hardiest_first, strips_of
from hardiness.web.jobs import Answer
from hardiness.web.pages import part
from hardiness.web.results import FLOOR_NAMES
from hardiness.web.tables import columns_named, grid_of
from hardiness.web.visits import Viewer

router = APIRouter(prefix="/results/selection")
MET = ("plant", "rootstock", "freeze", "exposure_c", "grade", "grade_low", "scored_on", "protected")
STANDING = ("plant", "rootstock", "block", "row", "place", "planted_on", "removed_on", "copy_of")
Selection = Annotated[str, Path(max_length=250)]


@router.get("/{selection:path}/why")
def _why(visit: Viewer, selection: Selection) -> HTMLResponse:
    def make(flow: Flow) -> dict[str, Any]:
        _known(flow, selection)
        return {"paragraphs": listed_cells(explain_selection(told_about(flow, selection))).split("\n\n")}

    return visit.later("selection_why.html", "floors", ("why", selection), make, selection=selection)


@router.get("/{selection:path}")
def _selection(visit: Viewer, selection: Selection) -> HTMLResponse:
    def make(answer: Answer) -> dict[str, Any]:
        flow = answer.done
        _known(flow, selection)
        settings, register = flow.settings, flow.records.selections
        whole = floors_hardiest_first(answer)
        table = whole[whole["selection"] == selection].reset_index(drop=True)
        shown, texts = shown_floors(table, settings)
        rows = flow.observations[flow.observations["selection"] == selection]
        plants = flow.records.plants[flow.records.plants["selection"] == selection]
        known = register[register["selection"] == selection].to_dict("records")
        claims = flow.claims[flow.claims["selection"] == selection]
        return {
            "facts": [(c, known[0][c.name]) for c in schema.SELECTIONS.columns[1:] if known[0][c.name]]
            if known
            else [],
            "strips": strips_of(answer, table),
            "floors": grid_of(shown, columns_named(schema.FLOORS, FLOOR_NAMES[1:]), settings, texts=texts),
            "met": grid_of(
                rows.sort_values(["scored_on", "plant"], kind="stable"),
                columns_named(schema.OBSERVATIONS, MET),
                settings,
                links={"plant": _plant, "freeze": _freeze},
            ),
            "plants": grid_of(
                plants, columns_named(schema.PLANTS.columns, STANDING), settings, links={"plant": _plant}
            ),
            "stocks": sorted(set(plants["rootstock"])),
            "claims": grid_of(
                claims, schema.CLAIMS[1:], settings, texts={"floor_c": claim_texts(claims, whole, settings)}
            )
            if len(claims)
            else None,
        }

    return visit.answer("selection.html", "floors", make, selection=selection)


def _known(flow: Flow, selection: str) -> None:
    if selection not in {*flow.records.selections["selection"], *flow.records.plants["selection"]}:
        raise HTTPException(404, f"No selection of this trial is called '{selection[:80]}'.")


def _plant(row: Any) -> str:
    return f"/register/plants/{part(row['plant'])}"


def _freeze(row: Any) -> str:
    return f"/freezes/{part(row['freeze'])}"
