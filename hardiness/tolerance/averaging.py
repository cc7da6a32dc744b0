r"""Floors averaged over the held durations that may explain the damage, each as probable as the scores make it.

A floor of one duration is a temperature held for so many hours, so floors of several durations do not stand on one
scale. They are brought onto the reference duration's by what a typical freeze of the trial does: the median over its
freezes of the temperature held for the reference duration minus that held for the other (0 for the reference itself).

.. math:: p(\mathrm{floor}) = \sum_H w_H\, p_H(\mathrm{floor} - \mathrm{offset}_H)

That is exact for freezes shaped like the typical one, which is what a floor speaks of. The claimable figure speaks of
freezes to come, whose shapes differ: there the standard deviation of that difference between freezes joins the spread.
Evidence is counted at the reference duration.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from hardiness import schema
from hardiness.errors import FitError
from hardiness.tolerance.distribution import Distribution
from hardiness.tolerance.evidence import count_evidence
from hardiness.tolerance.floors import (
    CLAIM_LEVEL,
    check_grade,
    check_share,
    claim_deviation,
    claimable,
    floor_distribution,
)
from hardiness.tolerance.functionals import critical_temperatures, posterior_of
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.posterior import Posterior

TOLERANCE = 1e-6  # [K] of a quantile


@dataclass(frozen=True, slots=True)
class Member:
    """The model of one held duration.

    Parameters
    ----------
    posterior : Posterior
        Fitted to the same scores as the others.
    weight : float
        Its probability. [1]
    offset_c : float
        Reference duration's temperature minus this one's, in a typical freeze. [K]
    offset_sd_c : float
        Standard deviation of that difference between freezes. [K]
    """

    posterior: Posterior
    weight: float
    offset_c: float
    offset_sd_c: float


def averaged_floors(
    members: Sequence[Member], evidence: pd.DataFrame, *, survive: float, grade: int | None, level: float
) -> pd.DataFrame:
    """Tolerance floors averaged over held durations.

    Parameters
    ----------
    members : sequence of Member
        Of the same cells; weights sum to 1.
    evidence : DataFrame
        Checked observations at the reference duration: what counts and evidence are taken from.
    survive : float
        Share that comes through, between 0 and 1.
    grade : int or None
        Without reaching this grade; None: the last.
    level : float
        Probability of the central interval, between 0 and 1.

    Returns
    -------
    DataFrame
        Columns of ``schema.FLOORS``, at the reference duration; temperatures in degC, NaN where there is none.

    Raises
    ------
    FitError
        If a share or the grade is out of range, weights do not sum to 1, or the members differ in their cells.
    """
    survive, level = check_share("survive", survive), check_share("level", level)
    first = members[0].posterior.design
    grade = check_grade(grade, first.grades)
    if abs(sum(member.weight for member in members) - 1.0) > 1e-9:
        raise FitError("the weights of the durations do not sum to 1.")
    if any(member.posterior.design.cells != first.cells for member in members):
        raise FitError("the durations were fitted to different selections or rootstocks; accepted: the same rows.")
    floors = [floor_distribution(member.posterior, survive=survive, grade=grade) for member in members]
    to_come = [_to_come(member, survive, grade) for member in members]
    table = pd.DataFrame(list(first.cells), columns=["selection", "rootstock"])
    for name, share in (("floor_c", 0.5), ("floor_low_c", 0.5 - level / 2.0), ("floor_high_c", 0.5 + level / 2.0)):
        table[name] = _quantile(members, floors, share)
    table["bound"] = _quantile(members, to_come, CLAIM_LEVEL)
    whole = count_evidence(evidence, grade).merge(table, on=["selection", "rootstock"], how="left")
    whole["claimable_c"] = claimable(whole)
    return whole[schema.column_names(schema.FLOORS)]


def _to_come(member: Member, survive: float, grade: int) -> Distribution:
    critical = posterior_of(member.posterior, critical_temperatures(member.posterior.design, grade))
    return critical.shifted(claim_deviation(member.posterior, survive=survive, more_sd=member.offset_sd_c))


def _quantile(members: Sequence[Member], mixtures: Sequence[Distribution], share: float) -> Floats:
    """Quantile of each figure of the mixture over members, each moved by its offset."""
    moved = [(member.weight, member.offset_c, mixture) for member, mixture in zip(members, mixtures, strict=True)]
    ends = np.array([mixture.quantile(share) + offset for _, offset, mixture in moved])

    def below(values: Floats) -> Floats:
        whole = np.zeros_like(values)
        for weight, offset, mixture in moved:
            whole += weight * mixture.probability_below(values - offset)
        return whole

    return _solve(below, ends.min(axis=0) - TOLERANCE, ends.max(axis=0) + TOLERANCE, share)


def _solve(below: Callable[[Floats], Floats], low: Floats, high: Floats, share: float) -> Floats:
    """Bisect every figure at once for the value that a share lies below."""
    for _ in range(int(np.ceil(np.log2(max(float(np.max(high - low)) / TOLERANCE, 2.0))))):
        middle = 0.5 * (low + high)
        is_low = below(middle) < share
        low, high = np.where(is_low, middle, low), np.where(is_low, high, middle)
    solved: Floats = 0.5 * (low + high)
    return solved
