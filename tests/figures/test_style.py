"""Colours can be told apart in grey and by every eye, text can be read, and the caller's settings stay."""

from collections.abc import Callable
from itertools import pairwise

import matplotlib
import pytest

from hardiness.figures.formats import FORMATS
from hardiness.figures.style import ACCENT, INK, PAPER, QUIET, contrast, drawing, grade_ramp, luminance, text_on


def lightness(colour: str) -> float:
    y = luminance(colour)
    return 116 * y ** (1 / 3) - 16 if y > (6 / 29) ** 3 else 903.3 * y


def test_contrast_is_that_of_the_standard() -> None:
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert contrast("#777777", "#FFFFFF") == pytest.approx(4.48, abs=0.005)  # the known near miss of 4.5


@pytest.mark.parametrize("colour", [INK, QUIET, ACCENT])
def test_text_on_paper_can_be_read(colour: str) -> None:
    assert contrast(colour, PAPER) >= 4.5


@pytest.mark.parametrize("grades", range(2, 11))
def test_the_figure_in_every_square_can_be_read(grades: int) -> None:
    assert min(contrast(text_on(fill), fill) for fill in grade_ramp(grades)) >= 4.5


@pytest.mark.parametrize(("grades", "apart"), [(4, 17.0), (6, 11.0), (8, 8.0), (10, 6.0)])
def test_grades_darken_in_even_steps_that_grey_print_keeps(grades: int, apart: float) -> None:
    steps = [lightness(fill) for fill in grade_ramp(grades)]
    assert all(pale - dark >= apart for pale, dark in pairwise(steps))


def test_grades_keep_their_order_for_an_eye_without_green_cones(
    as_deuteranope: Callable[[str], tuple[float, float, float]],
) -> None:
    seen = [lightness(matplotlib.colors.to_hex(as_deuteranope(fill))) for fill in grade_ramp(6)]
    assert all(pale - dark >= 10.0 for pale, dark in pairwise(seen))


def test_the_accent_stays_apart_from_every_grade_for_that_eye(
    as_deuteranope: Callable[[str], tuple[float, float, float]],
) -> None:
    red, _, blue = as_deuteranope(ACCENT)
    assert blue > red + 0.1
    for fill in grade_ramp(6)[1:]:
        red, _, blue = as_deuteranope(fill)
        assert red > blue  # yellow to brown, never blue


def test_drawing_leaves_the_callers_settings_alone() -> None:
    with matplotlib.rc_context({"text.usetex": True, "axes.facecolor": "#123456", "svg.fonttype": "path"}):
        before = dict(matplotlib.rcParams)
        with drawing():
            assert matplotlib.rcParams["text.usetex"] is False
            assert matplotlib.rcParams["svg.fonttype"] == "none"
        assert dict(matplotlib.rcParams) == before


def test_a_sentence_that_begins_with_a_name_from_right_to_left_stays_a_sentence() -> None:
    sheet = FORMATS["A4"].sheet("", "")
    assert sheet.write(10, 10, "מסיק on stock P", 7.0).get_text() == "\u200eמסיק on stock P"
    assert sheet.write(10, 20, "OL-7 on stock P", 7.0).get_text() == "OL-7 on stock P"
