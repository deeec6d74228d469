"""One room, one option, recomputed by hand in plain numpy, from the files to the ratings.

Nothing of the library is used but the reading and evaluation of the study it is compared with.
Each formula stands with its source. Agreement to 1e-9 dB says that the pieces are put together as
the formulas say; that the formulas are right is checked elsewhere.
"""

from __future__ import annotations

import csv
import shutil
import tomllib
import warnings
from pathlib import Path as FilePath
from typing import Any

import numpy as np
import pytest

from groundborne import ValidityWarning, read_study

FOLDER = FilePath(__file__).parents[2] / "data" / "music_school"
STUDY = FilePath(__file__).parents[1] / "studies" / "music_school_plain.toml"
ROOM, OPTION = "R0.1", "rubber 9 Hz, boxed hall"
BANDS = np.array(
    [5, 6.3, 8, 10, 12.5, 16, 20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250], float
)
CENTRES = 10 ** (np.arange(7, 25) / 10)  # IEC 61260-1: f = 10^(n/10) Hz
LINES = 16
"""Lines in each band, at the middles of as many equal steps: what losses of 0.06 and more need."""
C0 = 340.0  # ISO 12354-1
UNLISTED = 0.05
"""Stiffness of crossings that nobody listed over that of the mounts [-], common practice."""
ONE_STAGE = 10**-2.5
"""Energy that passes one stage of isolation apart from its springs: Walker and Mathers 1989."""


def rows_of(name: str) -> list[dict[str, str]]:
    text = (FOLDER / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in text if not line.startswith("#")))


def lines(count: int = LINES) -> np.ndarray:
    """Frequencies (band, line) between the edges f 10^(-/+0.05) of IEC 61260-1."""
    low, high = CENTRES * 10**-0.05, CENTRES * 10**0.05
    return low[:, None] + (high - low)[:, None] * (np.arange(count) + 0.5) / count


def a_weighting(f: np.ndarray) -> np.ndarray:
    """IEC 61672-1, A weighting from its four poles."""
    f1, f2, f3, f4 = 20.598997, 107.65265, 737.86223, 12194.217

    def response(x: Any) -> Any:
        return (f4**2 * x**4) / (
            (x**2 + f1**2) * np.sqrt(x**2 + f2**2) * np.sqrt(x**2 + f3**2) * (x**2 + f4**2)
        )

    return 20 * np.log10(response(f) / response(1000.0))


def radiation_factor(f: float, long: float, short: float, fc: float) -> float:
    """ISO 12354-1:2017, Annex B, free bending waves of one plate at one frequency."""
    long, short = max(long, short), min(long, short)
    f11 = C0**2 / (4 * fc) * (1 / long**2 + 1 / short**2)
    s1 = 1 / np.sqrt(1 - fc / f) if f > fc else np.inf
    s2 = 4 * long * short * (f / C0) ** 2
    s3 = np.sqrt(2 * np.pi * f * (long + short) / (16 * C0))
    if f11 > fc / 2:
        if f < fc and s2 < s3:
            return min(s2, 2.0)
        return min(s1 if f > fc and s1 < s3 else s3, 2.0)
    if f >= fc:
        return min(s1, 2.0)
    lam = np.sqrt(f / fc)
    d1 = ((1 - lam**2) * np.log((1 + lam) / (1 - lam)) + 2 * lam) / (
        4 * np.pi**2 * (1 - lam**2) ** 1.5
    )
    d2 = 0.0
    if f <= fc / 2:
        d2 = (
            8
            * C0**2
            * (1 - 2 * lam**2)
            / (fc**2 * np.pi**4 * long * short * lam * np.sqrt(1 - lam**2))
        )
    sigma = 2 * (long + short) / (long * short) * (C0 / fc) * d1 + d2
    if f < f11 < fc / 2:
        sigma = min(sigma, s2)
    return min(sigma, 2.0)


def critical_frequency(speed: float, thickness: float) -> float:
    """Hopkins 2007: c0^2 sqrt(3)/(pi cL t)."""
    return C0**2 * np.sqrt(3) / (np.pi * speed * thickness)


