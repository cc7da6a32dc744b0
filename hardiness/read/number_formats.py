"""A number and its number format -> the text that a spreadsheet shows for it.

Enough of the format language for labels: a typed 007 is the number 7 under the format ``000``. Formats are described
in ECMA-376 part 1, section 18.8.31.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import ROUND_HALF_UP, Decimal


def general_number(value: float) -> str:
    """Write a number without a format: whole numbers without a point, others in shortest decimals.

    Parameters
    ----------
    value : float
        The number.

    Returns
    -------
    str

    Examples
    --------
    >>> general_number(7.0), general_number(0.1), general_number(-12.25)
    ('7', '0.1', '-12.25')
    """
    if float(value).is_integer() and abs(value) < 1e15:
        return str(int(value))
    return f"{value:.15g}"


_TOKEN = re.compile(r'"([^"]*)"|\\(.)|_.|\*.|(\[[^\]]*\])|([0#?.,])|([-+$():!^&\'~{}<>= ])|(.)', re.DOTALL)


def formatted_number(value: float, number_format: str) -> str | None:
    """Write a number as a cell with this number format shows it.

    Digits (``0``, ``#``, ``?``), decimals, thousands and literal text are understood (ECMA-376 part 1, 18.8.31);
    percentages, exponents, fractions, conditions and dates are not.

    Parameters
    ----------
    value : float
        The cell's number.
    number_format : str
        Its number format, such as ``000`` or ``"OL-"00``.

    Returns
    -------
    str or None
        None where the format is ``General`` or not understood.

    Examples
    --------
    >>> formatted_number(7, "000"), formatted_number(7, '"OL-"00'), formatted_number(1207, "00-00")
    ('007', 'OL-07', '12-07')
    """
    sections = re.findall(r'(?:"[^"]*"|\\.|[^;"\\])+', number_format)
    if not sections or number_format.strip().lower() in ("general", "@"):
        return None
    negative_section = value < 0 and len(sections) > 1
    tokens = _tokens(sections[1] if negative_section else sections[0])
    if tokens is None:
        return None
    marks = "".join(mark for mark, _ in tokens if mark)
    whole, _, decimals = marks.partition(".")
    if not whole.strip(",") or "." in decimals or "," in decimals or whole.endswith(",") or whole.startswith(","):
        return None
    places = Decimal(1).scaleb(-len(decimals))
    digits = f"{abs(Decimal(repr(value))).quantize(places, ROUND_HALF_UP):f}"
    left, _, right = digits.partition(".")
    text = _fill(tokens, "" if left == "0" else left, right, thousands="," in whole)
    return f"-{text}" if value < 0 and not negative_section else text


def _tokens(section: str) -> list[tuple[str, str]] | None:
    """Split a format into (digit mark, literal) pairs; None where it holds something else."""
    tokens: list[tuple[str, str]] = []
    for match in _TOKEN.finditer(section):
        quoted, escaped, bracket, mark, literal, other = match.groups()
        if other is not None or (bracket is not None and not bracket[1:-1].isalpha()):
            return None
        if mark is not None:
            tokens.append((mark, ""))
        elif (text := next((part for part in (quoted, escaped, literal) if part is not None), None)) is not None:
            tokens.append(("", text))
    return tokens


def _fill(tokens: Sequence[tuple[str, str]], left: str, right: str, *, thousands: bool) -> str:
    """Put the digits into their places, whole part from the right, decimals from the left."""
    marks = [mark for mark, _ in tokens if mark and mark != ","]
    holders = marks.index(".") if "." in marks else len(marks)
    padded = [""] * max(holders - len(left), 0) + list(left)
    surplus, placed = padded[: len(padded) - holders], padded[len(padded) - holders :]
    out: list[str] = []
    seen = 0
    for mark, literal in tokens:
        if not mark:
            out.append(literal)
        elif mark == ".":
            kept = right.rstrip("0") if set(marks[holders + 1 :]) <= {"#", "?"} else right
            out.append(f".{kept}" if kept else "")
            seen = len(marks)
        elif mark != "," and seen < holders:
            digit = placed[seen] or ("0" if mark == "0" else "")
            if seen == 0:
                digit = "".join(surplus) + digit
            if thousands and digit:
                to_come = holders - seen - 1
                digit = _with_commas(digit, to_come)
            out.append(digit)
            seen += 1
    return "".join(out)


def _with_commas(digits: str, to_come: int) -> str:
    """Put a comma after each digit that has a multiple of three digits to come."""
    last = len(digits) - 1
    return "".join(
        digit + ("," if (rest := to_come + last - index) and rest % 3 == 0 else "")
        for index, digit in enumerate(digits)
    )
