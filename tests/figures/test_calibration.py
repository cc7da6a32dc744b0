"""The calibration plot: nothing overlaps, marks lie where the numbers say, the title claims no more than the table."""

import pandas as pd
import pytest
from matplotlib.collections import PolyCollection

from hardiness import schema
from hardiness.errors import InputError
from hardiness.figures.calibration import PAGES, Calibration, draw_calibration, prepare_calibration
from tests.figures.test_summary_draw import check_page, said

GRADES = ("unharmed", "leaves marked or shed, wood sound", "shoot tips killed", "last summer's wood killed",
          "main limbs killed", "dead down to the graft")  # fmt: skip


def made(outside: int = 0, worst: int = 5) -> pd.DataFrame:
    rows = []
    for grade in range(1, worst + 1):
        for low, high, n in ((0.0, 0.05, 300), (0.2, 0.4, 40), (0.8, 1.0, 25)):
            expected = 0.5 * (low + high) * n
            rows.append((grade, low, high, n, expected, round(expected), max(int(expected) - 5, 0),
                         min(int(expected) + 6, n), True))  # fmt: skip
    table = pd.DataFrame(rows, columns=schema.column_names(schema.CALIBRATION))
    table.loc[table.index[:outside], ["reached", "as_predicted"]] = [0, False]
    return table


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("grades", [GRADES, ("alive", "dead"), ("unharmed", "W" * 70, "dead"), ("健康", "枯死", "dead"),
                                    tuple(f"grade {number} of ten" for number in range(10))])  # fmt: skip
def test_pages_hold_what_they_show(page: str, grades: tuple[str, ...]) -> None:
    table = made(worst=len(grades) - 1)
    (sheet,) = draw_calibration(prepare_calibration(table[table["grade"] < len(grades)], grades, "Hill"), page=page)
    check_page(sheet)
    text = said([sheet])
    assert "Hill" in text and "Bars: where nine of ten" in text and "健" not in text and f"{len(grades) - 1}" in text


def test_the_title_is_the_finding() -> None:
    titles = [prepare_calibration(made(outside), GRADES).words.title for outside in (0, 2, 8)]
    assert titles[0] == "Damage came about as often as the model predicted"
    assert titles[1] == "13 of 15 groups of scores came as often as predicted"
    assert titles[2] == "Only 7 of 15 groups of scores came as often as predicted: read the floors with care"
    assert prepare_calibration(made().iloc[:0], GRADES).words.title == "No row could be predicted yet"


def test_a_dot_outside_its_bar_is_an_open_ring_and_dots_lie_where_the_shares_say() -> None:
    picture = prepare_calibration(made(1), GRADES)
    first = picture.panels[0].bins[1]
    assert (first.predicted, first.seen, first.rows) == pytest.approx((0.3, 0.3, 40))
    assert not picture.panels[0].bins[0].fits
    (sheet,) = draw_calibration(picture)
    counts = [len(c.get_paths()) for c in sheet.paper.collections if isinstance(c, PolyCollection)]
    assert sorted(counts) == [1, 14, 15]  # one ring, fourteen dots, fifteen bars


def test_nothing_predicted_and_unknown_pages_are_handled() -> None:
    empty = prepare_calibration(made().iloc[:0], GRADES)
    assert isinstance(empty, Calibration) and "hardiness add scores FILE" in said(draw_calibration(empty))
    with pytest.raises(InputError, match="page 'A5'"):
        draw_calibration(empty, page="A5")
