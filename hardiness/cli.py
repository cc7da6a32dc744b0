"""The command line: which verb is where, and what each way of ending means.

Exit 0 done, or nothing to do yet; 2 the input is at fault; 1 a fault of ours or of the machine; 130 Ctrl-C. Verbs are
imported only when called, so that ``hardiness --help`` answers at once.
"""

from __future__ import annotations

import importlib
import io
import os
import signal
import sys
import threading
import traceback
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import click

from hardiness.commands.groups import NearNames
from hardiness.errors import FitError, HardinessError, InputError, NothingYetError, Problem

# verb: (module, the line that --help shows)
VERBS = {
    "new": ("begin", "Make a new trial folder."),
    "demo": ("begin", "Make a whole invented trial, ready to look at."),
    "add": ("intake", "Add records or readings from a file: whole, or not at all."),
    "station": ("station", "Use public stations: which are near, fetch one, or take its file."),
    "withdraw": ("intake", "Make rows or an upload stop counting; nothing is deleted."),
    "quality": ("quality", "What is odd about the readings: gaps, spikes, stuck values, sun, clocks, batteries."),
    "mask": ("deciding", "Take a stretch of readings out of everything computed; nothing is deleted."),
    "accept": ("deciding", "Say that a flagged stretch is sound."),
    "calibrate": ("deciding", "Give a sensor an offset that holds from a date on."),
    "freezes": ("answers", "Every freeze at every sensor."),
    "transfer": ("transfer", "What other sensors say of a logger while it was silent."),
    "exposures": ("answers", "Every freeze that every plant met."),
    "observations": ("answers", "Every plant and scored window: what the model sees."),
    "fit": ("fitting", "Fit the model: its scales, effects, freezes used, and which held duration explains."),
    "floors": ("answers", "Tolerance floors per selection and rootstock."),
    "compare": ("comparing", "Which selection is hardier, by how much, how sure."),
    "ranks": ("standing", "Ranks on each rootstock: who is hardiest, and how sure."),
    "rootstocks": ("standing", "Which rootstock makes its trees hardier, by how much, how sure."),
    "claims": ("comparing", "Hearsay held against the evidence."),
    "checks": ("checking", "Whether the fit may be trusted: calibration, influence, priors."),
    "chart": ("paper", "Draw the trial summary chart."),
    "figure": ("pictures", "Draw one figure: survival, damage_map, winters, freeze_course, ranks, ..."),
    "report": ("reports", "Write the whole report: page, PDF, tables, workbook, NetCDF."),
    "card": ("reports", "Write cards to hand over with plants, with the figure that may be claimed."),
    "sheet": ("reports", "Write a blank scoring sheet in walking order."),
    "enter": ("entering", "Type scores in from a sheet, one key a plant."),
    "serve": ("serving", "Serve the trial as web pages."),
    "account": ("serving", "Who may sign in to the web pages, and do what."),
    "export": ("export", "Write all readings as a CF NetCDF file."),
    "history": ("upkeep", "Who changed what, and when."),
    "uploads": ("upkeep", "Every file that was taken in."),
    "doctor": ("upkeep", "Check the stored files; remove what an interrupted run left behind."),
}


class Verbs(NearNames):
    """A group whose verbs are imported when called, and that knows the exit codes."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Verbs in the order of the job."""
        return list(VERBS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import a verb."""
        if cmd_name not in VERBS:
            return None
        with holding_ctrl_c():
            module = importlib.import_module(f"hardiness.commands.{VERBS[cmd_name][0]}")
        command: click.Command = getattr(module, cmd_name)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the verbs without importing them."""
        with formatter.section("Verbs"):
            formatter.write_dl([(verb, line) for verb, (_, line) in VERBS.items()])

    def invoke(self, ctx: click.Context) -> Any:
        """Run the verb; a reader of a pipe that has had enough is no fault."""
        try:
            return super().invoke(ctx)
        except BrokenPipeError:
            drop_output()
            ctx.exit(0)

    def main(self, args: Sequence[str] | None = None, *rest: Any, **options: Any) -> Any:
        """Run, and end with the code that says why."""
        options["standalone_mode"] = False
        prepare_streams()
        try:
            outcome = super().main(args, *rest, **options)
            sys.stdout.flush()
        except click.exceptions.Exit as end:
            sys.exit(end.exit_code)
        except (click.exceptions.Abort, KeyboardInterrupt):
            click.echo("hardiness: stopped.", err=True)
            sys.exit(130)
        except click.ClickException as error:
            error.show()
            sys.exit(2)
        except NothingYetError as error:
            click.echo(str(error), err=True)
            sys.exit(0)
        except InputError as error:
            say_problems(error)
            sys.exit(2)
        except BrokenPipeError:
            drop_output()
            sys.exit(0)
        except HardinessError as error:
            click.echo(f"hardiness: {error}", err=True)
            sys.exit(1)
        except OSError as error:
            drop_output()
            place = f"{error.filename}: " if error.filename is not None else ""
            click.echo(f"hardiness: {place}{error.strerror or error}.", err=True)
            sys.exit(1)
        except Exception as error:
            if "HARDINESS_TRACEBACK" in os.environ:
                traceback.print_exc()
            click.echo(
                f"hardiness: a fault of ours: {type(error).__name__}: {error}. HARDINESS_TRACEBACK=1 shows where.",
                err=True,
            )
            sys.exit(1)
        sys.exit(outcome if isinstance(outcome, int) else 0)


@contextmanager
def holding_ctrl_c() -> Iterator[None]:
    """Hold Ctrl-C back until the end: modules that are being imported may swallow it.

    Raises
    ------
    KeyboardInterrupt
        At the end, where it was pressed.
    """
    usual = signal.getsignal(signal.SIGINT)
    if threading.current_thread() is not threading.main_thread() or usual in (signal.SIG_IGN, None):
        yield  # signals come to the main thread only, and who started us may want this one to be ignored
        return
    pressed: list[int] = []
    signal.signal(signal.SIGINT, lambda number, _: pressed.append(number))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, usual)
    if pressed:
        raise KeyboardInterrupt


def prepare_streams() -> None:
    """Write UTF-8 into files and pipes, and on a terminal a ? for what it cannot show."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(encoding=None if stream.isatty() else "utf-8", errors="replace")


def drop_output() -> None:
    """Let go of stdout, which takes nothing more: else Python fails once more when it ends."""
    try:
        sys.stdout.flush()
    except OSError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def say_problems(error: InputError) -> None:
    """Print every problem of an input error on stderr, and of a file with bad rows that nothing was stored."""
    for problem in error.problems:
        click.echo(str(problem), err=True)
    count = len(error.problems)
    in_rows = any(isinstance(problem, Problem) and problem.row is not None for problem in error.problems)
    if not isinstance(error, FitError) and (count > 1 or in_rows):
        exact = all(isinstance(problem, Problem) for problem in error.problems)  # a sentence may stand for many more
        how_many = f"{count} problem{'s' if count > 1 else ''}; n" if exact else "N"
        click.echo(f"{how_many}othing was stored.", err=True)


@click.group(cls=Verbs, context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--trial", metavar="DIR", type=click.Path(), default=None, help="The trial folder [the current one].")
@click.version_option(package_name="hardiness")
def main(trial: str | None) -> None:
    """Join freeze readings with damage scores; report tolerance floors with honest uncertainty.

    A trial is a folder: `hardiness new DIR` makes one, `hardiness demo DIR` makes an invented one to look at.
    Every verb has --help.
    """


if __name__ == "__main__":
    main()
