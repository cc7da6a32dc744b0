"""Every page answers its question, with the numbers of the flow, also where there is nothing to tell."""

import threading

import pandas as pd
import pytest

from hardiness.trial import open_trial
from hardiness.web import jobs
from tests.web.hill import readings_text, words_of

PAGES = (
    "/", "/readings", "/freezes", "/results", "/results/compare", "/results/ranks", "/results/rootstocks",
    "/results/winters", "/results/claims", "/results/left-out", "/register", "/register/waiting", "/register/uploads",
    "/register/history", "/takeaway", "/accounts",
)  # fmt: skip


@pytest.mark.parametrize("path", PAGES)
def test_every_page_of_an_empty_trial_says_what_to_do(serve, bare, path):
    text = serve(bare).page(path)
    assert text.count("<h1>") == 1
    assert "?</h1>" in text  # a page answers one question


@pytest.mark.parametrize("path", PAGES)
def test_every_page_of_a_whole_trial_answers(shared, path):
    text = shared.page(path)
    assert text.count("<h1>") == 1
    assert 'class="faults"' not in text
    assert "style=" not in text and "onclick" not in text  # nothing that the policy would block


def test_an_empty_trial_has_no_floors_to_choose_among(serve, bare):
    text = serve(bare).page("/results")
    assert "There is no floor yet" in text and "<select" not in text and "No floor is like that" not in text


def test_an_empty_trial_begins_with_the_register(serve, bare):
    words = serve(bare).words("/")
    assert "Begin with what is under test" in words
    assert "hardiness --trial bare add selections FILE" in words


def test_home_tells_what_is_there_and_what_waits(shared):
    words = shared.words("/")
    assert "3 selections, 12 plants, of which 4 stand." in words
    assert "3 freezes in 3 winters; the coldest reached −11.0 °C at L1 on 15 Jan 2032." in words
    assert "Every plant that met a freeze is scored." in words


def test_no_reading_is_fetched_to_count_those_of_a_large_trial(serve, folder, tmp_path, monkeypatch):
    path = tmp_path / "again.csv"
    path.write_text(readings_text(), encoding="utf-8")  # the same readings in another file: 432 are at most 864
    with open_trial(folder) as trial:
        trial.add_readings(path, "L1", timezone="UTC+00:00")
    monkeypatch.setattr("hardiness.trial.MOST_IN_MEMORY", 0)
    one = serve(folder)
    one.page("/now/floors")  # all is worked out; from here on no part is opened
    monkeypatch.setattr("hardiness.store.view.merge_parts", None)
    assert "1 sensor with up to 864 readings." in one.words("/")
    assert "L1 logger up to 864 2030-01-09 2032-01-16 3" in one.words("/readings")


def test_home_asks_for_scores_of_plants_that_met_a_freeze_since(browser, tmp_path):
    path = tmp_path / "later.csv"
    path.write_text(readings_text((("2033-01-05", -6.0),)), encoding="utf-8")
    with open_trial(browser.client.app.state.place.trial.folder) as trial:
        trial.add_readings(path, "L1")
    assert "4 living plants have no score since their last freeze" in browser.words("/")
    assert "T01" in browser.words("/register/waiting")


def test_floors_are_those_of_the_flow(shared):
    words = shared.words("/results")
    table = shared.client.app.state.place.trial.floors().set_index(["selection", "rootstock"])
    floor = table.loc[("OL-02", "own"), "floor_c"]
    assert f"{floor:.1f}".replace("-", "−") in words


def test_floors_sort_and_filter_on_the_server(shared):
    def order(path):
        text = shared.page(path).split("<tbody>")[1].split("</tbody>")[0]
        return [row.split("</a>")[0].rsplit(">", 1)[1] for row in text.split("<tr>")[1:]]

    by_name = order("/results?sort=selection")
    assert by_name == sorted(by_name) and len(by_name) == 6
    assert order("/results?sort=-selection") == sorted(by_name, reverse=True)
    assert set(order("/results?role=check")) == {"CK-A"}
    assert set(order("/results?role=candidate")) == {"OL-01", "OL-02"}
    assert len(order("/results?stock=P2")) == 3
    assert len(order("/results?winter=2031-32")) == 4  # OL-02 had died before


