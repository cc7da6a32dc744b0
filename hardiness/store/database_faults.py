"""What goes wrong with a database, in words a grower can act on.

SQLite's faults are told apart by their texts, which are English everywhere. A PostgreSQL server answers in its own
language, so its faults are told apart by their SQLSTATE; a fault without one comes from the driver, before any server
answered.
"""

from __future__ import annotations

_BUSY, _READ_ONLY, _NOT_ALLOWED, _FULL = "55P03", "25006", "42501", "53100"  # PostgreSQL manual, appendix A
_LOST = ("08", "57P")  # the connection broke; the server is going down, or coming up


def fault_in_words(fault: BaseException | None, name: str, wait_s: float) -> str:
    """Say what a driver's fault means.

    Parameters
    ----------
    fault : BaseException or None
        As the driver raised it.
    name : str
        What the database is called.
    wait_s : float
        How long a writer waited for another one. [s]

    Returns
    -------
    str

    Examples
    --------
    >>> import sqlite3
    >>> fault_in_words(sqlite3.OperationalError("database is locked"), "trial.db", 10.0)
    'trial.db is being written by another program; waited 10 s. Try again when it has finished.'
    """
    text = " ".join(str(fault).split())  # a driver's hint stands on lines of its own
    low = text.lower()
    state = str(getattr(fault, "sqlstate", "") or "")
    if state == _BUSY or "is locked" in low:
        return f"{name} is being written by another program; waited {wait_s:g} s. Try again when it has finished."
    if state == _FULL or "disk is full" in low:
        return f"the disk is full, so nothing was stored in {name}. Free some space and try again."
    if state == _NOT_ALLOWED:
        return f"{name} lets its user only read, so nothing was stored. The owner of the database can grant the rest."
    if state == _READ_ONLY:
        return f"{name} may only be read, so nothing was stored. Is it the server to write to?"
    if state.startswith(_LOST) or _is_of_driver(fault):
        hint = "See that the server runs, and that store.url in trial.toml names it, its database and its user."
        return f"{name} cannot be reached. {hint} The answer was: {text}"
    if "readonly" in low or "read-only" in low:
        return f"{name} may only be read, so nothing was stored. Make it and its folder writable."
    if "unable to open" in low:
        return f"{name} cannot be opened. Its folder must exist and be writable."
    if "not a database" in low or "malformed" in low:
        return f"{name} is damaged or is no database of a trial ({text}). Restore it from a copy."
    return f"{name}: the database answered with a fault: {text}"


def _is_of_driver(fault: BaseException | None) -> bool:
    """Whether PostgreSQL's driver says that it has no server to talk to; by names, as it need not be installed."""
    kinds = {kind.__name__ for kind in type(fault).__mro__}
    return getattr(fault, "sqlstate", "") is None and "OperationalError" in kinds
