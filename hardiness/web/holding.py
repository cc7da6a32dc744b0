"""Dropped files wait here, outside the trial, until a person has seen what is in them and takes them in.

A file lies under a random number of ours; the name that the browser gave is only ever shown.
"""

from __future__ import annotations

import re
import secrets
import shutil
import tempfile
import threading
import time
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

WAITS_S = 24 * 3600.0  # [s] a file that nobody takes in is dropped after a day
MOST_FILES = 60  # of one session; the oldest goes
MOST_BYTES = 3_000_000_000  # of all; the oldest goes
_NUMBER = re.compile(r"[A-Za-z0-9_-]{20,40}")
_LONGEST_NAME = 120  # characters of a file's name that are shown


@dataclass(frozen=True, slots=True)
class Held:
    """A file that waits.

    Parameters
    ----------
    number : str
        What it is asked for by.
    name : str
        What the browser called it.
    path : Path
        Where it lies.
    session : str
        Whose it is: nobody else sees it.
    since : float
        When it came. [s]
    bytes : int
        How large it is.
    """

    number: str
    name: str
    path: Path
    session: str
    since: float
    bytes: int


@dataclass
class Holding:
    """The files that wait.

    Parameters
    ----------
    clock : callable
        Seconds that only rise.
    most_bytes : int
        How much may wait.
    """

    clock: Callable[[], float] = time.monotonic
    most_bytes: int = MOST_BYTES
    folder: Path = field(default_factory=lambda: Path(tempfile.mkdtemp(prefix="hardiness-")))
    _files: dict[str, Held] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def put(self, stream: BinaryIO, name: str, session: str) -> Held:
        """Keep a file.

        Parameters
        ----------
        stream : binary file
            Its bytes.
        name : str
            What the browser called it.
        session : str
            Whose it is.

        Returns
        -------
        Held
        """
        number = secrets.token_urlsafe(18)
        path = self.folder / number
        with path.open("wb") as out:
            shutil.copyfileobj(stream, out)
        held = Held(number, shown_name(name), path, session, self.clock(), path.stat().st_size)
        with self._lock:
            self._files[number] = held
            old = [file for file in self._files.values() if self.clock() - file.since > WAITS_S]
            own = [file for file in self._files.values() if file.session == session and file not in old]
            gone = [self._files.pop(file.number) for file in [*old, *own[:-MOST_FILES]]]
            whole = sum(file.bytes for file in self._files.values())
            while whole > self.most_bytes and len(self._files) > 1:
                gone.append(self._files.pop(next(iter(self._files))))
                whole -= gone[-1].bytes
        for file in gone:
            file.path.unlink(missing_ok=True)
        return held

    def find(self, number: str, session: str) -> Held | None:
        """Find a file of a session.

        Parameters
        ----------
        number, session : str

        Returns
        -------
        Held or None
            None where there is none, or it is another's.
        """
        if not _NUMBER.fullmatch(number):
            return None
        with self._lock:
            held = self._files.get(number)
        return held if held is not None and held.session == session else None

    def of(self, session: str) -> list[Held]:
        """List the files of a session, in the order in which they came.

        Parameters
        ----------
        session : str

        Returns
        -------
        list of Held
        """
        with self._lock:
            return [held for held in self._files.values() if held.session == session]

    def drop(self, held: Held) -> None:
        """Let go of a file.

        Parameters
        ----------
        held : Held
        """
        with self._lock:
            self._files.pop(held.number, None)
        held.path.unlink(missing_ok=True)

    def close(self) -> None:
        """Let go of all."""
        shutil.rmtree(self.folder, ignore_errors=True)


def shown_name(name: str) -> str:
    r"""Bring a file's name from a browser to what may be shown and kept: one line, no folder, not endless.

    Parameters
    ----------
    name : str

    Returns
    -------
    str

    Examples
    --------
    >>> shown_name("../../etc/lower block.csv"), shown_name("C:\\logs\\L1.txt"), shown_name("")
    ('lower block.csv', 'L1.txt', 'file')
    """
    last = re.split(r"[/\\]", name)[-1]
    kept = "".join(letter for letter in last if unicodedata.category(letter)[0] != "C").strip()
    return kept[:_LONGEST_NAME] or "file"
