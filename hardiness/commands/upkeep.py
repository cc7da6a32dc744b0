"""Verbs that look after the records: history, uploads, doctor."""

from __future__ import annotations

import click
import pandas as pd

from hardiness import words
from hardiness.commands.output import csv_option, deliver, say, trial_folder, trial_option
from hardiness.errors import StoreError
from hardiness.schema import Column
from hardiness.trial import open_trial


def _columns(table: pd.DataFrame) -> list[Column]:
    return [
        Column(name, "", "time" if isinstance(dtype, pd.DatetimeTZDtype) else "text")
        for name, dtype in zip(table.columns, table.dtypes, strict=True)
    ]


@click.command()
@csv_option
@trial_option
def history(csv: str | None, trial: str | None) -> None:
    """Who changed what, and when: every act, oldest first."""
    with open_trial(trial_folder(trial)) as opened:
        table = opened.store.history()
        deliver(table, _columns(table), opened.settings, csv)


@click.command()
@csv_option
@trial_option
def uploads(csv: str | None, trial: str | None) -> None:
    """Every file that was taken in, with the hash that `withdraw upload` wants."""
    with open_trial(trial_folder(trial)) as opened:
        table = opened.store.uploads()
        deliver(table, _columns(table), opened.settings, csv)


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
