"""A coupling loss and a column line hold the same step: never both."""

from __future__ import annotations

import shutil
import warnings
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import groundborne as gb
from groundborne._checks import PathError, StudyError
from groundborne.path import FOUNDATION, FREE_FOUNDATION, GROUND, GivenChange, TransmissionPath
from groundborne.propagation import (
    LineStoreys,
    MechanicalCoupling,
    StoreyStep,
    no_storey_attenuation,
    published_coupling,
)
from groundborne.structure import RigidMass
from groundborne.study import MobilityPlane
from note_sentences import sentences_of

DATA = Path(__file__).parents[2] / "data" / "music_school"
KEY = "free_field_correction_only"


def _with_coupling(tmp_path: Path, table: str, location: str = "ground") -> Path:
    """The music school with another ``[path.coupling]``; none where the table is empty."""
    folder = tmp_path / "study"
    shutil.copytree(DATA, folder)
    file = folder / "study.toml"
    text = file.read_text(encoding="utf-8")
    start, end = text.index("[path.coupling]"), text.index("[path.storeys]")
    text = text[:start] + (f"[path.coupling]\n{table}\n" if table else "") + text[end:]
    text = text.replace('location = "ground"', f'location = "{location}"')
    file.write_text(text, encoding="utf-8")
    return file


BANDS = gb.bands.third_octaves(5, 250).values.tolist()
GIVEN = f'model = "given"\nfrequency_hz = {BANDS}\nloss_db = {[3.0] * 18}\n'


def _evaluated(study: gb.Study) -> xr.Dataset:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        return study.with_options(study.options[:3]).evaluate()


@pytest.mark.parametrize(
    ("table", "sentence"),
    [
        (
            'model = "handbook"\nfoundation = "single house"',
            r"'handbook'.*'none'.*storeys by anoth",
        ),
        ('model = "E DIN 45672-3"\nplace = "basement"', r"'E DIN 45672-3'.*take the model 'none'"),
        (GIVEN, rf"'given'.*'column line' of \[path.storeys\].*twice.*'loss_db'.*{KEY} = true"),
        (f"{GIVEN}{KEY} = false", rf"\[path\], \[coupling\].*say so with {KEY} = true"),
        (f'model = "handbook"\nfoundation = "single house"\n{KEY} = true', "'handbook'.*twice"),
        (f'{GIVEN}{KEY} = "yes"', rf"'{KEY}' is 'yes'; true or false is needed"),
    ],
)
def test_a_coupling_loss_before_a_column_line_is_refused(tmp_path, table, sentence) -> None:
    with pytest.raises(StudyError, match=sentence):
        gb.read_study(_with_coupling(tmp_path, table))


def test_a_free_field_correction_is_added_as_it_is(tmp_path) -> None:
    bare = gb.read_study(_with_coupling(tmp_path / "a", 'model = "none"'))
    corrected = gb.read_study(_with_coupling(tmp_path / "b", f"{GIVEN}{KEY} = true"))
    assert bare.as_built["coupling"].quantity_out == FREE_FOUNDATION
    less = _evaluated(bare)["sound_level"] - _evaluated(corrected)["sound_level"]
    np.testing.assert_allclose(less.values, 3.0, atol=1e-9)


def test_without_a_column_line_the_declaration_means_nothing(copied_study) -> None:
    file = copied_study("music_school_plain")
    text = file.read_text(encoding="utf-8")
    text = text.replace("[path.storeys]", f"{KEY} = true\n\n[path.storeys]", 1)
    file.write_text(text, encoding="utf-8")
    with pytest.raises(StudyError, match=rf"'{KEY}' is said of .* before a column line.*leave the"):
        gb.read_study(file)


def test_paths_by_hand_do_not_meet(music_school) -> None:
    frame = music_school.study.plane
    table = published_coupling("single house")
    line = LineStoreys(line=frame.line, floor="1")
    climb = frame.to_columns(frame.floor_of_room)
    mechanics = MechanicalCoupling(foundation=frame.line.foundation, building=RigidMass(mass=1e5))
    for coupling in (table, mechanics):
        for storeys in (line, climb):
            with pytest.raises(PathError, match="a column line adds it once more: leave one of"):
                TransmissionPath(coupling=coupling, storeys=storeys)
    change = xr.DataArray([-1.0], coords={"frequency": [63.0]})
    free = GivenChange(change, quantity_in=GROUND, quantity_out=FREE_FOUNDATION)
    assert TransmissionPath(coupling=free, storeys=line).names == ("coupling", "storeys")
    assert TransmissionPath(coupling=table, storeys=no_storey_attenuation()).quantity_in == GROUND
    with pytest.raises(PathError, match="The reaction of building and soil lies between them"):
        TransmissionPath(coupling=free, storeys=no_storey_attenuation())
    with pytest.raises(PathError, match="both must start from the same"):
        StoreyStep(climb, frame.to_columns(frame.ceiling_floor, loaded=True))


def test_two_mobilities_do_not_isolate_a_path_of_column_lines(music_school) -> None:

    mass = RigidMass(mass=1e6)
    plane = MobilityPlane(floor="0", mass=1e6, below=mass, above=mass)
    study = music_school.study.with_part(plane=plane)
    mount = study.mount(natural_frequency=8.0, loss_factor=0.1)
    with pytest.raises(StudyError, match=r"option 'x'.*isolate with the Frame of these lines"):
        study.with_options([gb.Option(name="x", base=mount)]).paths()


def test_a_source_on_the_loaded_foundation_gives_the_same_rooms(tmp_path) -> None:
    """What the free field makes of the foundation, fed in as measured there, with and without
    mounts: the free velocity must come back exactly. Taken for the free field it would be up to
    several decibels off."""
    free = gb.read_study(_with_coupling(tmp_path / "free", 'model = "none"'))
    line, f = free.plane.line, free.frequency
    panels = free.building.columns["panel_share"].values
    each = line.foundation_mean_square(f).transpose("column", "frequency").values
    response = 10 * np.log10(np.average(each, axis=0, weights=panels))
    assert np.abs(response).max() > 3.0

    file = _with_coupling(tmp_path / "loaded", "", location="foundation")
    passbys = file.with_name("passbys.csv")
    lines = passbys.read_text(encoding="utf-8").splitlines()
    head = next(i for i, text in enumerate(lines) if not text.startswith("#"))
    names = lines[head].split(",")
    for i in range(head + 1, len(lines)):
        cells = lines[i].split(",")
        for label, shift in zip(f.values, response, strict=True):
            at = names.index(f"{label:g} Hz")
            cells[at] = repr(float(cells[at]) + float(shift))
        lines[i] = ",".join(cells)
    passbys.write_text("\n".join(lines) + "\n", encoding="utf-8")

    loaded = gb.read_study(file)
    assert loaded.as_built.quantity_in == FOUNDATION
    one, other = _evaluated(free), _evaluated(loaded)
    np.testing.assert_allclose(one["sound_level"].values, other["sound_level"].values, atol=1e-9)
    np.testing.assert_allclose(one["base_change"].values, other["base_change"].values, atol=1e-12)
    assert "loaded foundation" in " ".join(sentences_of(other))
    assert "loaded foundation" not in " ".join(sentences_of(one))
