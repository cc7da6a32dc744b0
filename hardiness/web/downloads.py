"""The tables that can be taken away: what each rests on, and what makes it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from hardiness import schema
from hardiness.flow import Flow
from hardiness.report.tables import NamedTable
from hardiness.schema import RECORD_TABLES, Column
from hardiness.trial import Trial


@dataclass(frozen=True, slots=True)
class Takeable:
    """A table that can be taken away.

    Parameters
    ----------
    meaning : str
        What a row is.
    stage : str
        What must be worked out, one of :data:`hardiness.web.jobs.NAMES`.
    make : callable
        Makes it from the flow.
    columns : callable
        Its columns, from the flow: those of freezes follow the trial's thresholds.
    """

    meaning: str
    stage: str
    make: Callable[[Flow], pd.DataFrame]
    columns: Callable[[Flow], Sequence[Column]]

    def named(self, name: str, flow: Flow) -> NamedTable:
        """Make it.

        Parameters
        ----------
        name : str
        flow : Flow

        Returns
        -------
        NamedTable
        """
        return NamedTable(name, self.meaning, self.make(flow), tuple(self.columns(flow)))


def _measured(flow: Flow) -> Sequence[Column]:
    return schema.freeze_columns(flow.settings.rules.thresholds, flow.settings.rules.held_h)


ANSWERS: Mapping[str, Takeable] = {
    "floors": Takeable(
        "tolerance floors: 9 in 10 come through alive; 90 % intervals",
        "floors",
        lambda flow: flow.floors(),
        lambda flow: schema.FLOORS,
    ),
    "claims": Takeable(
        "hearsay held against the evidence", "floors", lambda flow: flow.claims, lambda flow: schema.CLAIMS
    ),
    "compare": Takeable(
        "differences of pairs of selections", "floors", lambda flow: flow.compare(), lambda flow: schema.COMPARE
    ),
    "ranks": Takeable("who stands where", "floors", lambda flow: flow.ranks(), lambda flow: schema.RANKS),
    "rootstocks": Takeable(
        "differences of rootstocks", "floors", lambda flow: flow.rootstocks(), lambda flow: schema.ROOTSTOCKS
    ),
    "freezes": Takeable("a row per freeze and sensor", "freezes", lambda flow: flow.freezes, _measured),
    "exposures": Takeable(
        "a row per plant and freeze",
        "exposures",
        lambda flow: flow.exposures,
        lambda flow: (*schema.EXPOSED, *_measured(flow)),
    ),
    "observations": Takeable(
        "a row per plant and scored window: what the model sees",
        "observations",
        lambda flow: flow.observations,
        lambda flow: schema.OBSERVATIONS,
    ),
    "left_out": Takeable(
        "what does not count, and why", "observations", lambda flow: flow.left_out, lambda flow: schema.LEFT_OUT
    ),
}


def records_table(trial: Trial, name: str) -> NamedTable:
    """Give a table of records that count.

    Parameters
    ----------
    trial : Trial
    name : str
        One of ``schema.RECORD_TABLES``.

    Returns
    -------
    NamedTable
    """
    columns = RECORD_TABLES[name].columns
    return NamedTable(name, f"the records of {name} that count", trial.store.current(name), columns)
