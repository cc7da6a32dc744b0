"""``hardiness new``, ``hardiness demo``, and where a verb looks for its trial."""

import re
import tomllib

import pytest

from hardiness.cli import VERBS
from hardiness.settings_reading import read_settings
from tests.cli.conftest import Line, files_under, hardiness

NEW = ("--name", "Hill", "--timezone", "Europe/Lisbon")


def toml_of(folder):
    return tomllib.loads((folder / "trial.toml").read_text(encoding="utf-8"))


def test_new_makes_a_trial_of_what_it_was_told(tmp_path):
    folder = tmp_path / "deep" / "my trial"
    words = ("--latitude", "41.2", "--longitude", "-7.5", "--elevation", "420")
    ended = hardiness("new", folder, *NEW, *words)
    assert ended.code == 0, ended.err
    assert ended.out == ""
    assert "hardiness add selections" in ended.err and "'" + str(folder) + "'" in ended.err  # quoted for a shell
    toml = toml_of(folder)
    wanted = {"name": "Hill", "timezone": "Europe/Lisbon", "latitude": 41.2, "longitude": -7.5, "elevation_m": 420.0}
    assert {name: toml[name] for name in wanted} == wanted
    assert toml["units"] == "C"
    assert len(toml["scale"]["grades"]) == 6 and toml["scale"]["span_c"] == 6
    freeze = toml["freeze"]
    assert (freeze["onset_c"], freeze["thaw_h"], freeze["damaging_c"], freeze["settle_days"]) == (0, 12, -2, 7)
    assert freeze["held_h"] == [1, 2, 4] and freeze["model_held_h"] == 1
    assert freeze["thresholds"] == ["0 C", "-2 C", "-4 C", "-6 C", "-8 C", "-10 C"]
    assert (folder / "trial.db").is_file()


def test_without_a_latitude_new_says_which_winters_are_meant(tmp_path):
    ended = hardiness("new", tmp_path / "t", *NEW)
    assert ended.code == 0
    assert "north" in ended.err and "July to June" in ended.err
    assert not {"latitude", "longitude", "elevation_m"} & set(toml_of(tmp_path / "t"))


def test_a_trial_in_fahrenheit_gets_thresholds_in_fahrenheit(tmp_path):
    assert hardiness("new", tmp_path / "t", *NEW, "--units", "F").code == 0
    assert toml_of(tmp_path / "t")["units"] == "F"
    assert [t.unit for t in read_settings(tmp_path / "t" / "trial.toml").rules.thresholds] == ["degF"] * 6


def test_a_name_with_quotes_and_accents_comes_back_as_it_was(tmp_path):
    name = 'Colline "Żó", côté\tsud = 1 # no comment'
    assert hardiness("new", tmp_path / "t", "--name", name, "--timezone", "UTC").code == 0
    assert toml_of(tmp_path / "t")["name"] == name


@pytest.mark.parametrize(
    "words, said",
    [
        (("--name", "Hill"), ["--timezone"]),
        (("--timezone", "UTC"), ["--name"]),
        (("--name", " ", "--timezone", "UTC"), ["name"]),
        (("--name", "Hill", "--timezone", "Europe/Lisboa"), ["Europe/Lisboa", "Did you mean 'Europe/Lisbon'?"]),
        (("--name", "Hill", "--timezone", "UTC-05:00"), ["UTC-05:00", "IANA"]),
        (
            ("--name", "Hill", "--timezone", "PST"),
            ["'PST'; accepted: an IANA", "such as Europe/Lisbon or America/Los_Angeles.\n"],
        ),
        (("--name", "Hill", "--timezone", "Europe"), ["'Europe'", "IANA"]),
        ((*NEW, "--latitude", "91"), ["latitude", "91", "-90 to 90"]),
        ((*NEW, "--longitude", "-181"), ["longitude", "-181", "-180 to 180"]),
        ((*NEW, "--latitude", "nan"), ["latitude", "nan"]),
        ((*NEW, "--elevation", "9999"), ["elevation", "9999", "6000"]),
        ((*NEW, "--elevation", "high"), ["--elevation", "high"]),
        ((*NEW, "--units", "K"), ["--units", "K"]),
        (("--name", "Hill \udcff", "--timezone", "UTC"), ["name", "udcff"]),
    ],
)
def test_new_refuses_what_makes_no_trial(tmp_path, words, said):
    ended = hardiness("new", tmp_path / "t", *words)
    assert ended.code == 2
    assert ended.out == ""
    for text in said:
        assert text in ended.err
    assert not (tmp_path / "t").exists()


def test_new_lists_all_that_is_wrong_at_once(tmp_path):
    words = ("--name", "", "--timezone", "Europe/Nowhere", "--latitude", "91", "--longitude", "200")
    ended = hardiness("new", tmp_path / "t", *words)
    assert ended.code == 2
    assert [name for name in ("name", "timezone", "latitude", "longitude") if f"hardiness new, {name}:" in ended.err] \
        == ["name", "timezone", "latitude", "longitude"]  # fmt: skip


def test_new_leaves_what_is_there_alone(tmp_path):
    folder = tmp_path / "t"
    folder.mkdir()
    (folder / "notes.txt").write_text("by the well")
    (tmp_path / "file").write_text("a file")
    for place in (folder, tmp_path / "file", tmp_path / "file" / "under"):
        ended = hardiness("new", place, *NEW)
        assert ended.code == 2
        assert str(place) in ended.err
    assert files_under(tmp_path) == ["file", "t/notes.txt"]


