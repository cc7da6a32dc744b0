"""Marks on readings: letters and signs glued to numbers (``-2.1*``), or in a column of flags beside them.

In: what the user says a mark means, shapes of cells. Out: the number under a mark. What a mark means is never guessed:
a number with one is refused until it is said, and flags beside sound numbers are counted and told.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from functools import lru_cache

from hardiness.errors import InputError, Problem
from hardiness.read.degrees import Number, number_of
from hardiness.read.labels import quote
from hardiness.words import count

READING, NONE = "reading", "none"
_MARKED = re.compile(
    rb'[ "]*(?P<before>[<>~*?!^#$&\[]{0,3}) ?[-+0.,\xe2\x80-\xbf]+[ ]?(?P<after>[a-z]|[<>~*?!^#$&\]]{1,3}|)[ "]*'
)
_LONGEST = 12  # characters of a mark
_SHOWN = 6  # different flags that are told one by one


def parse_marks(text: str | None) -> dict[str, bool]:
    """Read what marks mean.

    Parameters
    ----------
    text : str or None
        ``MARK=reading`` or ``MARK=none``, several with semicolons between.

    Returns
    -------
    dict of str to bool
        By mark, in lower case: whether numbers with it are readings.

    Raises
    ------
    InputError
        If one is said in another way, or both ways.

    Examples
    --------
    >>> parse_marks("*=reading; E=none")
    {'*': True, 'e': False}
    """
    marks: dict[str, bool] = {}
    for each in filter(None, (part.strip(" \"'") for part in (text or "").split(";"))):
        mark, equals, meaning = (part.strip() for part in each.rpartition("="))
        if not equals or not mark or len(mark) > _LONGEST or meaning.casefold() not in (READING, NONE):
            accepted = f"a mark and what it means, such as '*={READING}' or 'E={NONE}'"
            raise InputError(Problem(f"{quote(each)} for --mark", accepted))
        means = meaning.casefold() == READING
        if marks.setdefault(mark.casefold(), means) != means:
            raise InputError(Problem(f"two meanings of {quote(mark)} for --mark", "one"))
    return marks


@lru_cache(maxsize=1024)
def marked_number(shape: bytes) -> tuple[str, Number] | None:
    """Understand a shape as a number with a mark before or behind it.

    Parameters
    ----------
    shape : bytes
        A cell with every digit as ``0`` and letters in lower case.

    Returns
    -------
    mark : str
    number : Number
        None instead of both where it is something else.

    Examples
    --------
    >>> [marked_number(shape)[0] for shape in (b"-0.0*", b"-0.0 e", b"<-00.0", b"[0.0]")]
    ['*', 'e', '<', '[]']
    >>> marked_number(b"0.0 mv"), marked_number(b"(0.0)")  # round brackets may be a minus sign
    (None, None)
    """
    match = _MARKED.fullmatch(shape)
    if match is None or not (match["before"] or match["after"]):
        return None
    bare = bytearray(shape)
    for group in ("before", "after"):
        first, stop = match.span(group)
        bare[first:stop] = b" " * (stop - first)
    number = number_of(bytes(bare))
    return None if number is None else ((match["before"] + match["after"]).decode(), number)


def options_for(mark: str) -> str:
    """Write how to say what a mark means.

    Parameters
    ----------
    mark : str

    Returns
    -------
    str
    """
    return f"--mark '{mark}={READING}' if numbers with it count as readings, --mark '{mark}={NONE}' if they do not"


def say_marks(seen: Mapping[str, list[int]], marks: Mapping[str, bool], column: str, whose: str = "") -> list[str]:
    """Say what became of numbers with marks.

    Parameters
    ----------
    seen : mapping of str to [int, int]
        By mark its first row, and the number of rows with a temperature that have it.
    marks : mapping of str to bool
        What each means, as far as it was said.
    column : str
        Where they stand.
    whose : str
        For whose file it was said, to end the sentence with, where it was not for this one.

    Returns
    -------
    list of str

    Examples
    --------
    >>> say_marks({"e": [2, 3]}, {"e": False}, "Temp", ", as for the last file of L1")
    ["'e' in 'Temp' means no reading, in 3 rows, as for the last file of L1."]
    """
    said = []
    for mark, (_, size) in seen.items():
        if mark.casefold() in marks:
            means = "marks readings that count" if marks[mark.casefold()] else "means no reading"
            said.append(f"{quote(mark)} in '{column}' {means}, in {count(size, 'row')}{whose}.")
    open_ = {mark: size for mark, (_, size) in seen.items() if mark.casefold() not in marks}
    told_some = len(open_) < len(seen)
    if open_:
        told = ", ".join(f"{quote(mark)} in {count(size, 'row')}" for mark, size in list(open_.items())[:_SHOWN])
        more = f" and {len(open_) - _SHOWN} more" if len(open_) > _SHOWN else ""
        rare = min(open_, key=open_.__getitem__)
        hint = "" if told_some else f" If a mark means no reading, say so: --mark '{rare}={NONE}'."
        said.append(f"'{column}' marks readings ({told}{more}); they are read all the same.{hint}")
    return said


def say_unseen(marks: Mapping[str, bool], seen: Iterable[str], column: str) -> list[str]:
    """Say which marks that were given now stand nowhere: a slip there would leave readings in that are none.

    Parameters
    ----------
    marks : mapping of str to bool
        As :func:`parse_marks` gives them.
    seen : iterable of str
        Those that stand beside temperatures.
    column : str
        Of temperatures.

    Returns
    -------
    list of str

    Examples
    --------
    >>> say_unseen({"e": False, "*": True}, ["E"], "Temp")
    ["'*' marks no temperature of 'Temp'."]
    """
    there = {mark.casefold() for mark in seen}
    return [f"{quote(mark.upper())} marks no temperature of '{column}'." for mark in marks if mark not in there]
