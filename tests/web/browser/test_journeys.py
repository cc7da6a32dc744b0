"""Journeys through the pages, as a grower takes them."""

import pytest

from hardiness.trial import open_trial
from tests.web.browser.seen import axe, done
from tests.web.hill import readings_text

LATER = (("2033-01-05", -6.0),)


def test_three_files_one_broken_floors_and_the_chart(address, look, tmp_path, folder):
    good = readings_text(LATER)
    broken = good.replace("2033-01-05 03:00,", "2033-13-05 03:00,")
    files = []
    for name, text in (("L1_2033.csv", good), ("L2_2033.csv", good), ("L3_2033.csv", broken)):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        files.append(str(path))
    page = look(address)
    done(page)
    page.click("nav >> text=Readings")
    done(page, "What have the loggers seen?")
    page.set_input_files("#files", files)
    page.click("text=Look at them")
    page.wait_for_selector("text=2 files can be taken in")
    assert "L3_2033.csv, row" in page.inner_text("main")
    page.fill("section:has-text('L2_2033.csv') input", "L2")
    page.click("text=Take them in")
    page.wait_for_selector("text=L2_2033.csv: 144 readings added to L2.")
    page.click("text=Look closer, or say what it leaves open")
    page.click("text=Leave it out")
    done(page, "What have the loggers seen?")
    page.click("nav >> text=Results")
    done(page, "How cold can each selection stand?")
    assert page.locator("tbody tr").count() == 6
    page.click("nav >> text=Take away")
    done(page, "What do you want on paper")
    with page.expect_download() as download:
        page.click("text=Take the chart, PDF")
    saved = tmp_path / "chart.pdf"
    download.value.save_as(saved)
    assert saved.read_bytes().startswith(b"%PDF")
    assert download.value.suggested_filename == "hill-dale-summary-a4.pdf"
    with open_trial(folder) as trial:
        assert sorted(trial.store.readings()) == ["L1", "L2"]
    assert page.complaints == []


def test_a_heading_sorts_and_the_way_back_leads_back(looked_at, look):
    page = look(f"{looked_at}/results")
    done(page)
    first = page.inner_text("tbody tr >> nth=0")
    page.click("thead >> text=selection")
    page.wait_for_selector("th[aria-sort=ascending] >> text=selection")
    assert page.inner_text("tbody tr >> nth=0").startswith("CK-A")
    page.wait_for_url("**sort=selection**")
    page.go_back()
    page.wait_for_selector("th[aria-sort=ascending] >> text=floor")
    assert page.inner_text("tbody tr >> nth=0") == first


def test_a_filter_needs_no_button(looked_at, look):
    page = look(f"{looked_at}/results")
    done(page)
    page.select_option("#role", "check")
    page.wait_for_selector("tbody >> text=OL-01", state="detached")
    assert page.locator("tbody tr").count() == 2
    page.wait_for_url("**role=check**")


def test_the_course_is_drawn_and_a_drag_looks_closer(looked_at, look):
    page = look(f"{looked_at}/readings/sensor/L1")
    done(page)
    page.wait_for_selector(".trace canvas")
    page.evaluate("document.fonts.ready.then(() => true)")  # a typeface that comes later would move the trace
    box = page.locator(".trace .u-over").bounding_box()
    with page.expect_request("**/course.json?from=*") as asked:
        page.mouse.move(box["x"] + 20, box["y"] + 50)
        page.mouse.down()
        page.mouse.move(box["x"] + 120, box["y"] + 60, steps=5)
        page.mouse.up()
    assert asked.value.response().status == 200
    assert page.complaints == []


def test_the_reasons_come_into_the_page(looked_at, look):
    page = look(f"{looked_at}/results/selection/OL-01")
    done(page)
    page.click("text=Say it in sentences")
    done(page, "What do the figures of OL-01 rest on?")
    assert "Never tested there: anything colder than" in page.inner_text("#why")


def test_a_plant_is_moved_and_moved_back(address, look, folder):
    page = look(f"{address}/register/plants/T01")
    page.click("text=Move it")
    page.fill("#f-block", "west")
    page.click("text=Keep it")
    page.wait_for_selector("text=block: east -> west")
    page.click("text=Take back >> nth=0")
    page.wait_for_selector("text=block: west → east")
    page.fill("#why-withdraw", "it never moved")
    page.click("main button >> text=Withdraw it")
    page.wait_for_selector("h1:has-text('Done')")
    page.click("text=Go on")
    page.wait_for_selector("h1:has-text('T01')")
    with open_trial(folder) as trial:
        plants = trial.store.current("plants").set_index("plant")
    assert plants.loc["T01", "block"] == "east"


def test_a_form_is_sent_once_however_often_it_is_pressed(address, look, folder):
    page = look(f"{address}/register/edit?table=selections")
    page.fill("#f-selection", "OL-77")
    page.dblclick("text=Keep it")
    page.wait_for_selector("h1:has-text('OL-77')")
    with open_trial(folder) as trial:
        assert (trial.store.history()["key"] == "OL-77").sum() == 1


@pytest.mark.parametrize("path", ["/results?sort=selection", "/register", "/freezes"])
def test_pages_work_without_scripts(looked_at, look, path):
    page = look(f"{looked_at}/results", scripts=False)
    for _ in range(60):
        if page.locator("progress").count() == 0:
            break
        page.wait_for_timeout(500)
        with page.expect_navigation():  # else the page that goes is looked at, and the link is sought on its successor
            page.click("text=look again")
    page.goto(looked_at + path)
    assert page.locator("tbody tr").count() > 0


def test_a_trial_is_made_and_its_register_begun(begun, look, tmp_path):
    page = look(begun, width=360)
    assert axe(page) == [] and page.evaluate("document.documentElement.scrollWidth") <= 360
    page.fill("#name", "Hill")
    page.fill("#timezone", "Europe/Lisbon")
    page.click("text=Make the trial")
    page.wait_for_selector("text=Begin with what is under test")
    page.click("text=Add the register")
    page.click("nav >> text=Selections")
    done(page, "What is under test?")  # the page before has the same button
    page.click("text=Add one")
    done(page, "Which selection is new?")
    page.fill("#f-selection", "OL-01")
    page.click("text=Keep it")
    page.wait_for_selector("h1:has-text('OL-01')")
    with open_trial(tmp_path / "new") as trial:
        assert trial.store.current("selections")["selection"].tolist() == ["OL-01"]
    assert page.complaints == []
