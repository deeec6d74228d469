"""Equipment on floors: against closed forms, in a study, in tables and in the report."""

from __future__ import annotations

import html
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne import report
from groundborne._checks import StudyError
from groundborne.bands import edges, third_octaves
from groundborne.isolation import Dashpot, InParallel, LinearMount, SurfaceIsolation
from groundborne.path import EQUIPMENT, MID_SPAN, TransmissionPath
from groundborne.rating import PERIOD_RMS, LimitCurve
from groundborne.receiver import Equipment
from groundborne.report import assessment_text, equipment_table, write_report
from groundborne.structure import (
    EdgeSupportedSlab,
    FlatSlab,
    InfinitePlate,
    OneWaySlab,
    SpringFoundation,
)
from groundborne.study import RoomMeasure, equipment_assessment, notes_of, sentence
from groundborne.study.equipment import without_equipment
from note_sentences import sentences_of
from quiet_studies import evaluated

BANDS = third_octaves(2, 100)
_POINTS = 20001


def inside(bands):
    """Frequencies inside each band, shape (band, point) [Hz]."""
    low, high = (np.asarray(e) for e in edges(bands.values))
    return low[:, None] + (high - low)[:, None] * np.linspace(0, 1, _POINTS)


def in_bands(ratio):
    """Energy mean over a band [dB]."""
    return 10 * np.log10((np.abs(ratio) ** 2).mean(axis=1))


def on(**more):
    return Equipment(**({"name": "balance", "room": "lab", "mass": 300.0, "floor": 0.0} | more))


def of(equipment, axis="z", bands=BANDS):
    return equipment.level_change(bands).sel(axis=axis).values


# -- Closed forms ----------------------------------------------------------------------------------


def test_a_mass_on_a_spring_is_the_transmissibility() -> None:
    """√[(1 + η²)/((1 − r²)² + η²)], hysteretic, averaged over each band; textbook."""
    spring = LinearMount.tuned(natural_frequency=4.0, mass=300.0, loss_factor=0.1)
    r = inside(BANDS) / 4.0
    expected = in_bands(np.sqrt((1 + 0.01) / ((1 - r**2) ** 2 + 0.01)))
    np.testing.assert_allclose(of(on(mounts=spring)), expected, atol=0.05)
    assert on(mounts=spring).natural_frequency == pytest.approx(4.0)


def test_a_spring_beside_a_dashpot_is_the_viscous_transmissibility() -> None:
    """√[(1 + (2ζr)²)/((1 − r²)² + (2ζr)²)] with ζ = c/(2√(km)), and no loss in the spring."""
    spring = LinearMount.tuned(natural_frequency=3.0, mass=300.0, loss_factor=0.0)
    damping = 2 * 0.15 * 300.0 * 2 * np.pi * 3.0
    found = of(on(mounts=InParallel(spring, Dashpot(damping=damping))))
    r = inside(BANDS) / 3.0
    friction = (2 * 0.15 * r) ** 2
    expected = in_bands(np.sqrt((1 + friction) / ((1 - r**2) ** 2 + friction)))
    np.testing.assert_allclose(found, expected, atol=0.05)


def test_a_dashpot_beside_a_spring_carries_nothing() -> None:
    spring = LinearMount.tuned(natural_frequency=3.0, mass=300.0, loss_factor=0.0)
    pair = InParallel(spring, Dashpot(damping=1.5e3))
    assert pair.static_deflection(3e3) == pytest.approx(3e3 / spring.stiffness)
    at_1_hz = 2 * np.pi * 1.5e3 / spring.stiffness
    assert pair.loss_factor_floor == pytest.approx(at_1_hz)
    rubber = InParallel(replace(spring, loss_factor=0.3), Dashpot(damping=1.0))
    assert rubber.loss_factor_floor == pytest.approx(0.3, rel=1e-3)
    assert InParallel(spring, spring).loss_factor_floor == 0.0