def base_change(isolation: dict[str, Any], mount: dict[str, float], count: int) -> np.ndarray:
    """Vigran 2008, eq. 2.43: band mean of |Yr/(Yi + Ys + Yr)|^2 over that of |Yr/(Ys + Yr)|^2.

    A spring of a twentieth of the mounts crosses beside them, of loss factor 0.1 (common practice),
    and 25 dB below what arrives without mounts energy arrives otherwise (Walker and Mathers 1989).
    """
    load = sum(
        float(r["permanent_kn"]) + isolation["load"]["imposed_share"] * float(r["imposed_kn"])
        for r in rows_of("columns.csv")
    )
    mass = load * 1e3 / 9.80665
    omega = 2 * np.pi * lines(count)
    stiffness = (2 * np.pi * mount["natural_frequency_hz"]) ** 2 * mass
    mounts, crossing = 1 + 1j * mount["loss_factor"], UNLISTED * (1 + 1j * 0.1)
    isolator = 1j * omega / (stiffness * (mounts + crossing))
    soil = isolation["below"]
    assert soil["model"] == "rectangular footing"
    half, aspect = soil["width_m"] / 2, soil["length_m"] / soil["width_m"]
    speed, density, nu = soil["shear_wave_speed_m_s"], soil["density_kg_m3"], soil["poisson"]
    # Pais and Kausel 1988: static stiffness, embedment, frequency factor, radiation damping.
    static = density * speed**2 * half / (1 - nu) * (3.1 * aspect**0.75 + 1.6)
    static *= 1 + (0.25 + 0.25 / aspect) * (soil["embedment_m"] / half) ** 0.8
    a0 = omega * half / speed
    alpha = 1 - (0.4 + 0.2 / aspect) * a0**2 / (10 / (1 + 3 * (aspect - 1)) + a0**2)
    psi = min(np.sqrt(2 * (1 - nu) / (1 - 2 * nu)), 2.5)
    dashpot = density * psi * speed * soil["length_m"] * soil["width_m"]
    dashpot += density * speed * 2 * (soil["length_m"] + soil["width_m"]) * soil["embedment_m"]
    below = 1 / (
        static * alpha * (1 + 1j * soil["loss_factor"]) / (1j * omega)
        + dashpot
        + 1j * omega * soil["mass_kg"]
    )
    column = isolation["above"]
    assert column["model"] == "semi-infinite columns"
    above = 1 / (column["area_m2"] * np.sqrt(column["youngs_modulus_pa"] * column["density_kg_m3"]))
    without = np.mean(np.abs(above / (below + above)) ** 2, axis=1)
    isolated = np.mean(np.abs(above / (isolator + below + above)) ** 2, axis=1)
    return 10 * np.log10(isolated / without + ONE_STAGE)


def treated(layer: dict[str, float], count: int) -> np.ndarray:
    """Hysteretic transmissibility, beside a path 25 dB down (Walker and Mathers 1989)."""
    r, eta = lines(count) / layer["natural_frequency_hz"], layer["loss_factor"]
    mean = np.mean((1 + eta**2) / ((1 - r**2) ** 2 + eta**2), axis=1)
    return mean + ONE_STAGE


def chain(study: dict[str, Any], count: int = LINES) -> np.ndarray:
    """Level change from the ground to the room in every band [dB]."""
    option = next(o for o in study["options"] if o["name"] == OPTION)
    room = next(r for r in rows_of("rooms.csv") if r["room"] == ROOM)
    floors = {r["floor"]: r for r in rows_of("floors.csv")}
    path = study["path"]
    assert path["coupling"]["model"] == "given"
    assert path["storeys"]["model"] == "none"
    assert path["floor"] == {"model": "fundamental"}
    assert path["radiation"]["model"] == "room surfaces"
    assert path["radiation"]["field"] == "diffuse"
    length, width, height = (float(room[k]) for k in ("length_m", "width_m", "height_m"))
    slab_speed = path["radiation"]["slabs"]["longitudinal_wave_speed_m_s"]
    walls = path["radiation"]["walls"]
    wall_fc = critical_frequency(walls["longitudinal_wave_speed_m_s"], walls["thickness_m"])

    def sigma(long: float, short: float, fc: float) -> np.ndarray:
        return np.array([radiation_factor(f, long, short, fc) for f in CENTRES])

    def amplified(floor: dict[str, str]) -> np.ndarray:
        """FTA 2006, section 11.2: 6 dB in the band of the floor's natural frequency."""
        f = float(floor["natural_frequency_hz"])
        inside = (f >= CENTRES * 10**-0.05) & (f < CENTRES * 10**0.05)
        return np.where(inside, 10**0.6, 1.0)

    measure = next(m for m in option["rooms"] if ROOM in m["rooms"])
    power = np.zeros(BANDS.size)
    for key, group in (("floor", "floor"), ("ceiling_floor", "ceiling")):
        floor = floors[room[key]]
        fc = critical_frequency(slab_speed, float(floor["slab_thickness_m"]))
        radiating = sigma(length, width, fc) * length * width
        power += radiating * amplified(floor) * treated(measure[group], count)
    for side in (length, width):
        radiating = sigma(side, height, wall_fc) * 2 * side * height
        # Walls follow the floor of the room, 10 dB below it (common practice).
        moved = amplified(floors[room["floor"]]) * 0.1
        power += radiating * moved * treated(measure["walls"], count)

    octaves = {16.0: (12.5, 16, 20), 31.5: (25, 31.5, 40), 63.0: (50, 63, 80)}
    octaves |= {4.0: (3.15, 4, 5), 8.0: (6.3, 8, 10)}
    octaves |= {125.0: (100, 125, 160), 250.0: (200, 250, 315)}
    octave_of = {third: octave for octave, thirds in octaves.items() for third in thirds}
    reverberation = np.array([float(room[f"rt_{octave_of[f]:g}hz_s"]) for f in BANDS.tolist()])
    absorption = 0.161 * length * width * height / reverberation  # Sabine
    # p^2 = 4 rho c W/A with W = rho c sum sigma S v^2, re 20 uPa and 1 nm/s
    radiated = 10 * np.log10(4 * power / absorption) + 20 * np.log10(413.0 * 1e-9 / 2e-5)
    coupling = -np.array(path["coupling"]["loss_db"])
    return coupling + base_change(study["isolation"], option["base"], count) + radiated


