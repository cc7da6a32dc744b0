"""The unit of temperatures, and what they are counted in, as a file's header and the lines above it say.

In: the header of a column, a line of the preamble. Out: ``degC``, ``degF`` or ``kelvin``, and the scale where a header
says that numbers are tenths of a degree. A bare letter counts only where it plainly belongs to a temperature.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from hardiness.units import UNIT_NAMES

# What may follow a unit in a name: which of a step's values it is.
_STATISTIC = (
    r"(?:[ _.\-]?(?:avg|average|mean|min|max|smp|sample|inst|now|value|reading|[x×*]\s?10+)\.?)?(?:[_.]\d{1,2})?"
)
_TENS = r"(?P<tens>10{1,3})(?!\d)"
_DEGREE = r"(?:[°º˚]|deg(?:rees?|\.)?)"
# A unit in a header: with a degree sign (whatever it was garbled to), in brackets, as a word, beside a scale ...
_SAID = re.compile(
    r"(?:[°º˚Âø¡\ufffd]{1,2}|deg(?:rees?|\.)?[ _]?)[ ]?([CFK])(?![A-Za-z0-9])"
    r"|[(\[]\s*(?:in |d)?([CFK])\s*[)\]]|(celsius|fahrenheit|kelvin|centigrade)|([℃℉])"
    r"|(?<![A-Za-z])([CFK])\s?(?:[x×*]\s?(?:10|0[.,]0*1)|/\s?10)|(?:10\s?[x×*]|1\s?/\s?10+|0[.,]0*1)\s?([CFK])(?![A-Za-z])",
    re.IGNORECASE,
)
# ... or as a bare letter at the end of a name that speaks of temperature ("temp_c", "T, F"), also glued to it
# ("OutdoorTempF", "AirTC_Avg"), or before it ("F Temp").
_BARE = tuple(
    re.compile(text, re.IGNORECASE)
    for text in (
        rf"(?:temp|tª|\bt)[^()\[\]]*[\s,;:/_.\-]([CFK]){_STATISTIC}$",
        rf"(?:temp(?:erature)?|tmp|air_?t)_?\d*([CFK]){_STATISTIC}$",
        rf"\bt_?\d+_?([CF]){_STATISTIC}$",
        r"^([CF])[\s_.\-]+(?:[a-z]+[\s_.\-]+)?temp",
    )
)
_SYSTEMS = {
    "imperial": "degF", "english": "degF", "us customary": "degF", "u.s. customary": "degF", "metric": "degC",
    "centigrade": "degC",
}  # fmt: skip
_UNIT_LINES = tuple(
    re.compile(text, re.IGNORECASE)
    for text in (
        r"(?:\bunits?\b(?: of (?:temp|measure)\w*)?|\btemp\w*[ _]scale|\bdegrees)"
        r"[^A-Za-z0-9]{1,6}(?:deg(?:rees?)?[ .]*)?"
        rf"([CFK]|celsius|fahrenheit|kelvin|{'|'.join(map(re.escape, _SYSTEMS))})\b",
        r"\btemperatures?\b[^,;.]{0,20} in (?:deg(?:rees?)?[ .]*|[°º]\s?)?([CFK]|celsius|fahrenheit|kelvin)"
        r"(?=\W*$|[,.;)])",
    )
)
_LETTER_OF_A_ROW = re.compile(r"(.*?)(?:[\s_.\-]+([A-Za-z])|(?<=[a-z\d])([A-Z]))")
_NAMED_SCALES = {"tenth": 10, "hundredth": 100, "thousandth": 1000, "deci": 10, "centi": 100, "milli": 1000, "m": 1000,
                 "d": 10}  # fmt: skip
_SCALES = tuple(
    re.compile(text, re.IGNORECASE)
    for text in (
        r"(?<![A-Za-z])(?P<name>tenth|hundredth|thousandth)s?(?![A-Za-z])",
        r"(?<![A-Za-z])(?P<name>deci|centi|milli)[- ]?(?:deg|celsius|fahrenheit|kelvin)",
        r"(?<![A-Za-z])(?P<name>m)(?:°|º|deg) ?[CFK](?![A-Za-z])",
        r"[(\[]\s*(?P<name>d)(?:°|º|deg)? ?[CFK]\s*[)\]]",
        r"10\s?\^\s?[-−](?P<power>[123])\s?(?:[°º]|deg|[CFK](?![A-Za-z]))",
        rf"1\s?/\s?{_TENS} ?(?:of )?(?:an? )?(?:{_DEGREE}|[CFK](?![A-Za-z]))",
        rf"(?<![A-Za-z])[CFK]\s?/\s?{_TENS}",
        rf"(?<![A-Za-z0-9])[x×*]\s?{_TENS}",
        rf"(?<=[CFK])[x×*]{_TENS}",
        rf"(?<![\d.,]){_TENS}\s?[x×*]\s?(?:{_DEGREE}\s?)?[CFK]?(?![A-Za-z])",
        r"[x×*]\s?0[.,](?P<zeros>0{0,2})1(?!\d)",
    )
)  # fmt: skip
# "0.1 °C" is a scale where numbers are whole, and the last digit where they are not.
_STEP = re.compile(rf"(?<![\d.,])0[.,](?P<zeros>0{{0,2}})1\s?(?:{_DEGREE}\s?[CFK]?|[CFK])(?![A-Za-z])", re.IGNORECASE)
_NO_SCALE = re.compile(r"±|\+/?-|accura|resol|precis|\bres\b|\bstep\b|toler", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Scale:
    """What the numbers of a column are counted in.

    Parameters
    ----------
    parts : int
        Numbers a degree: 10 where they are tenths.
    sure : bool
        Whether the header can mean nothing else; else it is so only where all numbers are whole.
    """

    parts: int
    sure: bool


def units_in(text: str) -> list[str]:
    """Find the temperature units that a header cell names.

    Parameters
    ----------
    text : str
        The header of a column.

    Returns
    -------
    list of str
        ``"degC"``, ``"degF"``, ``"kelvin"``, each once; a sign, a bracket or a word counts before a bare letter.

    Examples
    --------
    >>> units_in("Temp (°F)"), units_in("Type K temperature, °C"), units_in("temp_c"), units_in("Temp (K-type)")
    (['degF'], ['degC'], ['degC'], [])
    >>> units_in("OutdoorTempF"), units_in("TdegF"), units_in("AirTC_Avg"), units_in("F Temp")
    (['degF'], ['degF'], ['degC'], ['degF'])
    """
    found = ["".join(groups) for groups in _SAID.findall(text)]
    if not found:
        found = [match[1] for pattern in _BARE if (match := pattern.search(text.strip()))]
    return list(dict.fromkeys(_unit(each) for each in found))


def is_letter_of_a_row(name: str, others: Sequence[str]) -> bool:
    """Tell whether the letter at the end of a name counts columns (``Temp A`` ... ``Temp F``) and is no unit.

    Parameters
    ----------
    name : str
        Of a column.
    others : sequence of str
        Names of all columns.

    Returns
    -------
    bool

    Examples
    --------
    >>> is_letter_of_a_row("Temp F", ["Temp E", "Temp F"]), is_letter_of_a_row("Temp F", ["Temp C", "Temp F"])
    (True, False)
    """
    if (mine := _LETTER_OF_A_ROW.fullmatch(name.strip())) is None or _SAID.search(name):
        return False
    row = [each for other in others if (each := _LETTER_OF_A_ROW.fullmatch(other.strip())) and each[1] == mine[1]]
    return any((each[2] or each[3]).upper() not in "CFK" for each in row)


def units_in_line(text: str) -> list[str]:
    """Find the temperature units that a line above the header names: only beside words such as "unit".

    Parameters
    ----------
    text : str

    Returns
    -------
    list of str
        As :mod:`hardiness.units` names them, each once.

    Examples
    --------
    >>> units_in_line("Unit: °F"), units_in_line("Alarm above 30 °C"), units_in_line("Unit name: F")
    (['degF'], [], [])
    >>> units_in_line("Units,Imperial"), units_in_line("All temperatures are in Fahrenheit.")
    (['degF'], ['degF'])
    """
    return list(dict.fromkeys(_unit(each) for pattern in _UNIT_LINES for each in pattern.findall(text)))


def unit_of_cell(text: str) -> str | None:
    """Read a cell that holds a unit alone.

    Parameters
    ----------
    text : str

    Returns
    -------
    str or None
        As :mod:`hardiness.units` names it; None where it is no unit of temperature.

    Examples
    --------
    >>> unit_of_cell("°F"), unit_of_cell("Deg. C"), unit_of_cell("(Fahrenheit)"), unit_of_cell("%")
    ('degF', 'degC', 'degF', None)
    """
    plain = re.sub(r"^(?:degrees?|deg)(?=[^a-z]|[cfk]$)|[\s.()\[\]°º˚Âø¡\ufffd]", "", text.strip(" \"'()[]").casefold())
    try:
        return _unit(plain)
    except KeyError:
        return None


def _unit(text: str) -> str:
    plain = text.lower()
    return _SYSTEMS[plain] if plain in _SYSTEMS else UNIT_NAMES[plain]


def scale_in(text: str) -> Scale | None:
    """Find what a header says its numbers are counted in, where that is not whole degrees.

    Parameters
    ----------
    text : str
        The header of a column.

    Returns
    -------
    Scale or None

    Examples
    --------
    >>> scale_in("Temp [C x 10]"), scale_in("Temp (0.1 °C)"), scale_in("Temp (±0.1 °C)"), scale_in("Temp (°C)")
    (Scale(parts=10, sure=True), Scale(parts=10, sure=False), None, None)
    """
    if _NO_SCALE.search(text):
        return None
    for pattern in _SCALES:
        if match := pattern.search(text):
            groups = match.groupdict()
            if name := groups.get("name"):
                return Scale(_NAMED_SCALES[name.lower()], sure=True)
            if power := groups.get("power"):
                return Scale(10 ** int(power), sure=True)
            tens = groups.get("tens")
            return Scale(int(tens) if tens else 10 ** (len(match["zeros"]) + 1), sure=True)
    step = _STEP.search(text)
    return None if step is None else Scale(10 ** (len(step["zeros"]) + 1), sure=False)
