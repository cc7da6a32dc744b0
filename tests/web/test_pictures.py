"""The pictures' pages: every figure that the command line and Python know, whole, with what may be chosen."""

import re
from collections.abc import Iterator
from contextlib import nullcontext
from pathlib import Path

import pytest
from click.testing import CliRunner

import hardiness
from hardiness.cli import main
from hardiness.figures.gallery import CHOICES, FIGURES, accepted_by
from hardiness.trial import Trial, open_trial


@pytest.fixture(scope="module")
def opened(made: Path) -> Iterator[Trial]:
    """The trial, opened and fitted once."""
    with open_trial(made) as trial:
        yield trial


@pytest.mark.parametrize("name", FIGURES)
def test_a_figure_is_had_from_the_page_the_command_line_and_python(shared, opened, name, tmp_path, monkeypatch):
    text = shared.page(f"/pictures/{name}")
    shown = re.findall(rf'/pictures/{name}\.svg\?[^" ]*show=\d+', text)
    assert shown and f'href="/pictures/{name}"' in shared.page("/takeaway")
    for address in shown:
        answer = shared.get(address.replace("&amp;", "&"))
        assert answer.status_code == 200 and answer.content.startswith(b"<svg"), address
    assert 'class="told"' not in text and re.search(r'<img src="[^"]+" alt="[^"]{12,}"', text)
    for option in CHOICES:
        assert (f'<select id="{option}"' in text) == (option in accepted_by(name))
    monkeypatch.setattr("hardiness.commands.pictures.open_trial", lambda folder: nullcontext(opened))
    run = CliRunner().invoke(main, ["figure", name, str(tmp_path / "one.svg")])
    assert run.exit_code == 0 and list(tmp_path.glob("one*.svg")), run.output
    drawn = hardiness.draw_figure(name, opened.flow(), opened.settings, page="letter")
    assert hardiness.save_figure(drawn, tmp_path / "two.pdf")[0].read_bytes().startswith(b"%PDF")


def test_all_sheets_of_a_picture_are_shown_and_one_that_is_not_there_is_said(shared):
    text = shared.page("/pictures/summary")
    wide = sorted({int(number) for number in re.findall(r"page=slide&amp;show=(\d+)", text)})
    assert wide == list(range(1, max(wide) + 1)) and len(wide) > 1
    assert shared.get(f"/pictures/summary.svg?page=slide&show={max(wide)}").content.startswith(b"<svg")
    assert shared.get(f"/pictures/summary.svg?page=slide&show={max(wide) + 1}").status_code == 404
    assert shared.get("/pictures/summary.svg?page=slide").headers["content-type"] == "application/zip"


def test_what_is_chosen_stays_chosen(shared):
    text = shared.page("/pictures/survival?selection=OL-02")
    assert "<option selected>OL-02</option>" in text and "show=1" in text
    assert re.search(r"survival\.svg\?selection=OL-02&amp;page=slide&amp;show=1", text)
    wrong = shared.get("/pictures/survival?selection=OL-99")
    assert wrong.status_code == 422 and "Did you mean" in wrong.text


@pytest.mark.parametrize("name", FIGURES)
def test_a_trial_with_nothing_in_it_says_what_to_do(serve, bare, name):
    browser = serve(bare)
    text = browser.page(f"/pictures/{name}")
    assert f"/pictures/{name}.svg" in text
    assert f'href="/pictures/{name}"' in browser.page("/takeaway")
    answer = browser.get(f"/pictures/{name}.svg?page=slide&show=1")
    assert answer.status_code == 200 and answer.content.startswith(b"<svg")
