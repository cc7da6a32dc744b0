"""Stopped anywhere, the store holds the old state or the new one; nothing is lost, nothing half there."""

import errno
import hashlib
import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from hardiness.errors import StoreError
from hardiness.store import folder as disk
from hardiness.store import open_store, readings_intake, records_intake

SCORES = "plant,scored_on,grade\nT1,2026-02-10,3\n"
HERE = Path(__file__).parent


class PowerCutError(Exception):
    """Stands for a program that is stopped."""


def power_cut(*arguments, **options):
    raise PowerCutError


def cut(monkeypatch, module, name, *, at_call=1):
    """Stop the program when a function is called for the nth time."""
    real, calls = getattr(module, name), []

    def maybe(*arguments, **options):
        calls.append(name)
        if len(calls) == at_call:
            raise PowerCutError
        return real(*arguments, **options)

    monkeypatch.setattr(module, name, maybe)


def snapshot(trial):
    return trial.store.state_token(), len(trial.store.history()), len(trial.store.uploads())


# Where an add of readings can be stopped, and the finished files it leaves without a row.
STEPS = [
    pytest.param(disk, "_sync_file", 1, 0, id="part written under its passing name"),
    pytest.param(disk, "_rename", 1, 0, id="part on the disk, not renamed"),
    pytest.param(disk, "_sync_folder", 2, 1, id="part renamed"),
    pytest.param(disk, "_sync_file", 2, 1, id="upload written under its passing name"),
    pytest.param(disk, "_sync_folder", 4, 2, id="upload renamed"),
    pytest.param(readings_intake, "insert_intake", 2, 2, id="before the rows"),
    pytest.param(readings_intake, "note_act", 1, 2, id="before the commit"),
]


@pytest.mark.parametrize(("module", "name", "at_call", "orphans"), STEPS)
def test_readings_stopped_at_any_step_leave_the_old_state(trial, logger, monkeypatch, module, name, at_call, orphans):
    before = snapshot(trial)
    with monkeypatch.context() as patch:
        cut(patch, module, name, at_call=at_call)
        with pytest.raises(PowerCutError):
            trial.add_readings(logger([-4.0, -5.0]))
    assert snapshot(trial) == before and trial.store.readings() == {}
    assert trial.column("sensors", "sensor") == []
    assert len(trial.store.orphans()) == orphans == len(trial.files_kept) and trial.store.faults() == []
    assert trial.add_readings(logger([-4.0, -5.0])).added == 2  # the same file again, over what was left
    assert trial.store.orphans() == [] and trial.store.faults() == []
    assert trial.store.readings_of("L1").values.tolist() == [-4.0, -5.0]


@pytest.mark.parametrize(
    ("module", "name", "orphans"),
    [(records_intake, "add_versions", 0), (disk, "_write_bytes", 0), (disk, "_sync_file", 0), (disk, "_rename", 0),
     (records_intake, "note_rows", 1), (records_intake, "note_act", 1)],
)  # fmt: skip
def test_records_stopped_at_any_step_leave_the_old_state(planted, monkeypatch, module, name, orphans):
    before = snapshot(planted)
    with monkeypatch.context() as patch:
        cut(patch, module, name)
        with pytest.raises(PowerCutError):
            planted.add("scores", SCORES)
    assert snapshot(planted) == before and planted.column("scores", "plant") == []
    assert len(planted.store.orphans()) == orphans and planted.store.faults() == []
    assert planted.add("scores", SCORES).added == 1
    assert planted.store.orphans() == []


def test_a_withdrawal_stopped_before_its_commit_leaves_the_old_state(planted, monkeypatch):
    upload = planted.add("scores", SCORES)
    before = snapshot(planted)
    with monkeypatch.context() as patch:
        patch.setattr("hardiness.store.withdrawals.note_rows", power_cut)
        with pytest.raises(PowerCutError):
            planted.withdraw("scores", "plant,scored_on\nT1,2026-02-10\n")
        with pytest.raises(PowerCutError):
            planted.store.withdraw_upload(upload.sha256)
    assert snapshot(planted) == before


