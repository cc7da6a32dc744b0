"""The scoring sheet in one file: whole, shut to the network, and safe from what a name may hold."""

import base64
import datetime as dt
import hashlib
import json
import re

import pytest
from click.testing import CliRunner

from hardiness.commands.reports import sheet
from hardiness.errors import InputError
from hardiness.report.pocket_sheet import cards_data, pocket_html
from hardiness.report.scoring_sheet import check_ending
from hardiness.report.walk import walk_of
from hardiness.settings import Settings
from hardiness.trial import new_trial, open_trial

NASTY = "</script><b>T01</b>"
SETTINGS = Settings("Hill & <dale>", "Europe/Lisbon", latitude=41.2)


@pytest.fixture
def folder(tmp_path):
    with new_trial(tmp_path / "hill", SETTINGS) as trial:
        trial.add_rows("selections", [{"selection": "OL-01"}])
        trial.add_rows("plants", [
            {"plant": "T01", "selection": "OL-01", "rootstock": "own", "block": "east", "row": "1", "removed_on": ""},
            {"plant": NASTY, "selection": "OL-01", "rootstock": "P2", "block": "", "row": "", "removed_on": ""},
            {"plant": "T03", "selection": "OL-01", "rootstock": "own", "block": "east", "row": "1",
             "removed_on": "2031-05-01"},
        ])  # fmt: skip
        trial.add_rows("scores", [{"plant": "T01", "scored_on": "2030-02-20", "grade": "2", "observer": "A"}])
    return tmp_path / "hill"


@pytest.fixture
def made(folder):
    with open_trial(folder) as trial:
        flow = trial.flow()
        return pocket_html(flow, trial.settings, walk_of(flow), made=dt.date(2031, 6, 1)).decode()


def data_of(page):
    return json.loads(re.search(r'<script type="application/json" id="data">(.*?)</script>', page, re.S)[1])


def test_it_says_which_trial_when_made_and_how_many_plants(made):
    assert "<h1>Hill &amp; &lt;dale&gt;: scoring sheet</h1><p>2 plants, made on 1 Jun 2031</p>" in made
    assert "Not on it: 1 plant taken out." in made
    assert "The scores live in this browser, on this phone, and nowhere else" in made


def test_it_holds_every_stop_with_its_last_grade(made):
    data = data_of(made)
    assert [(stop["plant"], stop["last_grade"], stop["last_on"]) for stop in data["stops"]] == [
        ("T01", 2, "2030-02-20"), (NASTY, None, None),
    ]  # fmt: skip
    assert data["grades"] == list(SETTINGS.grades) and data["protections"][0] == "no"
    assert data["stops"][0]["rootstock"] == "own roots"


def test_it_asks_nothing_of_the_network_and_runs_its_own_script_only(made):
    (policy,) = re.findall(r'Content-Security-Policy" content="([^"]+)"', made)
    scripts = re.findall(r"<script>(.*?)</script>", made, re.S)
    assert len(scripts) == 1 and made.count("<script") == 2
    hashed = base64.b64encode(hashlib.sha256(scripts[0].encode()).digest()).decode()
    assert f"script-src 'sha256-{hashed}'" in policy and policy.startswith("default-src 'none';")
    assert " src=" not in made.split("<body>")[1].split("<script")[0] and "<link" not in made
    assert not re.search(r"url\((?!data:)", made.split("</style>")[0])


def test_a_name_that_would_end_the_script_stays_a_name(made):
    assert NASTY not in made and "\\u003c/script>" in made


def test_the_same_sheet_made_twice_keeps_its_scores_and_another_has_its_own(folder, made):
    with open_trial(folder) as trial:
        flow = trial.flow()
        walk = walk_of(flow)
        again = pocket_html(flow, trial.settings, walk, made=dt.date(2031, 6, 1)).decode()
        later = pocket_html(flow, trial.settings, walk, made=dt.date(2031, 6, 2)).decode()
        assert cards_data(walk, trial.settings)["said"] == ["1 plant taken out."]
    assert again == made
    assert data_of(later)["key"] != data_of(made)["key"]


def test_the_verb_writes_it_by_its_ending(folder, tmp_path):
    target = tmp_path / "sheet.html"
    done = CliRunner().invoke(sheet, [str(target), "--trial", str(folder)])
    assert done.exit_code == 0, done.output
    assert "2 plants on" in done.output and target.read_text(encoding="utf-8").startswith("<!doctype html>")


def test_another_ending_is_refused_with_both_named(tmp_path):
    with pytest.raises(InputError, match=r"one of \.pdf, \.html"):
        check_ending(tmp_path / "sheet.docx")
