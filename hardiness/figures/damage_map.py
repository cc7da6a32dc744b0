"""A block in planting positions after a freeze: a square per plant with the grade it was found in.

``prepare_damage_map`` finds who stood where and what was found at the first score after the freeze, ``draw_damage_map``
puts the squares on a page, row by row: a pocket of cold air shows as a dark corner. A row that is too long for its page
goes on below.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from dataclasses import dataclass

import pandas as pd

from hardiness import words
from hardiness.figures.formats import Format, format_named
from hardiness.figures.naming import event_words, short_names
from hardiness.figures.plate import Plate, Words, close_plate, empty_plate, open_plate, unwritten
from hardiness.figures.sheet import LAYER, Sheet
from hardiness.figures.style import HAIRLINE, QUIET, drawing
from hardiness.figures.summary_grades import Square
from hardiness.figures.summary_squares import draw_square
from hardiness.figures.typeface import MM_PER_POINT, REGULAR, SEMIBOLD, clean, shorten, width_mm, writable
from hardiness.settings import Settings

MOST_SIDE, NAMED_SIDE = 17.0, 8.0  # [mm] of a position; a plant's name is written from the second on
LEAST_SIDE = {True: 4.2, False: 3.4}  # [mm] of a position, on a phone and elsewhere: its figure can be read
MOST_SQUARE = 9.5  # [mm]
CORNER = {True: "row", False: "row / place"}  # what the names on the left and on top are, on a phone and elsewhere
LEAST_ROWS = 3  # of a part of the map that begins on a page
METHOD = (
    "A square per plant: the state it was found in at its first score after the freeze. A cut corner: that may be "
    "older damage of the same winter. A roof: protected or in a container. A dotted edge: scored early. A dot: it met "
    "the freeze and has no score after it. An empty place: no plant stood there then, or it was dead before."
)


@dataclass(frozen=True, slots=True)
class Spot:
    """One plant in its place.

    Parameters
    ----------
    row, place : int
        Numbers of the row and of the place in it, from 0.
    square : Square
    selection : str
    """

    row: int
    place: int
    square: Square
    selection: str


@dataclass(frozen=True, slots=True)
class DamageMap:
    """What the figure shows.

    Parameters
    ----------
    words : Words
    grades : tuple of str
    rows, places : tuple of str
        Names, in the order in which they are walked.
    spots : tuple of Spot
    """

    words: Words
    grades: tuple[str, ...]
    rows: tuple[str, ...]
    places: tuple[str, ...]
    spots: tuple[Spot, ...]


def prepare_damage_map(
    plants: pd.DataFrame,
    observations: pd.DataFrame,
    exposures: pd.DataFrame,
    *,
    block: str,
    event: str,
    settings: Settings,
) -> DamageMap:
    """Find who stood where in a freeze, and how it was found afterwards.

    Parameters
    ----------
    plants, observations, exposures : pandas.DataFrame
        The tables of these names.
    block : str
    event : str
        The event's date.
    settings : Settings

    Returns
    -------
    DamageMap
    """
    facts = clean(settings.name)
    here = plants.loc[plants["block"] == block, "plant"]
    met = exposures[(exposures["event"] == event) & exposures["plant"].isin(here)]
    where = f"block {clean(block)}" if block else "the plants without a block"
    day = event_words(event)
    placed = plants[plants["plant"].isin(met["plant"])].copy()
    located = placed[(placed["row"] != "") & (placed["place"] != "")]
    if located.empty:
        title = f"No plant of {where} with a row and a place met the freeze of {day}"
        title = title if event else "No freeze is measured yet, and no damage to map"
        empty = (
            "The map needs plants whose row and place stand in the plants table, and readings of a sensor that speaks "
            "for them: hardiness add plants FILE."
        )
        return DamageMap(Words(title, facts, "", f"{title}. {empty}", empty), settings.grades, (), (), ())
    ends = met.groupby("plant")["ends"].max()
    found = {plant: _square(plant, end, observations, event, settings) for plant, end in ends.items()}
    rows = tuple(sorted(set(located["row"]), key=_natural))
    places = tuple(sorted(set(located["place"]), key=_natural))
    spots: dict[tuple[int, int], Spot] = {}
    shared = 0
    for record in located.sort_values("plant").to_dict("records"):
        square = found[record["plant"]]
        if square is None:
            continue
        key = (rows.index(record["row"]), places.index(record["place"]))
        shared += key in spots
        if key not in spots or (square.grade or 0) > (spots[key].square.grade or 0):
            spots[key] = Spot(*key, square, record["selection"])
    unplaced = sum(found[plant] is not None for plant in set(placed["plant"]) - set(located["plant"]))
    shown = tuple(spots[key] for key in sorted(spots))
    title = _title(where, day, shown, rows, settings)
    method = METHOD
    if unplaced:
        method += f" Not on the map for want of a row or a place: {words.count(unplaced, 'plant')}."
    if shared:
        method += f" Of plants in one place the worst is shown; {words.count(shared, 'other')} stood beside it."
    low = met["minimum_c"].min()
    facts += f" · coldest {words.temperature(float(low), settings.units)} there" if pd.notna(low) else ""
    listed = "; ".join(
        f"row {clean(rows[spot.row])}, place {clean(places[spot.place])}: "
        f"{'no score' if spot.square.grade is None else f'grade {spot.square.grade}'}"
        for spot in shown
    )
    return DamageMap(Words(title, facts, method, f"{title}. {listed}."), settings.grades, rows, places, shown)


def _square(
    plant: object, ended: pd.Timestamp, observations: pd.DataFrame, event: str, settings: Settings
) -> Square | None:
    """The plant as first found after the freeze; None where it was dead before."""
    own = observations[observations["plant"] == plant]
    day = ended.tz_convert(settings.zone).date()
    before = own[[_date(value) <= day for value in own["scored_on"]]]
    named = own[own["event"] == event]
    after = own[[_date(value) > day for value in own["scored_on"]]]
    if len(before) and (before["grade"] == settings.worst).any():
        return None
    if named.empty and after.empty:
        return Square(str(plant), 0, None)
    row = (named if len(named) else after.sort_values("scored_on", kind="stable")).iloc[0]
    if named.empty and len(before) and row["winter"] != _winter_of_event(observations, event, row["winter"]):
        return Square(str(plant), 0, None)
    return Square(str(plant), 0, int(row["grade"]), standing=bool(row["grade_low"] < row["grade"]),
                  provisional=bool(row["provisional"]), protected=row["protected"] not in ("", "no"))  # fmt: skip


def _winter_of_event(observations: pd.DataFrame, event: str, otherwise: str) -> str:
    same = observations.loc[observations["event"] == event, "winter"]
    return str(same.iloc[0]) if len(same) else otherwise


def _date(value: object) -> dt.date:
    return value.date() if isinstance(value, dt.datetime) else value  # type: ignore[return-value]


def _natural(name: str) -> tuple[tuple[int, int, str], ...]:
    """Sort as a person walks: place 9 before place 10."""
    parts = re.findall(r"\d+|\D+", name)
    return tuple((0, int(part), "") if part.isdecimal() else (1, 0, part) for part in parts)


def _title(where: str, day: str, spots: tuple[Spot, ...], rows: tuple[str, ...], settings: Settings) -> str:
    scored = [spot for spot in spots if spot.square.grade is not None]
    head = f"{where[0].upper()}{where[1:]} after the freeze of {day}"
    if not scored:
        return f"{head}: nobody has scored it yet"
    dead = [spot for spot in scored if spot.square.grade == settings.worst]
    unharmed = sum(spot.square.grade == 0 for spot in scored)
    if not dead:
        return f"{head}: none of {words.count(len(scored), 'plant')} dead, {unharmed} unharmed"
    by_row = {row: sum(spot.row == row for spot in dead) for row in range(len(rows))}
    most = max(by_row.values())
    worst_rows = [row for row, count in by_row.items() if count == most]
    text = f"{head}: {len(dead)} of {words.count(len(scored), 'plant')} dead"
    return f"{text}, most in row {clean(rows[worst_rows[0]])}" if len(worst_rows) == 1 < len(rows) else text


def draw_damage_map(prepared: DamageMap, *, page: str = "A4") -> list[Sheet]:
    """Draw the map.

    Parameters
    ----------
    prepared : DamageMap
    page : str
        One of the page formats.

    Returns
    -------
    list of Sheet
        As many pages as it takes.

    Raises
    ------
    InputError
        If there is no such format.
    """
    form = format_named(page)
    with drawing():
        if prepared.words.empty:
            return empty_plate(form, prepared.words)
        said = unwritten(prepared.words, [*prepared.rows, *prepared.places], "among the rows, or the places, as walked")
        layout = _lay_out(prepared, open_plate(form, said))
        if len(layout.pages) > 1:
            layout = _lay_out(prepared, open_plate(form, said, folio="page 100 of 100"))
        sheets = []
        for number, blocks in enumerate(layout.pages, 1):
            folio = f"page {number} of {len(layout.pages)}" if len(layout.pages) > 1 else ""
            plate = open_plate(form, said, folio=folio)
            y = plate.top
            for block in blocks:
                y = _draw_block(plate, prepared, layout, block, y)
            sheets.append(close_plate(plate, _draw_key(plate, prepared, form, y)))
        return sheets


@dataclass(frozen=True, slots=True)
class _Block:
    """A part of the map that stands in one piece: from which row and place on, and up to which."""

    row: int
    last_row: int
    place: int
    last_place: int


@dataclass(frozen=True, slots=True)
class _Layout:
    """How the map lies on its pages: side of a position, column of the rows' names [mm], and the parts of each page."""

    side: float
    column: float
    names: tuple[str, ...]
    pages: tuple[tuple[_Block, ...], ...]


