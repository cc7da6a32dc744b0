"""The verb that fits: ``fit``, with what the model found beside floors, and which held duration explains the damage."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import click
import pandas as pd

from hardiness import schema, words
from hardiness.commands.answers import print_floors, refuse_unusable_scores
from hardiness.commands.output import CAUTION, csv_option, deliver, say, trial_folder, trial_option
from hardiness.commands.printing import print_table
from hardiness.covariates import FIXED
from hardiness.durations import WORTH_A_MENTION, Durations, compare_durations, with_durations
from hardiness.effects import EFFECT, LEAVE_OUT, TERM_NAMES
from hardiness.errors import InputError, Problem
from hardiness.schema import Column
from hardiness.settings import Settings
from hardiness.tolerance.fit import Fit
from hardiness.trial import open_trial
from hardiness.units import difference_to_fahrenheit

AUTO, AVERAGE = "auto", "average"
LONGEST_HELD_H = 240.0
CLEAR_ODDS = 20.0  # strong evidence begins there: Kass & Raftery 1995, doi:10.1080/01621459.1995.10476572
TERM_HELP = {
    "hardening": "Hours at or below 10 °C in the 500 h before each freeze.",
    "warmth": "Mean temperature of the 14 days before each freeze.",
    "years": "Years since planting.",
    "winter": "What the plants of one winter have in common.",
    "observer": "How severely each observer scores.",
    "protection": "Fit protected rows too, with an effect of each kind; they prove nothing.",
}
SCALES = {
    "sigma": "spread of one plant's answer",
    "tau_a": "between selections",
    "tau_b": "between rootstocks",
    "tau_c": "between combinations of the two",
    "tau_u": "between plants of one combination",
    "tau_e": "between freezes of one temperature",
    "tau_winter": "between winters",
    "tau_observer": "between observers",
}
PATHS = {
    "importance": "weighted joint draws",
    "sampler": "annealed joint draws",
    "laplace": "Laplace's method alone",
}
FREEZES_USED = (
    Column("freeze", "the coldest freeze of the rows"),
    Column("winter", "its winter"),
    Column("sensor", "whose readings"),
    Column("exposure_c", "held temperature", "number", "degC"),
    Column("rows", "rows fitted", "integer"),
    Column("lost", "of these, plants lost", "integer"),
)


def term_options(command: Callable[..., None]) -> Callable[..., None]:
    """Give a verb an option for each term of the model, which overrides trial.toml for one run."""
    for name in reversed(TERM_NAMES):
        command = click.option(f"--{name}", type=click.Choice([EFFECT, LEAVE_OUT]), default=None,
                               help=f"{TERM_HELP[name]} [as in trial.toml]")(command)  # fmt: skip
    return command


@click.command()
@csv_option
@click.option("--held", metavar="auto|average|H", help="Hours held: chosen by the scores, averaged, or so many.")
@term_options
@click.option("--containers", is_flag=True, help="Let plants in containers count.")
@trial_option
def fit(csv: str | None, held: str | None, containers: bool, trial: str | None, **asked: str | None) -> None:
    """Fit the model and say what it found: scales, effects in degrees, freezes used, the held duration that explains.

    With --held auto the durations 0, 1, 2, 4 and 8 h and the trial's own are weighed by how well they foretell the
    scores, and the best is fitted, the trial's own where the scores cannot tell; with --held average the floors are
    averaged over them.
    """
    with open_trial(trial_folder(trial)) as opened:
        flow = opened.flow(containers=containers)
        hours = held_asked(held)
        flow = flow.with_settings(_settings(flow.settings, hours, asked))
        if not flow.can_fit:
            refuse_unusable_scores(flow)
            deliver(pd.DataFrame(columns=schema.column_names(schema.ESTIMATES)), schema.ESTIMATES, flow.settings, csv)
            say("There is nothing to fit yet: it takes plants with scores of freezes they met.")
            return
        durations = compare_durations(flow) if hours in (AUTO, AVERAGE) else None
        fitted = durations.fits[durations.chosen_h] if durations else flow.fit
        tables = [table for table in (fitted.scales_table(), fitted.terms()) if not table.empty]
        found = readable(pd.concat(tables, ignore_index=True))
        if csv is not None:
            deliver(found, schema.ESTIMATES, flow.settings, csv)
        if csv != "-":
            _print_all(fitted, found, durations, flow.settings)
        if durations:
            say(duration_notes(durations))
        say(path_note(fitted))
        if durations and hours == AVERAGE:
            print_floors(durations.flow, durations.floors(), 0.9)
        else:
            say([*flow.covariates.said, CAUTION, *fitted.cautions])


def held_asked(text: str | None) -> str | float | None:
    """The held duration a person means: ``auto``, ``average``, or a number of hours.

    Raises
    ------
    InputError
        If it is none of these.
    """
    if text is None or text.strip().lower() in (AUTO, AVERAGE):
        return None if text is None else text.strip().lower()
    number = re.fullmatch(r"(\d+(?:\.\d*)?|\.\d+)\s*h?", text.strip())
    if number is None or float(number[1]) > LONGEST_HELD_H:
        raise InputError(
            Problem(f"'{text}'", f"{AUTO}, {AVERAGE}, or hours from 0 to {LONGEST_HELD_H:g}", file="--held")
        )
    return float(number[1])


def _settings(settings: Settings, hours: str | float | None, asked: dict[str, str | None]) -> Settings:
    """The trial's settings with what was asked for this one run."""
    terms: dict[str, Any] = {name: word == EFFECT for name, word in asked.items() if word is not None}
    settings = replace(settings, model=replace(settings.model, **terms))
    if isinstance(hours, float):
        settings = replace(with_durations(settings, [hours]), model_held_h=hours)
    return settings


