"""Verbs that hold one thing against another: compare, claims."""

from __future__ import annotations

from csv import reader as csv_reader
from dataclasses import replace

import click
import pandas as pd

from hardiness import schema, words
from hardiness.commands.answers import refuse_unusable_scores, refuse_without_checks
from hardiness.commands.output import csv_option, deliver, say, trial_folder, trial_option
from hardiness.commands.printing import claim_texts, print_table
from hardiness.errors import InputError, Problem
from hardiness.flow import Flow
from hardiness.report.notes import claim_notes, fit_notes
from hardiness.tolerance.compare import TooManyPairsError
from hardiness.trial import open_trial

CHECKS = "checks"
MOST_PRINTED_PAIRS = 60
# What a narrow terminal shows of a table, the most needed column first.
FIRST_CLAIMED = ("selection", "rootstock", "claimed_floor_c", "floor_c", "probability_holds", "probability_half_holds",
                 "beyond_tested", "claim_source")  # fmt: skip


@click.command()
@csv_option
@click.option("--selections", metavar="A,B,...", help="Only pairs of these.")
@click.option("--against", metavar="A,B,...|checks", help="Only pairs with one of these, or with a check.")
@click.option("--containers", is_flag=True, help="Let plants in containers count.")
@trial_option
def compare(csv: str | None, selections: str | None, against: str | None, containers: bool, trial: str | None) -> None:
    """Differences between selections on the rootstocks they share; negative: the first is hardier."""
    with open_trial(trial_folder(trial)) as opened:
        flow = opened.flow(containers=containers)
        chosen, yardsticks = _names("--selections", selections), _names("--against", against)
        if yardsticks == [CHECKS]:
            refuse_without_checks(flow, "--against checks")
            yardsticks = flow.checks
        try:
            table = flow.compare(chosen, yardsticks)
        except TooManyPairsError as error:
            raise TooManyPairsError(error.count, "Name some with --selections, or use --against checks.") from None
        printed: pd.DataFrame = table
        if csv is None and chosen is None and len(table) > MOST_PRINTED_PAIRS:
            sure = (table["probability_a_hardier"] - 0.5).abs()
            printed = table.loc[sure.sort_values(ascending=False, kind="stable").index[:MOST_PRINTED_PAIRS]]
        deliver(table if csv is not None else printed, schema.COMPARE, opened.settings, csv)
        if len(printed) < len(table):
            say(f"The {len(printed)} surest of {len(table)} rows; --csv FILE writes them all.")
        if table.empty:
            say("There is no pair to compare yet: it takes two selections with scores on one rootstock.")
        else:
            rows = words.count(len(table), "row")
            say(f"Each interval stands for itself: of {rows} at 90 %, about one in ten misses.")
            say(fit_notes(flow))
        refuse_unusable_scores(flow)


def _names(option: str, text: str | None) -> list[str] | None:
    """Names between commas; one that holds a comma stands in double quotes."""
    if text is None:
        return None
    names = [name.strip() for row in csv_reader([text], skipinitialspace=True) for name in row if name.strip()]
    if not names:
        raise InputError(Problem(f"'{text}'", "names of selections, ',' between", file=option))
    return list(dict.fromkeys(names))


@click.command()
@csv_option
@click.option("--containers", is_flag=True, help="Let plants in containers count.")
@trial_option
def claims(csv: str | None, containers: bool, trial: str | None) -> None:
    """Hearsay held against the evidence: how probable each claimed floor is, and whether it was tested."""
    with open_trial(trial_folder(trial)) as opened:
        flow = opened.flow(containers=containers)
        if csv is None:
            _print_claims(flow)
        else:
            deliver(flow.claims, schema.CLAIMS, opened.settings, csv)
        if flow.claims.empty:
            say("There is no claim to hold against evidence: it takes a claimed_floor of a selection with scores.")
        else:
            say("probability holds: that 90 % come through at the claim; half holds: that half do (survived once).")
            say(fit_notes(flow))
        say(claim_notes(flow))
        refuse_unusable_scores(flow)


def _print_claims(flow: Flow) -> None:
    table = flow.claims.assign(floor_c=claim_texts(flow.claims, flow.floors(), flow.settings))
    columns = [replace(column, kind="text") if column.name == "floor_c" else column for column in schema.CLAIMS]
    print_table(table, columns, flow.settings, FIRST_CLAIMED, fold=["floor_c"])
