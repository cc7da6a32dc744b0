"""NUTS on the first trials of every kind of the coverage study: how wide intervals of the model itself are.

Run from the repository's root, in an environment with numpyro (see nuts_reference.py); `coverage.py` reads the files:

    nuts/bin/python -m tests.bench.coverage_nuts --folder RESULTS [--trials 20] [--scenario "own priors"]

Trials of one kind are padded to one size (rows that say nothing, plants without a row), so that the model is compiled
once a kind. A run that was stopped goes on where it was.
"""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path

import jax
import numpy as np
import pandas as pd
from numpyro.diagnostics import summary
from numpyro.infer import MCMC, NUTS
from scipy.special import expit

from tests.bench.coverage_trials import LAST, SCENARIOS, SPAN_C, Scenario, Trial
from tests.bench.nuts_reference import model

CHAINS, WARMUP, DRAWS = 2, 500, 800
SHARES = (0.05, 0.5, 0.95)
SURVIVE = 0.9


def spread_quantiles(sd: np.ndarray, sigma: np.ndarray) -> np.ndarray:
    """Quantile at SURVIVE of sd Z + sigma L [K] for every draw, by halving."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(60)
    weights = weights / weights.sum()
    low, high = np.zeros_like(sd), 12.0 * (sd + 3.0 * sigma)
    for _ in range(45):
        middle = (low + high) / 2.0
        short = expit((middle[:, None] - sd[:, None] * nodes) / sigma[:, None]) @ weights < SURVIVE
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return (low + high) / 2.0


def arrays(scenario: Scenario, trial: Trial, rows: int) -> tuple[dict[str, np.ndarray], list[tuple[str, str]]]:
    """The model's data, padded to `rows`, and the cells in the order of its codes."""
    table = trial.fitted_rows
    selections, stocks = sorted(set(trial.truth["selection"])), sorted(set(trial.truth["rootstock"]))
    cells = list(trial.truth[["selection", "rootstock"]].itertuples(index=False, name=None))
    of_row = list(table[["selection", "rootstock"]].itertuples(index=False, name=None))
    columns = {
        "s": pd.Index(selections).get_indexer(table["selection"]),
        "r": pd.Index(stocks).get_indexer(table["rootstock"]),
        "c": np.array([cells.index(cell) for cell in of_row]),
        "p": pd.factorize(table["plant"], sort=True)[0],
        "j": pd.factorize(table["freeze"], sort=True)[0],
        "x": table["exposure_c"].to_numpy(float),
        "near": np.log(table["near"].to_numpy(float)),
        "low": table["grade_low"].to_numpy(int),
        "high": table["grade"].to_numpy(int),
    }
    if scenario.sensors > 1:
        columns |= {name: pd.factorize(table[name], sort=True)[0] for name in ("sensor", "event")}
    idle = {"high": LAST, "x": float(table["exposure_c"].max())}
    data = {
        name: np.concatenate([values, np.full(rows - len(table), idle.get(name, 0), values.dtype)])
        for name, values in columns.items()
    }
    data["warmest"] = np.array(table["exposure_c"].max())
    n_freezes = scenario.freezes * scenario.sensors
    sd = float(table["exposure_sd_c"].iloc[0])
    if scenario.sensors > 1:
        bias = float(table["sensor_sd_c"].iloc[0])
        data |= {
            "sensor_sd": np.full(scenario.sensors, bias),
            "rest_sd": np.full(n_freezes, np.sqrt(sd**2 - bias**2)),
        }
    else:
        data["freeze_sd"] = np.full(n_freezes, sd)
    return data, cells


def floors_of(draws: dict[str, np.ndarray], cells: list[tuple[str, str]]) -> dict[str, list[float]]:
    """Quantiles SHARES of every cell's floor [degC]."""
    selections, stocks = sorted({s for s, _ in cells}), sorted({r for _, r in cells})
    q90 = spread_quantiles(draws["tau_u"], np.exp(draws["log_sigma"]))
    found = {}
    for index, (selection, stock) in enumerate(cells):
        floor = (
            draws["alpha_1"]
            - draws["gaps"].sum(axis=1)
            + draws["tau_a"] * draws["z_a"][:, selections.index(selection)]
            + draws["tau_b"] * draws["z_b"][:, stocks.index(stock)]
            + draws["tau_c"] * draws["z_c"][:, index]
            + q90
        )
        found[f"{selection}|{stock}"] = np.quantile(floor, SHARES).round(4).tolist()
    return found


def scales_of(draws: dict[str, np.ndarray]) -> dict[str, list[float]]:
    """Mean and standard deviation of sigma and the taus [K]."""
    scales = {"sigma": np.exp(draws["log_sigma"])} | {name: draws[name] for name in draws if name.startswith("tau_")}
    return {name: [round(float(values.mean()), 4), round(float(values.std()), 4)] for name, values in scales.items()}


def run(name: str, trials: int, path: Path) -> None:
    """Sample the trials of one kind that `path` does not have yet."""
    scenario = SCENARIOS[name]
    done = json.loads(path.read_text()) if path.exists() else {}
    drawn = [scenario.trial(index) for index in range(trials)]
    rows = max(len(trial.fitted_rows) for trial in drawn)
    truth = drawn[0].truth
    sizes = {
        "s": truth["selection"].nunique(),
        "r": truth["rootstock"].nunique(),
        "c": len(truth),
        "p": scenario.plants,
        "event": scenario.freezes,
    }
    kernel = NUTS(lambda data: model(data, LAST, SPAN_C / (LAST - 1), sizes), target_accept_prob=0.9)
    mcmc = MCMC(
        kernel,
        num_warmup=WARMUP,
        num_samples=DRAWS,
        num_chains=CHAINS,
        chain_method="vectorized",
        progress_bar=False,
        jit_model_args=True,
    )
    for index, trial in enumerate(drawn):
        if done.get(str(index), {}).get("fingerprint") == trial.fingerprint:
            continue
        began = time.monotonic()
        data, cells = arrays(scenario, trial, rows)
        mcmc.run(jax.random.PRNGKey(1000 * scenario.number + index), data, extra_fields=("diverging",))
        draws = {key: np.asarray(values) for key, values in mcmc.get_samples().items()}
        grouped = mcmc.get_samples(group_by_chain=True)
        diagnostics = summary({key: values for key, values in grouped.items() if not key.startswith("z_")}).values()
        done[str(index)] = {
            "fingerprint": trial.fingerprint,
            "cells": floors_of(draws, cells),
            "scales": scales_of(draws),
            "divergences": int(np.sum(mcmc.get_extra_fields()["diverging"])),
            "least_effective_sample_size": round(min(float(np.min(part["n_eff"])) for part in diagnostics), 1),
            "largest_r_hat": round(max(float(np.max(part["r_hat"])) for part in diagnostics), 4),
            "seconds": round(time.monotonic() - began, 1),
        }
        part = path.with_suffix(".part")
        part.write_text(json.dumps(done))
        part.replace(path)
        shown = {key: value for key, value in done[str(index)].items() if key not in ("cells", "scales")}
        print(name, index, shown, flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--folder", type=Path, required=True)
    parser.add_argument("--trials", type=int, default=20)
    parser.add_argument("--scenario", choices=list(SCENARIOS), action="append")
    options = parser.parse_args()
    options.folder.mkdir(parents=True, exist_ok=True)
    for name in options.scenario or list(SCENARIOS):
        run(name, options.trials, options.folder / f"nuts-{name.replace(' ', '-')}.json")


if __name__ == "__main__":
    main()
