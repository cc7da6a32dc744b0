"""Which selection is hardier, by how much, how sure: differences of tolerance floors of pairs.

A difference does not depend on the share or the grade asked for: every grade's critical temperature moves with the
selection. Every pair's interval stands for itself; of many intervals at 90 %, about one in ten misses.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd
from scipy import sparse

from hardiness import schema
from hardiness.errors import FitError, Problem, near_name
from hardiness.schema import ALL_STOCKS
from hardiness.tolerance.floors import check_share
from hardiness.tolerance.functionals import differences, posterior_of
from hardiness.tolerance.posterior import Posterior
from hardiness.tolerance.rows import stands_open

MOST_PAIRS = 20_000
_MOST_NAMED = 10  # selections in one message


class TooManyPairsError(FitError):
    """More pairs are asked for than are compared at once.

    Parameters
    ----------
    count : int
        How many.
    hint : str
        How to ask for fewer, as whoever asked would say it.
    """

    def __init__(self, count: int, hint: str) -> None:
        self.count = count
        super().__init__(Problem(f"{count:,} pairs", f"up to {MOST_PAIRS:,}", hint=hint))


def compare_table(
    posterior: Posterior,
    *,
    selections: Iterable[str] | None = None,
    against: Iterable[str] | None = None,
    level: float = 0.9,
) -> pd.DataFrame:
    """Compare selections in pairs, on each rootstock that both stand on and on the mean of these.

    Parameters
    ----------
    posterior : Posterior
    selections : iterable of str, optional
        Only pairs of these.
    against : iterable of str, optional
        Only pairs with at least one of these, for instance the checks.
    level : float
        Probability of the central interval.

    Returns
    -------
    DataFrame
        Columns of ``schema.COMPARE``; differences in K, negative where ``selection_a`` is hardier.
        ``shared_winters`` is missing where the observations name no winter.

    Raises
    ------
    FitError
        If a selection is unknown.
    TooManyPairsError
        If there are more than 20,000 pairs.
    """
    level = check_share("level", level)
    chosen, yardsticks = (
        None if names is None else set(known_selections(posterior, names)) for names in (selections, against)
    )
    pairs = _pairs(posterior, chosen, yardsticks)
    table = pd.DataFrame(pairs, columns=["selection_a", "selection_b", "rootstock"])
    if pairs:
        met = _met_on(pairs, _stocks(posterior))
        left = _weights(table["selection_a"], met, posterior.design.cells)
        right = _weights(table["selection_b"], met, posterior.design.cells)
        difference = posterior_of(posterior, differences(posterior.design, left, right))
        table["probability_a_hardier"] = difference.probability_below(np.zeros(len(pairs)))
        ends = difference.quantiles([0.5 - level / 2.0, 0.5, 0.5 + level / 2.0])
        table["low_c"], table["difference_c"], table["high_c"] = ends
        table["shared_winters"] = _shared_winters(posterior.design.table, table, met)
    return table.reindex(columns=schema.column_names(schema.COMPARE))


def known_selections(posterior: Posterior, names: Iterable[str], *, called: str = "selection") -> list[str]:
    """Selections asked for by name, of which each must have an observation.

    Parameters
    ----------
    posterior : Posterior
    names : iterable of str
    called : str
        What they are to whoever asks: a selection, or a check.

    Returns
    -------
    list of str
        By name, each once.

    Raises
    ------
    FitError
        If one has no observation that is fitted; all such are named.
    """
    known, chosen = sorted({selection for selection, _ in posterior.design.tested_cells}), sorted(set(names))
    some = f"{', '.join(known[:_MOST_NAMED])}{' ...' if len(known) > _MOST_NAMED else ''}"
    unknown = [
        Problem(f"{called} '{name}', which has no observation", f"one that has ({some})", hint=near_name(name, known))
        for name in chosen
        if name not in known
    ]
    if unknown:
        raise FitError(unknown)
    return chosen


def _stocks(posterior: Posterior) -> dict[str, list[str]]:
    stocks: dict[str, list[str]] = {}
    for selection, rootstock in posterior.design.tested_cells:
        stocks.setdefault(selection, []).append(rootstock)
    return stocks


def _pairs(posterior: Posterior, chosen: set[str] | None, against: set[str] | None) -> list[tuple[str, str, str]]:
    stocks = _stocks(posterior)
    names = sorted(stocks if chosen is None else chosen)
    yardsticks = set(names) if against is None else against & set(names)
    others = len(names) - len(yardsticks)
    count = len(yardsticks) * others + len(yardsticks) * (len(yardsticks) - 1) // 2
    if count > MOST_PAIRS:
        raise TooManyPairsError(count, "Name some with selections=[...], or yardsticks with against=[...].")
    pairs = []
    for a, b in _crossed(names, yardsticks):
        shared = _shared(stocks, a, b)
        pairs += [(a, b, stock) for stock in shared]
        if shared:
            pairs.append((a, b, ALL_STOCKS))
    return pairs


def _crossed(names: list[str], yardsticks: set[str]) -> list[tuple[str, str]]:
    return sorted({(min(a, b), max(a, b)) for a in yardsticks for b in names if a != b})


def _shared(stocks: dict[str, list[str]], a: str, b: str) -> list[str]:
    return [stock for stock in stocks[a] if stock in stocks[b]]


def _met_on(pairs: list[tuple[str, str, str]], stocks: dict[str, list[str]]) -> list[tuple[str, ...]]:
    """The rootstocks that each pair is compared on."""
    return [tuple(_shared(stocks, a, b)) if stock == ALL_STOCKS else (stock,) for a, b, stock in pairs]


def _weights(side: pd.Series, met: list[tuple[str, ...]], cells: tuple[tuple[str, str], ...]) -> sparse.csr_array:
    """The mean over the rootstocks met on, dims (pair, cell)."""
    index = {cell: number for number, cell in enumerate(cells)}
    columns = [index[selection, stock] for selection, stocks in zip(side, met, strict=True) for stock in stocks]
    counts = np.array([len(stocks) for stocks in met])
    starts = np.concatenate([[0], np.cumsum(counts)])
    whole = sparse.csr_array((np.repeat(1.0 / counts, counts), columns, starts), shape=(len(met), len(cells)))
    whole.sort_indices()
    return whole


def _shared_winters(observations: pd.DataFrame, pairs: pd.DataFrame, met: list[tuple[str, ...]]) -> pd.Series:
    if "winter" not in observations.columns:
        return pd.Series(pd.NA, index=pairs.index, dtype="Int64")
    seen = observations.loc[stands_open(observations), ["selection", "rootstock", "winter"]].drop_duplicates()
    of_cell: dict[tuple[str, str], set[str]] = {}
    for selection, rootstock, winter in seen.itertuples(index=False, name=None):
        of_cell.setdefault((selection, rootstock), set()).add(winter)
    of_stocks: dict[tuple[str, tuple[str, ...]], set[str]] = {}

    def winters(selection: str, stocks: tuple[str, ...]) -> set[str]:
        if (selection, stocks) not in of_stocks:
            of_stocks[selection, stocks] = set().union(*(of_cell[selection, stock] for stock in stocks))
        return of_stocks[selection, stocks]

    both = zip(pairs["selection_a"], pairs["selection_b"], met, strict=True)
    counts = [len(winters(a, stocks) & winters(b, stocks)) for a, b, stocks in both]
    return pd.Series(counts, index=pairs.index, dtype="Int64")
