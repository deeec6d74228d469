"""Readers under random and mutated files: a ValueError that says why, or a result that is true."""

from __future__ import annotations

import contextlib
import csv
import io
import re
import shutil
import tempfile
import warnings
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import groundborne as gb
from groundborne.source import read_passbys
from groundborne.tables import read_table

# What is unusual is used; here it is enough that it is used or refused.
pytestmark = pytest.mark.filterwarnings("ignore::groundborne.UnusualValueWarning")
DATA = Path(__file__).resolve().parents[2] / "data"
FILES = ("study.toml", "passbys.csv", "floors.csv", "rooms.csv", "columns.csv", "structure.csv")
TEXT = {f: (DATA / "music_school" / f).read_text(encoding="utf-8") for f in FILES}
FRAMED = TEXT["study.toml"]
# The study without column lines is read in a tenth of the time; the lines have a test of their own.
TEXT["study.toml"] = (DATA.parent / "tests" / "studies" / "music_school_plain.toml").read_text(
    encoding="utf-8"
)
READ = {"quantity": "velocity", "reference": "1 nm/s", "time_weighting": "S max"}

quick = settings(max_examples=100, suppress_health_check=list(HealthCheck))
slow = settings(max_examples=40, suppress_health_check=list(HealthCheck))

ODD = st.sampled_from(
    ["", " ", ",", ";", "\t", '"', "'", "\n", "\r", "\r\n", "#", "\x00", "\ufeff", "=", "[", "]",
     "{", "}", ".", "-", "+", "e", "0", "1e999", "-1e308", "1e-320", "nan", "inf", "true", "١",
     "½", "\u2028", "\x85", "\x0b", "\N{GRINNING FACE}", "2020-01-01", "\\u0000", '"""', "1,5",
     "1_0", "0x1", "-0.0", "1e300", "99999999999999999999"]
)  # fmt: skip
SNIPPETS = st.one_of(ODD, st.text(max_size=5))
NUMBERS = st.one_of(
    st.floats().map(repr),
    st.integers().map(str),
    st.sampled_from(["0", "-1", "1e9", "1e-9", "1e308", "1e-308", "0.0001", "500", "5e-324"]),
)


@st.composite
def mutated(draw, text: str) -> str:
    """One to three changes of a valid file: characters, cells, lines, numbers, order, depth."""
    for _ in range(draw(st.integers(1, 3))):
        lines = text.split("\n")
        at = draw(st.integers(0, max(len(text) - 1, 0)))
        line = draw(st.integers(0, len(lines) - 1))
        other = draw(st.integers(0, len(lines) - 1))
        kind = draw(
            st.sampled_from(
                ["delete", "insert", "replace", "number", "number", "drop", "repeat", "exchange",
                 "cells", "cut", "nest", "join"]
            )
        )  # fmt: skip
        if kind == "delete":
            text = text[:at] + text[at + draw(st.integers(1, 8)) :]
        elif kind == "insert":
            text = text[:at] + draw(SNIPPETS) + text[at:]
        elif kind == "replace":
            text = text[:at] + draw(SNIPPETS) + text[at + 1 :]
        elif kind == "number":
            found = list(re.finditer(r"-?\d+(\.\d+)?(e[+-]?\d+)?", text))
            if found:
                match = draw(st.sampled_from(found))
                text = text[: match.start()] + draw(NUMBERS) + text[match.end() :]
        elif kind == "drop":
            text = "\n".join(lines[:line] + lines[line + 1 :])
        elif kind == "repeat":
            text = "\n".join([*lines[:line], lines[other], *lines[line:]])
        elif kind == "exchange":
            lines[line], lines[other] = lines[other], lines[line]
            text = "\n".join(lines)
        elif kind == "cells":
            cells = lines[line].split(",")
            i, j = (draw(st.integers(0, len(cells) - 1)) for _ in range(2))
            cells[i], cells[j] = cells[j], cells[i]
            lines[line] = ",".join(cells)
            text = "\n".join(lines)
        elif kind == "cut":
            text = text[:at]
        elif kind == "nest":
            depth = draw(st.sampled_from([2, 50, 2000]))
            text = text[:at] + "[" * depth + "]" * depth + text[at:]
        else:
            text = text.replace("\n", draw(st.sampled_from(["\r", "\r\n", ""])), 3)
    return text


