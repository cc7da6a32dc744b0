"""How a run ends: exit codes, stdout and stderr, for trials that are empty, unusable, locked, damaged or stopped."""

import errno
import functools
import os
import resource
import signal
import sqlite3
import subprocess
import sys
import time

import pytest
from click.testing import CliRunner

import hardiness.trial
from hardiness.cli import main
from hardiness.store import open_store
from tests.cli.conftest import Ended, Line, as_csv, copied, environment, files_under, program, readings, writing_to

ANSWERS = ("freezes", "exposures", "observations", "floors", "compare", "claims", "history", "uploads")
posix = pytest.mark.skipif(os.name != "posix", reason="POSIX signals, limits and devices")


@pytest.mark.parametrize("verb", ANSWERS)
def test_an_empty_trial_gives_the_header_a_sentence_and_0(line: Line, verb):
    for words in ((verb,), (verb, "--csv", "-")):
        ended = line(*words)
        assert ended.code == 0
        assert ended.out.count("\n") == 1 and ended.out.strip()
        assert ended.err.strip().endswith((".", ")."))
    assert all(name.isidentifier() or name.startswith(("hours_le_-", "held_")) for name in ended.header)


@pytest.mark.parametrize(
    "words, add",
    [
        (("sheet", "sheet.pdf"), "add plants FILE"),
        (("sheet", "sheet.html", "--large"), "add plants FILE"),
        (("card", "card.pdf"), "add selections FILE"),
        (("enter", "scores.csv"), "add plants FILE"),
        (("export", "readings", "readings.nc"), "add readings FILE"),
    ],
    ids=lambda words: " ".join(words[:2]) if isinstance(words, tuple) else "",
)
def test_an_empty_trial_gives_no_paper_and_no_file_but_a_sentence_and_0(line: Line, tmp_path, words, add):
    place = [str(tmp_path / word) if "." in word else word for word in words]
    ended = line(*place)
    assert (ended.code, ended.out) == (0, "")
    assert ended.err.startswith("There ") and f"hardiness {add}" in ended.err and ended.err.count("\n") == 1
    assert [path.name for path in tmp_path.iterdir()] == ["trial"]


@pytest.mark.parametrize(
    "words",
    [
        ("sheet", "s.pdf", "--block", "A"),
        ("card", "c.pdf", "--selection", "A"),
        ("export", "readings", "r.nc", "--sensor", "L"),
    ],
)
def test_a_name_that_an_empty_trial_lacks_is_the_inputs_fault(line: Line, tmp_path, words):
    ended = line(*[str(tmp_path / word) if "." in word else word for word in words])
    assert ended.code == 2 and f"'{words[-1]}'" in ended.err


def test_the_package_runs_as_a_module():
    words = [sys.executable, "-m", "hardiness", "no-such-verb"]
    done = subprocess.run(words, capture_output=True, text=True, check=False, env=environment())
    assert done.returncode == 2 and "Usage: hardiness " in done.stderr and "no-such-verb" in done.stderr


@pytest.mark.parametrize("verb", ("floors", "compare", "claims"))
def test_a_register_without_scores_is_no_fault(planted: Line, verb):
    ended = planted.done(verb, "--csv", "-")
    assert {row["evidence"] for row in ended.rows} == ({"untested"} if verb == "floors" else set())
    assert ended.err.strip()
    assert planted.done("observations", "--csv", "-").rows == []


@pytest.mark.parametrize("verb", ("floors", "compare", "claims"))
@pytest.mark.parametrize(
    "weather, scores, reason",
    [
        (None, "T1,2023-02-20,2,\n", "T1,2023-02-20"),
        (-7.0, "T1,2023-02-20,2,cover\n", "protected"),
        (-7.0, "T1,2022-12-20,2,\n", "no freeze"),
        (-7.0, "T1,2023-02-20,2,\n", "set aside"),
    ],
)
def test_scores_of_which_none_can_be_used_end_2_after_the_untested_rows(planted: Line, verb, weather, scores, reason):
    if weather is not None:
        planted.added("readings", as_csv(readings({"2023-01-10": weather})), "l1.csv", "--sensor", "L1")
    planted.added("scores", "plant,scored_on,grade,protected\n" + scores)
    if reason == "set aside":
        planted.added("freeze_notes", "from,to,note,set_aside\n2023-01-10,2023-01-11,indoors,yes\n")
    ended = planted(verb, "--csv", "-")
    assert ended.code == 2
    if verb == "floors":
        assert len(ended.rows) == 3 and {row["evidence"] for row in ended.rows} == {"untested"}
    else:
        assert ended.rows == []
    assert "Nothing to fit: of 1 score none could be used." in ended.err
    assert (reason in ended.err) or weather is None
    assert "stored" not in ended.err  # nothing was meant to be
    assert ended.err.count("Nothing to fit") == 1


