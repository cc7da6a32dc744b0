"""What the name of a column says of what it holds, in the languages that loggers speak.

In: names of columns, labels of what was measured. Out: whether they speak of times, of temperatures of the air, of
other temperatures, or of something else.
"""

from __future__ import annotations

import re

from hardiness.read.header_units import units_in

UNIT_PART = re.compile(r"\s*[(\[].*?[)\]]\s*|,.*$")  # what stands in brackets or after a comma in a column's name
TIME_WORDS = re.compile(
    r"time|date|stamp|epoch|unix|utc|zeit|datum|uhr|heure|fecha|hora|дата|время|aika\b|\bkello|päivä|dátum|idő(?!j)|\btarih|\bsaat\b|ημερομηνία|ώρα|\bczas|godzin|\bčas\b|時刻|日時|日付|时间|日期|^data\b|^ora\b|\btid\b|\btijd\b|klokk|\bwhen\b",
    re.IGNORECASE,
)
# A dew point, for expressions that mind no case.
DEW_POINT_WORDS = (
    r"dew ?p(?:oin)?t|dew|taupunkt|dauwpunt|d[au]ggpunkt|point de ros[ée]e|punto de roc[íi]o|punto di rugiada"
    r"|ponto de orvalho"
)
_TEMPERATURE = re.compile(r"temp|tª|lämp|teplot|темп|airt|^(t|ta|tair|t_?air|air_?t|tmp)$", re.I)
_DERIVED_WORDS = rf"{DEW_POINT_WORDS}|frost ?point|wet.?bulb|heat.?index|chill|feels|humidex|apparent"
_DERIVED = re.compile(_DERIVED_WORDS, re.I)
_OTHER = re.compile(
    r"hum|feucht|umid|vocht|fukt|влаж|\br\.?h(?![a-z])|%|batt|volt|\b[mk]?v\b|light|lux|\bpar\b|press|pa\b|\bm?bar\b|wind|speed|rain|precip|solar|radiat|signal|rssi"
    rf"|serial|moist|latitude|longitude|altitude|{_DERIVED_WORDS}",
    re.I,
)
_INDEX = re.compile(r"^(#|no\.?|nr\.?|n|id|index|idx|rn|record|row|line|sample|count|nummer|número)$", re.I)
_NO_AIR = re.compile(
    r"soil|boden|suelo|substrat|ground(?! ?level)|erdreich|water|wasser|\bagua\b|\bpool|board|pcb|\bcpu|\bchip|panel"
    r"|ptemp|indoor|inside|innen|interior|\broom|raum|leaf|blatt|\bhoja|batt|akku|trunk|\bbark\b|\bbud\b|\bfruit\b"
    r"|\broots?\b|fridge|freezer|\btin\b|tempin",
    re.I,
)
_AIR = re.compile(r"\bair|above|outdoor|outside|\bout\b|luft|aire", re.I)
_OUTSIDE = re.compile(
    r"outdoor|outside|\bout\b|\bext(?:[ée]r|\b)|au(?:ß|ss)en|estern|buiten|utomhus|\bute\b|zewn|屋外|室外", re.I
)
_INSIDE = re.compile(
    r"indoor|inside|\bin\b(?! ?(?:°|[cfk]\b|deg|grad|celsius|fahr|kelvin))"  # no "Temp in °C"
    r"|\bint(?:[ée]ri|\b)|innen|\bintern|binnen|inomhus|\binne\b|wewn|屋内|室内",
    re.I,
)
_TEMP_IN = re.compile(r"[Tt]emp(?:erature)?[ _.]?In(?![a-z])(?! ?(?:°|[CFK]\b|[Dd]eg))")  # capital: no "Temp in [°C]"
_INNER_START = re.compile(r"(?<=[a-zß-ÿ])(?=[A-ZÀ-Þ])|_")
_OWN_CASE = re.compile(r"intern(?!et)|\bcase\b|device|housing|logger temp|enclosure", re.I)
_UNIT_NAME = re.compile(r"(?:^|[\s_.\-])(?:units?|scale|uom)$", re.I)
_STATISTICS = re.compile(r"(?:^|[\s_.\-(])(avg|average|mean|min|minimum|max|maximum|std|sd)(?![a-z])", re.I)