@pytest.fixture(scope="module")
def by_hand() -> dict[str, np.ndarray]:
    study = tomllib.loads(STUDY.read_text(encoding="utf-8"))
    assert study["path"]["coupling"]["frequency_hz"] == BANDS.tolist()
    passbys = rows_of("passbys.csv")
    source = np.array([[float(p[f"{f:g} Hz"]) for f in BANDS] for p in passbys])
    change = chain(study)
    band = source + change
    return {
        "change": change,
        "finer": chain(study, 40 * LINES),
        "band": band,
        "level": 10 * np.log10(np.sum(10 ** ((band + a_weighting(CENTRES)) / 10), axis=1)),
        "mean": 10 * np.log10(np.mean(10 ** (band / 10), axis=0)),
        "names": np.array([p["passby"] for p in passbys]),
    }


@pytest.fixture(scope="module")
def by_library(tmp_path_factory):
    folder = tmp_path_factory.mktemp("plain") / "study"
    shutil.copytree(FOLDER, folder)
    shutil.copy(STUDY, folder / "study.toml")
    study = read_study(folder / "study.toml")
    study = study.with_options([o for o in study.options if o.name == OPTION])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ValidityWarning)
        return study.evaluate().sel(option=OPTION, room=ROOM)


def test_level_change_of_the_whole_path(by_hand, by_library) -> None:
    np.testing.assert_allclose(
        by_library["level_change"].sum("stage").values, by_hand["change"], rtol=0, atol=1e-9
    )


def test_band_levels_of_one_passby(by_hand, by_library) -> None:
    name = "S1-005"
    row = by_hand["names"].tolist().index(name)
    got = by_library["band_level"].sel(passby=name).values
    np.testing.assert_allclose(got, by_hand["band"][row], rtol=0, atol=1e-9)


def test_sound_level_of_every_passby(by_hand, by_library) -> None:
    got = by_library["sound_level"].sel(passby=by_hand["names"]).values
    np.testing.assert_allclose(got, by_hand["level"], rtol=0, atol=1e-9)


def test_95th_percentile(by_hand, by_library) -> None:
    """Hyndman and Fan 1996, definition 5: position n p + 1/2 among the sorted levels."""
    level = np.sort(by_hand["level"])
    position = level.size * 0.95 + 0.5
    below = int(position)
    expected = level[below - 1] + (position - below) * (level[below] - level[below - 1])
    got = by_library["rating"].sel(criterion="LASmax, 95th percentile").item()
    assert got == pytest.approx(expected, abs=1e-9)


def test_noise_rating_of_the_mean(by_hand, by_library) -> None:
    """AS 1469: largest (L - a)/b over the octaves 31.5 to 250 Hz the thirds fill or touch."""
    thirds = {31.5: slice(7, 10), 63.0: slice(10, 13), 125.0: slice(13, 16), 250.0: slice(16, 18)}
    a = {31.5: 55.4, 63.0: 35.5, 125.0: 22.0, 250.0: 12.0}
    b = {31.5: 0.681, 63.0: 0.790, 125.0: 0.870, 250.0: 0.930}
    expected = max(
        (10 * np.log10(np.sum(10 ** (by_hand["mean"][part] / 10))) - a[f]) / b[f]
        for f, part in thirds.items()
    )
    got = by_library["rating"].sel(criterion="NR, energy mean").item()
    assert got == pytest.approx(expected, abs=1e-9)


def test_more_lines_change_no_band_by_a_tenth_of_a_decibel(by_hand) -> None:
    assert np.abs(by_hand["finer"] - by_hand["change"]).max() < 0.1
