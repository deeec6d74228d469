"""CSV tables: what is refused, and whether the sentence says where."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given, strategies as st

from groundborne._checks import TableError
from groundborne.tables import like_a_formula, read_table, safe_cell, safe_line


@pytest.fixture
def table(tmp_path):
    def make(content: str | bytes):
        file = tmp_path / "rooms.csv"
        file.write_bytes(content.encode() if isinstance(content, str) else content)
        return read_table(file)

    return make


def test_cells_are_stripped_and_keep_their_line_numbers(table):
    read = table('# a note\n\nroom,size\n A1 ,"4,5"\n\nA2, 3.5 \n')
    assert read.notes == ("a note",)
    assert read.header == ("room", "size")
    assert read.cells.tolist() == [["A1", "4,5"], ["A2", "3.5"]]
    assert read.rows.tolist() == [4, 6]


@pytest.mark.parametrize(
    "start", ["\ufeff", "# no meaning\n", "\r\n"], ids=["byte order mark", "note", "blank line"]
)
def test_harmless_beginnings(table, start):
    assert table(f"{start}room,size\nA1,3\n").header == ("room", "size")


def test_windows_line_ends(table):
    read = table("room,size\r\nA1,3\r\nA2,4\r\n")
    assert read.cells.tolist() == [["A1", "3"], ["A2", "4"]]
    assert read.rows.tolist() == [2, 3]


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        ("", r"rooms\.csv: the file is empty; a header row is needed"),
        ("\n \n,,\n", r"rooms\.csv: the file is empty"),
        ("# only a note\n", r"rooms\.csv: the file is empty"),
        ("room,size\n", r"rooms\.csv: there is a header and no row below it"),
        ("room,size\n\n  \n", r"rooms\.csv: there is a header and no row below it"),
        ("room;size\nA1;3,5\n", r"rooms\.csv: columns are separated by semicolons; commas"),
        ("room\tsize\nA1\t3.5\n", r"rooms\.csv: columns are separated by tabs; commas"),
        ("room,size\nA1,3\nA2,3,5\n", r"rooms\.csv, row 3: 3 cells where the header has 2; a dec"),
        ("room,size\nA1\n", r"rooms\.csv, row 2: 1 cells where the header has 2"),
        ("room,size,room\nA1,3,4\n", r"rooms\.csv: the column 'room' is given twice"),
        ("room,,size\nA1,3,4\n", r"rooms\.csv: column 2 has no name"),
        ('room,size\n"A1,3\n', r"rooms\.csv, row 2: "),
        ('room,size\n"A"1,3\n', r"rooms\.csv, row 2: "),
        (b"room,size\nA\xff1,3\n", r"rooms\.csv: the file is not UTF-8 text .* byte 11"),
        ("room,size\nA\x001,3\n", r"rooms\.csv: the file holds a zero byte"),
        ("room,size\rA1,3\n".encode("utf-16"), r"rooms\.csv: the file is not UTF-8 text"),
    ],
)
def test_files_that_are_refused(table, content, sentence):
    with pytest.raises(TableError, match=sentence):
        table(content)


def test_places_that_hold_no_file(tmp_path):
    with pytest.raises(TableError, match=r"none\.csv: there is no such file"):
        read_table(tmp_path / "none.csv")
    with pytest.raises(TableError, match=r"this is a folder; a CSV file is needed"):
        read_table(tmp_path)
    with pytest.raises(TableError, match=r"cannot be read"):
        read_table(tmp_path / ("long" * 200))
    with pytest.raises(TableError, match=r"cannot be read"):
        read_table("with\x00zero")


def test_a_huge_cell_is_refused_with_its_row(table):
    with pytest.raises(TableError, match=r"rooms\.csv, row 2: field larger"):
        table("room,size\n" + "x" * 200_000 + ",3\n")


def test_missing_and_unknown_columns_are_named(table):
    read = table("room,size\nA1,3\n")
    with pytest.raises(TableError, match=r"rooms\.csv: column 'floor' is missing; the header hold"):
        read.require(["room", "floor"])
    with pytest.raises(TableError, match=r"rooms\.csv: column 'size' is unknown; known are 'room'"):
        read.require(["room"])
    read.require(["room"], ["size", "use"])


def test_empty_cells_are_refused_unless_allowed(table):
    read = table("room,use\nA1,hall\nA2, \n")
    with pytest.raises(TableError, match=r"rooms\.csv, row 3, column 'use': the cell is empty"):
        read.text("use")
    assert read.text("use", empty=True).tolist() == ["hall", ""]


@pytest.mark.parametrize(
    ("cell", "sentence"),
    [
        ("", "the cell is empty; a number is needed"),
        ("three", "'three' is not a number"),
        ('"3,5"', "'3,5' has a decimal comma; write a decimal point"),
        ('"-1,25"', "'-1,25' has a decimal comma"),
        ("nan", "'nan' is not a number; a missing value cannot be used"),
        ("NaN", "a missing value cannot be used"),
        ("n/a", "a missing value cannot be used"),
        ("-", "a missing value cannot be used"),
        ("inf", "a missing value cannot be used"),
        ("-Infinity", "is not a number"),
        ("1e999", "1e999 is out of bounds; it must be finite"),
        ("0x10", "'0x10' is not a number"),
        ("1_000", "'1_000' is not a number"),
        ("1 000", "'1 000' has a mark of thousands; write 1000 without one"),
        ('"1,200"', r"'1,200' has a mark of thousands; write 1200 without one, or 1\.200 if it is"),
        ('"-1,200.5"', r"'-1,200\.5' has a mark of thousands; write -1200\.5 without one"),
        ('"1,200,000"', "'1,200,000' has a mark of thousands; write 1200000 without one"),
        ("1'200", "has a mark of thousands; write 1200 without one"),
        ("3.5 m", "'3.5 m' is not a number"),
        ("--3", "'--3' is not a number"),
        (".", r"'\.' is not a number"),
        ("1e", "'1e' is not a number"),
        ("True", "'True' is not a number"),
    ],
)
def test_what_is_no_number(table, cell, sentence):
    read = table(f"room,size\nA1,3\nA2,{cell}\n")
    with pytest.raises(TableError, match=rf"rooms\.csv, row 3, column 'size': .*{sentence}"):
        read.numbers(["size"])


@pytest.mark.parametrize(
    ("cell", "value"),
    [("3", 3.0), ("+3.", 3.0), ("-.5", -0.5), ("1e-3", 1e-3), ("2.5E+2", 250.0), ("007", 7.0)],
)
def test_what_is_a_number(table, cell, value):
    assert table(f"room,size\nA1,{cell}\n").numbers(["size"])[0, 0] == value


def test_bounds_name_the_cell(table):
    read = table("room,a,b\nA1,1,2\nA2,3,-4\n")
    assert read.numbers(["a", "b"]).tolist() == [[1.0, 2.0], [3.0, -4.0]]
    assert read.numbers(["b", "a"]).tolist() == [[2.0, 1.0], [-4.0, 3.0]]
    with pytest.raises(
        TableError, match=r"row 3, column 'b': -4 is out of bounds; it must be above 0 m$"
    ):
        read.numbers(["a", "b"], above=0.0, unit="m")
    with pytest.raises(TableError, match=r"row 3, column 'a': 3 .* at least 0 and at most 2 kN$"):
        read.numbers(["a"], low=0.0, high=2.0, unit="kN")
    with pytest.raises(TableError, match=r"row 2, column 'a'"):
        read.numbers(["a"], above=1.0)


def test_repeated_names_name_both_rows(table):
    read = table("room,size\nA1,3\nA2,3\nA1,3\n")
    with pytest.raises(
        TableError, match=r"rooms\.csv, row 4, column 'room': 'A1' was given in row 2 already"
    ):
        read.unique("room")
    assert np.array_equal(table("room\nA1\nA2\n").unique("room"), ["A1", "A2"])


def test_a_note_is_one_line_whatever_it_holds(table):
    # Some control characters end a line for str.splitlines and for no spreadsheet.
    read = table("# first\u2028second\x0bthird\nroom,size\nA1,3\n")
    assert read.header == ("room", "size")
    assert read.rows.tolist() == [3]


# --- cells that a spreadsheet could take for a formula -------------------------------------------

HIDDEN = ["", *" \u00a0\u200b\ufeff\u2060\u00ad\u202e\x00\t\u3000"]
SIGNS = [*"=+-@", *"\uff1d\uff0b\uff0d\uff20\ufe66\ufe62\ufe63\ufe6b"]


@pytest.mark.parametrize("sign", SIGNS)
@pytest.mark.parametrize("hidden", HIDDEN)
def test_what_begins_like_a_formula_is_marked(hidden, sign):
    cell = f"{hidden}{sign}cmd|' /c calc'!A0"
    assert safe_cell(cell) == f"'{cell}"
    assert safe_cell(f"{hidden}{hidden}{cell}") == f"'{hidden}{hidden}{cell}"
    assert like_a_formula(safe_line(f"note,{cell}").split(",", 1)[1]) is False


@pytest.mark.parametrize("cell", ["a=1", "A1", "1-2", "'=1", "", " ", "−3", "≥ 12", 5, -5.0, None])
def test_other_cells_stay_as_they_are(cell):
    assert safe_cell(cell) is cell


@pytest.mark.parametrize("first", ["\t", "\r", "\n"])
def test_a_leading_tab_or_line_end_is_marked(first):
    assert safe_cell(f"{first}x") == f"'{first}x"


@given(st.text(max_size=12))
def test_a_marked_cell_needs_no_mark(text):
    once = safe_cell(text)
    assert safe_cell(once) == once
    assert not like_a_formula(once)


@given(st.lists(st.text(max_size=8), max_size=5))
def test_no_piece_of_a_line_is_like_a_formula(pieces):
    first, *rest = re.split("[,;\t]", safe_line(",".join(["note", *pieces])))
    assert first == "note"
    assert not [piece for piece in rest if like_a_formula(piece)]
