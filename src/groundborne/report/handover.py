"""What was measured when a building was handed over, as a report takes it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import StudyError, known
from groundborne.commissioning.provenance import (
    CALIBRATED_WITH,
    FINGERPRINTS,
    PROVENANCE,
    CalibrationError,
    calibration_labels,
    require_unused,
)

VALIDATES, LOOKED_AT = "validates", "calibrated it, validates nothing"


# Rooms, bands and criteria of one part are not those of another.
@checked(own_labels=("answers", "levels", "isolation", "causes", "fits", "static", "learnt"))
@dataclass(frozen=True, kw_only=True, eq=False)
class Handover:
    """Results of commissioning, to be reported beside the prediction.

    Parameters
    ----------
    option : str
        As built.
    answers : sequence of Dataset
        From :func:`~groundborne.commissioning.judge_measured`, one for each measurement.
    levels : sequence of Dataset
        From :func:`~groundborne.commissioning.compare_levels`.
    isolation : mapping of str to Dataset
        From :func:`~groundborne.commissioning.measured_insertion_loss` and
        :func:`~groundborne.commissioning.measured_level_difference`, by place.
    causes : mapping of str to Dataset
        From :meth:`~groundborne.commissioning.Diagnosis.of`, by place.
    fits : mapping of str to Dataset
        From :func:`~groundborne.commissioning.fit_transfer`, by place.
    static : Dataset, optional
        From :func:`~groundborne.commissioning.static_summary`.
    learnt : sequence of Dataset
        From :func:`~groundborne.commissioning.update_table`.

    Raises
    ------
    StudyError
        Nothing at all, or a part that is not what it is handed over as; the sentence names it.

    Examples
    --------
    >>> Handover(option="springs")
    Traceback (most recent call last):
    ...
    groundborne._checks.StudyError: Handover: nothing is handed over; give one result at least
    """

    option: str
    answers: tuple[xr.Dataset, ...] = ()
    levels: tuple[xr.Dataset, ...] = ()
    isolation: Mapping[str, xr.Dataset] = field(default_factory=dict)
    causes: Mapping[str, xr.Dataset] = field(default_factory=dict)
    fits: Mapping[str, xr.Dataset] = field(default_factory=dict)
    static: xr.Dataset | None = None
    learnt: tuple[xr.Dataset, ...] = ()

    def __post_init__(self) -> None:
        where = "Handover"
        each = [
            *(("answers", d, ("margin_low", "trains_error")) for d in self.answers),
            *(("levels", d, ("standardised", "covariance")) for d in self.levels),
            *(("isolation", d, ("value", "at_least")) for d in self.isolation.values()),
            *(("causes", d, ("expected", "standing")) for d in self.causes.values()),
            *(("fits", d, ("fitted", "low_open")) for d in self.fits.values()),
            *(("learnt", d, ("prior_sum", "posterior_sum")) for d in self.learnt),
        ]
        if self.static is not None:
            each.append(("static", self.static, ("not_met", "open")))
        if not each:
            raise StudyError(f"{where}: nothing is handed over; give one result at least")
        for name, data, needed in each:
            for variable in needed:
                if variable not in data:
                    raise StudyError(
                        f"{where}: {name} holds no {variable!r}; pass what the functions of "
                        "groundborne.commissioning gave"
                    )
        for data in self.levels:
            if data.attrs["option"] != self.option:
                raise StudyError(
                    f"{where}: levels were compared with the option {data.attrs['option']!r}, and "
                    f"{self.option!r} was built"
                )

    def require_of(self, result: xr.Dataset) -> None:
        """Refuse results of another study.

        Parameters
        ----------
        result : Dataset
            Of the study that is reported.

        Raises
        ------
        StudyError
            An option, room or criterion that the result does not hold.
        CalibrationError
            Answers by data that calibrated the prediction in the report.
        """
        where = "Handover"
        known(where, "option", self.option, [str(o) for o in result["option"].values], StudyError)
        for data in (*self.answers, *self.levels, *self.learnt):
            for dim in ("room", "criterion"):
                names = [str(n) for n in result[dim].values]
                for name in data[dim].values if dim in data.dims else ():
                    known(where, dim, str(name), names, StudyError)
        for data in self.answers:
            require_unused(
                where, str(data.attrs[PROVENANCE]), data.attrs.get(FINGERPRINTS, []), result.attrs
            )

    @property
    def calibrated_with(self) -> list[str]:
        """Labels of the measurements from which something was learnt."""
        found = [label for table in self.learnt for label in calibration_labels(table.attrs)]
        return list(dict.fromkeys(found))


def role_of(comparison: xr.Dataset) -> str:
    """What compared levels may be for the prediction they were compared with."""
    try:
        require_unused(
            "role_of", str(comparison.attrs[PROVENANCE]), comparison.attrs.get(FINGERPRINTS, []),
            {CALIBRATED_WITH: comparison.attrs.get(CALIBRATED_WITH, "{}")},
        )  # fmt: skip
    except CalibrationError:
        return LOOKED_AT
    return VALIDATES
