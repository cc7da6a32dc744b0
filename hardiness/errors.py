"""The error family, and a problem with a place: file, row, column, what was found, what is accepted.

Whatever is wrong with input is a :class:`Problem`; readers gather all problems of a file and raise once.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault in the input, with its place and the way out.

    Parameters
    ----------
    found : str
        What stands there, as a person would read it.
    accepted : str
        What would have been accepted.
    file : str, optional
        Name of the file as the user gave it.
    row : int or str, optional
        Row as a spreadsheet counts it (the header is row 1), or a span such as ``"1204-1391"``.
    column : str, optional
        Column name.
    hint : str, optional
        The next step, or a near name.

    Examples
    --------
    >>> print(Problem("'6'", "a grade 0-5", file="scores.csv", row=18, column="grade"))
    scores.csv, row 18, column grade: found '6'; accepted: a grade 0-5.
    """

    found: str
    accepted: str
    file: str | None = None
    row: int | str | None = None
    column: str | None = None
    hint: str | None = None

    def __str__(self) -> str:
        rows = None if self.row is None else f"{'rows' if isinstance(self.row, str) else 'row'} {self.row}"
        place = ", ".join(part for part in (self.file, rows, f"column {self.column}" if self.column else None) if part)
        text = f"found {self.found}; accepted: {self.accepted}."
        if self.hint:
            text += f" {self.hint}"
        return f"{place}: {text}" if place else text


class HardinessError(Exception):
    """Any error this package raises on purpose."""


class InputError(HardinessError):
    """The input is at fault; nothing was stored.

    Parameters
    ----------
    problems : Problem, str, or iterable of Problem
        All faults found. A plain sentence is allowed where no place can be named.

    Attributes
    ----------
    problems : tuple of Problem or str
    """

    def __init__(self, problems: Problem | str | Iterable[Problem | str]) -> None:
        self.problems: tuple[Problem | str, ...] = (
            (problems,) if isinstance(problems, Problem | str) else tuple(problems)
        )
        super().__init__("\n".join(str(problem) for problem in self.problems))


class NothingYetError(InputError):
    """The trial holds nothing yet that an answer could be made of: no fault of anybody's, and nothing was written."""


class UnitsError(InputError):
    """A number without its unit, or with one that does not fit."""


class FitError(InputError):
    """The observations cannot be fitted."""


class StoreError(HardinessError):
    """A fault of the machine or of the stored trial: locked, read-only, disk full, a part that is gone."""


def near_name(found: str, known: Sequence[str]) -> str | None:
    """Offer the known name closest to what was found.

    Parameters
    ----------
    found : str
        The unknown name.
    known : sequence of str
        All names that would be accepted.

    Returns
    -------
    str or None
        ``"Did you mean 'x'?"``, or None where nothing is close.

    Examples
    --------
    >>> near_name("Selecton", ["selection", "plant"])
    "Did you mean 'selection'?"
    """
    plain = {name.casefold(): name for name in known}
    close = difflib.get_close_matches(found.casefold(), list(plain), n=1, cutoff=0.6)
    return f"Did you mean '{plain[close[0]]}'?" if close else None
