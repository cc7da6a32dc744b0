"""The numbers of the summary: what would be drawn, in which order, and what it says."""

import dataclasses
import datetime as dt
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest

from hardiness import words
from hardiness.figures.style import PAPER_SIZES
from hardiness.figures.summary_cells import cell_texts
from hardiness.figures.summary_data import FLAT_ROWS, Summary, prepare_summary
from hardiness.figures.summary_grades import Square
from hardiness.figures.summary_key import method_lines
from hardiness.figures.summary_squares import arrange, folded
from hardiness.figures.summary_winters import recent, winter_sentence
from hardiness.schema import OBSERVATIONS, PLANTS, column_names
from hardiness.settings_reading import parse_settings


def test_few_rows_stand_strictly_from_the_hardiest(make: Callable[..., Any]) -> None:
    prepared = prepare_summary(**make(selections=12).tables())
    assert 0 < len(prepared.cells) <= FLAT_ROWS and not prepared.grouped
    floors = [cell.floor_c for cell in prepared.cells if not math.isnan(cell.floor_c)]
    assert floors == sorted(floors) and len(floors) < len(prepared.cells)
    assert prepared.cells[-1].evidence == "untested"


def test_many_rows_are_grouped_hardiest_selection_first(summary: Summary) -> None:
    assert summary.grouped and len(summary.cells) > FLAT_ROWS
    order = list(dict.fromkeys(cell.selection for cell in summary.cells))
    met = [cell.selection for cell in summary.cells]
    assert all(met[i] == met[i - 1] or met[i] not in met[:i] for i in range(1, len(met)))  # no group torn apart
    best = {name: np.nanmin([c.floor_c for c in summary.cells if c.selection == name]) for name in order}
    assert order == sorted(order, key=lambda name: best[name])


def test_every_cell_is_there_once_with_the_figures_of_its_row(trial: Any, summary: Summary) -> None:
    assert sorted(cell.number for cell in summary.cells) == list(range(1, len(trial.floors) + 1))
    for cell in summary.cells:
        row = trial.floors.iloc[cell.number - 1]
        assert (cell.selection, cell.rootstock) == (row["selection"], row["rootstock"])
        assert cell.floor_c == row["floor_c"] or math.isnan(cell.floor_c)
        assert cell.evidence == row["evidence"] and cell.killed == row["killed"]
    assert {cell.evidence for cell in summary.cells} == {"bracketed", "all survived", "all died", "untested"}
    assert {cell.selection for cell in summary.cells if cell.check} == {"OL-04", "OL-12", "OL-18"}


def test_the_input_is_left_as_it_was(make: Callable[..., Any]) -> None:
    trial, before = make(selections=6), make(selections=6)
    prepare_summary(**trial.tables())
    for name in ("floors", "freezes", "observations", "claims", "selections", "plants"):
        pd.testing.assert_frame_equal(getattr(trial, name), getattr(before, name))


def test_open_ends_are_said_in_words(summary: Summary) -> None:
    assert {cell.evidence for cell in summary.cells} == {"all survived", "all died", "untested", "bracketed"}
    for cell in summary.cells:
        floor, claimable = cell_texts(cell, "C")
        if cell.evidence == "all survived":
            assert floor == "at or below" and claimable.startswith("−")
        elif cell.evidence == "all died":
            assert floor.startswith("above −") and claimable == "none"
        elif cell.evidence == "untested":
            assert (floor, claimable) == ("–", "–")
        else:
            assert float(floor.replace("−", "-")) == pytest.approx(cell.floor_c, abs=0.051)


def test_quartiles_are_used_only_where_given(trial: Any, summary: Summary) -> None:
    assert summary.quartiles
    bare = prepare_summary(**trial.tables(floors=trial.floors.drop(columns=["floor_q25_c", "floor_q75_c"])))
    assert not bare.quartiles and all(math.isnan(cell.q25_c) for cell in bare.cells)


def test_the_scale_holds_all_that_was_met_tested_and_claimed(summary: Summary) -> None:
    shown = [f.minimum_c for winter in summary.winters for f in winter.freezes]
    shown += [v for c in summary.cells for v in (c.tested_to_c, c.claimable_c, c.claim_c) if not math.isnan(v)]
    assert summary.cold_c <= min(shown) and max(shown) <= summary.warm_c


def test_one_interval_far_out_does_not_squeeze_the_scale(trial: Any, summary: Summary) -> None:
    floors = trial.floors.copy()
    floors.loc[floors["evidence"] == "bracketed", "floor_low_c"] = -60.0
    assert prepare_summary(**trial.tables(floors=floors)).cold_c >= summary.cold_c - 5.0