def test_a_table_on_a_light_floor_is_two_coupled_masses() -> None:
    """The floor a mass on a spring, solved as a system of two by two for a force on the floor."""
    floor_mass, table, f_floor, f_table, loss = 400.0, 300.0, 16.0, 6.0, 0.08
    k1 = (2 * np.pi * f_floor) ** 2 * floor_mass * (1 + 1j * loss)
    k2 = (2 * np.pi * f_table) ** 2 * table * (1 + 1j * loss)
    w2 = (2 * np.pi * inside(BANDS)) ** 2
    force = np.array([1.0, 0.0])
    system = np.empty((*w2.shape, 2, 2), dtype=complex)
    system[..., 0, 0], system[..., 0, 1] = k1 + k2 - w2 * floor_mass, -k2
    system[..., 1, 0], system[..., 1, 1] = -k2, k2 - w2 * table
    moved = np.linalg.solve(system, np.broadcast_to(force[:, None], (*w2.shape, 2, 1)))[..., 1, 0]
    free = 1 / (k1 - w2 * floor_mass)
    spring = LinearMount.tuned(natural_frequency=f_table, mass=table, loss_factor=loss)
    floor = SpringFoundation(
        stiffness=(2 * np.pi * f_floor) ** 2 * floor_mass, mass=floor_mass, loss_factor=loss
    )
    found = of(on(mass=table, mounts=spring, floor=floor))
    np.testing.assert_allclose(found, in_bands(moved / free), atol=0.05)
    heavy = of(on(mass=table, floor=floor))  # without mounts one mass of both
    together = 1 / (k1 - w2 * (floor_mass + table))
    np.testing.assert_allclose(heavy, in_bands(together / free), atol=0.05)


def test_a_mass_without_mounts_loads_the_floor() -> None:
    """``|1/(1 + jωmY)|²`` of a real mobility, and nothing on a floor that does not give way."""
    w = 2 * np.pi * inside(BANDS)
    expected = in_bands(1 / (1 + 1j * w * 300.0 * 5e-5))
    np.testing.assert_allclose(of(on(floor=5e-5)), expected, atol=0.01)
    np.testing.assert_allclose(of(on()), 0.0, atol=1e-12)


@pytest.mark.parametrize("kind", [FlatSlab, EdgeSupportedSlab])
def test_slabs_are_endless_plates_at_a_point(kind) -> None:
    slab = kind(
        span_x=6.0, span_y=5.0, thickness=0.2, youngs_modulus=30e9, density=2400.0, poisson=0.2,
        loss_factor=0.05, superimposed_mass=80.0,
    )  # fmt: skip
    plate = InfinitePlate(
        bending_stiffness=slab.bending_stiffness, mass_per_area=slab.mass_per_area
    )
    expected = plate.driving_point_mobility(BANDS).real.values
    np.testing.assert_allclose(slab.point_mobility(), expected, rtol=1e-12)


def test_a_plate_alike_in_both_directions_is_a_one_way_slab_of_them() -> None:
    joists = OneWaySlab(
        span_x=4.0, span_y=5.0, bending_stiffness=2e6, cross_stiffness=2e6, own_mass=300.0,
        loss_factor=0.05,
    )  # fmt: skip
    assert joists.point_mobility() == pytest.approx(1 / (8 * np.sqrt(2e6 * 300.0)), rel=1e-6)


def test_axes_are_those_that_are_given() -> None:
    soft = LinearMount.tuned(natural_frequency=2.5, mass=300.0, loss_factor=0.1)
    firm = LinearMount.tuned(natural_frequency=5.0, mass=300.0, loss_factor=0.1)
    level = xr.DataArray(np.linspace(-10, 0, BANDS.size), coords={"frequency": BANDS.values})
    flat = on(horizontal={"x": level})
    assert (flat.axes, on().axes) == (("x", "z"), ("z",))
    np.testing.assert_allclose(of(flat, "x"), level, atol=1e-12)
    mounted = on(horizontal={"x": level}, mounts={"z": firm, "x": soft}, floor=5e-5)
    np.testing.assert_allclose(of(mounted, "x"), level + of(on(mounts=soft)), atol=1e-9)
    assert not np.allclose(of(mounted), of(on(mounts=firm)), atol=0.01)  # the floor gives way


def test_it_is_a_step_of_a_path() -> None:
    equipment = on(rigid_up_to=63.0)
    assert (equipment.quantity_in, equipment.quantity_out) == (MID_SPAN, EQUIPMENT)
    assert TransmissionPath(table=equipment).quantity_out == EQUIPMENT
    assert equipment.valid(third_octaves(50, 80)).values.tolist() == [True, True, False]
    with pytest.warns(gb.ValidityWarning, match="'table': 80 to 100 Hz"):
        TransmissionPath(table=equipment).level_changes(BANDS)
    with pytest.raises(ValueError, match="nothing says how the floor gives way under it"):
        on(floor=None).level_change(BANDS)


