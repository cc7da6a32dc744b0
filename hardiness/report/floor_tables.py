"""The table of floors, for all combinations or for one selection's."""

from __future__ import annotations

import pandas as pd

from hardiness import words
from hardiness.report.blocks import CAUTION, QUIET, Block, Grid, Head, Points, Section, Text
from hardiness.report.gathered import Gathered
from hardiness.report.wording import NOTHING, count_head, degree_head, degrees, stock_name
from hardiness.sentences import FLOOR_CAUTION, evidence_words

RESTS = {
    "cell": "these plants themselves settle it on both sides",
    "selection": "these plants alone do not settle it; it leans on the same selection on other rootstocks",
    "trial": "the plants of the selection settle one side only; it leans on the rest of the trial",
    "prior": "hardly any plant of the trial was lost; it leans on what the trade knows beforehand",
}
EVIDENCE = ("bracketed", "all survived", "all died", "untested")


def floors_grid(floors: pd.DataFrame, units: str, *, selection: bool) -> Grid:
    """Lay out rows of floors as they are printed: ends that no plant bounds are said in words.

    Parameters
    ----------
    floors : DataFrame
        ``schema.FLOORS``.
    units : str
        ``"C"`` or ``"F"``.
    selection : bool
        Whether the selection's name is a column.

    Returns
    -------
    Grid
    """
    heads = (
        *((Head("selection"),) if selection else ()),
        Head("on"), count_head("plants"), count_head("scores"), count_head("lost"), Head("evidence"),
        degree_head("tested to", units), degree_head("floor", units), degree_head("90 % from", units),
        degree_head("90 % to", units), degree_head("claimable", units), Head("rests on"),
    )  # fmt: skip
    rows = []
    for row in floors.to_dict("records"):
        floor, claim = words.floor_texts(
            row["open_end"], row["floor_c"], row["claimable_c"], row["warmest_fatal_c"], units
        )
        low = NOTHING if row["open_end"] == "cold" else degrees(row["floor_low_c"], units)
        high = NOTHING if row["open_end"] == "warm" else degrees(row["floor_high_c"], units)
        rests = row["rests_on"] if isinstance(row["rests_on"], str) and row["rests_on"] else NOTHING
        counts = (str(row["plants"]), str(row["scores"]), str(row["killed"]))
        name = (row["selection"],) if selection else ()
        rows.append((*name, stock_name(row["rootstock"]), *counts, row["evidence"], degrees(row["tested_to_c"], units),
                     floor, low, high, claim, rests))  # fmt: skip
    return Grid(heads, tuple(rows))


def floor_words(gathered: Gathered) -> str:
    """Say what the columns of a table of floors mean.

    Parameters
    ----------
    gathered : Gathered

    Returns
    -------
    str
    """
    return (
        f"Floor: the temperature, held for {words.hours(gathered.settings.model_held_h)} in a typical freeze, that "
        f"nine in ten of such plants come through alive (not grade {gathered.settings.worst}, "
        f"“{gathered.settings.grades[-1]}”). 90 %: the interval in which it lies nine times in ten. Claimable: the "
        "figure that the evidence carries for freezes to come; never colder than what was tested and come through, and "
        "rounded to the warm side. Where all came through, the floor lies at or below the claimable figure and no "
        "plant shows how far."
    )


def floors_section(gathered: Gathered) -> Section:
    """Write the section with every combination of selection and rootstock.

    Parameters
    ----------
    gathered : Gathered

    Returns
    -------
    Section
    """
    place = {name: number for number, name in enumerate(gathered.order)}
    table = gathered.floors.assign(place=gathered.floors["selection"].map(place))
    table = table.sort_values(["place", "claimable_c", "rootstock"], na_position="last")
    blocks: list[Block] = [Text(floor_words(gathered))]
    if table.empty:
        blocks.append(Text("No plant is registered yet: hardiness add plants FILE.", QUIET))
    else:
        classes = [name for name in EVIDENCE if name in set(table["evidence"])]
        rests = [name for name in RESTS if name in set(table["rests_on"])]
        blocks += [
            Points(
                (*(evidence_words(name) for name in classes), *(f"rests on {name}: {RESTS[name]}" for name in rests))
            ),
            Text(FLOOR_CAUTION, CAUTION),
            floors_grid(table, gathered.units, selection=True),
        ]
    return Section("Tolerance floors", "floors", tuple(blocks), new_page=not table.empty)
