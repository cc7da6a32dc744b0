"""What is true in the invented trial, and what the cold then does to its plants.

For plant p of selection s on rootstock r:  theta_k = alpha_k + a_s + b_r + c_sr + u_p  [degC], k = 1..5.
In a freeze with held temperature x (1 h, at the plant's block) new damage reaches grade k when
theta_k + sigma L > x + f, L standard logistic, f ~ N(0, tau_e^2) the freeze's own (hardening, wind), shared by all.
The state of a plant is the larger of what it carried and the new damage; summer's growth ends all but death.
"""

from __future__ import annotations

import math

import numpy as np
from register import CHECKS, PARENTS, ROOTSTOCKS, SEEDLINGS
from scipy import optimize, special
from weather import rng_of

ALPHA_C = np.array([-4.2, -6.0, -7.4, -8.7, -9.9])  # grades 1..5 of a middling selection on its own roots [degC]
TAU_A, TAU_C, TAU_U, TAU_E = 1.8, 0.3, 0.5, 0.4  # selections, combinations, plants, freezes [K]
SIGMA = 0.7  # [K]
ROOTSTOCK_C = {"own": 0.0, "P2": -0.9, "V7": 0.4}  # P2 is the hardier stock [K]
CHECK_C = {"CK-A": -1.9, "CK-B": 0.0, "CK-C": 2.0}  # [K]
SHARES = (0.9, 0.5)
DEAD = len(ALPHA_C)


def effects() -> tuple[dict[str, float], dict[tuple[str, str], float]]:
    """Give the effects of selections and of their combinations with rootstocks [K]; colder is hardier.

    A seedling has half of each parent and a part of its own: variance 1 - (known parents) / 4 of TAU_A^2 (Henderson's
    rules; a parent not named is the middling one). The parts of their own are the middles of 21 equal slices of a
    normal distribution, shuffled: a trial with the whole range. Parents from outside the trial are drawn.
    """
    rng = rng_of("truth")
    slices = special.ndtri((np.arange(len(SEEDLINGS)) + 0.5) / len(SEEDLINGS))
    own = dict(zip(SEEDLINGS, rng.permutation(slices).tolist(), strict=True))
    names = [(name, stock) for name in (*SEEDLINGS, *CHECKS) for stock in ROOTSTOCKS]
    combination = dict(zip(names, (TAU_C * rng.standard_normal(len(names))).tolist(), strict=True))
    known = {name: [parent for parent in PARENTS.get(name, ()) if parent] for name in SEEDLINGS}
    outside = sorted({parent for parents in known.values() for parent in parents} - {*SEEDLINGS, *CHECKS})
    breeding = CHECK_C | {parent: TAU_A * float(rng.standard_normal()) for parent in outside}
    for name in SEEDLINGS:  # a seedling stands after its parents in the register, and OL-20 after OL-16
        parents = known[name]
        part = TAU_A * math.sqrt(1.0 - len(parents) / 4.0) * own[name]
        breeding[name] = sum(breeding[parent] for parent in parents) / 2.0 + part
    return {name: breeding[name] for name in (*SEEDLINGS, *CHECKS)}, combination


def come_through_quantile(share: float) -> float:
    """Quantile of tau_u Z + sigma L [K]: what a floor lies above the median plant's critical temperature.

    P(tau_u Z + sigma L <= q) is the logistic function of (q - tau_u z) / sigma, averaged over z.
    """
    z, weight = np.polynomial.hermite_e.hermegauss(60)
    weight = weight / weight.sum()
    return float(optimize.brentq(lambda q: weight @ special.expit((q - TAU_U * z) / SIGMA) - share, -20.0, 20.0))


def floors(cells: list[tuple[str, str]]) -> list[dict[str, object]]:
    """List the true floors of the cells: the temperatures at which the stated shares of such plants do not die."""
    selection_c, cell_c = effects()
    rows: list[dict[str, object]] = []
    for name, stock in sorted(cells):
        critical = ALPHA_C[-1] + selection_c[name] + ROOTSTOCK_C[stock] + cell_c[name, stock]
        row: dict[str, object] = {"selection": name, "rootstock": stock}
        row |= {f"floor_{share * 100:.0f}_c": f"{critical + come_through_quantile(share):.3f}" for share in SHARES}
        row |= {
            "selection_effect_c": f"{selection_c[name]:.3f}",
            "rootstock_effect_c": f"{ROOTSTOCK_C[stock]:.3f}",
            "combination_effect_c": f"{cell_c[name, stock]:.3f}",
        }
        rows.append(row)
    return rows
