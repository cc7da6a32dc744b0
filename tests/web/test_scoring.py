"""Scores from the rows: each tap taken once, never over another's unseen, by those who may."""

import datetime as dt
import json
import uuid
from zoneinfo import ZoneInfo

import pytest

from hardiness.trial import open_trial
from tests.web.hill import words_of

DAY = "2032-06-01"


class Phone:
    """A phone in the rows: what its page knows, and what it sends."""

    def __init__(self, browser, observer="Ana"):
        self.browser, self.observer = browser, observer
        self.known = self.cards()

    def cards(self, **asked):
        answer = self.browser.client.get("/score/cards.json", params=asked)
        for _ in range(200):
            if answer.json()["state"] != "working":
                break
            answer = self.browser.client.get("/score/cards.json", params=asked)
        return answer.json()

    def tap(self, plant, grade, *, seen=None, number=None, **more):
        return {
            "id": number or str(uuid.uuid4()), "trial": self.known["trial"], "plant": plant, "scored_on": DAY,
            "observer": self.observer, "grade": grade, "protected": "", "notes": "", "seen": seen, **more,
        }  # fmt: skip

    def send(self, tap, path="/score/taps", **headers):
        return self.browser.client.post(path, json=tap, headers={"X-Token": self.known["token"], **headers})

    def undo(self, tap):
        return self.send({name: value for name, value in tap.items() if name != "seen"}, "/score/undo")


@pytest.fixture
def phone(browser):
    return Phone(browser)


def scores(folder, plant="T01", day=DAY):
    with open_trial(folder) as trial:
        held = trial.store.current("scores")
    return held[(held["plant"] == plant) & (held["scored_on"] == dt.date.fromisoformat(day))].to_dict("records")


def acts(folder):
    with open_trial(folder) as trial:
        return trial.store.history()


SEEN_2 = {"grade": 2, "protected": "", "notes": ""}
SEEN_3 = {"grade": 3, "protected": "", "notes": ""}


# What the cards show


def test_the_cards_come_in_walking_order_with_the_scale_and_the_last_grade(phone):
    known = phone.known
    # Of the twelve plants those whose death a later freeze has settled are no stop.
    assert [stop["plant"] for stop in known["stops"]] == ["T01", "T02", "T03", "T04", "T09", "T10", "T11", "T12"]
    assert known["stops"][0] | {"block": "east", "last_grade": 3, "last_on": "2032-02-25"} == known["stops"][0]
    assert len(known["grades"]) == 6 and known["protections"][0] == "no"
    assert known["said"] == ["4 plants lost in an earlier freeze."]
    assert known["today"] == dt.datetime.now(ZoneInfo("Europe/Lisbon")).date().isoformat()


def test_the_scores_of_a_day_are_told_for_every_observer(phone):
    phone.send(phone.tap("T01", 2))
    held = phone.cards(on=DAY, held_only=True)["held"]
    assert held == [{"plant": "T01", "observer": "Ana", **SEEN_2}]
    assert phone.cards(on="2032-06-02", held_only=True)["held"] == []


def test_the_page_carries_no_script_or_style_of_its_own(browser):
    text = browser.page("/score")
    assert "<style" not in text and " style=" not in text and "onclick" not in text
    assert all(part.startswith(' src="/static/') for part in text.split("<script")[1:])
    for name in ("cards/cards.js", "cards/scan.js", "cards/jsqr.js", "cards/cards.css", "queue.js", "scoring.js"):
        assert browser.client.get(f"/static/{name}").status_code == 200


def test_an_empty_trial_has_no_card_and_no_fault(serve, bare):
    assert Phone(serve(bare)).known["stops"] == []


def test_the_cards_are_given_as_one_file(phone):
    answer = phone.browser.client.get("/score/sheet.html")
    assert answer.headers["content-disposition"] == "attachment; filename*=UTF-8''hill-dale-sheet.html"
    assert "Hill &amp; dale: scoring sheet" in answer.text and '"plant": "T01"' in answer.text


# One tap, one score


def test_a_tap_is_a_score_with_who_and_when_in_the_history(phone, folder):
    answer = phone.send(phone.tap("T01", 2, protected="cover", notes=" bark split "))
    assert answer.status_code == 200
    assert answer.json()["score"] == {"grade": 2, "protected": "cover", "notes": "bark split"}
    (score,) = scores(folder)
    assert (score["grade"], score["protected"], score["observer"]) == (2, "cover", "Ana")
    assert acts(folder).iloc[-2]["key"] == f"T01, {DAY}, Ana"


def test_the_same_tap_again_is_one_score(phone, folder):
    tap = phone.tap("T01", 2)
    first, before = phone.send(tap), len(acts(folder))
    again = phone.send(tap)
    assert first.json()["state"] == again.json()["state"] == "stored"
    assert first.json()["score"] == again.json()["score"] == SEEN_2
    assert len(acts(folder)) == before and len(scores(folder)) == 1


