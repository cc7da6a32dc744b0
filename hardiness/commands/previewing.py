"""How a preview of a logger's file is printed: what was recognised, columns, some rows, what would come of it."""

from __future__ import annotations

from collections.abc import Sequence

import click
from rich.cells import cell_len

from hardiness import words
from hardiness.errors import InputError, Problem
from hardiness.read.preview import Preview, say_count


def print_previews(previews: Sequence[Preview]) -> None:
    """Print previews on stdout.

    Parameters
    ----------
    previews : sequence of Preview
        Of one file.

    Raises
    ------
    InputError
        With all that would refuse the file, once everything is printed.
    """
    problems: list[Problem | str] = []
    for preview in previews:
        print_preview(preview)
        problems += [problem for problem in preview.problems if problem not in problems]
    if problems:
        raise InputError(problems)


def print_preview(preview: Preview) -> None:
    """Print one preview on stdout; what is wrong is not among it.

    Parameters
    ----------
    preview : Preview
    """
    click.echo(f"{preview.file}: looked at, nothing stored.")
    _print_lines([list(fact) for fact in preview.facts()])
    if preview.columns:
        click.echo("\nColumns:")
        _print_lines([[str(column.number), column.name, column.role or "not read", column.example]
                      for column in preview.columns])  # fmt: skip
    if preview.rows:
        click.echo("\nThe first readings:")
        heading = ["row", "by the trial's clock", "UTC", "°C"]
        rows = [[str(row.row), row.local, row.utc, words.number(row.celsius, 2)] for row in preview.rows]
        _print_lines([heading, *rows])
    if preview.lines:
        click.echo("\nThe first lines as they stand:")
        for line in preview.lines:
            click.echo(f"  {line}")
    if preview.said:
        click.echo("")
    for sentence in preview.said:
        click.echo(f"  {sentence}")
    if preview.logger is not None:
        click.echo(f"\n{say_count(preview)}")
    click.echo("")


def _print_lines(lines: Sequence[Sequence[str]]) -> None:
    """Print lines of cells under each other, each column as wide as its widest cell."""
    widths = [max(cell_len(line[n]) for line in lines) for n in range(len(lines[0]))] if lines else []
    for line in lines:
        padded = [text + " " * (width - cell_len(text)) for text, width in zip(line, widths, strict=True)]
        click.echo(f"  {'  '.join(padded)}".rstrip())
