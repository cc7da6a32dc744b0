"""Seconds and memory of the tolerance model by the size of a trial, and against a general-purpose sampler.

Run from the repository's root:

    python -m tests.bench.bench_tolerance [--rows 1000 3000 10000 30000 100000] [--repeats N]
                                          [--nuts --nuts-python nuts/bin/python [--nuts-rows 380]]

Trials are drawn from the model itself: twenty scores for every selection, four plants of each on two rootstocks, ten
cold spells, a logger for every 2,000 scores (50 at most, so 500 freezes). Every size runs in a process of its own, so
that peak memory is its own, and is timed as often as asked, the best time counting; small trials more often. With
``--nuts`` numpyro's NUTS samples the same rows of the same model (four chains of 1,000 draws after 1,000 to warm up;
compiling not counted), and the ratio of processor seconds is printed.

Comparisons are of all pairs in trials of up to 3,000 scores, and against three selections in larger ones.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from hardiness.tolerance.fit import fit_tolerance
from tests.simulate import simulate_observations

ROWS = (1_000, 3_000, 10_000, 30_000, 100_000)
SEED = 20_041
SCORES_A_SELECTION = 20
PLANTS_A_CELL = 2  # on two rootstocks
SPELLS = 10
WARMEST_C, COLDEST_C = -3.0, -8.5  # of the cold spells: most plants live through several
ROWS_A_LOGGER, MOST_LOGGERS = 2_000, 50
ALL_PAIRS = 3_000  # rows; in larger trials three selections stand for the checks
CHECKS = 3
STEPS = ("fit", "floors", "compare")
ROOT = Path(__file__).resolve().parents[2]


def simulated_trial(rows: int) -> pd.DataFrame:
    """Observations of a trial of exactly so many rows."""
    rng = np.random.default_rng([SEED, rows])
    observations, _ = simulate_observations(
        rng,
        selections=max(rows // SCORES_A_SELECTION, 2),
        plants_per_cell=PLANTS_A_CELL,
        freezes=rng.uniform(COLDEST_C, WARMEST_C, SPELLS).tolist(),
        sensors=int(np.clip(rows // ROWS_A_LOGGER, 1, MOST_LOGGERS)),
        sensor_sd=0.3,
        scored=0.9,
    )
    if len(observations) < rows:
        raise ValueError(f"the simulated trial has {len(observations)} rows; accepted: {rows} or more.")
    kept = np.sort(rng.permutation(len(observations))[:rows])
    return observations.iloc[kept].reset_index(drop=True)


def measure(rows: int, repeats: int) -> dict[str, object]:
    """Time fit, floors and compare of one size; what the child process prints."""
    observations = simulated_trial(rows)
    checks = sorted(set(observations["selection"]))[:CHECKS] if rows > ALL_PAIRS else None
    fit_tolerance(simulated_trial(100)).compare()  # what is loaded at first use is not the question
    best: dict[str, tuple[float, float]] = {}
    for _ in range(repeats):
        fit = _timed(best, "fit", lambda: fit_tolerance(observations))
        _timed(best, "floors", fit.floors)
        pairs = _timed(best, "compare", lambda fit=fit: fit.compare(against=checks))
    found = fit.posterior.diagnostics
    return {
        "rows": rows,
        "selections": observations["selection"].nunique(),
        "freezes": observations["freeze"].nunique(),
        "pairs": len(pairs),
        "path": found.path,
        "nodes": len(fit.posterior.nodes),
        "effective_nodes": found.effective_nodes,
        "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0,  # KiB on Linux
        **{f"{name}_s": best[name] for name in STEPS},
    }


def _timed(best: dict[str, tuple[float, float]], name: str, work: Callable[[], object]) -> object:
    processor, wall = time.process_time(), time.perf_counter()
    result = work()
    spent = time.process_time() - processor, time.perf_counter() - wall
    best[name] = min(best.get(name, spent), spent)
    return result


def _child(command: list[str]) -> dict[str, object]:
    done = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, text=True, check=True)
    return json.loads(done.stdout.splitlines()[-1])


def nuts(rows: int, python: str) -> dict[str, object]:
    """What NUTS takes for the same rows."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "observations.csv"
        simulated_trial(rows).to_csv(file, index=False)
        return _child([python, "-m", "tests.bench.nuts_seconds", str(file)])


def slope(rows: list[int], seconds: list[float]) -> float:
    """Slope of log seconds on log rows: 1 is linear growth."""
    return float(np.polyfit(np.log(rows), np.log(seconds), 1)[0])


def main() -> None:
    """Print a line for every size, the slope, and the ratio to NUTS."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rows", type=int, nargs="+", default=list(ROWS))
    parser.add_argument("--repeats", type=int, help="timings of each size; by its size unless given")
    parser.add_argument("--nuts", action="store_true", help="sample with NUTS too")
    parser.add_argument("--nuts-python", default="nuts/bin/python", help="a Python that has numpyro")
    parser.add_argument("--nuts-rows", type=int, nargs="+", default=[380], help="sizes that NUTS samples")
    parser.add_argument("--one", type=int, help=argparse.SUPPRESS)  # the child: measure one size and print JSON
    chosen = parser.parse_args()
    if chosen.one is not None:
        print(json.dumps(measure(chosen.one, chosen.repeats)))
        return
    print(f"{'rows':>7} {'select.':>7} {'freezes':>7} {'fit':>13} {'floors':>13} {'compare':>13} {'in all':>13} "
          f"{'pairs':>7} {'peak MB':>7} {'nodes':>5} {'eff.':>5} path   (seconds: processor / wall)")  # fmt: skip
    sizes = sorted({*chosen.rows, *(chosen.nuts_rows if chosen.nuts else [])})
    seconds = {}
    for rows in sizes:
        repeats = chosen.repeats or (5 if rows <= ALL_PAIRS else 2 if rows <= 30_000 else 1)
        found = _child([sys.executable, "-m", "tests.bench.bench_tolerance", "--one", str(rows),
                        "--repeats", str(repeats)])  # fmt: skip
        parts = [found[f"{name}_s"] for name in STEPS]
        parts.append([sum(part[0] for part in parts), sum(part[1] for part in parts)])
        seconds[rows] = parts[-1][0]
        times = " ".join(f"{processor:6.2f}/{wall:6.2f}" for processor, wall in parts)
        print(f"{rows:7d} {found['selections']:7d} {found['freezes']:7d} {times} {found['pairs']:7d} "
              f"{found['peak_mb']:7.0f} {found['nodes']:5d} {found['effective_nodes']:5.0f} {found['path']}",
              flush=True)  # fmt: skip
    if len(sizes) > 1:
        print(f"slope of log processor seconds on log rows: {slope(sizes, list(seconds.values())):.2f}")
    for rows in chosen.nuts_rows if chosen.nuts else []:
        other = nuts(rows, chosen.nuts_python)
        print(f"NUTS, {rows} rows: {other['processor_s']:.1f} s of processor, {other['wall_s']:.1f} s of wall "
              f"(compiling {other['compiling_s']:.1f} s of processor not counted), least effective sample size "
              f"{other['least_effective_sample_size']:.0f}, largest R-hat {other['largest_r_hat']:.3f}; "
              f"ratio {other['processor_s'] / seconds[rows]:.0f}", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
