"""What the columns beside the readings say, row by row: units, offsets from UTC, what was measured.

In: blocks of a file, :class:`hardiness.read.companions.Companions`. Out: offsets written to the rows, rows of other
things marked, and each different text counted (:class:`Told`). Nothing is judged but by :func:`judge_told`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from hardiness.errors import Problem
from hardiness.read.clock import zone_name
from hardiness.read.companions import Companions, tells_temperature
from hardiness.read.header_units import unit_of_cell, units_in
from hardiness.read.labels import quote
from hardiness.read.moments import NO_OFFSET
from hardiness.read.slices import Block, Indices, shapes
from hardiness.read.zone_words import SEVERAL_MEANINGS, is_fixed, meanings_of, zone_of_cell
from hardiness.words import count

MOST_TOLD = 20  # different texts that are told one by one

Seen = dict[str, list[int]]  # text -> first row, number of rows


@dataclass(slots=True)
class Told:
    """What columns beside the readings say, each different text with its first row and how many rows have it.

    Parameters
    ----------
    units : dict of str to int
        Units that cells name, and the first row that does.
    strange_units : dict
        Texts in the column of units that are none, in rows with a temperature.
    zones : dict
        Names of zones with summer time.
    offsets : dict
        Offsets that rows got from the column.
    strange_zones : dict
        Texts in the column of zones that are none, or could be several.
    temperatures, others : dict
        What was measured: labels of the temperature of the air, and of other things.
    marks, flags : dict
        Marks on numbers that were said to mean something, and texts in a column of flags, beside temperatures.
    """

    units: dict[str, int] = field(default_factory=dict)
    strange_units: Seen = field(default_factory=dict)
    zones: Seen = field(default_factory=dict)
    offsets: Seen = field(default_factory=dict)
    strange_zones: Seen = field(default_factory=dict)
    temperatures: Seen = field(default_factory=dict)
    others: Seen = field(default_factory=dict)
    marks: Seen = field(default_factory=dict)
    flags: Seen = field(default_factory=dict)

    def first_unit(self, unit: str, row: int) -> None:
        """Keep the first row that names a unit.

        Parameters
        ----------
        unit : str
        row : int
        """
        self.units[unit] = min(self.units.get(unit, row), row)


def distinct_texts(block: Block, column: int, filled: Indices) -> Iterator[tuple[str, Indices]]:
    """Find the different texts in a column, and the rows that have each.

    Parameters
    ----------
    block : Block
        Some lines of the file.
    column : int
        From 0.
    filled : numpy.ndarray of int64
        Lines that are not blank.

    Yields
    ------
    text : str
        Without quotes and white space; ``""`` for an empty cell.
    which : numpy.ndarray of int64
        Places in ``filled``.
    """
    starts, ends, _ = block.cells(column, filled)
    for _, which, cells in shapes(block, starts, ends):
        if not cells.shape[1]:
            yield "", which
            continue
        texts = cells.view(f"S{cells.shape[1]}")[:, 0]
        if (texts == texts[0]).all():
            yield texts[0].decode("utf-8", "replace").strip(' "\t\r'), which
            continue
        different, inverse = np.unique(texts, return_inverse=True)
        for n, raw in enumerate(different):
            yield raw.decode("utf-8", "replace").strip(' "\t\r'), which[inverse == n]


def read_companions(
    block: Block,
    companions: Companions,
    columns: list[str],
    filled: Indices,
    rows: NDArray[np.signedinteger],
    offset: NDArray[np.int16],
    measured: NDArray[np.bool_],
    told: Told,
) -> NDArray[np.bool_]:
    """Read the columns beside the readings in a block.

    Parameters
    ----------
    block : Block
        Some lines of the file.
    companions : Companions
        Which columns.
    columns : list of str
        Names of the file's columns.
    filled : numpy.ndarray of int64
        Lines that are not blank.
    rows : numpy.ndarray of int
        Their row numbers.
    offset : numpy.ndarray of int16
        Gets the offsets of rows that have none of their own. [min]
    measured : numpy.ndarray of bool
        Whether a row has a temperature: only there a unit counts.
    told : Told
        Takes what is said.

    Returns
    -------
    numpy.ndarray of bool
        Rows that measured something else.
    """
    others = np.zeros(filled.size, bool)
    if companions.parameter is not None:
        for text, which in distinct_texts(block, companions.parameter, filled):
            here = which[measured[which]]
            if tells_temperature(text):
                count_text(told.temperatures, text, rows, here)
                for unit in units_in(text) if here.size else ():
                    told.first_unit(unit, int(rows[here[0]]))
            else:
                others[which] = True
                count_text(told.others, text, rows, which)
    if companions.unit is not None:
        for text, which in distinct_texts(block, companions.unit, filled):
            here = which[measured[which] & ~others[which]]
            if not here.size or not text:
                continue
            if (named := unit_of_cell(text)) is None:
                count_text(told.strange_units, text, rows, here)
            else:
                told.first_unit(named, int(rows[here].min()))
    if companions.zone is not None:
        name = columns[companions.zone]
        for text, which in distinct_texts(block, companions.zone, filled):
            here = which[(offset[which] == NO_OFFSET) & ~others[which] & measured[which]]
            if not here.size or not text:
                continue
            zone = zone_of_cell(text, name)
            if zone is None:
                count_text(told.strange_zones, text, rows, here)
            elif is_fixed(zone):
                offset[here] = round((zone.utcoffset(None) or timedelta(0)) / timedelta(minutes=1))
                count_text(told.offsets, zone_name(zone), rows, here)
            else:
                count_text(told.zones, zone_name(zone), rows, here)
    return others


def read_flags(
    block: Block, column: int, filled: Indices, rows: NDArray[np.signedinteger], measured: NDArray[np.bool_], told: Told
) -> Iterator[tuple[str, Indices]]:
    """Read a column of flags beside the readings of a block.

    Parameters
    ----------
    block : Block
        Some lines of the file.
    column : int
        From 0.
    filled : numpy.ndarray of int64
        Lines that are not blank.
    rows : numpy.ndarray of int
        Their row numbers.
    measured : numpy.ndarray of bool
        Whether a row has a temperature.
    told : Told
        Takes what is said.

    Yields
    ------
    flag : str
        Each different one that is not empty.
    which : numpy.ndarray of int64
        Places in ``filled`` of the temperatures that have it.
    """
    for text, which in distinct_texts(block, column, filled):
        here = which[measured[which]]
        if here.size and text:
            count_text(told.flags, text, rows, here)
            yield text, here


def count_text(seen: Seen, text: str, rows: NDArray[np.signedinteger], which: Indices) -> None:
    """Count rows in which a text stands, and keep the first.

    Parameters
    ----------
    seen : dict
        Changed.
    text : str
    rows : numpy.ndarray of int
        Row numbers.
    which : numpy.ndarray of int64
        Places in ``rows``.
    """
    if which.size:
        first = int(rows[which].min())
        if text in seen:
            first = min(first, seen[text][0])
        seen[text] = [first, seen.get(text, [0, 0])[1] + which.size]


def judge_told(
    told: Told, companions: Companions, columns: list[str], *, file: str, zone_given: bool
) -> tuple[list[str], list[Problem | str]]:
    """Say what came of the columns beside the readings, and what is wrong with them.

    Parameters
    ----------
    told : Told
    companions : Companions
    columns : list of str
        Names of the file's columns.
    file : str
        Its name.
    zone_given : bool
        Whether someone says the zone: then texts that are none are passed over.

    Returns
    -------
    said : list of str
    problems : list of Problem or str
    """
    said: list[str] = []
    problems: list[Problem | str] = []
    if companions.parameter is not None:
        name = columns[companions.parameter]
        if len(told.temperatures) > 1 or not told.temperatures:
            found, hint = f"no rows of air temperature ({_listed(told.others)})", None
            if told.temperatures:
                found = f"several kinds of temperature ({_listed(told.temperatures)})"
                hint = f"Keep only the rows of one of them, or name each row's sensor: --sensor-column '{name}'."
            problems.append(Problem(found, "rows of one temperature of the air", file=file, column=name, hint=hint))
        elif told.others:
            kept = next(iter(told.temperatures))
            said.append(f"Only rows with {quote(kept)} in '{name}' are read; passed over: {_listed(told.others)}.")
    if companions.unit is not None:
        name = columns[companions.unit]
        problems += [
            Problem(f"{quote(text)} as the unit of {count(size, 'temperature')}", "C, F or K", file, row, name)
            for text, (row, size) in list(told.strange_units.items())[:MOST_TOLD]
        ]
    if companions.zone is not None:
        name = columns[companions.zone]
        if told.offsets and not told.strange_zones and not told.zones:
            said.append(f"Offsets from UTC are taken from '{name}': {_listed(told.offsets)}.")
        elif told.strange_zones and zone_given and not told.offsets and not told.zones:
            said.append(f"'{name}' ({_listed(told.strange_zones)}) is no zone that is understood; it was not read.")
        else:
            problems += _zone_problems(told, name, file)
    return said, problems


def _zone_problems(told: Told, name: str, file: str) -> list[Problem | str]:
    accepted = "an offset such as -05:00, or a zone such as Europe/Lisbon"
    problems: list[Problem | str] = []
    for text, (row, size) in list(told.strange_zones.items())[:MOST_TOLD]:
        hint = "Say the zone of the whole file with --timezone, if it is one."
        if text.upper() in SEVERAL_MEANINGS:
            hint = f"These letters mean several zones. Say which: {meanings_of(text.upper())}."
        problems.append(Problem(f"{quote(text)} in {count(size, 'row')}", accepted, file, row, name, hint))
    if len(told.zones) > 1 or (told.zones and told.offsets):
        found = f"several zones ({_listed(told.zones)}{', and offsets' if told.offsets else ''})"
        problems.append(Problem(found, "one zone, or offsets in all rows", file, column=name))
    return problems


def _listed(seen: Seen) -> str:
    in_order = sorted(seen.items(), key=lambda each: each[1][0])
    texts = [f"{quote(text)} in {count(size, 'row')}" for text, (_, size) in in_order[:5]]
    return ", ".join(texts) + (f" and {len(seen) - 5} more" if len(seen) > 5 else "")
