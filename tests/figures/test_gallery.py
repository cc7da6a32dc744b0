"""Every figure, from a flow to pages: true on odd trials, nothing clipped, refusals that say what there is."""

import re
from functools import cache

import pytest

from hardiness.errors import InputError
from hardiness.figures.formats import PAGES
from hardiness.figures.from_flow import trial_curves
from hardiness.figures.gallery import CHOICES, FIGURES, accepted_by, draw_figure
from hardiness.figures.saving import png_bytes, save_figure, svg_texts
from hardiness.flow import Flow
from tests.figures.pages import check_page, said
from tests.figures.small_trial import small_flow

ODD = (
    *("no freeze", "no score", "nothing"),
    *(pytest.param(case, marks=pytest.mark.slow) for case in ("one plant", "no death", "odd names", "fahrenheit")),
)
LONG = "open pollinated seedling of the old tree by the east gate, row 11, place 4, no. "
ODD_NAMES = (f"{LONG}1", f"{LONG}2", "橄榄-7", "زيتون ٣", "Ελιά της αυλής", "CK-A")


@cache
def flow(case: str = "whole") -> Flow:
    """One trial per case, so that each is fitted once."""
    return {
        "whole": small_flow,
        "fahrenheit": lambda: small_flow(units="F"),
        "no freeze": lambda: small_flow(freezes=False),
        "no score": lambda: small_flow(scores=False),
        "no death": lambda: small_flow(names=("OL-01", "OL-02"), deaths=False),
        "one plant": lambda: small_flow(names=("OL-01",), plants=1),
        "nothing": lambda: small_flow(names=(), freezes=False),
        "odd names": lambda: small_flow(names=ODD_NAMES),
        "many": lambda: small_flow(names=[f"OL-{number:03d}" for number in range(500)], plants=1),
    }[case]()


@cache
def curves(case: str) -> dict:
    return trial_curves(flow(case), flow(case).settings)


def pages_of(name: str, case: str, page: str, **choice: str) -> list:
    drawn = flow(case)
    if name == "survival":
        choice["curves"] = curves(case)
    first = draw_figure(name, drawn, drawn.settings, page=page, **choice)
    return [first, *first.further]


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("name", FIGURES)
def test_every_figure_fits_every_page(name: str, page: str) -> None:
    sheets = pages_of(name, "whole", page)
    for sheet in sheets:
        check_page(sheet)
    assert "Terrace trial" in said(sheets)
    assert sheets[0].heading and len(sheets[0].description) > len(sheets[0].heading)


@pytest.mark.parametrize("case", ODD)
@pytest.mark.parametrize("name", FIGURES)
def test_odd_trials_are_drawn_or_explained(name: str, case: str) -> None:
    for page in ("A4", "phone"):
        sheets = pages_of(name, case, page)
        for sheet in sheets:
            check_page(sheet)
        assert len(said(sheets)) > 40
        assert not re.search(r"\bnan\b|\binf\b|None", said(sheets))


@pytest.mark.parametrize(
    ("name", "case", "sentence"),
    [
        ("survival", "no score", "has no score that counts"),
        pytest.param("survival", "no death", "none was lost", marks=pytest.mark.slow),
        ("survival", "nothing", "No selection is registered yet: no curve can be drawn"),
        ("damage_map", "no freeze", "No freeze is measured yet, and no damage to map"),
        ("damage_map", "no score", "nobody has scored it yet"),
        ("winters", "no freeze", "No freeze is measured yet"),
        ("freeze_course", "nothing", "No freeze is measured yet"),
        ("exposure_grade", "no score", "no score that counts yet"),
        ("ranks", "one plant", "nothing to compare it with"),
        ("ranks", "no score", "No selection can be ranked"),
        ("pairs", "one plant", "cannot be compared"),
        ("pairs", "nothing", "No selection can be compared yet"),
        ("calibration", "nothing", "No row could be predicted yet"),
        ("station_logger", "no freeze", "No station and no logger has readings yet"),
        ("calibration", "one plant", "too few to tell whether the model is right"),
        ("quality_calendar", "no freeze", "There are no readings yet"),
    ],
)
def test_an_empty_figure_says_why(name: str, case: str, sentence: str) -> None:
    assert sentence in said(pages_of(name, case, "A4"))


