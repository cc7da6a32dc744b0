"""Tables for people: aligned columns in the trial's unit.

On a terminal headings and long texts are folded, and of the columns that do not fit side by side the least needed are
left out and named. In a pipe every column is there, and every row is one line.
"""

from __future__ import annotations

import datetime as dt
import shutil
import sys
import textwrap
import unicodedata
from collections.abc import Sequence

import click
import numpy as np
import pandas as pd
from rich.cells import cell_len

from hardiness import words
from hardiness.schema import Column
from hardiness.settings import Settings
from hardiness.units import difference_to_fahrenheit, to_fahrenheit

GAP = "  "
LONGEST_TEXT = 32  # characters; a longer cell is folded on a terminal
NARROWEST_TEXT = 14  # characters; a long cell is folded no narrower
_TIE = "\u00a0"  # keeps a number and its unit on one line of a heading
_BREAKS = ("Cc", "Zl", "Zp")  # categories of characters that move the cursor

Lines = list[str]


def shown_floors(table: pd.DataFrame, settings: Settings) -> tuple[pd.DataFrame, dict[str, list[str]]]:
    """Take out of floors what no plant bounds, and write the two figures in words.

    Parameters
    ----------
    table : DataFrame
        Columns of ``schema.FLOORS``.
    settings : Settings

    Returns
    -------
    table : DataFrame
        Intervals without their open end.
    texts : dict
        Of ``floor_c`` and ``claimable_c``.
    """
    pairs = [
        words.floor_texts(row["open_end"], row["floor_c"], row["claimable_c"], row["warmest_fatal_c"], settings.units)
        for row in table.to_dict("records")
    ]
    shown = table.assign(
        floor_low_c=table["floor_low_c"].mask(table["open_end"] == "cold"),
        floor_high_c=table["floor_high_c"].mask(table["open_end"] == "warm"),
    )
    return shown, {"floor_c": [floor for floor, _ in pairs], "claimable_c": [claim for _, claim in pairs]}


def claim_texts(claims: pd.DataFrame, floors: pd.DataFrame, settings: Settings) -> list[str]:
    """Write the floors beside claims: an end that no plant bounds is said in words, as in the table of floors.

    Parameters
    ----------
    claims : DataFrame
        Columns of ``schema.CLAIMS``.
    floors : DataFrame
        Columns of ``schema.FLOORS``, of 9 in 10 coming through alive.
    settings : Settings

    Returns
    -------
    list of str
    """
    ends = floors[["selection", "rootstock", "open_end", "claimable_c", "warmest_fatal_c"]]
    both = claims.merge(ends, on=["selection", "rootstock"], how="left")
    pairs = [
        words.floor_texts(row["open_end"], row["floor_c"], row["claimable_c"], row["warmest_fatal_c"], settings.units)
        for row in both.to_dict("records")
    ]
    return [
        f"{floor} {claim}" if end == "cold" else floor
        for (floor, claim), end in zip(pairs, both["open_end"], strict=True)
    ]


def print_table(
    table: pd.DataFrame,
    columns: Sequence[Column],
    settings: Settings,
    first: Sequence[str] = (),
    fold: Sequence[str] = (),
) -> None:
    """Print a table on stdout.

    Parameters
    ----------
    table : DataFrame
    columns : sequence of Column
        What to print, in this order.
    settings : Settings
        Its unit is the one shown.
    first : sequence of str
        Columns that matter most, the most needed one first: where the terminal is narrow, the others go.
    fold : sequence of str
        Columns of short texts that are folded there too, before another column goes.
    """
    texts = {c.name: [cell_text(value, c, settings) for value in table[c.name]] for c in columns}
    headings = {column.name: heading(column, settings.units) for column in columns}
    whole = {name: max([cell_len(text) for text in texts[name]], default=0) for name in headings}
    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else None
    if width is None:
        widths = {name: max(whole[name], cell_len(headings[name])) for name in headings}
    else:
        order = [*first, *(name for name in headings if name not in first)]
        order = [name for name in order if name in headings]
        widths = _fitted(order, headings, whole, width)
        if len(widths) < len(order):
            folded = whole | {name: min(whole[name], NARROWEST_TEXT) for name in fold}
            widths = _fitted(order, headings, folded, width)
    shown = [column for column in columns if column.name in widths]
    right = [column.kind in ("number", "integer") or column.unit is not None for column in shown]
    names = [column.name for column in shown]
    top = [_folded(headings[name], widths[name]) for name in names]
    depth = max(len(lines) for lines in top)
    top = [[""] * (depth - len(lines)) + lines for lines in top]
    for line in _row_lines(top, list(widths[name] for name in names), right):
        click.echo(click.style(line.replace(_TIE, " "), bold=True))
    for number in range(len(table)):
        cells = [_folded(texts[name][number], widths[name]) for name in names]
        for line in _row_lines(cells, [widths[name] for name in names], right):
            click.echo(line)
    if left := [headings[column.name] for column in columns if column.name not in widths]:
        some = f"{words.count(len(left), 'column')} left out for want of room ({', '.join(left)})"
        click.echo(f"{some.replace(_TIE, ' ')}: a wider window shows more, --csv FILE has them all.", err=True)


