"""The scripts of ``examples/`` run from anywhere, and print what they are there to show."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.sources import ROOT

EXAMPLES = ROOT / "examples"


def run(name: str, folder: Path) -> list[str]:
    """Run a script in a folder of its own, warnings as errors; the lines it prints."""
    done = subprocess.run(
        [sys.executable, "-W", "error", str(EXAMPLES / name)],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=300,
        encoding="utf-8",
    )
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout.splitlines()


def numbers_in(line: str) -> list[float]:
    return [float(number) for number in re.findall(r"(?<![\w.])-?\d+(?:\.\d+)?", line)]


def test_every_example_is_tried_here_and_is_short():
    scripts = {path.name: path.read_text(encoding="utf-8") for path in EXAMPLES.glob("*.py")}
    assert set(scripts) == {"freezes_of_one_logger.py", "floors_from_a_table.py", "whole_trial.py"}
    assert all(20 <= len(text.splitlines()) <= 50 for text in scripts.values())


def test_freezes_of_one_logger(tmp_path):
    lines = run("freezes_of_one_logger.py", tmp_path)
    # By hand: from 6.5 at 14:00 to -5.8 at 02:00 the line meets 0 after 12 * 6.5 / 12.3 h, at 20:20; the 5.4 h above 0
    # on the 15th end nothing, the 13.5 h on the 16th do, and -0.6 on the 17th is no freeze to list.
    assert lines[0] == "14 Dec 20:20 to 16 Dec 10:32 UTC: -7.4 degC at the coldest,"
    assert lines[3] == "17 Dec 22:23 to 18 Dec 05:21 UTC: -3.1 degC at the coldest,"
    assert [line.split(":")[0] for line in lines[-3:]] == [f"in all at or below {t} degC" for t in (0, -2, -5)]
    assert [numbers_in(line)[-1] for line in lines[-3:]] == pytest.approx([39.75, 25.30, 7.89], abs=0.06)
    assert list(tmp_path.iterdir()) == []


def test_floors_from_a_table(tmp_path):
    lines = run("floors_from_a_table.py", tmp_path)
    assert [line.split(";")[0] for line in lines[:3]] == [
        "S-1 on P2: bracketed, 1 of 3 dead",
        "S-2 on P2: bracketed, 2 of 3 dead",
        "S-2 on own: bracketed, 1 of 1 dead",
    ]
    for line in lines[:3]:
        floor, low, high = numbers_in(line)[-3:]
        assert low < floor < high
    probability, by, least, most = numbers_in(lines[3])[-4:]
    assert probability > 0.9 and 0 < least < by < most
    warm_to_cold = [numbers_in(line)[-3:] for line in lines[4:7]]
    assert all(low <= middle <= high for middle, low, high in warm_to_cold)
    assert [middle for middle, _, _ in warm_to_cold] == sorted((m for m, _, _ in warm_to_cold), reverse=True)


@pytest.mark.slow
def test_whole_trial(tmp_path):
    lines = run("whole_trial.py", tmp_path)
    assert re.fullmatch(r"\d+ files added, \d+ remarks on them\. The first: .+\.csv: .+", lines[0])
    freezes, observations, _ = numbers_in(lines[1])
    assert freezes > 20 and observations > 300
    rows = [numbers_in(line)[-4:] for line in lines[3:8]]
    floors = [floor for floor, *_ in rows]
    assert floors == sorted(floors) and len(rows) == 5
    for floor, low, high, claimable in rows:
        assert low < floor < high <= claimable
    assert lines[8:] == ["The chart is whole_trial.png."]
    assert (tmp_path / "whole_trial.png").read_bytes().startswith(b"\x89PNG")