@pytest.mark.slow
@pytest.mark.parametrize("name", ["damage_map", "exposure_grade", "winters", "freeze_course", "station_logger"])
def test_five_hundred_selections_are_no_fault(name: str) -> None:
    for page in ("A4", "phone"):
        for sheet in pages_of(name, "many", page):
            check_page(sheet)


@pytest.mark.slow
def test_a_name_the_fonts_lack_is_a_number_never_boxes() -> None:
    words = said(pages_of("pairs", "odd names", "A4"))
    assert "橄" not in words and "no. " in words
    assert "橄榄-7" in draw_figure("pairs", flow("odd names"), flow("odd names").settings).description


def test_choices_are_made_from_the_data_and_can_be_made() -> None:
    assert "12 Jan" not in said(pages_of("freeze_course", "whole", "A4"))  # the coldest one is drawn
    assert "12 Jan 2030" in said(pages_of("freeze_course", "whole", "A4", event="2030-01-12"))
    assert "OL-03 on stock P" in said(pages_of("survival", "whole", "A4", selection="OL-03", rootstock="stock P"))
    assert "2031-32" not in said(pages_of("winters", "whole", "A4", winter="2029-30"))


@pytest.mark.parametrize(
    ("name", "choice", "told"),
    [
        ("survival", {"selection": "OL-1"}, "Did you mean 'OL-01'"),
        ("survival", {"rootstock": "stock Q"}, "found rootstock 'stock Q'; accepted: one of own, stock P"),
        ("damage_map", {"block": "west"}, "'west'; accepted: one of east"),
        ("freeze_course", {"event": "2030-01-13"}, "2030-01-12"),
        ("winters", {"winter": "2033-34"}, "2029-30"),
        ("station_logger", {"station": "L1"}, "'L1'; accepted: one of S9"),
    ],
)
def test_a_name_that_is_not_in_the_trial_is_refused_with_those_there_are(
    name: str, choice: dict[str, str], told: str
) -> None:
    with pytest.raises(InputError, match=re.escape(told)):
        draw_figure(name, flow(), flow().settings, **choice)


def test_an_unknown_figure_is_refused_with_those_there_are() -> None:
    with pytest.raises(InputError, match="Did you mean 'survival'"):
        draw_figure("survivl", flow(), flow().settings)


def test_what_may_be_chosen_is_what_a_figure_knows() -> None:
    assert accepted_by("survival") == ("selection", "rootstock")
    assert {option for name in FIGURES for option in accepted_by(name)} == set(CHOICES)


@pytest.mark.slow
def test_curves_made_once_give_the_same_figure() -> None:
    settings = flow().settings
    made = curves("whole")
    assert sorted(made) == [1, 2, 3, 4, 5]
    once, anew = (
        png_bytes(FIGURES["survival"].draw(flow(), settings, selection="OL-02", **more))[0]
        for more in ({"curves": made}, {})
    )
    assert once == anew


def test_pictures_for_a_web_page_have_ids_of_their_own(tmp_path) -> None:
    pictures = [svg_texts(draw_figure(name, flow(), flow().settings))[0] for name in ("ranks", "damage_map")]
    ids = [set(re.findall(r'\bid="([^"]+)"', picture)) for picture in pictures]
    assert not ids[0] & ids[1]
    for picture, own in zip(pictures, ids, strict=True):
        assert picture.startswith("<svg") and "<title" in picture and "<desc" in picture
        assert set(re.findall(r'(?:url\(#|href="#)([^")]+)', picture)) <= own
        assert set(re.search(r'aria-labelledby="([^"]+)"', picture)[1].split()) <= own
    written = save_figure(draw_figure("ranks", flow(), flow().settings, page="slide"), tmp_path / "ranks.pdf")
    assert written[0].read_bytes().startswith(b"%PDF")
