"""Newton's method for the mode of the latent effects: at one point of the scales, or at a stack of points at once.

In trials of a thousand rows Python's own time for each step of each point is as long as the arithmetic; points that are
solved together share it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from hardiness.errors import FitError
from hardiness.tolerance.factor import GAP_SHAPE, Factor, factorise
from hardiness.tolerance.latent import Effects, Mode, Problem, row_ends
from hardiness.tolerance.likelihood import Floats, GradeTerms, grade_log_probability, grade_terms
from hardiness.tolerance.matrices import weighted_rows
from hardiness.tolerance.rowmaps import Weights

TOLERANCE = (
    1e-7  # largest move of a standardised critical temperature at which Newton stops; it then errs by its square
)
NODE_TOLERANCE = 0.02  # at a node: what is left is far below what draws and Laplace itself leave
MOST_STEPS = 200
STACK = 16  # points solved together: more no longer fit the processor's cache

Scales = Mapping[str, "float | Floats"]


def find_mode(
    problem: Problem, scales: Mapping[str, float], start: Effects | None = None, tolerance: float = TOLERANCE
) -> Mode:
    """Find the mode of the latent effects at given scales by Newton's method with step halving.

    Parameters
    ----------
    problem : Problem
    scales : mapping of str to float
        sigma and the taus. [K]
    start : Effects, optional
        Where to start.
    tolerance : float
        Largest last step, of a standardised critical temperature. The Hessian is the one before that step.

    Returns
    -------
    Mode

    Raises
    ------
    FitError
        If it does not settle within 200 steps.
    """
    return _search(problem, scales, problem.start() if start is None else start, tolerance)[0]


def find_modes(
    problem: Problem, scales: Sequence[Mapping[str, float]], starts: Sequence[Effects], tolerance: float = TOLERANCE
) -> list[Mode]:
    """:func:`find_mode` for many points of the scales, in stacks where the design's matrices are dense.

    Parameters
    ----------
    problem : Problem
    scales : sequence of mapping of str to float
        sigma and the taus of each point. [K]
    starts : sequence of Effects
        Where to start at each.
    tolerance : float
        As for one.

    Returns
    -------
    list of Mode

    Raises
    ------
    FitError
        If one does not settle within 200 steps.
    """
    if not isinstance(problem.design.upper, np.ndarray):
        return [find_mode(problem, *point, tolerance) for point in zip(scales, starts, strict=True)]
    modes: list[Mode] = []
    for first in range(0, len(scales), STACK):
        part = slice(first, first + STACK)
        stacked = {name: np.array([point[name] for point in scales[part]]) for name in scales[first]}
        modes += _search(problem, stacked, Effects.stacked(starts[part]), tolerance)
    return modes


def _search(problem: Problem, scales: Scales, start: Effects, tolerance: float) -> list[Mode]:
    design, found = problem.design, {}
    one = start.dense.ndim == 1
    places = np.arange(1 if one else len(start.dense))
    point = _Point.at(problem, scales, start)
    for _ in range(MOST_STEPS):
        sigma = np.asarray(scales["sigma"])
        terms = grade_terms(point.a, point.b)
        square = sigma[..., None] ** 2
        weights = Weights(-terms.aa / square, -terms.ab / square, -terms.bb / square)
        gaps = point.effects.dense[..., design.gaps]
        factor = factorise(design, problem.tree, weights, scales, problem.dense_sd(scales), gaps)
        target = _newton_target(problem, point, terms, weights, factor, sigma)
        share = _longest_step(gaps, target.dense[..., design.gaps])
        move = _largest_move(problem, point.effects, target, sigma)
        trial = _Point.at(problem, scales, target if (share == 1.0).all() else point.effects.moved(target, share))
        # Close to the mode the objective is flat to rounding; Newton's own step is then trusted.
        while (short := _too_far(trial, point) & (share * move >= TOLERANCE)).any():
            share = np.where(short, 0.5 * share, share)
            trial = _Point.at(problem, scales, point.effects.moved(target, share))
        settled = np.atleast_1d((share == 1.0) & (move < tolerance))
        for index in np.flatnonzero(settled):
            found[int(places[index])] = _mode(problem, scales, trial, terms, factor, None if one else int(index))
        if settled.all():
            return [found[place] for place in range(len(found))]
        if settled.any():
            left = ~settled
            places, trial = places[left], trial.of(left)
            scales = {name: values[left] for name, values in scales.items()}  # type: ignore[index]
        point = trial
    raise FitError("the fit did not settle; look for extreme exposures or contradicting rows.")


@dataclass(frozen=True, slots=True)
class _Point:
    """Effects, the critical temperatures of each row there, the same standardised, and the log joint density."""

    effects: Effects
    upper: Floats
    lower: Floats
    a: Floats
    b: Floats
    value: Floats

    @staticmethod
    def at(problem: Problem, scales: Scales, effects: Effects) -> _Point:
        design, sigma = problem.design, np.asarray(scales["sigma"])[..., None]
        upper, lower = row_ends(problem, effects)
        away = (design.alpha_mean - design.exposure) / sigma + design.log_near
        a = np.where(design.low > 0, upper / sigma + away, np.inf)
        b = np.where(design.high < design.worst, lower / sigma + away, -np.inf)
        return _Point(effects, upper, lower, a, b, _objective(problem, scales, effects, a, b))

    def of(self, which: np.ndarray) -> _Point:
        """Some of a stack."""
        parts = (self.upper, self.lower, self.a, self.b, self.value)
        return _Point(self.effects.of(which), *(part[which] for part in parts))


def _too_far(trial: _Point, point: _Point) -> np.ndarray:
    return ~np.asarray(trial.value >= point.value - 1e-9 * np.abs(point.value))


def _mode(
    problem: Problem, scales: Scales, point: _Point, terms: GradeTerms, factor: Factor, index: int | None
) -> Mode:
    """A mode by itself, out of a stack where there is one."""
    if index is None:
        only = {name: float(value) for name, value in scales.items()}
        return Mode(problem, only, point.effects, point.a, point.b, terms, factor, float(point.value))
    only = {name: float(values[index]) for name, values in scales.items()}  # type: ignore[index]
    effects, a, b = point.effects.of(index), point.a[index], point.b[index]
    return Mode(problem, only, effects, a, b, terms.at(index), factor.at(index), float(point.value[index]))


def _objective(problem: Problem, scales: Scales, effects: Effects, upper: Floats, lower: Floats) -> Floats:
    """Log joint density with respect to the logarithm of the gaps, without the Gaussians' constants."""
    gaps = effects.dense[..., problem.design.gaps]
    whole = np.sum(grade_log_probability(upper, lower), axis=-1)
    parts = (effects.plants, effects.cells, effects.selections, effects.dense)
    for values, precision in zip(parts, problem.precisions(scales), strict=True):
        whole = whole - 0.5 * np.sum(values * values * precision, axis=-1)
    return np.asarray(whole + np.sum(GAP_SHAPE * np.log(gaps) - gaps * GAP_SHAPE / problem.gap_mean, axis=-1))


