"""Labels of rows: names as they fit a column, shortened in the middle and still told apart."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from hardiness.figures.summary_cells import Cell
from hardiness.figures.typeface import REGULAR, SEMIBOLD, shorten, width_mm

NAME_ROOM, STOCK_ROOM = 26.0, 14.0  # [mm] most that a column of names takes


@dataclass(frozen=True, slots=True)
class Labels:
    """Names and rootstocks by the cell's number, and the widths of their columns. [mm]."""

    names: dict[int, str]
    stocks: dict[int, str]
    name_width: float
    stock_width: float


def label_cells(
    cells: Sequence[Cell], name_size: float, stock_size: float, name_room: float = NAME_ROOM,
    stock_room: float = STOCK_ROOM,
) -> Labels:  # fmt: skip
    """Fit the names of all cells into their columns.

    Parameters
    ----------
    cells : sequence of Cell
    name_size, stock_size : float
        Type of the two columns; names are semibold. [pt]
    name_room, stock_room : float
        Most that a column may take. [mm]

    Returns
    -------
    Labels
        Two names that would look the same once shortened end in the row's number.
    """
    mark = width_mm(" check", name_size) if any(cell.check for cell in cells) else 0.0
    names = _fit({cell.number: (cell.selection, cell.name) for cell in cells}, name_room - mark, name_size, SEMIBOLD)
    stocks = _fit({cell.number: (cell.rootstock, cell.stock) for cell in cells}, stock_room, stock_size)
    wide = [width_mm(names[c.number], name_size, SEMIBOLD) + (mark if c.check else 0.0) for c in cells]
    return Labels(
        names,
        stocks,
        max([*wide, width_mm("selection", stock_size)]),
        max([*(width_mm(text, stock_size) for text in stocks.values()), width_mm("on", stock_size)]),
    )


def _fit(texts: dict[int, tuple[str, str]], room: float, size: float, weight: int = REGULAR) -> dict[int, str]:
    """Shorten; what then stands for more than one recorded name ends in the number of its first row."""
    short = {recorded: shorten(text, room, size, weight) for recorded, text in texts.values()}
    met = Counter(short.values())
    first: dict[str, int] = {}
    for number, (recorded, _) in sorted(texts.items()):
        first.setdefault(recorded, number)
    fitted = {}
    for number, (recorded, text) in texts.items():
        same = met[short[recorded]] > 1
        fitted[number] = shorten(text, room, size, weight, tail=f" ({first[recorded]})") if same else short[recorded]
    return fitted
