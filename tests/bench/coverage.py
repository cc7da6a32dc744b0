"""The coverage study: do the intervals and the claimable floors keep what they promise?

Simulated trials of eight kinds (coverage_trials.py), each fitted, beside a logit and a Weibull per selection
(plain_ways.py) and, where coverage_nuts.py was run into the same folder, beside NUTS. From the repository's root:

    python -m tests.bench.coverage --trials 200 --workers 2 --folder RESULTS [--scenario sparse] [--record FILE.json]

Every trial has its own seed and is written as one JSON line, so a run that was stopped goes on where it was. Lines of
another version of the model's code are computed again. `--report` measures what is there.
"""

from __future__ import annotations

import argparse
import ast
import hashlib
import importlib.util
import json
import os
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path
from typing import Any

import numpy as np

from hardiness.errors import FitError
from hardiness.tolerance.fit import Fit, fit_tolerance
from tests.bench.coverage_measures import measure
from tests.bench.coverage_trials import GRADES, LAST, SCENARIOS, SPAN_C, Trial
from tests.bench.plain_ways import MOST, Plain, logit_floors, weibull_floors

BLOCK = 10  # trials of one kind before the next kind has its turn
ENTRY = ("hardiness.tolerance.floors", "hardiness.tolerance.design", "hardiness.tolerance.rows")
DIGITS = 5
CHECKED = 2  # first trials of a kind that are computed again, to see whether another version agrees
SAME_C = 0.01  # [K] what two versions of the code may differ by and count as one: intervals are 3 to 6 K wide
PLAIN_VERSION = "1"  # of plain_ways.py; lines of another are computed again

Job = tuple[Callable[..., dict[str, Any]], *tuple[Any, ...]]


