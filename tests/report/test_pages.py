"""The sections of a report: what each says of a small trial, and that nothing written by a person is read as markup."""

from __future__ import annotations

import io
import platform
import re
from dataclasses import replace
from html.parser import HTMLParser

import pandas as pd
import pytest
from pypdf import PdfReader

from hardiness import remarks, windows, words
from hardiness.figures.typeface import MM_PER_POINT, SEMIBOLD, width_mm
from hardiness.report import gathered as gathered_answers
from hardiness.report import selections as selection_pages
from hardiness.report.assembly import assemble
from hardiness.report.blocks import Document, Formula, Grid, Head, Picture, Points, Section, Text, texts_in
from hardiness.report.doubts import MEANINGS, checks_section, left_out_section
from hardiness.report.floor_tables import floors_section
from hardiness.report.gathered import gather
from hardiness.report.html import html_page
from hardiness.report.method_pages import methods_section, provenance_section
from hardiness.report.opening import finding_of, opening_section
from hardiness.report.pdf import pdf_report
from hardiness.report.pictures import curve_picture
from hardiness.report.selections import cell_sentences, selections_section
from hardiness.report.weather_pages import freezes_section
from hardiness.sentences import FLOOR_CAUTION, WORK_CAUTION
from hardiness.trial import new_trial
from tests.cli.conftest import as_csv, readings
from tests.report.conftest import FOREIGN, LONG, settings


def texts(section):
    return list(texts_in(Document("", "", "", (section,))))


@pytest.fixture(scope="module")
def document(gathered):
    return assemble(gathered)


@pytest.fixture(scope="module")
def page(document):
    return html_page(document)


@pytest.fixture(scope="module")
def pdf(document):
    return pdf_report(document)


def pdf_text(content):
    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(content)).pages)


def test_the_opening_counts_what_there_is_and_carries_both_cautions(gathered):
    said = texts(opening_section(gathered, None))
    assert "4 selections registered, 12 plants on 2 rootstocks (own roots count as one); 16 scores so far." in said
    assert any(text.startswith("2 cold spells measured by 1 sensor; the coldest, at L1 on 2024-01-") for text in said)
    assert FLOOR_CAUTION in said and WORK_CAUTION in said
    assert any("2 untested" in text for text in said)


def test_claims_are_worded_one_by_one_and_then_counted(gathered):
    said = texts(opening_section(gathered, None))
    assert (
        sum(text.startswith(f"{LONG} on its own roots: The claim of −12.0 °C (a letter, 1998)") for text in said) == 1
    )
    many = replace(gathered, claims=pd.concat([gathered.claims] * 5, ignore_index=True))
    more = len(many.claims) - 8
    assert f"And {more} more: see each selection, or tables/claims.csv." in texts(opening_section(many, None))


def test_every_combination_stands_in_the_table_of_floors_with_open_ends_in_words(gathered):
    grid = next(block for block in floors_section(gathered).blocks if isinstance(block, Grid))
    assert len(grid.rows) == len(gathered.floors) == 7
    by_cell = {row[:2]: row for row in grid.rows}
    assert by_cell[LONG, "stock P"][5] == "all survived" and by_cell[LONG, "stock P"][7] == "at or below"
    assert by_cell["<b>OL-03</b>", "own roots"][5:] == ("untested", "–", "–", "–", "–", "–", "–")
    died = by_cell["CK-A", "own roots"]
    assert died[4:6] == ("2", "all died") and died[7] == "above −7.0" and died[10] == "none"
    assert [head.unit for head in grid.heads if head.unit] == ["°C"] * 5


def test_a_selection_page_tells_plants_winters_and_grades(gathered):
    part = selections_section(gathered, lambda name: None).parts[0]
    grids = [block for block in part.blocks if isinstance(block, Grid)]
    plants = {row[0]: row for row in grids[1].rows}
    assert [head.name for head in grids[1].heads] == ["plant", "on", "stands", "planted", "2022-23", "2023-24", "gone"]
    assert plants["A1"][4:6] == ("0 at −7.0", "1 at −9.0")
    lead = [block.text for block in part.blocks if isinstance(block, Text) and block.tone == "lead"]
    assert lead == cell_sentences(gathered, LONG)
    assert lead[0] == "On its own roots: came through −9.0 °C for 1 h on two of two plants; never tested colder."


def test_pages_end_at_a_limit_that_is_said(gathered, monkeypatch):
    monkeypatch.setattr(selection_pages, "MOST_PAGES", 2)
    monkeypatch.setattr(type(gathered), "paged", property(lambda self: self.order[:2]))
    section = selections_section(gathered, lambda name: None)
    assert [part.title for part in section.parts] == list(gathered.order[:2])
    assert "2 of 4 selections have a page here" in section.blocks[0].text