def speaks_of_temperature(name: str) -> bool:
    """Tell whether a name speaks of a measured temperature, of whatever.

    Parameters
    ----------
    name : str

    Returns
    -------
    bool

    Examples
    --------
    >>> [speaks_of_temperature(name) for name in ("Air temp", "T [K]", "Dew point (C)", "Value")]
    [True, True, False, False]
    """
    if _DERIVED.search(name):
        return False  # a dew point is no air temperature
    plain = UNIT_PART.sub("", name).strip()
    return bool(_TEMPERATURE.search(plain) or _TEMPERATURE.search(name) or units_in(name))


def is_derived(name: str) -> bool:
    """Tell whether a name is that of something worked out, such as a dew point.

    Parameters
    ----------
    name : str

    Returns
    -------
    bool
    """
    return _DERIVED.search(name) is not None


def is_of_no_air(name: str) -> bool:
    """Tell whether a name speaks of the temperature of something else than the air outside.

    Parameters
    ----------
    name : str

    Returns
    -------
    bool

    Examples
    --------
    >>> names = ("Soil temp (C)", "Battery temp", "IndoorTempF", "Temp 2 m above ground", "Temp")
    >>> [is_of_no_air(name) for name in names]
    [True, True, True, False, False]
    """
    text = _INNER_START.sub(" ", name)
    found = _NO_AIR.search(text) or _TEMP_IN.search(name)
    return found is not None and _AIR.search(text) is None


def side_in(name: str) -> str | None:
    """Tell on which side of a wall a name says that something was measured.

    Parameters
    ----------
    name : str

    Returns
    -------
    str or None
        ``outside``, ``inside``; None where it says neither, or both.

    Examples
    --------
    >>> side_in("Outdoor temp"), side_in("TempIn (C)"), side_in("Temperatur außen"), side_in("Air temp")
    ('outside', 'inside', 'outside', None)
    """
    text = _INNER_START.sub(" ", name)
    sides = [side for side, words in (("outside", _OUTSIDE), ("inside", _INSIDE)) if words.search(text)]
    return sides[0] if len(sides) == 1 else None


def is_of_a_case(name: str) -> bool:
    """Tell whether a name may be that of the temperature inside the logger.

    Parameters
    ----------
    name : str

    Returns
    -------
    bool
    """
    return _OWN_CASE.search(name) is not None


def may_be_measured(name: str) -> bool:
    """Tell whether a name speaks of something that loggers measure besides the temperature of the air.

    Parameters
    ----------
    name : str

    Returns
    -------
    bool
    """
    return _OTHER.search(name) is not None or _NO_AIR.search(name) is not None


def is_index(name: str) -> bool:
    """Tell whether a name is that of a column that numbers the rows.

    Parameters
    ----------
    name : str

    Returns
    -------
    bool
    """
    return _INDEX.match(name) is not None


def says_other(name: str) -> bool:
    """Tell whether a name speaks of something else than a temperature.

    Parameters
    ----------
    name : str

    Returns
    -------
    bool
    """
    return _OTHER.search(name) is not None


def says_unit(name: str) -> bool:
    """Tell whether a name is that of a column of units.

    Parameters
    ----------
    name : str

    Returns
    -------
    bool

    Examples
    --------
    >>> says_unit("Temp unit"), says_unit("Temp")
    (True, False)
    """
    return _UNIT_NAME.search(name) is not None


def statistic_in(name: str) -> str | None:
    """Find which of a step's values a column holds.

    Parameters
    ----------
    name : str

    Returns
    -------
    str or None
        ``mean``, ``min``, ``max`` or ``sd``; None where the name says nothing.

    Examples
    --------
    >>> statistic_in("T_avg_C"), statistic_in("Min Temp (C)"), statistic_in("Temp")
    ('mean', 'min', None)
    """
    match = _STATISTICS.search(_INNER_START.sub(" ", name))
    return (
        None
        if match is None
        else {"a": "mean", "me": "mean", "mi": "min", "ma": "max", "s": "sd"}[
            (word := match[1].lower())[: 1 if word[0] in "as" else 2]
        ]
    )
