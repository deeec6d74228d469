"""Odd command lines: arguments, paths, flags, folders in place of files, odd names in studies."""

from __future__ import annotations

import contextlib
import io
import os
import re
import shutil
import tomllib
from pathlib import Path
from random import Random
from typing import Any

import oddities
from outcomes import RefusalError, Trial
from study_inputs import files, laid_out

from groundborne import __main__ as cli
from groundborne.report import document

_PICTURES = 0.06  # share of the runs that draw their figures


def command(rng: Random, place: Path) -> Trial:
    """One call of the program, in this process."""
    out = place / "out"
    with contextlib.suppress(NotADirectoryError):
        shutil.rmtree(out, ignore_errors=True)
    out.unlink(missing_ok=True)
    kind = rng.choice(["arguments", "arguments", "paths", "out", "names"])
    changed, words = {}, ("study.toml", "out")
    if kind == "names":
        changed, words = _odd_names(rng)
    folder = laid_out(place, "tables", changed)
    argv = rng.choice([
        [str(folder / "study.toml"), "--out", str(out)],
        [str(folder / "study.toml"), "--out", str(out)],
        ["check", str(folder / "study.toml")],
        ["new", str(out)],
    ])  # fmt: skip
    if kind == "arguments":
        words = (*words, "STUDY.toml", "--out", "DIR", "arguments", "argument")
        for _ in range(rng.randint(1, 3)):
            at = rng.randrange(len(argv) + 1)
            change = rng.choice(["add", "drop", "double", "odd"])
            if change in ("add", "odd"):
                argv[at : at + (change == "odd")] = [_word(rng)]
            elif argv:
                at = min(at, len(argv) - 1)
                argv[at : at + 1] = [argv[at]] * 2 if change == "double" else []
    elif kind == "paths":
        at = 0 if len(argv) == 3 else 1
        argv[at] = _odd_file(rng, place, folder)
        words = (*words, argv[at], Path(argv[at]).name or ".", repr(argv[at]))
    elif kind == "out":
        _odd_out(rng, out, folder)
        words = (str(out), "rooms.csv")
    words = (*words, *argv, *map(repr, argv))
    what = f"{kind} {argv}" if kind != "names" else f"names {words[:3]}"
    pictures = rng.random() < _PICTURES or (kind == "names" and rng.random() < 0.3)
    return Trial(what[:300], lambda: _run(argv, pictures), words)


def _word(rng: Random) -> str:
    word = rng.choice(
        ["--out", "--version", "--help", "--ou", "--out=", "-o", "--", "-", "---", "--outs",
         "@file", oddities.text(rng), "--" + oddities.text(rng)]
    )  # fmt: skip
    return word.replace("/", "_")


def _odd_file(rng: Random, place: Path, folder: Path) -> str:
    """In place of the study file: a folder, a table, an empty file, a link to itself, nothing."""
    odd = place / "odd.toml"
    odd.unlink(missing_ok=True)
    kind = rng.choice(["folder", "table", "empty", "loop", "long", "missing", "pipe", "under"])
    if kind == "empty":
        odd.touch()
    elif kind == "loop":
        odd.symlink_to(odd)
    elif kind == "pipe":
        os.mkfifo(odd)
    names = {
        "folder": str(folder), "table": str(folder / "rooms.csv"), "long": "x" * 300 + ".toml",
        "missing": oddities.text(rng).replace("/", "_"), "under": str(folder / "rooms.csv" / "a"),
    }  # fmt: skip
    return names.get(kind, str(odd))


def _odd_out(rng: Random, out: Path, folder: Path) -> None:
    """In place of a new folder: a file, a folder of the user's, a link that leads nowhere."""
    kind = rng.choice(["file", "mine", "link", "loop"])
    if kind == "file":
        out.write_text("mine")
    elif kind == "mine":
        out.mkdir()
        (out / "rooms.csv").write_text("mine")
    else:
        out.symlink_to(out if kind == "loop" else folder / "nowhere")


def _odd_names(rng: Random) -> tuple[dict[str, bytes], tuple[str, ...]]:
    """Odd text where a study names things: they end in tables, notes, figures and file names."""
    data: Any = tomllib.loads(files("tables")["study.toml"])
    odd = oddities.text(rng)
    rooms, key = files("tables")["rooms.csv"], "name"
    kind = rng.choice(["study", "option", "description", "source", "set", "room", "train"])
    trains = files("tables")["measured.csv"]
    if kind == "study":
        data["name"] = odd
    elif kind == "option":
        data["options"][1]["name"] = odd
    elif kind in ("description", "source"):
        key = kind
        (data if kind == "description" else data["path"]["coupling"])[kind] = odd
    elif kind == "set":
        key = "criteria"
        data["criteria"][odd] = data["criteria"].pop("office")
        rooms = rooms.replace("office\n", f"{_cell(odd)}\n")
    elif kind == "room":
        rooms = rooms.replace("A,Open office", f"{_cell(odd)},{_cell(odd)}")
    else:
        key = "train"
        data["periods"]["night"]["trains"] = {odd: 40}
        trains = trains.replace("metro", _cell(odd))
    changed = {
        "study.toml": oddities.toml(data), "rooms.csv": rooms, "measured.csv": trains,
    }  # fmt: skip
    raw = {name: whole.encode("utf-8", "replace") for name, whole in changed.items()}
    return raw, (key, repr(odd), "rooms.csv", "measured.csv")


def _cell(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'


def _run(argv: list[str], pictures: bool) -> str:
    """Run the program; what it prints as a refusal is raised as one."""
    printed, said = io.StringIO(), io.StringIO()
    drawn = document.pictures
    if not pictures:
        document.pictures = lambda *_, **__: []
    try:
        with contextlib.redirect_stdout(printed), contextlib.redirect_stderr(said):
            try:
                code: Any = cli.main(argv)
            except SystemExit as left:
                code = left.code
    finally:
        document.pictures = drawn
    lines = [x for x in said.getvalue().split("\n")[:-1] if not re.match(r"\[ *\d+ %\] ", x)]
    if code == 0:
        assert lines == []
        return printed.getvalue()
    assert code in (cli.BAD_INPUT, cli.FAULTY), code
    if code == cli.FAULTY:  # what is wrong is what was asked for
        lines = printed.getvalue().split("\n")[:-1]
    else:
        assert printed.getvalue() == ""
    assert lines[0].startswith("groundborne: "), lines
    assert all(c.isprintable() for line in lines for c in line), lines
    raise RefusalError("\n".join(lines).removeprefix("groundborne: ").strip())
