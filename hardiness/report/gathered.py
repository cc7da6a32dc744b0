"""Everything a report speaks of, computed once: floors, claims, checks, influence, and which selections get a page.

In: the flow. Out: :class:`Gathered`. What is costly is limited, and what the limits left out is said in the report.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
import xarray as xr

from hardiness import schema
from hardiness.figures.survival import survival_temperatures
from hardiness.flow import Flow
from hardiness.plainwords import Told
from hardiness.settings import Settings
from hardiness.tolerance.checks import STEPS, Checks, check_fit
from hardiness.tolerance.influence import influence_table, with_refits
from hardiness.tolerance.sensitivity import TOGETHER, sensitivity_table

MOST_PAGES = 40  # selections with a page of their own
MOST_CHECKED = 1200  # observations up to which a report refits the model to question it; each refit is a whole fit
Progress = Callable[[int, str], None]


@dataclass(frozen=True)
class Gathered:
    """A trial's answers.

    Parameters
    ----------
    flow : Flow
    settings : Settings
    token : str
        Hash of the records that count.
    floors : DataFrame
        ``schema.FLOORS``, untested cells among them.
    claims : DataFrame
        ``schema.CLAIMS``.
    tested : DataFrame
        The observations that are fitted.
    influence, sensitivity : DataFrame
        For the selections with pages; empty where they were not computed.
    checks : Checks or None
        None where there is nothing to check, or too much.
    order : tuple of str
        Selections, the one with the coldest claimable figure first, untested ones last.
    """

    flow: Flow
    settings: Settings
    token: str
    floors: pd.DataFrame
    claims: pd.DataFrame
    tested: pd.DataFrame
    influence: pd.DataFrame
    sensitivity: pd.DataFrame
    checks: Checks | None
    order: tuple[str, ...]

    @property
    def units(self) -> str:
        """``"C"`` or ``"F"``."""
        return self.settings.units

    @property
    def paged(self) -> tuple[str, ...]:
        """The selections with a page of their own: the first of the order."""
        return self.order[:MOST_PAGES]

    @property
    def told(self) -> Told:
        """What :func:`hardiness.plainwords.explain_selection` speaks from; choose one with ``of``."""
        return Told(
            selection="",
            floors=self.floors,
            observations=self.tested,
            influence=self.influence,
            sensitivity=self.sensitivity,
            claims=self.claims,
            grade=self.settings.worst,
            worst=self.settings.worst,
            units=self.units,
        )

    @cached_property
    def curves(self) -> dict[int, xr.DataArray]:
        """Survival curves of every cell, by grade: a middling one and the last; none where they would take too long.

        Dims (selection_rootstock, temperature, quantile). [1]
        """
        if self.tested.empty or len(self.tested) > MOST_CHECKED:
            return {}
        temperatures = [float(value) for value in survival_temperatures(self.tested)[::2]]  # smooth enough in print
        worst = self.settings.worst
        return {grade: self.flow.fit.curves(temperatures, grade) for grade in sorted({max(1, worst // 2), worst})}

    @cached_property
    def dated(self) -> dt.date | None:
        """The last day that the records speak of: of scores and of freezes; None where there are none."""
        days = [day for day in self.flow.records.scores["scored_on"] if isinstance(day, dt.date)]
        ends = self.flow.freezes["ends"]
        if len(ends):
            days.append(ends.max().tz_convert(self.settings.zone).date())
        return max(days, default=None)


def gather(
    flow: Flow, settings: Settings, token: str, progress: Progress | None = None, *, questions: bool = True
) -> Gathered:
    """Compute what a report speaks of.

    Parameters
    ----------
    flow : Flow
    settings : Settings
    token : str
        Hash of the records that count.
    progress : callable, optional
        Told how many of :data:`PARTS` are done, and what is under way.
    questions : bool
        Whether to ask what moves the floors, and whether the fit may be trusted.

    Returns
    -------
    Gathered
    """
    say = progress or (lambda done, what: None)
    say(0, "fitting")
    floors = flow.floors()
    order = selections_in_order(floors, flow.records.selections)
    influence = pd.DataFrame(columns=schema.column_names(schema.INFLUENCE))
    sensitivity = pd.DataFrame(columns=schema.column_names(schema.SENSITIVITY))
    observations = flow.observations
    tested = observations[observations["protected"] == ""]
    checks = None
    if flow.can_fit and questions:
        posterior = flow.fit.posterior
        say(1, "asking which plants and freezes matter")
        influence = influence_table(posterior, selections=order[:MOST_PAGES])
        if len(tested) <= MOST_CHECKED:
            sensitivity = sensitivity_table(posterior, variants=TOGETHER)
            checks = check_fit(
                posterior, units=settings.units, progress=lambda done, what: say(2 + done, f"checking: {what}")
            )
            influence = with_refits(influence, checks.influence)
    say(PARTS, "writing")
    claims = flow.claims
    return Gathered(flow, settings, token, floors, claims, tested, influence, sensitivity, checks, order)


PARTS = 2 + len(STEPS)


def selections_in_order(floors: pd.DataFrame, selections: pd.DataFrame) -> tuple[str, ...]:
    """Order selections: the coldest claimable figure first, then the coldest floor, then by name.

    Parameters
    ----------
    floors : DataFrame
        ``schema.FLOORS``.
    selections : DataFrame
        The register, for selections without a plant.

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> floors = pd.DataFrame({"selection": ["B", "A", "C"], "claimable_c": [-8.0, -9.0, float("nan")],
    ...                        "floor_c": [-9.0, -9.5, -4.0]})
    >>> selections_in_order(floors, pd.DataFrame({"selection": ["A", "B", "C", "D"]}))
    ('A', 'B', 'C', 'D')
    """
    best = floors.groupby("selection")[["claimable_c", "floor_c"]].min()
    names = sorted({*selections["selection"], *best.index})
    best = best.reindex(names).replace(np.nan, np.inf)
    order = best.assign(name=best.index).sort_values(["claimable_c", "floor_c", "name"])
    return tuple(order["name"])
