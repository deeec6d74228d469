"""The pack schedule: what stands under every column, what it gives, and what to watch."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from groundborne._arguments import checked
from groundborne._checks import counted, finite, positive, within
from groundborne.citation import Citation, citation_texts
from groundborne.isolation import ChosenFor, DistributedMount, LinearMount, Mount
from groundborne.sizing.loads.cases import CAUTIONS, in_service, wind_doubts
from groundborne.sizing.loads.hold_down import TIE_FORCE, hold_down
from groundborne.sizing.packs.bench import surge_frequency
from groundborne.sizing.packs.choice import Packs
from groundborne.sizing.packs.rules import pack_text
from groundborne.sizing.packs.schedule_notes import _notes
from groundborne.sizing.release.stages import creep
from groundborne.structure.element import GRAVITY

FAIL_SAFE_GAP = Citation(
    key="fail-safe-gap",
    author="practice of isolation design",
    title="a fail-safe block is met after service movement and before the mounts go solid",
    mark="common practice",
    status="practice",
)

# Column of the printed table, variable, factor, digits.
_PRINTED: tuple[tuple[str, str, float, int], ...] = (
    ("load_kn", "load", 1e-3, 0),
    ("lowest_load_kn", "lowest_load", 1e-3, 0),
    ("least_load_kn", "least_load", 1e-3, 0),
    ("tie_force_kn", "tie_force", 1e-3, 0),
    ("load_ratio", "load_ratio", 1.0, 2),
    ("deflection_mm", "deflection", 1e3, 2),
    ("deflection_low_mm", "deflection_low", 1e3, 2),
    ("deflection_high_mm", "deflection_high", 1e3, 2),
    ("natural_frequency_hz", "natural_frequency", 1.0, 2),
    ("own_mass_kg", "own_mass", 1.0, 1),
    ("surge_frequency_hz", "surge_frequency", 1.0, 1),
    ("residual_travel_mm", "least_residual_travel", 1e3, 1),
    ("residual_travel_soft_mm", "least_residual_travel_soft", 1e3, 1),
    ("fail_safe_gap_mm", "fail_safe_gap", 1e3, 1),
    ("fail_safe_gap_most_mm", "fail_safe_gap_most", 1e3, 1),
    ("lateral_stiffness_kn_mm", "lateral_stiffness", 1e-6, 2),
    ("creep_mm", "creep", 1e3, 2),
)


@checked
@dataclass(frozen=True, kw_only=True, eq=False)
class Schedule:
    """Packs of a site with their numbers.

    Parameters
    ----------
    data : Dataset
        On ``column``: ``pack`` (text), ``number``; quasi-permanent ``load`` [N], ``load_ratio``
        (highest of the types), ``deflection`` with ``deflection_low`` and ``deflection_high`` at
        the tolerance of stiffness [m], ``natural_frequency`` on a rigid base [Hz],
        ``least_residual_travel`` to solid [m] in the ``governing_case`` and
        ``least_residual_travel_soft`` at the softest parts within tolerance, ``fail_safe_gap`` with
        ``fail_safe_gap_most`` [m], ``static_stiffness``, ``dynamic_stiffness``,
        ``lateral_stiffness`` [N/m], ``loss_factor``, ``own_mass`` [kg], ``surge_frequency`` (least
        of the parts, both ends held, where they have own mass) [Hz], ``creep`` [m], ``met``,
        ``why``, ``changed`` (why a pack that was held does not stay, else empty); ``lowest_load``
        [N] over all cases in the ``lowest_case``, beside the ``least_load`` [N] that the pack needs
        and the ``tie_force`` [N] where the column lifts; with ``case``
        ``residual_travel`` [m]; with ``component`` ``count``. The attributes hold ``cautions`` and
        ``notes`` (JSON lists), ``revision``, ``proof``, ``spread`` [m] and sources.
    """

    data: xr.Dataset

    def __post_init__(self) -> None:
        for name, values in self.data.data_vars.items():
            if values.dtype.kind == "f":
                finite("Schedule", f"data[{name!r}]", values)

    @property
    def revision(self) -> str:
        """Revision of the loads."""
        return str(self.data.attrs["revision"])

    @property
    def cautions(self) -> list[str]:
        """What every reader has to know."""
        found: list[str] = json.loads(self.data.attrs["cautions"])
        return found

    @property
    def notes(self) -> list[str]:
        """What is particular to these packs."""
        found: list[str] = json.loads(self.data.attrs["notes"])
        return found

    def table(self) -> pd.DataFrame:
        """One row for each column, numbers in the units that stand in the names, rounded.

        The cautions are in ``attrs`` of the table.
        """
        data = self.data
        found: dict[str, Any] = {
            "column": data["column"].values,
            "pack": data["pack"].values,
            "number": data["number"].values,
        }
        for name, variable, factor, digits in _PRINTED:
            if variable not in data:
                continue  # parts without own mass do not surge
            found[name] = np.round(data[variable].values * factor, digits)
        for name in ("governing_case", "lowest_case"):
            found[name] = data[name].values
        found["met"] = data["met"].values
        found["why"] = data["why"].values
        frame = pd.DataFrame(found)
        frame.attrs["cautions"] = self.cautions
        return frame

    def mount(self, *, accept_unmet: bool = False, massless: bool = False) -> Mount:
        """The packs as mounts for an option of a study, with the dim ``column``.

        Parameters
        ----------
        accept_unmet : bool
            Whether columns that cannot be met go in with their nearest pack.
        massless : bool
            Leave the own mass of the parts out, to see what it costs: see
            :func:`~groundborne.sizing.surge_cost`. Never a prediction of packs that have one.

        Returns
        -------
        Mount
            Sum of the dynamic stiffness of the parts, loss factor by their share of it, and own
            mass; without any own mass a massless mount. Parts of two types in one pack surge as
            one line of their mean. They carry loads and revision they were chosen for, so that
            a study of other loads says so.

        Raises
        ------
        ValueError
            A column cannot be met, or some packs have own mass and others none.
        """
        data = self.data
        unmet = data["column"].values[~data["met"].values]
        if unmet.size and not accept_unmet:
            raise ValueError(
                f"Schedule.mount: {counted(unmet.size, 'column')} cannot be met, first "
                f"{str(unmet[0])!r}: {data['why'].sel(column=unmet[0]).item()}; "
                "change the rules, or accept_unmet"
            )
        parts = {n: data[n].drop_attrs().reset_coords(drop=True) for n in (
            "dynamic_stiffness", "static_stiffness", "loss_factor", "own_mass")}  # fmt: skip
        chosen_for = None
        if "load" in data:  # not in one that was put together by hand
            load = data["load"].drop_attrs().reset_coords(drop=True)
            chosen_for = ChosenFor(load=load, revision=str(data.attrs.get("revision", "")))
        ratio = parts["dynamic_stiffness"] / parts["static_stiffness"]
        # Summing may leave steel a rounding below 1.
        ratio = xr.where(np.abs(ratio - 1) < 1e-9, 1.0, ratio)
        if massless or not bool((parts["own_mass"] > 0).any()):
            return LinearMount(
                stiffness=parts["dynamic_stiffness"],
                loss_factor=parts["loss_factor"],
                dynamic_to_static=ratio,
                chosen_for=chosen_for,
            )
        return DistributedMount(
            stiffness=parts["dynamic_stiffness"],
            mass=parts["own_mass"],
            loss_factor=parts["loss_factor"],
            dynamic_to_static=ratio,
            chosen_for=chosen_for,
        )

    def changes_since(self, previous: Schedule, *, tolerance: float = 0.01) -> list[str]:
        """What differs from the schedule before, one sentence for each column.

        Where a pack was held and does not stay, the sentence says why.

        Parameters
        ----------
        previous : Schedule
            Of the revision before.
        tolerance : float
            Change of load that is passed over, as a share [-].
        """
        within("Schedule.changes_since", "tolerance", tolerance, 0.0, 1.0, "")
        new: Any = self.data.drop_dims(["case", "component"]).to_dataframe()
        old: Any = previous.data.drop_dims(["case", "component"]).to_dataframe()
        found = [f"{c}: gone, had {old.at[c, 'pack']}" for c in old.index.difference(new.index)]
        found += [f"{c}: new, {new.at[c, 'pack']}" for c in new.index.difference(old.index)]
        both = new.index[new.index.isin(old.index)]
        a, b = old.loc[both], new.loc[both]
        other, judged = a["pack"] != b["pack"], a["met"] != b["met"]
        heavier = (b["load"] / a["load"] - 1).abs() > tolerance
        for c in both[other | judged | heavier]:
            packs = f"{a.at[c, 'pack']} becomes {b.at[c, 'pack']}" if other[c] else "same pack"
            found.append(
                f"{c}: {packs}; load {a.at[c, 'load'] / 1e3:.0f} to {b.at[c, 'load'] / 1e3:.0f} kN"
                f", deflection {a.at[c, 'deflection'] * 1e3:.2f} to "
                f"{b.at[c, 'deflection'] * 1e3:.2f} mm"
                + ("" if b.at[c, "met"] else "; cannot be met")
                + ("; can be met now" if b.at[c, "met"] and judged[c] else "")
                + _dropped(b, c)
            )
        return found


def _dropped(schedule: Any, column: str) -> str:
    """Why the pack that was held at a column does not stay; empty where it does."""
    text = str(schedule.at[column, "changed"]) if "changed" in schedule else ""
    return f"; it was held and does not stay: {text.partition('; ')[2]}" if text else ""


@checked
def make_schedule(packs: Packs, *, years: float = 50.0) -> Schedule:
    """Work out the schedule of a choice of packs.

    Parameters
    ----------
    packs : Packs
        Result of :func:`~groundborne.sizing.choose_packs`.
    years : float
        Time for creep under the quasi-permanent load, from one minute after loading [years].

    Returns
    -------
    Schedule
        Columns that cannot be met are in it with their nearest pack, marked.

    Raises
    ------
    ValueError
        `years` is not above 0.

    Notes
    -----
    Travel left is the smallest largest deflection of the parts in a pack less the deflection of a
    case. The fail-safe gap, above the block on which the building comes to rest where mounts fail,
    is what service adds to the working deflection, with creep and the margin of the rules, rounded
    up to 0.1 mm; ``fail_safe_gap_most`` is the travel left to solid at the working load.
    Frequencies are of a rigid mass on a rigid base at the nominal dynamic stiffness.

    References
    ----------
    Fail-safe gap [common practice]; the rest [derived].

    Examples
    --------
    >>> import xarray as xr
    >>> from groundborne.sizing.packs.components import Components
    >>> from groundborne.sizing.packs.rules import PackRules
    >>> from groundborne.sizing.packs.choice import choose_packs
    >>> part = {n: ("component", [v]) for n, v in dict(
    ...     kind="spring", static_stiffness=1e6, dynamic_stiffness=1e6, loss_factor=0.01,
    ...     own_mass=20.0, least_load=5e3, rated_load=3e4, largest_load=6e4,
    ...     largest_deflection=0.06, lateral_stiffness=7e5, height=0.3, plan_x=0.2, plan_y=0.2,
    ...     stiffness_tolerance=0.05, creep_per_decade=0.001).items()}
    >>> springs = Components(data=xr.Dataset(part, coords={"component": ["S1"]}))
    >>> load = xr.DataArray([[2.5e5, 5e5]], attrs={"units": "N", "revision": "P1"},
    ...     coords={"case": ["quasi-permanent"], "column": ["A", "B"]}, dims=("case", "column"))
    >>> found = make_schedule(choose_packs(load, springs, rules=PackRules()))
    >>> found.table()[["column", "pack", "deflection_mm", "natural_frequency_hz"]].values.tolist()
    [['A', '9 × S1', 27.78, 2.99], ['B', '18 × S1', 27.78, 2.99]]
    """
    positive("make_schedule", "years", years, "years")
    part, count, load = packs.components.data, packs.count, packs.load
    used = count > 0
    static, dynamic = count @ part["static_stiffness"], count @ part["dynamic_stiffness"]

    def least(limit: xr.DataArray) -> xr.DataArray:
        lowest: xr.DataArray = xr.where(used, limit, np.inf).min("component")
        return lowest

    working = load.sel(case="quasi-permanent", drop=True)
    deflection = working / static
    travel = load / static
    at_solid = least(part["largest_deflection"])
    left = at_solid - travel
    service = travel.isel(case=np.flatnonzero(in_service(load["case"].values)))
    share = count * part["static_stiffness"] / static
    tolerance = (share * part["stiffness_tolerance"]).sum("component")
    per_decade = (share * part["creep_per_decade"]).sum("component")
    creeping: Any = creep(deflection, years=years, per_decade=per_decade)
    gap = service.max("case") - deflection + creeping + packs.rules.fail_safe_kept
    ratio = deflection * part["static_stiffness"] / part["rated_load"]
    loss = (count * part["dynamic_stiffness"] * part["loss_factor"]).sum("component") / dynamic
    lowest = hold_down(load)
    per_part = xr.where(used, part["least_load"] / part["static_stiffness"], 0.0).max("component")
    names = [str(c) for c in load["column"].values]
    texts = [pack_text(row, packs.components.names) for row in count.values]
    found: dict[str, tuple[Any, str]] = {
        "number": (count.sum("component"), "1"),
        "load": (working, "N"),
        "load_ratio": (xr.where(used, ratio, 0.0).max("component"), "1"),
        "deflection": (deflection, "m"),
        "deflection_low": (deflection / (1 + tolerance), "m"),
        "deflection_high": (deflection / (1 - tolerance), "m"),
        "natural_frequency": (np.sqrt(dynamic * GRAVITY / working) / (2 * np.pi), "Hz"),
        "residual_travel": (left, "m"),
        "least_residual_travel": (left.min("case"), "m"),
        "least_residual_travel_soft": (at_solid - travel.max("case") / (1 - tolerance), "m"),
        "fail_safe_gap": (np.ceil(gap * 1e4 - 1e-6) / 1e4, "m"),
        "fail_safe_gap_most": (at_solid - deflection, "m"),
        "static_stiffness": (static, "N/m"),
        "dynamic_stiffness": (dynamic, "N/m"),
        "lateral_stiffness": (count @ part["lateral_stiffness"], "N/m"),
        "loss_factor": (loss, "1"),
        "own_mass": (count @ part["own_mass"], "kg"),
        "creep": (creeping, "m"),
        "lowest_load": (lowest["lowest_load"], "N"),
        "least_load": (per_part * static, "N"),
        "tie_force": (lowest["tie_force"], "N"),
    }
    surge = least(xr.zeros_like(part["static_stiffness"]) + surge_frequency(packs.components))
    if bool(np.isfinite(surge).all()):
        found["surge_frequency"] = (surge, "Hz")
    data = xr.Dataset({n: v.drop_attrs().assign_attrs(units=u) for n, (v, u) in found.items()})
    data = data.reset_coords(drop=True)
    data["governing_case"] = left["case"][left.argmin("case")].drop_vars("case")
    data["lowest_case"] = lowest["lowest_case"]
    data["pack"] = ("column", texts)
    data["count"], data["met"] = count, packs.met
    data["why"] = ("column", [packs.why.get(n, "") for n in names])
    data["changed"] = ("column", [packs.changed.get(n, "") for n in names])
    cautions = [*CAUTIONS, *wind_doubts(load)]
    sources = citation_texts([FAIL_SAFE_GAP, TIE_FORCE])
    data.attrs = {
        "revision": str(load.attrs.get("revision", "")),
        "cautions": json.dumps(cautions, ensure_ascii=False),
        "notes": json.dumps(_notes(packs, data, years), ensure_ascii=False),
        "spread": packs.spread,
        "spread_bound": packs.spread_bound,
        "proof": packs.proof,
        "citations": "; ".join(filter(None, (load.attrs.get("citations", ""), sources))),
    }
    return Schedule(data=data)
