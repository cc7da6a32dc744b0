"""A public checker of the CF conventions finds nothing wrong with what is exported, and does find what is broken.

The checker (compliance-checker, of the test extras) reads files by netCDF4, which brings a second HDF5 library: two of
them must not share a process, so it runs as a program of its own, and nothing here imports it.
"""

import ast
import json
import platform
import shutil
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest
import xarray as xr

from hardiness.demo import DEMO_STEPS, demo_folder
from hardiness.trial import open_trial
from tests.cli.conftest import hardiness
from tests.sources import ROOT
from tests.store.test_cf_export import exported, of_three_kinds, with_conditions, write_readings

CHECKER = shutil.which("compliance-checker", path=sysconfig.get_path("scripts"))
# One of its own checks stops with a fault on any file of two dimensions without a domain variable (seen in 6.1.0).
FAULTY = "check_domain_variables"
OPENS_OR_WRITES = {"open_dataset", "load_dataset", "open_dataarray", "open_mfdataset", "to_netcdf"}

pytestmark = pytest.mark.skipif(
    CHECKER is None and sys.platform == "linux" and platform.machine() != "x86_64",
    reason="compliance-checker has no wheels for this machine",
)


def faults(*paths: Path) -> dict[str, list[str]]:
    """What the checker has to say against each file, strictly, each with the section of the conventions."""
    assert CHECKER is not None, "the test extras bring compliance-checker: pip install -e '.[test]'"
    told = paths[0].with_suffix(".json")
    ended = subprocess.run(
        [CHECKER, "--test=cf:1.11", f"--skip-checks={FAULTY}", "--criteria=strict", "--format=json_new",
         f"--output={told}", *(str(path) for path in paths)],
        capture_output=True, text=True, check=False, timeout=240,
    )  # fmt: skip
    found = json.loads(told.read_text(encoding="utf-8"))
    assert "exceptions occurred" not in ended.stderr, ended.stderr
    listed = {}
    for path in paths:
        one = found[str(path)]["cf:1.11"]
        assert one["possible_points"] > 200  # it has looked at the variables
        every = one["high_priorities"] + one["medium_priorities"] + one["low_priorities"]
        listed[path.stem] = [f"{each['name']}: {message}" for each in every for message in each["msgs"]]
        assert (not listed[path.stem]) == (one["scored_points"] == one["possible_points"])
    assert (ended.returncode == 0) == (not any(listed.values()))
    return listed


def written(dataset: xr.Dataset, path: Path) -> Path:
    write_readings(dataset, path)
    return path


def test_the_demos_export_follows_the_conventions(tmp_path):
    hill, path = tmp_path / "hill", tmp_path / "demo.nc"
    hill.mkdir()
    shutil.copy(demo_folder() / "trial.toml", hill)
    with open_trial(hill) as trial:
        for step in DEMO_STEPS:
            if step.table == "sensors":
                trial.add_table("sensors", demo_folder() / step.file)
            elif step.table == "readings":
                trial.add_readings(demo_folder() / step.file, **step.options)
    ended = hardiness("export", "readings", path, "--trial", hill)
    assert ended.code == 0 and "of 4 sensors" in ended.err
    assert faults(path) == {"demo": []}


BROKEN = {  # a file each: variable, attribute, what it says, and a word of what the checker says against it
    "misspelt": ("relative_humidity", "standard_name", "relative_humidty", "relative_humidty is not defined"),
    "no such name": ("air_temperature", "standard_name", "temperature_of_air", "temperature_of_air is not defined"),
    "other units": ("wind_speed", "units", "degC", 'Units "degC" for variable wind_speed'),
    "no units": ("dew_point", "units", "furlong", "furlong"),
    "no time": ("time", "units", "seconds", "seconds"),
    "not there": ("cloud_area_fraction", "ancillary_variables", "state", "state"),
    "fewer meanings": ("status", "flag_meanings", "counts masked", "flag_meanings"),
    "other bounds": ("daily_time", "bounds", "daily_status", "daily_status"),
    "no method": ("daily_minimum", "cell_methods", "time: least", "least"),
    "origin of two words": ("origin", "flag_meanings", "measured", "flag_meanings"),
}


@pytest.fixture(scope="module")
def listed(tmp_path_factory) -> dict[str, list[str]]:
    """What the checker says against sound files and broken ones, all looked at in one run of it."""
    folder = tmp_path_factory.mktemp("cf")
    paths = [
        written(made, folder / f"{name}.nc")
        for name, made in (("temperatures", exported()), ("conditions", with_conditions()),
                           ("three kinds", of_three_kinds()), ("days alone", of_three_kinds(only=["D1"])))
    ]  # fmt: skip
    for name, (variable, attribute, broken, _) in BROKEN.items():
        dataset = of_three_kinds()
        assert attribute in dataset[variable].attrs
        dataset[variable].attrs[attribute] = broken
        paths.append(written(dataset, folder / f"{name}.nc"))
    return faults(*paths)


@pytest.mark.parametrize("name", ["temperatures", "conditions", "three kinds", "days alone"])
def test_exported_readings_follow_the_conventions(listed, name):
    assert listed[name] == []


@pytest.mark.parametrize("name", BROKEN)
def test_the_checker_finds_a_broken_attribute(listed, name):
    assert any(BROKEN[name][3] in text for text in listed[name]), listed[name]


def test_every_netcdf_file_is_opened_and_written_by_an_engine_that_is_named():
    # else xarray would take netCDF4's where the checker has brought it, beside h5netcdf's in one process
    calls = [
        (path, node)
        for folder in ("hardiness", "tests", "examples")
        for path in sorted((ROOT / folder).rglob("*.py"))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in OPENS_OR_WRITES
    ]
    assert len(calls) > 10
    unnamed = [(path.name, node.lineno) for path, node in calls if "engine" not in {each.arg for each in node.keywords}]
    assert unnamed == []
    assert "netCDF4" not in sys.modules
