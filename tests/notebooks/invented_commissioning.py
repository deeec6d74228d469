"""The invented measurements of the music school in data/music_school/commissioning.

``python tests/notebooks/invented_commissioning.py`` writes them; a test compares. They are the
prediction with what a site adds: other trains, a building that is a little louder than predicted,
rooms that differ, errors of positions and instruments, background, and two faults. Mortar in the
joint at the edge of the control room's floor touches its slab, and a pipe is cast into both slabs
of the hall's. What the faults pass follows the library's own formulas, with a stiffness of the pipe
that the diagnosis does not know, and departures of 2 dB where these formulas do not hold; so that
they are found shows that the evidence is weighed rightly, and not that the formulas are right.
"""

from __future__ import annotations

import sys
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np

import groundborne as gb
from groundborne import sizing
from groundborne.bands import label
from groundborne.isolation import BridgedFloor, Contact
from groundborne.levels import energy_mean
from groundborne.structure import FloatingFloor, plate_bending_stiffness

DATA = Path(__file__).parents[2] / "data"
FOLDER = DATA / "music_school" / "commissioning"
BUILT = "springs 4 Hz, floor and ceiling"
HEAD = "# Invented for demonstration: no real place, building, people or measurement."
AREAS = {"R0.1": 98.0, "R0.2": 23.1}
FAULTS = {
    "R0.1": Contact(name="pipe", stiffness=5e7),
    "R0.2": Contact(name="mortar", at_edge=True),
}
TRAINS = "metro_6car"
FIXED_OFFSET = -27.0
"""Sound re 20 µPa less velocity of the floor re 1 nm/s that faulty floors radiate with [dB]."""


def floor_of(room: str) -> BridgedFloor:
    """The jack-up floor of a room as designed: 100 mm of concrete, 10 Hz."""
    above, below = (
        plate_bending_stiffness(youngs_modulus=30e9, thickness=h, poisson=0.2) for h in (0.10, 0.42)
    )
    layer = FloatingFloor(
        mass_per_area=240.0, stiffness_per_area=240.0 * (2 * np.pi * 10.0) ** 2, loss_factor=0.1
    )
    return BridgedFloor(
        floor=layer, area=AREAS[room], bending_stiffness=above, loss_factor=0.03,
        base_bending_stiffness=below, base_mass_per_area=1008.0,
    )  # fmt: skip


class Site:
    """The building as built, and who measures in it."""

    def __init__(self) -> None:
        study = gb.read_study(DATA / "music_school" / "study.toml")
        built = next(o for o in study.options if o.name == BUILT)
        base = replace(built, name="base only", measures=())
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", gb.ValidityWarning)
            self.result = study.with_options([study.options[0], base, built]).evaluate()
        self.study = study
        self.draw = np.random.default_rng(20261)
        f = self.result["frequency"]
        self.labels = f.values
        # The building is louder than predicted, most about 40 Hz.
        self.louder = 3.0 * np.exp(-((np.log2(self.labels / 40.0)) ** 2) / 4)
        self.true_change = {}
        for room, fault in FAULTS.items():
            floor = replace(floor_of(room), contacts=(fault,))
            change = floor.level_change(f).values
            off = 2.0 * self.draw.standard_normal(change.size)
            self.true_change[room] = np.where(floor.valid(f).values, change, change + off)

    def trains(self, count: int) -> np.ndarray:
        """Levels of other trains in the ground: passby, band."""
        source = self.result["source_level"].values
        chosen = self.draw.choice(len(source), count, replace=False)
        return source[chosen] + 1.2 * self.draw.standard_normal((count, 1))

    def floor_change(self, option: str, room: str) -> np.ndarray:
        """From the ground to mid-span [dB]."""
        return self.result["floor_change"].sel(option=option, room=room).values

    def sound_change(self, room: str) -> np.ndarray:
        """From the ground to the sound in a room as built [dB]."""
        level = self.result["band_level"].sel(option=BUILT, room=room)
        change = level - self.result["source_level"]
        found: np.ndarray = energy_mean(change, "passby").values
        return found

    def measured(self, level: np.ndarray, *, position: float) -> np.ndarray:
        """With errors of the position in each band, and a little from train to train."""
        off = position * self.draw.standard_normal(level.shape[1])
        found: np.ndarray = level + off + 0.4 * self.draw.standard_normal(level.shape)
        return found

    def sound(self, trains: np.ndarray, room: str) -> np.ndarray:
        """In a room: what was predicted, and what a faulty floor adds."""
        own = trains + self.sound_change(room) + self.louder
        own = own + 1.0 * self.draw.standard_normal()
        if room in FAULTS:
            floor = trains + self.floor_change("base only", room) + self.louder
            floor = floor + self.true_change[room] + FIXED_OFFSET
            own = 10 * np.log10(10 ** (own / 10) + 10 ** (floor / 10))
        return own


