"""What may move critical temperatures beside selection, rootstock, plant and freeze: optional terms of the model."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from hardiness.errors import FitError
from hardiness.tolerance.likelihood import Floats

CORE = ("rootstock", "freeze", "event", "sensor", "ancestor")  # kinds of shared effects that are no optional term
TAKEN = (*CORE, "fixed", "protected", "a", "b", "c", "u", "e")  # names of kinds of effects, and of scales behind tau_


@dataclass(frozen=True, slots=True)
class Kinship:
    """Selections as halves of their parents and a part of their own (Henderson's rules).

    A selection's effect is the weighted sum of its ancestors' independent parts, plus its own independent part; the
    variances are in units of tau_a squared.

    Parameters
    ----------
    ancestors : tuple of str
        Those with offspring in the trial.
    weights : dict of str to ndarray, dims (ancestor,)
        By selection: how much of each ancestor's own part it carries.
    own_variance : dict of str to float
        By selection: the part that no ancestor shares; 0 where the selection is an ancestor itself.
    ancestor_variance : ndarray, dims (ancestor,)
        Of each ancestor's own part.
    """

    ancestors: tuple[str, ...]
    weights: Mapping[str, Floats]
    own_variance: Mapping[str, float]
    ancestor_variance: Floats


@dataclass(frozen=True, slots=True)
class Terms:
    """Optional terms of the model, all in degC.

    Parameters
    ----------
    fixed : mapping of str to float
        By column of the observations: the prior standard deviation of its effect, in degC per unit of the column. The
        floor is stated where every such column is 0.
    random : mapping of str to float
        By column of labels, such as ``winter`` or ``observer``: the scale of the half-normal prior of the standard
        deviation of its effects. [K]
    kinship : Kinship, optional
        How selections are related.
    protection : float, optional
        Prior standard deviation of the effect of each kind of protection. Rows of protected plants are then fitted,
        and prove nothing: they count in no evidence. Otherwise they are left out. [K]

    Raises
    ------
    FitError
        If a scale or a standard deviation is not above 0 and finite, or a random term bears the name of an effect that
        the model has anyway.

    Examples
    --------
    >>> Terms(random={"winter": 0.7}).scales
    {'tau_winter': 0.7}
    """

    fixed: Mapping[str, float] = field(default_factory=dict)
    random: Mapping[str, float] = field(default_factory=dict)
    kinship: Kinship | None = None
    protection: float | None = None

    def __post_init__(self) -> None:
        given = {**self.fixed, **self.random}
        if self.protection is not None:
            given["protection"] = self.protection
        for name, value in given.items():
            if not (np.isfinite(value) and value > 0):
                raise FitError(f"term '{name}': found {value}; accepted: a number of degC above 0.")
        for name in self.random:
            if name in TAKEN:
                raise FitError(f"term '{name}': the model has an effect of that name; accepted: another column.")

    @property
    def scales(self) -> dict[str, float]:
        """Prior scales of the random terms, by the scale's name. [K]."""
        return {f"tau_{name}": scale for name, scale in self.random.items()}


NO_TERMS = Terms()


def unrelated(selections: tuple[str, ...]) -> Kinship:
    """Take selections as unrelated: each its own part, of variance 1.

    Parameters
    ----------
    selections : tuple of str

    Returns
    -------
    Kinship
    """
    return Kinship((), dict.fromkeys(selections, np.empty(0)), dict.fromkeys(selections, 1.0), np.empty(0))
