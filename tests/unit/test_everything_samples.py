"""Any number of a study may be sampled: each sample is the study with that number."""

from __future__ import annotations

import tomllib
import warnings
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import xarray as xr
from test_study_keys import VARIANTS, written_variants

import groundborne as gb
from groundborne import plot
from groundborne._checks import StudyFileError
from groundborne.csv_columns import COLUMNS, FLOOR_LOADS, FLOORS, REGISTER, ROOMS, STOREYS
from groundborne.report.tables import result_tables
from groundborne.study import keys
from groundborne.study.changes import _slots
from groundborne.study.samples import median_case
from groundborne.study.table_files import Cells

ROOT = Path(__file__).resolve().parents[2]
SMALL = ROOT / "tests" / "fuzz" / "small"
FACTORS = xr.DataArray([1.0, 0.985, 0.97], dims="sample")
CSV = {
    "floors": FLOORS, "rooms": ROOMS, "columns": COLUMNS, "storeys": STOREYS,
    "floor_loads": FLOOR_LOADS, "register": REGISTER,
}  # fmt: skip
TEXTS = ("bound",)  # on `criterion`, with numbers over all options and samples
ELSEWHERE = {
    ("rooms", "rt_500hz_s"),  # no band of these studies falls in it
    # Cases of sizing alone; shares by row are sampled in test_load_model.
    ("columns", "accidental_kn"), ("floor_loads", "structure_kn"),
    ("floor_loads", "superimposed_kn"), ("columns", "imposed_share"),
    ("floor_loads", "imposed_share"),
}  # fmt: skip
STIFF = ("hanger_deflection_m = 0.02", "hanger_stiffness_n_m = 2e5")
ABSENT = {
    "superimposed_kg_m2": 1.0, "finish_m": 0.003, "dynamic_to_static": 1.2, "poisson": 0.2,
    "element_capacity_n": 5e3, "ties_per_m2": 1.0, "tie_stiffness_n_m": 1e5, "edge_offset_m": 0.2,
    "loss_factor": 0.1, "leak_frequency_hz": 16.0, "below_floor_db": 10.0,
}  # fmt: skip
"""Numbers that no file of these studies gives: they are given where they may be."""

SPACING = "loss factors"
"""Group of numbers that set how close lines lie in bands: as close as the smallest sample asks."""

NEAR = {True: 1e-9, False: 1e-7}
"""dB, by whether a study is small: sums over waves go on as far as one of the samples asks."""


@dataclass(frozen=True)
class Number:
    """A number of a study that may be uncertain: its key, whichever study it stands in."""

    key: tuple[Any, str]
    address: str
    value: Any
    in_file: bool = True

    @property
    def group(self):
        """Numbers that are sampled together: some must keep their proportions."""
        return SPACING if "loss_factor" in self.key[1] else "all others"

    @property
    def sampled(self):
        return (FACTORS * self.value).transpose("sample", ...)


def read(path, changes):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.UnusualValueWarning)
        return gb.read_study(path, changes=changes)


def evaluated(study, options):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        study = study.with_options([o for o in study.options if o.name in options])
        few = {
            n: tuple(c for c in cs if c.of.name == "LASmax" or not isinstance(c.metric, str))
            for n, cs in study.criteria.items()
        }
        study = replace(study, criteria=few)
        return study.evaluate(band_levels=False)


def applies(row, holder, of):
    """Whether a key may stand in a table; what it depends on may be left to its default."""
    defaults = {w.key: of.rows(w.key)[0].default for w in row.when if w.key in of.names}
    return all(holder.get(w.key, defaults.get(w.key)) in w.values for w in row.when)


def as_array(value, holder):
    """Lists of numbers on their bands, or on the natural frequencies that a floor may have."""
    if not isinstance(value, list):
        return value
    bands = holder.get("frequency_hz")
    dim, labels = ("frequency", bands) if bands else ("floor_frequency", value)
    labels = np.array(labels, dtype=float)
    return xr.DataArray(np.array(value, dtype=float), coords={dim: labels})