def test_a_share_or_grade_that_is_none_is_refused_in_words(shared):
    answer = shared.get("/results?share=2")
    assert answer.status_code == 422
    assert "accepted: one of 0.5, 0.75, 0.8, 0.9, 0.95" in answer.text
    assert shared.get("/results?grade=9").status_code == 422


def test_a_selection_has_its_floors_and_its_plants(shared):
    words = shared.words("/results/selection/OL-01")
    assert "How cold can OL-01 stand?" in words
    assert "a neighbour" in words and "T01" in words
    assert shared.get("/results/selection/OL-77").status_code == 404


def test_a_page_that_rests_on_more_than_the_stages_waits_for_both(browser, monkeypatch):
    go_on = threading.Event()
    monkeypatch.setattr("hardiness.web.selections.explain_selection", lambda told: (go_on.wait(30), ["So it is."])[1])
    monkeypatch.setattr("hardiness.web.selections.told_about", lambda flow, selection: selection)
    client, path = browser.client, "/results/selection/OL-01/why"
    browser.page("/results")
    assert "Asking the model what the figures rest on" in words_of(client.get(path).text)
    go_on.set()
    assert "So it is." in browser.words(path)


@pytest.mark.slow
def test_a_selection_says_in_sentences_what_its_figures_rest_on(shared):
    assert "never tested" in shared.words("/results/selection/OL-01/why").lower()


def test_compare_says_which_is_hardier(shared):
    words = shared.words("/results/compare?a=OL-01&a=OL-02")
    assert "OL-01 is the hardier of OL-01 and OL-02 with probability" in words
    assert "Choose a second one." in shared.words("/results/compare?a=OL-01")
    assert "OL-99 has no score" in shared.words("/results/compare?a=OL-01&a=OL-99")


def test_freezes_stand_by_winter_and_each_has_its_page(shared):
    assert "2032-01-15 L1" in shared.page("/freezes")
    assert "2030-01-10 L1" in shared.page("/freezes?winter=2029-30")
    words = shared.words("/freezes/2030-12-20 L1")
    assert "Down to −8.0 °C" in words and "12 plants met it; 12 plants have a score" in words
    assert shared.get("/freezes/2040-01-01 L1").status_code == 404


def test_the_course_of_a_freeze_has_its_readings_and_its_span(shared):
    shared.page("/freezes")
    told = shared.get("/freezes/2030-12-20/course.json").json()
    (course,) = told["courses"]
    assert course["sensor"] == "L1" and min(v for v in course["air"] if v is not None) == -8.0
    (span,) = told["freezes"]
    assert span["from"] < span["to"] and told["zone"] == "Europe/Lisbon"


def test_a_gap_in_the_readings_is_a_gap_in_the_course(shared):
    shared.page("/readings")
    told = shared.get("/readings/sensor/L1/course.json").json()
    assert told["courses"][0]["air"].count(None) == 2  # between the three nights
    closer = shared.get("/readings/sensor/L1/course.json?from=1894000000&to=1894300000").json()
    assert len(closer["courses"][0]["at"]) < len(told["courses"][0]["at"])


def test_claims_are_held_against_evidence(shared):
    assert "a neighbour" in shared.words("/results/claims")


def test_what_makes_figures_weak_stands_below_them(browser, monkeypatch):
    pages = ("/results", "/results/ranks", "/results/claims", "/results/compare?a=OL-01&a=OL-02")
    assert all("Only 2 rows" not in browser.words(page) for page in pages)
    monkeypatch.setattr(
        "hardiness.report.notes.fit_cautions", lambda rows, grades, grade: [f"Only 2 rows of {grades} grades."]
    )
    for page in pages:
        assert browser.words(page).count("Only 2 rows of 6 grades.") == 1, page


