"""The squares of the grades: how they are laid out so that they fit, and their drawing.

In: :class:`~hardiness.figures.summary_grades.Square` s. Out: a square per plant and winter with its grade printed in
it; where there is no room for every plant, the least, the middle and the most harmed, or the most harmed alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from hardiness.figures.sheet import LAYER, Point, Sheet
from hardiness.figures.style import INK, PAPER, QUIET, Sizes, grade_ramp, text_on
from hardiness.figures.summary_grades import CellSquares, Square, harm
from hardiness.figures.typeface import MM_PER_POINT

GAP_MM = 1.7  # between winters
HEAD_MM = 9.5  # a column as wide as the name of its winter, where there is room
PAD_MM = 0.28  # between squares
LEAST_SQUARE_MM = 2.2  # with its gap; a figure of 6.5 pt is 1.2 mm wide
FOLDS = {"plants": 0, "three": 3, "worst": 1}


@dataclass(frozen=True, slots=True)
class Grid:
    """How the squares of a page are laid out.

    Parameters
    ----------
    fold : str
        ``plants``: every plant; ``three``: the least, the middle and the most harmed; ``worst``: the most harmed.
    winters : tuple of int
        Which winters have a column; the latest where not all fit.
    slots : int
        Squares per column.
    square : float
        Side of a square with its gap. [mm]
    gap : float
        Between two columns. [mm]
    """

    fold: str
    winters: tuple[int, ...]
    slots: int
    square: float
    gap: float = GAP_MM

    @property
    def column(self) -> float:
        """Width of a winter's column with its gap. [mm]."""
        return self.slots * self.square + self.gap

    @property
    def width(self) -> float:
        """Width of all columns. [mm]."""
        return max(len(self.winters) * self.column - self.gap, 0.0)


def arrange(cells: Sequence[CellSquares], names: Sequence[str], room: float, square: float) -> Grid:
    """Choose how to lay the squares out so that they fit: every plant, else three per winter, else the worst.

    Parameters
    ----------
    cells : sequence of CellSquares
        Of all cells of the page.
    names : sequence of str
        Winters that have a column.
    room : float
        The width there is. [mm]
    square : float
        Largest side of a square with its gap. [mm]

    Returns
    -------
    Grid
        Its ``winters`` are only the latest where even one square each does not fit.
    """
    most = max((shown.slot + 1 for cell in cells for winter in cell for shown in winter), default=1)
    everything = tuple(range(len(names)))
    for fold, limit in FOLDS.items():
        slots = min(most, limit) if limit else most
        column = (room + GAP_MM) / max(len(names), 1)
        side = min((column - GAP_MM) / slots, square)
        if side >= min(LEAST_SQUARE_MM, square):
            # A column of few squares is widened so that its winter can stand over it.
            return Grid(fold, everything, slots, side, max(GAP_MM, min(column, HEAD_MM) - slots * side))
    latest = int((room + GAP_MM) // (LEAST_SQUARE_MM + GAP_MM))
    return Grid("worst", everything[len(everything) - latest :], 1, min(LEAST_SQUARE_MM, square))


def folded(squares: Sequence[Square], fold: str) -> tuple[Square, ...]:
    """Choose the squares of one winter that are drawn, with their places.

    Parameters
    ----------
    squares : sequence of Square
        All of one cell and winter.
    fold : str
        See :class:`Grid`.

    Returns
    -------
    tuple of Square
    """
    if fold == "plants":
        return tuple(squares)
    scored = sorted((square for square in squares if square.grade is not None), key=lambda s: (s.protected, harm(s)))
    counted = [square for square in scored if not square.protected] or scored
    if not counted:
        return tuple(replace(square, slot=0) for square in squares[:1])
    ranks = [len(counted) - 1] if fold == "worst" else sorted({0, len(counted) // 2, len(counted) - 1})
    return tuple(replace(counted[rank], slot=slot) for slot, rank in enumerate(ranks))


def draw_squares(
    sheet: Sheet, cell: CellSquares, grid: Grid, sizes: Sizes, left: float, middle: float, grades: int
) -> None:
    """Draw the squares of one cell in a row, a column per winter.

    Parameters
    ----------
    sheet : Sheet
    cell : CellSquares
    grid : Grid
    sizes : Sizes
    left, middle : float
        Where the first column begins and the row's middle lies. [mm]
    grades : int
        How many grades the scale has.
    """
    side = grid.square - PAD_MM
    for column, winter in enumerate(grid.winters):
        for square in folded(cell[winter], grid.fold):
            x = left + column * grid.column + square.slot * grid.square
            draw_square(sheet, square, x, middle - side / 2, side, sizes, grades)


def draw_square(sheet: Sheet, square: Square, x: float, y: float, side: float, sizes: Sizes, grades: int) -> None:
    """Draw one square: filled where it counts in full, hollow where it does not (yet).

    Parameters
    ----------
    sheet : Sheet
    square : Square
    x, y : float
        Its top left corner. [mm]
    side : float
        [mm]
    sizes : Sizes
    grades : int
        How many grades the scale has.
    """
    if square.grade is None:
        dot = side / 7
        sheet.shape(sheet.box(x + side / 2 - dot, y + side / 2 - dot, 2 * dot, 2 * dot), fill=QUIET)
        return
    ramp = grade_ramp(grades)
    fill = ramp[min(square.grade, grades - 1)]
    hollow = square.protected or square.provisional
    corner = 0.36 * side if square.standing else 0.0
    outline: list[Point] = [(x + corner, y), (x + side, y), (x + side, y + side), (x, y + side), (x, y + corner)]
    if not hollow:
        sheet.shape(outline, fill=fill)
    else:
        sheet.shape(outline, fill=PAPER, edge=INK, width_pt=0.5, dashed=square.provisional)
    if square.protected:  # a roof
        sheet.stroke([(x - 0.2, y), (x + side + 0.2, y)], INK, 1.4, LAYER.cross)
    colour = INK if hollow else text_on(fill)
    if square.grade >= grades - 1:
        inset = 0.24 * side
        near, far = inset, side - inset
        sheet.stroke([(x + near, y + near), (x + far, y + far)], colour, 0.9, LAYER.cross)
        sheet.stroke([(x + near, y + far), (x + far, y + near)], colour, 0.9, LAYER.cross)
    else:
        size = sizes.heading if side >= 2.0 * sizes.heading * MM_PER_POINT else sizes.small
        sheet.write(x + side / 2, y + side / 2, str(square.grade), size, colour=colour, align="center", middle=True)
