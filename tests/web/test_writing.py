"""Files and forms: looked at first, taken whole or not at all, told in words, and taken back."""

import csv
import io
import re
import zipfile
from concurrent.futures import ThreadPoolExecutor
from html import unescape

import pytest

from hardiness.trial import open_trial
from tests.web.hill import readings_text, words_of

LATER = (("2033-01-05", -6.0),)


def held(folder, table):
    with open_trial(folder) as trial:
        return trial.store.current(table)


def drop(browser, **files):
    return browser.post(
        "/readings/files", files=[("files", (name.replace("__", "."), text)) for name, text in files.items()]
    )


def numbers(browser):
    return {one.name: one.number for one in browser.client.app.state.place.holding._files.values()}


# Readings


def test_a_form_without_a_file_says_what_is_taken(browser):
    # as browsers send a field of files that was left empty: a part whose name is empty
    parts = [f'name="token"\r\n\r\n{browser.token}', 'name="files"; filename=""\r\nContent-Type: text/csv\r\n\r\n']
    sent = "".join(f"--edge\r\nContent-Disposition: form-data; {part}\r\n" for part in parts) + "--edge--\r\n"
    answer = browser.client.post(
        "/readings/files", content=sent, headers={"content-type": "multipart/form-data; boundary=edge"}
    )
    assert answer.status_code == 422
    assert "found no file chosen; accepted: a logger's export, or several." in words_of(answer.text)


def test_three_files_one_broken_the_good_ones_are_taken_and_floors_follow(browser, folder):
    broken = readings_text((("2034-01-05", -6.0),)).replace("2034-01-05 03:00,", "2034-13-05 03:00,")
    page = words_of(
        drop(browser, L1_2033__csv=readings_text(LATER), L2_2033__csv=readings_text(LATER), L3__csv=broken).text
    )
    assert "2 files can be taken in" in page
    assert "1 thing to put right" in page and "L3.csv, row" in page
    waiting = numbers(browser)
    done = browser.post(
        "/readings/take", {f"sensor-{waiting['L1_2033.csv']}": "L1", f"sensor-{waiting['L2_2033.csv']}": "L2"}
    )
    told = words_of(done.text)
    assert "L1_2033.csv: 144 readings added to L1." in told and "L2_2033.csv: 144 readings added to L2." in told
    assert numbers(browser).keys() == {"L3.csv"}  # it waits to be put right
    with open_trial(folder) as trial:
        assert sorted(trial.store.readings()) == ["L1", "L2"]
    assert "2033-01-05 L1" in browser.page("/freezes?winter=2032-33")


def test_nothing_is_stored_before_it_is_taken_in(browser, folder):
    with open_trial(folder) as trial:
        before = trial.store.state_token(), len(trial.store.uploads()), len(trial.store.history())
    drop(browser, L1_2033__csv=readings_text(LATER))
    browser.page("/readings/files")
    with open_trial(folder) as trial:
        assert (trial.store.state_token(), len(trial.store.uploads()), len(trial.store.history())) == before


def test_home_tells_of_files_that_wait(browser):
    drop(browser, L1_2033__csv=readings_text(LATER))
    assert "1 dropped file to look at" in browser.words("/")


def test_a_file_shows_what_was_recognised(browser):
    drop(browser, L1_2033__csv=readings_text(LATER))
    (number,) = numbers(browser).values()
    words = words_of(browser.page(f"/readings/files/{number}"))
    for fact in (
        "readings 144",
        "first reading 2033-01-04 00:00",
        "temperatures from Air C",
        "usual interval 30 min",
        "unit C, the trial's",
    ):
        assert fact in words
    assert "--timezone" not in words
    taken = words_of(browser.post(f"/readings/files/{number}", {"sensor": "L1"}).text)
    assert "the field 'Clock of the file' names another" in taken and "--timezone" not in taken