def test_claims_have_the_words_of_floors_where_no_plant_bounds_one(shared):
    with open_trial(shared.client.app.state.place.trial.folder) as trial:
        floors = trial.floors().set_index(["selection", "rootstock"])
        claims = trial.flow().claims
    ends = [floors.loc[(row.selection, row.rootstock), "open_end"] for row in claims.itertuples()]
    words = shared.words("/results/claims")
    assert words.count("at or below") == ends.count("cold") and words.count("above −") == ends.count("warm")
    assert ends.count("cold") + ends.count("warm") > 0


def test_winters_stand_side_by_side(shared):
    words = shared.words("/results/winters")
    assert [w for w in ("2029-30", "2030-31", "2031-32") if w in words] == ["2029-30", "2030-31", "2031-32"]


def test_a_page_that_is_not_there_is_a_page(shared):
    answer = shared.get("/nothing")
    assert answer.status_code == 404 and "There is no such page" in answer.text


def test_names_are_shown_as_they_are_and_never_run(serve, bare):
    evil = "<script>alert(1)</script>"
    with open_trial(bare) as trial:
        trial.add_rows("selections", [{"selection": evil}])
    browser = serve(bare)
    text = browser.page("/register?table=selections")
    assert evil not in text and "&lt;script&gt;" in text
    assert evil not in browser.page(f"/register/row?table=selections&key={evil}")


def test_the_answer_is_worked_out_once_for_each_state(browser, folder):
    browser.page("/results")
    answers = browser.client.app.state.place.answers
    first = answers.up_to("floors", patience_s=30)
    assert answers.up_to("floors", patience_s=30) is first
    with open_trial(folder) as trial:
        trial.add_rows("selections", [{"selection": "OL-03"}])
    assert answers.up_to("freezes", patience_s=30) is not first


def test_a_long_answer_shows_how_far_it_is_and_then_the_answer(browser, monkeypatch):
    go_on = threading.Event()
    slow = [(name, lambda flow, make=make: (go_on.wait(30), make(flow))) for name, make in jobs.STAGES]
    monkeypatch.setattr(jobs, "STAGES", tuple(slow))
    text = browser.client.get("/freezes").text
    assert "Finding the freezes, step 1 of 1" in words_of(text)
    assert 'hx-get="/freezes"' in text and "<progress" in text
    go_on.set()
    assert "2032-01-15 L1" in browser.page("/freezes")


def test_a_broken_scale_is_told_and_not_a_fault_of_ours(serve, folder):
    text = (folder / "trial.toml").read_text(encoding="utf-8")
    start, end = text.index("grades = ["), text.index("]", text.index("grades = ["))
    (folder / "trial.toml").write_text(f'{text[:start]}grades = ["unharmed", "dead"{text[end:]}', encoding="utf-8")
    words = serve(folder).words("/results")
    assert "Give the scale its grades back" in words


def test_other_settings_count_from_the_next_page_on(browser, folder):
    assert "−11.0 °C at L1" in browser.words("/")
    path = folder / "trial.toml"
    path.write_text(path.read_text(encoding="utf-8").replace('units = "C"', 'units = "F"'), encoding="utf-8")
    assert "12.2 °F at L1" in browser.words("/")


def test_settings_that_are_at_fault_are_told_and_what_they_said_before_counts(browser, folder):
    path = folder / "trial.toml"
    good = path.read_text(encoding="utf-8")
    path.write_text(good.replace('units = "C"', 'units = "X"'), encoding="utf-8")
    words = browser.words("/")
    assert "trial.toml is at fault now" in words and "accepted: C or F" in words and "−11.0 °C at L1" in words
    path.unlink()
    assert "trial.toml is at fault now" in browser.words("/register")
    path.write_text(good, encoding="utf-8")
    assert "at fault" not in browser.words("/")