def test_samples_are_a_loop() -> None:
    spring = LinearMount(stiffness=2e5, loss_factor=0.1)
    masses = xr.DataArray([200.0, 300.0, 450.0], dims="sample")
    found = on(mass=masses, mounts=spring, floor=2e-5).level_change(BANDS)
    for at, mass in enumerate(masses.values.tolist()):
        one = on(mass=mass, mounts=spring, floor=2e-5).level_change(BANDS)
        np.testing.assert_allclose(found.isel(sample=at), one, atol=1e-12)


SPRING = LinearMount.tuned(natural_frequency=4.0, mass=300.0, loss_factor=0.1)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"mass": 0.0}, "Equipment .balance.: mass is 0; it must be above 0 kg"),
        ({"name": " "}, "its name or room is empty"),
        ({"floor": -1e-6}, "floor is -1e-06"),
        ({"rigid_up_to": 0.0}, "rigid_up_to is 0"),
        ({"horizontal": {"z": 0.0}}, "axis of horizontal is 'z'; known are 'x', 'y'"),
        ({"horizontal": {"x": 0.0}, "mounts": SPRING}, "the mounts act along the vertical only"),
        ({"horizontal": {"x": 0.0}, "mounts": {"z": SPRING}}, "mounts are given along z, and not"),
        ({"mounts": {"z": SPRING, "y": SPRING}}, "along y, and horizontal holds no level along it"),
        ({"criteria": {"x": "lab"}}, "criteria are given along x, and not along z"),
        ({"mounts": Dashpot(damping=1e3)}, "its mounts have no stiffness and carry nothing"),
        (
            {"mounts": replace(SPRING, travel_to_solid=0.001)},
            "under 300 kg: .*the mount is solid and isolates nothing",
        ),
        ({"background": xr.DataArray([1.0], dims="frequency")}, "background: the level is not"),
    ],
)
def test_equipment_that_cannot_be(more, said) -> None:
    with pytest.raises(ValueError, match=said):
        on(**more)


# -- In a study ------------------------------------------------------------------------------------

CURVE = LimitCurve(
    name="balance",
    velocity=xr.DataArray(
        np.geomspace(40e-6, 8e-6, 14), coords={"frequency": third_octaves(4, 80).values}
    ),
)
LOUDEST = gb.Criterion.on_curve(CURVE, statistic="maximum", time_weighting="S max")
OVER_DAY = gb.Criterion.on_curve(CURVE, statistic=PERIOD_RMS, period="day", time_weighting="S max")
VC = gb.Criterion.on_curve("VC-A", statistic="maximum", time_weighting="S max")
STIFF = LinearMount.tuned(natural_frequency=6.5, mass=300.0, loss_factor=0.2)


@pytest.fixture(scope="module")
def bare(data_folder):
    """The tower without measures, on two options that do the same in its rooms."""
    study = gb.read_study(data_folder / "tower" / "study.toml")
    plain = study.options[0]
    mounted = gb.Option(name="table on mounts", equipment={"balance": STIFF})
    study = replace(
        study,
        criteria={**study.criteria, "laboratory": (LOUDEST, OVER_DAY), "bench": (VC,)},
        equipment=(
            Equipment(name="balance", room="B02", mass=300.0, criteria="laboratory"),
            Equipment(
                name="microscope",
                room="L03",
                mass=900.0,
                criteria={"x": "bench", "z": "laboratory"},
                horizontal={"x": -8.0},
                background=background(study.frequency, 55.0),
            ),
        ),
    )
    return study.with_options([plain, mounted])


def background(frequency, level):
    return gb.levels.stamp(
        xr.full_like(frequency, level, dtype=float), quantity="velocity", reference="1 nm/s",
        long_name="background",
    )  # fmt: skip


@pytest.fixture(scope="module")
def result(bare):
    return evaluated(bare)


def test_rooms_do_not_hear_a_table_on_mounts(bare, result) -> None:
    """Every variable of rooms is that of the study without equipment, bit by bit."""
    plain = evaluated(
        replace(bare, equipment=(), options=(bare.options[0], gb.Option(name="table on mounts")))
    )
    rooms = without_equipment(result)
    assert set(rooms.variables) == set(plain.variables)
    for name in plain.data_vars:
        np.testing.assert_array_equal(rooms[name].values, plain[name].values, str(name))
    sound = result["sound_level"]
    one, other = (sound.sel(option=o.name, drop=True) for o in bare.options)
    xr.testing.assert_equal(one, other)


