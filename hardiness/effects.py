"""What the model may take into account beside selection, rootstock, plant and freeze: which terms are switched on."""

from __future__ import annotations

from dataclasses import dataclass, fields

EFFECT, LEAVE_OUT = "effect", "leave out"  # the two words for a term, in trial.toml and on the command line


@dataclass(frozen=True, slots=True)
class ModelTerms:
    """What the model takes into account beside selection, rootstock, plant and freeze; nothing unless asked for.

    Parameters
    ----------
    hardening : bool
        Hours at or below 10 degC in the 500 h before a freeze.
    warmth : bool
        Mean temperature of the 14 days before a freeze.
    years : bool
        Years since planting.
    winter : bool
        What the plants of one winter have in common.
    observer : bool
        How severely each observer scores, where two or more scored common plants.
    protection : bool
        Protected rows are fitted, with an effect of each kind of protection; else they are left out.
    """

    hardening: bool = False
    warmth: bool = False
    years: bool = False
    winter: bool = False
    observer: bool = False
    protection: bool = False


TERM_NAMES = tuple(term.name for term in fields(ModelTerms))
