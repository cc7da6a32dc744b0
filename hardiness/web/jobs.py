"""The answers of a trial, worked out behind the pages, once for each state of the records; the pages tell how far.

In: a trial. Out: an :class:`Answer` that holds the flow of that state and knows which stages of it are done. One thread
works the stages out, another what is asked for beside them; a state that nobody asks for any more is left as it is.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Hashable
from concurrent.futures import Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, field
from typing import Any, TypeVar

from hardiness.errors import InputError
from hardiness.flow import Flow
from hardiness.trial import Trial

T = TypeVar("T")
MOST_KEPT = 60  # pictures, comparisons and the like of one state; the oldest goes
PATIENCE_S = 0.4  # [s] a page waits so long before it shows how far the work is

# Each stage: its name, and what it makes; a later one rests on those before.
STAGES: tuple[tuple[str, Callable[[Flow], object]], ...] = (
    ("freezes", lambda flow: flow.freezes),
    ("exposures", lambda flow: flow.exposures),
    ("observations", lambda flow: (flow.observations, flow.left_out)),
    ("floors", lambda flow: (flow.floors(), flow.claims)),
)
NAMES = tuple(name for name, _ in STAGES)


@dataclass
class Answer:
    """What one state of the records gives, as far as it is worked out.

    Parameters
    ----------
    token : str
        Which state.
    trial : Trial
        Of which trial, by which settings.
    """

    token: str
    trial: Trial
    flow: Flow | None = None  # it and what follows are set by the one at work
    reached: int = -1
    goal: int = -1
    fault: BaseException | None = None
    since: float = field(default_factory=time.monotonic)
    jobs: dict[Hashable, Future[Any]] = field(default_factory=dict)
    _kept: dict[Hashable, Any] = field(default_factory=dict)
    _lock: threading.RLock = field(default_factory=threading.RLock)

    def has(self, stage: str) -> bool:
        """Whether a stage is done.

        Parameters
        ----------
        stage : str
            One of :data:`NAMES`.

        Returns
        -------
        bool
        """
        return self.fault is None and self.flow is not None and self.reached >= NAMES.index(stage)

    @property
    def stage(self) -> str:
        """The stage that is being worked out."""
        return NAMES[min(self.reached + 1, len(NAMES) - 1)] if self.flow is not None else "records"

    @property
    def done(self) -> Flow:
        """The flow; ask only for what :meth:`has` says is done."""
        if self.flow is None:
            raise RuntimeError("the flow was asked for before it was there")
        return self.flow

    def keep(self, key: Hashable, make: Callable[[Flow], T]) -> T:
        """Give something made from the flow, made once.

        Parameters
        ----------
        key : hashable
            What it is called.
        make : callable
            Makes it from the flow.

        Returns
        -------
        object
            What ``make`` gave.
        """
        with self._lock:
            if key not in self._kept:
                while len(self._kept) >= MOST_KEPT:
                    del self._kept[next(iter(self._kept))]
                self._kept[key] = make(self.done)
            made: T = self._kept[key]
            return made


class Answers:
    """Works out the answers of one trial, one at a time.

    Parameters
    ----------
    trial : Trial
    """

    def __init__(self, trial: Trial) -> None:
        self._trial = trial
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="answers")
        self._beside = ThreadPoolExecutor(
            max_workers=1, thread_name_prefix="beside"
        )  # what takes long holds up no floor
        self._moved = threading.Condition()
        self._wanted: Answer | None = None
        self._closed = False

    def turn_to(self, trial: Trial) -> None:
        """Work for another trial from now on: the same one, by other settings.

        Parameters
        ----------
        trial : Trial
        """
        with self._moved:
            self._trial, self._wanted = trial, None

    def up_to(self, stage: str, *, patience_s: float = PATIENCE_S) -> Answer:
        """Give the answer for the records that count now, and have it worked out up to a stage.

        Parameters
        ----------
        stage : str
            One of :data:`NAMES`.
        patience_s : float
            Wait so long for it. [s]

        Returns
        -------
        Answer

        Raises
        ------
        HardinessError
            If the records do not allow it.
        """
        trial, goal = self._trial, NAMES.index(stage)
        token = trial.store.state_token()
        with self._moved:
            answer = self._wanted
            if answer is None or answer.token != token or answer.trial is not trial:
                answer = self._wanted = Answer(token, trial)
            if goal > answer.goal and answer.fault is None:
                idle = answer.reached == answer.goal  # else the one at work sees the new goal
                answer.goal = goal
                if idle:
                    self._pool.submit(self._work, answer).add_done_callback(lambda done: self._end(answer, done))
            self._moved.wait_for(lambda: answer.has(stage) or answer.fault is not None, patience_s)
        if answer.fault is not None:
            if isinstance(answer.fault, InputError):
                return answer
            raise answer.fault
        return answer

    def _work(self, answer: Answer) -> None:
        if answer.flow is None:
            flow = answer.trial.flow()
            with self._moved:
                answer.flow = flow
        while True:
            with self._moved:
                if answer is not self._wanted or self._closed or answer.reached >= answer.goal:
                    return
                number = answer.reached + 1
            STAGES[number][1](answer.done)
            with self._moved:
                answer.reached = number
                self._moved.notify_all()

    def _end(self, answer: Answer, done: Future[None]) -> None:
        with self._moved:
            if not done.cancelled():
                answer.fault = done.exception()
            self._moved.notify_all()

    def later(
        self, answer: Answer, key: Hashable, make: Callable[[Flow], T], *, patience_s: float = PATIENCE_S
    ) -> T | None:
        """Give something that takes its time, made once behind the pages; None as long as it is not there.

        Parameters
        ----------
        answer : Answer
            What it is made from.
        key : hashable
            What it is called.
        make : callable
            Makes it from the flow; what it raises is raised here.
        patience_s : float
            Wait so long for it. [s]

        Returns
        -------
        object or None
        """
        with self._moved:
            job = answer.jobs.get(key)
            if job is None:
                ended = [name for name, old in answer.jobs.items() if old.done()]
                for name in ended[: max(len(answer.jobs) - MOST_KEPT + 1, 0)]:
                    del answer.jobs[name]
                job = answer.jobs[key] = self._beside.submit(make, answer.done)
        done, _ = wait([job], patience_s)
        if not done:
            return None
        made: T = job.result()
        return made

    def close(self) -> None:
        """Stop after the stage at work."""
        with self._moved:
            self._closed = True
        for pool in (self._pool, self._beside):
            pool.shutdown(wait=True, cancel_futures=True)
