"""What a report opens with: the finding, the trial in a few sentences, the summary chart, what to beware of."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from hardiness import words
from hardiness.figures.finding import finding
from hardiness.report.blocks import CAUTION, QUIET, Block, Heading, Picture, Points, Section, Text
from hardiness.report.gathered import Gathered
from hardiness.report.notes import floor_notes
from hardiness.report.pictures import charted_selections
from hardiness.report.wording import stock_name
from hardiness.sentences import FLOOR_CAUTION, WORK_CAUTION, claim_worth, measured
from hardiness.tolerance.rootstocks import NOT_SEPARABLE
from hardiness.units import difference_to_fahrenheit

MOST_CLAIMS = 8  # said one by one


@dataclass(frozen=True, slots=True)
class _Row:
    name: str
    stock: str
    check: bool
    claimable_c: float
    scores: int


def finding_of(gathered: Gathered) -> str:
    """Say in one sentence what the trial has found.

    Parameters
    ----------
    gathered : Gathered

    Returns
    -------
    str
    """
    register = gathered.flow.records.selections
    checks = set(register.loc[register["role"] == "check", "selection"])
    rows = [
        _Row(row["selection"], row["rootstock"], row["selection"] in checks, float(row["claimable_c"]),
             int(row["scores"]))
        for row in gathered.floors.to_dict("records")
    ]  # fmt: skip
    freezes = gathered.flow.freezes_that_count
    coldest = float(freezes["minimum_c"].min()) if len(freezes) else None
    return finding(rows, units=gathered.units, freezes=len(freezes), coldest_c=coldest)


def opening_section(gathered: Gathered, chart: Picture | None) -> Section:
    """Write the first section: sentences, chart, cautions.

    Parameters
    ----------
    gathered : Gathered
    chart : Picture or None
        The summary chart.

    Returns
    -------
    Section
    """
    blocks: list[Block] = [Points(tuple(_sentences(gathered)))]
    if claims := _claims(gathered):
        blocks += [Heading("What is said of them, and what it is worth"), Points(tuple(claims))]
    blocks.append(Heading("Read this with every figure"))
    notes = [note for note in floor_notes(gathered.flow) if note != FLOOR_CAUTION]
    blocks += [Text(FLOOR_CAUTION, CAUTION), Points(tuple(notes))]
    blocks += [Text(WORK_CAUTION, CAUTION)]
    if chart is not None:
        if rest := len(gathered.order) - len(charted_selections(gathered)):
            blocks.append(Text(f"The chart shows the hardiest selections and the checks; {rest} more stand in the "
                               "table of floors, and hardiness chart FILE.pdf draws them all.", QUIET))  # fmt: skip
        blocks.append(chart)  # takes printed pages of its own: what is said of it stands before it
    return Section("What the trial says", "summary", tuple(blocks))


def _sentences(gathered: Gathered) -> list[str]:
    flow, units = gathered.flow, gathered.units
    plants, scores = flow.records.plants, flow.records.scores
    stocks = plants["rootstock"].nunique()
    grown = f"{words.count(flow.records.selections['selection'].nunique(), 'selection')} registered"
    if len(plants):
        grown += f", {words.count(len(plants), 'plant')} on {words.count(stocks, 'rootstock')} (own roots count as one)"
    said = [f"{grown}; {words.count(len(scores), 'score')} so far."]
    said.append(_freezes(gathered))
    tested = gathered.tested
    if len(tested):
        winters = sorted(set(tested["winter"]))
        killed, met = int(gathered.floors["killed"].sum()), tested["plant"].nunique()
        said.append(
            f"{words.count(met, 'plant')} met a freeze in the open and "
            f"{'was' if met == 1 else 'were'} scored after it, in "
            f"{words.count(len(winters), 'winter')} ({words.listed(winters)}): "
            f"{words.count(killed, 'plant')} lost. The coldest that any of them met was "
            f"{words.temperature(float(tested['exposure_c'].min()), units)}, held for "
            f"{words.hours(gathered.settings.model_held_h)}."
        )
    classes = gathered.floors["evidence"].value_counts()
    parts = [
        f"{int(classes[name])} {name}"
        for name in ("bracketed", "all survived", "all died", "untested")
        if name in classes
    ]
    if parts:
        said.append(f"Of {words.count(len(gathered.floors), 'combination')} of selection and rootstock: "
                    f"{words.listed(parts)}.")  # fmt: skip
    return said + _stocks(flow.rootstocks(), units)


def _freezes(gathered: Gathered) -> str:
    freezes = gathered.flow.freezes_that_count
    if freezes.empty:
        return "No freeze has been measured yet."
    coldest = freezes.sort_values("minimum_c", kind="stable").iloc[0]
    day = coldest["starts"].tz_convert(gathered.settings.zone).date().isoformat()
    events, sensors = freezes["event"].nunique(), freezes["sensor"].nunique()
    figure = measured(float(coldest["minimum_c"]), float(coldest["sd_c"]), gathered.units)
    return (
        f"{words.count(events, 'cold spell')} measured by {words.count(sensors, 'sensor')}; the coldest, at "
        f"{coldest['sensor']} on {day}, went down to {figure} (±: one standard deviation)."
    )


def _stocks(pairs: pd.DataFrame, units: str) -> list[str]:
    """Say which rootstock makes hardier trees, where the interval says so."""
    said, told = [], set()
    for row in pairs[pairs["verdict"] != NOT_SEPARABLE].sort_values("over", ascending=False).to_dict("records"):
        pair = (row["rootstock_a"], row["rootstock_b"])
        if pair in told:
            continue
        told.add(pair)
        better, other = pair if row["difference_c"] < 0 else pair[::-1]
        sizes = [abs(value) for value in (row["difference_c"], row["low_c"], row["high_c"])]
        if units == "F":
            sizes = [difference_to_fahrenheit(size) for size in sizes]
        middle, *ends = sizes
        few, much = sorted(ends)
        said.append(
            f"The same selections stand about {words.number(middle)} °{units} more cold on {stock_name(better)} than "
            f"on {stock_name(other)} (nine times in ten between {words.number(few)} and {words.number(much)})."
        )
    return said


def _claims(gathered: Gathered) -> list[str]:
    rows = gathered.claims
    said = [
        f"{row['selection']} {words.on_stock(row['rootstock'])}: "
        + claim_worth(float(row["claimed_floor_c"]), row["claim_source"], float(row["probability_holds"]),
                      beyond_tested=bool(row["beyond_tested"]), units=gathered.units)
        for row in rows.head(MOST_CLAIMS).to_dict("records")
    ]  # fmt: skip
    if len(rows) > MOST_CLAIMS:
        said.append(f"And {len(rows) - MOST_CLAIMS} more: see each selection, or tables/claims.csv.")
    return said