def test_hearsay_reaches_untested_cells_too(trial: Any, summary: Summary) -> None:
    claimed = set(trial.selections.loc[trial.selections["claimed_floor"] != "", "selection"])
    assert claimed
    assert {cell.selection for cell in summary.cells if not math.isnan(cell.claim_c)} == claimed
    without = prepare_summary(**trial.tables(claims=trial.claims.iloc[:0]))
    assert [c.claim_c for c in without.cells] == pytest.approx([c.claim_c for c in summary.cells], nan_ok=True)


def test_of_several_sensors_the_coldest_speaks_and_hours_are_at_the_coldest_threshold_reached(
    summary: Summary,
) -> None:
    assert [winter.name for winter in summary.winters] == ["2028-29", "2029-30", "2030-31", "2031-32"]
    coldest = summary.winters[3].freezes[0]
    assert (coldest.minimum_c, coldest.starts_on, coldest.logger) == (-9.6, dt.date(2031, 12, 14), True)
    assert coldest.threshold is not None and coldest.threshold.celsius == -8.0
    assert coldest.hours == pytest.approx(38 * (1 - 8 / 9.6))
    assert winter_sentence(summary.winters[3], "C") == ("4 freezes, coldest −9.6 °C on 14 Dec, 6.3 h at or below −8")
    assert not summary.winters[0].freezes[-1].logger or summary.winters[0].freezes[-1].minimum_c == -2.7


def test_dates_are_those_of_the_trials_zone(trial: Any) -> None:
    settings = dataclasses.replace(trial.settings, timezone="Asia/Tokyo")  # 19:00 in Lisbon is the next day there
    freeze = prepare_summary(**trial.tables(settings=settings)).winters[3].freezes[0]
    assert freeze.starts_on == dt.date(2031, 12, 15)


def test_early_winters_share_one_strip(summary: Summary) -> None:
    kept = recent(summary.winters, 3)
    assert [winter.name for winter in kept] == ["to 2029-30", "2030-31", "2031-32"]
    assert len(kept[0].freezes) == 6 and kept[0].freezes[0].minimum_c == -8.3
    assert winter_sentence(kept[0], "C").startswith("6 freezes in 2 winters, coldest −8.3 °C on 2 Feb 2030")
    assert recent(summary.winters, 4) == summary.winters


def test_days_met_turn_with_the_season(trial: Any, summary: Summary) -> None:
    assert (summary.first_met, summary.last_met) == ("19 Nov", "2 Feb")
    south = dataclasses.replace(trial.settings, latitude=-38.0)
    assert prepare_summary(**trial.tables(settings=south)).first_met == "8 Jan"


def test_another_grade_is_said_in_the_title(trial: Any, summary: Summary) -> None:
    asked = prepare_summary(**trial.tables(), grade=3)
    assert asked.title == f"{summary.title}, grade 3 not reached" and asked.grade == 3


def test_the_description_names_every_row_and_the_caution(summary: Summary) -> None:
    for cell in summary.cells:
        assert cell.selection in summary.description
    assert summary.description.startswith(summary.title)
    assert "early and late ones are harder" in summary.description
    assert summary.description.count(": untested.") == 2


def test_names_that_cannot_be_written_become_the_number_of_their_row(make: Callable[..., Any]) -> None:
    trial = make(selections=3)
    tables = {
        name: getattr(trial, name).replace({"selection": {"OL-02": "橄榄"}, "rootstock": {"stock P": "台木"}})
        for name in ("floors", "observations", "claims", "selections", "plants")
    }
    prepared = prepare_summary(**trial.tables(**tables))
    assert "橄榄" in prepared.description
    by_number = sorted(prepared.cells, key=lambda cell: -cell.number)
    for recorded, shown in (
        ("橄榄", {(cell.selection, cell.name): cell.number for cell in by_number}),
        ("台木", {(cell.rootstock, cell.stock): cell.number for cell in by_number}),
    ):  # one number for one name: that of its first row
        ((text, number),) = [(text, number) for (name, text), number in shown.items() if name == recorded]
        assert text == f"no. {number}"
    told = " ".join(line for line, _ in method_lines(prepared, PAPER_SIZES, 190.0))
    numbers = sorted({number for cell in prepared.cells for number in cell.numbered})
    assert f"its first row in the floors table ({words.listed([str(number) for number in numbers])})" in told


SETTINGS = parse_settings('name = "Hill"\ntimezone = "Europe/Lisbon"\nlatitude = 41')


