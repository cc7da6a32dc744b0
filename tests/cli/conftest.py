"""A trial driven from its command line, and weather whose freezes can be worked out by hand."""

import csv
import inspect
import io
import os
import pickle
import shutil
import subprocess
import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner

import hardiness.flow as hardiness_flow
from hardiness.cli import main
from hardiness.trial import open_trial

MILD_C = 5.0  # air between freezes


@dataclass
class Ended:
    """How a run ended: exit code, what stood on stdout, what stood on stderr."""

    code: int
    out: str
    err: str

    @property
    def rows(self) -> list[dict[str, str]]:
        """Stdout as CSV, every cell as text."""
        return list(csv.DictReader(io.StringIO(self.out)))

    @property
    def header(self) -> list[str]:
        """The header row of stdout as CSV."""
        return next(csv.reader(io.StringIO(self.out)))

    def problems(self, file: str) -> list[str]:
        """The lines of stderr that name a place in a file."""
        return [line for line in self.err.splitlines() if line.startswith(f"{file}, ") or line.startswith(f"{file}:")]


def hardiness(*words: str | Path) -> Ended:
    """Run the command line in this process."""
    apart = "mix_stderr" in inspect.signature(CliRunner.__init__).parameters
    ran = CliRunner(**({"mix_stderr": False} if apart else {})).invoke(main, [str(word) for word in words])
    assert "Traceback" not in ran.output
    assert "a fault of ours" not in ran.output, ran.output
    return Ended(ran.exit_code, ran.stdout, ran.stderr)


@dataclass
class Line:
    """A trial, and a folder beside it for the files that are added."""

    folder: Path
    beside: Path
    written: int = field(default=0)

    def __call__(self, *words: str | Path) -> Ended:
        """Run a verb on the trial."""
        return hardiness(*words, "--trial", self.folder)

    def done(self, *words: str | Path) -> Ended:
        """Run a verb that must end well."""
        ended = self(*words)
        assert ended.code == 0, ended.err
        return ended

    def file(self, content: str | bytes, name: str | None = None) -> Path:
        """Write a file to add."""
        self.written += 1
        path = self.beside / (name or f"file-{self.written}.csv")
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    def add(self, table: str, content: str | bytes, name: str | None = None, *options: str) -> Ended:
        """Add a table given as text."""
        return self("add", table, self.file(content, name), *options)

    def added(self, table: str, content: str | bytes, name: str | None = None, *options: str) -> Ended:
        """Add a table that must be taken."""
        ended = self.add(table, content, name, *options)
        assert ended.code == 0, ended.err
        return ended

    def csv(self, *words: str) -> list[dict[str, str]]:
        """The rows that a verb writes as CSV."""
        return self.done(*words, "--csv", "-").rows

    def held(self, table: str) -> pd.DataFrame:
        """The records of a table that count."""
        with open_trial(self.folder) as trial:
            return trial.store.current(table)

    @property
    def state(self) -> tuple[object, ...]:
        """All that is stored: what counts, what was done, and every file."""
        with open_trial(self.folder) as trial:
            acts = trial.store.history().to_csv(), trial.store.uploads().to_csv()
            return trial.store.state_token(), *acts, *files_under(self.folder)

    def retoml(self, old: str, new: str) -> None:
        """Change a line of trial.toml."""
        path = self.folder / "trial.toml"
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new), encoding="utf-8")


def files_under(folder: Path) -> list[str]:
    """Every file of a folder but the database, by its path in it."""
    files = (path for path in folder.rglob("*") if path.is_file() and path.name != "trial.db")
    return sorted(path.relative_to(folder).as_posix() for path in files)


def refused(line: Line, table: str, content: str | bytes, name: str | None = None, *options: str) -> Ended:
    """Add what must be refused, and see that nothing was stored."""
    before = line.state
    ended = line.add(table, content, name, *options)
    assert ended.code == 2, (ended.code, ended.err)
    assert ended.out == ""
    assert ended.err.strip()
    assert line.state == before
    return ended


def readings(nights: Mapping[str, float], *, step_min: int = 60, days: int = 1) -> list[tuple[datetime, float]]:
    """Local times and temperatures around freezes: +5 C falls from 20:00 to a minimum at 02:00, which stays until 06:00
    and is over at 12:00. Each night is named by the day on which it begins; ``days`` mild ones stand around them.
    """
    starts = [datetime.fromisoformat(night) for night in nights]
    dates = sorted({start + timedelta(days=day) for start in starts for day in range(-days, days + 2)})
    minutes = range(0, 24 * 60, step_min)
    times = [date + timedelta(minutes=minute) for date in dates for minute in minutes]
    return [(time, round(_temperature(time, nights), 4)) for time in times]


def _temperature(time: datetime, nights: Mapping[str, float]) -> float:
    evening = time - timedelta(hours=12)  # the night's own day
    minimum = nights.get(evening.date().isoformat())
    if minimum is None:
        return MILD_C
    hour = (evening - datetime.fromisoformat(evening.date().isoformat())) / timedelta(hours=1) + 12  # 12 .. 36
    down = min(max((hour - 20) / 6, 0), 1)
    up = min(max((hour - 30) / 6, 0), 1)
    return MILD_C - (MILD_C - minimum) * (down - up)


