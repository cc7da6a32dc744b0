"""The sentence a summary opens with: what the trial has found, never more than its evidence carries.

In: the rows of the floors table as prepared for drawing. Out: one sentence. It compares claimable floors as they are
printed, because that is what a reader can check on the page; it makes no statement about true differences.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from hardiness import words

NAME_LONG = 32  # characters of a name in a sentence


class HasClaimable(Protocol):
    """What :func:`finding` needs of a row: who, on what, the figure it carries, and whether it is a yardstick."""

    @property
    def name(self) -> str:
        """The selection, as it is printed."""

    @property
    def stock(self) -> str:
        """The rootstock, as it is printed."""

    @property
    def check(self) -> bool:
        """Whether the selection is a check."""

    @property
    def claimable_c(self) -> float:
        """The claimable floor; NaN where there is none. [degC]."""

    @property
    def scores(self) -> int:
        """How many rows the figure rests on."""


def finding(rows: Sequence[HasClaimable], *, units: str = "C", freezes: int = 0, coldest_c: float | None = None) -> str:
    """Say in one sentence what the trial has found.

    Parameters
    ----------
    rows : sequence of HasClaimable
        One per selection and rootstock.
    units : str, default "C"
        Unit to print, ``"C"`` or ``"F"``.
    freezes : int, default 0
        How many freezes were measured.
    coldest_c : float, optional
        The coldest of them. [degC]

    Returns
    -------
    str
        The best candidate and its claimable floor, set against the best check where there is one; else what is
        missing before a figure can be claimed.

    Examples
    --------
    >>> finding([], freezes=2, coldest_c=-7.25)
    'No plant has a score that counts yet; 2 freezes measured, the coldest −7.2 °C'
    """
    claimed = [row for row in rows if row.claimable_c == row.claimable_c]
    if not claimed:
        return _nothing_claimed(rows, units, freezes, coldest_c)
    candidates = [row for row in claimed if not row.check]
    checks = [row for row in claimed if row.check]
    if not candidates:
        best, _ = _coldest(checks, units)
        return f"Only checks carry a figure so far; the coldest is {_who(best)}, {_figure(best, units)}"
    best, ties = _coldest(candidates, units)
    subject = _who(best) + (f" and {words.count(ties, 'other')}" if ties else "")
    if not checks:
        among = f", the coldest figure of {len(claimed)}" if len(claimed) > ties + 1 else ""
        return f"{subject} can be claimed hardy to {_figure(best, units)}{among}"
    yardstick, _ = _coldest(checks, units)
    gap = words.claim_shown(yardstick.claimable_c, units) - words.claim_shown(best.claimable_c, units)
    if gap < -0.05:
        return (
            f"No candidate can be claimed hardier than the check {_who(yardstick)} ({_figure(yardstick, units)}); "
            f"next comes {subject}, {_figure(best, units)}"
        )
    # Two claimable figures side by side, not their difference: that would be a statement of its own, with an interval.
    against = ", the same as the best check" if gap < 0.05 else f"; the best check to {_figure(yardstick, units)}"
    return f"{subject} can be claimed hardy to {_figure(best, units)}{against}"


def _nothing_claimed(rows: Sequence[HasClaimable], units: str, freezes: int, coldest_c: float | None) -> str:
    measured = "no freeze measured"
    if freezes and coldest_c is not None:
        measured = f"{words.count(freezes, 'freeze')} measured, the coldest {words.temperature(coldest_c, units)}"
    if any(row.scores for row in rows):
        return f"No selection can be claimed hardy yet: none came through; {measured}"
    return f"No plant has a score that counts yet; {measured}"


def _coldest(rows: Sequence[HasClaimable], units: str) -> tuple[HasClaimable, int]:
    """Find the row with the coldest printed figure, and how many others print the same."""
    best = min(rows, key=lambda row: (row.claimable_c, row.name, row.stock))
    printed = words.claim_number(best.claimable_c, units)
    return best, sum(words.claim_number(row.claimable_c, units) == printed for row in rows) - 1


def _figure(row: HasClaimable, units: str) -> str:
    return f"{words.claim_number(row.claimable_c, units)} °{units}"


def _who(row: HasClaimable) -> str:
    return f"{_cut(row.name)} {words.on_stock(_cut(row.stock))}"


def _cut(name: str) -> str:
    """Shorten a long name in the middle, since names differ at their ends."""
    return name if len(name) <= NAME_LONG else f"{name[: NAME_LONG // 2].rstrip()}…{name[-NAME_LONG // 2 :].lstrip()}"