def test_unit_and_zone_are_seen_before_files_are_taken_in(browser):
    drop(browser, L1_2033__csv=readings_text(LATER))
    (number,) = numbers(browser).values()
    taken = "unit C, the trial's, as neither the file nor an option says zone "
    for path in ("/readings/files", f"/readings/files/{number}"):
        words = words_of(browser.page(path))
        assert taken in words
        assert words.index(taken) < words.index("Take it in")
        assert "the unit of 'Air C': taken as C." in words and "--" not in words


def test_a_number_that_means_no_reading_is_said_on_the_page(browser):
    pulled = readings_text(LATER).replace("2033-01-04 05:00,", "2033-01-04 05:01,-127\n2033-01-04 05:00,")
    drop(browser, L1_2033__csv=pulled)
    (number,) = numbers(browser).values()
    refused = words_of(browser.post(f"/readings/files/{number}", {"sensor": "L1"}).text)
    assert "If the number stands for no reading, say -127 in the field 'No reading', or empty its cell." in refused
    looked = words_of(
        browser.post(f"/readings/files/{number}", {"sensor": "L1", "missing": "cold", "act": "look"}).text
    )
    assert "'cold' for the field 'No reading'; accepted: a number as it stands in the file" in looked
    taken = words_of(browser.post(f"/readings/files/{number}", {"sensor": "L1", "missing": "-127"}).text)
    assert "144 readings added to L1." in taken and "-127 stands for no reading in 1 row" in taken


def test_what_a_mark_means_is_said_on_the_page(browser):
    marked = readings_text(LATER).replace("2033-01-04 05:00,", "2033-01-04 05:01,-3.1*\n2033-01-04 05:00,")
    drop(browser, L1_2033__csv=marked)
    (number,) = numbers(browser).values()
    refused = words_of(browser.post(f"/readings/files/{number}", {"sensor": "L1"}).text)
    assert "Say what '*' marks: '*=reading' in the field 'Marks' if numbers with it count as readings" in refused
    answer = browser.post(f"/readings/files/{number}", {"sensor": "L1", "marks": "*", "act": "look"}).text
    assert "'*' for the field 'Marks'; accepted: a mark and what it means" in words_of(answer)
    assert 'name="marks" value="*"' in answer
    looked = browser.page(f"/readings/files/{number}?sensor=L1&marks=*%3Dreading")
    assert "'*' in 'Air C' marks readings that count, in 1 row." in words_of(looked)
    taken = words_of(browser.post(f"/readings/files/{number}", {"sensor": "L1", "marks": "*=none"}).text)
    assert "144 readings added to L1." in taken and "'*' in 'Air C' means no reading, in 1 row." in taken


def test_a_choice_changes_what_is_seen_and_what_is_stored(browser, folder):
    drop(browser, L2__csv=readings_text(LATER))
    (number,) = numbers(browser).values()
    data = {"sensor": "L2", "timezone": "UTC-05:00"}
    looked = words_of(browser.post(f"/readings/files/{number}", data | {"act": "look"}).text)
    assert "first reading 2033-01-04 05:00" in looked and "UTC-05:00" in looked
    browser.post(f"/readings/files/{number}", data)
    with open_trial(folder) as trial:
        assert str(trial.store.readings_of("L2")["time"].values[0])[:16] == "2033-01-04T05:00"


def test_readings_that_contradict_are_refused_by_row_and_the_file_waits(browser, folder):
    drop(browser, again__csv=readings_text().replace("2030-01-10 05:00,-5.00", "2030-01-10 05:00,-9.00"))
    (number,) = numbers(browser).values()
    answer = browser.post(f"/readings/files/{number}", {"sensor": "L1"})
    assert answer.status_code == 422
    assert "again.csv, row" in answer.text and "nothing was stored" in answer.text
    assert numbers(browser) == {"again.csv": number}


def test_a_file_needs_a_sensor(browser):
    drop(browser, x__csv=readings_text(LATER))
    (number,) = numbers(browser).values()
    answer = browser.post(f"/readings/files/{number}", {"sensor": " "})
    assert answer.status_code == 422 and "the name of the sensor whose readings these are" in answer.text


def test_the_sensor_is_guessed_from_the_files_name(browser):
    drop(browser, L1_2031__csv=readings_text(LATER))
    (number,) = numbers(browser).values()
    assert 'name="sensor" value="L1"' in browser.page(f"/readings/files/{number}")


