"""The pages: nothing overlaps, nothing leaves the page, every mark says something true."""

import re
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
import pytest

from hardiness.errors import InputError
from hardiness.figures.labels import label_cells
from hardiness.figures.scale import Scale
from hardiness.figures.style import PAPER_SIZES
from hardiness.figures.summary import draw_summary, prepare_summary
from hardiness.figures.summary_data import Summary
from hardiness.figures.summary_strips import plan_labels
from hardiness.figures.typeface import width_mm
from hardiness.sentences import FLOOR_CAUTION
from tests.figures.pages import check_page, said, texts_of


@pytest.mark.parametrize(("page", "count"), [("A4", 1), ("letter", 1), ("slide", 6), ("phone", 2)])
def test_a_whole_trial_fits_its_pages(summary: Summary, page: str, count: int) -> None:
    sheets = draw_summary(summary, page=page)
    assert len(sheets) == count
    for sheet in sheets:
        check_page(sheet)
    everything = said(sheets)
    assert all(cell.name in everything for cell in summary.cells)
    assert all(word in everything for word in ("bracketed", "all survived", "all died", "untested", "check"))
    for grade in summary.grades:
        assert grade in everything


def test_every_slide_carries_the_caution(summary: Summary) -> None:
    assert all(FLOOR_CAUTION in said([sheet]) for sheet in draw_summary(summary, page="slide"))


@pytest.mark.parametrize("page", ["A4", "phone"])
def test_every_page_carries_the_caution_and_the_key(summary: Summary, page: str) -> None:
    for sheet in draw_summary(summary, page=page):
        assert FLOOR_CAUTION in said([sheet])
        assert all(text in said([sheet]) for text in ("tested to", "hearsay", "scored early: provisional"))


def test_both_units_stand_on_the_scale_and_the_trials_own_stands_below(make: Callable[..., Any]) -> None:
    for units, below in (("C", "°C"), ("F", "°F")):
        (sheet,) = draw_summary(prepare_summary(**make(selections=6, units=units).tables()))
        heights = {
            unit: [t.get_position()[1] for t in texts_of(sheet) if t.get_text() == unit] for unit in ("°C", "°F")
        }
        assert heights["°C"] and heights["°F"]
        assert max(heights[below]) == max(heights["°C"] + heights["°F"])  # y runs downwards


def test_cold_is_on_the_left() -> None:
    scale = Scale(-13.0, -2.0, 80.0, 140.0)
    for units in ("C", "F"):
        ticks = scale.ticks(units, 6.0)
        assert [x for x, _ in ticks] == sorted(x for x, _ in ticks)
        values = [float(label.replace("−", "-")) for _, label in ticks]
        assert values == sorted(values) and len(values) >= 3
    assert scale.x(-20.0) == scale.left and scale.outside(-20.0) and not scale.outside(-13.0)


def untested(trial: Any) -> pd.DataFrame:
    floors = trial.floors.copy()
    floors[[name for name in floors if floors[name].dtype.kind == "f"]] = np.nan
    return floors.assign(evidence="untested", open_end="none", rests_on="", plants=0, scores=0, killed=0)


def edge_case(name: str, make: Callable[..., Any]) -> dict[str, Any]:
    trial = make(selections=4)
    if name == "nothing":
        empty = {key: getattr(trial, key).iloc[:0] for key in
                 ("floors", "freezes", "observations", "claims", "selections", "plants")}  # fmt: skip
        return trial.tables(**empty)
    nothing_scored = {"floors": untested(trial), "observations": trial.observations.iloc[:0],
                      "claims": trial.claims.iloc[:0]}  # fmt: skip
    if name == "no score":
        return trial.tables(**nothing_scored)
    if name == "no freeze":
        return trial.tables(**nothing_scored, freezes=trial.freezes.iloc[:0])
    if name == "one plant":
        plant = trial.plants.iloc[0]
        rows = trial.observations.loc[trial.observations["plant"] == plant["plant"]]
        floors = trial.floors.loc[
            (trial.floors[["selection", "rootstock"]] == plant[["selection", "rootstock"]]).all(axis=1)
        ]
        return trial.tables(floors=floors, observations=rows, plants=trial.plants.iloc[:1])
    new = {"OL-01": "橄榄-7", "OL-02": "W" * 80,
           "OL-03": "open pollinated seedling by the east gate, row 11, place 4 A",
           "OL-04": "open pollinated seedling by the east gate, row 11, place 5 A $x_2$"}  # fmt: skip
    renamed = {"selection": new, "rootstock": {"stock P": "Ποδόφυλλον of the neighbour's hedge, parents unknown " * 2}}
    return trial.tables(**{
        key: getattr(trial, key).replace({c: m for c, m in renamed.items() if c in getattr(trial, key)})
        for key in ("floors", "observations", "claims", "selections", "plants")
    })  # fmt: skip


@pytest.mark.parametrize(
    ("name", "true"),
    [
        ("nothing", ["No freeze is measured yet.", "No selection is registered yet.", "No score stands behind"]),
        ("no freeze", ["No freeze is measured yet.", "untested"]),
        ("no score", ["no score", "untested", "11 freezes measured"]),
        ("one plant", ["OL-01", "own"]),
        ("long names", ["no. ", "cannot write this name", "$x_2$", "WW…WW"]),
    ],
)
@pytest.mark.parametrize("page", ["A4", "phone"])
def test_edge_cases_draw_and_say_something_true(
    name: str, true: list[str], page: str, make: Callable[..., Any]
) -> None:
    sheets = draw_summary(prepare_summary(**edge_case(name, make)), page=page)
    for sheet in sheets:
        check_page(sheet)
    for sentence in true:
        assert sentence.replace(" ", "") in said(sheets).replace(" ", "")