@contextlib.contextmanager
def folder(**changed):
    """The music school in a folder of its own, with some of its files exchanged."""
    place = Path(tempfile.mkdtemp())
    try:
        for file in FILES:
            content = changed.get(file.replace(".", "_"), TEXT[file])
            raw = content if isinstance(content, bytes) else content.encode("utf-8", "replace")
            (place / file).write_bytes(raw)
        yield place
    finally:
        shutil.rmtree(place)


def said(error: ValueError) -> None:
    """A refusal is a sentence, not a bare number or an empty text."""
    text = str(error)
    assert len(text) > 15, repr(text)
    assert "np.str_" not in text
    assert "np.float64" not in text


def numbers_in(text: str) -> set[float]:
    """Every cell of a file that is a number, by another reader than the library's."""
    found = set()
    for row in csv.reader(io.StringIO(text.lstrip("\ufeff"))):
        for cell in row:
            with contextlib.suppress(ValueError):
                found.add(float(cell))
    return found


def check_passbys(place: Path) -> None:
    file = place / "passbys.csv"
    try:
        passbys = read_passbys(file, **READ)
    except ValueError as error:
        said(error)
        return
    level = passbys.level
    assert np.isfinite(level).all()
    assert level.size > 0
    assert set(level.values.ravel().tolist()) <= numbers_in(file.read_bytes().decode("utf-8-sig"))
    gb.bands.require_labels(level["frequency"], "test")
    names = level["passby"].values.tolist()
    assert len(set(names)) == len(names)
    # Nothing is left out: as many rows as the file has lines with a comma below its header.
    text = file.read_bytes().decode("utf-8-sig")
    if '"' not in text:
        body = [x for x in re.split(r"[\r\n]+", text) if x.strip(" ,\t\x0b\x0c\x1c\x1d\x1e\x85")]
        rows = [x for x in body if not x.startswith("#")][1:]
        assert len(rows) == len(names)


def check_study(place: Path, *, evaluate: bool) -> None:
    try:
        study = gb.read_study(place / "study.toml")
    except ValueError as error:
        said(error)
        return
    table = read_table(place / "rooms.csv")
    assert study.rooms == table.text("room").tolist()
    assert study.passbys.level.sizes["passby"] == len(read_table(place / "passbys.csv").rows)
    if not evaluate:
        return
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", gb.ValidityWarning)
        try:
            result = study.evaluate(band_levels=False)
        except ValueError as error:
            said(error)
            return
    for name, variable in result.variables.items():
        if variable.dtype.kind == "f":
            assert not np.isnan(variable.values).any(), name
    for name in ("sound_level", "rating", "nr"):
        assert np.isfinite(result[name]).all(), name


@pytest.mark.parametrize("file", FILES)
def test_the_unchanged_files_pass_these_checks(file):
    with folder() as place:
        check_passbys(place)
        check_study(place, evaluate=True)
        assert (place / file).read_text(encoding="utf-8") == TEXT[file]


@given(st.binary(max_size=300))
@quick
def test_random_bytes_as_a_table(raw):
    with folder(passbys_csv=raw) as place:
        with contextlib.suppress(ValueError):
            table = read_table(place / "passbys.csv")
            assert table.cells.shape == (len(table.rows), len(table.header))
        check_passbys(place)


@given(st.text(max_size=200))
@quick
def test_random_text_as_a_table(text):
    with folder(passbys_csv=text) as place:
        check_passbys(place)


@given(st.lists(st.lists(st.one_of(SNIPPETS, NUMBERS), min_size=1, max_size=5), max_size=5))
@quick
def test_random_cells_as_a_table(rows):
    buffer = io.StringIO()
    csv.writer(buffer).writerows(rows)
    with folder(passbys_csv=buffer.getvalue()) as place:
        check_passbys(place)


