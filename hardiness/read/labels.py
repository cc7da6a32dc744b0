"""Labels and free text: what a plant, a selection or a sensor may be called, and what a note may hold.

Labels stay text (``007`` stays ``007``), are trimmed and brought to Unicode's composed form (NFC), so that the same
name typed on two keyboards is the same name. Nothing else about them is changed.
"""

from __future__ import annotations

import unicodedata

from hardiness.schema import ALL_STOCKS, OWN_ROOTS

FREE_TEXT = ("notes", "note", "claim_source", "reason")  # may hold line breaks; every other text column is a label
LABEL_LIMIT = 200  # characters; longer than any name on a tag, short enough for an index of every database
NOTE_LIMIT = 10_000  # characters
_JOINERS = "\u200c\u200d"  # invisible, but part of the spelling in several scripts


class RefusedError(Exception):
    """A cell that is not accepted.

    Parameters
    ----------
    found : str
        What stands there, as a person would read it.
    accepted : str
        What would have been accepted.
    hint : str, optional
        The next step, or a near name.
    """

    def __init__(self, found: str, accepted: str, hint: str | None = None) -> None:
        self.found, self.accepted, self.hint = found, accepted, hint
        super().__init__(f"found {found}; accepted: {accepted}.")


def quote(text: str, limit: int = 80) -> str:
    """Quote a text for a message, cut where it is long.

    Parameters
    ----------
    text : str
        What was found.
    limit : int, default 80
        Longest text shown whole. [characters]

    Returns
    -------
    str

    Examples
    --------
    >>> quote("T12"), quote("abcdef", limit=3)
    ("'T12'", "'abc...'")
    """
    shown = text if len(text) <= limit else text[:limit] + "..."
    return f"'{shown}'" if shown.isprintable() else repr(shown)


def parse_label(text: str, column: str = "label") -> str:
    """Read a label: trimmed, in composed form, otherwise as it was written.

    Parameters
    ----------
    text : str
        The cell's text.
    column : str
        Its column: own roots are written one way, and no rootstock is called ``all``.

    Returns
    -------
    str

    Raises
    ------
    RefusedError
        If it holds line breaks or characters that cannot be seen, is too long, or means something else.

    Examples
    --------
    >>> parse_label(" 007 "), parse_label("Own", "rootstock")
    ('007', 'own')
    """
    label = unicodedata.normalize("NFC", text.strip())
    hidden = "" if label.isprintable() else _hidden(label, allowed=_JOINERS)
    if hidden:
        raise RefusedError(
            f"{quote(label)} with {_character(hidden)} in it", "a label on one line, without hidden characters"
        )
    if len(label) > LABEL_LIMIT:
        raise RefusedError(f"{quote(label)}, {len(label)} characters", f"a label of at most {LABEL_LIMIT} characters")
    if column == "rootstock" and label.lower() == OWN_ROOTS:
        return OWN_ROOTS
    if column == "rootstock" and label == ALL_STOCKS:
        raise RefusedError(
            quote(label), "another name, since comparisons and ranks call the mean over all rootstocks so"
        )
    return label


def parse_sensor(text: str) -> str:
    """Read the name of one sensor: a label that is not empty and holds no ``;``.

    Parameters
    ----------
    text : str
        The name.

    Returns
    -------
    str

    Raises
    ------
    RefusedError
        If it is no such label.

    Examples
    --------
    >>> parse_sensor(" L1 ")
    'L1'
    """
    label = parse_label(text)
    if not label:
        raise RefusedError("an empty name", "the name of a sensor")
    if ";" in label:
        raise RefusedError(quote(label), "a sensor's name without ';', which stands between names")
    return label


def sensor_names(text: str) -> list[str]:
    """Split a plant's ``sensor`` cell into names, best first.

    Parameters
    ----------
    text : str
        One or several names, ``;`` between.

    Returns
    -------
    list of str

    Examples
    --------
    >>> sensor_names("L1; Hilltop station;")
    ['L1', 'Hilltop station']
    """
    return [name.strip() for name in text.split(";") if name.strip()]


def parse_note(text: str) -> str:
    r"""Read free text: trimmed, line breaks kept as ``\n``.

    Parameters
    ----------
    text : str
        The cell's text.

    Returns
    -------
    str

    Raises
    ------
    RefusedError
        If it holds control characters or is too long.

    Examples
    --------
    >>> parse_note("bark split\r\non the north side ")
    'bark split\non the north side'
    """
    note = text.strip().replace("\r\n", "\n").replace("\r", "\n")
    hidden = "" if note.isprintable() else _hidden(note, allowed="\n\t", formats=True)
    if hidden:
        raise RefusedError(f"{quote(note)} with {_character(hidden)} in it", "text without control characters")
    if len(note) > NOTE_LIMIT:
        raise RefusedError(f"{len(note)} characters", f"text of at most {NOTE_LIMIT} characters")
    return note


def _hidden(text: str, *, allowed: str, formats: bool = False) -> str:
    """Find the first character that cannot be seen and is not allowed; format characters unless ``formats``."""
    refused = {"Cc", "Cs", "Zl", "Zp"} if formats else {"Cc", "Cf", "Cs", "Zl", "Zp"}
    return next((c for c in text if c not in allowed and unicodedata.category(c) in refused), "")


def _character(character: str) -> str:
    if character in "\r\n\u2028\u2029":
        return "a line break"
    return f"the hidden character U+{ord(character):04X}"
