"""How far the sum of base and room isolation is off, against two masses solved as a matrix."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne import bands
from groundborne.study.base_and_rooms import USUAL_LAYER, USUAL_STOREY, error_of_sum

F = bands.third_octaves(5, 250)


def matrix(f, base, base_loss, layer, layer_loss, ratio):
    """Motion of the upper of two masses over that of the ground, from K − ω²M [-]."""
    k1 = (2 * np.pi * base) ** 2 * (1 + 1j * base_loss)
    k2 = ratio * (2 * np.pi * layer) ** 2 * (1 + 1j * layer_loss)
    mass = np.diag([1.0, ratio])
    stiffness = np.array([[k1 + k2, -k2], [-k2, k2]])
    w2 = (2 * np.pi * f) ** 2
    return np.array([np.linalg.solve(stiffness - w * mass, [k1, 0.0])[1] for w in w2])


def by_matrix(label, *of):
    """The same error in one band, on a thousand lines."""
    base, base_loss, layer, layer_loss, _ = of
    low, high = bands.edges(label)
    f = np.linspace(low, high, 2001)[:-1] + (high - low) / 4000

    def level(h):
        return 10 * np.log10(np.mean(abs(h) ** 2))

    def alone(f0, loss):
        k = f0**2 * (1 + 1j * loss)
        return k / (k - f**2)

    return level(matrix(f, *of)) - level(alone(base, base_loss)) - level(alone(layer, layer_loss))


@pytest.mark.parametrize(
    "of",
    [(9.0, 0.1, 10.0, 0.1, 0.05), (4.0, 0.05, 12.0, 0.1, 0.2), (6.0, 0.1, 6.0, 0.05, 0.01)],
)
def test_against_a_matrix_of_two_masses(of):
    names = ("base_frequency", "base_loss_factor", "layer_frequency", "layer_loss_factor",
             "mass_ratio")  # fmt: skip
    found = error_of_sum(F, **dict(zip(names, of, strict=True)))
    for label in F.values.tolist():
        assert float(found.sel(frequency=label)) == pytest.approx(by_matrix(label, *of), abs=0.1)


def test_no_mass_leaves_only_the_means_of_bands():
    """Then only the band mean of a product differs from the product of band means: under 0.4 dB
    where both fall at 12 dB per octave."""
    of = {"base_frequency": 6.0, "base_loss_factor": 0.1, "layer_frequency": 12.0,
          "layer_loss_factor": 0.1}  # fmt: skip
    light = error_of_sum(F, **of, mass_ratio=1e-6).sel(frequency=slice(40, None))
    assert 0.2 < float(light.min()) <= float(light.max()) < 0.4
    heavy = error_of_sum(F, **of, mass_ratio=0.3)
    assert float(abs(heavy).max()) > 5.0


FLOOR = gb.isolation.SurfaceIsolation(natural_frequency=10.0, loss_factor=0.1)


def noted(study, rooms, treatment=FLOOR):
    mount = study.mount(natural_frequency=9.0, loss_factor=0.1)
    measure = gb.study.RoomMeasure(rooms=rooms, treatments={"floor": treatment}, name="floor")
    option = gb.Option(name="both", base=mount, measures=(measure,))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        result = study.with_options([option]).evaluate(band_levels=False)
    (note,) = (n for n in gb.study.notes_of(result) if n.kind == "base and rooms apart")
    return note, result


def test_the_note_gives_the_size_of_the_error(music_school):
    """Twelve columns over 24 m by 15 m; the floor of which no mass is given is taken as usual."""
    study = music_school.study
    rooms = ("R0.1", "R1.1")  # on two levels
    note, result = noted(study, rooms)
    columns = study.building.columns
    plan = np.ptp(columns["x"].values) * np.ptp(columns["y"].values)
    building = float(study.plane.moving_mass.sum()) / plan
    v = note.values
    assert (v["layer_assumed"], v["building_assumed"], v["levels"]) == (True, False, 2)
    assert v["building_kg_m2"] == pytest.approx(building)
    hertz = float(result["mount_frequency"].sel(option="both").median())
    of = (hertz, 0.1, 10.0, 0.1, 2 * USUAL_LAYER / building)
    every = {f: by_matrix(f, *of) for f in F.values.tolist()}
    least, most = min(every, key=every.get), max(every, key=every.get)
    assert v["lowest"] == [least, pytest.approx(every[least], abs=0.1)]
    assert v["highest"] == [most, pytest.approx(every[most], abs=0.1)]
    for room, criterion, band, error in v["governing"]:
        here = result.sel(option="both", room=room)
        margin = here["margin"].where(result["applies"].sel(room=room))
        assert criterion == str(margin["criterion"].values[int(np.nanargmin(margin.values))])
        governs = float(here["governing_band"].sel(criterion=criterion))
        octaves = criterion.startswith("NR")
        assert governs == (bands.octave(band) if octaves else band)
        assert error == pytest.approx(every[band], abs=0.1)
    assert abs(note.consequence_db) == max(abs(error) for *_, error in v["governing"])
    said = gb.study.sentence(note)
    assert "240 kg/m² (assumed) at 10.0 Hz on 2 levels" in said
    assert f"{most:g} Hz" in said
    assert "governed by" in said


def test_a_mass_that_is_known_is_taken(music_school):
    layer = gb.structure.FloatingFloor(
        mass_per_area=120.0, stiffness_per_area=120.0 * (2 * np.pi * 10) ** 2, loss_factor=0.1
    )
    slab = music_school.study.plane.room_slabs(["R0.1"])["floor"]
    note, _ = noted(music_school.study, ("R0.1",), gb.isolation.FloorOnSlab(floor=layer, slab=slab))
    assert note.values["layer_kg_m2"] == [120.0, 120.0]
    assert "120 kg/m² at 10.0 Hz, on a building of" in gb.study.sentence(note)


def test_where_no_plan_is_known_storeys_are_counted(copied_study):
    file = copied_study("music_school_plain")
    text = file.read_text().replace('columns = "columns.csv"\n', "")
    file.write_text(text.replace("imposed_share = 0.3", "mass_kg = 1.69e6"))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        study = gb.read_study(file)
        note, _ = noted(study, ("R0.1",))
    storeys = study.building.floors.sizes["floor"]
    assert note.values["building_kg_m2"] == USUAL_STOREY * storeys
    assert f"{USUAL_STOREY * storeys:,.0f} kg/m² (assumed) of plan" in gb.study.sentence(note)


def test_a_table_of_losses_has_no_size(music_school):
    """What is stated as losses has no frequency, so that nothing resonates with it."""

    class Table:
        quantity_in = quantity_out = gb.path.SURFACE
        citations = ()

        def level_change(self, frequency):
            return xr.full_like(frequency, -10.0, dtype=float)

        def valid(self, frequency):
            return xr.ones_like(frequency, dtype=bool)

    note, _ = noted(music_school.study, ("R0.1",), Table())
    assert note.consequence_db is None
    assert "not known, since the floor has no natural frequency" in gb.study.sentence(note)
