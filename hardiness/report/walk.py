"""The order in which a grower walks: block by block, up the first row and down the next, and what each plant was last.

In: the records and the flow. Out: stops. Plants that were taken out, and plants whose death a later freeze has settled,
are no stop; both are counted.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import Any

import pandas as pd

from hardiness import words
from hardiness.errors import InputError, Problem, near_name
from hardiness.flow import Flow

_PARTS = re.compile(r"(\d+)")
Key = tuple[tuple[int, int, str], ...]


@dataclass(frozen=True, slots=True)
class Stop:
    """One plant to look at.

    Parameters
    ----------
    plant, selection, rootstock, block, row, place : str
        As recorded.
    last_grade : int or None
        Of its latest score; the worst where several observers scored that day.
    last_on : date or None
        When.
    """

    plant: str
    selection: str
    rootstock: str
    block: str
    row: str
    place: str
    last_grade: int | None
    last_on: dt.date | None


@dataclass(frozen=True, slots=True)
class Walk:
    """The stops in their order, and what was passed by.

    Parameters
    ----------
    stops : tuple of Stop
    said : tuple of str
        Which plants are no stop, and why.
    """

    stops: tuple[Stop, ...]
    said: tuple[str, ...]


def natural(text: str) -> Key:
    """Give a key that sorts numbers inside a text as numbers.

    Parameters
    ----------
    text : str

    Returns
    -------
    tuple

    Examples
    --------
    >>> sorted(["U10", "U2", "", "U1"], key=natural)
    ['', 'U1', 'U2', 'U10']
    """
    parts = [part for part in _PARTS.split(text.strip()) if part]
    # Digits of any script count, as int() takes them all.
    return tuple((0, int(part), "") if part.isdecimal() else (1, 0, part.casefold()) for part in parts)


def walk_of(flow: Flow, block: str | None = None) -> Walk:
    """Find the walk through a trial.

    Parameters
    ----------
    flow : Flow
    block : str, optional
        Only this block.

    Returns
    -------
    Walk

    Raises
    ------
    InputError
        If there is no such block.

    Notes
    -----
    Blocks and rows come in the order of their names, numbers as numbers. The first, third, ... row of a block is walked
    from its lowest place up, the second, fourth, ... from its highest down. A plant without a block comes last.
    """
    plants = flow.records.plants
    blocks = sorted({name for name in plants["block"] if name}, key=natural)
    if block is not None and block not in blocks:
        known = ", ".join(blocks) or "none: no plant has a block"
        raise InputError(Problem(f"block '{block}'", f"a block of the trial ({known})", hint=near_name(block, blocks)))
    if block is not None:
        plants = plants[plants["block"] == block]
    gone = plants["removed_on"].notna()
    dead = _dead_for_good(flow) & set(plants.loc[~gone, "plant"])
    said = []
    if gone.any():
        said.append(f"{words.count(int(gone.sum()), 'plant')} taken out.")
    if dead:
        said.append(f"{words.count(len(dead), 'plant')} lost in an earlier freeze.")
    standing = plants[~gone & ~plants["plant"].isin(dead)]
    last = _last_scores(flow.records.scores)
    stops = [_stop(row, last) for row in standing.to_dict("records")]
    return Walk(tuple(_serpentine(stops)), tuple(said))


def _dead_for_good(flow: Flow) -> set[str]:
    """Plants scored dead before a freeze that they then met."""
    scores, worst = flow.records.scores, flow.settings.worst
    deaths = scores[scores["grade"] == worst].groupby("plant")["scored_on"].min()
    lasting = {
        plant: day
        for plant, day in deaths.items()
        # A later better grade says that it lives.
        if not ((scores["plant"] == plant) & (scores["scored_on"] > day) & (scores["grade"] < worst)).any()
    }
    if not lasting:
        return set()
    met = flow.exposures
    begins = met["starts"].dt.tz_convert(flow.settings.zone).dt.date
    later = begins > met["plant"].map(lasting).where(met["plant"].isin(lasting), dt.date.max)
    return set(met.loc[later, "plant"])


def _last_scores(scores: pd.DataFrame) -> dict[str, tuple[int, dt.date]]:
    ordered = scores.sort_values(["scored_on", "grade"], kind="stable")
    return {row["plant"]: (int(row["grade"]), row["scored_on"]) for row in ordered.to_dict("records")}


def _stop(row: Mapping[Any, str], last: dict[str, tuple[int, dt.date]]) -> Stop:
    grade, on = last.get(row["plant"], (None, None))
    return Stop(row["plant"], row["selection"], row["rootstock"], row["block"], row["row"], row["place"], grade, on)


def _serpentine(stops: list[Stop]) -> list[Stop]:
    def in_order(stop: Stop) -> tuple[bool, Key, bool, Key, bool, Key, Key]:
        return (not stop.block, natural(stop.block), not stop.row, natural(stop.row), not stop.place,
                natural(stop.place), natural(stop.plant))  # fmt: skip

    walked: list[Stop] = []
    for _, in_block in groupby(sorted(stops, key=in_order), key=lambda stop: stop.block):
        for number, (_, in_row) in enumerate(groupby(in_block, key=lambda stop: stop.row)):
            row = list(in_row)
            walked += row[::-1] if number % 2 else row
    return walked