def test_a_file_with_several_columns_gives_a_sensor_for_each(browser, folder):
    lines = readings_text(LATER).splitlines()
    two = "\n".join(["Time,Low C,High C", *(f"{line},{float(line.split(',')[1]) + 1:.2f}" for line in lines[1:])])
    drop(browser, two__csv=two)
    (number,) = numbers(browser).values()
    looked = words_of(browser.page(f"/readings/files/{number}"))
    assert "several columns of numbers" in looked and "the field 'Column of temperatures'" in looked
    browser.post(f"/readings/files/{number}", {"sensor": "L7", "temperature_column": "Low C", "act": "keep"})
    browser.post(f"/readings/files/{number}", {"sensor": "L8", "temperature_column": "High C"})
    with open_trial(folder) as trial:
        low, high = (float(trial.store.readings_of(sensor).min()) for sensor in ("L7", "L8"))
    assert (low, high) == (-6.0, -5.0)
    assert numbers(browser) == {}


def test_a_file_may_be_left_out(browser):
    drop(browser, x__csv=readings_text(LATER))
    (number,) = numbers(browser).values()
    browser.post(f"/readings/files/{number}/drop")
    assert numbers(browser) == {}


def test_the_same_file_again_changes_nothing_and_says_so(browser):
    drop(browser, L1_2030__csv=readings_text())
    (number,) = numbers(browser).values()
    assert "nothing added" in words_of(browser.post(f"/readings/files/{number}", {"sensor": "L1"}).text)


@pytest.mark.parametrize("content", [b"", b"\x00\xff\x00", b"not,a,logger\n1,2,3\n", "é".encode("utf-16")])
def test_a_file_that_is_no_readings_says_why(browser, content):
    drop(browser, odd__csv=content)
    assert "to put right" in words_of(browser.page("/readings/files"))


def test_an_odd_stretch_is_decided_on_from_its_sensors_page(browser, folder):
    spike = readings_text(LATER).replace("2033-01-06 12:00,", "2033-01-06 12:00,-3", 1)
    drop(browser, L1_2033__csv=spike)
    browser.post("/readings/take", {f"sensor-{numbers(browser)['L1_2033.csv']}": "L1"})
    page = browser.page("/readings/sensor/L1")
    links = [unescape(found) for found in re.findall(r'href="(/register/edit[?]table=masks[^"]+)">Decide on it', page)]
    (link,) = (link for link in links if "from=2033-01-06T12%3A00" in link)
    form = browser.page(link)
    given = {name: re.search(rf'name="{name}"[^>]*value="([^"]+)"', form)[1] for name in ("from", "to")}
    edit(browser, "masks", new="yes", sensor="L1", verdict="mask", reason="sun on the sensor", **given)
    assert held(folder, "masks")["reason"].tolist() == ["sun on the sensor"]
    after = browser.page("/readings/sensor/L1")
    assert "Masked." in after and after.count("Decide on it") == len(links) - 1


# The register


def edit(browser, table, **values):
    return browser.post("/register/edit", {"table": table, **values})


def test_a_plant_is_added_moved_retired_and_each_is_in_its_history(browser, folder):
    edit(browser, "plants", new="yes", plant="T50", selection="OL-01", rootstock="P2", block="east")
    edit(browser, "plants", act="move", plant="T50", block="west", row="3", place="7", sensor="")
    edit(browser, "plants", act="retire", plant="T50", removed_on="2033-04-01", lost_to="other")
    plant = held(folder, "plants").set_index("plant").loc["T50"]
    assert (plant["block"], plant["row"], plant["place"], plant["lost_to"]) == ("west", "3", "7", "other")
    assert plant["selection"] == "OL-01"  # what a form does not ask for stays
    words = browser.words("/register/plants/T50")
    assert "block: east -> west" in words and "removed_on: (empty) -> 2033-04-01" in words


