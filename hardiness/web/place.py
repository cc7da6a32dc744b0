"""What every page needs: the trial, its answers, who may sign in, and where dropped files wait."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field

from fastapi import Request

from hardiness.errors import InputError, Problem
from hardiness.settings import SETTINGS_FILE
from hardiness.settings_reading import read_settings
from hardiness.trial import Trial
from hardiness.web.holding import Holding
from hardiness.web.jobs import Answers
from hardiness.web.limits import Tries
from hardiness.web.security import is_loopback
from hardiness.web.sessions import Sessions


@dataclass(frozen=True, slots=True)
class Serving:
    """How the pages are served.

    Parameters
    ----------
    host : str
        The address that is listened on.
    secure : bool
        Whether it speaks https.
    largest_upload : int
        Most bytes that may be dropped at once.
    """

    host: str = "127.0.0.1"
    secure: bool = False
    largest_upload: int = 200_000_000

    @property
    def alone(self) -> bool:
        """Whether only this machine can reach it."""
        return is_loopback(self.host)


@dataclass
class Place:
    """What every page needs.

    Parameters
    ----------
    trial : Trial
    serving : Serving
    """

    trial: Trial
    serving: Serving
    answers: Answers
    sessions: Sessions
    holding: Holding
    tries: Tries = field(default_factory=Tries)
    settings_faults: tuple[Problem | str, ...] = ()
    _stamp: tuple[int, int] = (0, 0)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    @classmethod
    def open(cls, trial: Trial, serving: Serving) -> Place:
        """Make it for a trial.

        Parameters
        ----------
        trial : Trial
        serving : Serving

        Returns
        -------
        Place
        """
        return cls(trial, serving, Answers(trial), Sessions(serving.secure), Holding())

    def refresh(self) -> None:
        """Read trial.toml again where it has changed; where it is at fault now, what it said before still counts."""
        with self._lock:
            path = self.trial.folder / SETTINGS_FILE
            try:
                about = path.stat()
                stamp = (about.st_mtime_ns, about.st_size)
                if stamp == self._stamp:
                    return
                trial = reread(self.trial)
            except InputError as error:
                self.settings_faults = error.problems
            except OSError as error:
                self.settings_faults = (f"{path.name}: {error.strerror or error}.",)
            else:
                self._stamp, self.settings_faults = stamp, ()
                if trial is not self.trial:
                    self.trial = trial
                    self.answers.turn_to(trial)

    def close(self) -> None:
        """Stop working, and let go of the trial; a second time does nothing."""
        self.answers.close()
        self.holding.close()
        self.trial.close()


def reread(trial: Trial) -> Trial:
    """Read trial.toml again.

    Parameters
    ----------
    trial : Trial

    Returns
    -------
    Trial
        By the new settings, on the same records; the one given where they are the same.

    Raises
    ------
    InputError
        If the settings are at fault, or name another database.
    """
    settings = read_settings(trial.folder / SETTINGS_FILE)
    if settings == trial.settings:
        return trial
    if settings.store_url != trial.settings.store_url:
        raise InputError(
            Problem(
                "another database",
                "the one that is open",
                file=SETTINGS_FILE,
                column="store.url",
                hint="Stop hardiness serve and start it again.",
            )
        )
    return Trial(trial.folder, settings, trial.store.with_settings(settings))


def place_of(request: Request) -> Place:
    """Give the place that a request's server has.

    Parameters
    ----------
    request : Request

    Returns
    -------
    Place
    """
    place: Place = request.app.state.place
    return place