def test_levels_and_loudest_passby_by_hand(bare, result) -> None:
    """Floor at mid-span, endless plate under 300 kg, spring of 6.5 Hz; the curve band by band."""
    own = equipment_assessment(result)
    frame = bare.part().frame
    slab = dict(zip(frame.line.floors, frame.line.slabs, strict=True))["2"]
    youngs, poisson = slab.youngs_modulus, slab.poisson
    stiffness = youngs * slab.thickness**3 / (12 * (1 - poisson**2))
    mass = slab.density * slab.thickness + slab.superimposed_mass
    given = 1 / (8 * np.sqrt(stiffness * mass))
    bands = bare.frequency
    w = 2 * np.pi * inside(bands)
    mobility = 1 / (1j * w * 300.0)
    spring = 1j * w / ((2 * np.pi * 6.5) ** 2 * 300.0 * (1 + 0.2j))
    floor = result["floor_change"].sel(room="B02")
    steps = {"no isolation": 0.0, "table on mounts": spring}
    for option, c in steps.items():
        change = floor.sel(option=option) + in_bands(mobility / (c + mobility + float(given)))
        found = own["change"].sel(option=option, equipment="balance z")
        np.testing.assert_allclose(found, change, atol=0.02)
        cut = {"frequency": slice(5.0, 80.0)}
        limit = 20 * np.log10(CURVE.velocity / 1e-9).sel(cut)
        over = (bare.source + found).sel(cut).drop_attrs() - limit
        rating = own["rating"].sel(option=option, equipment="balance z", criterion=LOUDEST.label)
        assert rating.item() == pytest.approx(float(over.max()), abs=1e-9)
        margin = own["margin"].sel(option=option, equipment="balance z", criterion=LOUDEST.label)
        assert margin.item() == pytest.approx(-float(over.max()), abs=1e-9)
        governing = own["governing_band"].sel(
            option=option, equipment="balance z", criterion=LOUDEST.label
        )
        worst = over.max("passby")
        assert governing.item() == worst.idxmax("frequency").item()


def test_the_rms_over_the_day_by_hand(bare, result) -> None:
    """10 lg of (1/T) Σ n d 10^(L/10), L the Leq of each passby (S max of a rectangular event), and
    the background of the floor beside it; plain arrays, 1e-9."""
    own = equipment_assessment(result)
    source = bare.source
    lasts, kinds = source["duration_s"].values, source["train_type"].values
    period = bare.periods["day"]
    count = np.array([period.trains[k] / (kinds == k).sum() for k in kinds])
    leq = 10 ** (source.values / 10) / (1 - np.exp(-lasts))[:, None]
    trains = ((count * lasts)[:, None] * leq).sum(axis=0) / (3600 * period.hours)
    for name, room, quiet in (("balance z", "B02", 0.0), ("microscope z", "L03", 10**5.5)):
        for option in ("no isolation", "table on mounts"):
            at = {"option": option, "equipment": name}
            change = own["change"].sel(at).values
            floor = result["floor_change"].sel(option=option, room=room).values
            level = 10 * np.log10(trains * 10 ** (floor / 10) + quiet) + change - floor
            bands = slice(0, bare.frequency.values.tolist().index(80.0) + 1)
            limit = 20 * np.log10(CURVE.velocity.values[1:] / 1e-9)  # from 5 Hz on
            expected = (level[bands] - limit).max()
            found = own["rating"].sel(at).sel(criterion=OVER_DAY.label).item()
            assert found == pytest.approx(expected, abs=1e-9)
    said = own["approximation"].sel(criterion=OVER_DAY.label).item()
    assert said.startswith("from S max, not from measured energy")
    assert own["approximation"].sel(criterion=LOUDEST.label).item() == ""
    rms, loudest = (own["rating"].sel(criterion=c.label) for c in (OVER_DAY, LOUDEST))
    assert bool((rms < loudest).where(own["applies"].sel(criterion=OVER_DAY.label), True).all())


