"""The scoring sheet: every plant once, the scale in words and drawings, a code for each label, also without scores."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest
import segno
from pypdf import PdfReader

from hardiness.errors import InputError
from hardiness.report.drawings import sprig, square_code, stage_of
from hardiness.report.scoring_sheet import check_ending, sheet_pdf, write_scoring_sheet
from hardiness.report.walk import walk_of
from hardiness.sentences import WALK_CAUTION
from tests.report.conftest import FOREIGN, settings


def text_of(content):
    return " ".join(" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(content)).pages)


def test_every_plant_stands_on_it_once_with_its_last_grade(flow, trial, tmp_path):
    walk = write_scoring_sheet(flow, trial.settings, tmp_path / "sheet.pdf")
    text = text_of((tmp_path / "sheet.pdf").read_bytes())
    # C1 and C2 died before a later freeze, G1 was taken out; the second row is walked downwards.
    assert [stop.plant for stop in walk.stops] == ["A1", "A2", "B1", "B2", "D2", "D1", "E2", "E1", "F1"]
    for stop in walk.stops:
        assert len(re.findall(rf"\b{stop.plant}\b", text)) == 1, stop.plant
    assert "G1" not in text and "Not on it: 1 plant taken out. 2 plants lost in an earlier freeze." in text
    for words in (*trial.settings.grades, "Block A", "Block B", "date", "observer", "no leaf to judge is not grade 0",
                  WALK_CAUTION):  # fmt: skip
        assert words in text, words
    assert FOREIGN not in text and "selection no. 2" in text


def test_both_sizes_and_papers_give_the_same_bytes_again(flow, trial):
    walk = walk_of(flow)
    made = [
        sheet_pdf(flow, trial.settings, walk, large, paper) for large in (False, True) for paper in ("A4", "letter")
    ]
    assert len(set(made)) == 4
    assert made[0] == sheet_pdf(flow, trial.settings, walk)
    boxes = [PdfReader(io.BytesIO(content)).pages[0].mediabox for content in made[:2]]
    assert [round(float(box.width)) for box in boxes] == [595, 612]


def test_a_large_sheet_gives_a_rootstock_its_own_line_before_it_breaks_a_name(flow, trial):
    walk = walk_of(flow)
    stop = replace(walk.stops[0], selection="hillside 17", rootstock="wild seedling", row="4", place="12")
    named = replace(walk, stops=(stop, replace(walk.stops[1], selection="H1", rootstock="P")))
    text = text_of(sheet_pdf(flow, trial.settings, named, large=True))
    assert "hillside 17 on wild seedling row 4, place 12" in text and "H1 on P" in text
    small = text_of(sheet_pdf(flow, trial.settings, named))
    assert "hillside 17 on wild seedling" in small


def test_a_block_that_is_called_block_is_not_called_so_twice(flow):
    walk = walk_of(flow)
    named = replace(walk, stops=tuple(replace(stop, block="block by the gate") for stop in walk.stops))
    assert "Block by the gate" in text_of(sheet_pdf(flow, settings(), named))


def test_another_scale_gets_as_many_boxes(flow, tmp_path):
    scale = settings(grades=("sound", "hurt", "dead"))
    text = text_of(sheet_pdf(flow, scale, walk_of(flow)))
    assert "sound" in text and "dead" in text and "main limbs" not in text


def test_wrong_endings_places_and_an_empty_trial_are_refused(empty_trial, tmp_path):
    for name, said in (("sheet.docx", "one of .pdf"), ("sheet", "one of .pdf"), ("none/sheet.pdf", "no folder")):
        with pytest.raises(InputError, match=said):
            check_ending(tmp_path / name)
    with pytest.raises(InputError, match="no plant to score"):
        write_scoring_sheet(empty_trial.flow(), empty_trial.settings, tmp_path / "sheet.pdf")
    assert not (tmp_path / "sheet.pdf").exists()


@pytest.mark.parametrize("worst", [1, 2, 4, 5, 9])
def test_the_sprig_loses_more_with_every_grade_and_only_the_last_looks_dead(worst):
    stages = [stage_of(grade, worst) for grade in range(worst + 1)]
    assert stages == sorted(stages) and stages[0] == 0 and stages[-1] == 5 and 5 not in stages[:-1]
    dead = [sprig(grade, worst).count("stroke-dasharray") for grade in range(worst + 1)]
    assert dead == sorted(dead) and dead[0] == 0
    for grade in range(worst + 1):
        assert ElementTree.fromstring(sprig(grade, worst)).tag.endswith("svg")


@pytest.mark.parametrize("label", ["T001", "007", "row 3/β-12", "x" * 80])
def test_the_square_code_holds_the_label_module_for_module(label):
    code = segno.make(label, error="m", boost_error=False, micro=False)
    svg = square_code(label)
    dark = set()
    for x, y, length in re.findall(r"M(\d+) (\d+)h(\d+)v1", svg):
        dark |= {(int(x) + step, int(y)) for step in range(int(length))}
    wanted = {(x, y) for y, row in enumerate(code.matrix_iter(border=4)) for x, on in enumerate(row) if on}
    assert dark == wanted and f'viewBox="0 0 {code.symbol_size(border=4)[0]} ' in svg


def heights_of(content, *wanted):
    """Where texts that hold a word stand on the first page, up from its foot. [pt]."""
    found = {word: [] for word in wanted}

    def look(text, matrix, position, font, size):
        for word in wanted:
            if word in text:
                found[word].append(position[5] or matrix[5])

    PdfReader(io.BytesIO(content)).pages[0].extract_text(visitor_text=look)
    return found


@pytest.mark.parametrize("large", [False, True])
def test_a_scale_of_many_long_names_stays_above_the_rows(flow, large):
    scale = settings(grades=tuple(f"grade {'very ' * number}mauled" for number in range(10)))
    found = heights_of(sheet_pdf(flow, scale, walk_of(flow), large), "very", "mauled", "Block A")
    assert len(found["very"]) >= 9 and min(found["very"] + found["mauled"]) > max(found["Block A"]) > 0
