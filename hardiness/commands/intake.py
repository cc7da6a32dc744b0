"""Verbs that take in and take back: ``add`` and ``withdraw``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from hardiness import words
from hardiness.commands.groups import NearNames
from hardiness.commands.output import progress_bar, say, trial_folder, trial_option
from hardiness.commands.previewing import print_previews
from hardiness.read.preview import Preview
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
        "masks": "verdicts on stretches of readings: masked, or looked at and kept (see hardiness mask)",
        "calibrations": "dated offsets of sensors (see hardiness calibrate)",
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


def _pairs(_context: click.Context, _parameter: click.Parameter, texts: tuple[str, ...]) -> list[tuple[str, str]]:
    """Part each ``COLUMN=SENSOR`` at its last ``=``: a column's name may hold one."""
    pairs = []
    for text in texts:
        column, _, sensor = (part.strip() for part in text.rpartition("="))
        if not column or not sensor:
            raise click.BadParameter(f"{text!r} is no COLUMN=SENSOR, such as 'Air (C)=L1'.")
        pairs.append((column, sensor))
    return pairs


def _joined(_context: click.Context, _parameter: click.Parameter, texts: tuple[str, ...]) -> str | None:
    """Keep numbers given one by one as one text, as they are remembered; none is None."""
    return ";".join(text.strip() for text in texts) or None


@add.command("readings")
@FILE
@click.option("--sensor", "sensors", multiple=True, metavar="S",
              help="Whose readings; an unknown one becomes a logger. Several times: a sensor for each column of "
              "temperatures, in their order.")  # fmt: skip
@click.option("--channel", "channels", multiple=True, callback=_pairs, metavar="COLUMN=SENSOR",
              help="Instead: a column of temperatures, by name or number, and whose it is.")  # fmt: skip
@click.option("--sensor-column", metavar="N", help="Instead: the column that names the sensor of each row.")
@click.option("--timezone", metavar="TZ", help="Zone or fixed offset (UTC-05:00) of its times, if the file names none.")
@click.option("--unit", type=click.Choice(["C", "F", "K"]), help="Unit, if the file names none [the trial's].")
@click.option("--time-column", metavar="N", help="The column of times, by name or number.")
@click.option("--temperature-column", metavar="N", help="The column of temperatures, by name or number.")
@click.option("--date-order", type=click.Choice(["dmy", "mdy", "ymd"], case_sensitive=False),
              help="Order of day, month and year, if the file leaves it open.")  # fmt: skip
@click.option("--missing", multiple=True, metavar="NUMBER", callback=_joined,
              help="A number in the file that means no reading, such as -127; may be repeated.")  # fmt: skip
@click.option("--mark", "marks", multiple=True, metavar="MARK=MEANING", callback=_joined,
              help="What a mark on numbers, or in a column of flags, means: '*=reading' or 'E=none'; may be "
              "repeated.")  # fmt: skip
@click.option("--preview", is_flag=True, help="Only show how the file is read, and all that is wrong; store nothing.")
@trial_option
def add_readings(
    file: Path,
    sensors: tuple[str, ...],
    channels: list[tuple[str, str]],
    sensor_column: str | None,
    preview: bool,
    trial: str | None,
    **options: Any,
) -> None:
    """Add a logger's export: any delimited text with times and temperatures, or an XLSX workbook of it.

    Times may be one column, a date and a time of day, or parts; if no names tell the parts, say them:
    --time-column 'year=2 + doy=3 + hhmm=4' (year, month, day, doy, date, time, hhmm, hour, minute, second, ampm).

    What an option says is kept for the sensor's next file, where that leaves the same question open.

    A column of humidity or dew points that plainly goes with the temperatures is kept too, for hardiness freezes --air.
    """
    with open_trial(trial_folder(trial)) as opened, progress_bar(file.name) as bar:
        task = bar.add_task(file.name, total=None)

        def progress(done: int, whole: int) -> None:
            bar.update(task, completed=done, total=whole)

        alone = not channels and sensor_column is None and len(sensors) < 2
        several: dict[str, Any] = {"sensors": sensors, "channels": channels, "sensor_column": sensor_column}
        shown: list[Preview] = []
        intakes: list[Intake] = []
        if preview and alone:
            sensor = sensors[0] if sensors else None
            shown = [opened.preview_readings(file, sensor, progress=progress, **options)]
        elif preview:
            shown = opened.preview_channels(file, progress=progress, **several, **options)
        elif sensors and alone:
            intakes = [opened.add_readings(file, sensors[0], progress=progress, **options)]
        else:
            intakes = opened.add_channels(file, progress=progress, **several, **options)
    print_previews(shown)
    for intake in intakes:
        say_intake(intake, name_sensor=not alone)


@withdraw.command("upload")
@click.argument("sha", metavar="HASH")
@click.option("--why", metavar="TEXT", default="", help="Why; it is kept with your name.")
@click.option("--undo", is_flag=True, help="Have it count again.")
@trial_option
def withdraw_upload(sha: str, why: str, undo: bool, trial: str | None) -> None:
    """Withdraw all that came with an upload, named by the first characters of its SHA-256."""
    with open_trial(trial_folder(trial)) as opened:
        say(opened.withdraw_upload(sha, undo=undo, why=why).said)


def say_intake(intake: Intake, *, name_sensor: bool = False) -> None:
    """Say what came of a file: counts, changes old -> new, and what was assumed."""
    what = f"{intake.table} of {intake.sensor}" if name_sensor else intake.table
    say(f"{intake.file} ({what}): {counts_text(intake)}.")
    for change in intake.updated[:MOST_CHANGES]:
        say(f"  {' '.join(part for part in change.key if part)}, {change.column}: {change.old or '(empty)'} -> "
            f"{change.new or '(empty)'}")  # fmt: skip
    if len(intake.updated) > MOST_CHANGES:
        say(f"  and {len(intake.updated) - MOST_CHANGES} more; hardiness history lists them all.")
    say([f"  {sentence}" for sentence in intake.said])


def counts_text(intake: Intake) -> str:
    """Write how many rows of a file were new, changed something, or said what was known.

    Parameters
    ----------
    intake : Intake

    Returns
    -------
    str

    Examples
    --------
    >>> counts_text(Intake("plants", "plants.csv", "", added=2, unchanged=1))
    '2 rows added, 1 unchanged'
    """
    if intake.repeated:
        return "nothing added"
    reading = intake.table == "readings"
    parts = [f"{words.count(intake.added, 'reading' if reading else 'row')} added"]
    if intake.updated:
        parts.append(f"{intake.updated_rows} updated")
    if intake.unchanged and not reading:  # of readings, a sentence of its own says it
        parts.append(f"{intake.unchanged} unchanged")
    return ", ".join(parts)
