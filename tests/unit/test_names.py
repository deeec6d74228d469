"""What tab completion shows is what a package offers."""

from __future__ import annotations

import pkgutil
import subprocess
import sys
from dataclasses import replace
from functools import partial

import pytest
import xarray as xr

import groundborne
from groundborne import structure

PACKAGES = [
    "groundborne",
    *(m.name for m in pkgutil.iter_modules(groundborne.__path__, "groundborne.") if m.ispkg),
]


@pytest.mark.parametrize("package", PACKAGES)
def test_completion_in_a_fresh_process_shows_the_public_names(package: str) -> None:
    code = (
        f"import {package} as p\n"
        "shown = {n for n in dir(p) if not n.startswith('_')}\n"
        "missing = [n for n in p.__all__ if getattr(p, n, None) is None]\n"
        "assert shown == set(p.__all__), shown ^ set(p.__all__)\n"
        "assert not missing, missing\n"
        "import importlib, pkgutil, types\n"
        "inside = {m.name for m in pkgutil.iter_modules(p.__path__)} & set(p.__all__)\n"
        "for n in inside:\n"
        "    before = getattr(p, n)\n"
        "    importlib.import_module(p.__name__ + '.' + n)\n"
        "    assert getattr(p, n) is before, f'{n}: a module of this name hides it'\n"
        "assert p.__doc__ and len(p.__all__) == len(set(p.__all__)) > 4\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=120)


def test_an_unknown_name_is_said() -> None:
    with pytest.raises(AttributeError, match=r"groundborne\.isolation.*'nothing'"):
        _ = groundborne.isolation.nothing


@pytest.mark.parametrize(
    ("name", "package"),
    [("read_wav", "records"), ("Recording", "records"), ("ThirdOctaveBank", "waveform")],
)
def test_a_name_that_left_source_says_where_it_is(name: str, package: str) -> None:
    where = rf"groundborne\.source does not hold {name}; it is groundborne\.{package}\.{name}$"
    with pytest.raises(ImportError, match=where):
        getattr(groundborne.source, name)
    with pytest.raises(ImportError, match=where):
        exec(f"from groundborne.source import {name}")
    assert not hasattr(groundborne.source, "wav")


def test_arguments_that_had_another_name_say_what_they_are_called() -> None:
    frequency = xr.DataArray([10.0], dims="frequency")
    storey = structure.Storey(
        floor=1, height=3.0, area=0.2, youngs_modulus=33e9, density=2450.0, loss_factor=0.03,
        slab=structure.RigidMass(mass=1e4),
    )  # fmt: skip
    line = structure.ColumnLine(
        storeys=(storey,), foundation=structure.SpringFoundation(stiffness=1e9, damping=1e6)
    )
    bank = groundborne.waveform.ThirdOctaveBank(sample_rate=512.0)
    for call, old, new in (
        (partial(replace, storey), "level", "floor"),
        (partial(replace, line), "base_level", "base_floor"),
        (line.mass_from, "level", "floor"),
        (partial(groundborne.propagation.LineStoreys, line=line), "level", "floor"),
        (partial(groundborne.loads.ColumnLoads, data=xr.Dataset()), "levels", "by_floor"),
        (partial(groundborne.loads.read_loads, "loads.csv"), "levels", "by_floor"),
        (partial(groundborne.weighting.response, "A"), "lines", "frequencies"),
        (bank.response, "lines", "frequencies"),
    ):
        with pytest.raises(ValueError, match=rf"^\S+: {old} is called {new} now$"):
            call(**{old: frequency})
