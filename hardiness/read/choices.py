"""What a file may leave open, and what was chosen for the last files of its sensor.

In: choices kept from files read before. Out: the same choices, to be used where the file at hand leaves the question
open and the user says nothing; whoever uses one says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields


@dataclass(frozen=True, slots=True)
class Choices:
    """Choices for a sensor's files.

    Parameters
    ----------
    timezone : str, optional
        Zone or fixed offset of the times.
    unit : str, optional
        ``C``, ``F`` or ``K``.
    time_column, temperature_column : str, optional
        Names (or numbers) of columns.
    date_order : str, optional
        ``DMY``, ``MDY`` or ``YMD``.
    missing : str, optional
        Numbers that stand for "no reading", semicolons between.
    marks : str, optional
        What marks on readings mean: see :func:`hardiness.read.marks.parse_marks`.
    source : str
        Where they come from, to end a sentence with: ``the last file of L1``.
    """

    timezone: str | None = None
    unit: str | None = None
    time_column: str | None = None
    temperature_column: str | None = None
    date_order: str | None = None
    missing: str | None = None
    marks: str | None = None
    source: str = ""

    @classmethod
    def of(cls, options: Mapping[str, str], source: str) -> Choices:
        """Make choices of options as they are kept; what is no choice of these is passed over.

        Parameters
        ----------
        options : mapping
            By name.
        source : str
            Where they come from.

        Returns
        -------
        Choices

        Examples
        --------
        >>> Choices.of({"unit": "F", "station": "K12"}, "the last file of L1").unit
        'F'
        """
        names = {each.name for each in fields(cls)} - {"source"}
        return cls(**{name: value for name, value in options.items() if name in names}, source=source)


NO_CHOICES = Choices()
