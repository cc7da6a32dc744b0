"""The trials of the coverage study: eight kinds, each trial drawn from its own seed, with the true floors known.

The first kind is drawn from the model's own priors; a correct 90 % interval covers 90 % of those. The others hold the
truth fixed at plausible values, or break what the model supposes.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from tests.simulate import simulate_observations

GRADES = 6
LAST = GRADES - 1
SPAN_C = 6.0  # the distance the gaps' prior expects from the first grade to the last [K]
SEED = 20_031
EARLY_SHARE = 0.3  # of the last freeze's scores in "carried": taken in the first days, with no later score
UNSEEN_SHARE = 0.4  # of the early scores: the last grade of the damage did not show yet
PROTECTED_SHARE = 0.15
TWO_STOCKS = ("own", "P2")


@dataclass(frozen=True)
class Trial:
    """One simulated trial.

    `truth` has columns selection, rootstock, floor_c and claimable_c [degC]; `scales` the true sigma and taus [K].
    """

    observations: pd.DataFrame
    truth: pd.DataFrame
    scales: Mapping[str, float]

    @property
    def fitted_rows(self) -> pd.DataFrame:
        """Rows that a fit may use: those of plants that stood open."""
        return self.observations[self.observations["protected"] == ""].reset_index(drop=True)

    @property
    def fingerprint(self) -> str:
        """Changes with any exposure or grade: two runs speak of the same trial only where it agrees."""
        columns = ["plant", "freeze", "exposure_c", "grade", "grade_low", "protected"]
        text = self.observations[columns].to_csv(index=False, float_format="%.3f")
        return hashlib.sha256(text.encode()).hexdigest()[:16]


@dataclass(frozen=True)
class Scenario:
    """A kind of trial: what it is in a few words, its size, and how one is drawn."""

    number: int  # part of the seed
    words: str
    plants: int
    freezes: int
    sensors: int
    draw: Callable[[np.random.Generator], Trial]

    def trial(self, index: int) -> Trial:
        """Trial `index` of this kind; the same every time."""
        return self.draw(np.random.default_rng([SEED, self.number, index]))


TYPICAL = {"tau_a": 1.5, "tau_b": 0.6, "tau_c": 0.3, "tau_u": 0.5, "tau_e": 0.4, "sigma": 0.8}


def _simulate(rng: np.random.Generator, scales: Mapping[str, float], **options: object) -> Trial:
    observations, truth = simulate_observations(rng, K=LAST, **options, **scales)  # type: ignore[arg-type]
    if options.get("sensors", 1) == 1:  # as a grower with one logger has it; the model is the same
        observations = observations.drop(columns=["sensor", "event", "sensor_sd_c"])
    return Trial(observations, truth[["selection", "rootstock", "floor_c", "claimable_c"]], dict(scales))


def own_priors(rng: np.random.Generator, selections: int = 16) -> Trial:
    """Everything from the priors of the model.

    The prior of the first critical temperature is centred on the warmest exposure met: so the exposures are drawn
    first, the warmest freeze is put first (every plant meets it), and alpha_1 is drawn around it.
    """
    spells = np.sort(rng.uniform(-11.0, -4.0, 5))[::-1].round(3)
    spells[1:] = rng.permutation(spells[1:])
    alpha_1 = spells[0] + 6.0 * rng.standard_normal()
    gaps = rng.gamma(2.0, SPAN_C / (LAST - 1) / 2.0, LAST - 1)
    priors = {"tau_a": 2.0, "tau_b": 1.0, "tau_c": 0.7, "tau_u": 1.0, "tau_e": 1.0}
    scales = {name: scale * abs(float(rng.standard_normal())) for name, scale in priors.items()}
    scales["sigma"] = 0.8 * float(np.exp(0.7 * rng.standard_normal()))
    alpha = alpha_1 - np.concatenate(([0.0], np.cumsum(gaps)))
    return _simulate(
        rng, scales, selections=selections, plants_per_cell=1, freezes=spells.tolist(), alpha=alpha.tolist()
    )


def _typical(rng: np.random.Generator) -> Trial:
    return _simulate(rng, TYPICAL, selections=24, plants_per_cell=3, freezes=6)


def sparse(rng: np.random.Generator, selections: int = 16) -> Trial:
    """One plant a cell, three freezes."""
    return _simulate(rng, TYPICAL, selections=selections, plants_per_cell=1, freezes=3)


def _mild(rng: np.random.Generator) -> Trial:
    """Nothing colder than -8: the typical plant dies at -10."""
    return _simulate(rng, TYPICAL, selections=20, plants_per_cell=2, freezes=rng.uniform(-8.0, -4.0, 5).tolist())


def _other_link(link: str) -> Callable[[np.random.Generator], Trial]:
    def draw(rng: np.random.Generator) -> Trial:
        return _simulate(
            rng, TYPICAL, selections=30, plants_per_cell=2, freezes=5, rootstocks=("own",), link=link, selection_df=3.0
        )

    return draw


def _carried(rng: np.random.Generator) -> Trial:
    """Damage carried over, early scores, protected plants, three sensors with a bias each.

    A quarter of the scores come too early to close their window, which falls into the next one. After the last freeze
    the early ones are all there is: provisional, and some show a grade less than there will be. Protected rows are
    known to the fit as such; their plants go on, or are dead, like the others.
    """
    trial = _simulate(
        rng, TYPICAL, selections=24, plants_per_cell=2, freezes=8, sensors=3, sensor_sd=0.4, scored=0.75, near=(1, 1, 2)
    )
    rows = trial.observations.sort_values(["plant", "scored_on"], kind="stable").reset_index(drop=True)
    standing = rows.groupby(["plant", "winter"])["grade"].shift(1, fill_value=0)
    last = rows["scored_on"] == rows["scored_on"].max()
    early = last & (rng.random(len(rows)) < EARLY_SHARE)
    unseen = early & (rows["grade"] > standing) & (rng.random(len(rows)) < UNSEEN_SHARE)
    grade = rows["grade"] - unseen
    rows = rows.assign(
        grade=grade,
        grade_low=grade.where(grade > standing, 0),
        provisional=early,
        protected=np.where(rng.random(len(rows)) < PROTECTED_SHARE, "cover", ""),
    )
    return Trial(rows, trial.truth, trial.scales)


def _wide(rng: np.random.Generator) -> Trial:
    return _simulate(rng, TYPICAL, selections=60, plants_per_cell=1, freezes=5)


SCENARIOS: dict[str, Scenario] = {
    "own priors": Scenario(1, "truth from the model's own priors, 16 selections", 32, 5, 1, own_priors),
    "typical": Scenario(2, "24 selections, 3 plants a cell, 6 freezes", 144, 6, 1, _typical),
    "sparse": Scenario(3, "16 selections, 1 plant a cell, 3 freezes", 32, 3, 1, sparse),
    "mild": Scenario(4, "20 selections, nothing below -8 degC: few deaths", 80, 5, 1, _mild),
    "probit": Scenario(5, "probit plants, t3 selections, 30 selections", 60, 5, 1, _other_link("probit")),
    "gumbel": Scenario(6, "Gumbel plants, t3 selections, 30 selections", 60, 5, 1, _other_link("gumbel")),
    "carried": Scenario(7, "carried damage, early scores, protection, 3 sensors", 96, 8, 3, _carried),
    "wide": Scenario(8, "60 selections, 1 plant a cell, 5 freezes", 120, 5, 1, _wide),
}
