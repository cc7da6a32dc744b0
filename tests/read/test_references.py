"""What tables say about each other: unknown names, dates out of order, deaths that are settled."""

import datetime as dt

import pytest

from hardiness.read.records import parse_records, records_frame
from hardiness.read.references import check_references
from hardiness.read.tables import RawRow, RawTable
from hardiness.schema import RECORD_TABLES, SCORES
from hardiness.settings import Settings

TRIAL = Settings("Hill", "Europe/Lisbon")


def day(text):
    return dt.date.fromisoformat(text)


def tables(**rows):
    """All five tables; a plant is of OL-07 on its own roots unless it says otherwise."""
    given = {
        "selections": [{"selection": "OL-07"}],
        "plants": [{"plant": "T1"}],
        **rows,
    }
    plant = {"selection": "OL-07", "rootstock": "own"}
    given["plants"] = [{**plant, **row} for row in given["plants"]]
    return {name: records_frame(table, given.get(name, [])) for name, table in RECORD_TABLES.items()}


def found(current, **options):
    return [str(problem) for problem in check_references(current, settings=TRIAL, **options)]


def scores(*grades, plant="T1", observer=""):
    return [{"plant": plant, "scored_on": day(on), "grade": grade, "observer": observer} for on, grade in grades]


def test_records_that_fit_together_have_no_problem():
    current = tables(
        plants=[{"plant": "T1", "sensor": "L1; L2", "planted_on": day("2021-04-02"), "copy_of": "elsewhere",
                 "removed_on": day("2026-06-01")}],
        selections=[{"selection": "OL-07", "seed_parent": "a tree down the road"}],
        sensors=[{"sensor": "L1"}],
        scores=scores(("2021-04-02", 0), ("2026-06-01", 5)),
        freeze_notes=[{"from": day("2026-01-01"), "to": day("2026-01-01")}],
    )  # fmt: skip
    assert found(current) == []  # L2 has no record: its readings may come later


def test_rows_that_are_left_without_their_selection_or_plant_are_named():
    current = tables(
        plants=[{"plant": "T1", "selection": "OL-7"}],
        scores=scores(("2026-02-10", 1), plant="T11", observer="RM"),
    )
    assert found(current) == [
        "plants, plant 'T1', column selection: found selection 'OL-7', not in selections; accepted: a selection of the "
        "trial. That row rests on it: withdraw it too, or first.",
        "scores, plant 'T11', scored_on 2026-02-10, observer 'RM', column plant: found plant 'T11', not in plants; "
        "accepted: a plant of the trial. That row rests on it: withdraw it too, or first.",
    ]


def test_unknown_selections_and_plants_of_a_file_get_near_names():
    cells = {"plant": "T11", "scored_on": "2026-02-10", "grade": "1"}
    source = parse_records(RawTable("new.csv", list(cells), [RawRow(2, cells)]), SCORES, TRIAL)
    current = tables(scores=source.frame.to_dict("records"))
    assert found(current, source=source)[0].endswith("accepted: a plant of the trial. Did you mean 'T1'?")


def test_rows_of_the_file_being_added_are_named_by_file_and_row():
    cells = {"plant": "T9", "scored_on": "2026-02-10", "grade": "1"}
    source = parse_records(RawTable("new.csv", list(cells), [RawRow(18, cells)]), SCORES, TRIAL)
    current = tables(scores=source.frame.to_dict("records"), plants=[])
    assert found(current, source=source) == [
        "new.csv, row 18, column plant: found plant 'T9', not in plants; accepted: a plant of the trial."
    ]


@pytest.mark.parametrize(
    ("plant", "scored_on", "sentence"),
    [
        ({"planted_on": day("2025-04-02")}, "2025-04-01", "2025-04-01, before plant 'T1' was planted or grafted on"),
        ({"grafted_on": day("2025-04-02")}, "2025-04-01", "2025-04-01, before plant 'T1' was planted or grafted on"),
        ({"removed_on": day("2025-04-02")}, "2025-04-03", "2025-04-03, after plant 'T1' was removed on 2025-04-02"),
    ],
)
def test_a_score_lies_within_the_plants_time(plant, scored_on, sentence):
    current = tables(plants=[{"plant": "T1", **plant}], scores=scores((scored_on, 1)))
    (text,) = found(current)
    assert sentence in text and "column scored_on" in text