def as_csv(rows: Iterable[tuple[datetime, float]], header: str = "Date Time,Temp (C)") -> str:
    """Readings as a logger's program writes them."""
    return "\n".join([header, *(f"{time:%Y-%m-%d %H:%M},{value:g}" for time, value in rows), ""])


def writing_to(stream: io.TextIOBase, *words: str | Path) -> int:
    """Run the command line in this process with another stdout; gives the exit code."""
    with pytest.MonkeyPatch.context() as patch, pytest.raises(SystemExit) as end:
        patch.setattr(sys, "stdout", stream)
        main([str(word) for word in words])
    return end.value.code


class Terminal(io.StringIO):
    """A stdout that says it is a terminal."""

    def isatty(self) -> bool:
        return True


def program(*words: str | Path, cwd: Path | None = None, **options: object) -> subprocess.CompletedProcess[str]:
    """Run the command line as a program of its own."""
    command = [sys.executable, "-m", "hardiness.cli", *(str(word) for word in words)]
    settings = {"capture_output": True, "encoding": "utf-8", "cwd": cwd, "timeout": 120} | options
    return subprocess.run(command, env=environment(), check=False, **settings)


def environment(**more: str) -> dict[str, str]:
    """The variables for a program of its own, warnings being errors there too."""
    return {**os.environ, "PYTHONWARNINGS": "error", **more}


def made_in(beside: Path) -> Line:
    """A new trial in Madrid, with nothing in it."""
    made = Line(beside / "trial", beside)
    words = ("--name", "Hill", "--timezone", "Europe/Madrid", "--latitude", "40.4", "--longitude", "-3.7")
    ended = hardiness("new", made.folder, *words)
    assert ended.code == 0, ended.err
    return made


def copied(template: Line, beside: Path) -> Line:
    """A copy of a trial that was made once."""
    shutil.copytree(template.folder, beside / "trial")
    return Line(beside / "trial", beside)


@pytest.fixture(scope="session")
def empty_template(tmp_path_factory):
    return made_in(tmp_path_factory.mktemp("empty"))


@pytest.fixture(scope="session")
def planted_template(tmp_path_factory):
    made = made_in(tmp_path_factory.mktemp("planted"))
    made.added("selections", "selection,role\nOL-07,\nCK-A,check\n", "selections.csv")
    made.added("sensors", "sensor,kind,block,accuracy_c\nL1,logger,A,0.3\n", "sensors.csv")
    made.added(
        "plants",
        "plant,selection,rootstock,block,planted_on\n"
        "T1,OL-07,stock P,A,2022-04-01\nT2,OL-07,own,A,2022-04-01\nT3,CK-A,own,A,2022-04-01\n",
        "plants.csv",
    )
    return made


@pytest.fixture
def line(empty_template, tmp_path):
    """A new trial in Madrid, with nothing in it."""
    return copied(empty_template, tmp_path)


@pytest.fixture
def planted(planted_template, tmp_path):
    """Two selections, three plants, a logger in their block."""
    return copied(planted_template, tmp_path)


@pytest.fixture(scope="session", autouse=True)
def remembered_fits():
    """Fit the same rows once: verbs on one trial would otherwise fit them again, each in its own run."""
    fits, fit = {}, hardiness_flow.fit_tolerance

    def once(*given, **options):
        key = pickle.dumps((given, options))
        if key not in fits:
            fits[key] = fit(*given, **options)
        return fits[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(hardiness_flow, "fit_tolerance", once)
        yield


@pytest.fixture(scope="session")
def fitted(tmp_path_factory):
    """Three selections on one stock, two of them on another, two winters, deaths: only to be read."""
    made = made_in(tmp_path_factory.mktemp("fitted"))
    made.added(
        "selections",
        "selection,role,claimed_floor,claim_source\n"
        'OL-01,,-12 C,"a letter, 1998"\n"OL-02, red",,10 F,label\nCK-A,check,,\nOL-03,,-9 C,\n',
    )
    plants = {"A": ("OL-01", "own"), "B": ('"OL-02, red"', "own"), "C": ("CK-A", "own"), "D": ("CK-A", "stock P"),
              "E": ("OL-01", "stock P")}  # fmt: skip
    rows = [f"{name}{number},{on[0]},{on[1]},2022-04-01" for name, on in plants.items() for number in (1, 2)]
    made.added("plants", "\n".join(["plant,selection,rootstock,planted_on", *rows, "F1,OL-03,own,2022-04-01", ""]))
    nights = readings({"2023-01-10": -7.0, "2024-01-12": -9.0})
    made.added("readings", as_csv(nights), "l1.csv", "--sensor", "L1")
    grades = {"A1": "01", "A2": "12", "B1": "25", "B2": "34", "C1": "5", "C2": "45", "D1": "4", "D2": "3", "E1": "00",
              "E2": "01"}  # fmt: skip
    given = [(name, 2023 + year, grade) for name, text in grades.items() for year, grade in enumerate(text)]
    rows = [f"{name},{year}-02-20,{grade}" for name, year, grade in given]
    made.added("scores", "\n".join(["plant,scored_on,grade", *rows, ""]))
    return made