def test_an_empty_folder_can_become_a_trial(tmp_path):
    (tmp_path / "t").mkdir()
    assert hardiness("new", tmp_path / "t", *NEW).code == 0
    assert hardiness("new", tmp_path / "t", *NEW).code == 2  # now it is one


# Verbs that want more words than --trial to begin with.
WORDY = (
    "new", "demo", "add", "withdraw", "station", "chart", "figure", "report", "card", "sheet", "export", "calibrate",
    "account",
)  # fmt: skip


@pytest.mark.parametrize("verb", [verb for verb in VERBS if verb not in WORDY])
def test_a_folder_that_is_no_trial_is_named(tmp_path, verb):
    for folder in (tmp_path, tmp_path / "nowhere"):
        ended = hardiness(verb, "--trial", folder)
        assert ended.code == 2
        assert str(folder) in ended.err and "hardiness new" in ended.err
        assert ended.out == ""
    assert files_under(tmp_path) == []


def test_adding_withdrawing_and_drawing_want_a_trial_too(tmp_path):
    file = tmp_path / "f.csv"
    file.write_text("selection\nOL-07\n")
    for words in (
        ("add", "selections", file),
        ("add", "readings", file, "--sensor", "L1"),
        ("withdraw", "selections", file),
        ("withdraw", "upload", "abcd1234"),
        ("export", "readings", tmp_path / "out.nc"),
        ("chart", tmp_path / "c.svg"),
        ("figure", "winters", tmp_path / "w.svg"),
        ("report", tmp_path / "report"),
        ("card", tmp_path / "cards.pdf"),
        ("sheet", tmp_path / "sheet.pdf"),
        ("station", "list"),
        ("account", "list"),
        ("calibrate", "L1", "--from", "2031-11-01", "--offset", "-0.3"),
    ):
        ended = hardiness(*words, "--trial", tmp_path / "nowhere")
        assert ended.code == 2
        assert "is no trial" in ended.err
    assert files_under(tmp_path) == ["f.csv"]


def test_the_trial_is_named_before_the_verb_after_it_or_by_the_current_folder(line: Line, monkeypatch):
    line.added("selections", "selection\nOL-07\n")
    after = hardiness("uploads", "--csv", "-", "--trial", line.folder)
    before = hardiness("--trial", line.folder, "uploads", "--csv", "-")
    monkeypatch.chdir(line.folder)
    current = hardiness("uploads", "--csv", "-")
    assert len(after.rows) == 1
    assert after == before == current


def test_the_word_nearest_to_the_verb_names_the_trial(line: Line, tmp_path):
    file = line.file("selection\nOL-07\n")
    assert hardiness("--trial", tmp_path, "add", "selections", file, "--trial", line.folder).code == 0
    assert hardiness("add", "--trial", line.folder, "selections", file).code == 0
    assert hardiness("--trial", tmp_path, "add", "--trial", line.folder, "selections", file).code == 0
    assert hardiness("--trial", line.folder, "uploads", "--trial", tmp_path).code == 2


def test_an_empty_trial_option_is_not_the_current_folder(line: Line, monkeypatch):
    monkeypatch.chdir(line.folder)
    for words in (("floors", "--trial", ""), ("--trial", "", "floors")):
        ended = hardiness(*words)
        assert ended.code == 2
        assert "--trial" in ended.err


@pytest.mark.parametrize("verb", VERBS)
def test_the_line_about_a_verb_says_what_its_own_help_says(verb):
    listed = hardiness("--help")
    own = hardiness(verb, "--help")
    assert listed.code == own.code == 0
    line = VERBS[verb][1]
    assert line in " ".join(listed.out.split())
    usage, _, told = own.out.partition("\n\n")
    stems, wanted = (set(re.findall(r"[a-z]{4,6}", text.lower())) for text in (told.split("Options:")[0], line))
    assert usage.startswith("Usage:")
    assert len(wanted & stems) >= 2, (line, told)


@pytest.mark.parametrize(
    "words",
    [
        *((verb, table) for verb in ("add", "withdraw")
          for table in ("selections", "plants", "sensors", "scores", "freeze_notes")),
        ("add", "readings"),
        ("withdraw", "upload"),
    ],
)  # fmt: skip
def test_every_table_has_its_help(words):
    ended = hardiness(*words, "--help")
    assert ended.code == 0
    assert "Usage:" in ended.out and "--trial" in ended.out
    assert len(ended.out.split("\n\n")[1].split()) >= 4


def test_help_of_a_table_lists_its_columns():
    told = " ".join(hardiness("add", "scores", "--help").out.split())
    assert "plant*, scored_on*, grade*, protected, observer, notes" in told


def test_the_version_is_told():
    assert "0.1.0" in hardiness("--version").out


@pytest.mark.parametrize(
    "words, near",
    [(("frezes",), "freezes"), (("add", "plant", "f.csv"), "plants"), (("withdraw", "score", "f.csv"), "scores")],
)
def test_an_unknown_word_is_wrong_use_and_near_ones_are_offered(words, near):
    ended = hardiness(*words)
    assert ended.code == 2
    assert f"{' '.join(words[:2])}'" in ended.err and f"Did you mean '{near}'?" in ended.err


def test_no_verb_is_wrong_use_and_shows_the_verbs():
    ended = hardiness()
    assert ended.code == 2 and ended.out == ""
    assert all(verb in ended.err for verb in VERBS)
    for verb in ("add", "withdraw"):
        ended = hardiness(verb)
        assert ended.code == 2 and "freeze_notes" in ended.err