def numbers(path):
    """Every number of a study and its tables that may be uncertain."""
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    found = []
    for address, holder, row, of in _slots(data, keys.STUDY, "", None):
        value = holder.get(row.name, ABSENT.get(row.name) if applies(row, holder, of) else None)
        if row.kind in ("number", "numbers") and row.uncertain and value is not None:
            value = as_array(value, holder)
            key = (id(row), row.name)
            found.append(Number(key, address, value, in_file=row.name in holder))
    files = {name: (name, file) for name, file in data["building"].items()}
    for name, part in {"": data, **data.get("parts", {})}.items():
        if "structure" in part:
            of = f"storeys of {name}" if name else "storeys"
            files["storeys"] = (of, part["structure"]["storeys"])
    for name, (place, file) in files.items():
        cells = Cells.read(path.parent / file, CSV[name])
        for row in CSV[name].keys:
            if row.kind == "number" and row.uncertain and cells.has(row.name):
                value, at = cells[row.name], place
                given = value[np.isfinite(value).values]
                if given.size < value.size:  # where cells are empty, one by itself
                    value, at = float(given[0]), f"{place}.{given[given.dims[0]].values[0]}"
                found.append(Number((name, row.name), f"{at}.{row.name}", value))
    return found


def paths(folder):
    return [
        *(SMALL / name / "study.toml" for name in ("lines", "tables")),
        *written_variants(folder, [*VARIANTS, ("lines", STIFF)]),
        *(ROOT / "data" / name / "study.toml" for name in ("music_school", "tower")),
    ]


@pytest.fixture(scope="module")
def groups(tmp_path_factory):
    """Tables of numbers by study; a number is sampled in the first study that holds its key."""
    done: set[Any] = set()
    found = []
    for path in paths(tmp_path_factory.mktemp("studies")):
        # Entries of lists go by name and by number, and all of one kind have the same keys.
        held = {
            n.key: n for n in reversed(numbers(path)) if n.in_file or n.key not in done
        }.values()
        for group in sorted({n.group for n in held if n.key not in done}):
            own = [n for n in held if n.group == group]
            new = [n for n in own if n.key not in done]
            found.append((path, group, own, new))
            done |= {n.key for n in own}
    return found, done


def differing(sampled, one, at, near=1e-9):
    """Variables of one sample that are not those of the study with that number, within `near`."""
    odd = []
    for name in one.data_vars:
        if name in TEXTS:
            continue
        there = sampled[name].isel(sample=at) if "sample" in sampled[name].dims else sampled[name]
        there, here = xr.broadcast(there, one[name])
        if here.dtype.kind == "f":
            same = np.isclose(there.values, here.values, rtol=near, atol=near, equal_nan=True)
        else:
            same = there.values == here.values
        if not same.all():
            odd.append(str(name))
    return odd


def shown(result):
    """Everything that is made of a result for people."""
    for note in gb.study.notes_of(result):
        assert gb.study.sentence(note)
    median = median_case(result)
    table = gb.report.assessment_table(median)
    assert np.isfinite(table["rating"]).any()
    assert gb.report.assessment_text(median)
    assert result_tables(median)
    return table


def scalar(number, at):
    one = number.sampled.isel(sample=at)
    return one if one.dims else float(one)


def options_of(study, group, new):
    """The first option, and those that hold numbers that no study before held."""
    names = [o.name for o in study.options]
    if group == SPACING:
        return names
    held = {n.address.split(".")[1] for n in new if n.address.startswith("options.")}
    within = [n for i, n in enumerate(names, 1) if {n, str(i)} & held]
    return [names[0], *(n for n in within or names[1:2] if n != names[0])]


def test_every_number_that_may_be_uncertain_stands_in_a_study(groups):
    held = groups[1]
    tables = {id(of): of for _, of, _ in keys.places()}.values()
    rows = {(id(of.rows(n)[0]), n) for of in tables for n in of.names if of.rows(n)[0].uncertain}
    columns = {(name, key.name) for name, of in CSV.items() for key in of.keys if key.uncertain}
    assert (rows | columns) - held == ELSEWHERE