def test_a_plant_without_a_date_of_planting_may_be_why(planted: Line):
    planted.added("plants", "plant,selection,rootstock,block\nT9,OL-07,own,A\n")
    planted.added("readings", as_csv(readings({"2023-01-10": -7.0})), "l1.csv", "--sensor", "L1")
    planted.added("scores", "plant,scored_on,grade\nT9,2023-02-20,2\n")
    for verb, code in (("floors", 2), ("observations", 0)):
        ended = planted(verb)
        assert ended.code == code
        assert "planted_on" in ended.err and "T9" in ended.err and "T1" not in ended.err.split("planted_on")[1]


def test_stored_grades_that_the_scale_no_longer_has_are_refused_in_words(fitted: Line, tmp_path):
    copy = copied(fitted, tmp_path)
    text = (copy.folder / "trial.toml").read_text(encoding="utf-8")
    start, end = text.index("grades = ["), text.index("]", text.index("grades = [")) + 1
    (copy.folder / "trial.toml").write_text(text[:start] + 'grades = ["well", "hurt", "dead"]' + text[end:])
    for verb in ("observations", "floors", "compare", "claims"):
        ended = copy(verb)
        assert ended.code == 2, (verb, ended.err)
        assert "trial.toml, grades: found 3 grades, but 8 scores up to grade 5 (B1 on 2024-02-20" in ended.err
        assert ended.out == ""
    copy.done("freezes")  # what the scale has no part in goes on
    copy.done("exposures")


@pytest.mark.parametrize(
    "old, new, said",
    [
        ('units = "C"', 'units = "K"', "units"),
        ("settle_days = 7.0", "setle_days = 7.0", "Did you mean 'settle_days'?"),
        ('thresholds = ["0 C"', 'thresholds = ["0"', "numbers with units"),
        ("model_held_h = 1.0", "model_held_h = 3.0", "held_h"),
        ("name =", "name", "TOML"),
        ('timezone = "Europe/Madrid"', 'timezone = "Europe/Madird"', "Did you mean 'Europe/Madrid'?"),
    ],
)
def test_a_fault_in_trial_toml_is_the_inputs(line: Line, old, new, said):
    line.retoml(old, new)
    for verb in ("floors", "uploads"):
        ended = line(verb)
        assert ended.code == 2
        assert "trial.toml" in ended.err and said in ended.err and ended.out == ""


def test_a_damaged_database_is_no_fault_of_the_input(line: Line):
    (line.folder / "trial.db").write_bytes(b"this was a database once" * 100)
    ended = line("floors")
    assert ended.code == 1
    assert "trial.db" in ended.err and ended.out == ""


def test_a_lost_database_is_not_taken_for_an_empty_trial(planted: Line):
    (planted.folder / "trial.db").unlink()
    for words in (("floors",), ("add", "selections", planted.file("selection\nOL-09\n"))):
        ended = planted(*words)
        assert ended.code == 1
        assert "trial.db is gone" in ended.err and "3 files" in ended.err
    assert not (planted.folder / "trial.db").exists()


def test_a_locked_trial_ends_1_and_says_so(planted: Line, monkeypatch):
    monkeypatch.setattr(hardiness.trial, "open_store", functools.partial(open_store, wait_s=0.1))
    connection = sqlite3.connect(planted.folder / "trial.db", isolation_level=None)
    connection.execute("BEGIN IMMEDIATE")
    try:
        ended = planted.add("scores", "plant,scored_on,grade\nT1,2023-02-20,2\n")
        assert ended.code == 1
        assert "another program" in ended.err
        planted.done("floors")  # reading goes on
    finally:
        connection.close()
    assert planted.held("scores").empty


