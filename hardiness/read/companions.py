"""Columns that say something of the readings beside them: their unit, their zone, what was measured.

In: the first rows as cells, the columns of times and temperatures. Out: :class:`Companions`, column numbers. A column
counts by its name and what its cells hold; where a name alone speaks, that is said and nothing is taken.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from hardiness.read.column_words import is_of_no_air, may_be_measured, speaks_of_temperature
from hardiness.read.grid import Grid
from hardiness.read.header_units import unit_of_cell
from hardiness.read.zone_words import heads_zones, zone_of_cell

_UNITS = re.compile(r"unit|scale|\buom\b|einheit|unidad|unit[ée]|degrees?$|^deg$|^column \d+$", re.I)
_PARAMETERS = re.compile(
    r"param|variable|measur|quantit|observ|element|propert|metric|data ?type|mess(?:gr|art)|magnitud|grandeur", re.I
)
_VAGUE = re.compile(r"zone|off?set", re.I)
_MOST_LABELS = 40  # names of what was measured; more is a column of something else


@dataclass(frozen=True, slots=True)
class Companions:
    """Columns that are read beside the temperatures.

    Parameters
    ----------
    unit, zone, parameter : int, optional
        The column of units, of zones or offsets, and of what each row measured.
    """

    unit: int | None = None
    zone: int | None = None
    parameter: int | None = None

    @property
    def any(self) -> bool:
        """Whether there is one."""
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
    Companions(unit=3, zone=1, parameter=None)
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
    return Companions(named[0] if named else None, zones[0] if zones else None, parameter), said


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