def test_each_sample_of_any_number_is_the_study_with_it(groups):
    for path, group, own, new in groups[0]:
        study = read(path, {n.address: n.sampled for n in own})
        options = options_of(study, group, new)
        result = evaluated(study, options)
        last = evaluated(read(path, {n.address: scalar(n, 2) for n in own}), options)
        compared = [(2, last)]
        if path.parent.parent == SMALL and group != SPACING:  # the first sample is the file's
            added = {n.address: scalar(n, 0) for n in own if not n.in_file}
            if added:  # defaults that the file leaves out
                compared.append((0, evaluated(read(path, added), options)))
        for at, one in compared:
            near = 0.005 if group == SPACING else NEAR[path.parent.parent == SMALL]
            assert differing(result, one, at, near) == [], (path, group, at)
        shown(result)


TOGETHER = {
    "structure.foundation.shear_wave_speed_m_s": 250.0,
    "storeys.superimposed_kg_m2": None,
    "storeys.slab_thickness_m": None,
    "options.rubber and floors.base.natural_frequency_hz": 9.0,
}


@pytest.fixture(scope="module")
def together():
    """Soil, mass, slab and mount sampled together, each its own way; and the loop of scalars."""
    path = SMALL / "lines" / "study.toml"
    held = {n.address: n.value for n in numbers(path)}
    drawn = np.random.default_rng(5).uniform(0.9, 1.1, (len(TOGETHER), 3))
    factors = {a: xr.DataArray(f, dims="sample") for a, f in zip(TOGETHER, drawn, strict=True)}

    def result(at=None):
        changes = {}
        for address, factor in factors.items():
            value = factor * held[address] if at is None else factor.isel(sample=at) * held[address]
            changes[address] = value if value.dims else float(value)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", gb.ValidityWarning)
            return read(path, changes).evaluate()

    return result(), [result(at) for at in range(3)]


def test_soil_mass_slab_and_mount_together_are_a_loop_of_scalars(together):
    result, loop = together
    for at, one in enumerate(loop):
        assert differing(result, one, at) == [], at


def test_a_sampled_result_is_shown_from_the_smallest_to_the_largest_sample(together):
    result, loop = together
    rows = shown(result).set_index(["option", "room", "criterion"])
    each = [gb.report.assessment_table(one).set_index(rows.index.names) for one in loop]
    differ = 0
    for at, row in rows.iterrows():
        margins = [one.loc[at, "margin"] for one in each]
        assert row["margin_low"] == pytest.approx(min(margins), abs=0.101)  # rounded by itself
        assert row["margin_high"] == pytest.approx(max(margins), abs=0.101)
        answers = {one.loc[at, "answer"] for one in each}
        if answers >= {"met", "not met"}:
            assert row["answer"] == "within the uncertainty"
            differ += 1
        elif answers in ({"not met"}, {"not shown"}):
            assert {row["answer"]} == answers
    for other in (result["rating"].isel(sample=0), result["margin"]):
        assert np.isfinite(other).any()
    assert differ or (rows["answer"] != "").all()


DRAWN = {
    "margins": {"criterion": "LASmax, maximum"},
    "floors": {"criterion": "LASmax, maximum"},
    "stages": {"room": "S1", "option": ["no isolation", "box"]},
    "insertion_loss": {},
}


@pytest.mark.parametrize("name", DRAWN)
def test_figures_take_a_sampled_result(together, name):
    from matplotlib.figure import Figure

    result, _ = together
    more = dict(DRAWN[name])
    if "criterion" in more:
        more["criterion"] = str(result["criterion"].values[0])
    data = (
        result.sel(option=["no isolation", "rubber and floors"])
        if name == "insertion_loss"
        else result
    )
    ax = getattr(plot, name)(data, ax=Figure().add_subplot(), **more)
    drawn = [*ax.lines, *ax.collections]
    assert drawn
    for line in ax.lines:
        assert not np.isnan(np.asarray(line.get_ydata(), dtype=float)).all()


def test_a_number_that_makes_another_study_says_that_it_takes_no_samples():
    changes = {"bands.low_hz": FACTORS, "floors.storeys": FACTORS}
    with pytest.raises(StudyFileError) as caught:
        read(SMALL / "lines" / "study.toml", changes)
    assert str(caught.value).count("is a DataArray; it takes no samples, a number is needed") == 2
