"""Ways to write a time: a cell's shape -> where the numbers of day, month, year, clock and offset stand in it.

In: shapes of cells (see :mod:`hardiness.read.slices`). Out: a :class:`Layout`, or None where a shape is no time. The
numbers themselves are read by :mod:`hardiness.read.moments`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import lru_cache

from hardiness.read.slices import Span

# What the code of a date means, apart from NO_DATE (a bare time of day) and EPOCH (the count itself is the instant).
NO_DATE, SETTLED, YEAR_LAST, YEAR_UNKNOWN, EPOCH = range(5)

# First letters of the months, lower case, in several languages. Names that are one month here and another there
# (listopad, lipanj) are left out; of two beginnings the longer one counts (Finnish marraskuu is no March).
_MONTHS = (
    ("jan", "jän", "gen", "ene", "sty", "tam"),
    ("feb", "fév", "fev", "lut", "hel"),
    ("mar", "mär", "mrz", "maa", "mrt"),
    ("apr", "avr", "abr", "kwi", "huh"),
    ("may", "mai", "mag", "maj", "mei", "tou"),
    ("jun", "juin", "giu", "cze", "kes", "meith"),
    ("jul", "juil", "lug", "hei"),
    ("aug", "aoû", "aou", "ago", "sie", "elo"),
    ("sep", "set", "wrz", "syy"),
    ("oct", "okt", "ott", "out", "paź", "lok"),
    ("nov", "marra"),
    ("dec", "dez", "déc", "dic", "gru", "jou"),
)
# Letters for zones that mean one offset. [h] CST, IST, BST and AST each mean several and are not accepted.
ZONE_LETTERS = {
    "utc": 0, "gmt": 0, "z": 0, "est": -5, "edt": -4, "cdt": -5, "mst": -7, "mdt": -6, "pst": -8, "pdt": -7,
    "akst": -9, "akdt": -8, "wet": 0, "west": 1, "cet": 1, "cest": 2, "eet": 2, "eest": 3, "aest": 10, "aedt": 11,
    "nzst": 12, "nzdt": 13, "jst": 9, "mez": 1, "mesz": 2, "awst": 8, "sast": 2, "msk": 3, "hst": -10,
}  # fmt: skip

# Words of a 12-hour clock, before the hour and behind the minutes.
_HALVES_BEFORE = {"am": "a", "pm": "p", "午前": "a", "午後": "p", "上午": "a", "下午": "p", "오전": "a", "오후": "p"}
_HALVES_AFTER = {"πμ": "a", "μμ": "p", "π.μ.": "a", "μ.μ.": "p", "ΠΜ": "a", "ΜΜ": "p"}
# Days of the week, cut anywhere behind the bar; one that stands before a date says nothing new. Other words before a
# date do: "Min 14.01.2023" is a line of a summary.
_WEEKDAYS = (
    "mon|day tue|sday wed|nesday thu|rsday fri|day sat|urday sun|day "
    "mo|ntag di|enstag mi|ttwoch do|nnerstag fr|eitag sa|mstag so|nntag so|nnabend "
    "lun|di mar|di mer|credi jeu|di ven|dredi sam|edi dim|anche "
    "lun|es mar|tes mié|rcoles mie|rcoles jue|ves vie|rnes sáb|ado sab|ado dom|ingo "
    "lun|edì lun|edi mar|tedì mar|tedi mer|coledì mer|coledi gio|vedì gio|vedi ven|erdì ven|erdi dom|enica "
    "seg|unda ter|ça ter|ca qua|rta qui|nta sex|ta "
    "ma|andag di|nsdag wo|ensdag do|nderdag vr|ijdag za|terdag zo|ndag "
    "pon|iedziałek wt|orek śr|oda czw|artek pt pią|tek sob|ota nie|dziela "
    "mån|dag tis|dag ons|dag tor|sdag fre|dag lör|dag sön|dag man|dag tir|sdag lør|dag søn|dag"
)


def _utf8(text: str) -> str:
    """Write a text so that a pattern of Latin-1 characters matches its bytes in UTF-8."""
    return text.encode().decode("latin-1")


def _any_of(words: Iterable[str]) -> str:
    return "|".join(_utf8(re.escape(word)) for word in words)


def _cut_anywhere(name: str) -> str:
    """Write a pattern for a name that may end anywhere behind its bar."""
    least, _, rest = name.partition("|")
    return _utf8(least) + "".join(f"(?:{_utf8(letter)}" for letter in rest) + ")?" * len(rest)


_SPACE = r"(?:[ \r]|\xc2\xa0|\xe2\x80\xaf|\xe2\x80\x89)"
_LETTER = r"(?:[a-z]|[\xc3-\xc5][\x80-\xbf])"
_NAME = rf"(?P<name>{_LETTER}{{3,12}})"
_OF = r"(?: del? )"  # 14 de enero de 2023
_SEPARATOR = r"[-/.] ?"
_ORDINAL = r"(?:st|nd|rd|th|\.)?"
_DATES = {
    "digits": (r"(?P<year>0000)(?P<month>00)(?P<day>00)", SETTLED),
    "year first": (rf"(?P<year>0000)(?P<s>{_SEPARATOR}|{_SPACE})(?P<month>00?)(?P=s)(?P<day>00?)\.?", SETTLED),
    "year last": (rf"(?P<first>00?)(?P<s>{_SEPARATOR}|{_SPACE})(?P<second>00?)(?P=s)(?P<year>0000)\.?", YEAR_LAST),
    "short year": (rf"(?P<first>00?)(?P<s>{_SEPARATOR})(?P<second>00?)(?P=s)(?P<year>00)", YEAR_UNKNOWN),
    "day name": (rf"(?P<day>00?){_ORDINAL}(?:{_OF}|[-/ ]?){_NAME}(?:{_OF}|[-/ .,]{{0,2}})(?P<year>0000|00)", SETTLED),
    "name day": (rf"{_NAME}[-/ .]{{1,2}}(?P<day>00?){_ORDINAL}[-/ ,]{{1,2}}(?P<year>0000|00)", SETTLED),
    "year name": (rf"(?P<year>0000)[-/ ]?{_NAME}[-/ .]{{0,2}}(?P<day>00?)", SETTLED),
    "ordinal": (r"(?P<year>0000)-(?P<day_of_year>000)", SETTLED),
    "year sign": (_utf8("(?P<year>0000)年 ?(?P<month>00?)月 ?(?P<day>00?)日"), SETTLED),
}  # fmt: skip
_WEEKDAY = rf"(?:(?:{'|'.join(map(_cut_anywhere, _WEEKDAYS.split()))})(?:-feira)?(?!{_LETTER})[.,]?[ ]{{0,2}})?"
_NOON = rf"(?:[ap]\.? ?m\.?|[ap]|{_any_of(_HALVES_AFTER)})"
_CLOCK = (
    rf"(?:(?P<before>{_any_of(_HALVES_BEFORE)}){_SPACE}?)?(?P<hour>00?)(?P<c>[:.h])(?P<minute>00)"
    rf"(?:(?:(?P=c)|:)(?P<second_of_minute>00)(?:[.,:](?P<fraction>0{{1,9}}))?)?(?:{_SPACE}{{0,2}}(?P<after>{_NOON}))?"
    rf"(?:{_SPACE}{{0,2}}(?:uhr|hrs?|h)\.?)?"
)
_PLAIN_CLOCK = _CLOCK.replace("[:.h]", "[:h]")  # alone, 06.05 is a number and 06.05.21 a date
_HOUR_SIGN = rf"(?:{_any_of('時时')})"
_SIGN_CLOCK = (
    rf"(?:(?P<before>{_any_of(_HALVES_BEFORE)}){_SPACE}?)?(?P<hour>00?){_HOUR_SIGN} ?(?P<minute>00?){_utf8('分')}"
    rf"(?: ?(?P<second_of_minute>00?){_utf8('秒')})?"
)
_HYPHEN_CLOCK = r"(?P<hour>00)-(?P<minute>00)(?:-(?P<second_of_minute>00))?"  # in names of files
_BARE_HOUR = rf"(?P<hour>00?){_SPACE}?(?:h|hs|hrs?|uhr|{_HOUR_SIGN})\.?"
_DIGIT_CLOCK = r"(?P<hour>00)(?P<minute>00)(?P<second_of_minute>00)?"
_OFFSET = (
    rf"(?:{_SPACE}{{0,2}}(?:(?P<utc>utc|gmt)? ?(?P<sign>\+|-|\xe2\x88\x92)"
    r"(?P<offset_hour>00|(?(utc)0|00))(?::?(?P<offset_minute>00))?"
    rf"|(?P<letters>{'|'.join(sorted(ZONE_LETTERS, key=len, reverse=True))}))"
    rf"(?:{_SPACE}\([a-z .,'-]{{2,50}}\))?)?"  # and the zone's long name
)
_LETTERS = rf"(?:{_SPACE}{{0,2}}(?P<letters>{'|'.join(sorted(ZONE_LETTERS, key=len, reverse=True))}))?"
_AT = rf"(?:um|at|klo|kl\.?|kell|a las|alle|alle ore|ore|om|{_any_of(('à', 'às', 'o'))})"
_JOIN = rf"(?:{_SPACE}{{0,2}}[t,_]{_SPACE}{{0,2}}|{_SPACE}{{1,3}}|[-/:]|,?{_SPACE}{_AT}{_SPACE})"


def _pattern(text: str) -> re.Pattern[bytes]:
    return re.compile(rf'{_SPACE}{{0,20}}"?{_SPACE}{{0,2}}{text}{_SPACE}{{0,2}}"?{_SPACE}{{0,20}}'.encode("latin-1"))


_PATTERNS: tuple[tuple[re.Pattern[bytes], int], ...] = (
    (_pattern(r"(?P<epoch>0{10})(?:[.,](?P<fraction>0{1,9}))?"), EPOCH),
    (_pattern(r"(?P<epoch>0{10})(?P<fraction>0{6}|0{9})"), EPOCH),  # microseconds, nanoseconds
    (_pattern(r"(?P<epoch_ms>0{13})(?:[.,](?P<fraction>0{1,6}))?"), EPOCH),
    (_pattern(_PLAIN_CLOCK + _OFFSET), NO_DATE),
    *((_pattern(_WEEKDAY + date), kind) for date, kind in _DATES.values()),
    *((_pattern(_WEEKDAY + date + _JOIN + _CLOCK + _OFFSET), kind) for date, kind in _DATES.values()),
    *((_pattern(_CLOCK + rf"{_SPACE}{{1,3}}" + _WEEKDAY + date), kind) for date, kind in _DATES.values()),
    (_pattern(_DATES["digits"][0] + r"[t _-]?" + _DIGIT_CLOCK + _OFFSET), SETTLED),
    (_pattern(_DATES["year sign"][0] + rf"{_SPACE}{{0,2}}" + _SIGN_CLOCK), SETTLED),
    (_pattern(_DATES["year first"][0] + "[_t]" + _HYPHEN_CLOCK + _OFFSET), SETTLED),
    (_pattern(_WEEKDAY + rf"{_NAME} {{1,2}}(?P<day>00?) {_CLOCK}{_OFFSET} (?P<year>0000)"), SETTLED),
    (_pattern(_SIGN_CLOCK), NO_DATE),
)
_CLOCK_PATTERNS = tuple(
    (_pattern(text), NO_DATE) for text in (_CLOCK + _OFFSET, _DIGIT_CLOCK + _LETTERS, _SIGN_CLOCK, _BARE_HOUR)
)


@dataclass(frozen=True, slots=True)
class Layout:
    """Where the parts of a time stand in all cells of one shape.

    Parameters
    ----------
    kind : int
        ``NO_DATE``, ``SETTLED``, ``YEAR_LAST``, ``YEAR_UNKNOWN`` or ``EPOCH``.
    parts : dict of str to (int, int)
        Byte ranges of the groups of digits.
    month : int, optional
        The month, where it is named.
    half : str, optional
        ``a`` before noon, ``p`` after it, on a 12-hour clock.
    offset : int, optional
        Minutes east of UTC that letters name, or the sign (1, -1) of an offset in digits.
    """

    kind: int
    parts: dict[str, Span] = field(hash=False)
    month: int | None = None
    half: str | None = None
    offset: int | None = None

    @property
    def has_date(self) -> bool:
        """Whether a day is named."""
        return self.kind != NO_DATE

    @property
    def has_clock(self) -> bool:
        """Whether a time of day is named."""
        return self.kind == EPOCH or "hour" in self.parts


@lru_cache(maxsize=8192)
def layout_of(shape: bytes, *, is_clock: bool = False) -> Layout | None:
    """Understand a shape as a time.

    Parameters
    ----------
    shape : bytes
        A cell with every digit as ``0`` and letters in lower case.
    is_clock : bool
        Whether the column is known to hold times of day: then ``06.05.00`` and ``060500`` are such.

    Returns
    -------
    Layout or None
        None where it is no time.

    Examples
    --------
    >>> layout = layout_of(b"00/00/0000 0:00 pm")
    >>> layout.kind == YEAR_LAST, layout.half, layout.parts["minute"]
    (True, 'p', (13, 15))
    """
    for pattern, kind in _CLOCK_PATTERNS if is_clock else _PATTERNS:
        match = pattern.fullmatch(shape)
        if match is None:
            continue
        found = {name: text for name, text in match.groupdict().items() if text}
        month = month_named(found["name"].decode("utf-8", "replace")) if "name" in found else None
        if "name" in found and month is None:
            continue
        offset: int | None = None
        if "letters" in found:
            offset = 60 * ZONE_LETTERS[found["letters"].decode()]
        elif "sign" in found:
            offset = 1 if found["sign"] == b"+" else -1
        half = _half_of((found.get("before") or found.get("after") or b"").decode())
        parts = {name: match.span(name) for name, text in found.items() if set(text) == {ord("0")}}
        if kind == YEAR_UNKNOWN and parts["first"][1] - parts["first"][0] == 1:
            kind = YEAR_LAST  # a year is not written with one digit
        return Layout(kind, parts, month, half, offset)
    return None


def _half_of(word: str) -> str | None:
    return (_HALVES_BEFORE | _HALVES_AFTER).get(word, word[:1]) or None


def month_named(name: str) -> int | None:
    """Tell which month a name means, by its first letters.

    Parameters
    ----------
    name : str
        In lower case.

    Returns
    -------
    int or None
        1 to 12.

    Examples
    --------
    >>> month_named("mars"), month_named("marraskuuta"), month_named("march"), month_named("foo")
    (3, 11, 3, None)
    """
    found = [(len(start), n) for n, starts in enumerate(_MONTHS, start=1) for start in starts if name.startswith(start)]
    return max(found)[1] if found else None