def test_a_change_is_taken_back_and_made_again(browser, folder):
    for block in ("west", "east", "west", "east"):
        edit(browser, "plants", act="move", plant="T01", block=block, row="1", place="1", sensor="")
        assert held(folder, "plants").set_index("plant").loc["T01", "block"] == block
    with open_trial(folder) as trial:
        sha = trial.store.uploads()["upload"].iloc[-1]
    browser.post("/register/upload", {"upload": sha, "why": "the block was right"})
    assert held(folder, "plants").set_index("plant").loc["T01", "block"] == "west"
    browser.post("/register/upload", {"upload": sha, "undo": "yes", "why": "it was not"})
    assert held(folder, "plants").set_index("plant").loc["T01", "block"] == "east"


def test_a_change_that_changes_nothing_adds_nothing(browser, folder):
    with open_trial(folder) as trial:
        before = trial.store.state_token(), len(trial.store.history())
    edit(browser, "plants", act="move", plant="T01", block="east", row="1", place="1", sensor="")
    with open_trial(folder) as trial:
        assert (trial.store.state_token(), len(trial.store.history())) == before


def test_a_bad_value_is_told_beside_the_form_with_what_was_typed(browser, folder):
    answer = edit(browser, "plants", new="yes", plant="T50", selection="OL-7", rootstock="P2", planted_on="2031-99-01")
    assert answer.status_code == 422
    words = words_of(answer.text)
    assert "plants, as typed" in words and "planted_on" in words and "nothing was stored" in words
    assert 'value="OL-7"' in answer.text
    assert "T50" not in set(held(folder, "plants")["plant"])


def test_a_name_that_is_taken_is_not_overwritten(browser, folder):
    answer = edit(browser, "plants", new="yes", plant="T01", selection="OL-02", rootstock="own")
    assert answer.status_code == 422 and "registered already" in answer.text
    assert held(folder, "plants").set_index("plant").loc["T01", "selection"] == "OL-01"


def test_a_copy_names_the_seedling_it_was_taken_from(browser):
    text = browser.page("/register/edit?table=plants&copy_of=T01")
    assert 'name="copy_of" value="T01"' in text and 'name="selection" value="OL-01"' in text


def test_a_record_is_withdrawn_and_counts_again(browser, folder):
    key = {"table": "scores", "key": ["T01", "2030-02-20", "A"]}
    assert "Have it count again" in browser.post("/register/withdraw", key).text
    assert len(held(folder, "scores").query("plant == 'T01'")) == 2
    browser.post("/register/withdraw", key | {"undo": "yes"})
    assert len(held(folder, "scores").query("plant == 'T01'")) == 3


def test_what_others_rest_on_is_not_withdrawn_and_the_page_says_why(browser, folder):
    answer = browser.post("/register/withdraw", {"table": "plants", "key": "T01"})
    assert answer.status_code == 422 and "T01" in words_of(answer.text)
    assert "T01" in set(held(folder, "plants")["plant"])


def test_a_record_with_an_empty_part_of_its_key_has_its_page(browser):
    edit(browser, "scores", new="yes", plant="T01", scored_on="2032-06-01", grade="3", observer="")
    assert browser.get("/register/row?table=scores&key=T01&key=2032-06-01&key=").status_code == 200


@pytest.mark.parametrize("path", ["/register?table=nothing", "/register/row?table=plants", "/register/edit?table=x"])
def test_a_table_or_key_that_is_none_is_told(browser, path):
    assert browser.get(path).status_code == 422


def test_a_record_that_never_was_is_not_found(browser):
    assert browser.get("/register/row?table=plants&key=T99").status_code == 404


def test_find_looks_in_every_column(browser):
    text = browser.page("/register?table=plants&find=ol-02")
    assert "T05" in text and "T01" not in text.split("<tbody>")[1]
    assert "No record has" in browser.words("/register?table=plants&find=zzz")


def test_a_table_is_taken_whole_with_its_changes_told(browser, folder):
    text = "selection,notes\nOL-01,by the gate\nOL-44,new\n"
    answer = browser.post("/register/files", {"table": "selections"}, files={"file": ("more.csv", text)})
    words = words_of(answer.text)
    assert "more.csv was taken in" in words and "1 row added, 1 updated." in words
    assert "OL-01, notes: (empty) → by the gate" in words
    again = browser.post("/register/files", {"table": "selections"}, files={"file": ("more.csv", text)})
    assert "more.csv was here before" in words_of(again.text)