def test_another_database_is_for_the_next_opening(browser, folder):
    path = folder / "trial.toml"
    path.write_text(path.read_text(encoding="utf-8") + '\n[store]\nurl = "sqlite:///elsewhere.db"\n', encoding="utf-8")
    words = browser.words("/register")
    assert "found another database; accepted: the one that is open" in words and "T01" in words


def test_what_is_kept_of_one_state_has_bounds(browser):
    browser.page("/freezes")
    answers = browser.client.app.state.place.answers
    answer = answers.up_to("freezes", patience_s=30)
    for number in range(2 * jobs.MOST_KEPT):
        assert answer.keep(("n", number), lambda flow, n=number: n) == number
        assert answers.later(answer, ("n", number), lambda flow, n=number: n, patience_s=30) == number
    assert len(answer._kept) == jobs.MOST_KEPT and len(answer.jobs) == jobs.MOST_KEPT


def test_a_fault_of_what_is_made_beside_is_told_to_who_asked(browser):
    browser.page("/freezes")
    answers = browser.client.app.state.place.answers
    answer = answers.up_to("freezes", patience_s=30)
    with pytest.raises(ZeroDivisionError):
        answers.later(answer, "broken", lambda flow: 1 / 0, patience_s=30)


def test_a_sensor_with_quiet_gaps_only_says_so(browser, folder, tmp_path):
    said = browser.words("/readings/sensor/L1")
    assert "None was found" not in said  # its winters are far apart: gaps that a freeze may have fallen into
    path = tmp_path / "whole.csv"
    times = pd.date_range("2033-01-01", "2034-12-31 23:00", freq="h")
    times = times[(times.month < 5) | (times.month > 9)]
    path.write_text(
        "Time,Air C\n" + "".join(f"{at:%Y-%m-%d %H:%M},{5 + at.hour / 10 + at.day / 50:.2f}\n" for at in times)
    )
    with open_trial(folder) as trial:
        trial.add_readings(path, "L5", timezone="UTC+00:00")
    said = browser.words("/readings/sensor/L5")
    assert "None was found in its readings. Not listed: 2 gaps over summer at 1 sensor, of up to 153 days" in said


@pytest.mark.parametrize("path", ["/results", "/results/ranks", "/results/claims", "/register?table=selections"])
def test_a_name_is_found_in_a_long_table(shared, path):
    join = "&" if "?" in path else "?"
    text = shared.page(f"{path}{join}find=ol-01")
    assert ">OL-01</a>" in text and ">OL-02</a>" not in text and ">CK-A</a>" not in text
    text = shared.page(f"{path}{join}find=nowhere")
    assert ">OL-01</a>" not in text and ("“nowhere”" in text or "No floor is like that" in text)


def test_an_act_is_found_by_its_plant(shared):
    text = shared.page("/register/history?find=T03")
    assert "<td>T03" in text and "<td>T04" not in text


def test_what_was_left_out_is_found_by_its_plant(browser, folder):
    with open_trial(folder) as trial:
        trial.add_rows(
            "scores", [{"plant": plant, "scored_on": "2030-02-01", "grade": "0"} for plant in ("T01", "T02")]
        )
    for find, seen, unseen in (("t01", "T01", "T02"), ("T02", "T02", "T01")):
        text = browser.page(f"/results/left-out?find={find}").split('id="found"')[1]
        assert f"<td>{seen}" in text and f"<td>{unseen}" not in text


def test_among_many_selections_the_ones_to_compare_are_typed(shared, monkeypatch):
    assert '<select id="a0"' in shared.page("/results/compare")
    monkeypatch.setattr("hardiness.web.results.MOST_LISTED", 2)
    text = shared.page("/results/compare?a=OL-01&a=CK-A")
    assert '<input id="a0" name="a" list="tested" value="OL-01"' in text and '<option value="OL-02">' in text
    assert "is the hardier of" in text
