"""A survey held to its tolerance, and readings that do not fit their neighbours named."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import Numeric, finite, positive
from groundborne.citation import Citation, citation_texts
from groundborne.sizing.correction.survey import Survey, SurveyError
from groundborne.sizing.jacking.rules import CAUTIONS, JACK_PRACTICE

OUTLIER = Citation(
    key="modified-z-score",
    author="Iglewicz and Hoaglin",
    year="1993",
    title="How to detect and handle outliers",
    locator="modified z-score above 3.5",
    mark="from memory",
    status="transcribed",
)

_NEIGHBOURS = 8
_LEAST_POINTS = 5
_NORMAL = 1.4826
"""Standard deviation over median absolute deviation, normal distribution."""
_ROUNDING = 1e-8

Array = np.ndarray[Any, Any]


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class SurveyTolerance:
    """What is accepted, and what is not believed.

    Parameters
    ----------
    limit, aim : float
        Largest deviation accepted, and the one worked towards [m].
    blunder : float
        A point is never called a blunder for less than this from its neighbours' plane [m].
    score : float
        How many robust standard deviations from that plane make a blunder [-].

    Examples
    --------
    >>> SurveyTolerance(limit=5e-3, aim=10e-3)
    Traceback (most recent call last):
    ...
    ValueError: SurveyTolerance: aim is 0.01 m and limit 0.005 m; the aim is within the limit
    """

    limit: float = 10e-3
    aim: float = 5e-3
    blunder: float = 10e-3
    score: float = 3.5

    def __post_init__(self) -> None:
        where = "SurveyTolerance"
        for name in ("limit", "aim", "blunder"):
            positive(where, name, getattr(self, name), "m")
        positive(where, "score", self.score, "")
        if self.limit > 0.1:
            raise ValueError(f"{where}: limit is {self.limit:g} m; is it in mm?")
        if self.aim > self.limit:
            raise ValueError(
                f"{where}: aim is {self.aim:g} m and limit {self.limit:g} m; the aim is within the "
                "limit"
            )


def marked(where: str, judged: xr.Dataset, name: str) -> np.ndarray[Any, Any]:
    """Which points of a judged survey carry a mark.

    Raises
    ------
    SurveyError
        The marks are not True or False.
    """
    marks = judged[name]
    if marks.dtype != bool:
        raise SurveyError(
            f"{where}: judged holds {name} as {marks.dtype}; True or False of every point is "
            "needed, as judge_survey gives it"
        )
    return np.asarray(marks.values)


@checked
def judge_survey(
    *, survey: Survey, target: Numeric, tolerance: SurveyTolerance | None = None
) -> xr.Dataset:
    """Deviation of every point from its target, and which readings are not believed.

    Parameters
    ----------
    survey : Survey
        As read.
    target : float or DataArray
        Level or gap wanted [m], on ``point`` where the floor has falls.
    tolerance : SurveyTolerance, optional
        ±10 mm, aim 5 mm where left out.

    Returns
    -------
    xarray.Dataset
        On ``point``: ``x``, ``y``, ``deviation`` (above target positive), ``residual`` from the
        neighbours' plane [m], ``score``, ``blunder``, ``within_aim``, ``within_limit``; one
        sentence per blunder in ``attrs["blunders"]``.

    Raises
    ------
    SurveyError
        Too few points, all in line, more than a quarter not believed, or a scatter above
        `blunder`.

    Notes
    -----
    Rule: through the eight nearest points, not the point itself, the plane is laid that leaves the
    least trimmed sum of squares, a quarter of them left out. The residual is divided by
    √(1 + leverage), for planes continued outwards are less certain. A blunder is further than
    `blunder` from its plane, and further than `score` robust standard deviations (1.4826 times
    the median absolute deviation of all such residuals) from their median. The worst is taken out
    and all is done again until none is left, so that a blunder does not mark its neighbours.
    A true step in the floor is named too: measure again before anything is jacked there.

    References
    ----------
    Iglewicz and Hoaglin 1993 (from memory) for the score; tolerances common practice.

    Examples
    --------
    >>> from groundborne.sizing.correction.survey import Survey
    >>> x, y = (a.ravel() for a in np.meshgrid(np.arange(4) * 2.0, np.arange(3) * 2.0))
    >>> height = np.full(12, 0.05)
    >>> height[5] = 0.088
    >>> survey = Survey(quantity="gap", data=xr.Dataset(
    ...     {"x": ("point", x), "y": ("point", y), "height": ("point", height)},
    ...     coords={"point": [f"P{i}" for i in range(12)]}))
    >>> judge_survey(survey=survey, target=0.05).attrs["blunders"]
    ('point P5 at (2, 2) m is 38 mm above the plane of its neighbours: measure it again',)
    """
    where = "judge_survey"
    rule = tolerance if tolerance is not None else SurveyTolerance()
    finite(where, "target", target)
    height = survey.data["height"]
    if isinstance(target, xr.DataArray):
        if target.dims not in ((), ("point",)):
            raise ValueError(f"{where}: target has dims {target.dims}; only 'point' is known")
        if target.dims and target["point"].values.tolist() != height["point"].values.tolist():
            raise ValueError(f"{where}: target does not name the points of the survey in its order")
    elif np.ndim(target):
        raise ValueError(f"{where}: target must be a number or a DataArray on 'point'")
    deviation: Any = height - target
    place = np.stack([survey.data["x"].values, survey.data["y"].values], axis=1)
    label = survey.file or where
    residual, score, blunder = _blunders(label, place, deviation.values, rule)
    names = survey.names
    sentences = tuple(
        f"point {names[i]} at ({place[i, 0]:g}, {place[i, 1]:g}) m is "
        f"{abs(residual[i]) * 1e3:.3g} mm {'above' if residual[i] > 0 else 'below'} the plane of "
        "its neighbours: measure it again"
        for i in np.flatnonzero(blunder).tolist()
    )
    size = abs(deviation)
    # Decimals of the file do not survive the change of unit exactly.
    return xr.Dataset(
        {
            "x": survey.data["x"],
            "y": survey.data["y"],
            "deviation": deviation.assign_attrs(units="m"),
            "residual": ("point", residual, {"units": "m"}),
            "score": ("point", score),
            "blunder": ("point", blunder),
            "within_aim": size <= rule.aim + _ROUNDING,
            "within_limit": size <= rule.limit + _ROUNDING,
        },
        attrs={
            "quantity": survey.quantity,
            "limit": rule.limit,
            "aim": rule.aim,
            "blunders": sentences,
            "missing": survey.missing,
            "cautions": " ".join(CAUTIONS),
            "citations": citation_texts((JACK_PRACTICE, OUTLIER)),
        },
    )


def _blunders(
    where: str, place: Array, deviation: Array, rule: SurveyTolerance
) -> tuple[Array, Array, Array]:
    count = deviation.size
    if count < _LEAST_POINTS or np.linalg.matrix_rank(place - place.mean(axis=0), tol=1e-3) < 2:
        raise SurveyError(
            f"{where}: {count} points; {_LEAST_POINTS} or more, not all in line, are needed to "
            "tell a blunder from a floor"
        )
    blunder = np.zeros(count, bool)
    while True:
        kept = np.flatnonzero(~blunder)
        if kept.size < max(_LEAST_POINTS, 0.75 * count):
            raise SurveyError(
                f"{where}: more than a quarter of {count} readings do not fit their neighbours; "
                "the survey is not usable, repeat it"
            )
        expected, leverage = _local_planes(where, place, deviation, kept)
        residual = deviation - expected
        level = residual / np.sqrt(1 + leverage)
        middle = np.median(level[kept])
        spread = _NORMAL * np.median(np.abs(level[kept] - middle))
        # Where most readings are off, none stands out; it is the survey that is not believed.
        if spread > rule.blunder:
            raise SurveyError(
                f"{where}: readings scatter by {spread * 1e3:.3g} mm (robust standard deviation) "
                f"about the planes of their neighbours, above {rule.blunder * 1e3:g} mm; no "
                "blunder can be told from the floor, repeat the survey"
            )
        far = np.abs(level - middle)
        # Without any spread, whatever is off is infinitely many deviations off; 1 µm stands for it.
        score = far / max(spread, 1e-6)
        odd = (score > rule.score) & (np.abs(residual) > rule.blunder) & ~blunder
        if not odd.any():
            return residual, score, blunder
        blunder[np.argmax(np.where(odd, far, -1.0))] = True


def _local_planes(where: str, place: Array, z: Array, kept: Array) -> tuple[Array, Array]:
    """Plane through the believed neighbours of every point, at the point, and its leverage."""
    count = place.shape[0]
    apart = np.hypot(*(place[:, None, :] - place[None, kept, :]).transpose(2, 0, 1))
    apart[kept, np.arange(kept.size)] = np.inf
    use = min(_NEIGHBOURS, kept.size - 1)
    near = kept[np.argsort(apart, axis=1, kind="stable")[:, :use]]
    offset = place[near] - place[:, None, :]
    design = np.concatenate([np.ones((count, use, 1)), offset], axis=2)
    triples = np.array(list(combinations(range(use), 3)))
    corners = design[:, triples, :]
    area = np.abs(np.linalg.det(corners))
    size = np.abs(offset).max(axis=(1, 2))[:, None] ** 2
    sound = area > 1e-3 * size
    if not sound.any(axis=1).all():
        at = place[int(np.argmin(sound.any(axis=1)))]
        raise SurveyError(
            f"{where}: the points around ({at[0]:g}, {at[1]:g}) m are all in line; no plane can be "
            "laid there, measure beside the line as well"
        )
    corners = np.where(sound[..., None, None], corners, np.eye(3))
    values = z[near]
    planes = np.linalg.solve(corners, values[:, triples][..., None])[..., 0]
    error = (values[:, None, :] - np.einsum("pki,pti->ptk", design, planes)) ** 2
    most = max(4, use - use // 4)
    trimmed = np.sort(error, axis=2)[..., :most].sum(axis=2)
    best = np.where(sound, trimmed, np.inf).argmin(axis=1)
    own = error[np.arange(count), best]
    chosen = np.argsort(own, axis=1, kind="stable")[:, :most]
    a = np.take_along_axis(design, chosen[..., None], axis=1)
    normal = np.einsum("pki,pkj->pij", a, a)
    inverse = np.linalg.pinv(normal, rcond=1e-6, hermitian=True)
    right = np.einsum("pki,pk->pi", a, np.take_along_axis(values, chosen, axis=1))
    fitted = np.einsum("pij,pj->pi", inverse, right)[:, 0]
    eigen = np.linalg.eigvalsh(normal)
    ranked = eigen[:, 0] > 1e-6 * eigen[:, 2]
    plain = planes[np.arange(count), best, 0]
    return np.where(ranked, fitted, plain), np.maximum(inverse[:, 0, 0], 0.0)
