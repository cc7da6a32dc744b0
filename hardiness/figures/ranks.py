"""Who stands where: the rank of each selection with its interval, hardiest on top.

``prepare_ranks`` takes the ranks table for one rootstock, ``draw_ranks`` puts it on pages.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass

import pandas as pd

from hardiness import words
from hardiness.figures.formats import format_named
from hardiness.figures.plate import Words, empty_plate
from hardiness.figures.row_pages import Row, RowsLayout, draw_row_pages
from hardiness.figures.sheet import Sheet
from hardiness.figures.style import drawing
from hardiness.figures.typeface import clean
from hardiness.sentences import chance
from hardiness.settings import Settings

METHOD = (
    "Across: the rank, 1 is the hardiest. Dot: its median; line: central 90 % interval. Where lines overlap, ranks "
    "alone leave the order open; the difference of that pair (figure pairs) may still settle it. Over all stocks a "
    "selection is ranked by its own effect, the stocks' part taken out. Probabilities weigh all rivals at once. In "
    "freezes like those tested."
)


@dataclass(frozen=True, slots=True)
class Ranks:
    """What the figure shows.

    Parameters
    ----------
    words : Words
    ranked : int
        How many are ranked.
    rows : tuple of Row
        Hardiest first.
    """

    words: Words
    ranked: int
    rows: tuple[Row, ...]


def prepare_ranks(
    table: pd.DataFrame, *, rootstock: str, settings: Settings, checks: Collection[str] = (), best: int = 3
) -> Ranks:
    """Turn ranks on one rootstock into what the figure shows.

    Parameters
    ----------
    table : pandas.DataFrame
        Columns of ``schema.RANKS``.
    rootstock : str
        ``all`` for all together.
    settings : Settings
    checks : collection of str
        Selections whose hardiness is known.
    best : int
        How many the best are, as the table was made.

    Returns
    -------
    Ranks
    """
    own = table[table["rootstock"] == rootstock]
    where = "over all rootstocks" if rootstock == "all" else words.on_stock(clean(rootstock))
    facts = f"{clean(settings.name)} · {words.count(len(own), 'selection')} {where}"
    if own.empty:
        title = f"No selection can be ranked {where} yet"
        empty = "It takes scores of selections that met a freeze: hardiness add scores FILE."
        return Ranks(Words(title, clean(settings.name), "", f"{title}. {empty}", empty), 0, ())
    rows = tuple(
        Row(
            clean(str(record["selection"])),
            "check" if record["selection"] in checks else "",
            float(record["rank_low"]), float(record["rank"]), float(record["rank_high"]),
            (_chance(record["probability_among_best"]), _chance(record["probability_hardier_than_checks"])),
        )
        for record in own.to_dict("records")
    )  # fmt: skip
    first = own.iloc[0]
    sure = float(first["probability_among_best"])
    if len(own) == 1:
        title = f"{rows[0].name} alone is ranked {where}: nothing to compare it with"
    elif rows[0].high < min(row.low for row in rows[1:]):
        title = f"{rows[0].name} is the hardiest {where}, and no other comes near"
    else:
        rivals = sum(row.low <= rows[0].high for row in rows[1:])
        every = rivals == len(rows) - 1
        whose = "rank of 1 other overlaps" if rivals == 1 else f"ranks of {rivals} others overlap"
        title = f"{rows[0].name} leads {where}; the {whose} its own"
        if every and rows[0].middle == rows[1].middle:
            which = f"all {len(rows)}" if len(rows) > 2 else "both"
            title = f"No selection stands out {where}: the ranks of {which} overlap"
    if len(own) > best:
        facts += f" · {rows[0].name} is among the best {best} with probability {chance(sure)}"
    listed = "; ".join(f"{row.name}: rank {row.middle:g}, {row.low:g} to {row.high:g}" for row in rows)
    return Ranks(Words(title, facts, METHOD, f"{title}. {listed}."), len(own), rows)


def _chance(probability: float | None) -> str:
    return "–" if probability is None or math.isnan(probability) else chance(float(probability))


def draw_ranks(prepared: Ranks, *, page: str = "A4", best: int = 3) -> list[Sheet]:
    """Draw the ranks.

    Parameters
    ----------
    prepared : Ranks
    page : str
        One of the page formats.
    best : int
        How many the best are.

    Returns
    -------
    list of Sheet
        As many pages as the selections take.

    Raises
    ------
    InputError
        If there is no such format.
    """
    form = format_named(page)
    with drawing():
        if prepared.words.empty:
            return empty_plate(form, prepared.words)
        heads = ("selection", f"in best {best}", "beats checks")
        layout = RowsLayout(0.5, max(prepared.ranked, 2) + 0.5, heads, lambda value: f"{value:.0f}", 1.0,
                            first=1.0, sides=("hardiest", "most tender"))  # fmt: skip
        return draw_row_pages(prepared.rows, layout, prepared.words, form)
