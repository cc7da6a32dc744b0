r"""Who descends from whom: from the parents in the register to how much selections share.

By Henderson's rules (1976, doi:10.2307/2529339) the effect of a selection is half of each known parent's, and a part of
its own that no ancestor explains. Listed with parents before offspring, with w the share taken of each parent,

.. math:: A = T D T', \quad T_i = e_i + \sum_p w_p T_p, \quad
          D_i = 1 - \tfrac14 \sum_p (1 + F_p), \quad F_i = \tfrac12 A_{sd}

F, the inbreeding, is followed along each selection's ancestors (Quaas 1976, doi:10.2307/2529279), so that no matrix of
all pairs is formed. An unknown parent is an unrelated tree; a selfed one names the same parent twice. A clone with one
parent is that parent again (w = 1, D = 0; nucellar seedlings are clones); a sport with one parent is that parent and a
change of its own (w = 1, D = 1/4: no published figure, our convention).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter

import numpy as np
import pandas as pd
import xarray as xr

from hardiness.errors import FitError
from hardiness.tolerance.terms import Kinship

PARENTS = ("seed_parent", "pollen_parent")
NOBODY = ("", "?", "-", "unknown", "open", "open pollinated", "open-pollinated")  # written where no parent is known
SPORT_VARIANCE = 0.25  # of a sport's own change, in units of tau_a squared


@dataclass(frozen=True, slots=True)
class Lineage:
    """One individual resolved into the independent parts of its ancestors.

    Parameters
    ----------
    parts : dict of str to float
        Row of T: how much of each ancestor's own part it carries, its own included.
    own_variance : float
        D: variance of its own part, in units of tau_a squared.
    inbreeding : float
        F.
    """

    parts: Mapping[str, float]
    own_variance: float
    inbreeding: float


def kinship_of(selections: pd.DataFrame, in_trial: Sequence[str]) -> Kinship | None:
    """How the selections of a trial are related; None where no parent of theirs is known.

    An ancestor's part that only one selection carries is counted as that selection's own, so only parts that are
    shared become columns of the model.

    Parameters
    ----------
    selections : DataFrame
        The register: ``selection``, and where given ``seed_parent, pollen_parent, origin``.
    in_trial : sequence of str
        Selections with observations; one that is not in the register has no known parent.

    Returns
    -------
    Kinship or None

    Raises
    ------
    FitError
        If a selection stands twice in the register, or descends from itself.

    Examples
    --------
    >>> register = pd.DataFrame({"selection": ["S1", "S2"], "seed_parent": ["M", "M"], "pollen_parent": ["", "P"]})
    >>> kin = kinship_of(register, ["S1", "S2"])
    >>> kin.ancestors, kin.own_variance, kin.weights["S2"].tolist()
    (('M',), {'S1': 0.75, 'S2': 0.75}, [0.5])
    """
    names = sorted(set(in_trial))
    family = _lineages(selections, names)
    if all(len(family[name].parts) == 1 for name in names):
        return None
    carriers = Counter(ancestor for name in names for ancestor in family[name].parts)
    shared = [name for name in family if carriers[name] > 1 and family[name].own_variance > 0]
    place = {name: number for number, name in enumerate(shared)}
    weights, own = {}, {}
    for name in names:
        row, alone = np.zeros(len(shared)), 0.0
        for ancestor, part in family[name].parts.items():
            if ancestor in place:
                row[place[ancestor]] = part
            else:
                alone += part**2 * family[ancestor].own_variance
        weights[name], own[name] = row, alone
    return Kinship(tuple(shared), weights, own, np.array([family[name].own_variance for name in shared]))


def with_kin(kinship: Kinship | None) -> list[str]:
    """Selections that share something with another one of the trial, by name.

    Parameters
    ----------
    kinship : Kinship or None

    Returns
    -------
    list of str
    """
    return [] if kinship is None else sorted(name for name, weights in kinship.weights.items() if weights.any())


def relationship_matrix(selections: pd.DataFrame) -> xr.DataArray:
    """Numerator relationship matrix A of every selection of a register and every parent it names.

    Parameters
    ----------
    selections : DataFrame
        ``selection``, and where given ``seed_parent, pollen_parent, origin``.

    Returns
    -------
    DataArray, dims (selection, relative)
        Covariance of effects in units of tau_a squared, in order of names; 1 + F on the diagonal of seedlings. [1]

    Raises
    ------
    FitError
        If a selection stands twice in the register, or descends from itself.

    Examples
    --------
    >>> register = pd.DataFrame({"selection": ["S1", "S2"], "seed_parent": "M", "pollen_parent": "P"})
    >>> float(relationship_matrix(register).sel(selection="S1", relative="S2"))
    0.5
    """
    family = _lineages(selections, sorted(_text(selections, "selection")))
    names = sorted(family)
    transmitted = pd.DataFrame({name: family[name].parts for name in names}, index=names).fillna(0.0).to_numpy().T
    own = np.array([family[name].own_variance for name in names])
    return xr.DataArray(
        (transmitted * own) @ transmitted.T,
        dims=("selection", "relative"),
        coords={"selection": names, "relative": names},
        name="relationship",
        attrs={"units": "1", "long_name": "numerator relationship"},
    )


def _lineages(selections: pd.DataFrame, names: Sequence[str]) -> dict[str, Lineage]:
    """The lineage of each of the names and of all their ancestors, parents before offspring."""
    parents, origin = _parents_and_origin(selections)
    ancestry: dict[str, tuple[str, ...]] = {}
    waiting = list(names)
    while waiting:
        name = waiting.pop()
        if name not in ancestry:
            ancestry[name] = parents.get(name, ())
            waiting += ancestry[name]
    family: dict[str, Lineage] = {}
    for name in _parents_first(ancestry):
        family[name] = _lineage(name, ancestry[name], origin.get(name, ""), family)
    return family


def _parents_first(ancestry: Mapping[str, tuple[str, ...]]) -> Iterator[str]:
    try:
        # In order of names, so that the order of rows changes nothing.
        yield from TopologicalSorter({name: ancestry[name] for name in sorted(ancestry)}).static_order()
    except CycleError as error:
        circle = " <- ".join(f"'{name}'" for name in error.args[1])
        raise FitError(
            f"pedigree: a selection descends from itself: {circle} (parent <- offspring); accepted: parents that are "
            "older than their offspring. Correct seed_parent or pollen_parent in the selections."
        ) from None


def _lineage(name: str, parents: tuple[str, ...], origin: str, family: Mapping[str, Lineage]) -> Lineage:
    copied = origin in ("clone", "sport") and len(parents) == 1
    parts: dict[str, float] = {}
    for parent in parents:
        for ancestor, part in family[parent].parts.items():
            parts[ancestor] = parts.get(ancestor, 0.0) + (part if copied else 0.5 * part)
    parts[name] = 1.0
    if copied:
        return Lineage(parts, SPORT_VARIANCE if origin == "sport" else 0.0, family[parents[0]].inbreeding)
    own = 1.0 - 0.25 * sum(1.0 + family[parent].inbreeding for parent in parents)
    inbreeding = 0.0
    if len(parents) == 2:
        one, other = (family[parent].parts for parent in parents)
        inbreeding = 0.5 * sum(part * other.get(kin, 0.0) * family[kin].own_variance for kin, part in one.items())
    return Lineage(parts, own, inbreeding)


def _parents_and_origin(selections: pd.DataFrame) -> tuple[dict[str, tuple[str, ...]], dict[str, str]]:
    names = _text(selections, "selection")
    if twice := sorted(name for name, count in Counter(names).items() if count > 1):
        raise FitError([f"pedigree: selection '{name}' stands twice; accepted: one row each." for name in twice])
    registered = set(names)
    known = [
        tuple(parent for parent in both if parent in registered or parent.casefold() not in NOBODY)
        for both in zip(*(_text(selections, column) for column in PARENTS), strict=True)
    ]
    return dict(zip(names, known, strict=True)), dict(zip(names, _text(selections, "origin"), strict=True))


def _text(selections: pd.DataFrame, column: str) -> list[str]:
    if column not in selections.columns:
        return [""] * len(selections)
    return selections[column].fillna("").astype(str).str.strip().tolist()
