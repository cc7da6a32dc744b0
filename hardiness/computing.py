"""On what a trial is worked out: the section ``[compute]`` of trial.toml.

In: the section as it was parsed. Out: :class:`Compute`. Nothing here changes a number: it says who does the work.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

MOST_WORKERS = 256
SCHEMES = ("tcp://", "tls://")


@dataclass(frozen=True, slots=True)
class Compute:
    """Who works a large trial out.

    Parameters
    ----------
    workers : int
        Processes of this machine that share the work; 1: this process does it all.
    scheduler : str, optional
        Address of a dask scheduler, whose workers see the trial folder under the same path; it goes before ``workers``.
    """

    workers: int = 1
    scheduler: str | None = None


def parse_compute(section: Mapping[str, Any], fault: Callable[[str, object, str], None]) -> Compute:
    """Take the section ``[compute]``; what is wrong in it is told to ``fault``.

    Parameters
    ----------
    section : mapping
        The section; empty where trial.toml has none.
    fault : callable
        Takes the name of a setting, what was found, and what is accepted.

    Returns
    -------
    Compute

    Examples
    --------
    >>> parse_compute({"workers": 2}, print)
    Compute(workers=2, scheduler=None)
    >>> parse_compute({"workers": 0}, print)
    compute.workers 0 a whole number from 1 to 256
    Compute(workers=1, scheduler=None)
    """
    workers, scheduler = section.get("workers", 1), section.get("scheduler")
    if isinstance(workers, bool) or not isinstance(workers, int) or not 1 <= workers <= MOST_WORKERS:
        fault("compute.workers", workers, f"a whole number from 1 to {MOST_WORKERS}")
        workers = 1
    if scheduler is not None and not _is_address(scheduler):
        fault("compute.scheduler", scheduler, 'the address of a dask scheduler, such as "tcp://192.0.2.7:8786"')
        scheduler = None
    return Compute(workers, scheduler)


def compute_section(compute: Compute) -> dict[str, int | str | None]:
    """Give the section ``[compute]`` as trial.toml would have it.

    Parameters
    ----------
    compute : Compute

    Returns
    -------
    dict
        Empty where nothing but the usual is asked for.

    Examples
    --------
    >>> compute_section(Compute()), compute_section(Compute(workers=2))
    ({}, {'workers': 2, 'scheduler': None})
    """
    return {} if compute == Compute() else asdict(compute)


def _is_address(scheduler: object) -> bool:
    if not isinstance(scheduler, str) or not scheduler.startswith(SCHEMES):
        return False
    host, colon, port = scheduler.partition("://")[2].rpartition(":")
    return bool(host and colon) and port.isascii() and port.isdigit() and 0 < int(port) < 65536
