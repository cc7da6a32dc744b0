r"""The mode of the latent effects at given scales, and what surrounds it.

The log-density is concave, so one Newton solve finds the mode (:mod:`hardiness.tolerance.newton`). The gaps between
critical temperatures are handled on their logarithm: with the Jacobian the Gamma prior stays log-concave in the gap
itself, and the mean, variance and third cumulant that follow from the mode are exact where the data say nothing of a
gap. For a linear functional l of the effects x, with mode m, Hessian H, third derivatives T and
:math:`u = H^{-1} l` (Tierney & Kadane 1986, doi:10.1080/01621459.1986.10478240, carried to third order):

.. math:: E \approx l'm + u'g, \quad \mathrm{var} \approx l'u, \quad \kappa_3 \approx T(u, u, u),
          \quad g = \tfrac12 T{:}H^{-1} - \nabla \log\textstyle\prod_k \delta_k
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hardiness.tolerance.design import Design
from hardiness.tolerance.factor import GAP_SHAPE, Factor, Tree
from hardiness.tolerance.likelihood import Floats, GradeTerms
from hardiness.tolerance.matrices import applied
from hardiness.tolerance.paths import Paths, effect_paths, row_variances


@dataclass(frozen=True, slots=True)
class Effects:
    """Values of the latent effects, at one point of the scales or at a stack of them, its axis first. [K]."""

    plants: Floats
    cells: Floats
    selections: Floats
    dense: Floats

    @staticmethod
    def stacked(points: Sequence[Effects]) -> Effects:
        """Put those of several points into a stack.

        Parameters
        ----------
        points : sequence of Effects

        Returns
        -------
        Effects
        """
        return Effects(*(np.array(parts) for parts in zip(*(point.parts for point in points), strict=True)))

    @property
    def parts(self) -> tuple[Floats, Floats, Floats, Floats]:
        """Plants, cells, selections and the dense block."""
        return self.plants, self.cells, self.selections, self.dense

    def of(self, which: int | NDArray[np.bool_]) -> Effects:
        """One point of a stack, or some.

        Parameters
        ----------
        which : int or ndarray of bool

        Returns
        -------
        Effects
        """
        return Effects(*(part[which] for part in self.parts))

    def moved(self, other: Effects, share: Floats) -> Effects:
        """A point on the way to another one.

        Parameters
        ----------
        other : Effects
        share : ndarray
            0 stays here, 1 goes all the way; of each point.

        Returns
        -------
        Effects
        """
        pairs = zip(self.parts, other.parts, strict=True)
        return Effects(*(here + share[..., None] * (there - here) for here, there in pairs))

    def minus(self, other: Effects) -> Effects:
        """What is left when another one is taken away.

        Parameters
        ----------
        other : Effects

        Returns
        -------
        Effects
        """
        return Effects(*(here - there for here, there in zip(self.parts, other.parts, strict=True)))


@dataclass(frozen=True, slots=True)
class Problem:
    """A design with its tree and the prior mean of a gap: what stays fixed while scales move."""

    design: Design
    tree: Tree
    gap_mean: float
    alpha_sd: float

    def dense_sd(self, scales: Mapping[str, float | Floats]) -> Floats:
        """Prior standard deviation of each column of the dense block, 1 for the gaps. [K].

        Parameters
        ----------
        scales : mapping of str to float, or to ndarray of a stack
            sigma and the taus. [K]

        Returns
        -------
        ndarray, dims (..., dense)
            [K]
        """
        sd = np.ones((*np.shape(scales["sigma"]), self.design.n_dense))
        sd[..., 0] = self.alpha_sd
        for block in self.design.blocks:
            tau = np.asarray(scales[block.tau] if block.tau else 0.0)[..., None]
            sd[..., block.columns] = np.hypot(block.own_sd, tau * block.share)
        return sd

    def precisions(self, scales: Mapping[str, float | Floats]) -> tuple[Floats, Floats, Floats, Floats]:
        """Prior precisions of plants, cells, selections and the dense block; 0 for gaps and for what is held at 0.

        Parameters
        ----------
        scales : mapping of str to float, or to ndarray of a stack
            sigma and the taus. [K]

        Returns
        -------
        plants, cells, selections : ndarray, dims (..., 1) or (..., selection)
        dense : ndarray, dims (..., dense)
            [1/K2]
        """
        square = {name: np.square(scales[name])[..., None] for name in ("tau_u", "tau_c", "tau_a")}
        dense = _inverse(self.dense_sd(scales) ** 2)
        dense[..., self.design.gaps] = 0.0
        of_selections = square["tau_a"] * self.design.selection_share
        return _inverse(square["tau_u"]), _inverse(square["tau_c"]), _inverse(of_selections), dense

    def start(self) -> Effects:
        """Where Newton starts when nothing better is known.

        Returns
        -------
        Effects
        """
        design = self.design
        dense = np.zeros(design.n_dense)
        dense[design.gaps] = self.gap_mean
        return Effects(
            np.zeros(design.cell_of_plant.size), np.zeros(len(design.cells)), np.zeros(len(design.selections)), dense
        )


def _inverse(variance: Floats) -> Floats:
    """1 / variance; an effect without spread is exactly 0, and adds nothing."""
    some = variance > 0
    return np.where(some, 1.0 / np.where(some, variance, 1.0), 0.0)


@dataclass(frozen=True, slots=True)
class Mode:
    """The mode at given scales, with all that the approximation needs.

    Parameters
    ----------
    scales : dict
        sigma and the taus. [K]
    effects : Effects
        The mode.
    upper, lower : ndarray, dims (row,)
        Standardised critical temperatures there; +-inf where a row has no such end.
    terms : GradeTerms
        Derivatives there.
    factor : Factor
    log_joint : float
        Log-likelihood and log prior there (constants of the Gaussians left to ``factor.log_determinant``).
    """

    problem: Problem
    scales: dict[str, float]
    effects: Effects
    upper: Floats
    lower: Floats
    terms: GradeTerms
    factor: Factor
    log_joint: float

    @property
    def gaps(self) -> Floats:
        """Gaps between neighbouring critical temperatures. [K]."""
        return self.effects.dense[self.problem.design.gaps]


def row_ends(problem: Problem, effects: Effects) -> tuple[Floats, Floats]:
    """Each row's two critical temperatures for given effects, without offsets; 0 where a row has no such end.

    Parameters
    ----------
    problem : Problem
    effects : Effects
        One point's, or a stack's.

    Returns
    -------
    upper, lower : ndarray, dims (..., row)
        [K]
    """
    design = problem.design
    of_cells = effects.cells + effects.selections[..., design.selection_of_cell]
    rest = (effects.plants + of_cells[..., design.cell_of_plant])[..., design.plant_of_row]
    return (
        np.where(design.low > 0, applied(design.upper, effects.dense) + rest, 0.0),
        np.where(design.high < design.worst, applied(design.lower, effects.dense) + rest, 0.0),
    )


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What third derivatives add at a mode.

    Parameters
    ----------
    plants, cells, selections : Paths
        How the effects of each level rest on independent parts.
    sums : Paths
        The same for u + c + a of each plant.
    row_pp, row_pq, row_qq : ndarray, dims (row,)
        Posterior covariances of each row's critical temperatures. [K2]
    shift : Effects
        Posterior mean minus mode, :math:`H^{-1} g`. [K]
    """

    plants: Paths
    cells: Paths
    selections: Paths
    sums: Paths
    row_pp: Floats
    row_pq: Floats
    row_qq: Floats
    shift: Effects


