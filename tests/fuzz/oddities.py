"""Odd values, odd text, and odd changes of whole files; each drawn from a random generator."""

from __future__ import annotations

import json
import math
import re
import struct
from collections.abc import Callable
from random import Random
from typing import Any

NUMBERS: tuple[float, ...] = (
    math.nan, math.inf, -math.inf, 0.0, -0.0, 1.0, -1.0, 0.5, 1e-3, 1e3, 1e-6, 1e6, 1e-9, 1e9,
    1e12, -1e12, 1e15, 1e-15, 1e-300, 5e-324, 1e300, -1e300, 1.7976931348623157e308, 3, 7, 1000,
    2**31, 2**53 + 1, 2**63, 10**30, -(10**30), 0, -1,
)  # fmt: skip
TEXTS = (
    "", " ", "  two  blanks ", "nonsense", "NaN", "inf", "None", "true", "0", "-1", "1e999",
    "1,5", "1_0", "0x1", "½", "١", "٣.٥", "１２", "10 Hz", "10Hz", "S max ", "s max", "µ", "μ",
    "Größe", "部屋", "غرفة", "\N{GRINNING FACE}", "e\u0301", "\u200b", "\ufeff", "\u202egnp.exe",
    "\u2028", "\u2029", "\x85", "a\tb", "a\nb", "a\r\nb", "\x00", "\x07", "\x1b[2J", "\x7f", "'",
    '"', "'''", "\\", "\\n", "$\\frac{1$", "$x_2$", "a_b^c", "{0}", "{band}", "%s", "%", "#", "//",
    "<script>alert(1)</script>", "&amp;", "=1+1", "@x", "-", "--", "nan", "x" * 5000, "é" * 300,
)  # fmt: skip
CELLS = (
    "", " ", "nan", "NaN", "inf", "-inf", "-", "n/a", "1,5", "1.5.2", "1e999", "-1e999", "1e308",
    "-1e308", "5e-324", "1e-320", "0", "-0.0", "-1", "1e6", "1e-6", "1e9", "1e12", "0.0001",
    "1_0", "0x1", "½", "١", "１", "true", "2020-01-01", "5 m", "#", "'", '"', '""', "a\nb", "\x00",
    "\x1b[2J", "\u2028", "\ufeff", "\u200b", "=1+1", "$x$", "\N{GRINNING FACE}", "9" * 400,
    "x" * 4000, "99999999999999999999", "+5", ".5", "5.", "1e5", "1E+05", " 7 ", "--7",
)  # fmt: skip


def number(rng: Random, near: Any = None) -> float:
    """An odd number, or one near another by a slip of units, a sign or a power of ten."""
    if isinstance(near, (int, float)) and not isinstance(near, bool) and rng.random() < 0.6:
        slip = near * 10.0 ** rng.randint(-9, 9)
        return rng.choice([slip, -near, near * rng.uniform(0, 3), near * 1.1, near + 1, 1 / 3])
    if rng.random() < 0.2:
        return rng.choice([-1, 1]) * 10.0 ** rng.uniform(-30, 30)
    return rng.choice(NUMBERS)


def text(rng: Random) -> str:
    """Odd text."""
    if rng.random() < 0.2:
        return "".join(chr(rng.randint(1, 0xD7FF)) for _ in range(rng.randint(1, 6)))
    return rng.choice(TEXTS)


def value(rng: Random, near: Any = None, depth: int = 0) -> Any:
    """A value of any kind that a study file can hold."""
    kind = rng.random()
    if kind < (0.7 if isinstance(near, (int, float)) else 0.4):
        return number(rng, near)
    if kind < 0.75:
        return text(rng)
    if kind < 0.8:
        return rng.random() < 0.5
    if depth > 2:
        return 1
    if kind < 0.92:
        return [value(rng, near, depth + 1) for _ in range(rng.randint(0, 3))]
    keys = [rng.choice(["a", "model", "value", text(rng)]) for _ in range(rng.randint(0, 2))]
    return {k: value(rng, near, depth + 1) for k in keys}


def toml(data: dict[str, Any]) -> str:
    """A TOML text of a table, all in inline tables below the first level."""
    return "".join(f"{_key(k)} = {_toml(v)}\n" for k, v in data.items())


def _toml(thing: Any) -> str:
    if isinstance(thing, bool):
        return str(thing).lower()
    if isinstance(thing, str):
        return _key(thing)
    if isinstance(thing, list):
        return "[" + ", ".join(map(_toml, thing)) + "]"
    if isinstance(thing, dict):
        return "{" + ", ".join(f"{_key(k)} = {_toml(v)}" for k, v in thing.items()) + "}"
    return thing.isoformat() if hasattr(thing, "isoformat") else repr(thing)  # days


def _key(word: str) -> str:
    return json.dumps(word, ensure_ascii=False).replace("\x7f", "\\u007f")


