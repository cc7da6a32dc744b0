"""What the winters did to the plants: the true freezes of each block, and each plant's state after each of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from register import BLOCKS, Plant
from truth import ALPHA_C, DEAD, ROOTSTOCK_C, SIGMA, TAU_E, TAU_U, effects
from weather import Hillside, rng_of

from hardiness.weather.exposure import freezes_of

COVER_C = 2.5  # a plant under cover meets that much less cold [K]
POT_C = 1.5  # roots in a pot freeze first: a potted plant is that much more tender [K]


@dataclass(frozen=True)
class TrueFreeze:
    """One freeze at one block, from the air itself: its span, the temperature held for an hour, its own harshness."""

    block: str
    starts: pd.Timestamp
    ends: pd.Timestamp
    held_c: float
    harshness_c: float


def true_freezes(winter: str, side: Hillside) -> list[TrueFreeze]:
    """Find the freezes of every block; those that overlap are one event and share its harshness."""
    rng = rng_of("events", winter)
    spans = []
    for block in BLOCKS:
        table = freezes_of(side.times, side.temperature_c[block])
        spans += [(row.starts, row.ends, block, float(row.held_1h_c)) for row in table.itertuples()]
    spans.sort()
    freezes: list[TrueFreeze] = []
    until, harshness = None, 0.0
    for starts, ends, block, held in spans:
        if until is None or starts > until:
            harshness = TAU_E * float(rng.standard_normal())
        until = ends if until is None else max(until, ends)
        freezes.append(TrueFreeze(block, starts, ends, held, harshness))
    return freezes


def states_after(
    plant: Plant, winter: str, freezes: list[TrueFreeze], covered: pd.Timestamp | None
) -> list[tuple[pd.Timestamp, int]]:
    """Give the plant's state after each freeze of the winter that it met: (end of the freeze, grade), in order.

    A plant starts the winter unharmed, or dead as it was; the state is the larger of what it carries and the new
    damage. `covered` names a moment; the freeze around it was met under cover.
    """
    if plant.died_on is not None:
        return [(plant.died_on, DEAD)]
    selection_c, combination_c = effects()
    theta = ALPHA_C + selection_c[plant.selection] + ROOTSTOCK_C[plant.rootstock]
    theta = theta + combination_c[plant.selection, plant.rootstock]
    theta = theta + TAU_U * rng_of("plant", plant.plant).standard_normal() + POT_C * (plant.grown_in == "container")
    luck = rng_of("damage", winter, plant.plant)
    state, states = 0, []
    for freeze in freezes:
        noise = SIGMA * float(luck.logistic())
        if freeze.block != plant.block or (plant.planted_on and freeze.starts.date() < plant.planted_on):
            continue
        under_cover = covered is not None and freeze.starts <= covered <= freeze.ends
        met = freeze.held_c + freeze.harshness_c + COVER_C * under_cover
        state = max(state, int(np.sum(theta + noise > met)))
        states.append((freeze.ends, state))
        if state == DEAD:
            break
    return states
