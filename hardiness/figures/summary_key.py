"""The key of a summary, printed once per page, and the lines of method below it.

In: :class:`~hardiness.figures.summary_data.Summary`. Out: three groups of marks with their words (grades; squares and
freezes; floors), and the sentences that say what was estimated from how much.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from hardiness import words
from hardiness.figures.half_zones import SOURCE
from hardiness.figures.sheet import LAYER, Sheet
from hardiness.figures.style import INK, QUIET, Sizes
from hardiness.figures.summary_data import Summary
from hardiness.figures.summary_floors import FADE, draw_dot, draw_flag, draw_ring, hatch
from hardiness.figures.summary_grades import Square
from hardiness.figures.summary_squares import draw_square
from hardiness.figures.summary_strips import draw_icicle
from hardiness.figures.typeface import MM_PER_POINT, REGULAR, SEMIBOLD, shorten, wrap
from hardiness.sentences import FLOOR_CAUTION

SAMPLE = 2.9  # side of a square in the key [mm] at 6 pt
FOLD_WORDS = {
    "plants": "a square per plant: its worst grade of the winter",
    "three": "least, middle and most harmed plant of the winter",
    "worst": "the most harmed plant of the winter",
}

Draw = Callable[[Sheet, float, float, float], None]  # sheet, left, middle, side [mm]


@dataclass(frozen=True, slots=True)
class Item:
    """A mark, how wide it is in sides of a square, and its words."""

    draw: Draw
    text: str
    wide: float = 1.0


@dataclass(frozen=True, slots=True)
class Group:
    """Items under one heading."""

    heading: str
    items: tuple[Item, ...]


def key_groups(summary: Summary, sizes: Sizes, fold: str) -> tuple[Group, ...]:
    """List what the key explains.

    Parameters
    ----------
    summary : Summary
    sizes : Sizes
    fold : str
        How squares are laid out, see :class:`~hardiness.figures.summary_grades.Grid`.

    Returns
    -------
    tuple of Group
    """
    scale = len(summary.grades)
    shares = f"50 % and {100 * summary.level:g} %" if summary.quartiles else f"{100 * summary.level:g} %"
    grades = tuple(Item(_square(Square("", 0, grade), sizes, scale), text) for grade, text in enumerate(summary.grades))
    sample = min(2, scale - 2)
    squares = (
        Item(_square(Square("", 0, sample, standing=True), sizes, scale), "carried over from earlier that winter"),
        Item(_square(Square("", 0, sample, provisional=True), sizes, scale), "scored early: provisional"),
        Item(_square(Square("", 0, sample, protected=True), sizes, scale), "protected or in a container: not fitted"),
        Item(_square(Square("", 0, None), sizes, scale), "stood there, no score that counts"),
        Item(_icicle(filled=True), "a freeze, its tip at the coldest reading"),
        Item(_icicle(filled=False), "the same from a station, or estimated"),
    )
    struck = any(cell.struck for cell in summary.cells)
    hearsay = "hearsay; struck: refuted" if struck else "hearsay"
    floors = (
        Item(_interval(quartiles=summary.quartiles), f"floor: median, {shares} interval", 3.4),
        Item(_open_end, "open end: no plant bounds it", 3.4),
        Item(_tick, "tested to", 3.4),
        Item(_flag, "claimable: what the evidence carries", 3.4),
        Item(_ring(struck=struck), hearsay, 3.4),
        Item(_hatched, "colder than tested: not known", 3.4),
    )
    return (
        Group("Grade", grades),
        Group(FOLD_WORDS[fold][0].upper() + FOLD_WORDS[fold][1:], squares),
        Group("Tolerance floor", floors),
    )


def group_height(group: Group, sizes: Sizes, columns: int = 1) -> float:
    """Measure the height of a group in so many columns. [mm].

    Parameters
    ----------
    group : Group
    sizes : Sizes
    columns : int
        Beside each other.

    Returns
    -------
    float
        [mm]
    """
    return (1.5 + math.ceil(len(group.items) / columns)) * _line(sizes)


def draw_group(
    sheet: Sheet, group: Group, sizes: Sizes, left: float, room: float, top: float, columns: int = 1
) -> float:
    """Draw one group of the key, column by column.

    Parameters
    ----------
    sheet : Sheet
    group : Group
    sizes : Sizes
    left, room : float
        Where it begins and how wide it may be. [mm]
    top : float
        [mm]
    columns : int, default 1
        How many columns its items stand in.

    Returns
    -------
    float
        Where it ends. [mm]
    """
    line, side, wide = _line(sizes), SAMPLE * sizes.small / 6.0, room / columns
    indent = max(item.wide for item in group.items) * side + 1.5
    rows = math.ceil(len(group.items) / columns)
    heading = shorten(group.heading, room, sizes.small, SEMIBOLD)
    sheet.write(left, top + 0.75 * line, heading, sizes.small, weight=SEMIBOLD, column=f"key-{left:.0f}")
    for place, item in enumerate(group.items):
        x, y = left + place // rows * wide, top + (1.6 + place % rows) * line
        item.draw(sheet, x, y, side)
        text = shorten(item.text, wide - indent - 1.0, sizes.small)
        sheet.write(x + indent, y, text, sizes.small, middle=True, column=f"key-{x:.0f}")
    return top + group_height(group, sizes, columns)


def _line(sizes: Sizes) -> float:
    return 3.25 * sizes.small / 6.0


def _square(square: Square, sizes: Sizes, grades: int) -> Draw:
    def draw(sheet: Sheet, left: float, middle: float, side: float) -> None:
        draw_square(sheet, square, left, middle - side / 2 + 0.1, side - 0.2, sizes, grades)

    return draw


def _icicle(*, filled: bool) -> Draw:
    def draw(sheet: Sheet, left: float, middle: float, side: float) -> None:
        top = middle - 0.36 * side
        sheet.stroke([(left, top), (left + side, top)], QUIET, 0.5, LAYER.grid)
        draw_icicle(sheet, left + side / 2, top, filled=filled, length=0.8 * side)

    return draw


def _interval(*, quartiles: bool) -> Draw:
    def draw(sheet: Sheet, left: float, middle: float, side: float) -> None:
        sheet.stroke([(left, middle), (left + 3.4 * side, middle)], INK, 0.8)
        if quartiles:
            sheet.stroke([(left + 1.0 * side, middle), (left + 2.4 * side, middle)], INK, 2.4)
        draw_dot(sheet, left + 1.7 * side, middle, 3.4)

    return draw


def _open_end(sheet: Sheet, left: float, middle: float, side: float) -> None:
    sheet.stroke([(left + 1.7 * side, middle), (left + 3.4 * side, middle)], INK, 0.8)
    for step, opacity in enumerate(FADE):
        end = left + (1.55 - 0.42 * step) * side
        sheet.stroke([(end - 0.26 * side, middle), (end, middle)], INK, 0.8, alpha=opacity)


def _tick(sheet: Sheet, left: float, middle: float, side: float) -> None:
    sheet.stroke([(left + 1.7 * side, middle - 0.3 * side), (left + 1.7 * side, middle + 0.35 * side)], INK, 1.0)


def _flag(sheet: Sheet, left: float, middle: float, side: float) -> None:
    draw_flag(sheet, left + 1.7 * side, middle + 0.25 * side, 1.15 * side)


def _ring(*, struck: bool) -> Draw:
    def draw(sheet: Sheet, left: float, middle: float, side: float) -> None:
        if struck:
            draw_ring(sheet, left + 0.9 * side, middle, 3.4)
        draw_ring(sheet, left + (2.5 if struck else 1.7) * side, middle, 3.4, struck=struck)

    return draw


def _hatched(sheet: Sheet, left: float, middle: float, side: float) -> None:
    hatch(sheet, left, left + 3.4 * side, middle - 0.42 * side, middle + 0.42 * side)


def method_lines(summary: Summary, sizes: Sizes, room: float) -> list[tuple[str, bool]]:
    """Write the small lines below: what was estimated, from how much, and how far it reaches.

    Parameters
    ----------
    summary : Summary
    sizes : Sizes
    room : float
        Width of a line. [mm]

    Returns
    -------
    list of (str, bool)
        A line, and whether it belongs to the caution, which stands out.
    """
    winters = len(summary.scored)
    come_through = "alive" if summary.grade >= len(summary.grades) - 1 else f"without reaching grade {summary.grade}"
    behind = (
        f"{words.count(summary.plants, 'plant')}, {words.count(summary.scores, 'score')} and "
        f"{words.count(winters, 'winter')} stand behind the floors."
    )
    parts = [
        behind if summary.scores else "No score stands behind a floor yet.",
        f"Floor: the temperature, held for {words.hours(summary.held_h)} in total, at which "
        f"{words.share(summary.survive)} of such plants come through a typical freeze {come_through}; "
        "median and central credible interval.",
        "Claimable: for freezes to come, the warm end of the one-sided 95 % bound, never colder than was tested and "
        "come through; rounded to the warm side.",
    ]
    if any(cell.check for cell in summary.cells):
        parts.append("Check: its hardiness is known.")
    if any(cell.struck for cell in summary.cells):
        parts.append("Hearsay is struck through where it is less than 1 in 20 likely to hold.")
    if summary.half_zones:
        parts.append(SOURCE)
    if summary.first_met:
        met = summary.first_met
        met += "" if summary.first_met == summary.last_met else f" to {summary.last_met}"
        parts.append(f"Scored freezes began {met}.")
    if any(cell.provisional for cell in summary.cells):
        parts.append("* rests on a score taken early: provisional.")
    unwritten = sorted({number for cell in summary.cells for number in cell.numbered})
    if unwritten:
        parts.append(
            "no.: the fonts here cannot write this name; the number is its first row in the floors table "
            f"({words.listed([str(number) for number in unwritten[:6]])}{' ...' if len(unwritten) > 6 else ''})."
        )
    said = [(line, False) for line in wrap(" ".join(parts), room, sizes.small)]
    return said + [(line, True) for line in wrap(FLOOR_CAUTION, room, sizes.small, SEMIBOLD)]


def method_height(lines: Sequence[tuple[str, bool]], sizes: Sizes) -> float:
    """Measure the height of the lines of method. [mm].

    Parameters
    ----------
    lines : sequence of (str, bool)
        From :func:`method_lines`.
    sizes : Sizes

    Returns
    -------
    float
        [mm]
    """
    return len(lines) * 1.28 * sizes.small * MM_PER_POINT


def draw_method(sheet: Sheet, lines: Sequence[tuple[str, bool]], sizes: Sizes, left: float, top: float) -> None:
    """Write the lines of method; the caution stands out.

    Parameters
    ----------
    sheet : Sheet
    lines : sequence of (str, bool)
        From :func:`method_lines`.
    sizes : Sizes
    left, top : float
        [mm]
    """
    step = 1.28 * sizes.small * MM_PER_POINT
    for index, (line, caution) in enumerate(lines):
        sheet.write(left, top + (index + 0.8) * step, line, sizes.small, colour=INK if caution else QUIET,
                    weight=SEMIBOLD if caution else REGULAR, column="method")  # fmt: skip
