"""The whole flow, from readings and scores to tolerance floors, in ten calls: read this page first.

In: what a trial holds. Out: every table of the job. It needs no store and draws nothing.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import pandas as pd
import xarray as xr

from hardiness import schema, words
from hardiness.covariates import Covariates, add_covariates
from hardiness.errors import InputError, Problem
from hardiness.observations import Joined, join_scores
from hardiness.settings import NEVER, Settings
from hardiness.tolerance.fit import Fit, fit_tolerance
from hardiness.tolerance.kinship import kinship_of
from hardiness.tolerance.terms import Kinship, Terms
from hardiness.weather.air import air_of_events, conditions_that_count
from hardiness.weather.events import freezes_table, set_aside
from hardiness.weather.gaps import HOUR_NS
from hardiness.weather.hardening import INDEX_SPAN_H
from hardiness.weather.measuring import Measured, measure_sensors
from hardiness.weather.one_by_one import OneByOne, corrected_when_asked, counted_when_asked, with_others
from hardiness.weather.placing import Exposures, expose_plants, first_standing
from hardiness.weather.quality import find_flags, freezes_in_doubt, judge_flags
from hardiness.weather.sensors import sensors_known
from hardiness.weather.transfer import Transfers, count_estimated, find_transfers
from hardiness.weather.transfer_estimates import with_estimates

WEEKS_BEFORE_NS = int(INDEX_SPAN_H * HOUR_NS)  # [ns] the weeks before a plant's first freeze say how hardened it was


@dataclass(frozen=True)
class Records:
    """What a trial holds; columns as in :mod:`hardiness.schema`.

    Parameters
    ----------
    readings : mapping of str to DataArray
        Air temperature of each sensor as it was read, dims ``(time,)``, in UTC. [degC]
    selections, plants, sensors, scores, freeze_notes, masks, calibrations : DataFrame
        The records that count.
    conditions : callable
        Reads what stations tell of the air besides, as :func:`hardiness.weather.air.conditions_that_count` takes it.
    """

    readings: Mapping[str, xr.DataArray]
    selections: pd.DataFrame
    plants: pd.DataFrame
    sensors: pd.DataFrame
    scores: pd.DataFrame
    freeze_notes: pd.DataFrame
    masks: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(schema.MASKS.names)))
    calibrations: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(schema.CALIBRATIONS.names)))
    conditions: Callable[[], Mapping[str, xr.Dataset]] = dict


@dataclass(frozen=True)
class Flow:
    """Every table of the job, each made once, when first asked for.

    Parameters
    ----------
    records : Records
    settings : Settings
    containers : bool
        Whether plants in containers count.
    """

    records: Records
    settings: Settings
    containers: bool = False

    @cached_property
    def readings(self) -> Mapping[str, xr.DataArray]:
        """The readings that count: masked ones out, dated offsets in; ``offset_c`` of sensors is still to be added."""
        r = self.records
        return counted_when_asked(r.readings, r.masks, r.calibrations, r.sensors, self.settings.zone)

    @property
    def reads_one_by_one(self) -> bool:
        """Whether there are too many readings to hold at once."""
        return isinstance(self.records.readings, OneByOne)

    @cached_property
    def _measured(self) -> Mapping[str, Measured]:
        """Freezes and hours of each sensor's readings, which are fetched once for both."""
        return measure_sensors(self.readings, self.records.sensors, self.settings)

    @cached_property
    def transferred(self) -> Transfers:
        """What other sensors say of each logger, and what they said where it was silent while plants stood."""
        r = self.records
        stood = first_standing(r.plants, r.scores, self.settings)
        since = None if stood is None else stood - WEEKS_BEFORE_NS
        kind = sensors_known(r.sensors, self.readings)["kind"]
        stations = [name for name in self.readings if kind[name] == "station"]
        told = self.conditions if stations else {}  # wind and sky are told by stations
        return find_transfers(
            self.readings,
            r.sensors,
            self.settings,
            since_ns=since,
            conditions={name: told[name] for name in stations if name in told},
            measured=self._measured,
        )

    @property
    def estimated(self) -> Mapping[str, xr.Dataset]:
        """By logger: temperatures for times when it was silent, each with its standard deviation; offsets are in."""
        return {} if self.settings.transfer == NEVER else self.transferred.estimated

    @cached_property
    def courses(self) -> Mapping[str, xr.DataArray]:
        """By logger that was silent at times: readings and estimates; ``offset_c`` is still to be added."""
        return with_estimates(self.readings, self.estimated, self.records.sensors)

    @property
    def transfers(self) -> pd.DataFrame:
        """A row per logger and source of estimates."""
        return count_estimated(self.freezes, self.transferred)

    @cached_property
    def freezes(self) -> pd.DataFrame:
        """A row per freeze and sensor."""
        r = self.records
        if self.settings.transfer == NEVER:
            return freezes_table(self.readings, r.sensors, self.settings)
        found = {sensor: one.freezes for sensor, one in self._measured.items()}
        return freezes_table(self.readings, r.sensors, self.settings, self.estimated, found)

    @cached_property
    def conditions(self) -> Mapping[str, xr.Dataset]:
        """What stations tell of the air: humidity, dew point, wind, sky; masked instants are out, offsets are in."""
        return conditions_that_count(self.records.conditions(), self.readings, self.records.sensors)

    @cached_property
    def air(self) -> pd.DataFrame:
        """A row per event: radiative or advective, and how dry the air was, by the nearest station that tells it."""
        return air_of_events(self.freezes, self.conditions, self.records.sensors, self.settings)

    @cached_property
    def flags(self) -> pd.DataFrame:
        """A row per odd stretch of readings: what is thought of it, what was decided, which freezes it touches."""
        return self._judged(values_only=False)

    @cached_property
    def freezes_in_doubt(self) -> list[str]:
        """Freezes that count and hold flagged temperatures on which nothing has been decided."""
        flags = self.flags if "flags" in self.__dict__ else self._judged(values_only=True)
        return freezes_in_doubt(flags, self.freezes_that_count)

    def _judged(self, *, values_only: bool) -> pd.DataFrame:
        r = self.records
        # offsets are in, so that sensors compare; masked readings too, so that a flag stays what it was
        readings = corrected_when_asked(r.readings, r.calibrations, r.sensors, self.settings.zone)
        flags = find_flags(readings, r.sensors, self.settings, values_only=values_only)
        return judge_flags(flags, r.masks, self.freezes, readings)

    @property
    def freezes_that_count(self) -> pd.DataFrame:
        """The freezes, without those that a note sets aside for every plant."""
        aside = set_aside(self.freezes, self.records.freeze_notes, self.records.sensors, self.settings)
        return self.freezes[~self.freezes["freeze"].isin(aside.loc[aside["all_blocks"], "freeze"])]

    @property
    def season_met(self) -> tuple[dt.date, dt.date] | None:
        """First and last day of the season on which a fitted freeze began; None without one."""
        used = self.observations.loc[self.observations["protected"] == "", "freeze"]
        starts = self.freezes.loc[self.freezes["freeze"].isin(used), "starts"].dt.tz_convert(self.settings.zone)
        south = self.settings.latitude is not None and self.settings.latitude < 0
        # The season turns with the year in the south, in July in the north.
        days = sorted(starts.dt.date, key=lambda day: ((day.month - (1 if south else 7)) % 12, day.day))
        return (days[0], days[-1]) if days else None

    @cached_property
    def exposed(self) -> Exposures:
        """Which plant met which freeze, and where no sensor could say."""
        r = self.records
        return expose_plants(
            r.plants, r.scores, self.freezes, self.readings, r.sensors, r.freeze_notes, self.settings, self.courses
        )

    @property
    def exposures(self) -> pd.DataFrame:
        """A row per plant and freeze."""
        return self.exposed.table

    @cached_property
    def joined(self) -> Joined:
        """Scores joined to the freezes they answer for."""
        r = self.records
        _refuse_grades_off_scale(r.scores, self.settings)
        return join_scores(self.exposed, r.plants, r.scores, r.sensors, self.settings, containers=self.containers)

    @property
    def observations(self) -> pd.DataFrame:
        """A row per plant and scored window."""
        return self.joined.observations

    @cached_property
    def left_out(self) -> pd.DataFrame:
        """Every score, freeze and window that does not count, with the reason."""
        parts = [part for part in (self.exposed.left_out, self.joined.left_out) if not part.empty]
        names = schema.column_names(schema.LEFT_OUT)
        return pd.concat(parts, ignore_index=True)[names] if parts else pd.DataFrame(columns=names)

    @property
    def can_fit(self) -> bool:
        """Whether any unprotected plant has an observation."""
        return bool(self.observations["protected"].eq("").any())

    @cached_property
    def kinship(self) -> Kinship | None:
        """How the observed selections are related; None where no parent of theirs is known."""
        return kinship_of(self.records.selections, self.observations["selection"].tolist())

    @cached_property
    def covariates(self) -> Covariates:
        """The observations with the columns of the terms that the settings ask for."""
        r = self.records
        readings = with_others(self.readings, self.courses)  # the weeks before an estimated freeze are estimated too
        return add_covariates(self.joined, self.freezes, readings, r.plants, r.sensors, self.settings)

    @cached_property
    def terms(self) -> Terms:
        """The terms of the model that the settings ask for, and how selections are related."""
        given = self.covariates
        return Terms(fixed=given.fixed, random=given.random, kinship=self.kinship, protection=given.protection)

    @cached_property
    def fit(self) -> Fit:
        """The tolerance model, fitted; selections are pooled towards their parents where these are known."""
        grades = len(self.settings.grades)
        return fit_tolerance(self.covariates.table, grades, span_c=self.settings.span_c, terms=self.terms)

    def with_settings(self, settings: Settings) -> Flow:
        """The same flow with other settings; tables that do not depend on what has changed are made once for both.

        Parameters
        ----------
        settings : Settings
            They differ from the flow's own in the model's terms or the held durations at most.

        Returns
        -------
        Flow
        """
        made = {"readings", "transferred", "courses", "freezes", "exposed", "joined"}
        kept = made if settings.rules == self.settings.rules else set[str]()
        if settings.model_held_h != self.settings.model_held_h:
            kept -= {"joined"}
        if settings.transfer == NEVER:
            kept -= {"transferred"}  # no table asks for it then
        other = replace(self, settings=settings)
        other.__dict__.update({name: getattr(self, name) for name in kept})  # where cached properties lie
        return other

    @cached_property
    def _answered(self) -> dict[tuple[object, ...], pd.DataFrame]:
        """Tables asked for before: each costs a walk over the whole posterior."""
        return {}

    def floors(self, survive: float = 0.9, grade: int | None = None, level: float = 0.9) -> pd.DataFrame:
        """Tolerance floors, with a row of evidence ``untested`` for every registered cell without a score.

        Parameters
        ----------
        survive : float
            Share that comes through.
        grade : int, optional
            Without reaching this grade; the last unless given.
        level : float
            Probability of the central interval.

        Returns
        -------
        DataFrame
            Columns of ``schema.FLOORS``. [degC]
        """
        names = schema.column_names(schema.FLOORS)
        key = ("floors", survive, grade, level)
        if key not in self._answered:
            fitted = self.fit.floors(survive, grade, level) if self.can_fit else pd.DataFrame(columns=names)
            self._answered[key] = _with_untested(fitted, self.records.plants)[names]
        return self._answered[key].copy()

    def compare(self, selections: list[str] | None = None, against: list[str] | None = None) -> pd.DataFrame:
        """Differences of pairs of selections.

        Parameters
        ----------
        selections, against : list of str, optional
            Only pairs of these; only pairs with one of those.

        Returns
        -------
        DataFrame
            Columns of ``schema.COMPARE``. [K]
        """
        if not self.can_fit:
            return pd.DataFrame(columns=schema.column_names(schema.COMPARE))
        return self.fit.compare(selections, against)

    @property
    def checks(self) -> list[str]:
        """The checks that have an observation."""
        register = self.records.selections
        fitted = set(self.observations.loc[self.observations["protected"] == "", "selection"])
        return sorted(set(register.loc[register["role"] == "check", "selection"]) & fitted)

    def ranks(self, best: int = 3) -> pd.DataFrame:
        """Ranks of selections on each rootstock and over all, and how they stand against the checks.

        Parameters
        ----------
        best : int
            How many the best are.

        Returns
        -------
        DataFrame
            Columns of ``schema.RANKS``.
        """
        if not self.can_fit:
            return pd.DataFrame(columns=schema.column_names(schema.RANKS))
        return self.fit.ranks(best, self.checks)

    def against_checks(self) -> pd.DataFrame:
        """Every selection against each check.

        Returns
        -------
        DataFrame
            Columns of ``schema.AGAINST_CHECKS``. [K]
        """
        if not self.can_fit:
            return pd.DataFrame(columns=schema.column_names(schema.AGAINST_CHECKS))
        return self.fit.against_checks(self.checks)

    def rootstocks(self) -> pd.DataFrame:
        """Rootstocks in pairs.

        Returns
        -------
        DataFrame
            Columns of ``schema.ROOTSTOCKS``. [K]
        """
        if not self.can_fit:
            return pd.DataFrame(columns=schema.column_names(schema.ROOTSTOCKS))
        if ("rootstocks",) not in self._answered:
            self._answered["rootstocks",] = self.fit.rootstocks()
        return self._answered["rootstocks",].copy()

    @cached_property
    def claims(self) -> pd.DataFrame:
        """Hearsay held against the evidence."""
        if not self.can_fit:
            return pd.DataFrame(columns=schema.column_names(schema.CLAIMS))
        return self.fit.claims(self.records.selections)


