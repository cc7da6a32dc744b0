"""The sentences that go with every table of floors, on the screen and on paper."""

from __future__ import annotations

from hardiness import words
from hardiness.flow import Flow
from hardiness.sentences import FLOOR_CAUTION
from hardiness.tolerance.cautions import fit_cautions
from hardiness.tolerance.kinship import with_kin

MOST_NAMED = 8  # claims in one sentence
NO_LATITUDE = "The trial names no latitude: winters are taken as north of the equator, July to June."


def fit_notes(flow: Flow, grade: int | None = None) -> list[str]:
    """Write the sentences that go with every figure of the model: what it stands for, and what makes it weak.

    Parameters
    ----------
    flow : Flow
    grade : int, optional
        The grade that floors were asked for; the last unless given.

    Returns
    -------
    list of str
    """
    return [FLOOR_CAUTION, *weak_notes(flow, grade)]


def weak_notes(flow: Flow, grade: int | None = None) -> list[str]:
    """Write what makes the figures of the model weak; nothing where the trial can tell enough.

    Parameters
    ----------
    flow : Flow
    grade : int, optional
        The grade that floors were asked for; the last unless given.

    Returns
    -------
    list of str
    """
    table = flow.observations
    return fit_cautions(table[table["protected"] == ""], len(flow.settings.grades), grade)


def floor_notes(flow: Flow, grade: int | None = None) -> list[str]:
    """Write the sentences that go with floors: cautions, what is provisional, what was never scored.

    Parameters
    ----------
    flow : Flow
    grade : int, optional
        The grade that floors were asked for; the last unless given.

    Returns
    -------
    list of str
    """
    if flow.records.plants.empty and flow.records.scores.empty:
        return [
            "There is nothing to say yet: add selections, plants, readings and scores first (hardiness add --help)."
        ]
    if not flow.can_fit:
        return ["There is no observation to fit yet: every registered cell is untested."]
    table = flow.observations
    used = table[table["protected"] == ""]
    notes = [*fit_notes(flow, grade), *flow.covariates.said]
    if kin := with_kin(flow.kinship):
        notes.append(f"Pooled with their kin, by the parents in the register: {words.count(len(kin), 'selection')}.")
    if flow.season_met is not None:
        first, last = (words.day(day) for day in flow.season_met)
        winters = words.listed(sorted(set(used["winter"])))
        when = f"on {first}" if first == last else f"between {first} and {last}"
        notes.append(f"Freezes met: {when} of {winters}.")
    early = used[used["provisional"].astype(bool)]
    if len(early):
        cells = sorted({f"{row.selection} on {row.rootstock}" for row in early.itertuples(index=False)})
        notes.append(f"Provisional, resting on early scores: {words.listed(cells)}.")
    unscored = flow.left_out[flow.left_out["reason"] == "removed unscored"]
    if len(unscored):
        of = flow.records.plants.set_index("plant")
        plants = [
            f"{plant} ({of.loc[plant, 'selection']} on {of.loc[plant, 'rootstock']})" for plant in unscored["plant"]
        ]
        notes.append(
            f"Removed after a freeze without a score, which their floors do not count: {words.listed(plants)}."
        )
    if flow.settings.latitude is None:
        notes.append(NO_LATITUDE)
    return notes


def claim_notes(flow: Flow) -> list[str]:
    """Say which registered claims nothing can be held against.

    Parameters
    ----------
    flow : Flow

    Returns
    -------
    list of str
        A sentence, or none.
    """
    register = flow.records.selections
    left = register[register["claimed_floor"].fillna("").ne("") & ~register["selection"].isin(flow.claims["selection"])]
    if left.empty:
        return []
    claimed = [f"{row.selection} ({row.claimed_floor})" for row in left.itertuples(index=False)]
    rest = len(claimed) - MOST_NAMED
    some = words.listed([*claimed[:MOST_NAMED], *([f"{rest} more"] if rest > 0 else [])])
    return [f"Claims without a score to hold them against: {some}."]
