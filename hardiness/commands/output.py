"""What a verb gives back: tables on stdout or in a CSV file, sentences on stderr."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, TypeVar

import click
import pandas as pd
from rich.console import Console
from rich.progress import BarColumn, DownloadColumn, Progress, TextColumn, TimeRemainingColumn

from hardiness import words
from hardiness.commands.printing import print_table
from hardiness.errors import InputError, Problem
from hardiness.schema import Column
from hardiness.sentences import FLOOR_CAUTION
from hardiness.settings import Settings

F = TypeVar("F", bound=Callable[..., Any])
CAUTION = FLOOR_CAUTION


def trial_option(command: F) -> F:
    """Give a verb the option ``--trial``."""
    return click.option("--trial", metavar="DIR", type=click.Path(), default=None,
                        help="The trial folder [the current one].")(command)  # fmt: skip


def csv_option(command: F) -> F:
    """Give a verb the option ``--csv``."""
    return click.option("--csv", "csv", metavar="FILE", default=None,
                        help="Write the whole table as CSV; '-' is stdout.")(command)  # fmt: skip


def trial_folder(trial: str | None) -> Path:
    """Give the trial folder meant: the option of the verb, of a word before it, else the current folder.

    Raises
    ------
    InputError
        If the option is there and empty, as from an unset variable: that is not the current folder.
    """
    context: click.Context | None = click.get_current_context()
    while trial is None and context is not None:
        trial, context = context.params.get("trial"), context.parent
    if trial == "":
        raise InputError(Problem("an empty name", "a trial folder", file="--trial"))
    return Path("." if trial is None else trial)


def say(sentences: Sequence[str] | str) -> None:
    """Say sentences on stderr, so that stdout stays a table."""
    for sentence in [sentences] if isinstance(sentences, str) else sentences:
        click.echo(sentence, err=True)


def deliver(
    table: pd.DataFrame, columns: Sequence[Column], settings: Settings, csv: str | None, first: Sequence[str] = ()
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
    first : sequence of str
        Columns that a narrow terminal should show, the most needed one first.
    """
    if csv is None:
        print_table(table, columns, settings, first)
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
            out[column.name] = ["" if pd.isna(time) else time.isoformat(timespec="seconds") for time in local]
        elif column.kind == "flag":
            out[column.name] = ["" if pd.isna(v) else str(bool(v)).lower() for v in values]
        elif column.kind == "date":
            out[column.name] = ["" if pd.isna(v) else v.isoformat()[:10] for v in values]
        else:
            out[column.name] = values
    return out.to_csv(index=False, lineterminator="\n")


def write_text(path: Path, text: str) -> None:
    """Write a text file whole: a fault half-way leaves the old one.

    Raises
    ------
    InputError
        If it cannot be a file: its folder does not exist, or it is a folder itself.
    """
    if path.is_dir() or not path.parent.is_dir():
        found = f"'{path}', {'a folder' if path.is_dir() else 'in a folder that does not exist'}"
        raise InputError(Problem(found, "a file to write, or - for stdout", file="--csv"))
    if path.exists() and not path.is_file():  # a device or a pipe is written into, never put away
        path.write_text(text, encoding="utf-8", newline="")
        return
    path = path.resolve()  # a link stays a link
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        beside.write_text(text, encoding="utf-8", newline="")
        beside.replace(path)
    except OSError as error:
        raise OSError(error.errno, error.strerror, str(path)) from error  # the name that was asked for
    finally:
        beside.unlink(missing_ok=True)


def progress_bar(title: str) -> Progress:
    """A progress bar on stderr; nothing is shown in a pipe."""
    console = Console(stderr=True)
    return Progress(
        TextColumn(title), BarColumn(), DownloadColumn(), TimeRemainingColumn(),
        console=console, disable=not console.is_terminal, transient=True,
    )  # fmt: skip