def _fitted(order: Sequence[str], headings: dict[str, str], whole: dict[str, int], width: int) -> dict[str, int]:
    """Choose the columns that fit, the most needed ones first, and their widths. [characters]."""
    widths: dict[str, int] = {}
    room = width
    for name in order:
        gap = len(GAP) if widths else 0
        least = max(len(word) for word in headings[name].split(" "))
        wanted = max(least, min(whole[name], LONGEST_TEXT))
        if whole[name] > LONGEST_TEXT:  # a long text makes do with what is left
            wanted = max(least, min(wanted, max(room - gap, NARROWEST_TEXT)))
        if wanted + gap <= room or not widths:
            widths[name] = wanted
            room -= wanted + gap
    return widths


def _folded(text: str, width: int) -> Lines:
    return [text] if cell_len(text) <= width else textwrap.wrap(text, width)


def _row_lines(cells: Sequence[Lines], widths: Sequence[int], right: Sequence[bool]) -> Lines:
    """Lay the lines of a row's cells side by side."""
    lines = []
    for number in range(max((len(cell) for cell in cells), default=0)):
        parts = []
        for cell, width, flush_right in zip(cells, widths, right, strict=True):
            text = cell[number] if number < len(cell) else ""
            space = " " * (width - cell_len(text))
            parts.append(space + text if flush_right else text + space)
        lines.append(GAP.join(parts).rstrip())
    return lines


def heading(column: Column, units: str) -> str:
    """Name a column for people: its name in words, with the unit once.

    Parameters
    ----------
    column : Column
    units : str
        ``"C"`` or ``"F"``, as the trial shows temperatures.

    Returns
    -------
    str

    Examples
    --------
    >>> heading(Column("tested_to_c", "", "number", "degC"), "F")
    'tested to °F'
    """
    name = column.name
    if name.startswith("hours_le_"):
        *_, value, letter = name.split("_")
        return f"h ≤ {value.replace('-', words.MINUS)}{_TIE}{'' if letter == 'k' else '°'}{letter.upper()}"
    for ending in ("_c_per_h", "_c_h", "_m_s", "_c", "_h", "_f"):
        if name.endswith(ending):
            name = name.removesuffix(ending)
            break
    unit = {"degC": f"°{units}", "K": f"°{units}", "h": "h", "K h": f"°{units}·h", "K/h": f"°{units}/h",
            "m/s": "m/s"}.get(column.unit or "")  # fmt: skip
    return " ".join(part for part in (name.replace("_", " "), unit) if part)


def cell_text(value: object, column: Column, settings: Settings) -> str:
    """Write a cell for people, on one line.

    Parameters
    ----------
    value : object
        What the table holds.
    column : Column
    settings : Settings

    Returns
    -------
    str
        Empty where the value is missing.
    """
    if value is None or value is pd.NaT or value is pd.NA or (isinstance(value, float) and np.isnan(value)):
        return ""
    if column.kind == "time" and isinstance(value, pd.Timestamp):
        return value.tz_convert(settings.zone).strftime("%Y-%m-%d %H:%M")
    if column.kind == "date" and isinstance(value, dt.date):
        return value.isoformat()[:10]
    if column.kind == "flag":
        return "yes" if value else "no"
    if column.kind == "number" and isinstance(value, float | int | np.number):
        figure = float(value)
        if settings.units == "F" and column.unit == "degC":
            figure = to_fahrenheit(figure)
        elif settings.units == "F" and column.unit in ("K", "K h", "K/h"):
            figure = difference_to_fahrenheit(figure)
        if column.name.startswith("probability") and not 0.005 <= figure < 0.995:  # never quite sure
            return "< 0.01" if figure < 0.5 else "> 0.99"
        return words.number(figure, 2 if column.unit == "1" else 1)
    return "".join(" " if unicodedata.category(letter) in _BREAKS else letter for letter in str(value))
