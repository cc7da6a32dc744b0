"""Verbs that look after the records: history, uploads, doctor."""

from __future__ import annotations

import json

import click

from hardiness import words
from hardiness.commands.output import csv_option, deliver, say, trial_folder, trial_option
from hardiness.commands.printing import print_table
from hardiness.errors import StoreError
from hardiness.schema import Column
from hardiness.trial import open_trial

UPLOADS = (
    Column("upload", "SHA-256 of the file"),
    Column("file", "its name as it came"),
    Column("table", "what it was added to"),
    Column("sensor", "whose readings"),
    Column("added_at", "when", "time"),
    Column("who", "by whom"),
    Column("rows", "rows of it", "integer"),
    Column("options", "what was given with it, as JSON"),
    Column("counts", "not withdrawn", "flag"),
)
HISTORY = (
    Column("at", "when", "time"),
    Column("who", "by whom"),
    Column("action", "what was done"),
    Column("table", "to which table"),
    Column("key", "to which row; empty: the whole file"),
    Column("old", "values before, as JSON"),
    Column("new", "values after, as JSON"),
    Column("upload", "SHA-256 of the file it came with"),
    Column("file", "its name as it came"),
)
CHANGE = Column("change", "old -> new")
SHOWN_HASH = 12  # characters of a SHA-256 that are enough to name an upload


@click.command()
@csv_option
@trial_option
def history(csv: str | None, trial: str | None) -> None:
    """Who changed what, and when: every act, oldest first."""
    with open_trial(trial_folder(trial)) as opened:
        table = opened.store.history()
        if csv is not None:
            deliver(table, HISTORY, opened.settings, csv)
        else:
            shown = table.assign(
                upload=table["upload"].str[:SHOWN_HASH],
                change=[change_text(old, new) for old, new in zip(table["old"], table["new"], strict=True)],
            )
            columns = [column for column in HISTORY if column.name not in ("old", "new")]
            print_table(shown, [*columns[:5], CHANGE, *columns[5:]], opened.settings,
                        ("at", "action", "key", "change", "table", "who", "upload", "file"))  # fmt: skip
        if table.empty:
            say("Nothing has been done to this trial yet.")


def change_text(old: str, new: str) -> str:
    """Write a change as a person reads it.

    Parameters
    ----------
    old, new : str
        Values before and after, as JSON by name; ``""`` where there were none.

    Returns
    -------
    str

    Examples
    --------
    >>> change_text('{"notes":"by the gate"}', '{"notes":"by the well"}')
    'notes: by the gate -> by the well'
    >>> change_text("", '{"origin":"seedling","notes":""}')
    'origin: seedling'
    """
    before, after = (json.loads(text) if text else {} for text in (old, new))
    parts = []
    for name in dict.fromkeys([*after, *before]):
        was, became = (str(values.get(name) if values.get(name) is not None else "") for values in (before, after))
        if new and old:
            parts.append(f"{name}: {was or '(empty)'} -> {became or '(empty)'}")
        elif was or became:
            parts.append(f"{name}: {was or became}")
    return "; ".join(parts)


@click.command()
@csv_option
@trial_option
def uploads(csv: str | None, trial: str | None) -> None:
    """Every file that was taken in, with the hash that `withdraw upload` wants."""
    with open_trial(trial_folder(trial)) as opened:
        table = opened.store.uploads()
        if csv is not None:
            deliver(table, UPLOADS, opened.settings, csv)
        else:
            shown = table.assign(
                upload=table["upload"].str[:SHOWN_HASH],
                options=[change_text("", options) for options in table["options"]],
            )
            print_table(shown, UPLOADS, opened.settings, ("upload", "file", "table", "sensor", "counts", "added_at"))
        if table.empty:
            say("No file has been taken in yet: hardiness add --help.")


@click.command()
@trial_option
def doctor(trial: str | None) -> None:
    """Check that every stored file is whole, and remove what an interrupted run left behind."""
    with open_trial(trial_folder(trial)) as opened:
        removed = opened.store.remove_orphans()
        say([f"removed {path.name}: no record names it." for path in removed])
        if faults := opened.store.faults():
            raise StoreError("\n".join(faults))
        say(f"All is well; {words.count(len(removed), 'left-over')} removed.")
