"""The same work for many sensors, done here, by several processes of this machine, or by a dask cluster.

In: a function, the tasks, and who is to work. Out: the results in the order of the tasks, the same whoever did it. A
fault in a worker is the error that the function raised there.
"""

from __future__ import annotations

import signal
from collections.abc import Callable, Sequence
from concurrent.futures import CancelledError, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from typing import Any, TypeVar

from hardiness.computing import Compute
from hardiness.errors import HardinessError

Task = TypeVar("Task")
Result = TypeVar("Result")

WORTH_IT = (
    50_000_000  # [1] readings from which on processes pay: up to 40 million their start cost more than they saved
)
WAIT_S = 10  # [s] for a scheduler to answer


def spread(work: Callable[[Task], Result], tasks: Sequence[Task], compute: Compute, *, readings: int) -> list[Result]:
    """Do the same work for every task.

    Parameters
    ----------
    work : callable
        Takes a task. It and the tasks can be pickled.
    tasks : sequence
        What to work on.
    compute : Compute
        Who works.
    readings : int
        How many readings the tasks have in all: few are worked out here, whatever ``compute`` says.

    Returns
    -------
    list
        A result for each task.

    Raises
    ------
    HardinessError
        If the cluster does not answer, has no worker or is lost, dask is not installed, or a worker was stopped from
        outside.

    Examples
    --------
    >>> spread(abs, [-3, 2], Compute(workers=2), readings=2)
    [3, 2]
    """
    if readings < WORTH_IT or len(tasks) < 2 or compute == Compute():
        return [work(task) for task in tasks]
    if compute.scheduler is not None:
        return _by_cluster(work, tasks, compute.scheduler)
    return _by_processes(work, tasks, min(compute.workers, len(tasks)))


def _by_processes(work: Callable[[Task], Result], tasks: Sequence[Task], workers: int) -> list[Result]:
    # Spawned, not forked: a fork after threads (of the web pages, of a numerical library) may hang.
    pool = ProcessPoolExecutor(workers, get_context("spawn"), initializer=_leave_interrupts_to_parent)
    try:
        return list(pool.map(work, tasks))
    except BrokenProcessPool:
        raise HardinessError(
            "A worker process was stopped before it was done; often the memory was full. Set fewer workers under "
            "[compute] in trial.toml (workers = 1 needs the least memory), and repeat the command: nothing is lost."
        ) from None
    finally:
        pool.shutdown(wait=True, cancel_futures=True)  # after Ctrl-C no more than the tasks in hand are waited for


def _leave_interrupts_to_parent() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _by_cluster(work: Callable[[Task], Result], tasks: Sequence[Task], scheduler: str) -> list[Result]:
    try:
        from distributed import Client, KilledWorker
    except ImportError:
        raise HardinessError(
            f"trial.toml asks for the dask cluster at {scheduler}, and dask is not installed: "
            "pip install 'hardiness[cluster]', or take 'scheduler' out of [compute]."
        ) from None
    try:
        client: Any = Client(scheduler, timeout=WAIT_S, set_as_default=False)  # type: ignore[no-untyped-call,unused-ignore]
    except OSError as error:
        raise HardinessError(
            f"The dask scheduler at {scheduler} does not answer ({error}). Start it, or take 'scheduler' out of "
            "[compute] in trial.toml."
        ) from None
    with client:
        _wait_for_a_worker(client, scheduler)
        # pure: off, because files that a task names may have changed since the same task was done
        futures = client.map(work, tasks, pure=False)
        try:
            results: list[Result] = client.gather(futures)
        except KilledWorker:
            raise HardinessError(
                f"Workers of the dask cluster at {scheduler} were stopped again and again over the same sensor; often "
                "their memory was full. Give each worker more memory or start fewer on one machine, and repeat the "
                "command: nothing is lost. Or take 'scheduler' out of [compute] in trial.toml."
            ) from None
        except CancelledError:
            raise HardinessError(
                f"The dask scheduler at {scheduler} was lost before the work was done. Start it again and repeat the "
                "command, or take 'scheduler' out of [compute] in trial.toml."
            ) from None
        finally:
            client.cancel(futures)  # after a fault or Ctrl-C the rest is not worked out
    return results


def _wait_for_a_worker(client: Any, scheduler: str) -> None:
    try:
        client.wait_for_workers(1, timeout=WAIT_S)
    except TimeoutError:
        raise HardinessError(
            f"The dask scheduler at {scheduler} has no worker. Start one (dask worker {scheduler}), or take "
            "'scheduler' out of [compute] in trial.toml."
        ) from None