def test_freezes_are_listed_with_the_trials_thresholds(gathered):
    section = freezes_section(gathered)
    grid = next(block for block in section.blocks if isinstance(block, Grid))
    assert [row[3] for row in grid.rows] == ["−7.0", "−9.0"]
    assert [head.name for head in grid.heads][6:12] == ["≤ 0", "≤ −2", "≤ −4", "≤ −6", "≤ −8", "≤ −10"]
    assert grid.rows[0][10:12] == ("–", "–")  # never at or below −8 °C


def test_a_failed_check_is_marked_and_counted(gathered):
    section = checks_section(gathered, None)
    said = texts(section)
    assert "1 check of 2 to look at, marked in the table." in said
    grid = next(block for block in section.blocks if isinstance(block, Grid))
    assert [row[3] for row in grid.rows] == ["", "LOOK"] and grid.rows[1][1] == "−0.71"
    many = gathered.checks.rows.assign(value=2288.4)
    large = checks_section(replace(gathered, checks=replace(gathered.checks, rows=many)), None)
    assert all(row[1] == "2,288" for row in next(b for b in large.blocks if isinstance(b, Grid)).rows)
    assert any("CK-A" in text for block in section.blocks if isinstance(block, Points) for text in block.texts)
    assert "nothing to check" not in " ".join(said)


def test_a_trial_without_anything_still_makes_a_report(empty_trial):
    nothing = gather(empty_trial.flow(), empty_trial.settings, "")
    document = assemble(nothing)
    page = html_page(document)
    assert finding_of(nothing) == "No plant has a score that counts yet; no freeze measured"
    assert "No records yet" in page and "nothing to check" in page and "Nothing was left out" in page
    pdf = pdf_report(document)
    assert "No freeze has been measured yet" in pdf_text(pdf)
    assert len(PdfReader(io.BytesIO(pdf)).pages) == 3  # what there is nothing to say of takes no page of its own


def test_what_was_left_out_is_counted_by_reason(gathered):
    left = gathered.flow.left_out
    cells = [row for block in left_out_section(gathered).blocks if isinstance(block, Grid) for row in block.rows]
    assert sum(int(row[0]) for row in cells) == len(left)


def test_every_reason_for_leaving_out_is_explained():
    scored = {windows.SUPERSEDED, windows.EARLY, windows.ALREADY_DEAD, windows.BETTER, windows.DEAD_BEFORE}
    rest = {remarks.EXPOSURE_UNKNOWN, remarks.NO_HELD_TEMPERATURE, remarks.NOT_SCORED, remarks.REMOVED_UNSCORED}
    assert set(MEANINGS) == scored | rest | {"set aside"}


def test_methods_have_formulas_priors_references_and_the_seeds(gathered):
    section = methods_section(gathered)
    formulas = [block.text for block in section.blocks if isinstance(block, Formula)]
    assert [text.split(" ")[0] for text in formulas] == ["sd", "θ_k", "P(new", "P(row)", "e", "floor", "Q′"]
    said = " ".join(texts(section))
    assert "2 °C (selections), 1 °C (rootstocks), 0.7 °C (their combinations)" in said
    assert "6 °C from the first grade to the last" in said and said.count("doi:") == 6
    chance = " ".join(texts(provenance_section(gathered)))
    assert "fixed seeds: 20011 for the Sobol' points" in chance and f"Python {platform.python_version()}" in chance


def test_curves_are_printed_at_their_own_size_and_no_smaller_than_six_points(gathered):
    for paper, wide in (("A4", 180.0), ("letter", 185.9)):
        (svg,) = curve_picture(gathered, LONG, paper).pages
        across = float(re.search(r'viewBox="0 0 ([\d.]+)', svg)[1])
        assert across == pytest.approx(wide / 25.4 * 72, abs=0.1)
        sizes = [float(size) for size in re.findall(r"font(?:-size)?:[^;\"]*?([\d.]+)px", svg)]
        assert len(sizes) > 10 and min(sizes) >= 6.0


