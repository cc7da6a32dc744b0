"""Uploads of any size are hashed and kept piece by piece; sensors of one file are taken together or not at all."""

import hashlib
import tracemalloc

import pytest

from hardiness.errors import InputError, StoreError
from hardiness.store import folder as disk
from hardiness.store.folder import hash_upload, keep_upload
from hardiness.store.readings_intake import Incoming, would_add

MEGABYTE = 1 << 20


@pytest.fixture
def large(tmp_path):
    path = tmp_path / "large.csv"
    with path.open("wb") as out:
        for n in range(24):
            out.write(bytes([65 + n]) * MEGABYTE)
    return path


def test_a_large_upload_is_never_held_as_a_whole(trial, large):
    tracemalloc.start()
    kept = keep_upload(trial.store._folder, large)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 6 * MEGABYTE
    assert kept.name == hash_upload(large) == hashlib.sha256(large.read_bytes()).hexdigest()
    assert kept.read_bytes() == large.read_bytes()


def test_a_file_and_its_bytes_are_one_upload(trial, large):
    kept = keep_upload(trial.store._folder, large)
    at = kept.stat().st_mtime_ns
    assert keep_upload(trial.store._folder, large.read_bytes()) == kept
    assert kept.stat().st_mtime_ns == at  # one that is there and whole is left alone


def test_a_file_that_changes_while_it_is_taken_in_is_refused(trial, logger, tmp_path, monkeypatch):
    path = tmp_path / "growing.csv"
    path.write_bytes(b"Time,Temp\n")
    hashed = disk._write_bytes

    def grown(target, upload):
        path.write_bytes(b"Time,Temp\nand more\n")
        return hashed(target, upload)

    monkeypatch.setattr(disk, "_write_bytes", grown)
    with pytest.raises(StoreError, match="changed while it was being taken in"):
        trial.store.add_readings(logger([-1.0]), path, sensor="L1")
    assert trial.files_kept == [] and trial.store.readings() == {}


def test_the_sensors_of_one_file_are_taken_together(trial, logger):
    first, second = logger([-1.0, -2.0]), logger([3.0])
    intakes = trial.store.add_together([Incoming(first, "L1"), Incoming(second, "L2")], b"export", name="two.csv")
    assert [(intake.sensor, intake.added, intake.file) for intake in intakes] == [
        ("L1", 2, "two.csv"),
        ("L2", 1, "two.csv"),
    ]
    assert {name: air.values.tolist() for name, air in trial.store.readings().items()} == {
        "L1": [-1.0, -2.0],
        "L2": [3.0],
    }
    assert len(trial.files_kept) == 3  # one upload, two parts
    token = trial.store.state_token()
    again = trial.store.add_together([Incoming(first, "L1"), Incoming(second, "L2")], b"export", name="two.csv")
    assert all(intake.repeated for intake in again) and trial.store.state_token() == token


def test_what_is_wrong_with_any_of_them_stops_all_and_is_told_at_once(trial, logger):
    trial.add_readings(logger([5.0]), sensor="L1", name="a.csv")
    trial.add_readings(logger([6.0]), sensor="L2", name="b.csv")
    before = trial.files_kept
    incoming = [Incoming(logger([-1.0]), name) for name in ("L1", "L2", "L3")]
    with pytest.raises(InputError) as error:
        trial.store.add_together(incoming, b"export", name="three.csv")
    assert [("'a.csv'" in str(each), "'b.csv'" in str(each)) for each in error.value.problems] == [
        (True, False),
        (False, True),
    ]
    assert trial.files_kept == before and trial.column("sensors", "sensor") == ["L1", "L2"]
    with pytest.raises(InputError, match="'L1' named twice"):
        trial.store.add_together([Incoming(logger([5.0]), "L1"), Incoming(logger([5.0]), " L1 ")], b"export")


def test_a_fault_of_the_machine_half_way_leaves_none_of_them(trial, logger, monkeypatch):
    written = []

    def fail(path, *given, **named):
        written.append(path)
        if len(written) == 2:
            raise OSError(28, "No space left on device")
        path.write_bytes(b"part")

    monkeypatch.setattr("hardiness.store.readings_intake.write_part", fail)
    with pytest.raises(StoreError, match="the disk is full"):
        trial.store.add_together([Incoming(logger([-1.0]), "L1"), Incoming(logger([-2.0]), "L2")], b"export")
    assert trial.store.readings() == {} and trial.column("sensors", "sensor") == []
    trial.store.remove_orphans()
    assert trial.files_kept == []


def test_what_would_be_added_is_told_and_nothing_is_stored(trial, logger):
    trial.add_readings(logger([-1.0, -2.0]), name="a.csv")
    token, kept = trial.store.state_token(), trial.files_kept
    told = trial.store.would_add([Incoming(logger([-1.05, -2.0, -3.0]), "L1"), Incoming(logger([9.0]), "L9")], b"b")
    assert [(intake.sensor, intake.added, intake.unchanged) for intake in told] == [("L1", 1, 2), ("L9", 1, 0)]
    with pytest.raises(InputError, match=r"'a\.csv'"):
        would_add(trial.store._folder, [Incoming(logger([-9.0]), "L1")], b"c")
    assert (trial.store.state_token(), trial.files_kept) == (token, kept)


def test_what_was_chosen_last_is_told_by_sensor(trial, logger):
    assert trial.store.last_choices("L1").unit is None
    first = trial.add_readings(logger([-1.0]), name="a.csv", options={"unit": "F", "time_column": "Logged"})
    trial.add_readings(logger([-1.0], "2026-02-01T00:00"), name="b.csv", options={"unit": "K", "date_order": None})
    choices = trial.store.last_choices("L1")
    assert (choices.unit, choices.time_column, choices.date_order) == ("K", "Logged", None)
    assert choices.source == "the last file of L1"
    trial.store.withdraw_upload(first.sha256)
    assert trial.store.last_choices("L1").time_column is None
