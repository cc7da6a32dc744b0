"""The tolerance posterior once more, without any approximation of its shape: draws of the prior, weighted.

Every draw of the scales and of what plants share gives the rows a probability; a plant's own effect is integrated
numerically, so a plant may have one row only. It takes many draws for a few plants, and shares no line with the
package.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

DRAWS = 400_000
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(16)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()


@dataclass(frozen=True)
class Weighted:
    """Weighted draws: critical temperatures (grade, draw), cells (cell, draw), sigma and the taus (draw,) [degC, K]."""

    weights: np.ndarray
    alpha: np.ndarray
    cells: dict[tuple[str, str], np.ndarray]
    sigma: np.ndarray
    tau_u: np.ndarray
    tau_e: np.ndarray

    def quantiles(self, values: np.ndarray, shares: tuple[float, ...] = (0.05, 0.5, 0.95)) -> np.ndarray:
        order = np.argsort(values)
        summed = np.cumsum(self.weights[order])
        return np.interp(shares, summed / summed[-1], values[order])

    def sd(self, values: np.ndarray) -> float:
        return float(np.sqrt(self.weights @ (values - self.weights @ values) ** 2))

    def probability_below_zero(self, values: np.ndarray) -> float:
        return float(self.weights[values < 0].sum())

    def floor(self, cell: tuple[str, str], survive: float = 0.9, to_come: bool = False) -> np.ndarray:
        """Draws of a cell's floor at the last grade; ``to_come`` adds the spread of freezes, as claimable does."""
        ratio = (np.hypot(self.tau_u, self.tau_e) if to_come else self.tau_u) / self.sigma
        steps = np.concatenate(([0.0], np.geomspace(1e-3, ratio.max() + 1e-3, 200)))
        return self.alpha[-1] + self.cells[cell] + self.sigma * np.interp(ratio, steps, _quantile(survive, steps))


def _quantile(share: float, ratio: np.ndarray) -> np.ndarray:
    """Quantile, for a share above one half, of ratio Z + L: Z normal, L logistic; by halving."""
    low, high = np.zeros_like(ratio), 12.0 * (ratio + 3.0)
    for _ in range(50):
        middle = (low + high) / 2.0
        short = _WEIGHTS @ _logistic(middle - ratio * _NODES[:, None]) < share
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return middle


def weigh_prior(rows: pd.DataFrame, grades: int, *, span_c: float = 6.0, seed: int = 1, draws: int = DRAWS) -> Weighted:
    """Weigh draws of the default priors by the rows of a small trial: a row per plant, sensors not told apart."""
    assert not rows["plant"].duplicated().any()
    rng = np.random.default_rng(seed)

    def normal(*shape: int) -> np.ndarray:
        return rng.standard_normal((*shape, draws))

    sigma = 0.8 * np.exp(0.7 * normal())
    tau_a, tau_b, tau_c, tau_u, tau_e = (scale * np.abs(normal()) for scale in (2.0, 1.0, 0.7, 1.0, 1.0))
    worst = grades - 1
    gaps = rng.gamma(2.0, span_c / max(worst - 1, 1) / 2.0, (worst - 1, draws))
    fallen = np.concatenate([np.zeros((1, draws)), np.cumsum(gaps, axis=0)])
    alpha = rows["exposure_c"].max() + 6.0 * normal() - fallen
    a = {name: tau_a * normal() for name in sorted(set(rows["selection"]))}
    b = {name: tau_b * normal() for name in sorted(set(rows["rootstock"]))}
    pairs = sorted(set(zip(rows["selection"], rows["rootstock"], strict=True)))
    cells = {(s, r): a[s] + b[r] + tau_c * normal() for s, r in pairs}
    sds = rows.groupby("freeze")["exposure_sd_c"].first()
    e = {freeze: np.hypot(sd, tau_e) * normal() for freeze, sd in sds.items()}
    low = rows["grade_low"] if "grade_low" in rows else rows["grade"]
    counted = rows.assign(low=low).groupby(["selection", "rootstock", "freeze", "exposure_c", "low", "grade"]).size()
    log_weights = np.zeros(draws)
    for (selection, rootstock, freeze, exposure, least, most), plants in counted.items():
        middle = cells[selection, rootstock] - exposure - e[freeze]

        def reached(grade: int, node: float, middle: np.ndarray = middle) -> np.ndarray | float:
            if grade in (0, grades):
                return float(grade == 0)
            return _logistic((alpha[grade - 1] + middle + tau_u * node) / sigma)

        share = _mean_over_plants(lambda node, k=least, h=most: reached(k, node) - reached(h + 1, node))
        log_weights += plants * np.log(np.maximum(share, 1e-300))
    weights = np.exp(log_weights - log_weights.max())
    return Weighted(weights / weights.sum(), alpha, cells, sigma, tau_u, tau_e)


def _mean_over_plants(share) -> np.ndarray:
    return sum(weight * share(node) for node, weight in zip(_NODES, _WEIGHTS, strict=True))


def _logistic(z: np.ndarray) -> np.ndarray:
    return 1.0 / (1.0 + np.exp(-np.clip(z, -700.0, 700.0)))