def _newton_target(
    problem: Problem, point: _Point, terms: GradeTerms, weights: Weights, factor: Factor, sigma: Floats
) -> Effects:
    """Where a full Newton step leads: solve H x = gradient of the likelihood + its curvature times x."""
    design, sigma = problem.design, sigma[..., None]
    pull_upper = terms.a / sigma + weights.pp * point.upper + weights.pq * point.lower
    pull_lower = terms.b / sigma + weights.pq * point.upper + weights.qq * point.lower
    dense = weighted_rows(pull_upper, design.upper) + weighted_rows(pull_lower, design.lower)
    gaps = point.effects.dense[..., design.gaps]
    dense[..., design.gaps] += 2.0 * GAP_SHAPE / gaps - GAP_SHAPE / problem.gap_mean
    return Effects(*factor.solve(factor.tree.to_plants.of(pull_upper + pull_lower), dense))


def _longest_step(gaps: Floats, target: Floats) -> Floats:
    """Keep every gap above a fifth of what it was."""
    shrinking = target < 0.2 * gaps
    steps = np.where(shrinking, 0.8 * gaps / np.where(shrinking, gaps - target, 1.0), 1.0)
    return np.asarray(np.min(steps, axis=-1, initial=1.0))


def _largest_move(problem: Problem, effects: Effects, target: Effects, sigma: Floats) -> Floats:
    change = target.minus(effects)
    gaps = problem.design.gaps
    relative = np.abs(change.dense[..., gaps]) / effects.dense[..., gaps]
    parts = (change.plants, change.cells, change.selections, change.dense)
    sizes = [np.abs(part).max(axis=-1, initial=0.0) / sigma for part in parts]
    return np.asarray(np.max([*sizes, relative.max(axis=-1, initial=0.0)], axis=0))
