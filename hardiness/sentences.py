"""Sentences that stand wherever a figure is printed: what was come through, what a claim is worth, what to beware of.

In: figures in degC, counts, probabilities. Out: sentences as a grower says them. A temperature is written to the place
of the second significant digit of its standard deviation, and never finer than a logger's tenth.
"""

from __future__ import annotations

import math

from hardiness import words
from hardiness.units import difference_to_fahrenheit

NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
FLOOR_CAUTION = (
    "A tolerance floor is an estimate for the places and winters tested, in freezes like those tested; "
    "early and late ones are harder."
)
WORK_CAUTION = (
    "Freeze work is done on cold nights, on ice and ladders, with heaters, sprinklers, lifts and electricity. "
    "Do not work alone. Keep fuel and flame away from covers, and water away from power. "
    "Bark and kaolin sprays and copper have labels: the label, local codes and licensed practice go before anything "
    "printed here."
)
WALK_CAUTION = (
    "Take care in the rows: ice underfoot, on ladders and on branches, hot heaters, wet cables. Do not go alone."
)
FINEST = 1  # decimals; what a logger's file gives
SD_DIGITS = 2  # significant digits of a standard deviation
# Probability that a claim holds, from: how it is put.
CLAIM_WORDS = (
    (0.95, "is well supported by this trial"),
    (0.80, "is likely to hold"),
    (0.20, "is neither shown nor refuted"),
    (0.05, "is unlikely to hold"),
    (0.0, "does not hold in this trial"),
)


def spelled(amount: int) -> str:
    """Write a count in a sentence: as a word up to twelve.

    Parameters
    ----------
    amount : int
        0 or more.

    Returns
    -------
    str

    Examples
    --------
    >>> spelled(2), spelled(12), spelled(1250)
    ('two', 'twelve', '1,250')
    """
    return NUMBERS[amount] if amount < len(NUMBERS) else f"{amount:,}"


def decimals_of(sd: float) -> int:
    """Count the decimals that a standard deviation allows: down to its second significant digit, at most one.

    Parameters
    ----------
    sd : float
        In the unit of the figure it belongs to.

    Returns
    -------
    int

    Examples
    --------
    >>> decimals_of(0.42), decimals_of(1.3), decimals_of(12.0)
    (1, 1, 0)
    """
    if not math.isfinite(sd) or sd <= 0:
        return FINEST
    return max(0, min(FINEST, SD_DIGITS - 1 - math.floor(math.log10(sd))))


def measured(celsius: float, sd_c: float, units: str = "C") -> str:
    """Write a temperature with its standard deviation.

    Parameters
    ----------
    celsius : float
        [degC]
    sd_c : float
        Its standard deviation. [K]
    units : str, default "C"
        ``"C"`` or ``"F"``.

    Returns
    -------
    str

    Examples
    --------
    >>> measured(-9.42, 0.55), measured(-9.42, 0.55, "F")
    ('−9.4 ± 0.6 °C', '15.0 ± 1.0 °F')
    """
    sd = difference_to_fahrenheit(sd_c) if units == "F" else sd_c
    places = decimals_of(sd)
    return f"{words.number(words.shown(celsius, units), places)} ± {words.number(sd, places)} °{units}"


def rounded(celsius: float, half_width_c: float, units: str = "C") -> str:
    """Write a temperature as finely as its uncertainty allows: tenths, halves, or whole degrees.

    Parameters
    ----------
    celsius : float
        [degC]
    half_width_c : float
        Half of its interval's width. [K]
    units : str, default "C"
        ``"C"`` or ``"F"``.

    Returns
    -------
    str

    Examples
    --------
    >>> rounded(-9.42, 0.8), rounded(-9.42, 1.6), rounded(-9.42, 4.0)
    ('−9.4 °C', '−9.5 °C', '−9 °C')
    """
    half = difference_to_fahrenheit(half_width_c) if units == "F" else half_width_c
    step = 0.1 if half < 1.25 else 0.5 if half < 3.0 else 1.0
    value = round(words.shown(celsius, units) / step) * step
    return f"{words.number(value, 0 if step == 1.0 else 1)} °{units}"


def chance(probability: float) -> str:
    """Write a probability; never 0 or 1.

    Parameters
    ----------
    probability : float

    Returns
    -------
    str

    Examples
    --------
    >>> chance(0.104), chance(0.003), chance(0.998)
    ('0.10', 'below 0.01', 'above 0.99')
    """
    if probability < 0.01:
        return "below 0.01"
    return "above 0.99" if probability > 0.99 else words.number(probability, 2)


def held_temperature(celsius: float, held_h: float, units: str = "C") -> str:
    """Write a temperature and for how long it was held; 0 h is the minimum.

    Parameters
    ----------
    celsius : float
        [degC]
    held_h : float
        [h]
    units : str, default "C"
        ``"C"`` or ``"F"``.

    Returns
    -------
    str

    Examples
    --------
    >>> held_temperature(-9.4, 3.0), held_temperature(-9.4, 0.0)
    ('−9.4 °C for 3 h', 'a minimum of −9.4 °C')
    """
    figure = words.temperature(celsius, units)
    return f"{figure} for {words.hours(held_h)}" if held_h > 0 else f"a minimum of {figure}"