@pytest.mark.parametrize(
    ("number", "sentence"),
    [(errno.ENOSPC, "the disk is full"), (errno.EROFS, "may not be written"), (errno.EACCES, "may not be written"),
     (errno.EIO, "Nothing was stored")],
)  # fmt: skip
def test_a_disk_that_fails_is_a_fault_of_the_machine(planted, logger, monkeypatch, number, sentence):
    def fail(path, data):
        raise OSError(number, os.strerror(number))

    before = snapshot(planted)
    monkeypatch.setattr(disk, "_write_bytes", fail)
    with pytest.raises(StoreError, match=sentence):
        planted.add("scores", SCORES)
    with pytest.raises(StoreError, match=sentence):
        planted.add_readings(logger([-4.0]))
    assert snapshot(planted) == before
    assert not list(planted.folder.rglob("*.unfinished"))


def test_orphans_are_listed_and_removed_and_nothing_else(trial, logger):
    trial.add_readings(logger([-4.0]))
    kept = trial.files_kept
    unfinished = trial.folder / "readings" / "ab12.unfinished"
    stray = trial.folder / "uploads" / hashlib.sha256(b"x").hexdigest()
    for path in (unfinished, stray):
        path.write_bytes(b"x")
        path.chmod(0o444)
    assert trial.store.orphans() == [unfinished, stray]
    assert trial.store.remove_orphans() == [unfinished, stray]
    assert trial.files_kept == kept and trial.store.orphans() == []


def test_withdrawn_uploads_are_no_orphans(trial, logger):
    trial.store.withdraw_upload(trial.add_readings(logger([-4.0])).sha256)
    assert trial.store.orphans() == []


def test_an_upload_that_was_changed_is_a_fault_and_is_mended_by_its_like(trial):
    sha256 = trial.add("selections", "selection\nOL-07\n").sha256
    kept = trial.folder / "uploads" / sha256
    kept.chmod(0o644)
    kept.write_bytes(b"selection\nOL-08\n")
    assert trial.store.faults() == [f"the upload {sha256[:12]} ('selections-1.csv') is not as it came."]
    trial.add("selections", "selection\nOL-07\n", options={"again": True})
    assert trial.store.faults() == []
    kept.unlink()
    assert trial.store.faults()[0].endswith("is gone.")


def test_threads_that_add_at_once_all_succeed_one_after_the_other(planted, settings, logger):
    errors, gate = [], threading.Barrier(4)

    def add(number):
        try:
            with open_store(planted.folder, settings) as store:
                gate.wait()
                for turn in range(3):
                    readings = logger([-float(turn)], start=f"2026-01-{10 + turn}")
                    store.add_readings(readings, f"{number} {turn}".encode(), sensor=f"L{number}")
        except Exception as error:
            errors.append(error)

    threads = [threading.Thread(target=add, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert errors == []
    assert [air.values.tolist() for air in planted.store.readings().values()] == [[0.0, -1.0, -2.0]] * 4
    assert planted.store.faults() == [] and planted.store.orphans() == []


def run(*arguments):
    script = [sys.executable, "-W", "error", str(HERE / "stopped_programs.py"), *map(str, arguments)]
    return subprocess.run(script, capture_output=True, text=True, timeout=300, check=False)


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="the script forks the programs that it kills")
def test_programs_killed_at_random_moments_leave_every_add_whole_or_undone(tmp_path):
    done = run("killed", tmp_path, 20260210, 15)
    assert done.returncode == 0, done.stderr
    stops = int(done.stdout.split()[0])
    assert stops == 15 and "adds finished" in done.stdout


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="the script forks the programs that add at once")
def test_two_programs_that_add_at_once_both_succeed(tmp_path):
    done = run("together", tmp_path, 2, 8)
    assert done.returncode == 0, done.stderr
    assert done.stdout == "2 programs, 16 files, 16 uploads\n"
