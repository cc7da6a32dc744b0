"""Texts that the print types can write: a name in another script stands as its number in the register, with a note."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from hardiness.figures.typeface import clean, writable
from hardiness.flow import Records
from hardiness.report.wording import glued

NOTE = (
    "A name that the print types cannot write stands here as its number in the register (no. 1 is the first); the page "
    "for the screen and the tables have it as it is recorded."
)
_UNWRITABLE_RUN = "(…)"  # a note in another script, in print


def numbered_names(records: Records) -> tuple[tuple[str, str], ...]:
    """List the names of a trial that the print types cannot write, each with what stands for it.

    Parameters
    ----------
    records : Records

    Returns
    -------
    tuple of (str, str)
        Name as recorded, and its number: ``selection no. 3``.
    """
    plants = records.plants
    groups = (
        ("selection", [*records.selections["selection"], *plants["selection"]]),
        ("plant", [*plants["plant"]]),
        ("rootstock", [*plants["rootstock"]]),
        ("sensor", [*records.sensors["sensor"], *records.readings]),
        ("block", [*plants["block"]]),
    )
    return tuple(pair for kind, names in groups for pair in _numbered(kind, names))


def _numbered(kind: str, names: Iterable[str]) -> list[tuple[str, str]]:
    known = list(dict.fromkeys(name for name in names if name))
    return [(name, f"{kind} no. {number}") for number, name in enumerate(known, 1) if not writable(clean(name))]


class Printable:
    """Turns texts into what can be printed, and remembers whether any had to be changed.

    Parameters
    ----------
    names : sequence of (str, str)
        From :func:`numbered_names`.

    Attributes
    ----------
    changed : bool
        Whether a text had to be changed: then :data:`NOTE` belongs on the page.

    Examples
    --------
    >>> printable = Printable((("橄榄", "selection no. 2"),))
    >>> printable("橄榄 on stock P"), printable("OL-07"), printable.changed
    ('selection no. 2 on stock P', 'OL-07', True)
    """

    def __init__(self, names: Sequence[tuple[str, str]]) -> None:
        # The longest first: a name may hold another.
        self._names = sorted(names, key=lambda pair: (-len(pair[0]), pair[0]))
        self.changed = False

    def __call__(self, text: str) -> str:
        """Write a text with what the print types have.

        Parameters
        ----------
        text : str

        Returns
        -------
        str
        """
        text = clean(text)
        if writable(text):
            return glued(text)
        self.changed = True
        for name, stand_in in self._names:
            text = text.replace(clean(name), stand_in)
        if writable(text):
            return glued(text)
        kept = "".join(letter if writable(letter) else "\0" for letter in text)
        return glued(re.sub(r"\0(?:[\s\0]*\0)?", _UNWRITABLE_RUN, kept))
