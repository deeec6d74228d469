"""Shared fixtures: the invented studies, evaluated, or copied so that a file can be spoiled."""

from __future__ import annotations

import shutil
import warnings
from collections import Counter
from pathlib import Path
from typing import Any, NamedTuple

import pytest
import xarray as xr
from hypothesis import settings
from xarray.structure import alignment

import groundborne as gb
from groundborne import _arguments

ROOT = Path(__file__).resolve().parents[1]

# Every run draws the same examples: a red test stays red until its cause is mended.
settings.register_profile("steady", max_examples=20, derandomize=True, deadline=None, database=None)
settings.load_profile("steady")


@pytest.fixture(scope="session", autouse=True)
def no_silent_join():
    """While a call of ours runs, no labels are dropped, filled or reordered by xarray's joins.

    Arithmetic is held to equal labels by the library itself; ``Dataset(...)``, ``concat``,
    ``merge``, ``where``, ``fillna`` and ``broadcast`` are not. So every test looks at them too.
    """
    align = alignment.Aligner.align_indexes

    def watched(self: Any) -> None:
        align(self)
        joined = len(self.objects) > 1 and any(self.reindex.values())
        if joined and _arguments._EXACT._depth:
            keys = [name for key, yes in self.reindex.items() if yes for name, _ in key[0]]
            raise AssertionError(f"the labels of {keys} are joined ({self.join})")

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(alignment.Aligner, "align_indexes", watched)
        yield


class Evaluated(NamedTuple):
    """A study and its result."""

    study: gb.Study
    result: xr.Dataset


def _evaluated(name: str) -> Evaluated:
    study = gb.read_study(ROOT / "data" / name / "study.toml")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        return Evaluated(study, study.evaluate())


@pytest.fixture(scope="session")
def data_folder() -> Path:
    """Folder of the invented studies."""
    return ROOT / "data"


@pytest.fixture(scope="session")
def music_school() -> Evaluated:
    """The music school, evaluated; do not change it."""
    return _evaluated("music_school")


@pytest.fixture(scope="session")
def tower() -> Evaluated:
    """The tower, evaluated; do not change it."""
    return _evaluated("tower")


@pytest.fixture(scope="session")
def assembly_hall() -> Evaluated:
    """The assembly hall, evaluated; do not change it."""
    return _evaluated("assembly_hall")


MOUNTS_ALONE = (
    'lowest_isolated_floor = "0"',
    (
        'lowest_isolated_floor = "0"\nall_crossings_listed = true\nbypass = "none"\n'
        'bypass_source = "mounts alone are meant"'
    ),
)
"""In a study file: nothing passes beside the mounts."""


@pytest.fixture(scope="session")
def mounts_alone(tmp_path_factory, data_folder) -> Evaluated:
    """The music school with nothing beside its mounts, evaluated; do not change it."""
    folder = tmp_path_factory.mktemp("alone") / "music_school"
    shutil.copytree(data_folder / "music_school", folder)
    file = folder / "study.toml"
    text = file.read_text(encoding="utf-8")
    assert MOUNTS_ALONE[0] in text
    file.write_text(text.replace(*MOUNTS_ALONE), encoding="utf-8")
    study = gb.read_study(file)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        return Evaluated(study, study.evaluate())


@pytest.fixture
def copied_study(tmp_path, data_folder):
    """Copy a study into a folder of its own and return its study file."""

    def copy(name: str = "music_school") -> Path:
        """A demonstration study; with "_plain", the same without its column lines."""
        folder = tmp_path / name
        shutil.copytree(data_folder / name.removesuffix("_plain"), folder)
        if name.endswith("_plain"):
            shutil.copy(ROOT / "tests" / "studies" / f"{name}.toml", folder / "study.toml")
        return folder / "study.toml"

    return copy


@pytest.fixture
def spoiled(copied_study):
    """Copy a study, exchange texts in one of its files, and return its study file."""

    def spoil(file: str, *exchanges: tuple[str, str], name: str | None = None) -> Path:
        study = copied_study() if name is None else copied_study(name)
        target = study.with_name(file)
        text = target.read_text(encoding="utf-8")
        for old, new in exchanges:
            assert old in text, f"{file} no longer holds {old!r}"
            text = text.replace(old, new, 1)
        target.write_text(text, encoding="utf-8")
        return study

    return spoil


def pytest_terminal_summary(terminalreporter, exitstatus, config):
    """How many printed values were checked, from which sources, and how far off the worst is.

    It stands here and reads the reports, so that it also speaks when several workers ran the tests.
    """
    rows: dict[tuple[str, str], list[tuple[int, float]]] = {}
    evidence: Counter[str] = Counter()
    for outcome in ("passed", "failed"):
        for report in terminalreporter.stats.get(outcome, []):
            for name, value in getattr(report, "user_properties", ()):
                if name == "published":
                    file, mark, count, share, basis = value
                    evidence[basis] += 1
                    rows.setdefault((file, mark), []).append((count, share))
    if not rows:
        return
    terminalreporter.section("published values")
    every = [row for found in rows.values() for row in found]
    terminalreporter.write_line(
        f"{len(every)} rows ({sum(n for n, _ in every)} values) from {len(rows)} sources: "
        + ", ".join(f"{number} {name}" for name, number in evidence.most_common())
    )
    for (file, mark), found in sorted(rows.items()):
        terminalreporter.write_line(
            f"  {file}: {len(found)} rows [{mark}], worst deviation "
            f"{100 * max(share for _, share in found):.0f} % of its tolerance"
        )


@pytest.fixture(scope="session")
def small() -> Evaluated:
    """The small studio on column lines; what is unusual or beyond validity in it is not told."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        study = gb.read_study(ROOT / "tests" / "fuzz" / "small" / "lines" / "study.toml")
        return Evaluated(study, study.evaluate(band_levels=False))