def test_the_rms_over_a_period_of_levels_that_are_leq() -> None:
    """Nothing is bridged, and nothing is said of it."""
    from groundborne.study.trains import trains_of

    level = gb.levels.stamp(
        xr.DataArray(
            [[60.0], [63.0]],
            dims=("passby", "frequency"),
            coords={"frequency": [16.0], "duration_s": ("passby", [9.0, 18.0])},
        ),
        quantity="velocity", reference="1 nm/s", long_name="level", time_weighting="leq",
    )  # fmt: skip
    criterion = gb.Criterion.on_curve(
        "VC-A", statistic=PERIOD_RMS, period="hour", time_weighting="leq"
    )
    found = trains_of(level, criterion, xr.DataArray([20.0, 10.0], dims="passby"), 1.0)
    expected = 10 * np.log10((20 * 9 * 1e6 + 10 * 18 * 10**6.3) / 3600)
    assert found.level.item() == pytest.approx(expected)
    assert (found.over, found.approximation) == (None, "")
    bare = level.drop_vars("duration_s")
    with pytest.raises(StudyError, match="needs the duration of every passby"):
        trains_of(bare, criterion, xr.DataArray([20.0, 10.0], dims="passby"), 1.0)


def test_floors_take_the_rms_over_a_period_too(bare) -> None:
    """Of rooms, without any equipment."""
    felt = gb.Criterion.on_curve(
        "VC-A", statistic=PERIOD_RMS, period="night", time_weighting="S max"
    )
    study = replace(bare, equipment=(), options=bare.options[:1])
    study = replace(study, criteria=dict.fromkeys(study.criteria, (felt,)))
    rated = evaluated(study)["rating"].sel(criterion="VC-A, period rms, night")
    assert bool((rated > 0).all())
    assert bool((rated < 50).any())


def test_what_is_not_given_is_not_shown(result) -> None:
    own = equipment_assessment(result)
    assert own["equipment"].values.tolist() == ["balance z", "microscope x", "microscope z"]
    assert own["axis"].values.tolist() == ["z", "x", "z"]
    assert own["room"].values.tolist() == ["B02", "L03", "L03"]
    applies = own["applies"].to_series()
    assert not applies["balance z", VC.label]
    assert applies["microscope x", VC.label]
    assert not applies["microscope x", LOUDEST.label]
    x, z = (own["change"].sel(option="no isolation", equipment=f"microscope {a}") for a in "xz")
    floor = result["floor_change"].sel(option="no isolation", room="L03")
    np.testing.assert_allclose(x, floor - 8.0, atol=1e-9)  # it does not give way sideways
    assert bool((z < floor).all())


def test_tables_and_text(result) -> None:
    table = equipment_table(result)
    assert table["option"].unique().tolist() == ["no isolation", "table on mounts"]
    row = table[(table["option"] == "table on mounts") & (table["equipment"] == "balance")]
    assert row["criterion"].tolist() == [LOUDEST.label, OVER_DAY.label]
    assert row["unit"].unique().tolist() == ["dB over the curve"]
    assert row["limit"].unique().tolist() == [0.0]
    np.testing.assert_allclose(row["margin"], -row["rating"])
    assert set(row["governing_band_hz"]) <= set(BANDS.values)
    text = assessment_text(result)
    assert "Equipment, each axis by itself, with the band that governs:\nno isolation:" in text
    (line,) = [n for n in text.splitlines() if n.strip().startswith("microscope x")][:1]
    assert "VC-A, maximum" in line
    # The slabs' own frequency; columns in phase would move 10 dB less there, and most at 10 Hz.
    assert "limit 50 µm/s; 12.5 Hz" in line


def test_it_is_kept_and_reported(bare, result, tmp_path, monkeypatch) -> None:
    gb.save_result(result, tmp_path / "r.nc")
    xr.testing.assert_identical(gb.read_result(tmp_path / "r.nc"), result)
    monkeypatch.setattr(report.document, "pictures", lambda *_: [])
    file = write_report(bare, result, tmp_path / "report")
    text = html.unescape(file.read_text(encoding="utf-8"))
    assert "Mounts of equipment 'balance': 6.5 Hz under 300 kg" in text
    part = text[text.index("Equipment</h3>") : text.index("Critical rooms</h2>")]
    assert "Equipment, balance, maximum: rating in dB over the curve" in part
    assert "microscope, x" in part
    assert "rigid mass on mounts on a floor that gives way" in text  # among the sources
    tables = {p.name for p in (tmp_path / "report" / "tables").iterdir()}
    assert {"equipment.csv", "equipment_spectra.csv"} <= tables