def test_a_lost_or_damaged_part_ends_1_and_doctor_names_it(planted: Line):
    planted.added("readings", as_csv(readings({"2023-01-10": -7.0})), "l1.csv", "--sensor", "L1")
    [part] = (planted.folder / "readings").iterdir()
    assert "well" in planted.done("doctor").err
    part.chmod(0o644)
    part.write_bytes(b"CDF?")
    for verb in ("freezes", "doctor"):
        ended = planted(verb)
        assert ended.code == 1
        assert part.name in ended.err or "l1.csv" in ended.err
        assert ended.out == ""
    part.unlink()
    assert planted("floors").code == 1


def test_doctor_removes_what_a_stopped_run_left_behind(planted: Line):
    before = files_under(planted.folder)
    (planted.folder / "readings").mkdir(exist_ok=True)
    (planted.folder / "readings" / "abc.unfinished").write_bytes(b"half")
    ended = planted.done("doctor")
    assert "abc.unfinished" in ended.err
    assert set(files_under(planted.folder)) - {"readings"} == set(before)


@posix
@pytest.mark.parametrize("table", ["plants", "readings"])
def test_a_disk_without_room_ends_1_and_stores_nothing(planted: Line, table):
    size = (planted.folder / "trial.db").stat().st_size

    if table == "plants":
        rows = [f"X{number},OL-07,own,{'n' * 200}" for number in range(2000)]
        file = planted.file("\n".join(["plant,selection,rootstock,notes", *rows]))
        words = ("add", "plants", file)
    else:
        many = readings({f"2023-{month:02d}-10": -7.0 for month in (1, 2)}, step_min=1, days=3)
        words = ("add", "readings", planted.file(as_csv(many)), "--sensor", "L1", "--timezone", "UTC")
    before = planted.state
    roomy = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size + 4096, roomy[1]))
    try:
        ended = planted(*words)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, roomy)
    assert ended.code == 1, ended.err
    assert ended.err.startswith("hardiness: ") and ended.out == ""
    assert planted.state[:3] == before[:3]
    planted.done("doctor")  # takes away files that no record names
    assert planted.state == before
    planted.done(*words)  # with room it is taken


@posix
def test_a_csv_file_without_room_keeps_the_old_one_and_is_named(fitted: Line, tmp_path):
    path = tmp_path / "e.csv"
    path.write_text("old")
    roomy = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (64, roomy[1]))
    try:
        ended = fitted("exposures", "--csv", str(path))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, roomy)
    assert ended.code == 1
    assert f"{path}: " in ended.err and ended.out == ""
    assert files_under(tmp_path) == ["e.csv"] and path.read_text() == "old"


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no /dev/full here")
def test_a_full_disk_under_stdout_ends_1(fitted: Line, capsys):
    with open("/dev/full", "w") as full:  # closing it fails where something is left that could not be written
        assert writing_to(full, "freezes", "--csv", "-", "--trial", fitted.folder) == 1
    assert os.strerror(errno.ENOSPC) in capsys.readouterr().err


@posix
@pytest.mark.skipif(hasattr(os, "geteuid") and os.geteuid() == 0, reason="root may write everywhere")
def test_a_folder_that_may_only_be_read_ends_1(planted: Line):
    before = planted.state
    for path in (planted.folder / "trial.db", planted.folder):
        path.chmod(path.stat().st_mode & ~0o222)
    try:
        ended = planted.add("scores", "plant,scored_on,grade\nT1,2023-02-20,2\n")
        assert ended.code == 1
        assert "writ" in ended.err
        planted.done("floors")  # reading goes on
    finally:
        for path in (planted.folder, planted.folder / "trial.db"):
            path.chmod(path.stat().st_mode | 0o200)
    assert planted.state == before


