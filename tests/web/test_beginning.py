"""A trial that is not there yet is made in the browser, by the rules of ``hardiness new``."""

import pytest
from fastapi.testclient import TestClient

from hardiness.trial import open_trial
from hardiness.web.beginning import Beginning
from hardiness.web.place import Serving
from tests.web.hill import ADDRESS, HERE, token_in, words_of
from tests.web.test_serving import run

GIVEN = {
    "name": "Hill",
    "timezone": "Europe/Lisbon",
    "units": "F",
    "latitude": "41,2",
    "longitude": "-7.5",
    "elevation": "",
}


@pytest.fixture
def page(tmp_path):
    door = Beginning(tmp_path / "hill", Serving())
    with TestClient(door, base_url=ADDRESS, client=HERE) as client:
        yield client
    door.close()


def test_the_page_makes_the_trial_and_gives_way_to_its_pages(page, tmp_path):
    asked = page.get("/")
    assert (
        "Where do your plants stand?" in asked.text and "default-src 'none'" in asked.headers["content-security-policy"]
    )
    made = page.post("/", data=GIVEN | {"token": token_in(asked.text)})
    assert made.status_code == 200 and "Begin with what is under test" in words_of(made.text)
    with open_trial(tmp_path / "hill") as trial:
        settings = trial.settings
    assert (settings.name, settings.timezone, settings.units) == ("Hill", "Europe/Lisbon", "F")
    assert (settings.latitude, settings.longitude, settings.elevation_m) == (41.2, -7.5, None)
    assert [str(t) for t in settings.rules.thresholds][:2] == ["32 F", "28 F"]


def test_what_is_wrong_is_told_and_what_was_typed_stays(page, tmp_path):
    token = token_in(page.get("/").text)
    faults = (
        ({"timezone": "Lisbon"}, "an IANA time zone"),
        ({"longitude": "west"}, "degrees, east is positive"),
        ({"longitude": "223"}, "degrees from -180 to 180"),
        ({"name": " "}, "a text"),
    )
    for wrong, told in faults:
        answer = page.post("/", data=GIVEN | wrong | {"token": token})
        assert answer.status_code == 422 and told in answer.text and 'value="41,2"' in answer.text
    assert not (tmp_path / "hill").exists()


def test_a_form_of_another_site_makes_nothing(page, tmp_path):
    assert page.post("/", data=GIVEN).status_code == 403
    assert page.get("/", headers={"host": "evil.example"}).status_code == 400
    assert not (tmp_path / "hill").exists()


def test_a_trial_is_begun_for_this_computer_only_and_in_an_empty_folder(tmp_path):
    code, said = run("serve", "--trial", tmp_path / "new", "--new", "--host", "0.0.0.0", "--port", "0")
    assert code == 2 and "Make the trial first" in said
    (tmp_path / "x.txt").write_text("mine", encoding="utf-8")
    code, said = run("serve", "--trial", tmp_path, "--new", "--port", "0")
    assert code == 2 and "a new or empty folder" in said
    code, said = run("serve", "--trial", tmp_path / "nowhere", "--port", "0")
    assert code == 2 and "is no trial" in said