def test_a_late_repeat_does_not_undo_what_came_after(phone, folder):
    first = phone.tap("T01", 2)
    phone.send(first)
    phone.send(phone.tap("T01", 3, seen=SEEN_2))
    late = phone.send(first).json()
    assert late["state"] == "stored" and late["now"] == SEEN_3
    assert [score["grade"] for score in scores(folder)] == [3]


def test_the_same_grade_under_the_same_key_is_one_score_whoever_sends_it(phone, folder):
    phone.send(phone.tap("T01", 2))
    before = len(acts(folder))
    assert phone.send(phone.tap("T01", 2)).json()["state"] == "stored"
    assert len(acts(folder)) == before


# Two people at once


def test_another_value_than_was_seen_is_a_conflict_with_both_values(phone, folder):
    phone.send(phone.tap("T01", 2))
    answer = phone.send(phone.tap("T01", 4))
    assert answer.status_code == 409
    outcome = answer.json()
    assert (outcome["state"], outcome["score"]["grade"], outcome["now"]["grade"]) == ("conflict", 4, 2)
    assert outcome["sentences"][0].startswith(f"Meanwhile T01 on {DAY} by Ana was given 2 ")
    assert [score["grade"] for score in scores(folder)] == [2]


def test_once_the_other_value_was_seen_it_may_be_changed(phone, folder):
    phone.send(phone.tap("T01", 2))
    assert phone.send(phone.tap("T01", 4, seen=SEEN_2)).status_code == 200
    assert [score["grade"] for score in scores(folder)] == [4]


def test_a_note_that_was_not_seen_is_a_conflict_too(phone):
    phone.send(phone.tap("T01", 2, notes="graft cracked"))
    assert phone.send(phone.tap("T01", 4, seen=SEEN_2)).status_code == 409


def test_a_score_taken_out_meanwhile_is_a_conflict(phone, browser):
    phone.send(phone.tap("T01", 2))
    browser.post("/register/withdraw", {"table": "scores", "key": ["T01", DAY, "Ana"]})
    answer = phone.send(phone.tap("T01", 4, seen=SEEN_2)).json()
    assert (answer["state"], answer["now"]) == ("conflict", None)
    assert "was taken out meanwhile" in answer["sentences"][0]


def test_two_observers_are_two_scores_and_no_conflict(phone, browser, folder):
    phone.send(phone.tap("T01", 2))
    other = Phone(browser, "Rui")
    assert other.send(other.tap("T01", 4)).status_code == 200
    assert sorted((score["observer"], score["grade"]) for score in scores(folder)) == [("Ana", 2), ("Rui", 4)]


# What is refused


def test_a_better_score_after_a_settled_death_comes_back_as_a_sentence(phone, folder):
    answer = phone.send(phone.tap("T05", 1))
    assert answer.status_code == 422
    assert "scored dead on 2031-02-20 with a freeze since" in answer.json()["sentences"][0]
    assert scores(folder, "T05") == []


def test_a_death_is_settled_also_for_a_plant_that_was_first_scored_since_the_last_look(phone, browser, folder):
    browser.post("/register/edit", {"table": "plants", "new": "yes", "plant": "T60", "selection": "OL-01",
                                    "rootstock": "own", "block": "east"})  # fmt: skip
    assert phone.send(phone.tap("T05", 1)).status_code == 422  # what every plant met is looked up, and kept
    assert phone.send(phone.tap("T60", 5) | {"scored_on": "2030-02-20"}).status_code == 200
    answer = phone.send(phone.tap("T60", 1))  # two freezes have followed
    assert answer.status_code == 422 and "scored dead on 2030-02-20" in answer.json()["sentences"][0]


def test_a_plant_taken_out_meanwhile_is_refused_with_its_date(phone, browser):
    browser.post("/register/edit", {"table": "plants", "act": "retire", "plant": "T01", "removed_on": "2032-05-01",
                                    "lost_to": "other"})  # fmt: skip
    assert "after plant 'T01' was removed on 2032-05-01" in phone.send(phone.tap("T01", 2)).json()["sentences"][0]


@pytest.mark.parametrize(
    "wrong, said",
    [
        ({"plant": "T77"}, "not in plants"),
        ({"grade": 9}, "a grade 0-5"),
        ({"scored_on": "2032-02-31"}, "does not exist"),
        ({"protected": "tent"}, "cover, bank"),
        ({"notes": "a\x07"}, "control"),
        ({"trial": "other"}, "another trial"),
    ],
)
def test_a_tap_that_says_nothing_sound_stores_nothing(phone, folder, wrong, said):
    before = len(acts(folder))
    answer = phone.send(phone.tap("T01", 2) | wrong)
    assert answer.status_code == 422 and said in answer.json()["sentences"][0]
    assert len(acts(folder)) == before


