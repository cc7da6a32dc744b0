"""The cards on a phone: twenty plants with the connection cut half-way, twice the same tap, two people, no server."""

import io
import shutil
from pathlib import Path

import pytest
import segno
from PIL import Image

from hardiness.report.pocket_sheet import pocket_html
from hardiness.report.walk import walk_of
from hardiness.settings import Settings
from hardiness.trial import new_trial, open_trial
from hardiness.web.app import create_app
from hardiness.web.passphrases import hash_passphrase
from tests.web.browser.conftest import TIME_LIMIT_MS, Served
from tests.web.browser.seen import axe, becomes_true
from tests.web.hill import PASSPHRASE

WIDE, HIGH = 360, 740
SETTINGS = Settings("Hill & dale", "Europe/Lisbon", latitude=41.2, longitude=-7.5)
NOISE = ("Failed to load resource: net::ERR_INTERNET_DISCONNECTED", "Failed to load resource: the server responded")


@pytest.fixture
def orchard(tmp_path: Path):
    """Twenty-two plants in two rows, served; no readings."""
    folder = tmp_path / "orchard"
    with new_trial(folder, SETTINGS) as trial:
        trial.add_rows("selections", [{"selection": "OL-01"}, {"selection": "OL-02"}])
        trial.add_rows("plants", [
            {"plant": f"P{number:02}", "selection": f"OL-0{1 + number % 2}", "rootstock": "own", "block": "east",
             "row": str(1 + number // 11), "place": str(number % 11)}
            for number in range(22)
        ])  # fmt: skip
    served = Served(create_app(folder))
    served.folder = folder
    yield served
    served.close()


@pytest.fixture
def phone(chromium):
    """Open the cards as on a phone: phone(address, dark=...)."""
    contexts = []

    def start(address: str, *, dark: bool = False, name: str = "Ana"):
        context = chromium.new_context(viewport={"width": WIDE, "height": HIGH}, has_touch=True,
                                       color_scheme="dark" if dark else "light", accept_downloads=True)  # fmt: skip
        context.set_default_timeout(TIME_LIMIT_MS)
        contexts.append(context)
        page = context.new_page()
        page.complaints = []
        page.on("console", lambda m: page.complaints.append(m.text) if m.type in ("error", "warning") else None)
        page.on("pageerror", lambda error: page.complaints.append(str(error)))
        page.goto(address)
        page.wait_for_selector(".grade-press")
        if name and not address.startswith("http"):
            name_oneself(page, name)
        elif name:
            with page.expect_response("**/cards.json?held_only=true*"):  # or it comes amid the test's own taps
                name_oneself(page, name)
        return page

    yield start
    for context in contexts:
        context.close()


def scores(folder):
    with open_trial(folder) as trial:
        held = trial.store.current("scores")
    return {(row["plant"], row["observer"]): row["grade"] for row in held.to_dict("records")}


def name_oneself(page, name):
    page.fill("#observer", name)
    page.locator("#observer").blur()  # a real change: a made one would be followed by the field's own at the next tap


def grade(page, number):
    page.click(f".grade-press >> nth={number}")


def sent(page):
    told(page, "All sent.")


def told(page, text):
    page.wait_for_selector(f'#queue:has-text("{text}")')


def kept(page, number):
    """Wait until the browser holds so many taps: it writes them after it has shown them."""
    becomes_true(page, """number => new Promise((done, fail) => {
        const asked = indexedDB.open('hardiness');
        asked.onerror = () => fail(asked.error);
        asked.onsuccess = () => {
            const held = asked.result.transaction('taps').objectStore('taps').count();
            held.onsuccess = () => { asked.result.close(); done(held.result === number); };
        };
    })""", number)  # fmt: skip


def halted(page):
    page.wait_for_selector("#queue:text-is('1 wants a look.')")


def test_twenty_plants_with_the_connection_cut_half_way(orchard, phone):
    page = phone(f"{orchard.address}/score")
    for number in range(10):
        grade(page, number % 6)
    page.context.set_offline(True)
    for number in range(10, 20):
        grade(page, number % 6)
    assert page.inner_text(".progress span") == "20 of 22 scored"
    told(page, "to be sent: no connection.")
    assert len(scores(orchard.folder)) < 20
    page.context.set_offline(False)
    sent(page)
    # Up the first row and down the second.
    walk = [f"P{number:02}" for number in (*range(11), *range(21, 10, -1))]
    assert scores(orchard.folder) == {(plant, "Ana"): number % 6 for number, plant in enumerate(walk[:20])}
    assert [text for text in page.complaints if not text.startswith(NOISE)] == []


def test_what_a_day_holds_is_not_overwritten_by_an_older_answer(orchard, phone):
    page = phone(f"{orchard.address}/score")
    held = []

    def hold(route):  # asked for before the tap, answered after it
        answer = route.fetch()
        if not held:
            held.append(answer.status)
            grade(page, 2)
            told(page, "All sent.")
        route.fulfill(response=answer)

    page.route("**/cards.json?held_only=true*", hold)
    page.evaluate("""() => {
        window.seen = [];
        const told = document.querySelector('.progress span');
        new MutationObserver(() => window.seen.push(told.textContent)).observe(told, {childList: true});
    }""")
    over = []
    with page.expect_event("requestfinished", lambda one: "held_only" in one.url and over.append(one) is None
                           and len(over) == 2):  # the older answer is passed over, and asked for anew  # fmt: skip
        name_oneself(page, "Rui")
    assert held == [200]
    becomes_true(page, "window.seen.includes('1 of 22 scored')")
    seen = page.evaluate("window.seen")
    assert "0 of 22 scored" not in seen[seen.index("1 of 22 scored") :]
    assert page.inner_text(".progress span") == "1 of 22 scored"


def test_what_waits_survives_a_page_that_is_closed(orchard, phone):
    page = phone(f"{orchard.address}/score")
    page.context.set_offline(True)
    grade(page, 3)
    grade(page, 4)
    told(page, "2 wait to be sent: no connection.")
    kept(page, 2)
    again = page.context.new_page()
    page.close()
    again.context.set_offline(False)
    again.goto(f"{orchard.address}/score")
    again.wait_for_selector(".grade-press")
    sent(again)
    assert scores(orchard.folder) == {("P00", "Ana"): 3, ("P01", "Ana"): 4}
    assert again.inner_text("h2 >> nth=0") == "P02"  # and the walk goes on where it was left
    assert again.input_value("#observer") == "Ana"


def test_an_answer_that_was_lost_makes_no_second_score(orchard, phone):
    page = phone(f"{orchard.address}/score")
    lost = []

    def lose(route):
        if lost:
            route.continue_()
        else:
            lost.append(route.fetch().status)  # it arrives, and the answer does not come back
            route.abort()

    page.route("**/score/taps", lose)
    grade(page, 2)
    sent(page)
    assert lost == [200] and scores(orchard.folder) == {("P00", "Ana"): 2}
    with open_trial(orchard.folder) as trial:
        assert (trial.store.history()["key"].str.startswith("P00,")).sum() == 1


def test_the_same_grade_tapped_twice_is_one_act(orchard, phone):
    page = phone(f"{orchard.address}/score")
    grade(page, 2)
    page.click(".moves >> text=Back")
    grade(page, 2)
    sent(page)
    with open_trial(orchard.folder) as trial:
        assert (trial.store.history()["key"].str.startswith("P00,")).sum() == 1


def test_a_second_thought_is_sent_after_the_first(orchard, phone):
    page = phone(f"{orchard.address}/score")
    page.context.set_offline(True)
    for number in (2, 4, 1):
        grade(page, number)
        page.click(".moves >> text=Back")
    told(page, "3 wait to be sent")
    page.context.set_offline(False)
    sent(page)
    assert scores(orchard.folder) == {("P00", "Ana"): 1}


def test_two_phones_under_one_name_are_shown_both_values_and_choose(orchard, phone):
    first, second = phone(f"{orchard.address}/score"), phone(f"{orchard.address}/score")
    grade(first, 2)
    sent(first)
    for number in (4, 5):
        grade(second, number)  # P00 and P01
    halted(second)
    assert scores(orchard.folder) == {("P00", "Ana"): 2, ("P01", "Ana"): 5}
    second.click("text=Show the card")
    assert "was given 2 " in second.inner_text(".notice")
    assert second.is_disabled(".grade-press >> nth=0")
    second.click("text=Put mine")
    sent(second)
    assert scores(orchard.folder)["P00", "Ana"] == 4
    grade(first, 3)  # P01, which the second phone has scored
    halted(first)
    first.click("text=Show the card")
    first.click(".notice button >> text=Leave")
    sent(first)
    assert scores(orchard.folder)["P01", "Ana"] == 5
    assert first.get_attribute(".grade-press >> nth=5", "aria-pressed") == "true"


def test_a_grade_is_not_given_to_a_card_that_came_while_the_finger_was_down(orchard, phone):
    page = phone(f"{orchard.address}/score", name="Rui")
    grade(page, 2)
    sent(page)
    assert page.inner_text("h2 >> nth=0") == "P01"
    page.click(".who summary")
    page.fill("#observer", "Ana")
    page.hover(".grade-press >> nth=4")
    page.mouse.down()  # leaves the field: Ana's walk begins at P00
    page.wait_for_selector("h2:text-is('P00')")
    page.mouse.up()
    told(page, "All sent.")
    assert page.inner_text(".said") == "The card has changed. Look at it, then give the grade."
    assert scores(orchard.folder) == {("P00", "Rui"): 2}
    grade(page, 4)
    sent(page)
    assert scores(orchard.folder) == {("P00", "Rui"): 2, ("P00", "Ana"): 4}


def test_two_observers_score_side_by_side(orchard, phone):
    first, second = phone(f"{orchard.address}/score"), phone(f"{orchard.address}/score", name="Rui")
    grade(first, 2)
    sent(first)
    grade(second, 4)
    sent(second)
    assert scores(orchard.folder) == {("P00", "Ana"): 2, ("P00", "Rui"): 4}


def test_undo_takes_back_what_was_sent_and_what_was_not(orchard, phone):
    page = phone(f"{orchard.address}/score")
    grade(page, 2)
    sent(page)
    page.context.set_offline(True)
    grade(page, 3)
    page.click(".moves >> text=Undo")
    assert page.inner_text("h2 >> nth=0") == "P01"
    page.click(".moves >> text=Undo")
    assert page.inner_text("h2 >> nth=0") == "P00"
    assert page.inner_text(".progress span") == "0 of 22 scored"
    assert page.is_disabled(".moves >> text=Undo")
    page.context.set_offline(False)
    sent(page)
    assert scores(orchard.folder) == {}


def test_a_refused_score_stays_with_its_sentence_until_it_is_dropped(orchard, phone):
    page = phone(f"{orchard.address}/score")
    with open_trial(orchard.folder) as trial:
        trial.add_rows("plants", [{"plant": "P00", "selection": "OL-01", "rootstock": "own",
                                   "removed_on": "2020-01-01", "lost_to": "other"}])  # fmt: skip
    grade(page, 2)
    halted(page)
    page.click("text=Show the card")
    assert "was removed on 2020-01-01" in page.inner_text(".notice")
    page.click(".notice button >> text=Drop it")
    sent(page)
    assert page.is_hidden(".notice") and scores(orchard.folder) == {}


def test_a_note_and_a_cover_go_with_the_grade_and_not_with_the_next_plant(orchard, phone):
    page = phone(f"{orchard.address}/score")
    page.click(".more summary")
    page.fill("#note", "bark split on the north side")
    page.select_option("#cover", "snow")
    grade(page, 3)
    assert page.input_value("#note") == "" and page.input_value("#cover") == ""
    grade(page, 1)
    sent(page)
    with open_trial(orchard.folder) as trial:
        held = trial.store.current("scores").set_index("plant")
    assert held.loc["P00", ["notes", "protected"]].tolist() == ["bark split on the north side", "snow"]
    assert held.loc["P01", ["notes", "protected"]].tolist() == ["", ""]


def test_a_photo_goes_with_its_score(orchard, phone, tmp_path):
    picture = tmp_path / "bark.png"
    Image.new("RGB", (2400, 1200), "#456").save(picture)
    page = phone(f"{orchard.address}/score")
    page.click(".more summary")
    page.context.set_offline(True)
    page.set_input_files("#photo", picture)
    grade(page, 3)
    told(page, "2 wait to be sent")
    page.context.set_offline(False)
    sent(page)
    with open_trial(orchard.folder) as trial:
        (photo,) = trial.store.photos.of("P00")
    assert (photo.width, photo.height, photo.observer) == (1600, 800, "Ana")
    page.goto(f"{orchard.address}/photos")
    becomes_true(page, "document.images.length > 0 && [...document.images].every(one => one.naturalWidth === 1600)")


def test_a_plant_is_found_by_its_label_and_by_its_square_code(orchard, phone, tmp_path):
    page = phone(f"{orchard.address}/score")
    page.fill("#jump", "p17")
    page.press("#jump", "Enter")
    assert page.inner_text("h2 >> nth=0") == "P17"
    page.fill("#jump", "1")
    page.press("#jump", "Enter")
    assert page.locator(".found button").all_inner_texts() == ["P01", "P21", "P11"]
    page.click(".found >> text=P21")
    assert page.inner_text("h2 >> nth=0") == "P21"
    page.fill("#jump", "X9")
    page.press("#jump", "Enter")
    assert "No plant on this walk is labelled X9." in page.inner_text(".found")
    out = io.BytesIO()
    segno.make("P05", micro=False).save(out, kind="png", scale=12, border=4)
    scene = Image.new("RGB", (1500, 1100), "#9a9a90")  # the code somewhere in a photo, a little turned
    code = Image.open(out).convert("RGB").rotate(9, expand=True, fillcolor="#ffffff")
    scene.paste(code, (600, 300))
    scene.save(tmp_path / "label.jpg")
    page.set_input_files("#scan", tmp_path / "label.jpg")
    page.wait_for_selector("h2:text-is('P05')")
    Image.new("RGB", (800, 800), "#777").save(tmp_path / "nothing.jpg")
    page.set_input_files("#scan", tmp_path / "nothing.jpg")
    page.wait_for_selector("text=No code was found in the photo.")
    assert page.complaints == []


def test_another_date_shows_what_that_day_holds(orchard, phone):
    with open_trial(orchard.folder) as trial:
        trial.add_rows("scores", [{"plant": "P00", "scored_on": "2026-03-01", "grade": "4", "observer": "Ana"}])
    page = phone(f"{orchard.address}/score")
    if not page.is_visible("#day"):
        page.click(".who summary")
    page.fill("#day", "2026-03-01")
    page.wait_for_selector("text=1 of 22 scored")
    assert page.inner_text("h2 >> nth=0") == "P00"
    assert page.get_attribute(".grade-press >> nth=4", "aria-pressed") == "true"


def test_who_is_signed_out_keeps_the_taps_and_is_told(orchard, chromium):
    with open_trial(orchard.folder) as trial:
        for name, role in (("Eva", "owner"), ("Rui", "scorer")):
            trial.store.accounts.put(name, role, hash_passphrase(PASSPHRASE))
    context = chromium.new_context(viewport={"width": WIDE, "height": HIGH})
    context.set_default_timeout(TIME_LIMIT_MS)
    page = context.new_page()
    page.goto(f"{orchard.address}/sign-in")
    page.fill("input[name=name]", "Rui")
    page.fill("input[name=passphrase]", PASSPHRASE)
    page.click("main button")
    page.wait_for_selector("nav >> text=Score")  # signed in, or going on would break it off
    page.goto(f"{orchard.address}/score")
    page.wait_for_selector(".grade-press")
    assert page.input_value("#observer") == "Rui"
    kept = context.cookies()
    context.clear_cookies()
    grade(page, 4)
    told(page, "1 waits to be sent: signed out.")
    assert page.is_visible("#sign-in-again")
    context.add_cookies(kept)
    page.click("text=Send again now")
    sent(page)
    context.close()
    assert scores(orchard.folder) == {("P00", "Rui"): 4}
    with open_trial(orchard.folder) as trial:
        assert trial.store.history()["who"].iloc[-1] == "Rui"


@pytest.mark.parametrize("dark", [False, True])
def test_the_cards_are_readable_within_reach_and_within_their_policy(orchard, phone, dark):
    page = phone(f"{orchard.address}/score", dark=dark)
    page.context.set_offline(True)
    grade(page, 2)
    told(page, "no connection")
    for summary in (".more summary", ".keeping summary"):
        page.click(summary)
    assert page.evaluate("document.documentElement.scrollWidth") <= WIDE
    small = page.evaluate(
        """() => [...document.querySelectorAll('button, select, .file, input:not([type=file]), a:not(.skip), summary')]
            .filter(e => e.offsetParent && !e.closest('p')).map(e => [e.textContent || e.id, e.getBoundingClientRect()])
            .filter(([_, r]) => r.height < 48 || r.width < 44).map(([t, r]) => `${t} ${r.width}x${r.height}`)"""
    )
    assert small == []
    wide = page.evaluate("[...document.querySelectorAll('.grade-press')].map(e => e.getBoundingClientRect().width)")
    assert min(wide) >= WIDE - 40
    page.evaluate("scrollTo(0, 0)")
    page.click(".more summary")
    assert page.evaluate("document.querySelector('.moves').getBoundingClientRect().bottom") <= HIGH
    page.context.set_offline(False)
    sent(page)
    assert axe(page) == []
    assert [text for text in page.complaints if not text.startswith(NOISE)] == []


# The sheet in a single file


def test_the_sheet_in_one_file_needs_no_server_and_gives_back_a_table(orchard, phone, tmp_path):
    sheet = tmp_path / "sheet.html"
    own = tmp_path / "own"
    shutil.copytree(orchard.folder, own)
    with open_trial(own) as trial:
        sheet.write_bytes(pocket_of(trial))
    page = phone(sheet.as_uri(), name="Ana")
    page.context.set_offline(True)
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.click(".more summary")
    page.fill("#note", '=1+1, "quoted"\nsecond line')
    for number in (3, 4, 5):
        grade(page, number)
    page.click(".moves >> text=Undo")
    assert page.inner_text("#queue") == "2 scores in this browser only."
    page.reload()
    page.wait_for_selector(".grade-press")
    assert page.inner_text("#queue") == "2 scores in this browser only."  # kept
    assert page.inner_text("h2 >> nth=0") == "P02" and page.input_value("#observer") == "Ana"
    with page.expect_download() as download:
        page.click("text=Save the table as a file")
    table = tmp_path / "scores.csv"
    download.value.save_as(table)
    assert download.value.suggested_filename.startswith("scores-")
    assert page.inner_text("#queue").startswith("2 scores, taken out.")
    page.click("text=Show the table")
    assert page.input_value("#text") == table.read_text(encoding="utf-8")
    assert not any(cell.startswith(("=", "+", "-", "@")) for line in table.read_text().split("\n")
                   for cell in line.replace('"', "").split(","))  # fmt: skip
    with open_trial(own) as trial:
        intake = trial.add_table("scores", table)
        held = trial.store.current("scores").set_index("plant")
    assert intake.added == 2
    assert held["grade"].to_dict() == {"P00": 3, "P01": 4}
    assert held.loc["P00", "notes"] == '=1+1, "quoted"\nsecond line'
    assert asked == [] or all(url.startswith(("file:", "blob:")) for url in asked)
    assert page.complaints == []


@pytest.mark.parametrize("width, dark", [(360, False), (360, True), (1280, False)])
def test_the_sheet_in_one_file_is_whole_and_readable(orchard, phone, tmp_path, width, dark):
    sheet = tmp_path / "sheet.html"
    with open_trial(orchard.folder) as trial:
        sheet.write_bytes(pocket_of(trial))
    page = phone(sheet.as_uri(), dark=dark)
    page.set_viewport_size({"width": width, "height": HIGH})
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.inner_text("header p").startswith("22 plants, made on ")
    assert axe(page) == []


def pocket_of(trial) -> bytes:
    flow = trial.flow()
    return pocket_html(flow, trial.settings, walk_of(flow))
