"""The command line: which verb is where, and what each way of ending means.

Exit 0 done; 2 the input is at fault; 1 a fault of ours or of the machine; 130 Ctrl-C. Verbs are imported only when
called, so that ``hardiness --help`` answers at once.
"""

from __future__ import annotations

import importlib
import os
import sys
import traceback
from collections.abc import Sequence
from typing import Any

import click

from hardiness.errors import HardinessError, InputError

# verb: (module, the line that --help shows)
VERBS = {
    "new": ("begin", "Make a new trial folder."),
    "demo": ("begin", "Make a whole invented trial, ready to look at."),
    "add": ("intake", "Add records or readings from a file: whole, or not at all."),
    "withdraw": ("intake", "Make rows or an upload stop counting; nothing is deleted."),
    "freezes": ("answers", "Every freeze at every sensor."),
    "exposures": ("answers", "Every freeze that every plant met."),
    "observations": ("answers", "Every plant and scored window: what the model sees."),
    "floors": ("answers", "Tolerance floors per selection and rootstock."),
    "compare": ("answers", "Which selection is hardier, by how much, how sure."),
    "claims": ("answers", "Hearsay held against the evidence."),
    "chart": ("paper", "Draw the trial summary chart."),
    "history": ("upkeep", "Who changed what, and when."),
    "uploads": ("upkeep", "Every file that was taken in."),
    "doctor": ("upkeep", "Check the stored files; remove what an interrupted run left behind."),
}


class Verbs(click.Group):
    """A group whose verbs are imported when called, and that knows the exit codes."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Verbs in the order of the job."""
        return list(VERBS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import a verb."""
        if cmd_name not in VERBS:
            return None
        module = importlib.import_module(f"hardiness.commands.{VERBS[cmd_name][0]}")
        command: click.Command = getattr(module, cmd_name)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the verbs without importing them."""
        with formatter.section("Verbs"):
            formatter.write_dl([(verb, line) for verb, (_, line) in VERBS.items()])

    def main(self, args: Sequence[str] | None = None, *rest: Any, **options: Any) -> Any:
        """Run, and end with the code that says why."""
        options["standalone_mode"] = False
        try:
            outcome = super().main(args, *rest, **options)
            sys.stdout.flush()
        except click.exceptions.Exit as end:
            sys.exit(end.exit_code)
        except (click.exceptions.Abort, KeyboardInterrupt):
            sys.exit(130)
        except click.ClickException as error:
            error.show()
            sys.exit(2)
        except InputError as error:
            say_problems(error)
            sys.exit(2)
        except BrokenPipeError:  # the reader of a pipe has had enough
            os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
            sys.exit(0)
        except (HardinessError, OSError) as error:
            click.echo(f"hardiness: {error}", err=True)
            sys.exit(1)
        except Exception as error:
            if "HARDINESS_TRACEBACK" in os.environ:
                traceback.print_exc()
            click.echo(
                f"hardiness: a fault of ours, nothing was stored: {type(error).__name__}: {error}. "
                "HARDINESS_TRACEBACK=1 shows where.",
                err=True,
            )
            sys.exit(1)
        sys.exit(outcome if isinstance(outcome, int) else 0)


def say_problems(error: InputError) -> None:
    """Print every problem of an input error on stderr, and that nothing was stored."""
    for problem in error.problems:
        click.echo(str(problem), err=True)
    if len(error.problems) > 1:
        click.echo(f"{len(error.problems)} problems; nothing was stored.", err=True)


@click.group(cls=Verbs, context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--trial", metavar="DIR", type=click.Path(), default=None, help="The trial folder [the current one].")
@click.version_option(package_name="hardiness")
@click.pass_context
def main(ctx: click.Context, trial: str | None) -> None:
    """Join freeze readings with damage scores; report tolerance floors with honest uncertainty.

    A trial is a folder: `hardiness new DIR` makes one, `hardiness demo DIR` makes an invented one to look at.
    Every verb has --help.
    """
    ctx.obj = trial


if __name__ == "__main__":
    main()
