"""The rows of a summary: one :class:`Cell` per selection and rootstock, with its floor, its hearsay and its squares.

In: floors, claims, selections and observations. Out: cells in the order of the floors table, and their two figures as
text. A name that the fonts cannot write is printed as the number of its row.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from hardiness import words
from hardiness.figures.summary_grades import CellSquares
from hardiness.figures.typeface import clean, writable
from hardiness.units import parse_temperature

STRUCK_BELOW = 0.05  # hearsay less probable than this is struck out


@dataclass(frozen=True, slots=True)
class Cell:
    """One selection on one rootstock, as drawn.

    Parameters
    ----------
    number : int
        Its row in the floors table.
    selection, rootstock : str
        As recorded.
    name, stock : str
        As they can be printed: a name the fonts cannot write is ``no.`` and the number of the first row that has it.
    check : bool
        A selection whose hardiness is known.
    plants, scores, killed : int
    floor_c, low_c, high_c, q25_c, q75_c : float
        Median and interval ends; NaN where missing. [degC]
    tested_to_c, claimable_c, warmest_fatal_c : float
        NaN where missing. [degC]
    evidence, open_end, rests_on : str
        Words of the floors table.
    provisional : bool
        A row of it was scored early.
    claim_c : float
        Hearsay; NaN where none. [degC]
    claim_holds : float
        Probability that it holds; NaN where unknown. [1]
    squares : CellSquares
    """

    number: int
    selection: str
    rootstock: str
    name: str
    stock: str
    check: bool
    plants: int
    scores: int
    killed: int
    floor_c: float
    low_c: float
    high_c: float
    q25_c: float
    q75_c: float
    tested_to_c: float
    claimable_c: float
    warmest_fatal_c: float
    evidence: str
    open_end: str
    rests_on: str
    provisional: bool
    claim_c: float
    claim_holds: float
    squares: CellSquares

    @property
    def numbered(self) -> list[int]:
        """The numbers that stand for names which the fonts cannot write."""
        pairs = ((self.selection, self.name), (self.rootstock, self.stock))
        return [int(shown.removeprefix("no. ")) for recorded, shown in pairs if shown != clean(recorded)]

    @property
    def struck(self) -> bool:
        """Whether the evidence speaks against the hearsay."""
        return self.claim_holds < STRUCK_BELOW


def prepare_cells(
    floors: pd.DataFrame,
    claims: pd.DataFrame,
    selections: pd.DataFrame,
    observations: pd.DataFrame,
    squares: dict[tuple[str, str], CellSquares],
    *,
    winters: int,
) -> tuple[Cell, ...]:
    """Take from the tables what each row shows, in the order of the floors table.

    Parameters
    ----------
    floors : pandas.DataFrame
        The floors table; ``floor_q25_c`` and ``floor_q75_c`` are used where given.
    claims : pandas.DataFrame
        The claims table. A cell without a row there takes the selection's claim.
    selections : pandas.DataFrame
        For the checks and their claims.
    observations : pandas.DataFrame
        For provisional rows.
    squares : dict
        From :func:`~hardiness.figures.summary_grades.prepare_squares`.
    winters : int
        Winters of the grid, for cells without squares.

    Returns
    -------
    tuple of Cell
    """
    checks = set(selections.loc[selections["role"] == "check", "selection"])
    hearsay = {
        (row["selection"], ""): parse_temperature(row["claimed_floor"]).celsius
        for row in selections.to_dict("records")
        if row["claimed_floor"]
    }
    hearsay |= {
        (row["selection"], row["rootstock"]): float(row["claimed_floor_c"]) for row in claims.to_dict("records")
    }
    holds = {(row["selection"], row["rootstock"]): _real(row["probability_holds"]) for row in claims.to_dict("records")}
    early = observations.loc[observations["provisional"].astype(bool), ["selection", "rootstock"]]
    provisional = set(early.itertuples(index=False, name=None))
    cells = []
    first: dict[tuple[str, str], int] = {}  # the first row of each name
    for number, row in enumerate(floors.to_dict("records"), start=1):
        for column in ("selection", "rootstock"):
            first.setdefault((column, row[column]), number)
        key = (row["selection"], row["rootstock"])
        cells.append(
            Cell(
                number=number,
                selection=row["selection"],
                rootstock=row["rootstock"],
                name=_printable(row["selection"], first["selection", row["selection"]]),
                stock=_printable(row["rootstock"], first["rootstock", row["rootstock"]]),
                check=row["selection"] in checks,
                plants=_whole(row["plants"]),
                scores=_whole(row["scores"]),
                killed=_whole(row["killed"]),
                floor_c=_real(row["floor_c"]),
                low_c=_real(row["floor_low_c"]),
                high_c=_real(row["floor_high_c"]),
                q25_c=_real(row.get("floor_q25_c")),
                q75_c=_real(row.get("floor_q75_c")),
                tested_to_c=_real(row["tested_to_c"]),
                claimable_c=_real(row["claimable_c"]),
                warmest_fatal_c=_real(row["warmest_fatal_c"]),
                evidence=row["evidence"],
                open_end=row["open_end"],
                rests_on=row["rests_on"] if isinstance(row["rests_on"], str) else "",
                provisional=key in provisional,
                claim_c=hearsay.get(key, hearsay.get((row["selection"], ""), math.nan)),
                claim_holds=holds.get(key, math.nan),
                squares=squares.get(key, ((),) * winters),
            )
        )
    return tuple(cells)


def _printable(name: str, number: int) -> str:
    text = clean(name)
    return text if text and writable(text) else f"no. {number}"


def _whole(value: float | None) -> int:
    return 0 if value is None or pd.isna(value) else int(value)


def _real(value: float | None) -> float:
    return math.nan if value is None or pd.isna(value) else float(value)


def cell_texts(cell: Cell, units: str) -> tuple[str, str]:
    """Write the floor and the claimable floor of a cell, without units.

    Parameters
    ----------
    cell : Cell
    units : str
        ``"C"`` or ``"F"``.

    Returns
    -------
    tuple of str
        ``("−9.4", "−8.6")``; ``("at or below", "−9.1")`` where all survived; ``("above −5.1", "none")`` where all died;
        two dashes where nothing is known.
    """
    return words.floor_texts(cell.open_end, cell.floor_c, cell.claimable_c, cell.warmest_fatal_c, units)