def code_version() -> str:
    """Hash of the code that floors come from: everything in tolerance/ that they import, without its docstrings."""
    waiting, parts = list(ENTRY), {}
    while waiting:
        name = waiting.pop()
        if name in parts:
            continue
        spec = importlib.util.find_spec(name)
        assert spec is not None and spec.origin is not None
        tree = ast.parse(Path(spec.origin).read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("hardiness.tolerance"):
                waiting.append(str(node.module))
            body = getattr(node, "body", None)
            if isinstance(body, list) and body and isinstance(body[0], ast.Expr):
                node.body = body[1:]  # type: ignore[attr-defined]
        parts[name] = ast.dump(tree)
    return hashlib.sha256(repr(sorted(parts.items())).encode()).hexdigest()[:12]


def rank_of(true: float, values: np.ndarray, weights: np.ndarray, rng: np.random.Generator) -> float:
    """Where a true value ranks in a weighted sample, drawn evenly within the mass of the two points beside it."""
    order = np.argsort(values)
    ends = np.concatenate(([0.0], np.cumsum(weights[order]) - weights[order] / 2.0, [1.0]))
    above = int(np.searchsorted(values[order], true))
    return float(rng.uniform(ends[above], ends[above + 1]))


def ranks_of(fit: Fit, trial: Trial, index: int) -> dict[str, float]:
    """Ranks of the true scales in their posteriors."""
    rng = np.random.default_rng([1, index])
    posterior = fit.posterior
    return {
        name: round(rank_of(true, posterior.scale(name), posterior.weights, rng), DIGITS)
        for name, true in sorted(trial.scales.items())
    }


def _listed(values: np.ndarray) -> list[float | None]:
    return [round(float(value), DIGITS) if np.isfinite(value) else None for value in values]


def _plain(way: Plain, selections: list[str]) -> dict[str, Any]:
    floor, low, high = np.array([way.floors[name] for name in selections]).T
    return {"floor": _listed(floor), "low": _listed(low), "high": _listed(high), "reasons": dict(way.reasons)}


def fit_trial(name: str, index: int, code: str) -> dict[str, Any]:
    """Fit one trial and keep its floors beside the true ones."""
    trial = SCENARIOS[name].trial(index)
    record: dict[str, Any] = {"trial": index, "fingerprint": trial.fingerprint, "code": code}
    began = time.perf_counter()
    try:
        with warnings.catch_warnings(record=True) as warned:
            warnings.simplefilter("always")
            fit = fit_tolerance(trial.observations, grades=GRADES, span_c=SPAN_C)
            floors = fit.floors()
    except FitError as error:  # counted and shown by the report
        return record | {"failed": str(error)}
    record["seconds"] = round(time.perf_counter() - began, 3)
    record["warned"] = sorted({f"{Path(one.filename).name}: {one.message}" for one in warned})
    both = floors.merge(trial.truth, on=["selection", "rootstock"], suffixes=("", "_true"), validate="1:1")
    record["cells"] = (both["selection"] + "|" + both["rootstock"]).tolist()
    columns = {"floor": "floor_c", "low": "floor_low_c", "high": "floor_high_c", "true": "floor_c_true"}
    columns |= {"claimable": "claimable_c", "true_claimable": "claimable_c_true"}
    record |= {key: _listed(both[column].to_numpy(float)) for key, column in columns.items()}
    return record | {"ranks": ranks_of(fit, trial, index), "path": fit.posterior.diagnostics.path}


def plain_trial(name: str, index: int, weibull: bool) -> dict[str, Any]:
    """The plain ways on one trial."""
    trial = SCENARIOS[name].trial(index)
    rows, truth = trial.fitted_rows, trial.truth
    truth = truth[truth["selection"].isin(rows["selection"])]
    record: dict[str, Any] = {"trial": index, "fingerprint": trial.fingerprint, "code": PLAIN_VERSION}
    record["true"] = _listed(truth["floor_c"].to_numpy(float))
    selections = truth["selection"].tolist()
    record["logit"] = _plain(logit_floors(rows, LAST), selections)
    record["weibull"] = _plain(weibull_floors(rows, LAST), selections) if weibull else None
    return record


def path_of(folder: Path, kind: str, name: str) -> Path:
    """Where lines of a kind (fits, plain, nuts) are kept for one kind of trial."""
    return folder / f"{kind}-{name.replace(' ', '-')}.{'json' if kind == 'nuts' else 'jsonl'}"


def read_records(path: Path) -> dict[tuple[int, str], dict[str, Any]]:
    """The last line of every trial and version of the code; a line cut off by a stop is none."""
    records = {}
    if path.exists():
        for line in path.read_text().splitlines():
            try:
                record = json.loads(line)
            except json.JSONDecodeError:
                continue
            records[record["trial"], record["code"]] = record
    return records


def fits_of(path: Path, code: str, also: list[str]) -> list[dict[str, Any]]:
    """Lines of this version, and of others that `also` names: refused unless they agree on every trial of both."""
    known = read_records(path)
    found = {index: record for (index, version), record in known.items() if version == code}
    for other in also:
        lines = {index: record for (index, version), record in known.items() if version == other}
        for index in lines.keys() & found.keys():
            apart = max(
                float(np.max(np.abs(np.subtract(lines[index][key], found[index][key]))))
                for key in ("floor", "low", "high")
            )
            if apart > SAME_C:
                raise SystemExit(f"{path.name}: version {other} differs by {apart:.4f} K in trial {index}")
        found = lines | found
    return [found[index] for index in sorted(found)]


def waiting(options: argparse.Namespace, names: list[str], code: str) -> Iterator[tuple[Path, Job]]:
    """What is still to be done and where its line goes, in blocks."""
    fits = {name: path_of(options.folder, "fits", name) for name in names}
    plain = {name: path_of(options.folder, "plain", name) for name in names}
    known = {path: read_records(path) for path in (*fits.values(), *plain.values())}
    for first in range(0, options.trials, BLOCK):
        for name in names:
            for index in range(first, min(first + BLOCK, options.trials)):
                versions = [code, *(options.also if index >= CHECKED else [])]
                if options.only != "plain" and not any((index, one) in known[fits[name]] for one in versions):
                    yield fits[name], (fit_trial, name, index, code)
                old, weibull = known[plain[name]].get((index, PLAIN_VERSION)), index < options.weibull
                done = old is not None and (old["weibull"] is not None or not weibull)
                if options.only != "fits" and not done:
                    yield plain[name], (plain_trial, name, index, weibull)


def report(folder: Path, names: list[str], code: str, also: list[str]) -> dict[str, Any]:
    """Measure the lines of this version of the code, and print them."""
    found = {}
    for name in names:
        fits = fits_of(path_of(folder, "fits", name), code, also)
        plain = [record for _, record in sorted(read_records(path_of(folder, "plain", name)).items())]
        plain = [record for record in plain if record["code"] == PLAIN_VERSION]
        sampled = path_of(folder, "nuts", name)
        if fits:
            found[name] = measure(name, fits, plain, json.loads(sampled.read_text()) if sampled.exists() else {})
    print(table(found))
    for name, numbers in found.items():
        for missed in numbers["misses"]:
            print(f"{name}: {missed}")
    for scale, rank in found.get("own priors", {}).get("calibration", {}).items():
        print(f"ranks of {scale}: chi-square p {rank['p_chi_square']:.3f} ({rank['bins']} bins), "
              f"Kolmogorov p {rank['p_kolmogorov']:.3f}, mean {rank['mean_rank']:.3f}")  # fmt: skip
    return found


def table(found: dict[str, Any]) -> str:
    """The numbers as a table of plain text (markdown)."""
    head = ["kind", "trials", "covers (se) %", "truth colder / warmer %", "bias (se) K", "width K", "RMSE K"]
    head += [
        "too optimistic (se) %",
        "width / NUTS (trials)",
        "logit: answers %, covers %, median width K",
        "Weibull: the same",
    ]
    lines = ["| " + " | ".join(head) + " |", "| " + " | ".join("---" for _ in head) + " |"]
    for name, m in found.items():
        claim, nuts = m["claimable"], m["nuts"]
        plain = [_plain_cell(way) for way in (m["logit"], m["weibull"])]
        cells = [
            name,
            str(m["trials"]),
            f"{100 * m['coverage']:.1f} ({100 * m['coverage_se']:.1f})",
            f"{100 * m['truth_colder']:.1f} / {100 * m['truth_warmer']:.1f}",
            f"{m['bias_c']:+.2f} ({m['bias_se_c']:.2f})",
            f"{m['mean_width_c']:.2f}",
            f"{m['rmse_c']:.2f}",
            f"{100 * claim['share']:.1f} ({100 * claim['se']:.1f})",
            f"{nuts['width_ratio']:.3f} ({nuts['trials']})" if nuts else "",
            *plain,
        ]
        lines.append("| " + " | ".join(cells) + " |")
    return "\n".join(lines)


def _plain_cell(way: dict[str, Any] | None) -> str:
    if way is None:
        return ""
    width = f"{way['median_width_c']:.1f}" if way["median_width_c"] < MOST else f"over {MOST:.0f}"
    return f"{100 * way['answered']:.0f}, {100 * way['coverage']:.0f}, {width}"


def _rounded(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _rounded(item) for key, item in value.items()}
    if isinstance(value, float):
        return round(value, 4) if np.isfinite(value) else None
    return value


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--trials", type=int, default=200)
    parser.add_argument("--weibull", type=int, default=50, help="trials of a kind that the slow Weibull is fitted to")
    parser.add_argument("--scenario", choices=list(SCENARIOS), action="append")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "hardiness-coverage")
    parser.add_argument("--only", choices=["fits", "plain"], help="only these")
    parser.add_argument("--report", action="store_true", help="only measure what is there")
    parser.add_argument("--also", action="append", default=[], help="version whose lines count too, if it agrees")
    parser.add_argument("--of", metavar="VERSION", help="report this version of the code, not the present one")
    parser.add_argument("--record", type=Path, help="write the measures to this JSON file")
    options = parser.parse_args()
    names, code = options.scenario or list(SCENARIOS), code_version()
    options.folder.mkdir(parents=True, exist_ok=True)
    if not (options.report or options.of):
        if os.environ.get("OPENBLAS_NUM_THREADS") != "1":
            print("set OPENBLAS_NUM_THREADS=1: small matrices are slower on several threads", file=sys.stderr)
        with ProcessPoolExecutor(options.workers) as pool:
            jobs = {pool.submit(*job): path for path, job in waiting(options, names, code)}
            for job in as_completed(jobs):
                with jobs[job].open("a") as lines:
                    lines.write(json.dumps(job.result()) + "\n")
    code = options.of or code
    found = report(options.folder, names, code, options.also)
    if options.record:
        options.record.write_text(json.dumps({"code": code, "kinds": _rounded(found)}, indent=1) + "\n")


if __name__ == "__main__":
    main()
