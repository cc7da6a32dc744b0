r"""A sampler for trials that importance draws cannot carry: annealed importance sampling with Hamiltonian moves.

Each draw starts from its node's Gaussian and is led to the posterior through

.. math:: \log f_\beta(z) = -\tfrac12 z'z + \beta\, m(z), \qquad 0 = \beta_0 < \dots < \beta_T = 1

m what the Gaussian misses (:mod:`hardiness.tolerance.whitening`). At each step its log weight grows by
:math:`(\beta_{t+1} - \beta_t)\, m(z)`, then a Hamiltonian trajectory with the analytic gradient moves it and keeps
:math:`f_\beta`. The weights stay exact, and their spread falls as 1/T (Neal 2001, doi:10.1023/A:1008923215028).
In the whitened coordinates the posterior is nearly round, so one step size serves all effects.
"""

from __future__ import annotations

import numpy as np

from hardiness.tolerance.importance import NodeDraws, Noise, node_draws
from hardiness.tolerance.latent import Effects
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.whitening import Whitening

DRAWS = 8  # for each node, unless asked for more
LEAPS = 4
IMPOSSIBLE = -1e9  # logarithm of a density where a gap is not above 0
REACH = 1.5  # length of a trajectory; half a period of a round posterior is pi / 2


def anneal_node(whitening: Whitening, noise: Noise, node: int, *, steps: int, count: int = DRAWS) -> NodeDraws:
    """Draw and weigh effects around a node by annealing.

    Parameters
    ----------
    whitening : Whitening
    noise : Noise
    node : int
        Its place in the sequence of nodes.
    steps : int
        Temperatures.
    count : int
        Draws, an even number.

    Returns
    -------
    NodeDraws
        One draw to a weight.
    """
    normals, rng = noise.draw(node, count, attempt=1)
    z = _stacked(normals)
    sizes = np.cumsum([part.shape[0] for part in _parts(normals)])[:-1]
    size = REACH / LEAPS * min(1.0, (200.0 / z.shape[0]) ** 0.25)
    missed, x = _missed(whitening, z, sizes)
    weights = missed / steps
    # A trajectory may run off where the density is 0; what overflows there is not taken.
    with np.errstate(over="ignore", invalid="ignore"):
        for step in range(1, steps):
            share = step / steps
            momentum = rng.standard_normal(z.shape)
            moved, speed = z, momentum - 0.5 * size * _slope(whitening, z, x, sizes, share)
            for leap in range(LEAPS):
                moved = moved + size * speed
                new_missed, new_x = _missed(whitening, moved, sizes)
                speed = speed - (0.5 if leap == LEAPS - 1 else 1.0) * size * _slope(
                    whitening, moved, new_x, sizes, share
                )
            before = share * missed - 0.5 * np.sum(z**2 + momentum**2, axis=0)
            after = share * new_missed - 0.5 * np.sum(moved**2 + speed**2, axis=0)
            taken = np.log(rng.random(z.shape[1])) < after - before
            z = np.where(taken, moved, z)
            missed = np.where(taken, new_missed, missed)
            x = Effects(*(np.where(taken, new, old) for new, old in zip(_parts(new_x), _parts(x), strict=True)))
            weights = weights + missed / steps
    return node_draws(whitening.mode.problem.design, whitening, x, weights)


def _missed(whitening: Whitening, z: Floats, sizes: Floats) -> tuple[Floats, Effects]:
    normals = _split(z, sizes)
    x = whitening.effects(normals)
    own, shared = whitening.missed(normals, x)
    return np.maximum(np.nan_to_num(own.sum(axis=0) + shared, nan=-np.inf), IMPOSSIBLE), x


def _slope(whitening: Whitening, z: Floats, x: Effects, sizes: Floats, share: float) -> Floats:
    """Gradient of -log f."""
    return z - share * _stacked(whitening.gradient(_split(z, sizes), x))


def _parts(effects: Effects) -> tuple[Floats, Floats, Floats, Floats]:
    return effects.plants, effects.cells, effects.selections, effects.dense


def _stacked(effects: Effects) -> Floats:
    return np.concatenate(_parts(effects))


def _split(z: Floats, sizes: Floats) -> Effects:
    return Effects(*np.split(z, sizes))