@pytest.mark.parametrize("wrong", [{"id": "../x"}, {"grade": "x"}, {"more": 1}, {"plant": ""}, {"seen": {"grade": -1}}])
def test_a_tap_of_another_shape_is_refused(phone, folder, wrong):
    assert phone.send(phone.tap("T01", 2) | wrong).status_code == 422
    assert scores(folder) == []


# Taking back


def test_a_tap_is_taken_back_to_what_stood_before(phone, folder):
    phone.send(phone.tap("T01", 2))
    second = phone.tap("T01", 3, seen=SEEN_2)
    phone.send(second)
    undone = phone.undo(second).json()
    assert (undone["state"], undone["now"]) == ("undone", SEEN_2)
    assert phone.undo(second).json()["state"] == "undone"  # a second time changes nothing
    assert [score["grade"] for score in scores(folder)] == [2]


def test_the_first_tap_taken_back_leaves_no_score(phone, folder):
    tap = phone.tap("T01", 2)
    phone.send(tap)
    assert phone.undo(tap).json() == {"state": "undone", "score": None, "now": None, "sentences": []}
    assert scores(folder) == []
    phone.send(tap)  # a repeat that was long on its way
    assert scores(folder) == []


def test_what_was_changed_since_is_not_taken_back(phone, folder):
    tap = phone.tap("T01", 2)
    phone.send(tap)
    phone.send(phone.tap("T01", 3, seen=SEEN_2))
    answer = phone.undo(tap)
    assert answer.status_code == 409 and "left as it stands: 3 " in answer.json()["sentences"][0]
    assert [score["grade"] for score in scores(folder)] == [3]


def test_a_tap_that_changed_nothing_has_nothing_to_take_back(phone, folder):
    phone.send(phone.tap("T01", 2))
    same = phone.tap("T01", 2)
    phone.send(same)
    assert phone.undo(same).status_code == 422
    assert [score["grade"] for score in scores(folder)] == [2]


# Who may


def test_a_scorer_scores_and_a_viewer_does_not(serve, peopled, folder):
    page = serve(peopled)
    page.sign_in("Rui")
    phone = Phone(page, "Rui")
    assert phone.known["who"] == "Rui"
    assert phone.send(phone.tap("T01", 2)).status_code == 200
    assert acts(peopled).iloc[-1]["who"] == "Rui"
    viewer = serve(peopled)
    viewer.sign_in("Eva")
    assert viewer.client.get("/score/cards.json").status_code == 403
    assert viewer.client.get("/score").status_code == 403
    sent = viewer.client.post("/score/taps", json=phone.tap("T02", 2), headers={"X-Token": viewer.token})
    assert sent.status_code == 403 and scores(peopled, "T02") == []


def test_a_scorer_does_not_take_back_another_persons_score(serve, peopled):
    first, second = serve(peopled), serve(peopled)
    first.sign_in("Ana")
    second.sign_in("Rui")
    ana, rui = Phone(first), Phone(second)
    tap = ana.tap("T01", 2)
    ana.send(tap)
    answer = rui.undo(tap)
    assert answer.status_code == 422 and answer.json()["sentences"] == [
        "Ana gave that score: only they take it back here."
    ]
    assert len(scores(peopled)) == 1


def test_without_the_sessions_token_nothing_is_taken(phone, folder):
    for headers in ({"X-Token": "0" * 64}, {"Sec-Fetch-Site": "cross-site"}, {"Origin": "http://elsewhere.example"}):
        assert phone.send(phone.tap("T01", 2), **headers).status_code == 403
    assert phone.browser.client.post("/score/taps", json=phone.tap("T01", 2)).status_code == 403
    assert scores(folder) == []


def test_who_has_not_signed_in_is_sent_to_do_so(serve, peopled):
    page = serve(peopled)
    assert page.client.get("/score/cards.json", follow_redirects=False).status_code == 303


def test_a_name_from_the_records_is_data_and_no_markup(phone, browser):
    browser.post("/register/edit", {"table": "plants", "new": "yes", "plant": "<b>T99</b>", "selection": "OL-01",
                                    "rootstock": "own", "planted_on": "2032-04-01"})  # fmt: skip
    answer = browser.client.get("/score/cards.json")
    assert answer.headers["content-type"] == "application/json"
    assert "&lt;b&gt;" in browser.page("/photos?plant=<b>T99</b>") and "<b>T99</b>" not in browser.page(
        "/photos?plant=<b>T99</b>"
    )
    assert "T99" in json.dumps(phone.cards()["stops"])


def test_the_home_page_leads_to_the_cards(shared):
    assert 'href="/score"' in shared.page("/")
    assert words_of(shared.page("/score")).startswith("To the cards")
