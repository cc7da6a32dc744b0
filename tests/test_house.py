"""The house's own checks: formatting and types hold on every commit."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


@pytest.mark.parametrize("command", [("ruff", "check"), ("ruff", "format", "--check"), ("mypy",)], ids=" ".join)
def test_house_style_holds(command):
    done = subprocess.run([sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-1000:]
