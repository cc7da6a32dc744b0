"""Draws around a node: what the Gaussian misses, its gradient, and stacks of nodes against one at a time."""

from dataclasses import replace

import numpy as np
import pytest

from hardiness.tolerance import annealing
from hardiness.tolerance import design as design_module
from hardiness.tolerance.annealing import anneal_nodes
from hardiness.tolerance.importance import Noise
from hardiness.tolerance.latent import Effects, find_surroundings
from hardiness.tolerance.newton import find_mode
from hardiness.tolerance.rowdraws import RowDraws
from hardiness.tolerance.whitening import Whitening
from tests.tolerance.conftest import problem_of

SCALES = {"sigma": 0.9, "tau_a": 1.2, "tau_b": 0.5, "tau_c": 0.3, "tau_u": 0.6, "tau_e": 0.7}
OTHERS = [SCALES, SCALES | {"sigma": 0.5, "tau_u": 0.0}, SCALES | {"tau_a": 2.5}]


def whitenings_of(rows):
    problem = problem_of(rows)
    drawn = RowDraws.of(problem.design)
    modes = [find_mode(problem, scales) for scales in OTHERS]
    return modes[0], [Whitening.at(mode, find_surroundings(mode), drawn) for mode in modes]


def normals(whitening, rng, count=6):
    return Effects(*(0.5 * rng.standard_normal((part.size, count)) for part in whitening.mean.parts))


@pytest.mark.parametrize("node", [0, 1])
@pytest.mark.parametrize("trial", ["small", "three_sensors"])
def test_gradient_of_what_is_missed_is_that_of_differences(trial, node, request):
    white = whitenings_of(request.getfixturevalue(trial))[1][node]
    z = normals(white, np.random.default_rng(1))
    slopes = white.gradient(z, white.effects(z))

    def missed(at):
        own, shared = white.missed(at, white.effects(at))
        return own.sum(axis=0) + shared

    step = 1e-5
    for name in ("plants", "cells", "selections", "dense"):
        values, slope = getattr(z, name), getattr(slopes, name)
        for place in range(values.shape[0]):
            nudge = np.zeros_like(values)
            nudge[place] = step
            up, down = (missed(replace(z, **{name: values + sign * nudge})) for sign in (1, -1))
            assert slope[place] == pytest.approx((up - down) / (2 * step), abs=2e-6, rel=1e-5)


def test_means_of_the_gaussian_are_kept_and_an_effect_held_at_0_stays_there(small):
    _, (_, white, _) = whitenings_of(small)
    zero = Effects(*(np.zeros((part.size, 1)) for part in white.mean.parts))
    x, moved = white.effects(zero), white.effects(normals(white, np.random.default_rng(2)))
    assert x.cells[:, 0] == pytest.approx(white.mean.cells, abs=0.05)  # the gaps alone are bent
    assert np.all(moved.plants == white.mean.plants[:, None])


def test_a_stack_of_nodes_gives_each_what_it_has_alone(three_sensors):
    _, points = whitenings_of(three_sensors)
    rng = np.random.default_rng(3)
    drawn = [normals(white, rng) for white in points]
    stack, z = Whitening.stacked(points), Effects.stacked(drawn)
    x = stack.effects(z)
    own, shared = stack.missed(z, x)
    slopes = stack.gradient(z, x)
    for place, (white, alone) in enumerate(zip(points, drawn, strict=True)):
        expected = white.effects(alone)
        for part, other in zip(x.of(place).parts, expected.parts, strict=True):
            assert part == pytest.approx(other, abs=1e-11)
        own_alone, shared_alone = white.missed(alone, expected)
        assert own[place] == pytest.approx(own_alone, abs=1e-9)
        assert shared[place] == pytest.approx(shared_alone, abs=1e-9)
        for part, other in zip(slopes.of(place).parts, white.gradient(alone, expected).parts, strict=True):
            assert part == pytest.approx(other, abs=1e-9)


def test_annealed_draws_do_not_depend_on_stacks_or_on_sparse_matrices(small, monkeypatch):
    def annealed():
        mode, points = whitenings_of(small)
        return anneal_nodes(points, Noise.of(mode), [4, 0, 7], steps=3, count=4)

    together = annealed()
    monkeypatch.setattr(annealing, "STACK_VALUES", 1)
    alone = annealed()
    monkeypatch.setattr(design_module, "DENSE_LIMIT", 0)
    for other in (alone, annealed()):
        for one, two in zip(together, other, strict=True):
            assert one.missed == pytest.approx(two.missed, abs=1e-7)
            assert one.cells == pytest.approx(two.cells, abs=1e-7) and one.dense == pytest.approx(two.dense, abs=1e-7)
