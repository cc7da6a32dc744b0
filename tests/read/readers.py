"""What the tests of loggers' files share: a file written and read in one step, and what a refusal says."""

from __future__ import annotations

from pathlib import Path

import pytest

from hardiness.errors import InputError
from hardiness.read.loggers import LoggerFile, read_logger


def read_file(path: Path, **options: object) -> LoggerFile:
    """Read a file; the zone of its times is New York unless an option says otherwise."""
    return read_logger(path, **({"timezone": None, "default_timezone": "America/New_York"} | options))  # type: ignore[arg-type]


def refusal_of(path: Path, **options: object) -> str:
    """What is said when a file is refused."""
    with pytest.raises(InputError) as error:
        read_file(path, **options)
    return str(error.value)


def times_of(logger: LoggerFile) -> list[str]:
    """The times of the readings, to the second."""
    return [str(time)[:19] for time in logger.air_temperature.time.values]