def test_a_plant_grafted_in_the_nursery_and_set_out_later_counts_from_its_planting():
    plant = {"plant": "T1", "grafted_on": day("2024-03-01"), "planted_on": day("2025-04-02")}
    assert len(found(tables(plants=[plant], scores=scores(("2024-12-01", 1))))) == 1
    assert found(tables(plants=[plant], scores=scores(("2025-04-02", 1)))) == []


def test_dates_of_a_plant_and_of_a_note_are_in_order():
    current = tables(
        plants=[{"plant": "T1", "planted_on": day("2025-04-02"), "removed_on": day("2025-04-01")}],
        freeze_notes=[{"from": day("2026-01-03"), "to": day("2026-01-01"), "block": "A"}],
    )
    assert found(current) == [
        "plants, plant 'T1', column removed_on: found 2025-04-01, before it was planted or grafted on 2025-04-02; "
        "accepted: a date from 2025-04-02 on.",
        "freeze_notes, from 2026-01-03, to 2026-01-01, block 'A', column to: found 2026-01-01, before 2026-01-03; "
        "accepted: a date from 2026-01-03 on.",
    ]


def freezes_on(*dates):
    """Settle a death by any of these freezes: those between the death and the later score."""
    return lambda plant, death, later: any(death < day(freeze) < later for freeze in dates)


def test_a_death_added_before_a_better_grade_with_a_freeze_between_is_refused_with_the_way_out():
    current = tables(scores=scores(("2025-12-20", 5), ("2026-05-02", 3)))
    (text,) = found(current, death_settled=freezes_on("2026-01-10"))
    assert text == (
        "scores, plant 'T1', scored_on 2026-05-02, column grade: found grade 3 on 2026-05-02 for plant 'T1', scored "
        "dead on 2025-12-20 with a freeze since; accepted: grade 5: that death is settled. Only one of the two can be "
        "right: leave the other out, or withdraw it first."
    )


@pytest.mark.parametrize(
    ("grades", "freezes"),
    [
        ([("2025-12-20", 5), ("2026-05-02", 3)], ()),  # no freeze since: it lives
        ([("2025-12-20", 5), ("2026-05-02", 5)], ("2026-01-10",)),  # dead again adds nothing
        ([("2025-12-20", 4), ("2026-05-02", 3)], ("2026-01-10",)),  # never dead
        ([("2025-12-20", 5), ("2025-12-28", 4), ("2026-01-20", 5), ("2026-05-02", 3)], ("2026-01-10",)),
        ([("2025-12-20", 5), ("2025-12-20", 2), ("2026-05-02", 5)], ("2026-01-10",)),  # worst of the day counts
    ],
)
def test_deaths_that_are_not_settled_may_be_scored_better(grades, freezes):
    rows = [{**row, "observer": f"O{n}"} for n, row in enumerate(scores(*grades))]
    assert found(tables(scores=rows), death_settled=freezes_on(*freezes)) == []


def test_a_death_scored_again_is_settled_from_its_first_day():
    current = tables(scores=scores(("2025-12-20", 5), ("2026-01-20", 5), ("2026-05-02", 3), ("2026-06-02", 2)))
    texts = found(current, death_settled=freezes_on("2026-01-10"))
    assert ["grade 3 on 2026-05-02" in texts[0], "grade 2 on 2026-06-02" in texts[1], len(texts)] == [True, True, 2]


def test_of_several_observers_the_worst_grade_makes_the_death():
    rows = [*scores(("2025-12-20", 5), observer="RM"), *scores(("2025-12-20", 3), ("2026-05-02", 3), observer="AK")]
    (text,) = found(tables(scores=rows), death_settled=freezes_on("2026-01-10"))
    assert "scored_on 2026-05-02, observer 'AK'" in text


def test_what_was_wrong_before_a_change_is_not_held_against_it():
    before = tables(plants=[{"plant": "T1", "selection": "OL-7"}])
    after = tables(plants=[{"plant": "T1", "selection": "OL-7"}, {"plant": "T2", "selection": "OL-8"}])
    assert len(found(after)) == 2
    (text,) = found(after, before=before)
    assert "plant 'T2', column selection: found selection 'OL-8'" in text


def test_a_file_of_another_trial_is_answered_quickly():
    many = tables(
        plants=[{"plant": f"T{n}"} for n in range(5000)],
        scores=[{"plant": f"X{n}", "scored_on": day("2026-02-10"), "grade": 1} for n in range(5000)],
    )
    start = dt.datetime.now()
    assert len(found(many)) == 5000
    assert (dt.datetime.now() - start).total_seconds() < 20  # near names for each took minutes
