"""What the cold did: per cell and winter a square per plant, with the grade printed in it.

In: observations and plants. Out: :class:`Square` s. A plant keeps its place from winter to winter, so that a row of
squares can be followed; plants stand from least to most harmed. Of several scored windows of one winter the one with
the worst grade is shown (of equal ones the one that did the damage, then the coldest).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

import pandas as pd

from hardiness.figures.summary_winters import Winter


@dataclass(frozen=True, slots=True)
class Square:
    """One plant in one winter.

    Parameters
    ----------
    plant : str
    slot : int
        Its place among the cell's plants.
    grade : int or None
        The worst grade of the winter; None: it stood there and no score counts.
    standing : bool
        The grade was, or may have been, carried from earlier in the same winter.
    provisional : bool
        Scored early, with no later score yet.
    protected : bool
        Something stood between plant and air, or it stood in a container: not fitted.
    """

    plant: str
    slot: int
    grade: int | None
    standing: bool = False
    provisional: bool = False
    protected: bool = False


CellSquares = tuple[tuple[Square, ...], ...]  # one tuple per winter of the grid


def prepare_squares(
    observations: pd.DataFrame, plants: pd.DataFrame, winters: Sequence[Winter], *, worst: int
) -> dict[tuple[str, str], CellSquares]:
    """Choose for each plant and winter the row to show.

    Parameters
    ----------
    observations : pandas.DataFrame
        The observations table.
    plants : pandas.DataFrame
        The plants table.
    winters : sequence of Winter
        Those that get a column; their freezes tell which plants stood where they could be scored.
    worst : int
        The last grade: dead.

    Returns
    -------
    dict of (selection, rootstock) to a tuple per winter of tuples of Square
    """
    shown = _shown_rows(observations, worst)
    grid = [winter.name for winter in winters]
    cells: dict[tuple[str, str], dict[str, dict[str, Square]]] = {}
    for (plant, name), (cell, square) in {**_unscored(plants, shown, winters, worst), **shown}.items():
        if name in grid:
            cells.setdefault(cell, {}).setdefault(plant, {})[name] = square
    prepared: dict[tuple[str, str], CellSquares] = {}
    for cell, by_plant in cells.items():
        worst_of = {plant: max(harm(square) for square in of.values()) for plant, of in by_plant.items()}
        order = sorted(by_plant, key=lambda plant: (worst_of[plant], plant))
        prepared[cell] = tuple(
            tuple(replace(by_plant[plant][name], slot=slot) for slot, plant in enumerate(order)
                  if name in by_plant[plant])
            for name in grid
        )  # fmt: skip
    return prepared


_Chosen = dict[tuple[str, str], tuple[tuple[str, str], Square]]  # (plant, winter) -> (cell, square)


def harm(square: Square) -> int:
    """Rank a square by its grade; one without a score comes first.

    Parameters
    ----------
    square : Square

    Returns
    -------
    int
        The grade, -1 without one.
    """
    return -1 if square.grade is None else square.grade


def _shown_rows(observations: pd.DataFrame, worst: int) -> _Chosen:
    """One row per plant and winter: a death, else what counts, else the worst grade."""
    rows = observations.assign(
        alive=observations["grade"] < worst, aside=~observations["protected"].isin(["", "no"])
    ).sort_values(
        ["plant", "winter", "alive", "aside", "grade", "grade_low", "exposure_c", "freeze"],
        ascending=[True, True, True, True, False, False, True, True], kind="stable",
    )  # fmt: skip
    return {
        (row["plant"], row["winter"]): (
            (row["selection"], row["rootstock"]),
            Square(row["plant"], 0, int(row["grade"]), standing=bool(row["grade_low"] < row["grade"]),
                   provisional=bool(row["provisional"]), protected=bool(row["aside"])),
        )
        for row in rows.drop_duplicates(["plant", "winter"]).to_dict("records")
    }  # fmt: skip


def _unscored(plants: pd.DataFrame, shown: _Chosen, winters: Sequence[Winter], worst: int) -> _Chosen:
    """Plants that stood through a freeze of a winter and have no score there that counts."""
    first: dict[str, str] = {}
    died: dict[str, str] = {}
    for (plant, name), (_, square) in shown.items():
        first[plant] = min(first.get(plant, name), name)
        if square.grade == worst:
            died[plant] = min(died.get(plant, name), name)
    found: _Chosen = {}
    for row in plants.to_dict("records"):
        plant, planted, removed = row["plant"], _day(row["planted_on"]), _day(row["removed_on"])
        for winter in winters:
            stood = any(
                (planted is None or freeze.starts_on >= planted) and (removed is None or freeze.ends_on <= removed)
                for freeze in winter.freezes
            )
            # Without a planting date a plant meets freezes from its first score on.
            begun = planted is not None or winter.name >= first.get(plant, "~")
            if stood and begun and winter.name <= died.get(plant, "~"):
                found[plant, winter.name] = ((row["selection"], row["rootstock"]), Square(plant, 0, None))
    return found


def _day(value: object) -> dt.date | None:
    if not isinstance(value, dt.date) or pd.isna(value):  # NaT is a datetime
        return None
    return value.date() if isinstance(value, dt.datetime) else value