@pytest.mark.parametrize(("page", "count"), [("A4", 2), pytest.param("phone", 4, marks=pytest.mark.slow)])
def test_a_large_trial_goes_on_to_further_pages(make: Callable[..., Any], page: str, count: int) -> None:
    prepared = prepare_summary(**make(selections=50).tables())
    assert len(prepared.cells) >= 120
    sheets = draw_summary(prepared, page=page)
    assert len(sheets) == count
    for sheet in sheets:
        check_page(sheet)
    evidence = [t for sheet in sheets for t in texts_of(sheet) if t.get_gid() == "text-evidence"]
    assert page == "phone" or len(evidence) == len(prepared.cells)
    assert "continued" in said(sheets[1:])


@pytest.mark.slow
@pytest.mark.parametrize("page", ["A4", "slide"])
def test_hundreds_of_selections_go_on_to_as_many_pages_as_they_take(make: Callable[..., Any], page: str) -> None:
    prepared = prepare_summary(**make(selections=200).tables(half_zones=True))
    sheets = draw_summary(prepared, page=page)
    for sheet in (sheets[0], sheets[len(sheets) // 2], sheets[-1]):
        check_page(sheet)
    evidence = [text for sheet in sheets for text in texts_of(sheet) if text.get_gid() == "text-evidence"]
    assert len(evidence) == len(prepared.cells)


def test_names_alike_once_shortened_are_told_apart(make: Callable[..., Any]) -> None:
    trial = make(selections=2)
    alike = {
        "OL-01": "seedling of the old tree A by the wall, east",
        "OL-02": "seedling of the old tree B by the wall, east",
    }
    tables = {key: getattr(trial, key).replace({"selection": alike})
              for key in ("floors", "observations", "claims", "selections", "plants")}  # fmt: skip
    cells = prepare_summary(**trial.tables(**tables)).cells
    labels = label_cells(cells, 7.0, 6.0, name_room=20.0)
    assert len(set(labels.names.values())) == 2
    assert all(width_mm(text, 7.0, 600) <= 20.0 for text in labels.names.values())
    assert sorted(text[-4:].strip() for text in set(labels.names.values())) == sorted(
        f"({min(c.number for c in cells if c.selection == name)})" for name in alike.values()
    )


def test_labels_of_freezes_keep_clear_of_each_other_and_the_coldest_always_has_one(summary: Summary) -> None:
    scale = Scale(summary.cold_c, summary.warm_c, 85.0, 141.0)
    for winter in summary.winters:
        for lanes in (1, 2):
            labels = plan_labels(winter, scale, "C", PAPER_SIZES, lanes)
            assert labels[0].text.startswith("−" + f"{-winter.freezes[0].minimum_c:.1f}")
            spans = sorted((p.lane, p.left, p.left + width_mm(p.text, 6.0)) for p in labels)
            assert all(a[0] != b[0] or a[2] < b[1] for a, b in pairwise(spans))


def test_more_strips_and_more_winters_than_a_page_holds_still_fit(make: Callable[..., Any]) -> None:
    trial = make(selections=4)
    freezes, rows = [trial.freezes], [trial.observations]
    for years in range(1, 5):
        names = {w: f"{int(w[:4]) - 4 * years}-{int(w[5:]) - 4 * years:02d}" for w in trial.freezes["winter"].unique()}
        past = pd.Timedelta(days=1461 * years)
        freezes.append(trial.freezes.assign(
            winter=trial.freezes["winter"].map(names), starts=trial.freezes["starts"] - past,
            ends=trial.freezes["ends"] - past, event=trial.freezes["event"] + f"-{years}",
        ))  # fmt: skip
        rows.append(trial.observations.assign(winter=trial.observations["winter"].map(names)))
    prepared = prepare_summary(**trial.tables(freezes=pd.concat(freezes), observations=pd.concat(rows)))
    assert len(prepared.scored) == 20
    for page in ("A4", "phone", "slide"):
        sheets = draw_summary(prepared, page=page)
        for sheet in sheets:
            check_page(sheet)
        told = re.search(r"latest (\d+) of 20 winters", said(sheets))
        assert (told is None) == (page == "phone")  # where a cell's winters go on over lines
        if told:
            heads = {winter.name[-2:] for winter in prepared.scored[-int(told[1]) :]}
            named = {
                text.get_text()[-2:] for sheet in sheets for text in texts_of(sheet) if text.get_gid() == "text-heads"
            }
            assert heads <= named and prepared.scored[-int(told[1]) - 1].name[-2:] not in named


@pytest.mark.parametrize("rootstock", ["own", "台木"])
def test_a_slide_keeps_strips_and_keys_apart_whatever_the_title_and_the_method_take(
    make: Callable[..., Any], rootstock: str
) -> None:
    trial = make(selections=24)
    long = "W" * 80
    tables = {
        name: getattr(trial, name).replace({"rootstock": {"own": rootstock, "stock P": long}})
        for name in ("floors", "observations", "claims", "plants")
    }
    tables["settings"] = replace(trial.settings, name=long)
    for sheet in draw_summary(prepare_summary(**trial.tables(**tables)), page="slide"):
        check_page(sheet)


def test_an_unknown_page_is_refused_with_the_ones_there_are(summary: Summary) -> None:
    with pytest.raises(InputError, match=r"one of A4, letter, slide, phone. Did you mean 'phone'"):
        draw_summary(summary, page="fone")
