"""Sentences written for the command line, said for a page: its own fields and buttons in place of options and verbs."""

from __future__ import annotations

import re

FIELDS = {
    "--timezone": "Clock of the file",
    "--unit": "Unit",
    "--time-column": "Column of times",
    "--temperature-column": "Column of temperatures",
    "--date-order": "Order of the date",
    "--sensor": "Sensor",
    "--missing": "No reading",
    "--mark": "Marks",
}
KEEP = "Take it in, and keep the file for another column"
# What has no field of its own, from longer to shorter: a pattern, and what a page says.
_WAYS = (
    (
        r"take each as a sensor of its own, under names of your choice: hardiness add readings .* --channel .*",
        f"take each as a sensor of its own: name one there and its sensor, press '{KEEP}', then the next.",
    ),
    (r"or name each row's sensor: --sensor-column '[^']*'", "or have the command line part them by this column"),
    (r"--sensor-column names the column that tells them apart", "the command line can part them by a column of names"),
    (r": hardiness withdraw (?:scores|plants|selections|sensors|freeze_notes|masks|calibrations) FILE --undo",
     " in the register, each on its own page"),
    (r"(: | \()hardiness withdraw (?:scores|plants|selections|sensors) FILE\b(\)?)", " on its page in the register"),
    (r": hardiness withdraw upload \w+(?: --undo)?", " in the register, under Files taken in"),
    (r": hardiness freezes --air\b", " under Freezes"),
    (r": hardiness add (?:plants|selections|sensors|scores) FILE registers some", ", which the register adds"),
    (r"hardiness add readings FILE --sensor S adds", "the page Readings adds"),
    (r"Name some with selections=.* or yardsticks with against=\[\.\.\.\]", "The page Compare takes those you choose"),
)  # fmt: skip
_VALUE = (
    r"('[^']*'|-?[0-9]+(?:\.[0-9]+)?\b|[CFK](?: or [CFK])*\b|C, F or K|UTC[\w:+-]+|[A-Z][A-Za-z_]+/[A-Za-z_/]+"
    r"|[dmy]{3}\b)"
)


def for_page(sentence: object) -> str:
    """Turn the options and verbs in a sentence into the fields and buttons of the pages.

    Parameters
    ----------
    sentence : object
        A sentence, or a problem.

    Returns
    -------
    str
        What has no counterpart on a page stays as it was, and says that it is the command line's.

    Examples
    --------
    >>> for_page("That zone is the trial's; --timezone names another.")
    "That zone is the trial's; the field 'Clock of the file' names another."
    >>> for_page("Withdraw the score of 2032-02-10 first: hardiness withdraw scores FILE.")
    'Withdraw the score of 2032-02-10 first on its page in the register.'
    """
    said = str(sentence)
    for pattern, instead in _WAYS:
        said = re.sub(pattern, instead, said)
    for option, name in FIELDS.items():
        said = re.sub(rf"{option} {_VALUE}", rf"\1 in the field '{name}'", said)
        said = re.sub(rf"such as {option} ([^\s,]*[^\s,.])", rf"such as \1 in the field '{name}'", said)
        said = re.sub(rf": {option} ([^\s,]*\w)", rf": \1 in the field '{name}'", said)
        said = re.sub(rf"right {option}\b", f"right entry in the field '{name}'", said)
        said = re.sub(rf"(?:the option )?{option}\b(?!-)", f"the field '{name}'", said)
    return said
