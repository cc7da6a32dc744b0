"""Verbs that say where selections and rootstocks stand: ranks, rootstocks."""

from __future__ import annotations

import click
import pandas as pd

from hardiness import schema, words
from hardiness.commands.answers import refuse_unusable_scores, refuse_without_checks
from hardiness.commands.output import csv_option, deliver, say, trial_folder, trial_option
from hardiness.report.notes import fit_notes
from hardiness.schema import ALL_STOCKS
from hardiness.tolerance.ranks import MULTIPLICITY
from hardiness.tolerance.rootstocks import NOT_SEPARABLE
from hardiness.trial import open_trial


@click.command()
@csv_option
@click.option("--best", type=click.IntRange(min=1), default=3, show_default=True, help="How many the best are.")
@click.option("--each-check", is_flag=True, help="Each selection against each check, instead of ranks.")
@click.option("--containers", is_flag=True, help="Let plants in containers count.")
@trial_option
def ranks(csv: str | None, best: int, each_check: bool, containers: bool, trial: str | None) -> None:
    """Ranks on each rootstock and over all, with 90 % intervals; 1 is the hardiest."""
    with open_trial(trial_folder(trial)) as opened:
        flow = opened.flow(containers=containers)
        if each_check:
            refuse_without_checks(flow, "--each-check")
        table = flow.against_checks() if each_check else flow.ranks(best)
        deliver(table, schema.AGAINST_CHECKS if each_check else schema.RANKS, opened.settings, csv)
        refuse_unusable_scores(flow)
        if not flow.can_fit:
            say("There is no selection to rank yet: it takes plants with scores of freezes they met.")
            return
        if each_check:
            say("Each probability speaks for its own pair: of many at 90 %, about one in ten misleads.")
        else:
            say(f"The best are the first {best}; all: each selection's own part, whatever stock it stands on.")
            say(MULTIPLICITY)
            say(_all_among_best(table, best))
        say(fit_notes(flow))


def _all_among_best(table: pd.DataFrame, best: int) -> list[str]:
    """Say where no more selections stand than the best are many: there being among them says nothing."""
    few = table.loc[table["ranked"] <= best, ["rootstock", "ranked"]].drop_duplicates()
    where = [f"{words.count(n, 'selection')} {'over all' if stock == ALL_STOCKS else words.on_stock(stock)}"
             for stock, n in few.itertuples(index=False, name=None)]  # fmt: skip
    if not where:
        return []
    return [f"No more than {best} to choose from, so that each is among the best: {words.listed(where)}."]


@click.command()
@csv_option
@click.option("--containers", is_flag=True, help="Let plants in containers count.")
@trial_option
def rootstocks(csv: str | None, containers: bool, trial: str | None) -> None:
    """Differences between rootstocks, with 90 % intervals; negative: the first makes hardier trees."""
    with open_trial(trial_folder(trial)) as opened:
        flow = opened.flow(containers=containers)
        table = flow.rootstocks()
        deliver(table, schema.ROOTSTOCKS, opened.settings, csv)
        refuse_unusable_scores(flow)
        if table.empty:
            say("There is no pair of rootstocks to compare yet: it takes scores of plants on two.")
            return
        say("shared: on average over the selections both carry; any: over selections at large.")
        if (table["verdict"] == NOT_SEPARABLE).any():
            say("Not separable: the interval covers 0; that does not say the stocks are alike.")
        say(fit_notes(flow))
