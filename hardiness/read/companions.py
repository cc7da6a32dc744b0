"""Columns that say something of the readings beside them: their unit, their zone, what was measured.

In: the first rows as cells, the columns of times and temperatures. Out: :class:`Companions`, column numbers. A column
counts by its name and what its cells hold; where a name alone speaks, that is said and nothing is taken.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from hardiness.read.column_words import UNIT_PART, is_of_no_air, may_be_measured, speaks_of_temperature
from hardiness.read.grid import Grid
from hardiness.read.header_units import unit_of_cell
from hardiness.read.zone_words import heads_zones, zone_of_cell

_UNITS = re.compile(r"unit|scale|\buom\b|einheit|unidad|unit[ée]|degrees?$|^deg$|^column \d+$", re.I)
_PARAMETERS = re.compile(
    r"param|variable|measur|quantit|observ|element|propert|metric|data ?type|mess(?:gr|art)|magnitud|grandeur", re.I
)
_VAGUE = re.compile(r"zone|off?set", re.I)
_FLAGS = re.compile(r"flag|status|(?<![a-z])q[ca](?![a-z])|qual|drapeau|bandera|valid", re.I)
_MOST_FLAGS = 12  # different ones in the first rows; more is the strength of a signal or the like
_MARK = re.compile(r"[A-Za-z]|[*?!#^~<>]{1,3}")
_MOST_LABELS = 40  # names of what was measured; more is a column of something else


@dataclass(frozen=True, slots=True)
class Companions:
    """Columns that are read beside the temperatures.

    Parameters
    ----------
    unit, zone, parameter : int, optional
        The column of units, of zones or offsets, and of what each row measured.
    flag : int, optional
        The column of flags of the temperature.
    """

    unit: int | None = None
    zone: int | None = None
    parameter: int | None = None
    flag: int | None = None

    @property
    def any(self) -> bool:
        """Whether one of the first three is there."""
        return (self.unit, self.zone, self.parameter) != (None, None, None)


NO_COMPANIONS = Companions()


def find_companions(grid: Grid, taken: tuple[int, ...], temperature: int) -> tuple[Companions, list[str]]:
    """Find the columns that tell unit, zone and what was measured.

    Parameters
    ----------
    grid : Grid
        The first rows.
    taken : tuple of int
        Columns of times and of sensors' names.
    temperature : int
        The column of temperatures.

    Returns
    -------
    Companions
    said : list of str
        Sentences about a column that may tell the unit and was not read.

    Examples
    --------
    >>> row = ["2023-01-14 06:05", "-08:00", "35.6", "F"]
    >>> find_companions(Grid("l.csv", ["Time", "UTC offset", "Temp", "Unit"], [row], []), (0,), 2)[0]
    Companions(unit=3, zone=1, parameter=None, flag=None)
    """
    others = [n for n in range(len(grid.columns)) if n not in (*taken, temperature)]
    filled = {n: [row[n] for row in grid.cells if n < len(row) and row[n]] for n in others}
    units = [n for n in others if _holds_units(filled[n])]
    named = [n for n in units if _UNITS.search(grid.columns[n]) or _holds_plain_units(filled[n])]
    named.sort(key=lambda n: (n < temperature, abs(n - temperature)))  # the next one to the right
    said = [
        f"Every row has '{filled[n][0]}' in '{grid.columns[n]}': if that is the unit, say it with --unit."
        for n in units if not named and len(set(filled[n])) == 1
    ]  # fmt: skip
    zones = [n for n in others if heads_zones(grid.columns[n]) and _holds_zones(filled[n], grid.columns[n])]
    # beside a column that is named a temperature, words may be notes: there the name must speak of quantities too
    named_so = speaks_of_temperature(grid.columns[temperature])
    could = [n for n in others if n not in units + zones and not (named_so and not _PARAMETERS.search(grid.columns[n]))]
    parameter = next((n for n in could if _holds_parameters(grid, n, filled[n])), None)
    flag = _flags_of(grid, temperature, [n for n in others if n not in (*units, *zones, parameter)])
    return Companions(named[0] if named else None, zones[0] if zones else None, parameter, flag), said


def _flags_of(grid: Grid, temperature: int, others: list[int]) -> int | None:
    """Find the column of flags: named so, or letters and signs alone right behind the temperature."""
    cells_of = {n: {row[n] for row in grid.cells if n < len(row) and row[n]} for n in others}
    named = [n for n in others if _FLAGS.search(grid.columns[n]) and len(cells_of[n]) <= _MOST_FLAGS]
    if temperature + 1 in named or (len(named) == 1 and named[0] == temperature - 1):
        return temperature + 1 if temperature + 1 in named else named[0]
    stem = plain_name(grid.columns[temperature])
    whose = [n for n in named if stem in plain_name(grid.columns[n])]
    if len(whose) == 1 or (len(named) == 1 and not whose):
        return (whose or named)[0]
    behind = temperature + 1
    cells = cells_of.get(behind, set())
    bare = re.fullmatch(r"column \d+|", grid.columns[behind]) is not None if cells else False
    return behind if bare and all(_MARK.fullmatch(cell) for cell in cells) else None


def plain_name(name: str) -> str:
    """Take the unit, and what says that it is a flag, out of a name.

    Parameters
    ----------
    name : str

    Returns
    -------
    str
    """
    return " ".join(_FLAGS.sub(" ", UNIT_PART.sub(" ", name)).replace("_", " ").casefold().split())


def _holds_units(cells: list[str]) -> bool:
    """Whether most filled cells are units of temperature; beside rows of humidity there are others."""
    return 3 * sum(unit_of_cell(cell) is not None for cell in cells) >= max(len(cells), 1)


def _holds_plain_units(cells: list[str]) -> bool:
    """Whether all cells are units that are nothing else, such as ``°F``: a bare letter may be a flag."""
    return all(unit_of_cell(cell) is not None and len(cell.strip()) > 1 for cell in cells)


def _holds_zones(cells: list[str], name: str) -> bool:
    """Whether cells are offsets or zones, or letters that look like them."""
    if _VAGUE.fullmatch(name.strip()):  # "Zone" may be a part of an orchard, "Offset" that of a probe
        return bool(cells) and all(zone_of_cell(cell, name) and re.search(r":|[a-z]{3}", cell, re.I) for cell in cells)
    return any(zone_of_cell(cell, name) is not None or re.search(r"[A-Za-z+\-]", cell) for cell in cells)


def _holds_parameters(grid: Grid, column: int, cells: list[str]) -> bool:
    labels = set(cells)
    if not labels or len(labels) > _MOST_LABELS or grid.usual(column) != "text":
        return False
    known = [label for label in labels if tells_temperature(label) or may_be_measured(label)]
    if _PARAMETERS.search(grid.columns[column]):
        return bool(known)
    return len(known) == len(labels) and any(tells_temperature(label) for label in labels)


def tells_temperature(label: str) -> bool:
    """Tell whether a label of what was measured means the temperature of the air.

    Parameters
    ----------
    label : str

    Returns
    -------
    bool

    Examples
    --------
    >>> [tells_temperature(label) for label in ("Temperature", "Air temp (°F)", "Humidity", "Soil temperature")]
    [True, True, False, False]
    """
    return speaks_of_temperature(label) and not is_of_no_air(label)
