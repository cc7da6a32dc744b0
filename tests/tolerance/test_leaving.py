"""Leaving rows out in one step agrees with finding the mode anew; saying less of rows does what it says."""

import numpy as np
import pytest

from hardiness.tolerance.factor import tree_of
from hardiness.tolerance.latent import Problem
from hardiness.tolerance.leaving import Leverage, coarsen_rows, keep_rows, mode_without, shared_effects, telling_rows
from hardiness.tolerance.newton import find_mode
from tests.tolerance.conftest import problem_of

SCALES = {"sigma": 0.8, "tau_a": 1.5, "tau_b": 0.6, "tau_c": 0.3, "tau_u": 0.5, "tau_e": 0.4}


@pytest.fixture(scope="module", params=["small", "three_sensors"])
def mode(request):
    return find_mode(problem_of(request.getfixturevalue(request.param)), SCALES)


def test_one_step_without_a_plant_lands_near_the_mode_found_anew(mode):
    design, leverage = mode.problem.design, Leverage.of(mode)
    away, moves = [], []
    for plant in range(len(design.plants)):
        rows = np.flatnonzero(design.plant_of_row == plant)
        others = np.flatnonzero(design.plant_of_row != plant)
        ends, plants = leverage.ends(rows)
        targets, target_plants = leverage.ends(others)
        step = -leverage.covariance(targets, target_plants, ends, plants) @ leverage.pull(rows)
        anew = mode_without(mode, design.plant_of_row != plant)
        own = anew.plants + (anew.cells + anew.selections[design.selection_of_cell])[design.cell_of_plant]
        old = (
            mode.effects.plants
            + (mode.effects.cells + mode.effects.selections[design.selection_of_cell])[design.cell_of_plant]
        )
        change = (own - old)[target_plants] + np.concatenate(
            [
                design.upper[others] @ (anew.dense - mode.effects.dense),
                design.lower[others] @ (anew.dense - mode.effects.dense),
            ]
        )
        has_end = np.concatenate([design.low[others] > 0, design.high[others] < design.worst])
        away.append(np.abs(step - change)[has_end].max())
        moves.append(np.abs(change)[has_end].max())
    assert max(moves) > 0.2  # some plant matters
    assert np.mean(away) < 0.05 and max(away) < 0.25 * max(moves)


def test_every_row_kept_changes_nothing_and_plants_without_a_row_fall_to_the_others(mode):
    design = mode.problem.design
    same = mode_without(mode, np.ones(design.low.size, bool))
    assert same.plants == pytest.approx(mode.effects.plants, abs=1e-6)
    gone = mode_without(mode, design.plant_of_row != 0)
    assert gone.plants[0] == pytest.approx(0.0, abs=1e-9)
    assert len(keep_rows(design, design.plant_of_row != 0).table) == int((design.plant_of_row != 0).sum())


def test_rows_that_say_the_same_again_give_the_same_mode_and_less_gives_fewer_rows(mode):
    design = mode.problem.design
    again = coarsen_rows(design, design.low, design.high)
    problem = Problem(again, tree_of(again), mode.problem.gap_mean, mode.problem.alpha_sd)
    assert find_mode(problem, SCALES).effects.dense == pytest.approx(mode.effects.dense, abs=1e-6)
    two = coarsen_rows(design, np.where(design.low > 2, design.low, 0), np.maximum(design.high, 2))
    assert two.low.size == design.low.size and ((two.low == 0) | (two.low > 2)).all()
    mute = coarsen_rows(design, np.zeros_like(design.low), np.full_like(design.high, design.worst))
    assert mute.low.size == 0


def test_shared_effects_are_those_of_either_end(mode):
    design = mode.problem.design
    shared = np.asarray(shared_effects(design))
    both = (design.low > 0) & (design.high < design.worst)
    assert both.any() and telling_rows(design).sum() == design.low.size
    alpha = np.array([design.alpha_row(grade) for grade in design.high[both] + 1])
    assert shared[both] + alpha == pytest.approx(np.asarray(design.lower)[both])
    assert (shared[:, : design.worst] == 0).all()