def leaves(data: Any, place: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Every place in nested tables and lists, those of tables included."""
    found = [place] if place else []
    if isinstance(data, dict):
        for k, v in data.items():
            found += leaves(v, (*place, k))
    elif isinstance(data, list):
        for i, v in enumerate(data):
            found += leaves(v, (*place, i))
    return found


# -- Whole files -----------------------------------------------------------------------------------


def mangled_bytes(rng: Random, raw: bytes, *, head: int = 120) -> bytes:
    """One to four changes: bytes exchanged, cut out, put in, repeated, or the tail lost."""
    data = bytearray(raw)
    for _ in range(rng.randint(1, 4)):
        reach = len(data) if rng.random() < 0.5 else min(len(data), head)
        at = rng.randrange(max(reach, 1))
        kind = rng.choice(["byte", "word", "cut", "insert", "repeat", "tail"])
        if kind == "byte":
            data[at : at + 1] = bytes([rng.randrange(256)])
        elif kind == "word":
            word = rng.choice([0, 1, 2**16, 2**31 - 1, 2**32 - 1, 2**32 - 2])
            data[at : at + 4] = struct.pack("<I", word)
        elif kind == "cut":
            del data[at : at + rng.randint(1, 16)]
        elif kind == "insert":
            data[at:at] = rng.randbytes(rng.randint(1, 8))
        elif kind == "repeat":
            data[at:at] = data[at : at + 24]
        else:
            del data[at:]
    return bytes(data)


def mangled_text(rng: Random, whole: str, mark: str = ",") -> str:
    """One to three changes: characters, cells, numbers, lines, their order, their ends."""
    for _ in range(rng.randint(1, 3)):
        at = rng.randrange(max(len(whole), 1))
        lines = whole.split("\n")
        line, other = rng.randrange(len(lines)), rng.randrange(len(lines))
        kind = rng.choice(
            ["insert", "replace", "delete", "cell", "cell", "number", "drop", "repeat", "exchange",
             "cells", "cut", "ends", "nest"]
        )  # fmt: skip
        if kind == "insert":
            whole = whole[:at] + rng.choice([rng.choice(CELLS), text(rng)]) + whole[at:]
        elif kind == "replace":
            whole = whole[:at] + rng.choice(CELLS) + whole[at + 1 :]
        elif kind == "delete":
            whole = whole[:at] + whole[at + rng.randint(1, 8) :]
        elif kind in ("cell", "cells"):
            cells = lines[line].split(mark)
            i, j = rng.randrange(len(cells)), rng.randrange(len(cells))
            if kind == "cell":
                cells[i] = rng.choice(CELLS)
            cells[i], cells[j] = cells[j], cells[i]
            lines[line] = mark.join(cells)
            whole = "\n".join(lines)
        elif kind == "number":
            found = list(re.finditer(r"-?\d+(\.\d+)?(e[+-]?\d+)?", whole))
            if found:
                m = rng.choice(found)
                whole = whole[: m.start()] + repr(number(rng, float(m[0]))) + whole[m.end() :]
        elif kind == "drop":
            whole = "\n".join(lines[:line] + lines[line + 1 :])
        elif kind == "repeat":
            whole = "\n".join([*lines[:line], lines[other], *lines[line:]])
        elif kind == "exchange":
            lines[line], lines[other] = lines[other], lines[line]
            whole = "\n".join(lines)
        elif kind == "cut":
            whole = whole[:at]
        elif kind == "ends":
            whole = whole.replace("\n", rng.choice(["\r", "\r\n", ""]), rng.choice([1, 3, 10**6]))
        else:
            depth = rng.choice([2, 50, 2000])
            whole = whole[:at] + "[" * depth + "]" * depth + whole[at:]
    return whole


ENCODINGS: tuple[Callable[[str], bytes], ...] = (
    lambda t: b"\xef\xbb\xbf" + t.encode("utf-8", "replace"),
    lambda t: t.encode("utf-16"),
    lambda t: t.encode("utf-16-be", "replace"),
    lambda t: t.encode("utf-32"),
    lambda t: t.encode("latin-1", "replace"),
    lambda t: t.encode("cp1252", "replace"),
    lambda t: t.encode("utf-8", "replace") + b"\xff\xfe",
    lambda t: t.encode("utf-8", "replace").replace(b"e", b"\xe9", 1),
    lambda _: b"",
    lambda _: b"\x00" * 64,
    lambda _: bytes(range(256)),
)


def encoded(rng: Random, whole: str) -> bytes:
    """In UTF-8 mostly, at times in another encoding or none, or bytes by chance."""
    if rng.random() < 0.02:
        return rng.randbytes(rng.randint(0, 300))
    whole = whole.encode("utf-8", "replace").decode()
    if rng.random() < 0.06:
        try:
            return rng.choice(ENCODINGS)(whole)
        except UnicodeError:
            return b"\xff"
    return whole.encode("utf-8")