def readable(estimates: pd.DataFrame) -> pd.DataFrame:
    """Estimates with their names in the words of the trial: a term by its name, a label that says per what."""
    named = {effect.column: (name, f"per {effect.per}") for name, effect in FIXED.items()}
    out = estimates.copy()
    for index, row in estimates.iterrows():
        if row["name"] in named:
            out.loc[index, ["name", "label"]] = named[row["name"]]
        elif row["kind"] == "scale":
            out.loc[index, "label"] = SCALES.get(row["name"], "")
    return out


def _print_all(fitted: Fit, found: pd.DataFrame, durations: Durations | None, settings: Settings) -> None:
    if durations:
        _title("How well each held duration foretells the scores")
        print_table(durations.table, schema.DURATIONS, settings)
    at = f" at {words.hours(durations.chosen_h)} held" if durations else ""
    _title(f"What the model found{at}, with 90 % intervals; a positive effect is more tender")
    print_estimates(found, settings)
    _title(f"Freezes and rows used{at}")
    print_table(freezes_used(fitted), FREEZES_USED, settings)


def print_estimates(found: pd.DataFrame, settings: Settings) -> None:
    """Print estimates with two decimals: effects of one unit are small."""
    texts, columns = found.astype(object), []
    for column in schema.ESTIMATES:
        if column.kind == "number":
            values = found[column.name]
            values = values.map(difference_to_fahrenheit) if settings.units == "F" else values
            texts[column.name] = [words.number(value, 2) for value in values]
            column = replace(column, kind="text")
        columns.append(column)
    print_table(texts, columns, settings)


def _title(text: str) -> None:
    click.echo(f"\n{text}\n")


def freezes_used(fitted: Fit) -> pd.DataFrame:
    """Each freeze that a fitted row names: its temperature, rows, and plants lost in it; columns of FREEZES_USED."""
    design = fitted.posterior.design
    table = design.table.assign(lost=(design.table["grade_low"] == design.worst).astype(int))
    grouped = table.groupby(["freeze", "winter", "sensor"], sort=True)
    return grouped.agg(exposure_c=("exposure_c", "first"), rows=("plant", "size"), lost=("lost", "sum")).reset_index()


def path_note(fitted: Fit) -> str:
    """Say how the posterior was reached, and how far it can be trusted."""
    found = fitted.posterior.diagnostics
    return (
        f"Reached by {PATHS[found.path]}: effective sample {found.effective_sample_size:,.0f}, "
        f"tail shape k {words.number(found.pareto_k, 2)} (dependable below 0.7), "
        f"{found.effective_nodes:,.0f} effective points of the scales."
    )


def duration_notes(durations: Durations) -> list[str]:
    """Say which duration the scores favour, by how much, and what to do about it."""
    own_h, best_h = durations.flow.settings.model_held_h, durations.best_h
    odds = durations.odds(best_h, own_h)
    alike = [h for h in durations.table["held_h"] if durations.odds(best_h, h) < WORTH_A_MENTION]
    if own_h in alike and len(alike) > 1:
        apart = max(durations.odds(best_h, h) for h in alike)
        how = (
            f"the best of them makes the scores {apart:.1f} times as likely as the least, and less than "
            f"{WORTH_A_MENTION:g} times says next to nothing"
            if round(apart, 1) > 1.0
            else "each makes them as likely as the others"
        )
        notes = [
            f"The scores cannot tell {words.listed([f'{h:g}' for h in alike])} h held apart: {how}. "
            f"The trial's own {own_h:g} h is kept."
        ]
    elif best_h == own_h:
        notes = [f"The trial's own {own_h:g} h explains the scores best."]
    else:
        events = durations.fits[own_h].posterior.design.table["event"].nunique()
        notes = [
            f"{best_h:g} h explains the scores best, {odds:.1f} times as well as the trial's own "
            f"{own_h:g} h, as far as {words.count(events, 'event')} can tell."
        ]
        notes.append(
            f"To let every verb use it: add {best_h:g} to held_h and set model_held_h = {best_h:g} "
            "in trial.toml; floors are then temperatures held that long."
            if odds >= CLEAR_ODDS
            else f"That is no strong reason to change ({CLEAR_ODDS:g} times would be)."
        )
    if durations.left_out:
        notes.append(f"{words.count(durations.left_out, 'row')} left out, which not every duration has.")
    return notes