def find_surroundings(mode: Mode) -> Surroundings:
    """Carry the approximation at a mode to third order; see the module's formula.

    Parameters
    ----------
    mode : Mode

    Returns
    -------
    Surroundings
    """
    design, factor, terms = mode.problem.design, mode.factor, mode.terms
    plants, cells, selections, sums = effect_paths(design, factor)
    pp, pq, qq = row_variances(design, factor, sums)
    cube = 0.5 / mode.scales["sigma"] ** 3
    to_upper = cube * (terms.aaa * pp + 2.0 * terms.aab * pq + terms.abb * qq)
    to_lower = cube * (terms.aab * pp + 2.0 * terms.abb * pq + terms.bbb * qq)
    dense = design.upper.T @ to_upper + design.lower.T @ to_lower
    gap_variance = np.diag(factor.dense_covariance)[design.gaps]
    dense[design.gaps] += GAP_SHAPE / mode.gaps**3 * gap_variance - 1.0 / mode.gaps
    shift = Effects(*factor.solve(factor.tree.to_plants.of(to_upper + to_lower), dense))
    return Surroundings(plants, cells, selections, sums, pp, pq, qq, shift)


def mean_effects(mode: Mode, surroundings: Surroundings) -> Effects:
    """Posterior means at given scales: the mode and its third-order shift.

    Parameters
    ----------
    mode : Mode
    surroundings : Surroundings

    Returns
    -------
    Effects
        [K]
    """
    shift = surroundings.shift
    return replace(
        mode.effects,
        plants=mode.effects.plants + shift.plants,
        cells=mode.effects.cells + shift.cells,
        selections=mode.effects.selections + shift.selections,
        dense=mode.effects.dense + shift.dense,
    )