class Tags(HTMLParser):
    """What a page is made of."""

    def __init__(self):
        super().__init__()
        self.tags, self.links, self.ids = [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        for name, value in attrs:
            if name in ("href", "src", "xlink:href", "srcset") and value is not None:
                self.links.append(value)
            if name == "id":
                self.ids.append(value)


def test_the_page_is_whole_in_itself_runs_nothing_and_reads_no_name_as_markup(page):
    seen = Tags()
    seen.feed(page)
    assert "script" not in seen.tags and "link" not in seen.tags and "iframe" not in seen.tags
    assert all(link.startswith(("#", "data:")) for link in seen.links)
    assert not re.search(r"url\((?!#|data:|\"?#)", page)
    assert not re.search(r"\son[a-z]+=", page.split("<body>")[1])
    assert "&lt;b&gt;OL-03&lt;/b&gt;" in page and "<b>" not in page
    assert len(seen.ids) == len(set(seen.ids))
    anchors = {link[1:] for link in seen.links if link.startswith("#")}
    assert anchors <= set(seen.ids)


def test_a_row_with_sentences_can_stand_as_a_paragraph_on_a_phone(page):
    checks = page.partition('<section id="checks"')[2]
    row = re.search(r"<tr><td[^>]*>priors</td>.*?</tr>", checks)[0]
    assert re.findall(r'data-head="([^"]*)"', row) == ["check", "found", "passes with", "in words"]
    assert 'class="table stacked"' in checks
    floors = page.partition('<section id="floors"')[2].partition("</section>")[0]
    assert 'class="table"' in floors and "data-head" not in floors


def test_what_a_row_is_about_stays_in_sight_on_a_phone(page):
    narrow = page[page.index("@media (max-width: 700px)") : page.index("@media print")]
    assert ".table:not(.stacked) :is(th, td):first-child { position: sticky; left: 0; background" in narrow


def test_the_page_has_light_dark_and_print(page):
    for rule in ("prefers-color-scheme: dark", "@media print", "@media (max-width: 700px)", "font/woff;base64"):
        assert rule in page
    assert 'lang="en"' in page and "default-src 'none'" in page


def test_the_screen_shows_a_foreign_name_and_the_print_its_number(page, pdf):
    assert FOREIGN in page
    printed = pdf_text(pdf)
    assert FOREIGN not in printed and "selection no. 2" in printed
    assert "cannot write stands here as its number" in " ".join(printed.split())
    assert "<b>OL-03</b>" in printed and "Hill & sons" in printed


def test_long_names_stand_once_above_their_rows_in_print():
    heads = (Head("selection"), Head("on"), *(Head(f"column {number}") for number in range(6)))
    rows = tuple((name, stock, *"123456") for name in (LONG, "OL-07") for stock in ("own roots", "P"))
    section = Section("Floors", "floors", (Grid(heads, rows),))
    lines = [" ".join(line.split()) for line in pdf_text(pdf_report(Document("", "", "", (section,)))).splitlines()]
    assert lines.count(LONG) == 1 and lines.count("OL-07") == 1
    short = Section("Floors", "floors", (Grid(heads, rows[2:]),))
    assert pdf_text(pdf_report(Document("", "", "", (short,)))).count("OL-07") == 2


def test_a_line_in_two_typefaces_keeps_the_width_it_was_drawn_for(monkeypatch):
    given = {}
    monkeypatch.setattr("hardiness.report.pdf.typeset", lambda template, data, pictures: given.update(pictures) or b"")
    style = "font-weight: 600; font-size: 14px; font-family: 'Source Sans 3', 'DejaVu Sans'; text-anchor: start"
    svg = (
        "<svg>"
        + "".join(f'<text style="{style}" x="1">{text}</text>' for text in ("plain", "زيتون &amp; 3"))
        + "</svg>"
    )
    pdf_report(Document("", "", "", (Section("One", "one", (Picture((svg,), (), ""),)),)))
    (written,) = given.values()
    assert f'<text style="{style}" x="1">plain</text>' in written
    wide = width_mm("زيتون & 3", 14.0, SEMIBOLD) / MM_PER_POINT
    assert f'textLength="{wide:.2f}" lengthAdjust="spacingAndGlyphs">زيتون &amp; 3</text>' in written


def test_the_pdf_uses_the_shipped_fonts_only(pdf):
    fonts = [
        font.get_object()["/BaseFont"]
        for page in PdfReader(io.BytesIO(pdf)).pages
        for font in page["/Resources"].get("/Font", {}).values()
    ]
    names = {str(font).split("+")[-1] for font in fonts}
    assert names and all(name.startswith(("SourceSans3", "DejaVuSans")) for name in names)


def test_the_same_answers_give_the_same_bytes(document, page, pdf):
    assert html_page(document) == page and pdf_report(document) == pdf
    assert b"CreationDate" not in pdf and b"ModDate" not in pdf


def test_sections_have_keys_that_links_can_use(document):
    def keys(section: Section):
        yield section.key
        for part in section.parts:
            yield from keys(part)

    found = [key for section in document.sections for key in keys(section)]
    assert len(found) == len(set(found)) and all(re.fullmatch(r"[a-z0-9-]+", key) for key in found)


@pytest.fixture(scope="module")
def crowd(tmp_path_factory):
    """Five hundred selections set out and not yet scored, two names of 80 characters that differ at their ends."""
    folder = tmp_path_factory.mktemp("crowd")
    names = [f"S{number:03d}" for number in range(498)] + [f"{'long name ' * 7}ends in {end}" for end in "ab"]
    with new_trial(folder / "trial", settings()) as made:
        for table, head, row in (
            ("selections", "selection,role", "{0},"),
            ("plants", "plant,selection,rootstock,planted_on", "P {0},{0},own,2022-04-01"),
        ):
            path = folder / f"{table}.csv"
            path.write_text("\n".join([head, *(row.format(name) for name in names), ""]), encoding="utf-8")
            made.add_table(table, path)
        yield gather(made.flow(), made.settings, "")


@pytest.mark.slow
def test_five_hundred_selections_keep_the_report_readable_and_say_what_is_left_out(crowd):
    document = assemble(crowd)
    by_key = {section.key: section for section in document.sections}
    assert len(by_key["selections"].parts) == 40
    said = texts(by_key["selections"])
    assert any(text.startswith("40 of 500 selections have a page here") for text in said)
    assert len(next(block for block in by_key["floors"].blocks if isinstance(block, Grid)).rows) == 500
    assert any("340 more stand in the table of floors" in text for text in texts(by_key["summary"]))
    assert len(html_page(document)) < 4_000_000


@pytest.mark.slow
def test_one_plant_is_enough_for_a_report(tmp_path):
    with new_trial(tmp_path / "trial", settings(units="F")) as made:
        for table, text in (
            ("selections", "selection\nOL-07\n"),
            ("plants", "plant,selection,rootstock,planted_on\nT1,OL-07,own,2022-04-01\n"),
            ("scores", "plant,scored_on,grade\nT1,2023-02-20,5\n"),
        ):
            path = tmp_path / f"{table}.csv"
            path.write_text(text, encoding="utf-8")
            made.add_table(table, path)
        path = tmp_path / "l1.csv"
        path.write_text(as_csv(readings({"2023-01-10": -7.0})), encoding="utf-8")
        made.add_readings(path, "L1", unit="C")
        alone = gather(made.flow(), made.settings, "", questions=False)
        document = assemble(alone)
    said = " ".join(texts_in(document))
    assert "One freeze alone cannot tell what the freeze did from what the plants are" in said
    assert "the one plant did not come through; the mildest loss was at 19.4 °F for 1 h." in said
    # Thresholds stand as they were given; everything else in the trial's unit.
    charts = {block.words for section in document.sections for block in section.blocks if isinstance(block, Picture)}
    shown = [text for text in texts_in(document) if text not in charts and not text.startswith("≤ ")]
    assert [text for text in shown if "°C" in text] == []
    assert len(pdf_report(document)) > 10_000


def test_a_selection_page_ends_with_the_curves_of_its_most_scored_rootstock(gathered):
    picture = curve_picture(gathered, "CK-A")
    scored = gathered.tested[gathered.tested["selection"] == "CK-A"]["rootstock"].value_counts().sort_index().idxmax()
    assert picture.words.startswith(f"CK-A {words.on_stock(scored)}") and len(picture.pages) == len(picture.narrow) == 1
    assert set(gathered.curves) == {2, 5}
    assert curve_picture(gathered, "<b>OL-03</b>") is None


def test_a_picture_is_stripped_of_what_the_page_holds_already(gathered):
    svg = curve_picture(gathered, LONG).pages[0]
    assert "Source Sans 3" in svg and "@font-face{font-family:'Source Sans 3'" not in svg
    assert re.findall(r"\.\d{3,}[ \n]", " ".join(re.findall(r'\bd="([^"]+)"', svg))) == []
    for used in set(re.findall(r"url\(#([^)]+)\)", svg)):
        assert svg.count(f'id="{used}"') == 1


def test_a_large_trial_has_no_curves_and_says_so(gathered, monkeypatch):
    monkeypatch.setattr(gathered_answers, "MOST_CHECKED", 3)
    monkeypatch.setattr(selection_pages, "MOST_CHECKED", 3)
    large = replace(gathered, checks=None)
    assert large.curves == {} and curve_picture(large, LONG) is None
    assert "draws no survival curves" in " ".join(texts(selections_section(large, lambda name: None)))
