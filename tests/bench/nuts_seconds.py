"""Seconds that NUTS samples one table of observations, compiling not counted: a child of bench_tolerance.py.

Run in an environment with numpyro (see nuts_reference.py), from the repository's root:

    nuts/bin/python -m tests.bench.nuts_seconds OBSERVATIONS.csv [WARMUP DRAWS]

Every run compiles anew, so a run of a few steps tells what compiling takes. What it prints is one JSON line.
"""

from __future__ import annotations

import json
import sys
import time

import jax
import numpy as np
from numpyro.diagnostics import summary
from numpyro.infer import MCMC, NUTS

from tests.bench.nuts_reference import SEED, model, read

GRADES, SPAN_C = 6, 6.0
CHAINS = 4
WARMUP, DRAWS = 1_000, 1_000  # numpyro's own usual numbers
SHORT = 4  # steps of a run that mostly compiles


def main(path: str, warmup: int = WARMUP, draws: int = DRAWS) -> None:
    """Sample a few steps twice, then in full; what the second short run took is compiling, and is taken off."""
    _, data, _ = read(path, GRADES)
    spent = []
    for steps, number in ((SHORT, SHORT), (SHORT, SHORT), (warmup, draws)):
        mcmc = MCMC(
            NUTS(model),
            num_warmup=steps,
            num_samples=number,
            num_chains=CHAINS,
            chain_method="sequential",  # processor seconds are what is compared
            progress_bar=False,
        )
        processor, wall = time.process_time(), time.perf_counter()
        mcmc.run(jax.random.PRNGKey(SEED), data, GRADES - 1, SPAN_C / (GRADES - 2))
        jax.block_until_ready(mcmc.get_samples())
        spent.append((time.process_time() - processor, time.perf_counter() - wall))
    shared = {name: value for name, value in mcmc.get_samples(group_by_chain=True).items() if not name.startswith("z_")}
    found = summary(shared).values()
    report = {
        "processor_s": spent[2][0] - spent[1][0],
        "wall_s": spent[2][1] - spent[1][1],
        "compiling_s": spent[1][0],
        "least_effective_sample_size": float(min(np.min(part["n_eff"]) for part in found)),
        "largest_r_hat": float(max(np.max(part["r_hat"]) for part in found)),
    }
    print(json.dumps(report))


if __name__ == "__main__":
    main(sys.argv[1], *(int(number) for number in sys.argv[2:4]))