def squares_of(rows: list[dict[str, Any]], plants: list[dict[str, Any]], trial: Any) -> tuple[Any, ...]:
    common = {"selection": "OL-01", "rootstock": "own", "freeze": "x", "event": "x", "sensor": "L1",
              "exposure_sd_c": 0.5, "sensor_sd_c": 0.5, "near": 1, "protected": "", "freezes": 1, "provisional": False,
              "scored_on": dt.date(2032, 1, 9)}  # fmt: skip
    observations = pd.DataFrame([{**common, **row} for row in rows], columns=column_names(OBSERVATIONS))
    registered = pd.DataFrame(
        [{"selection": "OL-01", "rootstock": "own", "planted_on": None, "removed_on": None, **p} for p in plants]
    ).reindex(columns=PLANTS.names)
    registered = registered.astype({"planted_on": object, "removed_on": object})
    floors = trial.floors.loc[(trial.floors["selection"] == "OL-01") & (trial.floors["rootstock"] == "own")]
    prepared = prepare_summary(**trial.tables(floors=floors, observations=observations, plants=registered))
    return prepared.cells[0].squares


def row(plant: str, winter: str, grade: int, low: int | None = None, **more: Any) -> dict[str, Any]:
    return {"plant": plant, "winter": winter, "grade": grade, "grade_low": grade if low is None else low,
            "exposure_c": -6.0, **more}  # fmt: skip


def test_a_winter_shows_the_worst_grade_and_whether_it_was_carried_over(trial: Any) -> None:
    rows = [row("A", "2031-32", 1), row("A", "2031-32", 2), row("A", "2031-32", 2, 0, exposure_c=-9.0),
            row("B", "2031-32", 3, 0)]  # fmt: skip
    (winter,) = squares_of(rows, [{"plant": "A"}, {"plant": "B"}], trial)
    assert winter == (Square("A", 0, 2), Square("B", 1, 3, standing=True))


def test_protected_and_early_scores_are_marked_and_give_way_to_what_counts(trial: Any) -> None:
    rows = [row("A", "2031-32", 4, protected="cover"), row("A", "2031-32", 1), row("B", "2031-32", 2, protected="snow"),
            row("C", "2031-32", 3, provisional=True), row("D", "2031-32", 2),
            row("D", "2031-32", 5, protected="bank")]  # fmt: skip
    (winter,) = squares_of(rows, [{"plant": p} for p in "ABCD"], trial)
    assert winter == (
        Square("A", 0, 1), Square("B", 1, 2, protected=True), Square("C", 2, 3, provisional=True),
        Square("D", 3, 5, protected=True),  # a death stays a death
    )  # fmt: skip


def test_a_plant_keeps_its_place_and_leaves_a_gap_when_it_is_dead(trial: Any) -> None:
    planted = {"planted_on": dt.date(2028, 4, 1)}
    rows = [row("A", "2029-30", 5), row("B", "2029-30", 0), row("B", "2031-32", 1)]
    first, second = squares_of(rows, [{"plant": "A", **planted}, {"plant": "B", **planted}], trial)
    assert first == (Square("B", 0, 0), Square("A", 1, 5))
    assert second == (Square("B", 0, 1),)


def test_a_plant_that_stood_there_unscored_is_no_survivor_but_a_dot(trial: Any) -> None:
    rows = [row("A", "2029-30", 1), row("A", "2031-32", 1), row("B", "2031-32", 2)]
    plants = [{"plant": "A"}, {"plant": "B"}, {"plant": "C", "planted_on": dt.date(2028, 4, 1)},
              {"plant": "D", "planted_on": dt.date(2032, 4, 1)},
              {"plant": "E", "planted_on": dt.date(2028, 4, 1), "removed_on": dt.date(2030, 6, 1)}]  # fmt: skip
    first, second = squares_of(rows, plants, trial)
    assert first == (Square("C", 0, None), Square("E", 1, None), Square("A", 2, 1))  # B counts from its first score
    assert second == (Square("C", 0, None), Square("A", 2, 1), Square("B", 3, 2))


def test_squares_fold_to_what_fits(summary: Summary) -> None:
    cells = [cell.squares for cell in summary.cells]
    names = [winter.name for winter in summary.scored]
    everyone = arrange(cells, names, 60.0, 3.0)
    assert (everyone.fold, everyone.slots) == ("plants", 4)
    for room in (60.0, 41.0, 34.0, 16.0):
        assert arrange(cells, names, room, 3.0).width <= room
    assert [arrange(cells, names, room, 3.0).fold for room in (60.0, 41.0, 34.0, 20.0)] == [
        "plants", "plants", "three", "worst"
    ]  # fmt: skip
    assert arrange(cells, names, 8.0, 3.0).winters == (2, 3)  # the latest


def test_folded_squares_are_the_least_middle_and_most_harmed() -> None:
    winter = tuple(Square(f"plant {slot}", slot, grade) for slot, grade in enumerate((None, 4, 0, 2, 5)))
    assert [square.grade for square in folded(winter, "three")] == [0, 4, 5]
    assert [(square.grade, square.slot) for square in folded(winter, "worst")] == [(5, 0)]
    assert folded(winter[:1], "worst") == winter[:1]
    assert folded(winter, "plants") == winter
