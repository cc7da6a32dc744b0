"""The freezes of a report: every one at every sensor, up to a limit, the coldest first kept."""

from __future__ import annotations

import pandas as pd

from hardiness import schema, words
from hardiness.report.blocks import QUIET, Block, Grid, Head, Section, Text
from hardiness.report.gathered import Gathered
from hardiness.report.notes import NO_LATITUDE
from hardiness.report.wording import NOTHING, degree_head, degrees

MOST_FREEZES = 160  # rows; past it the coldest


def freezes_section(gathered: Gathered) -> Section:
    """Write the section of freezes.

    Parameters
    ----------
    gathered : Gathered

    Returns
    -------
    Section
    """
    flow, settings = gathered.flow, gathered.settings
    table = flow.freezes
    rules = settings.rules
    blocks: list[Block] = [
        Text(
            f"A freeze begins when the air reaches {words.temperature(rules.onset_c, settings.units)} or lower and "
            f"ends once it has been above that for {words.hours(rules.thaw_h)} on end; it is listed when its minimum "
            f"is at or below {words.temperature(rules.damaging_c, settings.units)}. Between two readings the air is "
            "taken to change along a straight line. Columns ≤: hours at or below that temperature, in "
            f"°{settings.units} where no unit stands there; cover: the share of the freeze that readings bridge."
        )
    ]
    if table.empty:
        blocks.append(Text("No freeze has been measured yet: hardiness add readings FILE --sensor S.", QUIET))
        return Section("Freezes", "freezes", tuple(blocks))
    shown = table.nsmallest(MOST_FREEZES, "minimum_c").index
    counted = set(flow.freezes_that_count["freeze"])
    blocks.append(_grid(table.loc[sorted(shown)], gathered, counted))
    if len(table) > len(shown):
        blocks.append(
            Text(f"The {len(shown)} coldest of {len(table)} freezes; tables/freezes.csv has them all.", QUIET)
        )
    if aside := len(table) - len(counted):
        blocks.append(Text(f"{words.count(aside, 'freeze')} set aside by a note (marked ×): not counted.", QUIET))
    if settings.latitude is None:
        blocks.append(Text(NO_LATITUDE, QUIET))
    return Section("Freezes", "freezes", tuple(blocks), new_page=True)


def _grid(table: pd.DataFrame, gathered: Gathered, counted: set[str]) -> Grid:
    settings, units = gathered.settings, gathered.units
    held = schema.held_column(settings.model_held_h)
    thresholds = settings.rules.thresholds
    air = gathered.flow.air
    kinds = dict(zip(air["event"], air["kind"], strict=True)) if air["station"].ne("").any() else {}
    heads = (
        Head("sensor"), Head("from"), Head("to"), degree_head("minimum", units),
        degree_head(f"held {words.hours(settings.model_held_h)}", units), Head("lasted", "h", right=True),
        *(Head(f"≤ {words.threshold_text(each, units)}", "h", right=True) for each in thresholds),
        Head("cover", "%", right=True), Head("source"), *([Head("kind")] if kinds else []),
    )  # fmt: skip
    rows = []
    for row in table.to_dict("records"):
        begins, ends = (row[name].tz_convert(settings.zone).strftime("%Y-%m-%d %H:%M") for name in ("starts", "ends"))
        hours = (_hours(float(row[schema.hours_column(each)])) for each in thresholds)
        mark = "" if row["freeze"] in counted else " ×"
        rows.append((f"{row['sensor']}{mark}", begins, ends[5:], degrees(float(row["minimum_c"]), units),
                     degrees(float(row[held]), units), _hours(float(row["duration_h"])), *hours,
                     words.number(100 * float(row["coverage"]), 0), row["source"],
                     *([kinds[row["event"]]] if kinds else [])))  # fmt: skip
    return Grid(heads, tuple(rows))


def _hours(value: float) -> str:
    return NOTHING if value == 0 else words.number(value)
