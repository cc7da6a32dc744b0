"""Draw trials from the tolerance model, with the floors known: the tests' own truth.

    theta_k = alpha_k + a_s + b_r + c_sr + u_p          new damage >= k  when  theta_k + sigma (L + log near) > x + e
    e = d_sensor + f_event + r                          x is the exposure as recorded

L follows the link (logistic, unless another is asked for to see how the fit bears being wrong).
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy import optimize, stats

_LOGISTIC_SD = np.pi / np.sqrt(3)  # sd of the standard logistic
_EULER = 0.5772156649015329  # mean of the standard Gumbel
LINKS = {  # all with the variance of the standard logistic and mean 0, so that sigma means the same
    "logit": stats.logistic(),
    "probit": stats.norm(scale=_LOGISTIC_SD),
    "gumbel": stats.gumbel_r(loc=-_EULER * np.sqrt(2), scale=np.sqrt(2)),
}


def spread_quantile(share: float, normal_sd: float, sigma: float, link: str = "logit") -> float:
    """Quantile of normal_sd Z + sigma L [K], by integrating L's distribution function over Z."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(80)
    weights = weights / weights.sum()
    wide = 12.0 * (normal_sd + 3.0 * sigma)
    return float(
        optimize.brentq(lambda x: weights @ LINKS[link].cdf((x - normal_sd * nodes) / sigma) - share, -wide, wide)
    )


