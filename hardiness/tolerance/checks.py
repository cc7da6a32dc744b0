"""May these floors be quoted? Every check of a fit: a row each, with what was found, what passes, and a sentence."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from hardiness import schema, words
from hardiness.plainwords import shift_words
from hardiness.tolerance.calibration import calibration_table, calibration_tests, cell_fit, grades_by_exposure
from hardiness.tolerance.cautions import FEW_ROWS
from hardiness.tolerance.evidence import MOST_PRIOR
from hardiness.tolerance.floors import check_grade, floors_table
from hardiness.tolerance.influence import FREEZE, MOST_REFITS, PLANT, confirmed_influence, left_untested, with_pulls
from hardiness.tolerance.posterior import LARGEST_K, Posterior
from hardiness.tolerance.prediction import predict_rows
from hardiness.tolerance.rows import stands_open
from hardiness.tolerance.sensitivity import SPREADS, sensitivity_table
from hardiness.tolerance.spacing import last_low_grade, spacing_table

RARE = 0.01  # what a sound fit shows in one trial of a hundred
UNUSUAL = 0.05  # the same for a test that is cautious by itself (13 simulated sound trials: none was flagged)
MOST_PULL = 1.0  # of half an interval's width: what one plant or freeze may move a bracketed floor
MOST_SHIFT = 0.5  # of half an interval's width: what other priors may move it
AMISS = "not as often as predicted in some bins of the table"
FEW_EXPECTED = 10.0  # fewer are said with a decimal
LEAST_DRAWS = 100  # effective: a floor's error of computation is then a tenth of its standard deviation or less
LEAST_POINTS = 5  # effective, of the scales, where Laplace's method stands alone
STEPS = ("predicting rows", "leaving out plants and freezes", "low and high grades", "other priors", "done")


@dataclass(frozen=True, slots=True)
class Checks:
    """Everything that was checked.

    Parameters
    ----------
    rows : DataFrame
        A row per check, columns of ``schema.CHECKS``.
    calibration, grades, cells, spacing, influence, sensitivity : DataFrame
        What the rows rest on; columns of ``schema.CALIBRATION``, ``GRADES_BY_EXPOSURE``, ``CELL_FIT``, ``SPACING``,
        ``INFLUENCE``, ``SENSITIVITY``.
    """

    rows: pd.DataFrame
    calibration: pd.DataFrame
    grades: pd.DataFrame
    cells: pd.DataFrame
    spacing: pd.DataFrame
    influence: pd.DataFrame
    sensitivity: pd.DataFrame


Row = tuple[str, str, float, str, bool, str]


def check_fit(
    posterior: Posterior, *, survive: float = 0.9, grade: int | None = None, units: str = "C",
    progress: Callable[[int, str], None] | None = None,
) -> Checks:  # fmt: skip
    """Check a fit; it costs about seven times as much as the fit, and once more for each freeze that pulls hard.

    Parameters
    ----------
    posterior : Posterior
    survive : float
        Share that comes through, for influence and priors.
    grade : int, optional
        Without reaching this grade; the last unless given.
    units : str
        ``"C"`` or ``"F"``: how comments say a difference.
    progress : callable, optional
        Told the number of steps done, of ``len(STEPS) - 1``, and what comes next.

    Returns
    -------
    Checks

    Raises
    ------
    FitError
        If there is no such grade.
    """
    grade = check_grade(grade, posterior.design.grades)
    tell = progress or (lambda done, what: None)
    tell(0, STEPS[0])
    prediction = predict_rows(posterior)
    tests, calibration = calibration_tests(prediction), calibration_table(prediction)
    grades, cells = grades_by_exposure(prediction), cell_fit(prediction)
    tell(1, STEPS[1])
    floors = floors_table(posterior, survive=survive, grade=grade, level=0.9)
    influence = confirmed_influence(posterior, floors, survive=survive, grade=grade)
    tell(2, STEPS[2])
    spacing = spacing_table(posterior)
    tell(3, STEPS[3])
    sensitivity = sensitivity_table(posterior, survive=survive, grade=grade)
    tell(4, STEPS[4])
    rows: list[Row] = [_losses_row(posterior, grade), _freezes_row(posterior), *_computing_rows(posterior)]
    rows += _calibration_rows(tests)
    rows += [_exposure_row(grades), _cells_row(cells)]
    rows += _spacing_rows(spacing, posterior.design.worst, units)
    rows += _influence_rows(influence.assign(untested=left_untested(posterior.design, influence)), floors, units)
    rows += _sensitivity_rows(sensitivity, floors, units)
    table = pd.DataFrame(rows, columns=schema.column_names(schema.CHECKS))
    return Checks(table, calibration, grades, cells, spacing, influence, sensitivity)


def _open_rows(posterior: Posterior) -> pd.DataFrame:
    """The rows that prove something, as evidence counts them: of plants that nothing protected."""
    table = posterior.design.table
    return table[stands_open(table)]


def _losses_row(posterior: Posterior, grade: int) -> Row:
    lost = int((_open_rows(posterior)["grade_low"] >= grade).sum())
    comment = f"{words.count(lost, 'row')} reached grade {grade}" + (
        "." if lost >= MOST_PRIOR else ": too few; every floor rests on the prior, and none is more than one-sided."
    )
    return "losses", f"rows that reached grade {grade}", lost, f"{MOST_PRIOR} or more", lost >= MOST_PRIOR, comment


def _freezes_row(posterior: Posterior) -> Row:
    met = _open_rows(posterior)["freeze"].nunique()
    comment = f"{words.count(met, 'freeze')} with scores" + (
        "." if met > 1 else ": one alone cannot tell what the freeze did from what the plants are."
    )
    return "freezes", "freezes with scores", met, "2 or more", met > 1, comment


def _computing_rows(posterior: Posterior) -> list[Row]:
    """How the posterior was reached, and whether that can be trusted."""
    found = posterior.diagnostics
    if found.path == "laplace":
        rows, points = posterior.design.low.size, found.effective_nodes
        passes = points >= LEAST_POINTS or not posterior.priors.free
        comment = (
            f"With {words.count(rows, 'row')} the answer is Laplace's approximation, made for many rows, without "
            f"joint draws; its scales count as {words.number(points, 0)} equally likely points"
        ) + ("." if passes else ": too few to trust an interval.")
        return [("computing", "effective points of the scales", points, f"{LEAST_POINTS} or more", passes, comment)]
    k, size = max(found.pareto_k, 0.0), found.effective_sample_size
    how = (
        "joint draws of all effects, weighed by how probable they are, carry the answer"
        if found.path == "importance"
        else "draws led to the answer step by step (a sampler) carry it, since plain ones did not"
    )
    few, many = k > LARGEST_K, size >= LEAST_DRAWS
    return [
        ("computing", "shape k of the largest weights (Pareto)", k, f"{LARGEST_K:g} or less", not few,
         f"How it was computed: {how}" + ("; a few outweigh all others, so intervals may be off." if few
                                          else ", and no few outweigh the others.")),
        ("computing", "effective number of draws", size, f"{LEAST_DRAWS} or more", many,
         f"The draws count as {words.number(size, 0)} equally good ones" + ("." if many
                                                                        else ": floors carry their chance.")),
    ]  # fmt: skip


def _calibration_rows(tests: pd.DataFrame) -> list[Row]:
    rows: list[Row] = []
    whole, shares = tests[["grade", "rows", "reached"]].to_numpy(int), tests[["expected", "shape_p"]].to_numpy(float)
    for (grade, n, reached), (expected, found) in zip(whole.tolist(), shares.tolist(), strict=True):
        passes = found >= RARE
        if n < FEW_ROWS:
            end = "too few rows to tell whether it comes as often as predicted"
        else:
            end = "it came " + ("as often as predicted" if passes else AMISS)
        comment = (
            f"Grade {grade} or worse: {reached if reached else 'none'} of {words.count(n, 'row')} reached it, "
            f"{words.number(expected, 0 if expected >= FEW_EXPECTED else 1)} expected; {end}."
        )
        rows.append(("calibration", f"chance of such bins, grade {grade} or worse", found, f"{RARE:g} or more",
                     passes, comment))  # fmt: skip
    return rows


def _exposure_row(grades: pd.DataFrame) -> Row:
    outside, most = int((~grades["as_predicted"]).sum()), int(stats.binom.ppf(1.0 - RARE, len(grades), 0.1))
    comment = f"Of {len(grades)} counts of a grade in a bin of exposures, {outside} lie outside their 90 % limits."
    return (
        "grades by exposure",
        "counts outside their 90 % limits",
        outside,
        f"{most} or fewer",
        outside <= most,
        comment,
    )


def cell_sentence(cell: pd.Series) -> str:
    """Say how a cell's plants did against what was predicted.

    Parameters
    ----------
    cell : Series
        A row of ``schema.CELL_FIT``.

    Returns
    -------
    str
    """
    who = f"{cell['selection']} {words.on_stock(cell['rootstock'])}"
    if cell["killed_p"] <= cell["grade_p"]:
        few = f"{cell['low']} to {cell['high']}" if cell["low"] < cell["high"] else f"{cell['low']}"
        return (
            f"{who}: {words.count(int(cell['killed']), 'plant')} lost where "
            f"{words.number(cell['expected_killed'])} were expected ({few})."
        )
    return (
        f"{who}: mean grade {words.number(cell['mean_grade'])} where {words.number(cell['expected_grade'])} "
        f"was expected, over {words.count(int(cell['rows']), 'row')}."
    )


def _cells_row(cells: pd.DataFrame) -> Row:
    bad = int((cells[["grade_p", "killed_p"]].min(axis=1) < RARE).sum())
    most = int(stats.binom.ppf(1.0 - RARE, len(cells), 2.0 * RARE))
    intro = f"{words.count(bad, 'cell')} of {len(cells)} fit badly" if bad else "Every cell fits; the least well"
    comment = f"{intro}: {cell_sentence(cells.iloc[0])}" if len(cells) else "No cell has a row."
    return "cells", f"cells with a probability below {RARE:g}", bad, f"{most} or fewer", bad <= most, comment


def _spacing_rows(spacing: pd.DataFrame, worst: int, units: str) -> list[Row]:
    if spacing.empty:
        return []
    most = float(stats.norm.isf(UNUSUAL / 2.0 / len(spacing)))
    top, split = spacing.iloc[0], last_low_grade(worst)
    tender = top["difference_c"] > 0
    passes = bool(abs(top["z"]) <= most)
    together = np.corrcoef(spacing["low_grades_c"], spacing["high_grades_c"])[0, 1]
    low = "grade 1" if split == 1 else f"grades 1-{split}"
    high = f"grade {worst}" if split + 1 == worst else f"grades {split + 1}-{worst}"
    size = shift_words(abs(float(top["difference_c"])), units).removesuffix(" warmer")
    found = f"{top['selection']} is {size} {'hardier' if tender else 'more tender'} by {high} than by {low}"
    end = "which chance explains; low and high grades agree"
    if not passes:
        kind, side = (
            ("tender in the leaf, hardy in the wood", "warm") if tender else ("tough leaves, tender wood", "cold")
        )
        end = f"more than chance explains: {kind}; where few of its plants died its floor is too {side}"
    comment = f"{found}, {end} (correlation over selections {words.number(float(together), 2)})."
    return [("one effect for all grades", "largest difference of a selection, in standard errors",
             float(abs(top["z"])), f"{most:.1f} or less", passes, comment)]  # fmt: skip


def _influence_rows(influence: pd.DataFrame, floors: pd.DataFrame, units: str) -> list[Row]:
    both, rows = with_pulls(influence, floors), []
    for kind in (PLANT, FREEZE):
        some = both[both["kind"] == kind]
        if some.empty:
            continue
        top = some.iloc[int(some["pull"].to_numpy().argmax())]
        refits = some.loc[some["refit_shift_c"].notna(), "left_out"].nunique()
        rows.append((f"influence of a {kind}", "largest shift, in halves of an interval's width", float(top["pull"]),
                     f"{MOST_PULL:g} or less", bool(top["pull"] <= MOST_PULL),
                     influence_sentence(top, units) + _how_many(refits)))  # fmt: skip
    return rows


def influence_sentence(row: pd.Series, units: str) -> str:
    """Say how a floor would move without a plant or a freeze, and what was held in saying so.

    Parameters
    ----------
    row : Series
        A row of ``schema.INFLUENCE``, and ``untested``: whether nothing of its cell would be left.
    units : str
        ``"C"`` or ``"F"``.

    Returns
    -------
    str
    """
    name = f"plant {row['left_out']}" if row["kind"] == PLANT else f"the freeze of {row['left_out']}"
    cell = f"{row['selection']} {words.on_stock(row['rootstock'])}"
    if row["untested"]:
        return f"Without {name} there would be no score of {cell} that tells anything: it would be untested."
    anew = bool(np.isfinite(row["refit_shift_c"]))
    shift = shift_words(float(row["refit_shift_c"] if anew else row["shift_c"]), units)
    how = "the whole fit done anew" if anew else "all spreads held as they are"
    return (
        f"Without {name} the floor of {cell} would be {shift}, {how}; no bracketed floor is moved more for its width."
    )


def _how_many(refits: int) -> str:
    if not refits:
        return ""
    most = ", those that pull most" if refits == MOST_REFITS else ""
    return f" {words.count(refits, 'freeze')} {'was' if refits == 1 else 'were'} left out so{most}."


def _sensitivity_rows(sensitivity: pd.DataFrame, floors: pd.DataFrame, units: str) -> list[Row]:
    both = with_pulls(sensitivity, floors)
    if both.empty:
        return []
    top = both.iloc[int(both["pull"].to_numpy().argmax())]
    what = "the spreads" if top["prior"] == SPREADS else "the distance from the first grade to the last"
    comment = (
        f"With {what} expected {'half' if top['factor'] < 1 else 'twice'} as large, the floor of {top['selection']} "
        f"{words.on_stock(top['rootstock'])} would be {shift_words(top['shift_c'], units)}; no bracketed floor moves "
        "more for its width."
    )
    return [("priors", "largest shift, in halves of an interval's width", float(top["pull"]),
             f"{MOST_SHIFT:g} or less", bool(top["pull"] <= MOST_SHIFT), comment)]  # fmt: skip