def test_notes_say_what_stands_behind(result) -> None:
    found = {n.kind: n for n in notes_of(result)}
    amplified = found["mounts of equipment amplify"]
    assert amplified.option == "table on mounts"
    ((row, gain, band),) = amplified.values["rows"]
    assert (row, band) == ("balance z", 6.3)
    assert gain == pytest.approx(amplified.consequence_db)
    assert 10.0 < gain < 14.0  # 1/η = 5 at the peak
    assert found["vertical only"].values["equipment"] == ["balance"]
    assert found["without background"].values["equipment"] == ["balance"]
    (name, mass, moving, lower) = found["equipment loads its floor"].values["equipment"][0]
    assert (name, mass) == ("microscope", pytest.approx(900.0))
    assert lower == pytest.approx(1 - 1 / np.sqrt(1 + mass / moving))
    said = sentences_of(result)
    assert any(s.startswith("Equipment is taken as a rigid mass at mid-span") for s in said)
    assert any("balance z by up to" in s and "most at 6.3 Hz" in s for s in said)


def test_a_floor_that_is_treated_does_not_give_way(bare) -> None:
    layer = SurfaceIsolation(natural_frequency=10.0, loss_factor=0.1)
    floating = gb.Option(
        name="floating", measures=(RoomMeasure(rooms=("L03",), treatments={"floor": layer}),)
    )
    result = evaluated(bare.with_options([bare.options[0], floating]))
    own = equipment_assessment(result)["change"].sel(equipment="microscope z", option="floating")
    floor = result["floor_change"].sel(room="L03", option="floating")
    np.testing.assert_allclose(own, floor, atol=1e-9)
    (note,) = [n for n in notes_of(result) if n.kind == "equipment on a treated floor"]
    assert (note.option, note.values["equipment"]) == ("floating", ["microscope"])
    (note,) = [n for n in notes_of(result) if n.kind == "horizontal as stated"]
    assert (note.option, note.values["equipment"]) == ("floating", ["microscope"])
    assert "as without this option" in sentence(note)


def test_sampled_mass_is_a_loop_and_its_table_has_ranges(bare) -> None:
    masses = [200.0, 300.0, 900.0]
    sampled = xr.DataArray(masses, dims="sample", coords={"sample": range(3)})
    balance = bare.equipment[0]
    study = replace(bare, equipment=(replace(balance, mass=sampled),))
    result = evaluated(study)
    own = equipment_assessment(result)
    assert "sample" not in result["rating"].dims
    for at, mass in enumerate(masses):
        one = evaluated(replace(bare, equipment=(replace(balance, mass=mass),)))
        expected = equipment_assessment(one)["rating"]
        np.testing.assert_allclose(own["rating"].isel(sample=at), expected, atol=1e-9)
    table = equipment_table(result)
    assert (table["margin_low"] <= table["margin"] + 1e-9).all()
    assert (table["margin_low"] < table["margin_high"]).any()
    assert "balance z" in assessment_text(result)


def spoiled(study, **more):
    return replace(study, equipment=(replace(study.equipment[0], **more),))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda s: spoiled(s, room="B99"), "equipment 'balance': room is 'B99'; known are"),
        (lambda s: spoiled(s, criteria="lab"), "equipment 'balance': criteria is 'lab'; known are"),
        (lambda s: spoiled(s, criteria="living"), "its criteria 'living' hold 'LASmax.*of sound"),
        (
            lambda s: replace(s, equipment=s.equipment[:1] * 2),
            "the equipment 'balance' is given twice",
        ),
        (
            lambda s: s.with_options([gb.Option(name="o", equipment={"bench": STIFF})]),
            "option 'o': equipment is 'bench'; known are 'balance', 'microscope'",
        ),
        (
            lambda s: s.with_options([gb.Option(name="o", equipment={"microscope": STIFF})]),
            "option 'o': .*'microscope': .* the mounts act along the vertical only",
        ),
        (
            lambda s: s.with_part(floor_motion=replace(s.floor_motion, frame=None)),
            "nothing says how the floor of room 'B02' gives way under it; give it a floor",
        ),
        (
            lambda s: s.with_part(floor_motion=None),
            "equipment 'balance': nothing says how the floor of room 'B02' moves at mid-span",
        ),
    ],
)
def test_studies_that_do_not_fit_their_equipment(bare, change, said) -> None:
    with pytest.raises(StudyError, match=said):
        change(bare)


def test_a_background_that_lacks_bands_is_refused(bare) -> None:
    short = background(bare.frequency[2:], 50.0)
    with pytest.raises(ValueError, match="5 Hz is asked for and not there"):
        evaluated(spoiled(bare, background=short))
