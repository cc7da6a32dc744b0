"""The verb that types scores back in from paper: ``enter``."""

from __future__ import annotations

import datetime as dt
import shlex
import sys
from pathlib import Path

import click

from hardiness import words
from hardiness.commands.intake import say_intake
from hardiness.commands.output import say, trial_folder, trial_option
from hardiness.errors import InputError, NothingYetError, Problem
from hardiness.report.entry import COVERED, COVERS, FINISH, NOTE, STOP, Entry, read_begun
from hardiness.report.walk import walk_of
from hardiness.trial import Trial, open_trial


@click.command()
@click.argument("file", metavar="[FILE.csv]", required=False, type=click.Path(path_type=Path))
@click.option("--date", "day", metavar="DATE", help="When they were scored, such as 2032-02-14 [today].")
@click.option("--observer", metavar="O", help="Who scored.")
@click.option("--block", metavar="B", help="Only this block.")
@trial_option
def enter(file: Path | None, day: str | None, observer: str | None, block: str | None, trial: str | None) -> None:
    """Type scores in from a sheet, one key a plant, in the order of hardiness sheet.

    Every key is kept in FILE.csv [scores-DATE.csv] at once: stopped half-way, the same line goes on from there. At the
    end the file is added, as hardiness add scores would.
    """
    with open_trial(trial_folder(trial)) as opened:
        given = _date(day)
        today = dt.datetime.now(opened.settings.zone).date()
        path = file if file is not None else Path(f"scores-{(given or today).isoformat()}.csv")
        entry = _entry(opened, path, given, today, observer, block)
        begun = f", {words.count(len(entry.scores), 'score')} in it already" if entry.scores else ""
        say(f"Scored on {entry.day.isoformat()}, into {path}{begun}. Keys: {entry.keys}.")
        if _typed(entry):
            _add(opened, entry)
        else:
            # Lines to copy: a name with a blank in quotes, and the trial where it is not the folder one stands in.
            named = shlex.quote(str(path)) + (f" --trial {shlex.quote(trial)}" if trial else "")
            say(f"{words.count(len(entry.scores), 'score')} in {path}, not added yet. Go on with: "
                f"hardiness enter {named}; or add it: hardiness add scores {named}")  # fmt: skip


def _date(text: str | None) -> dt.date | None:
    if text is None:
        return None
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise InputError(Problem(f"'{text}'", "a date such as 2032-02-14", file="--date")) from None


def _entry(
    opened: Trial, path: Path, day: dt.date | None, today: dt.date, observer: str | None, block: str | None
) -> Entry:
    if path.suffix.lower() != ".csv" or path.is_dir() or not path.absolute().parent.is_dir():
        raise InputError(Problem(f"'{path}'", "a file ending in .csv, in a folder that exists", file="FILE.csv"))
    walk = walk_of(opened.flow(), block)
    if not walk.stops:
        raise NothingYetError("There is no plant to score: hardiness add plants FILE registers some.")
    begun = read_begun(path, opened.settings)
    if begun is None:
        return Entry(walk.stops, path, opened.settings, day=day or today, observer=observer or "")
    for name, asked, held in (("--date", day, begun.day), ("--observer", observer, begun.observer)):
        if asked is not None and asked != held:
            raise InputError(Problem(f"'{asked}', while {path} was begun with '{held}'", "the same, or a new file",
                                     file=name))  # fmt: skip
    return Entry(walk.stops, path, opened.settings, day=begun.day, observer=begun.observer, scores=begun.scores)


def _typed(entry: Entry) -> bool:
    """Ask plant by plant; True where the scores are to be added."""
    while True:
        click.echo(entry.question, nl=False, err=True)
        key = _key()
        if key in (STOP, ""):
            click.echo("", err=True)
            return False
        if key == FINISH:
            click.echo("", err=True)
            return True
        if key == NOTE:
            click.echo("note: ", nl=False, err=True)
            said = entry.note(sys.stdin.readline())
        elif key == COVERED:
            click.echo(f"covered by ({', '.join(f'{k} {name}' for k, name in COVERS.items())}): ", nl=False, err=True)
            said = entry.cover(_key())
        else:
            said = entry.press(key)
        click.echo(said, err=True)


def _key() -> str:
    """One key: of the keyboard without Enter, or of what is fed in; empty where that has ended."""
    if sys.stdin.isatty():
        try:
            return click.getchar()
        except EOFError:
            return ""
    while (key := sys.stdin.read(1)).isspace():
        pass
    return key


def _add(opened: Trial, entry: Entry) -> None:
    if not entry.scores:
        say("No score was given, and nothing added.")
        return
    say_intake(opened.add_table("scores", entry.path))
