"""What the sections of a report are written from: a study, its result and their tables."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import pandas as pd
import xarray as xr

from groundborne._checks import StudyError
from groundborne.bands import label
from groundborne.plot.style import both_ends
from groundborne.rating import Scale
from groundborne.rating.scale import scales_of
from groundborne.report.assessment import by_urgency, worst_of_group
from groundborne.report.budget_table import NOW, budget_table, worth_table
from groundborne.report.choice import Choice, choose
from groundborne.report.handover import Handover
from groundborne.report.handover_tables import handover_frames
from groundborne.report.rated_spectra import spectra_table
from groundborne.report.rooms import single_case
from groundborne.report.tables import report_tables
from groundborne.study import Study
from groundborne.study.cases import level_spreads
from groundborne.study.deciding import error_budget
from groundborne.study.equipment import equipment_assessment
from groundborne.study.measuring import best_measurements
from groundborne.study.rated_spectrum import RatedSpectrum, rated_spectrum
from groundborne.study.samples import ERRORS, median_case
from groundborne.uncertainty import Spread

Row = Mapping[Any, Any]

BUDGET_SAMPLES = 1024
"""Samples beside the first-order budget of a report: enough for a standard deviation."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Facts:
    """A study and its result, with what several sections ask of them.

    Parameters
    ----------
    study : Study
        What was evaluated.
    result : Dataset
        Its result, with samples or without.
    mechanics : Dataset, optional
        Cases of the mechanics that its answers rest on.
    handover : Handover, optional
        What was measured when the building was handed over.
    """

    study: Study
    result: xr.Dataset
    mechanics: xr.Dataset | None = None
    handover: Handover | None = None

    @cached_property
    def median(self) -> xr.Dataset:
        """The result without samples."""
        return median_case(self.result)

    @cached_property
    def single(self) -> xr.Dataset:
        """The same with one spectrum for each option and room."""
        return median_case(single_case(self.result))

    @property
    def sure(self) -> bool:
        """Whether answers are with probabilities."""
        return ERRORS in self.result.attrs

    @property
    def asked(self) -> float:
        """Probability from which a criterion counts as met."""
        return float(self.result.attrs.get("probability_asked", 1.0))

    @property
    def options(self) -> list[str]:
        """Names, in the order of the study."""
        return [o.name for o in self.study.options]

    @property
    def first(self) -> str:
        """What the others are compared with."""
        return self.options[0]

    def short(self, option: str) -> str:
        """Number of an option, as headers and keys have it."""
        return option_key(self.options, option)

    def label(self, option: str) -> str:
        """Name of an option in figures: of a long one its number and both ends."""
        if len(option) <= _LONG_NAME:
            return option
        return f"{self.short(option)} {both_ends(option, _LONG_NAME)}"

    @cached_property
    def criteria(self) -> list[str]:
        """Labels of the criteria of rooms."""
        return [str(c) for c in self.result["criterion"].values.tolist()]

    @cached_property
    def scales(self) -> dict[str, Scale]:
        """What the numbers of each criterion mean."""
        return scales_of(self.median)

    @cached_property
    def equipment_scales(self) -> dict[str, Scale]:
        """The same of the criteria of equipment."""
        return scales_of(equipment_assessment(self.median)) if self.study.equipment else {}

    @cached_property
    def _of_result(self) -> dict[str, pd.DataFrame]:
        return report_tables(self.study, self.median)

    @cached_property
    def frames(self) -> dict[str, pd.DataFrame]:
        """Tables of the report by name, as their files hold them."""
        found = dict(self._of_result)
        keys = found["assessment"]
        spectra = [
            (f"{row['room']}-C{self.criteria.index(str(row['criterion'])) + 1}", spectrum)
            for row in self.critical
            if (spectrum := self.spectrum(str(row["room"]), str(row["criterion"]),
                                          tuple(self.options))) is not None
        ]  # fmt: skip
        if spectra:
            found["rated_spectra"] = spectra_table(spectra, self.options)
        if self.budget is not None and self.measuring is not None:
            found["error_budget"] = budget_table(self.budget, keys)
            found["measurements_worth"] = worth_table(self.measuring, keys)
        if self.handover is not None:
            found |= handover_frames(self.handover, self.median)
        return found

    @cached_property
    def table(self) -> pd.DataFrame:
        """The assessment of the rooms, with the keys of its rows."""
        return self._of_result["assessment"]

    @cached_property
    def equipment(self) -> pd.DataFrame | None:
        """The same of equipment; None where there is none."""
        return self._of_result.get("equipment")

    @cached_property
    def equipment_urgent(self) -> list[Row]:
        """Rows of equipment under the chosen option, what governs first; none without any."""
        if self.equipment is None:
            return []
        own = self.equipment[self.equipment["option"] == self.chosen]
        rows: list[Row] = [*by_urgency(own).to_dict("records")]
        return rows

    @cached_property
    def choice(self) -> Choice:
        """The option that the report speaks of."""
        each = [self.table[["option", "answer"]]]
        if self.equipment is not None:
            each.append(self.equipment[["option", "answer"]])
        return choose(self.study, self.median, pd.concat(each))

    @property
    def chosen(self) -> str:
        """Its name."""
        return self.choice.option

    @property
    def mounted(self) -> bool:
        """Whether it stands the building, or a part of it, on mounts."""
        return next(o for o in self.study.options if o.name == self.chosen).is_mounted

    @cached_property
    def shown(self) -> list[str]:
        """Before and after: the first option and the one the report speaks of."""
        return list(dict.fromkeys([self.first, self.chosen]))

    @cached_property
    def urgent(self) -> list[Row]:
        """Rows of the chosen option, what governs first."""
        own = self.table[self.table["option"] == self.chosen]
        rows: list[Row] = [*by_urgency(own).to_dict("records")]
        return rows

    @property
    def governing(self) -> Row:
        """The row that governs the chosen option."""
        return self.urgent[0]

    @cached_property
    def critical(self) -> list[Row]:
        """What governs each group of rooms under the chosen option, the worst first."""
        seen: set[str] = set()
        found = []
        for row in self.urgent:
            if row["group"] not in seen:
                seen.add(row["group"])
                found.append(row)
        return found[:MOST_CRITICAL]

    @property
    def margin(self) -> str:
        """Column of the margin that is spoken of: with errors the median."""
        return "margin_median" if "margin_median" in self.table else "margin"

    def row(self, option: str, room: str, criterion: str) -> Row:
        """A row of the assessment."""
        of = self.table
        here = of[(of["option"] == option) & (of["room"] == room) & (of["criterion"] == criterion)]
        return here.to_dict("records")[0]

    def worst(self, option: str) -> Row:
        """What governs an option."""
        return by_urgency(self.table[self.table["option"] == option]).to_dict("records")[0]

    @cached_property
    def _spreads(self) -> tuple[Spread, ...] | None:
        """Errors of levels, once for all spectra; None where none are shown."""
        if not self.sure or self.lacks_cases:
            return None
        return level_spreads("report", self.study, self.single, None, self.mechanics)

    @property
    def lacks_cases(self) -> bool:
        """Whether the answers rest on cases of the mechanics that were not given."""
        cases = int(self.result.attrs.get("cases_of_mechanics", 1))
        needed = bool(self.study.uncertain or self.study.alternatives) or cases > 1
        return needed and self.mechanics is None

    def spectrum(self, room: str, criterion: str, options: tuple[str, ...]) -> RatedSpectrum | None:
        """What a criterion is rated of in a room; None of what was not kept of the trains."""
        try:
            return rated_spectrum(
                self.study, self.single, room=room, criterion=criterion, options=options,
                spreads=self._spreads, mechanics=self.mechanics,
            )  # fmt: skip
        except ValueError:  # fewer trains than the statistic asks, of a part of a result
            return None

    def governing_band(self, row: Row) -> float:
        """Band, or octave, that contributes most to a rating [Hz]."""
        place = {k: row[k] for k in ("option", "room", "criterion")}
        return float(self.single["governing_band"].sel(place))

    def governing_words(self, row: Row) -> str:
        """The same in words: an octave is named as one.

        A noise rating is of octaves, whose centres are names of third octaves too.
        """
        each = (c for of in self.study.criteria.values() for c in of)
        of = next(c for c in each if c.label == str(row["criterion"]))
        kind = "band" if of.of.octave_curve is None else "octave"
        return f"{label(self.governing_band(row))} Hz {kind}"

    def best_measurement(self, row: Row) -> Row | None:
        """What the measurement that would do most does for an open rating; None where none does."""
        here = self._worth(row)
        return next((r for r in here if r["best"] == "yes"), None)

    def best_measurement_now(self, row: Row) -> Row | None:
        """The same of those that can be made before the building stands."""
        now = [r for r in self._worth(row) if r["can_be_made"] == NOW and r["reduction"] >= _TELLS]
        if self.best_measurement(row) is None or not now:
            return None
        return max(now, key=lambda r: float(str(r["reduction"])))

    def _worth(self, row: Row) -> list[Row]:
        worth = self.frames.get("measurements_worth")
        if worth is None:
            return []
        found: list[Row] = worth[worth["rating_key"] == row["key"]].to_dict("records")
        return found

    @property
    def handover_option(self) -> str:
        """What was built; empty where nothing was handed over."""
        return "" if self.handover is None else self.handover.option

    @property
    def result_of_stages(self) -> xr.Dataset:
        """The result whose stages are drawn: samples and all."""
        return single_case(self.result)

    @cached_property
    def groups(self) -> pd.DataFrame:
        """For each option and group of rooms what governs it."""
        return worst_of_group(self.table)

    @cached_property
    def _errors(self) -> tuple[xr.Dataset, xr.Dataset] | str:
        """Budget of errors and what measuring is worth, or why there are none."""
        if not self.sure:
            return "the answers are without probabilities"
        if self.lacks_cases:
            return (
                "the answers rest on cases of the mechanics, which were not given with the result"
            )
        try:
            return (
                error_budget(
                    self.study, self.median, samples=BUDGET_SAMPLES, mechanics=self.mechanics
                ),
                best_measurements(self.study, self.median, mechanics=self.mechanics),
            )
        except StudyError as error:  # such as too few cases
            return str(error)

    @property
    def budget(self) -> xr.Dataset | None:
        """Errors of every rating by source; None where they cannot be told."""
        return None if isinstance(self._errors, str) else self._errors[0]

    @property
    def measuring(self) -> xr.Dataset | None:
        """What each measurement would do; None likewise."""
        return None if isinstance(self._errors, str) else self._errors[1]

    @property
    def why_no_budget(self) -> str:
        """Why errors cannot be told by source; empty where they can."""
        return self._errors if isinstance(self._errors, str) else ""


_TELLS = 0.5  # dB of an interval, below which a measurement tells nothing
_LONG_NAME = 40  # characters of an option that figures hold

MOST_CRITICAL = 6
"""Groups of rooms whose governing room is shown by itself."""


def option_key(options: list[str], option: str) -> str:
    """Number of an option in headers and keys.

    Examples
    --------
    >>> option_key(["as built", "springs"], "springs")
    'O2'
    """
    return f"O{options.index(option) + 1}"
