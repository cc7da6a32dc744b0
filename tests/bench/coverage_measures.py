"""What the coverage study measures, from the records of its trials. The unit of every standard error is the trial."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
from scipy import stats

LEVEL = 0.9
TOO_OPTIMISTIC = 0.05
BARS = {"own priors": (0.885, 0.915)}
FIXED_BAR = (0.88, 0.97)
WIDTH_BAR = 0.05
MOST_BINS = 20
LEAST_PER_BIN = 5
LEAST_SAMPLE = 100.0  # effective sample size of every scale in a NUTS run that is worth comparing with
MOST_DIVERGENCES = 16  # 1 % of its draws

Record = Mapping[str, Any]


def ratio(tops: Iterable[float], bottoms: Iterable[float]) -> tuple[float, float]:
    """Sum of tops over sum of bottoms, one of each a trial, and its standard error (linearised, by trial)."""
    top, bottom = np.array(list(tops), float), np.array(list(bottoms), float)
    if not bottom.sum() > 0:
        return np.nan, np.nan
    value = top.sum() / bottom.sum()
    n = top.size
    error = np.sqrt(np.sum((top - value * bottom) ** 2) * n / max(n - 1, 1)) / bottom.sum()
    return float(value), float(error) if n > 1 else np.nan


def _columns(record: Record, names: Sequence[str]) -> list[np.ndarray]:
    return [np.array([np.nan if value is None else value for value in record[name]], float) for name in names]


def intervals(records: Sequence[Record]) -> dict[str, float]:
    """Coverage, bias, mean width and RMSE of floors that are finite; records have floor, low, high and true [degC]."""
    sums, widths = [], []
    for record in records:
        floor, low, high, true = _columns(record, ("floor", "low", "high", "true"))
        given = np.isfinite(floor)
        miss, width = (floor - true)[given], (high - low)[given]
        inside = ((low <= true) & (true <= high))[given]
        widths.append(width)
        sums.append((given.sum(), inside.sum(), miss.sum(), width.sum(), (miss**2).sum(), given.size))
    given, inside, miss, width, squares, cells = np.array(sums, float).T
    coverage, coverage_se = ratio(inside, given)
    bias, bias_se = ratio(miss, given)
    return {
        "cells": int(cells.sum()),
        "answered": ratio(given, cells)[0],
        "coverage": coverage,
        "coverage_se": coverage_se,
        "bias_c": bias,
        "bias_se_c": bias_se,
        "mean_width_c": ratio(width, given)[0],
        "median_width_c": float(np.median(np.concatenate(widths))) if given.sum() else np.nan,
        "rmse_c": float(np.sqrt(ratio(squares, given)[0])),
    }


def below_and_above(records: Sequence[Record]) -> tuple[float, float]:
    """Shares of true floors colder than the interval, and warmer."""
    below, above, cells = [], [], []
    for record in records:
        low, high, true = _columns(record, ("low", "high", "true"))
        below.append(np.sum(true < low))
        above.append(np.sum(true > high))
        cells.append(true.size)
    return ratio(below, cells)[0], ratio(above, cells)[0]


def optimism(records: Sequence[Record]) -> dict[str, float]:
    """How often a claimable floor is colder than the true one: among those given, and among all cells."""
    bold, given, cells = [], [], []
    for record in records:
        claimed, true = _columns(record, ("claimable", "true_claimable"))
        bold.append(np.sum(claimed < true))
        given.append(np.isfinite(claimed).sum())
        cells.append(claimed.size)
    share, error = ratio(bold, given)
    return {"share": share, "se": error, "given": ratio(given, cells)[0], "of_all_cells": ratio(bold, cells)[0]}


def calibration(records: Sequence[Record]) -> dict[str, dict[str, float]]:
    """Simulation-based calibration (Talts et al. 2018, arXiv:1804.06788): are ranks of true scales uniform?"""
    found = {}
    for name in records[0]["ranks"]:
        ranks = np.array([record["ranks"][name] for record in records])
        bins = max(2, min(MOST_BINS, ranks.size // LEAST_PER_BIN))
        counts = np.histogram(ranks, bins=bins, range=(0.0, 1.0))[0]
        found[name] = {
            "bins": bins,
            "p_chi_square": float(stats.chisquare(counts).pvalue),
            "p_kolmogorov": float(stats.kstest(ranks, "uniform").pvalue),
            "mean_rank": float(ranks.mean()),
        }
    return found


def beside_nuts(records: Sequence[Record], sampled: Mapping[str, Record]) -> dict[str, float] | None:
    """Our widths over those of NUTS on the same trials, how far quantiles lie apart, and what NUTS itself covers."""
    ours, theirs, inside, cells, ratios = [], [], [], [], []
    apart: list[np.ndarray] = []
    unsound = 0
    for record in records:
        other = sampled.get(str(record["trial"]))
        if other is None or other["fingerprint"] != record["fingerprint"]:
            continue
        if other["least_effective_sample_size"] < LEAST_SAMPLE or other["divergences"] > MOST_DIVERGENCES:
            unsound += 1
            continue
        low, middle, high = np.array([other["cells"][cell] for cell in record["cells"]]).T
        floor, our_low, our_high, true = _columns(record, ("floor", "low", "high", "true"))
        ours.append(np.sum(our_high - our_low))
        theirs.append(np.sum(high - low))
        ratios.append(ours[-1] / theirs[-1])
        inside.append(np.sum((low <= true) & (true <= high)))
        cells.append(true.size)
        sd = (high - low) / (2.0 * stats.norm.ppf(0.5 + LEVEL / 2.0))
        apart.append(np.array([our_low - low, floor - middle, our_high - high]) / sd)
    if not ours:
        return None
    width, width_se = ratio(ours, theirs)
    off = np.concatenate(apart, axis=1)
    return {
        "trials": len(ours),
        "left_out_as_unsound": unsound,
        "width_ratio": width,
        "width_ratio_se": width_se,
        "mean_of_trials_width_ratio": float(np.mean(ratios)),
        "nuts_coverage": ratio(inside, cells)[0],
        **{f"apart_{share}_sd": float(value) for share, value in zip((5, 50, 95), off.mean(axis=1), strict=True)},
    }


def plain(records: Sequence[Record], way: str) -> dict[str, Any] | None:
    """The measures of a plain way, and why it gave no answer [share of selections]."""
    parts = [record[way] | {"true": record["true"]} for record in records if record[way]]
    if not parts:
        return None
    reasons: Counter[str] = Counter()
    for part in parts:
        reasons.update(part["reasons"])
    whole = sum(reasons.values())
    return (
        {"trials": len(parts)}
        | intervals(parts)
        | {"reasons": {name: round(count / whole, 4) for name, count in sorted(reasons.items())}}
    )


def measure(
    name: str, records: Sequence[Record], plain_records: Sequence[Record], sampled: Mapping[str, Record]
) -> dict[str, Any]:
    """All measures of one kind of trial, and which bars it misses."""
    good = [record for record in records if "failed" not in record]
    found: dict[str, Any] = {"trials": len(records), "failed": len(records) - len(good)} | intervals(good)
    found["truth_colder"], found["truth_warmer"] = below_and_above(good)
    found["claimable"] = optimism(good)
    found["nuts"] = beside_nuts(good, sampled)
    found["logit"], found["weibull"] = plain(plain_records, "logit"), plain(plain_records, "weibull")
    if name == "own priors":
        found["calibration"] = calibration(good)
    found["paths"] = dict(Counter(record["path"] for record in good))
    found["warned"] = sum(bool(record["warned"]) for record in good)
    found["seconds_a_fit"] = {
        "median": float(np.median([record["seconds"] for record in good])),
        "mean": float(np.mean([record["seconds"] for record in good])),
    }
    found["misses"] = misses(name, found)
    return found


def misses(name: str, found: Mapping[str, Any]) -> list[str]:
    """Bars that the numbers do not meet."""
    low, high = BARS.get(name, FIXED_BAR)
    said = []
    if not low <= found["coverage"] <= high:
        said.append(f"coverage {found['coverage']:.3f} (se {found['coverage_se']:.3f}) outside {low}-{high}")
    claim = found["claimable"]
    if not claim["share"] <= TOO_OPTIMISTIC + 2.0 * claim["se"]:
        said.append(f"claimable too optimistic in {claim['share']:.3f} (se {claim['se']:.3f})")
    if found["nuts"] and abs(found["nuts"]["width_ratio"] - 1.0) > WIDTH_BAR:
        said.append(f"width {found['nuts']['width_ratio']:.3f} of NUTS (se {found['nuts']['width_ratio_se']:.3f})")
    for scale, rank in found.get("calibration", {}).items():
        if rank["p_chi_square"] < 0.01:
            said.append(f"ranks of {scale}: p {rank['p_chi_square']:.4f}")
    if found["warned"]:
        said.append(f"{found['warned']} fits warned")
    if found["failed"]:
        said.append(f"{found['failed']} fits failed")
    return said
