"""One selection against all others: by how many degrees it is hardier, with intervals.

``prepare_pairs`` turns the comparison table round so that one selection stands first in every pair, ``draw_pairs`` puts
the differences on pages: left of the line the selection is hardier.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
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
from hardiness.units import difference_to_fahrenheit

CLEAR = 0.95  # probability from which one of a pair is said to be hardier
METHOD = (
    "Dot: median difference of the tolerance floors; left of 0 {name} is hardier; line: central 90 % interval. Each "
    "interval speaks for its pair alone: of many, one in ten misses. A pair may be settled while the ranks of the two "
    "overlap (figure ranks): those weigh all selections at once. Winters: those in which both were scored. In freezes "
    "like those tested."
)


@dataclass(frozen=True, slots=True)
class Pairs:
    """What the figure shows.

    Parameters
    ----------
    words : Words
    units : str
    selection : str
    rows : tuple of Row
        The most beaten first; differences in the trial's unit.
    """

    words: Words
    units: str
    selection: str
    rows: tuple[Row, ...]


def prepare_pairs(
    table: pd.DataFrame, *, selection: str, rootstock: str, settings: Settings, checks: Collection[str] = ()
) -> Pairs:
    """Turn comparisons into what the figure shows.

    Parameters
    ----------
    table : pandas.DataFrame
        Columns of ``schema.COMPARE``.
    selection : str
        Who stands first in every pair.
    rootstock : str
        ``all``: mean over the stocks both stand on.
    settings : Settings
    checks : collection of str
        Selections whose hardiness is known.

    Returns
    -------
    Pairs
    """
    name = clean(selection)
    where = "over the rootstocks they share" if rootstock == "all" else words.on_stock(clean(rootstock))
    own = table[table["rootstock"] == rootstock]
    ahead, behind = own[own["selection_a"] == selection], own[own["selection_b"] == selection]
    turned = behind.assign(selection_b=behind["selection_a"], difference_c=-behind["difference_c"],
                           low_c=-behind["high_c"], high_c=-behind["low_c"],
                           probability_a_hardier=1 - behind["probability_a_hardier"])  # fmt: skip
    parts = [part for part in (ahead, turned) if len(part)]
    facts = f"{clean(settings.name)} · {where}"
    if not parts:
        title = (
            f"{name or 'No selection'} cannot be compared {where} yet" if name else "No selection can be compared yet"
        )
        empty = "It takes another selection on the same rootstock with a score after a freeze that it met."
        return Pairs(Words(title, clean(settings.name), "", f"{title}. {empty}", empty), settings.units, selection, ())
    pairs = pd.concat(parts).sort_values(["difference_c", "selection_b"], kind="stable")
    step = difference_to_fahrenheit if settings.units == "F" else float
    rows = tuple(
        Row(
            clean(str(record["selection_b"])), "check" if record["selection_b"] in checks else "",
            step(record["low_c"]), step(record["difference_c"]), step(record["high_c"]),
            (words.number(step(record["difference_c"])), chance(float(record["probability_a_hardier"])),
             "–" if pd.isna(record["shared_winters"]) else str(int(record["shared_winters"]))),
        )
        for record in pairs.to_dict("records")
    )  # fmt: skip
    hardier = int((pairs["probability_a_hardier"] >= CLEAR).sum())
    tender = int((pairs["probability_a_hardier"] <= 1 - CLEAR).sum())
    title = _title(name, rows, hardier, tender)
    listed = "; ".join(f"against {row.name}: {row.figures[0]}, probability {row.figures[1]}" for row in rows)
    said = Words(
        title,
        f"{facts} · a pair is settled from a probability of {CLEAR:g} on",
        METHOD.format(name=name),
        f"{title}. {listed}.",
    )
    return Pairs(said, settings.units, selection, rows)


def _title(name: str, rows: Sequence[Row], hardier: int, tender: int) -> str:
    """Say how many are settled, and which way."""
    others = words.count(len(rows), "other")
    if not (hardier or tender):
        rivals = f"any of {others}" if len(rows) > 1 else rows[0].name
        return f"Whether {name} is hardier than {rivals} is not settled"
    parts = [f"hardier than {hardier}"] if hardier else []
    parts += [f"more tender than {tender}"] if tender else []
    parts[0] += f" of {others}"
    unsettled = len(rows) - hardier - tender
    return f"{name} is {', '.join(parts)}{f'; {unsettled} not settled' if unsettled else ''}"


def draw_pairs(prepared: Pairs, *, page: str = "A4") -> list[Sheet]:
    """Draw the differences.

    Parameters
    ----------
    prepared : Pairs
    page : str
        One of the page formats.

    Returns
    -------
    list of Sheet
        As many pages as the pairs take.

    Raises
    ------
    InputError
        If there is no such format.
    """
    form = format_named(page)
    with drawing():
        if prepared.words.empty:
            return empty_plate(form, prepared.words)
        low = min([-1.0, *(row.low for row in prepared.rows)])
        high = max([1.0, *(row.high for row in prepared.rows)])
        heads = ("against", f"°{prepared.units}", "probability", "winters")
        sides = ("hardier", "more tender")
        layout = RowsLayout(low - 0.1, high + 0.1, heads, lambda value: words.number(value, 0), 1.0, 0.0, sides)
        return draw_row_pages(prepared.rows, layout, prepared.words, form)
