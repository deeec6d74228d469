"""Other models of one stage, each believed in with a weight."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from groundborne._arguments import checked

_WHOLE = 1e-6  # weights written with a few digits add up to 1 within it


@checked(nan=("changes",), infinite=("changes",))  # refused with their addresses
@dataclass(frozen=True, kw_only=True)
class Alternative:
    """One of several models of a stage, with the weight that it is given.

    Parameters
    ----------
    stage : str
        What it is a model of, in words; those of one stage stand for each other.
    name : str
        Of the model, in words.
    weight : float
        Share of the belief in it, above 0 and below 1; those of a stage add up to 1.
    changes : mapping
        What it changes in the study file, by address; nothing for the model of the file itself.
    source : str
        Of the model and of its weight, in words.

    Raises
    ------
    ValueError
        No stage or name, or another weight.

    Examples
    --------
    >>> Alternative(stage="storeys", name="as the file has it", weight=0.7).changes
    {}
    """

    stage: str
    name: str
    weight: float
    changes: Mapping[str, Any] = field(default_factory=dict)
    source: str = ""

    def __post_init__(self) -> None:
        if not self.stage or not self.name:
            raise ValueError("Alternative: stage and name are texts that say something")
        if not 0 < self.weight < 1:
            raise ValueError(
                f"alternative {self.name!r} of {self.stage!r} has the weight {self.weight:g}; "
                "it must lie between 0 and 1, and those of a stage must add up to 1"
            )


@checked
def require_stages(alternatives: Sequence[Alternative]) -> dict[str, tuple[Alternative, ...]]:
    """Alternatives by stage, the model of the study file first.

    Parameters
    ----------
    alternatives : sequence of Alternative
        Of all stages.

    Raises
    ------
    ValueError
        A name twice, weights that do not add up to 1, no model or several ones as the file has it.

    Examples
    --------
    >>> one = Alternative(stage="storeys", name="as the file has it", weight=0.7)
    >>> other = Alternative(stage="storeys", name="held", weight=0.3, changes={"path.a": 1})
    >>> [a.name for a in require_stages([other, one])["storeys"]]
    ['as the file has it', 'held']
    """
    found: dict[str, tuple[Alternative, ...]] = {}
    for stage in dict.fromkeys(one.stage for one in alternatives):
        own = [one for one in alternatives if one.stage == stage]
        where, names = f"alternatives of {stage!r}", [one.name for one in own]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f"{where}: {name!r} is there twice")
        total = sum(one.weight for one in own)
        if abs(total - 1) > _WHOLE:
            raise ValueError(f"{where}: their weights add up to {total:.6g}; they must add up to 1")
        as_it_is = [one for one in own if not one.changes]
        if len(as_it_is) != 1:
            raise ValueError(
                f"{where}: {len(as_it_is) or 'none'} of them is without changes; exactly one must "
                "be, the model that the study file holds"
            )
        found[stage] = (*as_it_is, *(one for one in own if one.changes))
    return found


@checked
def shared_out(
    alternatives: Sequence[Alternative], points: np.ndarray[Any, Any]
) -> np.ndarray[Any, Any]:
    """Which of the alternatives of one stage each case has.

    Parameters
    ----------
    alternatives : sequence of Alternative
        Of one stage, with weights that add up to 1.
    points : ndarray
        0 to 1, of each case: in the order of these the cases go to the alternatives.

    Returns
    -------
    ndarray of int
        Place of the alternative of each case.

    Raises
    ------
    ValueError
        An alternative would have no case.

    Notes
    -----
    Largest remainders: the share of an alternative is its weight to within one case.

    Examples
    --------
    >>> two = [Alternative(stage="storeys", name=n, weight=w) for n, w in (("a", 0.7), ("b", 0.3))]
    >>> shared_out(two, np.array([0.9, 0.1, 0.6, 0.3])).tolist()
    [1, 0, 0, 0]
    """
    wanted = np.array([one.weight for one in alternatives]) * points.size
    counts = np.floor(wanted + _WHOLE).astype(int)
    rest = np.argsort(-(wanted - counts), kind="stable")[: points.size - counts.sum()]
    counts[rest] += 1
    for one, count in zip(alternatives, counts, strict=True):
        if not count:
            raise ValueError(
                f"alternative {one.name!r} of {one.stage!r} has the weight {one.weight:g}, and no "
                f"case of {points.size}; at least {np.ceil(1 / one.weight):.0f} are needed"
            )
    found = np.empty(points.size, int)
    found[np.argsort(points, kind="stable")] = np.repeat(np.arange(counts.size), counts)
    return found
