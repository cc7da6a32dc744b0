"""Verbs that take in and take back: ``add`` and ``withdraw``."""

from __future__ import annotations

from pathlib import Path

import click

from hardiness import words
from hardiness.commands.groups import NearNames
from hardiness.commands.output import progress_bar, say, trial_folder, trial_option
from hardiness.schema import RECORD_TABLES
from hardiness.store import Intake
from hardiness.trial import open_trial

FILE = click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
MOST_CHANGES = 40  # old -> new lines said; the history has them all


@click.group(cls=NearNames)
@trial_option
def add(trial: str | None) -> None:
    """Add records or readings from FILE: whole, or not at all.

    Every bad row is listed at once. The same file given twice changes nothing.
    """


@click.group(cls=NearNames)
@trial_option
def withdraw(trial: str | None) -> None:
    """Make rows or an upload stop counting; nothing is deleted, and --undo brings it back."""


def _table_verbs(table: str) -> None:
    meaning = {
        "selections": "the genotypes under test",
        "plants": "the plants in their places",
        "sensors": "loggers and stations",
        "scores": "damage scores, plant by plant",
        "freeze_notes": "notes on freezes, such as one to set aside",
    }[table]
    columns = ", ".join(f"{c.name}*" if c.required else c.name for c in RECORD_TABLES[table].columns)
    key = ", ".join(RECORD_TABLES[table].key)

    @add.command(table, help=f"Add {meaning}, from CSV or XLSX.\n\nColumns (* required): {columns}.")
    @FILE
    @trial_option
    def add_table(file: Path, trial: str | None) -> None:
        with open_trial(trial_folder(trial)) as opened:
            say_intake(opened.add_table(table, file))

    @withdraw.command(table, help=f"Withdraw the rows of {table} that FILE names by their key ({key}).")
    @FILE
    @click.option("--undo", is_flag=True, help="Have them count again.")
    @trial_option
    def withdraw_table(file: Path, undo: bool, trial: str | None) -> None:
        with open_trial(trial_folder(trial)) as opened:
            say(opened.withdraw_table(table, file, undo=undo).said)


for _name in RECORD_TABLES:
    _table_verbs(_name)


@add.command("readings")
@FILE
@click.option("--sensor", required=True, metavar="S", help="Whose readings; an unknown one becomes a logger.")
@click.option("--timezone", metavar="TZ", help="Zone or fixed offset (UTC-05:00) of its times, if the file names none.")
@click.option("--unit", type=click.Choice(["C", "F", "K"]), help="Unit, if the file names none [the trial's].")
@click.option("--time-column", metavar="N", help="The column of times, by name or number.")
@click.option("--temperature-column", metavar="N", help="The column of temperatures, by name or number.")
@click.option("--date-order", type=click.Choice(["dmy", "mdy", "ymd"], case_sensitive=False),
              help="Order of day, month and year, if the file leaves it open.")  # fmt: skip
@trial_option
def add_readings(
    file: Path,
    sensor: str,
    timezone: str | None,
    unit: str | None,
    time_column: str | None,
    temperature_column: str | None,
    date_order: str | None,
    trial: str | None,
) -> None:
    """Add a logger's export: any delimited text with times and temperatures."""
    with open_trial(trial_folder(trial)) as opened, progress_bar(file.name) as bar:
        task = bar.add_task(file.name, total=None)
        intake = opened.add_readings(
            file,
            sensor,
            timezone=timezone,
            unit=unit,
            time_column=time_column,
            temperature_column=temperature_column,
            date_order=date_order,
            progress=lambda done, whole: bar.update(task, completed=done, total=whole),
        )
    say_intake(intake)


@withdraw.command("upload")
@click.argument("sha", metavar="HASH")
@click.option("--undo", is_flag=True, help="Have it count again.")
@trial_option
def withdraw_upload(sha: str, undo: bool, trial: str | None) -> None:
    """Withdraw all that came with an upload, named by the first characters of its SHA-256."""
    with open_trial(trial_folder(trial)) as opened:
        say(opened.withdraw_upload(sha, undo=undo).said)


def say_intake(intake: Intake) -> None:
    """Say what came of a file: counts, changes old -> new, and what was assumed."""
    reading = intake.table == "readings"
    if intake.repeated:
        say(f"{intake.file} ({intake.table}): nothing added.")
    else:
        parts = [f"{words.count(intake.added, 'reading' if reading else 'row')} added"]
        if intake.updated:
            parts.append(f"{intake.updated_rows} updated")
        if intake.unchanged and not reading:  # of readings, a sentence of its own says it
            parts.append(f"{intake.unchanged} unchanged")
        say(f"{intake.file} ({intake.table}): {', '.join(parts)}.")
    for change in intake.updated[:MOST_CHANGES]:
        say(f"  {' '.join(part for part in change.key if part)}, {change.column}: {change.old or '(empty)'} -> "
            f"{change.new or '(empty)'}")  # fmt: skip
    if len(intake.updated) > MOST_CHANGES:
        say(f"  and {len(intake.updated) - MOST_CHANGES} more; hardiness history lists them all.")
    say([f"  {sentence}" for sentence in intake.said])
