"""Files that were taken in, on pages: found, looked at before anything is done, withdrawn and brought back."""

import re
from urllib.parse import unquote

import pytest

from hardiness.trial import open_trial
from tests.web.hill import PLANTS, readings_text, words_of

LATER = (("2033-01-05", -6.0),)
WHY = "the logger lay on the bench"


def file_of(folder, name):
    with open_trial(folder) as trial:
        uploads = trial.store.uploads().set_index("file")
    return uploads.loc[name, "upload"]


def counting(folder, name):
    with open_trial(folder) as trial:
        return bool(trial.store.uploads().set_index("file").loc[name, "counts"])


def acts(folder):
    with open_trial(folder) as trial:
        return trial.store.history()


def page_of(browser, folder, name, back=""):
    return browser.page(f"/register/upload?upload={file_of(folder, name)}&back={back}")


def turn(browser, folder, name, **given):
    return browser.post("/register/upload", {"upload": file_of(folder, name), "why": WHY, **given})


def test_every_file_is_listed_with_a_way_to_its_page_and_found_by_any_of_its_words(shared):
    page = shared.page("/register/uploads")
    assert len(re.findall(r'href="/register/upload\?upload=[0-9a-f]{64}"', page)) == 5
    for find, files in (("l1", {"L1_2030.csv"}), ("SCORES", {"scores.csv"}), ("readings", {"L1_2030.csv"})):
        found = shared.page(f"/register/uploads?find={find}")
        assert set(re.findall(r">([\w.]+\.csv)</a>", found)) == files
    assert "No file has “nowhere” in it." in shared.words("/register/uploads?find=nowhere")
    assert "No file has been taken in yet" not in page


def test_a_trial_without_files_says_what_adds_one(serve, bare):
    assert "add readings FILE" in serve(bare).words("/register/uploads")


def test_looking_says_what_would_change_and_changes_nothing(browser, folder):
    with open_trial(folder) as trial:
        before = trial.store.state_token(), len(trial.store.history())
    said = words_of(page_of(browser, folder, "L1_2030.csv"))
    assert "432 readings of L1, 2030-01-09 00:00 to 2032-01-16 23:30, stop counting." in said
    assert "3 freezes in that time: 2030-01-10 L1, 2030-12-20 L1 and 2032-01-15 L1." in said
    assert "32 scores of plants rest on them." in said and "Nothing has been done yet." in said
    said = words_of(page_of(browser, folder, "scores.csv"))
    assert "32 rows drop out." in said and "T01 2030-02-20 A" in said
    with open_trial(folder) as trial:
        assert (trial.store.state_token(), len(trial.store.history())) == before


def test_readings_are_withdrawn_and_brought_back_with_who_and_why(peopled, serve):
    browser = serve(peopled)
    browser.sign_in("Ana")
    back = "/readings/sensor/L1"
    assert f'name="back" value="{back}"' in page_of(browser, peopled, "L1_2030.csv", back)
    said = words_of(turn(browser, peopled, "L1_2030.csv", back=back).text)
    assert said.count("stopped counting") == 1 and not counting(peopled, "L1_2030.csv")
    with open_trial(peopled) as trial:
        assert len(trial.freezes()) == 0
    act = acts(peopled).iloc[-1]
    assert (act["who"], act["action"]) == ("Ana", "withdraw upload") and WHY in act["new"]
    said = words_of(page_of(browser, peopled, "L1_2030.csv"))
    assert "Withdrawn by Ana" in said and f"“{WHY}”" in said and "stop counting" not in said
    assert "432 readings of L1, 2030-01-09 00:00 to 2032-01-16 23:30, count again." in said
    turn(browser, peopled, "L1_2030.csv", undo="yes", why="it hung in its place after all")
    assert counting(peopled, "L1_2030.csv")
    said = words_of(page_of(browser, peopled, "L1_2030.csv"))
    assert said.index("Has counted again by Ana") < said.index("Withdrawn by Ana") < said.index("Taken in by")
    assert "“it hung in its place after all”" in said


