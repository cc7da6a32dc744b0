"""The package meteostat, set up so that its traps are closed: its cache, its time limits, its log, its model values.

- It may remove every file of its cache folder, and keeps pickles there: a folder of its own, outside of any trial.
- It logs failures and gives nothing: the host is asked first, with a time limit, and its log is counted.
- It keeps its settings for the whole program: one caller at a time.
"""

from __future__ import annotations

import datetime as dt
import logging
import os
import socket
import sqlite3
import sys
import threading
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import meteostat
import meteostat.core.providers
import meteostat.enumerations
import pandas as pd

from hardiness.errors import InputError

LIMIT_S = 20.0  # [s] that the host may take to answer, and to send the next piece of a file
CACHE_VARIABLE = "HARDINESS_CACHE"  # a folder for the cache, where the platform's own is not wanted
WAY_OUT = "Fetch later, or take a file from disk: hardiness station add FILE --station NAME."
DAY_S = 24 * 3600
_LOCK = threading.Lock()


def cache_folder() -> Path:
    """Give the folder in which what was fetched is kept for a while: the platform's, or the one that is set.

    Returns
    -------
    Path
    """
    if named := os.environ.get(CACHE_VARIABLE):
        return Path(named)
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local") / "hardiness" / "cache"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / "hardiness"
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "hardiness"


class Package:
    """The package, asked with a time limit.

    Parameters
    ----------
    cache : Path, optional
        Where to keep what was fetched for a while; None: :func:`cache_folder`.
    limit_s : float, default 20
        Time limit of each answer. [s]
    now : datetime.datetime, optional
        The present instant with its zone, for what is settled and what is over; None: by the clock.
    """

    def __init__(self, cache: Path | None = None, *, limit_s: float = LIMIT_S, now: dt.datetime | None = None) -> None:
        self.cache = cache if cache is not None else cache_folder()
        self.limit_s = limit_s
        self.now = now.astimezone(dt.UTC) if now is not None else dt.datetime.now(dt.UTC)
        self._log = _KeptLog()

    @contextmanager
    def set_up(self) -> Iterator[None]:
        """Set the package up: its cache, its time limits, and its log kept for us.

        Yields
        ------
        None
        """
        with _LOCK:
            years = self.cache / "years"  # the package's own: it may remove every file in there
            years.mkdir(parents=True, exist_ok=True)
            config = meteostat.config
            config.cache_directory = str(years)
            config.cache_autoclean = False
            config.cache_ttl = 0  # each file's own, not at least a month
            config.stations_db_ttl = 10 * 365 * DAY_S  # when to fetch it is decided here
            config.include_model_data = True  # left out here, so that they can be counted
            config.network_timeout = max(1, round(self.limit_s))
            config.network_max_retries = 0
            logger, kept = logging.getLogger("meteostat"), _KeptLog()
            propagates, usual = logger.propagate, socket.getdefaulttimeout()
            logger.addHandler(kept)
            logger.propagate = False
            socket.setdefaulttimeout(self.limit_s)  # the package's own reading of files knows no limit
            self._log = kept
            try:
                yield
            finally:
                socket.setdefaulttimeout(usual)
                logger.propagate = propagates
                logger.removeHandler(kept)

    def has_file(self, url: str) -> bool:
        """Ask the host for a file.

        Parameters
        ----------
        url : str
            Its address.

        Returns
        -------
        bool
            Whether it has it.

        Raises
        ------
        InputError
            If there is no answer in time, or the host is at fault.
        """
        host = urlsplit(url).hostname or url
        request = urllib.request.Request(url, headers={"User-Agent": "hardiness"})
        try:
            with urllib.request.urlopen(request, timeout=self.limit_s):
                return True
        except urllib.error.HTTPError as error:
            error.close()
            if error.code in (403, 404, 410):  # some stores of files answer 403 for what is not there
                return False
            raise InputError(
                f"The station service at {host} answered with a fault ({error.code}). Nothing was stored. {WAY_OUT}"
            ) from None
        except (OSError, ValueError) as error:
            why = getattr(error, "reason", error)
            raise InputError(
                f"No answer from the station service at {host} within {self.limit_s:g} s ({why}): is there a network? "
                f"Nothing was stored. {WAY_OUT}"
            ) from None

    def asked(self, ask: Callable[[], Any]) -> Any:
        """Ask the package; what it cannot get through is told as a fault of the service.

        Parameters
        ----------
        ask : callable
            Calls the package.

        Returns
        -------
        object
            What it gives.

        Raises
        ------
        InputError
            If the answer cannot be used.
        """
        try:
            return ask()
        except (OSError, sqlite3.Error, pd.errors.DatabaseError, pd.errors.ParserError) as error:
            raise InputError(f"The station service's answer cannot be used ({error}). {WAY_OUT}") from None

    @property
    def warnings(self) -> int:
        """How many faults the package has met since it was set up."""
        return self._log.warnings


class _KeptLog(logging.Handler):
    """Counts the package's warnings in place of printing them."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.warnings = 0

    def emit(self, record: logging.LogRecord) -> None:
        self.warnings += 1


def model_sources() -> frozenset[str]:
    """List the sources whose values come from a weather model, not from a thermometer.

    Returns
    -------
    frozenset of str
    """
    grades = (meteostat.enumerations.Grade.FORECAST, meteostat.enumerations.Grade.ANALYSIS)
    providers = meteostat.core.providers.provider_service.providers
    return frozenset(str(provider.id) for provider in providers if provider.grade in grades)
