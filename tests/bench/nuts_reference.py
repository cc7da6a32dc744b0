"""Reference posterior by a general-purpose sampler: the same model written for numpyro's NUTS.

Run by hand in an environment with numpyro (it is no dependency of the project); the tests read the numbers it wrote:

    python -m venv nuts && nuts/bin/pip install numpyro pandas scipy
    nuts/bin/python tests/bench/nuts_reference.py OBSERVATIONS.csv REFERENCE.json [DRAWS]

The versions, the settings, effective sample sizes and R-hat stand in the JSON file.
"""

import json
import sys
import time
from importlib.metadata import version

import jax
import jax.numpy as jnp
import numpy as np
import numpyro
import numpyro.distributions as dist
import pandas as pd
from numpyro.diagnostics import summary
from numpyro.infer import MCMC, NUTS
from scipy import optimize, stats

numpyro.enable_x64()
numpyro.set_host_device_count(2)
CHAINS, WARMUP, DRAWS, SEED = 4, 1500, 4000, 20011


def model(data, K, gap_mean, sizes=None):
    """The tolerance model; `sizes` (by key s, r, c, p, event) are read off the data unless given."""
    n_s, n_r, n_c, n_p = (sizes[k] if sizes else int(data[k].max()) + 1 for k in ("s", "r", "c", "p"))
    alpha_1 = numpyro.sample("alpha_1", dist.Normal(data["warmest"], 6.0))
    gaps = numpyro.sample("gaps", dist.Gamma(2.0, 2.0 / gap_mean).expand([K - 1]))
    alpha = alpha_1 - jnp.concatenate([jnp.zeros(1), jnp.cumsum(gaps)])
    sigma = jnp.exp(numpyro.sample("log_sigma", dist.Normal(jnp.log(0.8), 0.7)))
    tau = {
        n: numpyro.sample(f"tau_{n}", dist.HalfNormal(s))
        for n, s in (("a", 2.0), ("b", 1.0), ("c", 0.7), ("u", 1.0), ("e", 1.0))
    }
    z = {
        n: numpyro.sample(f"z_{n}", dist.Normal(0, 1).expand([k]))
        for n, k in (("a", n_s), ("b", n_r), ("c", n_c), ("u", n_p))
    }
    own = tau["a"] * z["a"][data["s"]] + tau["b"] * z["b"][data["r"]] + tau["c"] * z["c"][data["c"]]
    if "sensor" in data:
        d = data["sensor_sd"] * numpyro.sample("z_d", dist.Normal(0, 1).expand([len(data["sensor_sd"])]))
        n_event = sizes["event"] if sizes else int(data["event"].max()) + 1
        f = tau["e"] * numpyro.sample("z_f", dist.Normal(0, 1).expand([n_event]))
        r = data["rest_sd"] * numpyro.sample("z_r", dist.Normal(0, 1).expand([len(data["rest_sd"])]))
        e = d[data["sensor"]] + f[data["event"]] + r[data["j"]]
    else:
        sd = jnp.sqrt(data["freeze_sd"] ** 2 + tau["e"] ** 2)
        e = (sd * numpyro.sample("z_e", dist.Normal(0, 1).expand([len(data["freeze_sd"])])))[data["j"]]
    theta = own + tau["u"] * z["u"][data["p"]] - data["x"] - e
    padded = jnp.concatenate([jnp.array([jnp.inf]), alpha, jnp.array([-jnp.inf])])
    low = jnp.where(data["low"] > 0, padded[jnp.maximum(data["low"], 1)], 0.0)
    high = jnp.where(data["high"] < K, padded[jnp.minimum(data["high"] + 1, K)], -1.0)
    A = (low + theta) / sigma + data["near"]
    B = (high + theta) / sigma + data["near"]
    two = (data["low"] > 0) & (data["high"] < K)
    gap = jnp.where(two, A - B, 1.0)
    ll = jnp.where(two, jnp.log(-jnp.expm1(-gap)), 0.0)
    ll += jnp.where(data["low"] > 0, -jnp.logaddexp(0.0, -A), 0.0)
    ll += jnp.where(data["high"] < K, -jnp.logaddexp(0.0, B), 0.0)
    numpyro.factor("rows", ll.sum())