def test_a_table_with_bad_rows_is_refused_whole_with_every_row(browser, folder):
    text = "plant,selection,rootstock,colour\nT60,OL-01,own,red\n,OL-01,own,red\n"
    answer = browser.post("/register/files", {"table": "plants"}, files={"file": ("bad.csv", text)})
    words = words_of(answer.text)
    assert answer.status_code == 422 and "column 'colour', not known" in words and "row 3" in words
    assert "T60" not in set(held(folder, "plants")["plant"])


# Take away


def test_the_chart_comes_as_a_picture_of_each_kind(shared):
    shared.page("/results")
    for kind, begins in (("png", b"\x89PNG"), ("svg", b"<svg"), ("pdf", b"%PDF")):
        answer = shared.get(f"/pictures/summary.{kind}")
        assert answer.status_code == 200 and answer.content.startswith(begins)
    assert shared.get("/pictures/summary.gif").status_code == 422
    assert shared.get("/pictures/summary.png?page=poster").status_code == 422
    assert shared.get("/pictures/nothing.png").status_code == 404


def test_a_picture_is_shown_in_a_page_and_drawn_for_what_is_asked(shared):
    text = shared.page("/pictures/damage_map?block=east&event=2030-12-20")
    assert "/pictures/damage_map.svg?event=2030-12-20&amp;block=east&amp;page=slide&amp;show=1" in text
    shown = shared.get("/pictures/damage_map.svg?block=east&event=2030-12-20&show=yes")
    assert "content-disposition" not in shown.headers and "OL-01" in shown.text
    wrong = shared.get("/pictures/damage_map.svg?block=nowhere")
    assert wrong.status_code == 422 and "one of east" in wrong.text
    assert shared.get("/pictures/winters.svg?block=east").status_code == 422  # it knows no block


def test_the_sheet_and_the_cards_come_as_pdf(shared):
    for path in ("/takeaway/sheet.pdf", "/takeaway/sheet.pdf?block=east&large=yes&paper=letter", "/takeaway/cards.pdf"):
        answer = shared.get(path)
        assert answer.status_code == 200 and answer.content.startswith(b"%PDF"), path
    assert shared.get("/takeaway/sheet.pdf?paper=napkin").status_code == 422


@pytest.mark.slow
def test_the_report_is_written_behind_the_page_and_comes_whole(shared):
    assert "Take the report" in shared.page("/takeaway/report")
    with zipfile.ZipFile(io.BytesIO(shared.get("/takeaway/report.zip").content)) as archive:
        names = set(archive.namelist())
    assert {"report/report.html", "report/report.pdf", "report/tables.xlsx", "report/tables/floors.csv"} <= names


def test_tables_are_those_of_the_command_line(shared):
    rows = list(csv.DictReader(io.StringIO(shared.get("/takeaway/tables/floors.csv").text)))
    table = shared.client.app.state.place.trial.floors()
    assert [row["selection"] for row in rows] == table["selection"].tolist()
    assert [float(row["floor_c"]) for row in rows] == pytest.approx(table["floor_c"].tolist())
    assert shared.get("/takeaway/tables/nothing.csv").status_code == 404


def test_there_is_no_chart_without_floors_to_draw_but_a_page_that_says_so(serve, bare):
    words = serve(bare).words("/takeaway")
    assert "There is nothing to draw yet" in words


def test_people_who_write_at_the_same_time_all_write(browser, folder):
    token = browser.token

    def write(number):
        data = {"token": token, "table": "selections", "new": "yes", "selection": f"OL-{number}"}
        return browser.client.post("/register/edit", data=data).status_code

    with ThreadPoolExecutor(6) as people:
        assert set(people.map(write, range(50, 62))) == {200}
    assert {f"OL-{number}" for number in range(50, 62)} <= set(held(folder, "selections")["selection"])
