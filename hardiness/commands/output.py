"""Tables on the way out: pure CSV for programs, aligned columns in the trial's unit for people."""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, TypeVar

import click
import numpy as np
import pandas as pd
from rich.console import Console
from rich.progress import BarColumn, DownloadColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table as RichTable
from rich.text import Text

from hardiness import words
from hardiness.errors import InputError
from hardiness.schema import Column
from hardiness.settings import Settings
from hardiness.units import difference_to_fahrenheit, to_fahrenheit

F = TypeVar("F", bound=Callable[..., Any])
CAUTION = (
    "A tolerance floor is an estimate for the places and winters tested, in freezes like those tested; "
    "early and late ones are harder."
)
_WIDE = 400  # characters: a pipe folds nothing


def trial_option(command: F) -> F:
    """Give a verb the option ``--trial``."""
    return click.option("--trial", metavar="DIR", type=click.Path(), default=None,
                        help="The trial folder [the current one].")(command)  # fmt: skip


def csv_option(command: F) -> F:
    """Give a verb the option ``--csv``."""
    return click.option("--csv", "csv", metavar="FILE", default=None,
                        help="Write the whole table as CSV; '-' is stdout.")(command)  # fmt: skip


def trial_folder(trial: str | None) -> Path:
    """The trial folder meant: the verb's option, the program's, or the current folder."""
    return Path(trial or click.get_current_context().find_root().obj or ".")


def say(sentences: Sequence[str] | str) -> None:
    """Say sentences on stderr, so that stdout stays a table."""
    for sentence in [sentences] if isinstance(sentences, str) else sentences:
        click.echo(sentence, err=True)


def deliver(
    table: pd.DataFrame, columns: Sequence[Column], settings: Settings, csv: str | None, shown: Sequence[str] = ()
) -> None:
    """Write a table as CSV where asked, else print it.

    Parameters
    ----------
    table : DataFrame
    columns : sequence of Column
        All of its columns: what CSV holds.
    settings : Settings
    csv : str or None
        A file, ``-`` for stdout, or None to print.
    shown : sequence of str
        Columns to print; all unless given.
    """
    if csv is None:
        picked = [column for column in columns if not shown or column.name in shown]
        print_table(table, picked, settings)
    elif csv == "-":
        click.echo(csv_text(table, columns, settings), nl=False)
    else:
        write_text(Path(csv), csv_text(table, columns, settings))
        say(f"{words.count(len(table), 'row')} in {csv}.")


def csv_text(table: pd.DataFrame, columns: Sequence[Column], settings: Settings) -> str:
    """A table as CSV: UTF-8, ISO 8601 times with the trial's offset, full numbers, empty where missing."""
    out = pd.DataFrame(index=table.index)
    for column in columns:
        values = table[column.name]
        if column.kind == "time":
            local = pd.DatetimeIndex(values).tz_convert(settings.zone)
            out[column.name] = [time.isoformat(timespec="seconds") for time in local]
        elif column.kind == "flag":
            out[column.name] = ["" if pd.isna(v) else str(bool(v)).lower() for v in values]
        elif column.kind == "date":
            out[column.name] = ["" if pd.isna(v) else v.isoformat()[:10] for v in values]
        else:
            out[column.name] = values
    return out.to_csv(index=False, lineterminator="\n")


def write_text(path: Path, text: str) -> None:
    """Write a text file whole: a fault half-way leaves the old one."""
    if not path.parent.is_dir():
        raise InputError(f"the folder {path.parent} does not exist.")
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        beside.write_text(text, encoding="utf-8", newline="")
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def print_table(table: pd.DataFrame, columns: Sequence[Column], settings: Settings) -> None:
    """Print a table in aligned columns, temperatures in the trial's unit."""
    grid = RichTable(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    for column in columns:
        numeric = column.kind in ("number", "integer")
        grid.add_column(Text(heading(column, settings.units)), justify="right" if numeric else "left", no_wrap=numeric)
    for row in table[[column.name for column in columns]].itertuples(index=False):
        grid.add_row(*(Text(cell_text(v, c, settings)) for v, c in zip(row, columns, strict=True)))
    console = Console(highlight=False)
    if not console.is_terminal:
        console.width = _WIDE
    console.print(grid)


def heading(column: Column, units: str) -> str:
    """A column's heading for people: its name in words, with the unit once."""
    name = column.name
    for ending in ("_c_per_h", "_c_h", "_c", "_h", "_f"):
        if name.endswith(ending):
            name = name.removesuffix(ending)
            break
    unit = {"degC": f"°{units}", "K": f"{units}°", "h": "h", "K h": f"{units}°·h", "K/h": f"{units}°/h"}.get(
        column.unit or ""
    )
    if column.name.startswith("hours_le_"):
        *_, value, letter = column.name.split("_")
        return f"h ≤ {value.replace('-', words.MINUS)} °{letter.upper()}"
    return " ".join(part for part in (name.replace("_", " "), unit) if part)


def cell_text(value: object, column: Column, settings: Settings) -> str:
    """A cell for people."""
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
        return words.number(figure, 2 if column.unit == "1" else 1)
    return str(value)


def progress_bar(title: str) -> Progress:
    """A progress bar on stderr; nothing is shown in a pipe."""
    console = Console(stderr=True)
    return Progress(
        TextColumn(title), BarColumn(), DownloadColumn(), TimeRemainingColumn(),
        console=console, disable=not console.is_terminal, transient=True,
    )  # fmt: skip