def read(path, grades):
    t = pd.read_csv(
        path, dtype={"plant": str, "selection": str, "rootstock": str, "freeze": str}, keep_default_na=False
    )
    t["cell"] = t["selection"] + "\x1f" + t["rootstock"]
    codes = {
        k: pd.factorize(t[c], sort=True)
        for k, c in (("s", "selection"), ("r", "rootstock"), ("c", "cell"), ("p", "plant"), ("j", "freeze"))
    }
    data = {k: v[0] for k, v in codes.items()}
    data |= {
        "x": t["exposure_c"].to_numpy(float),
        "near": np.log(t["near"].to_numpy(float)),
        "warmest": t["exposure_c"].max(),
        "low": t["grade_low"].to_numpy(int),
        "high": t["grade"].to_numpy(int),
    }
    sd = t.groupby("freeze")["exposure_sd_c"].first().to_numpy(float)
    if {"sensor", "event", "sensor_sd_c"} <= set(t.columns):
        data["sensor"], data["event"] = pd.factorize(t["sensor"], sort=True)[0], pd.factorize(t["event"], sort=True)[0]
        data["sensor_sd"] = t.groupby("sensor")["sensor_sd_c"].first().to_numpy(float)
        data["rest_sd"] = np.sqrt(sd**2 - t.groupby("freeze")["sensor_sd_c"].first().to_numpy(float) ** 2)
    else:
        data["freeze_sd"] = sd
    return t, data, codes["c"][1]


def spread_quantile(share, tau, sigma):
    nodes, weights = np.polynomial.hermite_e.hermegauss(120)
    weights = weights / weights.sum()
    return optimize.brentq(lambda x: weights @ stats.logistic.cdf((x - tau * nodes) / sigma) - share, -60, 60)


def main(path, out, draws_a_chain=DRAWS, grades=6, span=6.0):
    table, data, cells = read(path, grades)
    K = grades - 1
    mcmc = MCMC(
        NUTS(model, target_accept_prob=0.95, max_tree_depth=10),
        num_warmup=WARMUP,
        num_samples=int(draws_a_chain),
        num_chains=CHAINS,
        chain_method="parallel" if jax.local_device_count() > 1 else "vectorized",
        progress_bar=False,
    )
    began = time.time()
    mcmc.run(jax.random.PRNGKey(SEED), data, K, span / (K - 1))
    draws = {k: np.asarray(v) for k, v in mcmc.get_samples().items()}
    seconds = time.time() - began
    diag = summary({k: v for k, v in mcmc.get_samples(group_by_chain=True).items() if not k.startswith("z_")})
    ess = min(float(np.min(v["n_eff"])) for v in diag.values())
    rhat = max(float(np.max(v["r_hat"])) for v in diag.values())
    sigma, tau_u = np.exp(draws["log_sigma"]), draws["tau_u"]
    keep = slice(None, None, 4)
    q90 = np.array([spread_quantile(0.9, t, s) for t, s in zip(tau_u[keep], sigma[keep], strict=True)])
    to_come = np.hypot(tau_u, draws["tau_e"])
    q90_to_come = np.array([spread_quantile(0.9, t, s) for t, s in zip(to_come[keep], sigma[keep], strict=True)])
    shares = [0.05, 0.25, 0.5, 0.75, 0.95]
    first = table.groupby("cell")[["selection", "rootstock"]].first()
    stock = {r: i for i, r in enumerate(sorted(set(table["rootstock"])))}
    selection = {s: i for i, s in enumerate(sorted(set(table["selection"])))}
    rows = []
    for index, cell in enumerate(cells):
        s, r = first.loc[cell]
        critical = (
            draws["alpha_1"]
            - draws["gaps"].sum(axis=1)
            + draws["tau_a"] * draws["z_a"][:, selection[s]]
            + draws["tau_b"] * draws["z_b"][:, stock[r]]
            + draws["tau_c"] * draws["z_c"][:, index]
        )
        floor = critical[keep] + q90
        rows.append(
            {
                "selection": s,
                "rootstock": r,
                "critical": np.quantile(critical, shares).round(4).tolist(),
                "critical_sd": round(float(critical.std()), 4),
                "floor": np.quantile(floor, shares).round(4).tolist(),
                "floor_sd": round(float(floor.std()), 4),
                "floor_to_come_95": round(float(np.quantile(critical[keep] + q90_to_come, 0.95)), 4),
            }
        )
    scales = {k: np.quantile(v, shares).round(4).tolist() for k, v in draws.items() if k.startswith("tau")}
    scales["sigma"] = np.quantile(sigma, shares).round(4).tolist()
    report = {
        "made_with": {p: version(p) for p in ("numpyro", "jax", "numpy")},
        "chains": CHAINS,
        "warmup": WARMUP,
        "draws": int(draws_a_chain),
        "least_effective_sample_size": round(ess),
        "largest_r_hat": round(rhat, 4),
        "divergences": int(np.asarray(mcmc.get_extra_fields()["diverging"]).sum()),
        "seconds_with_compiling": round(seconds, 1),
        "shares": shares,
        "scales": scales,
        "cells": rows,
    }
    with open(out, "w") as stream:
        json.dump(report, stream, indent=1)
    print(
        {
            k: report[k]
            for k in ("least_effective_sample_size", "largest_r_hat", "divergences", "seconds_with_compiling")
        }
    )


if __name__ == "__main__":
    main(*sys.argv[1:4])