def _lay_out(prepared: DamageMap, plate: Plate) -> _Layout:
    """Choose the size of a position, and break rows that are too long, and pages that are too full."""
    form, sizes = plate.page, plate.page.sizes
    names = short_names(prepared.rows, 0.2 * form.room, sizes.text)
    column = (
        max(width_mm(CORNER[form.narrow], sizes.small), *(width_mm(name, sizes.text, SEMIBOLD) for name in names)) + 2.0
    )
    across, high = plate.right - plate.left - column, plate.bottom - plate.top - _key_height(prepared, form)
    rows, places, around = len(prepared.rows), len(prepared.places), _around(form)
    least = LEAST_SIDE[form.narrow]
    parts = -(-places // max(int(across / least), 1))  # of a row
    most = min(MOST_SIDE, across / -(-places // parts))
    side = max(min(most, (high / parts - around) / rows), least)
    width = max(int(across / side + 1e-6), 1)
    pages: list[tuple[_Block, ...]] = []
    blocks: list[_Block] = []
    left = high  # [mm] of the page
    for begin in range(0, places, width):
        row = 0
        while row < rows:
            room = int((left - around) / side + 1e-6)
            if room < min(rows - row, LEAST_ROWS) and blocks:
                pages.append(tuple(blocks))
                blocks, left = [], high
                continue
            last = min(row + max(room, 1), rows)
            blocks.append(_Block(row, last, begin, min(begin + width, places)))
            left -= around + (last - row) * side
            row = last
    return _Layout(side, column, tuple(names), (*pages, tuple(blocks)))


def _around(form: Format) -> float:
    """Height of the places' names above a part of the map, and of the gap below it. [mm]."""
    return 2.4 * form.sizes.small * MM_PER_POINT + 3.0


def _square_side(side: float, form: Format) -> float:
    named = form.sizes.small * MM_PER_POINT * 1.1 if side >= NAMED_SIDE else 0.0
    return min(side - named - 0.5, MOST_SQUARE)


def _draw_block(plate: Plate, prepared: DamageMap, layout: _Layout, block: _Block, top: float) -> float:
    sheet, sizes, side = plate.sheet, plate.page.sizes, layout.side
    small, left = sizes.small * MM_PER_POINT, plate.left + layout.column
    y = top + 1.6 * small
    sheet.write(plate.left, y, CORNER[plate.page.narrow], sizes.small, colour=QUIET, column="places")
    places = prepared.places[block.place : block.last_place]
    every = max(1, math.ceil((max(width_mm(clean(place), sizes.small) for place in places) + 0.8) / side))
    for number, place in enumerate(places):
        if number % every == 0:
            text = clean(place) if writable(clean(place)) else f"no. {block.place + number + 1}"
            sheet.write(left + (number + 0.5) * side, y, shorten(text, every * side - 0.4, sizes.small), sizes.small,
                        colour=QUIET, align="center", column="places")  # fmt: skip
    first = y + 0.8 * small
    square = _square_side(side, plate.page)
    for number in range(block.row, block.last_row):
        middle = first + (number - block.row) * side + 0.3 + square / 2
        sheet.write(plate.left, middle, layout.names[number], sizes.text, weight=SEMIBOLD, middle=True, column="rows")
        sheet.stroke([(left, middle), (left + side * len(places), middle)], HAIRLINE, 0.4, LAYER.grid)
    for spot in prepared.spots:
        if block.row <= spot.row < block.last_row and block.place <= spot.place < block.last_place:
            x, down = left + (spot.place - block.place) * side, first + (spot.row - block.row) * side
            _draw_spot(sheet, prepared, spot, x, down, side, plate.page)
    return first + (block.last_row - block.row) * side + 3.0


def _draw_spot(sheet: Sheet, prepared: DamageMap, spot: Spot, x: float, y: float, side: float, form: Format) -> None:
    small, square = form.sizes.small * MM_PER_POINT, _square_side(side, form)
    draw_square(sheet, spot.square, x + (side - square) / 2, y + 0.3, square, form.sizes, len(prepared.grades))
    name = clean(spot.selection)
    if side >= NAMED_SIDE and writable(name):
        sheet.write(x + side / 2, y + square + 0.3 + 0.95 * small, shorten(name, side - 0.4, form.sizes.small, REGULAR),
                    form.sizes.small, colour=QUIET, align="center", column=f"spot-{y:.0f}")  # fmt: skip


def _key_columns(form: Format) -> int:
    return 1 if form.narrow else 3


def _key_height(prepared: DamageMap, form: Format) -> float:
    return -(-len(prepared.grades) // _key_columns(form)) * 1.5 * form.sizes.small * MM_PER_POINT + 1.0


def _draw_key(plate: Plate, prepared: DamageMap, form: Format, top: float) -> float:
    sizes, sheet = form.sizes, plate.sheet
    line, columns = 1.5 * sizes.small * MM_PER_POINT, _key_columns(form)
    side = 1.25 * sizes.small * MM_PER_POINT
    rows = -(-len(prepared.grades) // columns)
    said = max(width_mm(clean(name), sizes.small) for name in prepared.grades)
    wide = min(form.room / columns, side + said + 9.0)
    for grade, name in enumerate(prepared.grades):
        x, y = plate.left + grade // rows * wide, top + (grade % rows + 0.5) * line
        draw_square(sheet, Square("", 0, grade), x, y - side / 2, side, sizes, len(prepared.grades))
        sheet.write(x + side + 1.4, y, shorten(clean(name), wide - side - 3.0, sizes.small), sizes.small, middle=True,
                    column=f"key-{x:.0f}")  # fmt: skip
    return top + rows * line