def test_no_reason_changes_nothing_and_says_so(browser, folder):
    before = len(acts(folder))
    for why in ("", "   "):
        answer = turn(browser, folder, "scores.csv", why=why)
        assert answer.status_code == 422 and "no reason" in words_of(answer.text)
    assert counting(folder, "scores.csv") and len(acts(folder)) == before


def test_what_others_rest_on_is_told_before_and_refused_after(browser, folder):
    page = page_of(browser, folder, "plants.csv")
    assert "It cannot be withdrawn as things stand" in page and "'T01'" in words_of(page)
    assert 'action="/register/upload"' not in page
    answer = turn(browser, folder, "plants.csv")
    assert answer.status_code == 422 and "nothing was stored" in answer.text and counting(folder, "plants.csv")


def test_readings_that_contradict_others_by_now_do_not_come_back(browser, folder, tmp_path):
    turn(browser, folder, "L1_2030.csv")
    path = tmp_path / "other.csv"
    path.write_text(readings_text().replace("2030-01-10 05:00,-5.00", "2030-01-10 05:00,-9.00"), encoding="utf-8")
    with open_trial(folder) as trial:
        trial.add_readings(path, "L1")
    page = page_of(browser, folder, "L1_2030.csv")
    assert "It cannot count again as things stand" in page and "other.csv" in page


def test_a_change_of_a_table_is_shown_value_by_value(browser, folder, tmp_path):
    path = tmp_path / "moved.csv"
    path.write_text(PLANTS.replace(",east,1,1,", ",west,1,1,"), encoding="utf-8")
    with open_trial(folder) as trial:
        trial.add_table("plants", path)
    said = words_of(page_of(browser, folder, "moved.csv"))
    assert "1 row that other files have too" in said and "T01, block: west → east" in said


@pytest.mark.parametrize("name", ["Rui", "Eva"])
def test_who_is_no_owner_sees_the_file_and_no_way_to_withdraw_it(peopled, serve, name):
    browser = serve(peopled)
    browser.sign_in(name)
    page = page_of(browser, peopled, "scores.csv")
    assert "Taken in by" in words_of(page) and "Withdraw it" not in page and "What would change" not in page
    assert turn(browser, peopled, "scores.csv").status_code == 403 and counting(peopled, "scores.csv")


def test_a_file_that_is_damaged_in_the_store_can_still_be_withdrawn(serve, folder):
    (part,) = (folder / "readings").iterdir()
    part.write_bytes(b"no part any more")
    browser = serve(folder)
    said = words_of(page_of(browser, folder, "L1_2030.csv"))
    assert "stop counting" in said and part.name in said
    assert "<h1>Done</h1>" in turn(browser, folder, "L1_2030.csv").text
    assert browser.get("/freezes").status_code == 200


@pytest.mark.parametrize("back", ["//far.example", "/%5Cfar.example", "/%09/far.example", "/%0A/far.example",
                                  "https://far.example", "javascript:alert(1)"])  # fmt: skip
def test_no_page_leads_to_another_site_afterwards(browser, folder, back):
    page = page_of(browser, folder, "L1_2030.csv", back)
    assert "far.example" not in page and "alert" not in page and 'href="/register/uploads">Leave it' in page
    assert "far.example" not in turn(browser, folder, "L1_2030.csv", back=unquote(back)).text


def test_a_file_that_is_not_there_is_said(shared):
    assert shared.get(f"/register/upload?upload={'0' * 64}").status_code == 404
    assert shared.get("/register/upload?upload=xyz").status_code == 422


def test_the_file_a_sensor_or_a_record_came_with_leads_to_its_page(shared, made):
    sha = file_of(made, "L1_2030.csv")
    assert f"/register/upload?upload={sha}&amp;back=" in shared.page("/readings/sensor/L1")
    assert f"upload={file_of(made, 'plants.csv')}" in shared.page("/register/row?table=plants&key=T01")
    assert f"/register/upload?upload={sha}" in shared.page("/register/history?find=L1_2030")