def simulate_observations(
    rng: np.random.Generator,
    *,
    selections: int | Sequence[str] = 12,
    rootstocks: Sequence[str] = ("own", "P2"),
    plants_per_cell: int = 3,
    freezes: int | Sequence[float] = 6,  # how many cold spells, or the temperature of each [degC]
    K: int = 5,  # noqa: N803  (the model's own symbol)
    alpha: Sequence[float] | None = None,  # alpha_1 > ... > alpha_K [degC]
    alpha_1: float = -4.0,
    span_c: float = 6.0,
    tau_a: float = 1.5,
    tau_b: float = 0.6,
    tau_c: float = 0.3,
    tau_u: float = 0.5,
    tau_e: float = 0.4,
    sigma: float = 0.8,
    exposure_sd: float = 0.6,  # sd of e apart from tau_e; the sensor's share of it is sensor_sd [K]
    sensor_sd: float = 0.0,
    sensors: int = 1,  # plants are dealt out to them; each meets every event with its own temperature
    sensor_spread: float = 1.5,  # sd of the differences between the sensors' places [K]
    freezes_per_winter: int = 2,
    carry: bool = True,  # damage stands until summer: grade = max(standing, new)
    scored: float = 1.0,  # share of plants scored after a freeze; an unscored freeze falls into the next window
    near: Sequence[int] = (1,),  # drawn from for each freeze
    shift: np.ndarray | None = None,  # added to theta, dims (plant, freeze): winters, observers, covariates [K]
    selection_df: float | None = None,  # a_s from Student's t with the same sd: heavy tails
    relationship: np.ndarray | None = None,  # covariance of a_s in units of tau_a^2, dims (selection, selection)
    link: str = "logit",
    survive: float = 0.9,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Simulate one trial; return its observations (all columns) and the truth (a row per selection and rootstock).

    Truth columns: selection, rootstock, alpha_c (theta of the last grade for a typical plant), floor_c and
    claimable_c (true floors at `survive`, in a typical freeze and over freezes to come) and one theta_<k>_c per grade.
    """
    names = [f"S-{i:02d}" for i in range(1, selections + 1)] if isinstance(selections, int) else list(selections)
    theta_grades = np.linspace(alpha_1, alpha_1 - span_c, K) if alpha is None else np.asarray(alpha, float)
    if len(theta_grades) != K or not (np.diff(theta_grades) < 0).all():
        raise ValueError(f"found alpha {theta_grades}; accepted: {K} falling temperatures.")
    if exposure_sd < sensor_sd:
        raise ValueError("exposure_sd includes sensor_sd and cannot be below it.")
    spells = rng.uniform(alpha_1 - span_c - 1.0, alpha_1 + 1.0, freezes) if isinstance(freezes, int) else freezes
    spells = np.asarray(spells, float)

    shape = (len(names), len(rootstocks))
    if relationship is not None:
        a = tau_a * np.linalg.cholesky(relationship) @ rng.standard_normal(len(names))
    elif selection_df is None:
        a = tau_a * rng.standard_normal(len(names))
    else:
        a = tau_a * np.sqrt((selection_df - 2) / selection_df) * rng.standard_t(selection_df, len(names))
    cell = a[:, None] + tau_b * rng.standard_normal(shape[1]) + tau_c * rng.standard_normal(shape)
    selection_of, rootstock_of = (index.repeat(plants_per_cell) for index in np.indices(shape).reshape(2, -1))
    moved = cell[selection_of, rootstock_of] + tau_u * rng.standard_normal(selection_of.size)
    theta = moved[:, None] + theta_grades  # (plant, grade)
    sensor_of = rng.permutation(np.arange(selection_of.size) % sensors)

    place = sensor_spread * rng.standard_normal(sensors) if sensors > 1 else np.zeros(1)
    d = sensor_sd * rng.standard_normal(sensors)
    exposed = np.full((selection_of.size, len(spells)), np.inf)  # since the plant's last scored window [degC]
    times = rng.choice(np.asarray(near), size=len(spells))
    state = np.zeros(selection_of.size, dtype=int)
    standing = state.copy()  # as last scored this winter
    found_dead = np.zeros(selection_of.size, dtype=bool)
    days: list[datetime.date] = []
    tables = []
    for spell, coldest in enumerate(spells):
        winter, nth = divmod(spell, freezes_per_winter)
        if nth == 0 or not carry:
            state[state < K], standing[:] = 0, 0
        days.append(datetime.date(2001 + winter, 12, 1) + datetime.timedelta(days=nth * 120 // freezes_per_winter))
        x = np.round(coldest + place + (0.3 * rng.standard_normal(sensors) if sensors > 1 else 0.0), 3)
        exposed[:, spell] = x[sensor_of]
        r = np.sqrt(exposure_sd**2 - sensor_sd**2) * rng.standard_normal(sensors)
        e = d + tau_e * rng.standard_normal() + r
        noise = sigma * (LINKS[link].rvs(size=state.size, random_state=rng) + np.log(times[spell]))
        now = theta + noise[:, None] + (0.0 if shift is None else shift[:, spell][:, None])
        state = np.maximum(state, (now > (x + e)[sensor_of][:, None]).sum(axis=1))
        rows = np.flatnonzero(~found_dead & (rng.random(state.size) < scored))
        window = exposed[rows]
        worst = window.argmin(axis=1)
        close = window <= window.min(axis=1, keepdims=True) + 1.0
        tables.append(
            pd.DataFrame(
                {
                    "plant": [f"T{i:04d}" for i in rows],
                    "selection": [names[i] for i in selection_of[rows]],
                    "rootstock": [rootstocks[i] for i in rootstock_of[rows]],
                    "freeze": [f"{days[j]} L{i + 1}" for i, j in zip(sensor_of[rows], worst, strict=True)],
                    "event": [str(days[j]) for j in worst],
                    "sensor": [f"L{i + 1}" for i in sensor_of[rows]],
                    "winter": [f"{2001 + j // freezes_per_winter}-{2 + j // freezes_per_winter:02d}" for j in worst],
                    "exposure_c": window.min(axis=1),
                    "exposure_sd_c": exposure_sd,
                    "sensor_sd_c": sensor_sd,
                    "grade": state[rows],
                    "grade_low": np.where(state[rows] > standing[rows], state[rows], 0),
                    "near": (close * times).sum(axis=1),
                    "protected": "",
                    "scored_on": days[-1] + datetime.timedelta(days=14),
                    "freezes": (np.isfinite(window) * times).sum(axis=1),
                    "provisional": False,
                }
            )
        )
        exposed[rows] = np.inf
        standing[rows] = state[rows]
        found_dead[rows] = state[rows] == K
    truth = pd.DataFrame(
        {
            "selection": np.repeat(names, shape[1]),
            "rootstock": list(rootstocks) * shape[0],
            "alpha_c": (theta_grades[-1] + cell).ravel(),
        }
    )
    truth["floor_c"] = truth["alpha_c"] + spread_quantile(survive, tau_u, sigma, link)
    truth["claimable_c"] = truth["alpha_c"] + spread_quantile(survive, float(np.hypot(tau_u, tau_e)), sigma, link)
    for k in range(1, K + 1):
        truth[f"theta_{k}_c"] = (theta_grades[k - 1] + cell).ravel()
    return pd.concat(tables, ignore_index=True), truth