def table(
    labels: np.ndarray,
    rows: dict[str, np.ndarray],
    quiet: np.ndarray,
    draw: np.random.Generator,
    *notes: str,
) -> str:
    """Passbys of each room, and two segments of background."""  # fmt: skip
    head = [
        "room",
        "passby",
        "kind",
        "statistic",
        "train_type",
        *(f"{label(f)} Hz" for f in labels),
    ]
    lines = [HEAD, *(f"# {n}" for n in notes), ",".join(head)]

    def line(words: list[str], values: np.ndarray) -> str:
        return ",".join([*words, *(f"{v:.1f}" for v in values)])

    for room, level in rows.items():
        both = 10 * np.log10(10 ** (level / 10) + 10 ** (quiet / 10))
        lines += [
            line([room, f"P{n:02d}", "passby", "S max", TRAINS], row)
            for n, row in enumerate(both, 1)
        ]
        for n in (1, 2):
            segment = quiet + 0.5 * draw.standard_normal(quiet.size)
            lines.append(line([room, f"B{n}", "background", "leq", ""], segment))
    return "\n".join(lines) + "\n"


def make() -> dict[str, str]:
    """Every file by its name."""
    site = Site()
    f, draw = site.labels, site.draw
    quiet_sound = 44.0 - 21.0 * np.log10(f / 5.0)
    quiet_floor = np.full(f.size, 22.0)
    floor = (
        "Vertical velocity at mid-span, dB re 1 nm/s, one-third octaves, S maximum of each band."
    )
    sound = "Sound pressure, mean of three positions, dB re 20 µPa, S maximum of each band."
    files = {}
    places = ("R1.1", "R2.1")
    for name, option, state in (
        ("before_release", "no isolation", "before release: the springs are locked"),
        ("after_release", "base only", "after release"),
    ):
        trains = site.trains(9)
        rows = {"raft": site.measured(trains - 3.0 + site.louder, position=0.5)}
        for room in places:
            level = trains + site.floor_change(option, room) + site.louder
            rows[room] = site.measured(level, position=0.7)
        files[f"{name}.csv"] = table(f, rows, quiet_floor, draw, floor, f"State: {state}.")
    night = site.trains(12)
    slabs = {room: night + site.floor_change("base only", room) + site.louder for room in FAULTS}
    floating = {room: level + site.true_change[room] for room, level in slabs.items()}
    for name, of in (("slabs", slabs), ("jack_up_floors", floating)):
        rows = {room: site.measured(level, position=0.8) for room, level in of.items()}
        files[f"{name}.csv"] = table(f, rows, quiet_floor, draw, floor, "Night 1, same passbys.")
    for name, rooms, trains in (
        ("night_1", ("R0.1", "R0.2", "R1.1", "R1.2", "R2.1"), night),
        ("night_2", ("R1.5", "R1.7", "R2.3"), site.trains(12)),
    ):
        rows = {r: site.measured(site.sound(trains, r), position=1.5) for r in rooms}
        files[f"{name}.csv"] = table(f, rows, quiet_sound, draw, sound, "After release.")
    files["deflections.csv"] = _deflections(site)
    files["gaps.csv"] = _gaps(site)
    return files


def schedule(study: gb.Study) -> sizing.Schedule:
    """Packs of springs at 4 Hz for the columns of the school."""
    load = sizing.combine(study.loads.of_revision("P1"))
    springs = sizing.read_components(DATA / "components" / "springs.csv")
    rules = sizing.PackRules(natural_frequency=(3.8, 4.2), most=12)
    return sizing.make_schedule(sizing.choose_packs(load, springs, rules=rules))


def _deflections(site: Site) -> str:
    data = schedule(site.study).data
    own = site.study.loads.data["permanent"].sel(column=data["column"].values)
    read = own / data["static_stiffness"] * (1 + 0.02 * site.draw.standard_normal(own.size))
    lines = [f"{c},{1e3 * d:.1f},{n / 1e3:.0f}" for c, d, n in
             zip(data["column"].values, read.values, own.values, strict=True)]  # fmt: skip
    note = "# Shortening of the packs from their free height; the building stands empty."
    return "\n".join([HEAD, note, "column,deflection_mm,load_kn", *lines]) + "\n"


def _gaps(site: Site) -> str:
    lines = []
    for room in FAULTS:
        for n in range(1, 5):
            gap = 50.0 + 1.0 * site.draw.standard_normal()
            lines.append(f"{room} air {n},{gap:.1f},45,60,below the jack-up floor")
    for n, side in enumerate(("north", "east", "south", "west"), 1):
        gap = 10.0 + 0.3 * site.draw.standard_normal()
        mortar = n == 3  # where the fault is
        lines.append(f"R0.2 joint {n},{0.0 if mortar else gap:.1f},8,15,{side} edge")
    head = [HEAD, "# Clear gaps below and around the jack-up floors.",
            "point,gap_mm,least_mm,most_mm,where"]  # fmt: skip
    return "\n".join([*head, *lines]) + "\n"


if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    target.mkdir(parents=True, exist_ok=True)
    for file, text in make().items():
        (target / file).write_text(text, encoding="utf-8")
