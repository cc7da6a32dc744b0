"""``hardiness demo`` and ``hardiness chart``."""

import pytest

from hardiness.figures.gallery import FIGURES
from tests.cli.conftest import Line, files_under, hardiness


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo") / "an invented trial"
    return folder, hardiness("demo", folder)


@pytest.mark.slow
def test_the_demo_adds_its_files_prints_floors_and_draws_its_chart(demo):
    folder, ended = demo
    assert ended.code == 0, ended.err
    lines = ended.out.splitlines()
    assert lines[0].split()[:2] == ["selection", "rootstock"] and len(lines) > 20
    assert all(word in ended.out for word in ("bracketed", "all survived", "untested", "at or below"))
    assert "scores_2025-26.csv (scores):" in ended.err and "estimate" in ended.err
    assert f"'{folder}'" in ended.err  # quoted for a shell
    files = files_under(folder)
    assert {"trial.toml", "summary.png"} <= set(files)
    assert {name.split("/")[0] for name in files} == {"trial.toml", "summary.png", "uploads", "readings"}
    assert (folder / "summary.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.slow
def test_the_demo_is_a_trial_like_any_other(demo):
    folder, _ = demo
    assert "well" in Line(folder, folder).done("doctor").err
    assert len(Line(folder, folder).csv("freezes")) > 20
    exposures = Line(folder, folder).done("exposures", "--csv", "-")
    assert "hours_le_28_f" in exposures.header
    assert hardiness("demo", folder).code == 2  # and is not made twice


def test_a_demo_takes_no_folder_that_holds_something(tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    ended = hardiness("demo", tmp_path)
    assert ended.code == 2
    assert "not empty" in ended.err and files_under(tmp_path) == ["notes.txt"]


@pytest.mark.parametrize("name", ["chart.gif", "chart", "chart.png.txt"])
def test_a_chart_is_png_svg_or_pdf(fitted: Line, tmp_path, name):
    ended = fitted("chart", tmp_path / name)
    assert ended.code == 2
    assert ".png" in ended.err and ".svg" in ended.err and ".pdf" in ended.err
    assert files_under(tmp_path) == []


def test_a_chart_wants_a_folder_that_is_there(fitted: Line, tmp_path):
    ended = fitted("chart", tmp_path / "nowhere" / "chart.svg")
    assert ended.code == 2
    assert "nowhere" in ended.err


def test_a_chart_of_an_empty_trial_says_what_is_missing(line: Line, tmp_path):
    ended = line.done("chart", tmp_path / "chart.svg")
    assert ended.out == ""
    assert "nothing to say yet" in ended.err
    assert (tmp_path / "chart.svg").read_text(encoding="utf-8").rstrip().endswith("</svg>")


@pytest.mark.parametrize("name, start", [("c.png", b"\x89PNG"), ("c.svg", b"<?xml"), ("C.PDF", b"%PDF")])
def test_a_chart_is_drawn_in_each_form(line: Line, tmp_path, name, start):
    line.done("chart", tmp_path / name)
    assert (tmp_path / name).read_bytes().startswith(start)


def test_an_unknown_page_lists_those_there_are(line: Line, tmp_path):
    ended = line("chart", tmp_path / "c.svg", "--page", "A9")
    assert ended.code == 2
    assert "A4" in ended.err and "phone" in ended.err


def test_a_chart_can_carry_half_zones_and_be_shown_as_slides(fitted: Line, tmp_path):
    plain = fitted.done("chart", tmp_path / "plain.svg")
    assert "estimate" in plain.err
    fitted.done("chart", tmp_path / "zones.svg", "--half-zones")
    assert "half-zones" not in (tmp_path / "plain.svg").read_text(encoding="utf-8")
    assert "half-zones of the USDA Plant Hardiness Zone Map" in (tmp_path / "zones.svg").read_text(encoding="utf-8")
    shown = fitted.done("chart", tmp_path / "talk.png", "--page", "slide")
    assert "2 pages" in shown.err and "talk-2.png" in shown.err
    assert files_under(tmp_path) == ["plain.svg", "talk-2.png", "talk.png", "zones.svg"]


def test_the_figures_are_listed_with_what_may_be_chosen():
    listed = hardiness("figure", "--list")
    assert listed.code == 0
    lines = listed.out.splitlines()
    assert any(line.startswith("damage_map") and "[--block --event]" in line for line in lines)
    assert [line.split()[0] for line in lines] == list(FIGURES)  # the longest name does not run into its words
    assert len({line.index(entry.title) for line, entry in zip(lines, FIGURES.values(), strict=True)}) == 1


@pytest.mark.parametrize("name", ["winters", "freeze_course", "exposure_grade", "ranks"])
def test_a_figure_is_drawn_by_its_name(fitted: Line, tmp_path, name):
    ended = fitted.done("figure", name, tmp_path / "f.svg", "--page", "phone")
    assert ended.out == "" and "The figure is" in ended.err and "estimate" in ended.err
    drawn = (tmp_path / "f.svg").read_text(encoding="utf-8")
    assert drawn.rstrip().endswith("</svg>") and "Hill" in drawn


@pytest.mark.parametrize(
    "words, told",
    [
        (("survivl", "f.png"), "Did you mean 'survival'"),
        (("survival", "f.gif"), ".png, .svg, .pdf"),
        (("survival",), "hardiness figure survival curves.pdf"),
        (("winters", "f.png", "--block", "A"), "accepted: --winter"),
        (("calibration", "f.png", "--winter", "W"), "accepted: no choice"),
        (("survival", "f.png", "--selection", "OL-9"), "OL-01"),
        (("freeze_course", "f.png", "--event", "2022-01-01"), "2023-01-1"),
    ],
)
def test_a_figure_that_cannot_be_meant_is_refused(fitted: Line, tmp_path, words, told):
    name, *rest = words
    ended = fitted("figure", name, *(tmp_path / word if word.startswith("f.") else word for word in rest))
    assert ended.code == 2
    assert told in ended.err
    assert files_under(tmp_path) == []
