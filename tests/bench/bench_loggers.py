"""How fast a logger's export is read: rows a second, beside pandas on the same file in the same run.

Run as a script::

    python tests/bench/bench_loggers.py [--rows 1000000] [--repeats 5]
    python tests/bench/bench_loggers.py --big [--megabytes 300] [--humidity]

Each dialect is read end to end (file to UTC and degC, with all its checks) and, for comparison, by ``pandas.read_csv``
and ``pandas.to_datetime(format=...)`` alone. The best of the repeats counts, taken in turns. The last column adds what
follows in a trial: the SHA-256 of the file, and one NetCDF part written.

``--big`` writes one large file, takes it into a new trial by ``hardiness add readings``, a program of its own, and
tells how long that took and how much memory it held at most.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from hardiness.read.loggers import LoggerFile, read_logger
from hardiness.store.part_files import write_part

STARTS = np.datetime64("2019-01-01T00:00", "s")


@dataclass(frozen=True)
class Case:
    """One way to write times, how pandas reads it, and the least rows a second asked for."""

    name: str
    style: str
    pandas_format: str | None
    least: float


CASES = (
    Case("ISO, minutes", "%Y-%m-%d %H:%M", "%Y-%m-%d %H:%M", 0.5),
    Case("ISO, seconds and Z", "%Y-%m-%dT%H:%M:%SZ", "%Y-%m-%dT%H:%M:%SZ", 0.5),
    Case("epoch seconds", "epoch", None, 0.5),
    Case("day.month.year", "%d.%m.%Y %H:%M", "%d.%m.%Y %H:%M", 0.3),
    Case("12-hour clock", "%m/%d/%Y %I:%M:%S %p", "%m/%d/%Y %I:%M:%S %p", 0.3),
    Case("month name, 12-hour", "%d-%b-%Y %I:%M %p", "%d-%b-%Y %I:%M %p", 0.3),
)


def write_file(path: Path, case: Case, rows: int) -> None:
    """Write one reading a minute over some winters, with noise, in hundredths of a degree."""
    instants = STARTS + np.arange(rows) * np.timedelta64(60, "s")
    hours = np.arange(rows) / 60
    noise = np.random.default_rng(7).normal(0, 0.3, rows)
    celsius = 6 - 9 * np.cos(hours / 8766 * 2 * np.pi) - 5 * np.cos(hours / 24 * 2 * np.pi) + noise
    if case.style == "epoch":
        texts = pd.Series(instants.astype(np.int64)).astype(str)
    else:
        texts = pd.Series(pd.DatetimeIndex(instants).strftime(case.style))
    temperatures = pd.Series(np.round(celsius, 2)).map("{:.2f}".format)
    path.write_text("time,temp (C)\n" + "\n".join(texts + "," + temperatures) + "\n", encoding="utf-8")


def read_with_pandas(path: Path, case: Case) -> int:
    """Read a file with pandas alone: no checks, no zone, no units."""
    table = pd.read_csv(path)
    if case.pandas_format is None:
        return len(pd.to_datetime(table["time"], unit="s"))
    return len(pd.to_datetime(table["time"], format=case.pandas_format))


def read_here(path: Path) -> LoggerFile:
    """Read a file as the package does."""
    return read_logger(path, timezone="UTC", default_timezone="UTC")


def keep(logger: LoggerFile, path: Path, folder: Path) -> None:
    """Do what a trial does next: hash the file, write a part."""
    with path.open("rb") as stream:
        digest = hashlib.file_digest(stream, "sha256").hexdigest()
    part = folder / f"{digest[:16]}.nc"
    write_part(part, logger, sensor="L1", sha256=digest, place=(41.2, -8.1), at="2023-02-03T22:00:00+00:00")
    part.unlink()


def timed(action: Callable[[], object]) -> float:
    """Seconds an action takes."""
    began = time.perf_counter()
    action()
    return time.perf_counter() - began


def write_big(path: Path, megabytes: int, *, humidity: bool) -> int:
    """Write one reading every ten seconds, day by day, until the file is large; give the number of rows."""
    seconds = range(0, 86_400, 10)
    tails = [f"{s // 3600:02d}:{s // 60 % 60:02d}:{s % 60:02d},{5 * np.cos(s / 43_200 * np.pi):.2f}" for s in seconds]
    if humidity:
        tails = [f"{tail},{60 + s % 399 / 10:.1f}" for tail, s in zip(tails, seconds, strict=True)]
    day, rows = np.datetime64("1990-01-01"), 0
    with path.open("w", encoding="utf-8") as out:
        out.write(f"time,temp (C){',RH (%)' if humidity else ''}\n")
        while out.tell() < megabytes * 1_000_000:
            out.write(f"{day} " + f"\n{day} ".join(tails) + "\n")
            day, rows = day + 1, rows + len(tails)
    return rows


def run(*words: str) -> tuple[float, int]:
    """Run the command line as a program of its own: seconds, and the most memory it held [bytes]."""
    began = time.perf_counter()
    child = os.spawnv(os.P_NOWAIT, sys.executable, [sys.executable, "-m", "hardiness.cli", *words])
    _, status, used = os.wait4(child, 0)
    if status:
        raise SystemExit(f"hardiness {' '.join(words)} ended {os.waitstatus_to_exitcode(status)}")
    return time.perf_counter() - began, used.ru_maxrss * 1024


def take_big(megabytes: int, zone: str, *, humidity: bool) -> None:
    """Take a large file into a new trial and print what that took."""
    with tempfile.TemporaryDirectory() as name:
        folder, path = Path(name) / "trial", Path(name) / "big.csv"
        rows = write_big(path, megabytes, humidity=humidity)
        run("new", str(folder), "--name", "Big", "--timezone", zone, "--latitude", "41", "--longitude", "-8")
        took, held = run("add", "readings", str(path), "--sensor", "L1", "--trial", str(folder))
        size = path.stat().st_size
        what = f"{size / 1e6:.0f} MB, {rows / 1e6:.1f} M rows{' with humidity' if humidity else ''}, zone {zone}"
        print(f"{what}: {took:.0f} s, {held / 1e6:.0f} MB held at most ({held / size:.1f} times the file)")
        if humidity:
            took, held = run("freezes", "--air", "--csv", str(Path(name) / "air.csv"), "--trial", str(folder))
            print(f"freezes --air: {took:.0f} s, {held / 1e6:.0f} MB held at most")


def main() -> None:
    """Print a line for each dialect, or one for a large file."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--big", action="store_true")
    parser.add_argument("--megabytes", type=int, default=300)
    parser.add_argument("--humidity", action="store_true")
    parser.add_argument("--timezone", default="UTC")
    options = parser.parse_args()
    if options.big:
        take_big(options.megabytes, options.timezone, humidity=options.humidity)
        return
    million = options.rows / 1e6
    print(f"{options.rows} rows, best of {options.repeats}; pandas {pd.__version__}, numpy {np.__version__}")
    columns = ("times", "MB", "here s", "pandas s", "here/pandas", "M rows/s", "asked", "with hash and part, s")
    print("{:22}{:>6}{:>9}{:>10}{:>13}{:>10}{:>7}{:>23}".format(*columns))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for case in CASES:
            path = folder / "readings.csv"
            write_file(path, case, options.rows)
            logger = read_here(path)
            here, other, kept = [], [], []
            for _ in range(options.repeats):  # in turns, so that a busy machine slows all alike
                here.append(timed(lambda path=path: read_here(path)))
                other.append(timed(lambda path=path, case=case: read_with_pandas(path, case)))
                kept.append(timed(lambda path=path, logger=logger: keep(logger, path, folder)))
            best, theirs, whole = min(here), min(other), min(here) + min(kept)
            print(
                f"{case.name:22}{path.stat().st_size / 1e6:6.1f}{best:9.3f}{theirs:10.3f}{best / theirs:13.2f}"
                f"{million / best:10.2f}{case.least:7.1f}{whole:23.3f}"
            )


if __name__ == "__main__":
    main()