def came_through(
    *,
    coldest_survived_c: float,
    came: int,
    met: int,
    killed: int,
    plants: int,
    tested_to_c: float,
    warmest_fatal_c: float,
    held_h: float,
    units: str = "C",
) -> str:
    """Say in one sentence what plants came through, what was lost in milder freezes, and where testing ended.

    Parameters
    ----------
    coldest_survived_c : float
        The coldest that one came through; NaN where none did. [degC]
    came, met : int
        How many plants came through that temperature, of how many that met one as cold or colder.
    killed, plants : int
        How many plants were lost in any freeze, of how many with a score.
    tested_to_c : float
        The coldest met; NaN where nothing was. [degC]
    warmest_fatal_c : float
        The mildest that one was lost at; NaN where none was. [degC]
    held_h : float
        How long the temperatures were held. [h]
    units : str, default "C"
        ``"C"`` or ``"F"``.

    Returns
    -------
    str

    Examples
    --------
    >>> nan = float("nan")
    >>> cell = {"coldest_survived_c": -9.4, "came": 2, "met": 3, "killed": 0, "plants": 4, "tested_to_c": -9.4}
    >>> came_through(**cell, warmest_fatal_c=nan, held_h=3.0)
    'Came through −9.4 °C for 3 h on two of three plants; never tested colder.'
    >>> came_through(**cell | {"killed": 1}, warmest_fatal_c=-8.3, held_h=3.0)
    'Came through −9.4 °C for 3 h on two of three plants, though one of four died at −8.3 °C; never tested colder.'
    """
    if math.isnan(tested_to_c):
        return "Never tested: no plant has met a freeze and been scored after it."
    lost = "" if math.isnan(warmest_fatal_c) else held_temperature(warmest_fatal_c, held_h, units)
    if math.isnan(coldest_survived_c):
        who = "The one plant did not come through" if met == 1 else f"None of {spelled(met)} plants came through"
        return f"{who}; the mildest loss was at {lost}."
    who = "the one plant that met it" if met == 1 else f"{spelled(came)} of {spelled(met)} plants"
    said = f"Came through {held_temperature(coldest_survived_c, held_h, units)} on {who}"
    if killed and float(f"{warmest_fatal_c:.1f}") > float(f"{coldest_survived_c:.1f}"):
        # The coldest that one came through, told alone, would make more of the plants than they have shown.
        mild = words.temperature(warmest_fatal_c, units)
        lost = f"died at {mild}" if killed == 1 else f"died, the mildest loss at {mild}"
        said += f", though {spelled(killed)} of {spelled(plants)} {lost}"
    if words.number(tested_to_c) == words.number(coldest_survived_c):
        return f"{said}; never tested colder."
    return f"{said}; none came through colder, tested to {words.temperature(tested_to_c, units)}."


def claim_worth(claimed_c: float, source: str, probability: float, *, beyond_tested: bool, units: str = "C") -> str:
    """Say what a hearsay figure is worth.

    Parameters
    ----------
    claimed_c : float
        [degC]
    source : str
        Who says so; may be empty.
    probability : float
        That nine in ten come through it.
    beyond_tested : bool
        Whether it is colder than anything tested.
    units : str, default "C"
        ``"C"`` or ``"F"``.

    Returns
    -------
    str

    Examples
    --------
    >>> claim_worth(-12.0, "a neighbour", 0.1, beyond_tested=True)
    'The claim of −12.0 °C (a neighbour) is unlikely to hold, and was never tested that cold.'
    >>> claim_worth(-7.0, "", 0.97, beyond_tested=False)
    'The claim of −7.0 °C is well supported by this trial.'
    """
    put = next(text for least, text in CLAIM_WORDS if probability >= least)
    if beyond_tested and probability >= CLAIM_WORDS[1][0]:
        put = "would hold if its plants are like the rest of the trial"  # none of them has met that cold
    who = f" ({source})" if source else ""
    tail = ", and was never tested that cold" if beyond_tested else ""
    return f"The claim of {words.temperature(claimed_c, units)}{who} {put}{tail}."


def evidence_words(evidence: str) -> str:
    """Say what a class of evidence means.

    Parameters
    ----------
    evidence : str
        ``bracketed``, ``all survived``, ``all died`` or ``untested``.

    Returns
    -------
    str

    Examples
    --------
    >>> evidence_words("all survived")
    'all survived: how much colder they could go is not known'
    """
    return {
        "bracketed": "bracketed: some came through, some were lost",
        "all survived": "all survived: how much colder they could go is not known",
        "all died": "all died: how much cold they could stand is not known",
        "untested": "untested: no score after a freeze",
    }[evidence]
