"""One selection's floors in plain sentences: what was met and come through, what the figure rests on.

In: tables of the flow for one selection. Out: sentences as a grower says them. No number is finer than its uncertainty
allows: a floor known to 2 degC is said in half degrees, a claimable one always to the warm side.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import pandas as pd

from hardiness import words
from hardiness.sentences import chance, rounded
from hardiness.units import difference_to_fahrenheit

RESTS = {
    "cell": "It rests on these plants themselves: some came through, some were lost.",
    "selection": "These plants alone do not settle it; it leans on the same selection on other rootstocks.",
    "trial": "The plants of this selection settle only one side of it; it leans on the rest of the trial.",
    "prior": "Hardly any plant of the whole trial was lost; it leans on what the trade knows beforehand.",
}
GUESS = "Before any score the model only guesses how far plants and grades lie apart."  # what its priors say
MOST_NAMED = 4  # losses named one by one
LEAST_SHIFT = 0.05  # [K] a smaller one is not worth a word


@dataclass(frozen=True, slots=True)
class Told:
    """What an explanation is made from.

    Parameters
    ----------
    selection : str
    floors : DataFrame
        ``schema.FLOORS``, untested cells among them.
    observations : DataFrame
        ``schema.OBSERVATIONS`` of unprotected plants.
    influence : DataFrame
        ``schema.INFLUENCE``.
    sensitivity : DataFrame
        ``schema.SENSITIVITY`` with priors halved and doubled.
    claims : DataFrame
        ``schema.CLAIMS``.
    grade : int
        The grade not to be reached.
    worst : int
        The last grade.
    survive : float
        Share that comes through.
    units : str
        ``"C"`` or ``"F"``.
    """

    selection: str
    floors: pd.DataFrame
    observations: pd.DataFrame
    influence: pd.DataFrame
    sensitivity: pd.DataFrame
    claims: pd.DataFrame
    grade: int
    worst: int
    survive: float = 0.9
    units: str = "C"

    def of(self, selection: str) -> Told:
        """Keep only what is about one selection.

        Parameters
        ----------
        selection : str

        Returns
        -------
        Told
        """
        names = ("floors", "observations", "influence", "sensitivity", "claims")
        tables = {name: getattr(self, name) for name in names}
        return replace(self, selection=selection, **{
            name: table[table["selection"] == selection] for name, table in tables.items()
        })  # fmt: skip


def shift_words(shift_c: float, units: str = "C") -> str:
    """Say by how much a floor would move, and to which side.

    Parameters
    ----------
    shift_c : float
        [K]
    units : str, default "C"
        ``"C"`` or ``"F"``.

    Returns
    -------
    str

    Examples
    --------
    >>> shift_words(0.43), shift_words(-1.26, "F"), shift_words(0.02)
    ('0.4 °C warmer', '2.3 °F colder', 'the same')
    """
    if abs(shift_c) < LEAST_SHIFT:
        return "the same"
    size = difference_to_fahrenheit(abs(shift_c)) if units == "F" else abs(shift_c)
    return f"{words.number(size)} °{units} {'warmer' if shift_c > 0 else 'colder'}"


def explain_selection(told: Told) -> list[str]:
    """Explain the floors of one selection.

    Parameters
    ----------
    told : Told

    Returns
    -------
    list of str
        A sentence or a few each; an empty one parts the rootstocks.
    """
    told = told.of(told.selection)
    sentences = _met(told)
    for _, cell in told.floors.iterrows():
        sentences += ["", *_cell_sentences(told, cell)]
    return sentences


def _met(told: Told) -> list[str]:
    rows = told.observations
    if rows.empty:
        return [f"{told.selection} has no score of an unprotected plant: nothing is known of it from this trial."]
    winters = sorted(set(rows["winter"])) if "winter" in rows.columns else []
    span = f", {winters[0]} to {winters[-1]}" if len(winters) > 1 else f", {winters[0]}" if winters else ""
    stocks = [
        f"{words.count(cell['plants'], 'plant')} {words.on_stock(cell['rootstock'])}"
        for _, cell in told.floors.iterrows()
        if cell["plants"]
    ]
    scored = words.count(len(rows), "time")
    guess = [] if told.sensitivity.empty else [GUESS]
    return [
        f"{told.selection}: {words.listed(stocks)}, "
        f"scored {scored} in {words.count(len(winters) or 1, 'winter')}{span}.",
        _went(rows, told.units),
        *guess,
    ]


def _went(rows: pd.DataFrame, units: str) -> str:
    """Say how cold the freezes were."""
    warm, cold = (words.temperature(c, units) for c in (rows["exposure_c"].max(), rows["exposure_c"].min()))
    if warm == cold:
        return f"The freeze{'s' if len(set(rows['freeze'])) > 1 else ''} it was scored after went to {cold}."
    return f"The freezes it was scored after went from {warm} to {cold}."


def _cell_sentences(told: Told, cell: pd.Series) -> list[str]:
    who = words.on_stock(cell["rootstock"])
    head = f"{who[0].upper()}{who[1:]}:"
    if cell["evidence"] == "untested" and cell["scores"]:
        return [f"{head} never tested for grade {told.grade}. What its plants showed may have stood before the freeze."]
    if cell["evidence"] == "untested":
        return [f"{head} never tested. No plant there has met a freeze and been scored after it."]
    said = [f"{head} {_came_through(told, cell)}", _floor(told, cell), RESTS[cell["rests_on"]]]
    said += _pulls(told, cell) + _priors(told, cell)
    said.append(f"Never tested there: anything colder than {words.temperature(cell['tested_to_c'], told.units)}.")
    return said + _claims(told, cell)


def _came_through(told: Told, cell: pd.Series) -> str:
    rows = told.observations[told.observations["rootstock"] == cell["rootstock"]]
    lost = rows[rows["grade_low"] >= told.grade].sort_values("exposure_c", ascending=False, kind="stable")
    fate = "died" if told.grade == told.worst else f"reached grade {told.grade}"
    of = words.count(cell["plants"], "plant")
    through = words.temperature(cell["coldest_survived_c"], told.units) if cell["coldest_survived_c"] < 100 else ""
    if lost.empty:
        return f"{of}, none {fate}; the coldest that one came through was {through}."
    named = [
        f"{row.plant} at {words.temperature(row.exposure_c, told.units)} ({row.freeze})"
        for row in lost.head(MOST_NAMED).itertuples(index=False)
    ]
    if len(lost) > MOST_NAMED:
        named.append(words.count(len(lost) - MOST_NAMED, "more row"))
    came = f"the coldest that one came through was {through}" if through else "none came through"
    return f"{of}, {cell['killed']} {fate}: {words.listed(named)}; {came}."


def _half_width(cell: pd.Series) -> float:
    return 0.5 * float(cell["floor_high_c"] - cell["floor_low_c"])


def _floor(told: Told, cell: pd.Series) -> str:
    half, units = _half_width(cell), told.units
    claim = "" if math.isnan(cell["claimable_c"]) else f"{words.claim_number(cell['claimable_c'], units)} °{units}"
    share = words.share(told.survive)
    if cell["open_end"] == "cold":
        return (
            f"The floor ({share} come through) lies at or below {claim}, which may be claimed; no plant shows how far."
        )
    if cell["open_end"] == "warm":
        warm = words.temperature(cell["warmest_fatal_c"], units)
        return (
            f"The floor ({share} come through) lies above {warm}, where the first was lost; no plant shows how far, "
            "and nothing may be claimed."
        )
    low, high = rounded(cell["floor_low_c"], half, units), rounded(cell["floor_high_c"], half, units)
    return (
        f"Floor (where {share} come through): {rounded(cell['floor_c'], half, units)}; nine times in ten between {low} "
        f"and {high}. What may be claimed: {claim}."
    )


def _pulls(told: Told, cell: pd.Series) -> list[str]:
    rows = told.influence[told.influence["rootstock"] == cell["rootstock"]]
    what = "floor" if cell["open_end"] == "none" else "estimate behind it"
    parts: list[str] = []
    alone: list[str] = []
    for kind, name in (("plant", "plant {}"), ("freeze", "the freeze of {}")):
        some = rows[(rows["kind"] == kind) & (rows["shift_c"].abs() >= LEAST_SHIFT)]
        if not some.empty:
            by = some["refit_shift_c"].astype(float).fillna(some["shift_c"])
            top = by.abs().idxmax()
            named = name.format(some.loc[top, "left_out"])
            if _all_there_is(told, cell, kind, some.loc[top, "left_out"]):
                alone.append(f"Without {named} it would be untested.")
                continue
            whole = f" the {what} would be" if not parts else ""
            parts.append(f"without {named}{whole} about {shift_words(float(by[top]), told.units)}")
    if not parts and not alone:
        return [f"No single plant or freeze moves the {what} by as much as a tenth of a degree."]
    return [*alone, *([f"W{', '.join(parts)[1:]}."] if parts else [])]


def _all_there_is(told: Told, cell: pd.Series, kind: str, name: str) -> bool:
    """Whether every score of a cell is of one plant, or of one freeze."""
    rows = told.observations[told.observations["rootstock"] == cell["rootstock"]]
    columns = [column for column in ((kind,) if kind == "plant" else ("event", "freeze")) if column in rows.columns]
    return any(bool((rows[column].astype(str) == name).all()) for column in columns)


def _priors(told: Told, cell: pd.Series) -> list[str]:
    rows = told.sensitivity[told.sensitivity["rootstock"] == cell["rootstock"]].sort_values("factor")
    if rows.empty:
        return []
    what = "floor" if cell["open_end"] == "none" else "estimate behind it"
    half, twice = (float(shift) for shift in rows["shift_c"].iloc[[0, -1]])
    halved, doubled = (shift_words(shift, told.units) for shift in (half, twice))
    return [f"With half that guess the {what} would be {halved}; with double, {doubled}."]


def _claims(told: Told, cell: pd.Series) -> list[str]:
    said = []
    alive = "" if told.grade == told.worst else " alive"  # a claim is of life, whatever grade the floor is of
    for _, claim in told.claims[told.claims["rootstock"] == cell["rootstock"]].iterrows():
        source = f" ({claim['claim_source']})" if claim["claim_source"] else ""
        figure = words.temperature(claim["claimed_floor_c"], told.units)
        met = "is colder than anything tested there" if claim["beyond_tested"] else "lies within what was tested"
        said.append(
            f"The claim of {figure}{source} {met}. The probability that 9 in 10 come through it{alive} is "
            f"{chance(claim['probability_holds'])}; that half do, {chance(claim['probability_half_holds'])}."
        )
    return said


def listed_cells(sentences: Sequence[str]) -> str:
    """Join an explanation into paragraphs, one per rootstock.

    Parameters
    ----------
    sentences : sequence of str
        From :func:`explain_selection`.

    Returns
    -------
    str
    """
    paragraphs: list[list[str]] = [[]]
    for sentence in sentences:
        if sentence:
            paragraphs[-1].append(sentence)
        else:
            paragraphs.append([])
    return "\n\n".join(" ".join(part) for part in paragraphs if part)