@given(mutated(TEXT["passbys.csv"]))
@quick
def test_mutated_passbys(text):
    with folder(passbys_csv=text) as place:
        check_passbys(place)


@given(st.binary(max_size=300))
@quick
def test_random_bytes_as_a_study(raw):
    with folder(study_toml=raw) as place:
        check_study(place, evaluate=False)


@given(mutated(TEXT["study.toml"]))
@settings(quick, max_examples=150)
def test_mutated_studies_are_read_or_refused(text):
    with folder(study_toml=text) as place:
        check_study(place, evaluate=False)


@pytest.mark.parametrize("file", ["floors.csv", "rooms.csv", "columns.csv"])
@given(st.data())
@settings(slow)
def test_mutated_tables_are_read_or_refused(file, data):
    text = data.draw(mutated(TEXT[file]))
    with folder(**{file.replace(".", "_"): text}) as place:
        check_study(place, evaluate=False)


@given(mutated(TEXT["structure.csv"]))
@settings(slow, max_examples=15)
def test_mutated_levels_of_a_column_line_are_read_or_refused(text):
    with folder(study_toml=FRAMED, structure_csv=text) as place:
        check_study(place, evaluate=False)


SHORT = TEXT["study.toml"][: TEXT["study.toml"].index('[[options]]\nname = "rubber 9 Hz, boxed')]


@given(mutated(SHORT))
@settings(slow, max_examples=25)
def test_what_was_read_evaluates_to_numbers_or_is_refused(text):
    with folder(study_toml=text) as place:
        check_study(place, evaluate=True)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("length_m", "1e308"),
        ("width_m", "5e-324"),
        ("shear_wave_speed_m_s", "1e308"),
        ("density_kg_m3", "1e308"),
        ("area_m2", "1e308"),
        ("stiffness_n_m", "1e308"),
    ],
)
def test_sizes_beyond_all_measure_end_in_a_sentence(key, value):
    text = SHORT
    if key == "stiffness_n_m":
        start, end = text.index("[isolation.below]"), text.index("[isolation.above]")
        below = "[isolation.below]\nmodel = 'springs and dashpots'\nloss_factor = 0.1\n"
        text = f"{text[:start]}{below}stiffness_n_m = 1e9\n{text[end:]}"
    changed = re.sub(rf"(?m)^{key} = .*$", f"{key} = {value}", text, count=1)
    assert changed != text
    with folder(study_toml=changed) as place:
        check_study(place, evaluate=True)


@pytest.mark.parametrize("file", ["passbys.csv", "floors.csv", "rooms.csv", "columns.csv"])
@given(st.data())
@settings(slow, max_examples=6)
def test_tables_that_were_read_evaluate_to_numbers_or_are_refused(file, data):
    text = data.draw(mutated(TEXT[file]))
    with folder(**{file.replace(".", "_"): text, "study_toml": SHORT}) as place:
        check_study(place, evaluate=True)


_VALUES = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=5)).filter(
        lambda v: v is not None
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3), st.dictionaries(st.text("abc_", min_size=1), inner, max_size=3)
    ),
    max_leaves=6,
)


def _toml(value) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        escaped = "".join(f"\\U{ord(c):08X}" for c in value if not 0xD800 <= ord(c) <= 0xDFFF)
        return f'"{escaped}"'
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{k} = {_toml(v)}" for k, v in value.items()) + "}"
    return repr(value)


_KEYS = list(re.finditer(r"(?m)^(\w+) = (?!\"\"\").*$", TEXT["study.toml"]))


@given(st.sampled_from(_KEYS), _VALUES)
@quick
def test_values_of_another_type_at_every_key(key, value):
    text = TEXT["study.toml"]
    text = f"{text[: key.start()]}{key.group(1)} = {_toml(value)}{text[key.end() :]}"
    with folder(study_toml=text) as place:
        check_study(place, evaluate=False)
