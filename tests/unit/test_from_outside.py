"""What users add of their own, from outside the package: a table, a step, a treatment of a room.

A metric of one's own is in ``test_metrics.py``. Each takes under 30 lines, and goes through levels,
ratings, notes and report by what it takes and gives, not by a name.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne.path import FREE_FOUNDATION, GROUND, SURFACE, GivenChange
from quiet_studies import evaluated

DATA = Path(__file__).parents[2] / "data" / "music_school"


@pytest.fixture(scope="module")
def school() -> gb.Study:
    study = gb.read_study(DATA / "study.toml")
    return study.with_options([study.options[0], study.options[2]])


@pytest.fixture(scope="module")
def before(school) -> xr.Dataset:
    return evaluated(school)


def test_a_coupling_table(school, before, tmp_path) -> None:
    f = school.frequency
    table = xr.DataArray(np.linspace(0.0, -9.0, f.size), coords={"frequency": f.values})
    source = gb.Citation(key="own", author="own measurements", mark="input", status="assumed")
    own = GivenChange(table, quantity_in=GROUND, quantity_out=FREE_FOUNDATION, citations=(source,))
    study = school.with_part(as_built=school.as_built.replace(coupling=own))
    result = evaluated(study)
    old = school.as_built.elements["coupling"].level_change(f)
    moved = (result["mean_level"] - before["mean_level"]).transpose("option", "room", "frequency")
    np.testing.assert_allclose(moved.values, np.broadcast_to(table - old, moved.shape), atol=1e-9)
    text = gb.report.write_report(study, result, tmp_path / "out").read_text(encoding="utf-8")
    assert "own measurements" in text


@dataclass(frozen=True)
class Trench:
    """A trench between track and building: what one office has measured behind its own."""

    depth: float

    quantity_in = quantity_out = GROUND
    citations = (gb.Citation(key="trench", author="our trench", mark="input", status="assumed"),)

    def level_change(self, frequency):
        """More the shorter the waves are against its depth [dB]."""
        return -4.0 * np.minimum(self.depth * frequency / 200.0, 2.0)

    def valid(self, frequency):
        """From 20 Hz, where it was measured."""
        return frequency >= 20


def test_a_step_of_ones_own(school, before, tmp_path) -> None:
    path = school.as_built.insert(before="coupling", trench=Trench(depth=4.0))
    study = school.with_part(as_built=path)
    with pytest.warns(gb.ValidityWarning, match=r"'trench': 5 to 16 Hz .* \(our trench"):
        result = study.evaluate(band_levels=False)
    moved = (result["floor_level"] - before["floor_level"]).transpose("option", "room", "frequency")
    wanted = Trench(depth=4.0).level_change(school.frequency)
    np.testing.assert_allclose(moved.values, np.broadcast_to(wanted, moved.shape), atol=1e-9)
    assert "trench" in result["stage"].values
    notes = [gb.study.sentence(n) for n in gb.study.notes_of(result)]
    assert any("'trench'" in note for note in notes)
    text = gb.report.write_report(study, result, tmp_path / "out").read_text(encoding="utf-8")
    assert "our trench" in text


@dataclass(frozen=True)
class Carpet:
    """Thick carpets on a wall: a measured gain in all bands."""

    gain: float

    quantity_in = quantity_out = SURFACE
    citations = (gb.Citation(key="carpet", author="our carpets", mark="input", status="assumed"),)

    def level_change(self, frequency):
        """The same in every band [dB]."""
        return xr.full_like(frequency, -self.gain, dtype=float)

    def valid(self, frequency):
        """Everywhere."""
        return xr.ones_like(frequency, dtype=bool)


def test_a_treatment_of_ones_own(school, before) -> None:
    surfaces = {"floor": Carpet(30.0), "walls": Carpet(30.0), "ceiling": Carpet(30.0)}
    measure = gb.study.RoomMeasure(rooms=("R1.1",), treatments=surfaces, name="carpets")
    result = evaluated(school.with_options([gb.Option(name="carpets", measures=(measure,))]))
    gain = before["mean_level"].sel(option="no isolation") - result["mean_level"].sel(
        option="carpets"
    )
    np.testing.assert_allclose(gain.sel(room="R1.1").values, 30.0, atol=1e-9)
    assert float(abs(gain.drop_sel(room="R1.1")).max()) == 0.0
