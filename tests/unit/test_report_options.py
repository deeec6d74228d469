"""What options are beside how they answer: mass, depth, and one frequency of their mounts."""

from __future__ import annotations

import dataclasses
import re
import warnings

import numpy as np
import pytest

import groundborne as gb
from groundborne.isolation import DistributedMount
from groundborne.report.added_mass import added_mass
from groundborne.report.facts import Facts
from groundborne.report.sections.options import options_section
from groundborne.report.words import options_in_words
from groundborne.study.masses import natural_frequency


def test_added_mass_is_area_times_mass_per_area(small) -> None:
    """Of the box by hand: 100 mm of concrete, a leaf of 50 kg/m² and boards of 30 kg/m²."""
    study = small.study
    box = next(o for o in study.options if o.name == "box")
    room = study.building.rooms.sel(room="S1")
    length, width = float(room["length"]), float(room["width"])
    walls = 2 * (length + width) * 3.0 * 50.0
    frame = box.measures[0].box.ceiling.mass_per_area - 30.0
    assert 0 <= frame < 10.0
    by_hand = length * width * (0.1 * 2400.0 + 30.0 + frame) + walls
    assert added_mass(study, box) == pytest.approx(by_hand, rel=1e-9)
    # By frequency alone nothing says what is built.
    assert np.isnan(added_mass(study, study.options[1]))
    assert added_mass(study, study.options[0]) == 0.0


def test_mounts_add_their_own_mass(small) -> None:
    study = small.study
    own = DistributedMount(stiffness=50e6, mass=120.0, loss_factor=0.05)
    mounted = dataclasses.replace(study.options[1], base=own, measures=())
    assert added_mass(study, mounted) == 120.0


def test_masses_and_depths_stand_beside_each_other(small) -> None:
    facts = Facts(study=small.study, result=small.result)
    frame = facts.frames["options"].set_index("option")
    expected = added_mass(small.study, small.study.options[2]) / 1e3
    assert frame.loc["box", "added_mass_t"] == pytest.approx(expected)
    listing = options_section(facts, []).parts[0]
    names = [c.name for c in listing.columns]
    assert {"Added mass", "Deepest construction"} <= set(names)
    at = names.index("Added mass")
    cells = [row[at].runs[0] for row in listing.rows]
    assert cells[2].value == pytest.approx(expected, rel=1e-5)
    assert cells[2].column == "added_mass_t"
    assert cells[1] == "–"


def test_words_and_notes_have_one_frequency_of_the_mounts(data_folder) -> None:
    """Of the mounts alone, under the masses of the model; what crosses the plane is told apart."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        study = gb.read_study(data_folder / "music_school" / "study.toml")
    option = next(o for o in study.options if o.base is not None)
    plane = study.plane
    assert plane is not None
    alone = np.asarray(natural_frequency(option.base, plane.moving_mass))
    crossed = np.asarray(natural_frequency(plane.crossed(option.base), plane.moving_mass))
    assert float(abs(crossed - alone).max()) > 0.1, "something crosses beside them"
    words = next(" ".join(parts) for name, _, parts in options_in_words(study)
                 if name == option.name)  # fmt: skip
    found = re.search(r"mounts of ([\d.]+) to ([\d.]+) Hz", words)
    assert found is not None
    ends = [float(n) for n in found.groups()]
    assert ends == pytest.approx([alone.min(), alone.max()], abs=0.06)
