"""Every check is a row with a sentence; trials that can tell little still get an answer, and are told so."""

import numpy as np
import pandas as pd
import pytest

from hardiness import schema
from hardiness.errors import FitError
from hardiness.plainwords import shift_words
from hardiness.tolerance import checks as module
from hardiness.tolerance.cautions import fit_cautions
from hardiness.tolerance.checks import STEPS, cell_sentence, check_fit
from hardiness.tolerance.fit import fit_tolerance
from hardiness.tolerance.priors import SCALES, Priors
from hardiness.tolerance.terms import Terms
from tests.simulate import simulate_observations

TRUE = Priors(fixed=dict(zip(SCALES, (0.8, 1.5, 0.6, 0.3, 0.5, 0.4), strict=True)))


def rows_of(*rows):
    columns = ["plant", "selection", "rootstock", "freeze", "exposure_c", "grade", "grade_low"]
    return pd.DataFrame(rows, columns=columns).assign(exposure_sd_c=0.5)


def all_at(grade, n=8):
    """Plants of two selections in two freezes, every one found at the same grade."""
    return rows_of(*((f"p{i}", "AB"[i % 2], "own", f"f{i // 4}", -7.0 - i // 4, grade, grade) for i in range(n)))


@pytest.fixture(scope="module")
def fitted():
    rows = simulate_observations(np.random.default_rng(3), selections=6, plants_per_cell=2, freezes=5)[0]
    return fit_tolerance(rows, priors=TRUE)


@pytest.fixture(scope="module")
def told():
    return []


@pytest.fixture(scope="module")
def found(fitted, told):
    return check_fit(fitted.posterior, units="F", progress=lambda done, what: told.append((done, what)))


def test_every_check_has_a_row_with_a_sentence(found):
    assert list(found.rows.columns) == schema.column_names(schema.CHECKS)
    assert found.rows["check"].tolist() == [
        "losses", "freezes", *["computing"] * 2, *["calibration"] * 5, "grades by exposure", "cells",
        "one effect for all grades", "influence of a plant", "influence of a freeze", "priors",
    ]  # fmt: skip
    assert found.rows["comment"].str.fullmatch(r".{15,}\.").all() and np.isfinite(found.rows["value"]).all()
    assert found.rows["passes"].mean() > 0.8  # a sound trial
    for name, columns in (("calibration", schema.CALIBRATION), ("cells", schema.CELL_FIT),
                          ("grades", schema.GRADES_BY_EXPOSURE), ("influence", schema.INFLUENCE),
                          ("sensitivity", schema.SENSITIVITY), ("spacing", schema.SPACING)):  # fmt: skip
        assert list(getattr(found, name).columns) == schema.column_names(columns)


def test_the_influence_row_names_the_plant_that_its_table_has(found, fitted):
    row = found.rows.set_index("check").loc["influence of a plant"]
    plants = found.influence[found.influence["kind"] == "plant"]
    named = plants[[f"plant {name} the floor of {cell} " in row["comment"]
                    for name, cell in zip(plants["left_out"], plants["selection"], strict=True)]]  # fmt: skip
    assert len(named)
    widths = fitted.floors().query("evidence == 'bracketed'")
    both = named.merge(widths, on=["selection", "rootstock"])
    half = (both["floor_high_c"] - both["floor_low_c"]) / 2
    assert (both["shift_c"].abs() / half).max() == pytest.approx(row["value"])


def test_the_influence_of_a_freeze_passes_or_fails_by_the_fit_done_anew():
    """At held spreads the hardest freeze would pull 0.74 of half an interval on S-04, which anew it does not."""
    rows = simulate_observations(np.random.default_rng(3), selections=6, plants_per_cell=2, freezes=5)[0]
    fit = fit_tolerance(rows)
    checked = check_fit(fit.posterior)
    anew = checked.influence.dropna(subset="refit_shift_c")
    assert anew["left_out"].unique().tolist() == ["2001-12-01"]
    both = anew.merge(fit.floors().query("evidence == 'bracketed'"), on=["selection", "rootstock"])
    pulls = both["refit_shift_c"].abs() / (both["floor_high_c"] - both["floor_low_c"]) * 2
    row = checked.rows.set_index("check").loc["influence of a freeze"]
    assert row["value"] == pytest.approx(pulls.max())
    top = both.loc[pulls.idxmax()]
    assert f"Without the freeze of 2001-12-01 the floor of {top['selection']} " in row["comment"]
    assert shift_words(top["refit_shift_c"]) in row["comment"]
    assert row["comment"].endswith("for its width. 1 freeze was left out so.")
    assert ", the whole fit done anew; no bracketed floor" in row["comment"]
    plant = checked.rows.set_index("check").loc["influence of a plant", "comment"]
    assert ", all spreads held as they are; no bracketed floor" in plant


def test_a_freeze_fails_that_only_the_fit_done_anew_shows():
    floors = pd.DataFrame({"selection": ["A"], "rootstock": "own", "evidence": "bracketed", "floor_low_c": -10.0,
                           "floor_high_c": -8.0})  # fmt: skip
    row = {"selection": "A", "rootstock": "own", "kind": "freeze", "left_out": "2031-12-14", "floor_c": -9.0,
           "shift_c": 0.854, "untested": False}  # fmt: skip
    for refit, passes, said in (
        (np.nan, True, "0.9 °C warmer, all spreads held as they are;"),
        (1.14, False, "1.1 °C warmer, the whole fit done anew;"),
    ):
        influence = pd.DataFrame([row | {"refit_shift_c": refit}])
        (found,) = module._influence_rows(influence, floors, "C")
        assert found[4] is passes and said in found[5] and found[2] == pytest.approx(1.14 if refit > 0 else 0.854)


def test_the_only_plant_of_a_cell_leaves_it_untested_and_no_figure_is_given():
    rows = rows_of(("p1", "A", "own", "f1", -6.0, 0, 0), ("p1", "A", "own", "f2", -9.0, 5, 5),
                   ("p2", "B", "own", "f1", -6.0, 0, 0), ("p3", "B", "own", "f2", -9.0, 0, 0))  # fmt: skip
    comment = check_fit(fit_tolerance(rows, priors=TRUE).posterior).rows.set_index("check")["comment"]
    assert comment["influence of a plant"] == (
        "Without plant p1 there would be no score of A on its own roots that tells anything: it would be untested."
    )


def test_differences_are_said_in_the_trials_unit_and_progress_is_told(found, told):
    comments = found.rows.set_index("check")["comment"]
    assert "°F" in comments["influence of a freeze"] and "°C" not in " ".join(comments)
    assert told == list(enumerate(STEPS))


def test_a_cell_is_said_by_what_surprises_most():
    cell = pd.Series({"selection": "OL-07", "rootstock": "stock P", "rows": 4, "mean_grade": 4.25, "killed": 3,
                      "expected_grade": 3.9, "grade_p": 0.4, "expected_killed": 0.8, "low": 0, "high": 2,
                      "killed_p": 0.02})  # fmt: skip
    assert cell_sentence(cell) == "OL-07 on stock P: 3 plants lost where 0.8 were expected (0 to 2)."
    milder = cell_sentence(pd.Series({**cell, "grade_p": 0.001}))
    assert milder == "OL-07 on stock P: mean grade 4.2 where 3.9 was expected, over 4 rows."


@pytest.mark.parametrize(
    ("rows", "end", "said"),
    [
        (rows_of(("p", "A", "own", "f", -7.0, 0, 0)), "cold", "Only 1 row: the figures say little"),
        (rows_of(("p", "A", "own", "f", -7.0, 5, 5)), "warm", "Every row has grade 5: nothing came through"),
        (all_at(0), "cold", "Every row has grade 0: nothing was hurt"),
        (all_at(5), "warm", "Every row has grade 5: nothing came through, so every floor is open to the warm side."),
        (all_at(3), "cold", "Every row has grade 3: how far the other grades lie from it is assumed, not seen."),
    ],
)
def test_one_grade_only_is_a_one_sided_answer_with_a_warning(rows, end, said):
    fit = fit_tolerance(rows, priors=TRUE)
    floors = fit.floors()
    assert floors["open_end"].eq(end).all()
    assert np.isfinite(floors[["floor_low_c", "floor_c", "floor_high_c"]].to_numpy(float)).all()
    assert any(sentence.startswith(said) for sentence in fit_cautions(rows, 6))


def test_a_single_row_can_be_checked_and_fails_where_it_must():
    checked = check_fit(fit_tolerance(rows_of(("p", "A", "own", "f", -7.0, 0, 0)), priors=TRUE).posterior).rows
    assert np.isfinite(checked["value"].astype(float)).all()
    assert checked.loc[~checked["passes"].astype(bool), "check"].tolist() == ["losses", "freezes"]
    said = checked.set_index("check")["comment"]["calibration"]
    assert said.str.contains("as often as predicted").all()
    assert said.str.fullmatch(
        r"Grade \d or worse: none of 1 row reached it, 0\.\d expected; too few rows to tell whether it comes as often "
        r"as predicted\."
    ).all()  # fmt: skip


def test_cautions_are_said_once_each_and_only_where_they_hold():
    rows = simulate_observations(np.random.default_rng(3), selections=3, plants_per_cell=2, freezes=4)[0]
    assert (rows["grade_low"] == 5).sum() >= 3 and fit_cautions(rows, 6) == []
    alive = rows.assign(grade=rows["grade"].clip(upper=4), grade_low=rows["grade_low"].clip(upper=4))
    assert fit_cautions(alive, 6) == [
        "No plant was lost: every floor is open to the cold side, and rests on the prior, what was assumed "
        "before any score."
    ]
    assert (alive["grade_low"] >= 3).sum() >= 3 and fit_cautions(alive, 6, grade=3) == []  # floors of a lower grade
    hardly = rows.assign(grade=rows["grade"].clip(upper=2), grade_low=rows["grade_low"].clip(upper=2))
    assert fit_cautions(hardly, 6, grade=3)[0].startswith("No plant reached grade 3: every floor is open to the cold")
    twice = hardly.assign(grade_low=np.where(np.arange(len(rows)) < 2, 3, 0), grade=hardly["grade"].clip(lower=1))
    assert fit_cautions(twice, 6, grade=3)[0].startswith("Only 2 rows that reached grade 3: every floor rests on")
    assert "One freeze alone" in " ".join(fit_cautions(rows.assign(freeze="f1"), 6))
    assert "With one selection alone" in " ".join(fit_cautions(rows.assign(selection="A"), 6))
    assert fit_cautions(rows.iloc[:0], 6) == []


def test_rows_that_tell_nothing_at_all_are_refused():
    with pytest.raises(FitError, match="nothing to fit: no row tells what its freeze did"):
        fit_tolerance(rows_of(("p", "A", "own", "f", -7.0, 5, 0), ("q", "A", "own", "f", -7.0, 5, 0)))


def test_a_grade_that_the_scale_does_not_have_is_refused(fitted):
    with pytest.raises(FitError, match="grade: found 6; accepted: a grade from 1 to 5"):
        check_fit(fitted.posterior, grade=6)


def test_protected_plants_count_in_no_check_of_what_there_is():
    """Four covered plants died in a freeze of their own: floors rest on the prior, and the checks say so too."""
    rows = all_at(0).assign(protected="")
    covered = rows_of(*((f"c{i}", "A", "own", "f9", -12.0, 5, 5) for i in range(4))).assign(protected="cover")
    fit = fit_tolerance(pd.concat([rows[rows["freeze"] == "f0"], covered]), priors=TRUE, terms=Terms(protection=2.0))
    assert fit.floors()["rests_on"].eq("prior").all()
    checked = check_fit(fit.posterior).rows.set_index("check")
    assert checked.loc["losses", ["value", "passes"]].tolist() == [0.0, False]
    assert checked.loc["freezes", ["value", "passes"]].tolist() == [1.0, False]
