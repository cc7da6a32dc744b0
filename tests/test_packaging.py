"""What is published works elsewhere: wheel and sdist are built, installed into a bare environment, and run."""

import os
import subprocess
import sys
import tarfile
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


def run(*command, cwd, **variables):
    kept = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "VIRTUAL_ENV")}
    done = subprocess.run(
        [str(part) for part in command], cwd=cwd, env=kept | variables, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-3000:]
    return done


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    folder = tmp_path_factory.mktemp("dist")
    run(sys.executable, "-m", "build", "--no-isolation", "--outdir", folder, ROOT, cwd=folder)
    (wheel,) = folder.glob("*.whl")
    (sdist,) = folder.glob("*.tar.gz")
    return wheel, sdist


@pytest.mark.slow
def test_wheel_and_sdist_carry_the_demo_the_fonts_and_the_licence(built):
    wheel, sdist = built
    names = zipfile.ZipFile(wheel).namelist()
    for ending in (
        "data_demo/trial.toml",
        "data_demo/truth.csv",
        "fonts/OFL.txt",
        "licenses/LICENSE",
        "web/static/htmx.min.js",
        "web/static/htmx.LICENSE.txt",
        "web/static/uplot.LICENSE.txt",
        "web/templates/base.html",
    ):
        assert any(name.endswith(ending) for name in names), ending
    assert sum(name.startswith("hardiness/data_demo/readings/") for name in names) >= 17
    assert not any(name.startswith("tests/") for name in names)
    with tarfile.open(sdist) as archive:
        inside = {name.split("/", 1)[-1] for name in archive.getnames()}
    assert {"README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "data_demo/make.py", "tests/simulate.py"} <= inside


@pytest.mark.slow
def test_the_wheel_runs_the_main_job_in_a_bare_environment_elsewhere(built, tmp_path):
    """Only what pyproject.toml asks for is installed: a dependency that is used but not named shows here."""
    venv.create(tmp_path / "bare", with_pip=True)
    python = tmp_path / "bare" / "bin" / "python"
    run(python, "-m", "pip", "install", "-q", built[0], cwd=tmp_path)
    done = run(tmp_path / "bare" / "bin" / "hardiness", "demo", "made", cwd=tmp_path, HARDINESS_TRACEBACK="1")
    assert "OL-12" in done.stdout and "An estimate" not in done.stdout
    assert (tmp_path / "made" / "summary.png").stat().st_size > 50_000
    told = run(python, "-c", "import hardiness; print(hardiness.open_trial('made').floors().shape[0])", cwd=tmp_path)
    assert int(told.stdout) > 50