def heed_ctrl_c() -> None:
    """Let a program hear of Ctrl-C also where these tests do not."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@posix
def test_ctrl_c_ends_130_without_a_traceback_and_leaves_a_sound_trial(tmp_path):
    folder = tmp_path / "demo"
    with subprocess.Popen(
        [sys.executable, "-m", "hardiness.cli", "demo", str(folder)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8", env=environment(), preexec_fn=heed_ctrl_c,
    ) as ran:  # fmt: skip
        first = ran.stderr.readline()
        ran.send_signal(signal.SIGINT)
        out, err = ran.communicate(timeout=60)
    assert "selections.csv" in first
    assert ran.returncode == 130
    assert "Traceback" not in err and "stopped" in err and out == ""
    assert Line(folder, tmp_path)("doctor").code == 0


@posix
def test_a_reader_that_has_had_enough_is_no_fault(fitted: Line, capsys):
    reading, writing = os.pipe()
    os.close(reading)
    with open(writing, "w") as pipe:
        assert writing_to(pipe, "exposures", "--csv", "-", "--trial", fitted.folder) == 0
    assert "hardiness:" not in capsys.readouterr().err


@pytest.mark.parametrize("verb", ["freezes", pytest.param("floors", marks=pytest.mark.slow)])
def test_stdout_of_a_program_holds_nothing_but_the_table(fitted: Line, verb):
    ran = program(verb, "--csv", "-", "--trial", fitted.folder)
    assert ran.returncode == 0
    ended = Ended(ran.returncode, ran.stdout, ran.stderr)
    assert ended.rows and all(None not in row and None not in row.values() for row in ended.rows)
    assert not set("\r\x1b") & set(ran.stdout + ran.stderr)
    assert ended == fitted.done(verb, "--csv", "-")  # the same bytes, run for run


def test_names_survive_a_pipe_whose_encoding_lacks_them(line: Line, tmp_path):
    line.added("selections", "selection\nオリーブ\n")
    line.added("plants", "plant,selection,rootstock\n木1,オリーブ,own\n")
    with open(tmp_path / "out", "w", encoding="ascii") as pipe:
        assert writing_to(pipe, "floors", "--trial", line.folder) == 0
    text = (tmp_path / "out").read_bytes().decode("utf-8")
    assert "オリーブ" in text and "°C" in text


@pytest.mark.slow
@pytest.mark.parametrize("closed", ["pipe", "full"])
def test_a_program_whose_stdout_takes_nothing_ends_without_a_traceback(fitted: Line, closed):
    with open("/dev/full" if closed == "full" else os.devnull, "w") as full, subprocess.Popen(
        [sys.executable, "-m", "hardiness.cli", "exposures", "--csv", "-", "--trial", str(fitted.folder)],
        stdout=full if closed == "full" else subprocess.PIPE, stderr=subprocess.PIPE, env=environment(),
    ) as ran:  # fmt: skip
        if ran.stdout is not None:
            ran.stdout.close()
        err = ran.stderr.read().decode()
    assert ran.returncode == (1 if closed == "full" else 0)
    assert "Traceback" not in err and "Exception ignored" not in err


def test_a_fault_of_ours_ends_1_with_one_sentence(line: Line, monkeypatch):
    def breaks(*_: object, **__: object) -> None:
        raise ZeroDivisionError("by nothing")

    monkeypatch.setattr(hardiness.trial.Trial, "flow", breaks)
    ran = CliRunner().invoke(main, ["floors", "--trial", str(line.folder)])
    assert ran.exit_code == 1
    assert "a fault of ours: ZeroDivisionError: by nothing" in ran.output and "Traceback" not in ran.output
    ran = CliRunner().invoke(main, ["floors", "--trial", str(line.folder)], env={"HARDINESS_TRACEBACK": "1"})
    assert "Traceback" in ran.output


@pytest.mark.slow
@posix
def test_ctrl_c_at_any_moment_ends_130(tmp_path):
    for moment in (0.2, 0.4, 0.8, 1.2, 1.6, 2.0):
        with subprocess.Popen(
            [sys.executable, "-m", "hardiness.cli", "demo", str(tmp_path / f"demo-{moment}")],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8", env=environment(), preexec_fn=heed_ctrl_c,
        ) as ran:  # fmt: skip
            time.sleep(moment)
            ran.send_signal(signal.SIGINT)
            _, err = ran.communicate(timeout=60)
        # Before the program has begun, Python itself dies of the signal, which a shell calls 130 too.
        begun = "stopped" in err
        assert ran.returncode == (130 if begun else -signal.SIGINT), (moment, err)
        assert "Traceback" not in err or not begun
