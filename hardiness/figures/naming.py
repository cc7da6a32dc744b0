"""Names as a figure can write them: shortened to their room, told apart, numbered where the fonts lack their letters.

In: names as recorded. Out: what stands on the page, and the sentence that explains a number.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from hardiness import words
from hardiness.figures.typeface import SEMIBOLD, shorten, wrap, writable

UNWRITABLE = "(a name the fonts here cannot write)"


def printable(text: str) -> str:
    """Give a text as the fonts can write it: a word they lack is said to be one.

    Parameters
    ----------
    text : str

    Returns
    -------
    str

    Examples
    --------
    >>> printable("Ελιά-3 stands"), printable("橄榄-7, alone, stands")
    ('Ελιά-3 stands', '(a name the fonts here cannot write), alone, stands')
    """
    if writable(text):
        return text
    out: list[str] = []
    for word in text.split(" "):
        rest = word.rstrip(",.;:")
        shown = word if writable(word) else UNWRITABLE + word[len(rest) :]
        if out and out[-1] == UNWRITABLE and shown.startswith(UNWRITABLE):
            out[-1] = shown
        else:
            out.append(shown)
    return " ".join(out)


def event_words(event: str) -> str:
    """Write the name of an event as a day.

    Parameters
    ----------
    event : str
        The date of its first freeze.

    Returns
    -------
    str

    Examples
    --------
    >>> event_words("2031-12-14")
    '14 Dec 2031'
    """
    try:
        day = dt.date.fromisoformat(event[:10])
    except ValueError:
        return event
    return f"{words.day(day)} {day.year}"


def short_names(names: Sequence[str], room: float, size: float, weight: int = SEMIBOLD) -> list[str]:
    """Fit names into a column: shortened in the middle, and told apart by a number where two look the same.

    Parameters
    ----------
    names : sequence of str
        As recorded, in the order of the rows.
    room : float
        [mm]
    size : float
        [pt]
    weight : int
        400 or 600.

    Returns
    -------
    list of str
        A name that the fonts cannot write is ``no. `` and the number of its row.
    """
    texts = [
        shorten(name, room, size, weight) if writable(name) and name else f"no. {row}"
        for row, name in enumerate(names, 1)
    ]
    first: dict[str, int] = {}
    for row, name in enumerate(names, 1):
        first.setdefault(name, row)
    by_text: dict[str, set[str]] = {}
    for text, name in zip(texts, names, strict=True):
        by_text.setdefault(text, set()).add(name)
    return [
        shorten(name, room, size, weight, tail=f" ({first[name]})") if len(by_text[text]) > 1 else text
        for text, name in zip(texts, names, strict=True)
    ]


def heading_lines(text: str, room: float, size: float, most: int) -> list[str]:
    """Break a heading into lines; what is too long for them is shortened in the last.

    Parameters
    ----------
    text : str
    room : float
        Of a line. [mm]
    size : float
        [pt]
    most : int
        Lines.

    Returns
    -------
    list of str
    """
    lines = wrap(printable(text), room, size, SEMIBOLD)
    if len(lines) > most:
        lines[most - 1 :] = [" ".join(lines[most - 1 :])]
    return [shorten(line, room, size, SEMIBOLD) for line in lines]


def grade_heading(grade: int, name: str, *, last: bool) -> str:
    """Name the plants that reached a grade.

    Parameters
    ----------
    grade : int
    name : str
        Of the grade.
    last : bool
        Whether none is worse.

    Returns
    -------
    str

    Examples
    --------
    >>> grade_heading(1, "leaves marked, wood sound", last=False), grade_heading(5, "dead", last=True)
    ('1 or worse: leaves marked, wood sound', '5: dead')
    """
    return f"{grade}{'' if last else ' or worse'}: {name}"