def _with_untested(floors: pd.DataFrame, plants: pd.DataFrame) -> pd.DataFrame:
    registered = plants[["selection", "rootstock"]].drop_duplicates().sort_values(["selection", "rootstock"])
    whole = registered.merge(floors, on=["selection", "rootstock"], how="outer", indicator=True)
    untested = whole["_merge"] == "left_only"
    whole["evidence"] = whole["evidence"].mask(untested, "untested")
    whole["open_end"] = whole["open_end"].mask(untested, "none")
    counts = ["plants", "scores", "killed"]
    whole[counts] = whole[counts].astype("Float64").fillna(0).astype("int64")
    figures = [column.name for column in schema.FLOORS if column.kind == "number"]
    whole[figures] = whole[figures].astype(float)
    whole.attrs = dict(floors.attrs)  # the fit's cautions
    return whole.sort_values(["selection", "rootstock"], ignore_index=True)


def _refuse_grades_off_scale(scores: pd.DataFrame, settings: Settings) -> None:
    """Refuse a scale that has become shorter than the scores given on it: what a grade meant is not ours to guess."""
    above = scores[scores["grade"] > settings.worst]
    if above.empty:
        return
    some = ", ".join(f"{row.plant} on {row.scored_on}" for row in above.head(3).itertuples(index=False))
    more = ", ..." if len(above) > 3 else ""
    found = f"{settings.worst + 1} grades, but {words.count(len(above), 'score')} up to grade {above['grade'].max()}"
    raise InputError(
        Problem(f"{found} ({some}{more})", f"a scale from 0 to {above['grade'].max()} or more",
                file="trial.toml, grades", hint="Give the scale its grades back, or withdraw those scores.")
    )  # fmt: skip
