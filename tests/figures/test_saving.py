"""Files: the same bytes for the same input, text as text, words for those who cannot see."""

import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path
from typing import Any

import matplotlib
import pytest
from PIL import Image

from hardiness.errors import InputError
from hardiness.figures import glyphs
from hardiness.figures.saving import save_figure, svg_texts
from hardiness.figures.sheet import Sheet
from hardiness.figures.summary import Summary, draw_summary, prepare_summary

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def small(make: Callable[..., Any]) -> Summary:
    return prepare_summary(**make(selections=4).tables())


@pytest.mark.parametrize("suffix", [".png", ".svg", ".pdf"])
def test_the_same_input_gives_the_same_bytes(small: Summary, suffix: str, tmp_path: Path) -> None:
    (first,) = save_figure(draw_summary(small), tmp_path / f"one{suffix}")
    with matplotlib.rc_context({"svg.fonttype": "path", "pdf.fonttype": 3, "savefig.dpi": 30, "font.size": 30}):
        (second,) = save_figure(draw_summary(small), tmp_path / f"two{suffix}")
    assert first.read_bytes() == second.read_bytes()


@pytest.mark.slow
@pytest.mark.parametrize("suffix", [".png", ".svg", ".pdf"])
def test_another_process_gives_the_same_bytes(suffix: str, tmp_path: Path) -> None:
    code = (
        f"import sys; sys.path.insert(0, {str(Path(__file__).parent)!r})\n"
        "from conftest import make_trial\n"
        "from hardiness.figures.summary import *\n"
        "save_figure(draw_summary(prepare_summary(**make_trial(selections=5).tables())), sys.argv[1])\n"
    )
    for seed in ("1", "2"):
        subprocess.run([sys.executable, "-c", code, str(tmp_path / (seed + suffix))], check=True,
                       env={"PYTHONHASHSEED": seed, "MPLCONFIGDIR": str(tmp_path), "HOME": str(tmp_path)})  # fmt: skip
    assert (tmp_path / ("1" + suffix)).read_bytes() == (tmp_path / ("2" + suffix)).read_bytes()


def test_an_svg_keeps_its_text_carries_its_glyphs_and_has_a_title(small: Summary, tmp_path: Path) -> None:
    (path,) = save_figure(draw_summary(small), tmp_path / "chart.svg")
    root = ET.parse(path).getroot()
    assert root.get("role") == "img" and root.get("aria-labelledby") == "title desc"
    titles = root.findall(f"{SVG}title")
    assert [title.text for title in titles] == [small.title]
    assert root.findtext(f"{SVG}desc") == small.description
    written = {element.text for element in root.iter(f"{SVG}text")}
    assert {"OL-01", "What we now know", small.title} <= written
    style = next(element.text for element in root.iter(f"{SVG}style") if "@font-face" in (element.text or ""))
    assert style is not None and style.count("@font-face") == 2 and "font-family:'Source Sans 3'" in style
    assert path.stat().st_size < 600_000


def test_glyphs_of_the_fallback_font_are_carried_too(make: Callable[..., Any], tmp_path: Path) -> None:
    trial = make(selections=2)
    tables = {key: getattr(trial, key).replace({"selection": {"OL-01": "ձիթապտուղ"}})
              for key in ("floors", "observations", "claims", "selections", "plants")}  # fmt: skip
    (path,) = save_figure(draw_summary(prepare_summary(**trial.tables(**tables))), tmp_path / "chart.svg")
    assert "font-family:'DejaVu Sans'" in path.read_text(encoding="utf-8")


def test_a_page_that_holds_the_typeface_itself_gets_pictures_without_it(small: Summary) -> None:
    (whole,), (lean,) = svg_texts(draw_summary(small)), svg_texts(draw_summary(small), inside=True)
    assert "@font-face{font-family:'Source Sans 3'" in whole and "@font-face{font-family:'Source Sans 3'" not in lean
    assert len(lean) < len(whole) - 10_000
    assert "fill: #fcfcfa" in whole.partition("</g>")[0] and "fill: none" in lean.partition("</g>")[0]


def test_a_font_is_cut_once_for_the_same_characters(small: Summary, monkeypatch: pytest.MonkeyPatch) -> None:
    first = svg_texts(draw_summary(small))
    cut: list[str] = []
    monkeypatch.setattr(glyphs.subset, "load_font", lambda path, *more, **options: cut.append(path))
    assert svg_texts(draw_summary(small)) == first and cut == []


def test_a_pdf_embeds_its_fonts_and_has_no_date(small: Summary, tmp_path: Path) -> None:
    (path,) = save_figure(draw_summary(small), tmp_path / "chart.pdf")
    content = path.read_bytes()
    assert b"SourceSans3-Regular" in content and b"/CIDFontType2" in content
    assert b"CreationDate" not in content and b"/Title" in content and b"/Subject" in content


def test_a_png_has_its_size_and_its_words(small: Summary, tmp_path: Path) -> None:
    (path,) = save_figure(draw_summary(small, page="phone"), tmp_path / "chart.png")
    with Image.open(path) as picture:
        assert picture.size[0] == 780
        assert picture.info["Title"] == small.title and picture.info["Description"] == small.description


def test_several_pages_become_one_pdf_or_numbered_pictures(tmp_path: Path) -> None:
    pages = [Sheet(60.0, 40.0, dpi=100.0, heading=f"page {n}", description="") for n in (1, 2)]
    assert save_figure(pages, tmp_path / "chart.pdf") == [tmp_path / "chart.pdf"]
    assert b"/Count 2" in (tmp_path / "chart.pdf").read_bytes()
    written = save_figure(pages, tmp_path / "chart.svg")
    assert written == [tmp_path / "chart.svg", tmp_path / "chart-2.svg"]
    assert all(path.is_file() for path in written)


def test_another_ending_a_missing_folder_or_no_page_is_refused(small: Summary, tmp_path: Path) -> None:
    pages = draw_summary(small)
    with pytest.raises(InputError, match=r"chart.bmp: found a file name ending in '.bmp'; accepted: one of .png, .svg"):
        save_figure(pages, tmp_path / "chart.bmp")
    with pytest.raises(InputError, match="a folder that exists"):
        save_figure(pages, tmp_path / "nowhere" / "chart.png")
    with pytest.raises(InputError, match="without pages"):
        save_figure([], tmp_path / "chart.png")
    assert not list(tmp_path.iterdir())
