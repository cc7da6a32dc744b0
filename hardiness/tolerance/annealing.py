r"""A sampler for trials that importance draws cannot carry: annealed importance sampling with Hamiltonian moves.

Each draw starts from its node's Gaussian and is led to the posterior through

.. math:: \log f_\beta(z) = -\tfrac12 z'z + \beta\, m(z), \qquad 0 = \beta_0 < \dots < \beta_T = 1

m what the Gaussian misses (:mod:`hardiness.tolerance.whitening`). At each step its log weight grows by
:math:`(\beta_{t+1} - \beta_t)\, m(z)`, then a Hamiltonian trajectory with the analytic gradient moves it and keeps
:math:`f_\beta`. The weights stay exact, and their spread falls as 1/T (Neal 2001, doi:10.1023/A:1008923215028).
In the whitened coordinates the posterior is nearly round, so one step size serves all effects. Nodes are led there in
stacks, the stack's axis first: in trials of a few plants Python's own time for each step is longer than the arithmetic.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from hardiness.tolerance.importance import NodeDraws, Noise, node_draws
from hardiness.tolerance.latent import Effects
from hardiness.tolerance.likelihood import Floats
from hardiness.tolerance.whitening import Whitening

DRAWS = 8  # for each node, unless asked for more
LEAPS = 4
IMPOSSIBLE = -1e9  # logarithm of a density where a gap is not above 0
REACH = 1.5  # length of a trajectory; half a period of a round posterior is pi / 2
STACK_VALUES = 60_000  # effects x draws of the nodes led together: more no longer fit the processor's cache


def anneal_nodes(
    whitenings: Sequence[Whitening], noise: Noise, nodes: Sequence[int], *, steps: int, count: int = DRAWS
) -> list[NodeDraws]:
    """Draw and weigh effects around nodes by annealing; each node's draws are the same whatever others stand beside it.

    Parameters
    ----------
    whitenings : sequence of Whitening
        At each node, of one design.
    noise : Noise
    nodes : sequence of int
        Their places in the sequence of nodes.
    steps : int
        Temperatures.
    count : int
        Draws of each node, an even number.

    Returns
    -------
    list of NodeDraws
        One draw to a weight.
    """
    design = whitenings[0].problem.design
    if not isinstance(design.upper, np.ndarray):  # sparse matrices do not stand in stacks
        return [
            node_draws(design, white.mean, *_anneal(white, noise, [node], steps, count))
            for white, node in zip(whitenings, nodes, strict=True)
        ]
    found = []
    size = max(1, STACK_VALUES // (count * sum(part.size for part in whitenings[0].mean.parts)))
    for first in range(0, len(nodes), size):
        points = whitenings[first : first + size]
        x, missed = _anneal(Whitening.stacked(points), noise, nodes[first : first + size], steps, count)
        found += [node_draws(design, white.mean, x.of(place), missed[place]) for place, white in enumerate(points)]
    return found


def _anneal(whitening: Whitening, noise: Noise, nodes: Sequence[int], steps: int, count: int) -> tuple[Effects, Floats]:
    """Effects, dims (..., effect, draw) [K], and the logarithms of their weights, dims (..., draw)."""
    normals, rngs = zip(*(noise.draw(node, count, attempt=1) for node in nodes), strict=True)
    z = _joined(normals[0] if whitening.sigma.ndim == 0 else Effects.stacked(normals))
    size = REACH / LEAPS * min(1.0, (200.0 / z.shape[-2]) ** 0.25)
    x = whitening.effects(_parted(z, whitening))
    missed = _missed(whitening, z, x)
    weights = missed / steps
    # A trajectory may run off where the density is 0; what overflows there is not taken.
    with np.errstate(over="ignore", invalid="ignore"):
        for step in range(1, steps):
            share = step / steps
            momentum = np.array([rng.standard_normal(z.shape[-2:]) for rng in rngs]).reshape(z.shape)
            moved, moved_x = z, x
            speed = momentum - 0.5 * size * _slope(whitening, z, x, share)
            for leap in range(LEAPS):
                moved = moved + size * speed
                moved_x = whitening.effects(_parted(moved, whitening))
                last = 0.5 if leap == LEAPS - 1 else 1.0
                speed = speed - last * size * _slope(whitening, moved, moved_x, share)
            new_missed = _missed(whitening, moved, moved_x)
            before = share * missed - 0.5 * np.sum(z**2 + momentum**2, axis=-2)
            after = share * new_missed - 0.5 * np.sum(moved**2 + speed**2, axis=-2)
            lots = np.array([rng.random(count) for rng in rngs]).reshape(missed.shape)
            taken = np.log(lots) < after - before
            missed = np.where(taken, new_missed, missed)
            z = np.where(taken[..., None, :], moved, z)
            pairs = zip(moved_x.parts, x.parts, strict=True)
            x = Effects(*(np.where(taken[..., None, :], new, old) for new, old in pairs))
            weights = weights + missed / steps
    return x, weights


def _missed(whitening: Whitening, z: Floats, x: Effects) -> Floats:
    own, shared = whitening.missed(_parted(z, whitening), x)
    return np.asarray(np.maximum(np.nan_to_num(own.sum(axis=-2) + shared, nan=-np.inf), IMPOSSIBLE))


def _slope(whitening: Whitening, z: Floats, x: Effects, share: float) -> Floats:
    """Gradient of -log f."""
    return z - share * _joined(whitening.gradient(_parted(z, whitening), x))


def _joined(effects: Effects) -> Floats:
    return np.concatenate(effects.parts, axis=-2)


def _parted(z: Floats, whitening: Whitening) -> Effects:
    ends = np.cumsum([0, *(part.shape[-1] for part in whitening.mean.parts)]).tolist()
    return Effects(*(z[..., first:last, :] for first, last in pairwise(ends)))
