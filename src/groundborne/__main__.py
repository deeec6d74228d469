"""The command line: run a study to its report, check one, or write a new one to begin from."""

from __future__ import annotations

import argparse
import os
import sys
import warnings
from collections.abc import Callable, Mapping, Sequence
from typing import NoReturn, TextIO

from groundborne import __version__
from groundborne.citation import ValidityWarning
from groundborne.study import Study, read_study
from groundborne.study.belonging import in_words
from groundborne.study.change_words import change_in_words
from groundborne.usual_ranges import UnusualValueWarning

FAULTY = 1
"""Exit code of ``check`` when a study is not as it should be."""

BAD_INPUT = 2
"""Exit code when the study, or where to write, is not as it should be."""

INTERRUPTED = 130

CHECK, NEW, RERUN = "check", "new", "rerun"


class _Parser(argparse.ArgumentParser):
    """Arguments that are wrong are told in one sentence, like all other input."""

    def error(self, message: str) -> NoReturn:
        """Tell and leave."""
        self.exit(BAD_INPUT, f"groundborne: {_sentence(message)}; see --help\n")


class ProgressBar:
    """A line that fills on a terminal; where the output is kept, one line for each stage.

    Parameters
    ----------
    stream : text stream
        Where to draw.
    """

    _WIDTH = 28

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._fills = stream.isatty()
        self._length = 0
        self._last = ""

    def __call__(self, stage: str, fraction: float, detail: str = "") -> None:
        """Show the share of the work that is done, and what is next."""
        filled = int(self._WIDTH * min(max(fraction, 0.0), 1.0) + 1e-9)
        if self._fills:
            bar = f"[{'#' * filled}{'.' * (self._WIDTH - filled)}] {_sentence(detail or stage)}"
            self._stream.write("\r" + bar.ljust(self._length))
            self._length = len(bar)
        elif stage != self._last:
            self._stream.write(f"[{100 * fraction:3.0f} %] {_sentence(stage)}\n")
        self._stream.flush()
        self._last = stage

    def part(self, start: float, end: float) -> Callable[[str, float], None]:
        """Progress of a part of the work, which goes from one share to another."""
        return lambda stage, fraction: self(stage, start + (end - start) * fraction)

    def clear(self) -> None:
        """Leave an empty line behind."""
        if self._length:
            self._stream.write("\r" + " " * self._length + "\r")
            self._stream.flush()
            self._length = 0


def _arguments() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="python -m groundborne",
        usage="%(prog)s STUDY.toml --out DIR [--docx] [--xlsx]\n"
        f"       %(prog)s {CHECK} STUDY.toml\n"
        f"       %(prog)s {NEW} DIR\n"
        f"       %(prog)s {RERUN} DIR",
        description="Evaluate a study of ground-borne noise and write its report; check a study "
        f"without evaluating it ({CHECK}); write a commented study to begin from, which runs as "
        f"it is ({NEW}); run a study again from the folder of its report and compare the numbers "
        f"({RERUN}).",
        epilog=f"Exit code 0: done; {FAULTY}: {CHECK} found what is wrong, and tells it for "
        "every key and the first of each table (what has to fit together is checked once each is "
        "right), or "
        f"{RERUN} found other numbers or files; "
        f"{BAD_INPUT}: the input is not as it should be, and a sentence for each fault says why.",
    )
    parser.add_argument("study", metavar="STUDY.toml", help="study file; its tables lie beside it")
    parser.add_argument(
        "--out",
        metavar="DIR",
        required=True,
        help="folder for the report; an earlier report in it is replaced, other files stay",
    )
    parser.add_argument(
        "--docx", action="store_true", help="write the report as a Word document too"
    )
    parser.add_argument(
        "--xlsx", action="store_true", help="write a workbook of its tables and mounts too"
    )
    parser.add_argument("--version", action="version", version=f"groundborne {__version__}")
    return parser


def _other(command: str) -> argparse.ArgumentParser:
    """Arguments of ``check``, ``new`` and ``rerun``."""
    words = {
        CHECK: ("Read a study without evaluating it: what is wrong, key by key, or what it holds.",
                "STUDY.toml", "study file; its tables lie beside it"),
        NEW: ("Write a commented study that runs as it is; nothing is replaced.",
              "DIR", "new folder, or one that holds none of its files"),
        RERUN: (("Run a study again from the folder of its report, and compare every table by its "
                "SHA-256."), "DIR", "folder of a report"),
    }  # fmt: skip
    description, metavar, what = words[command]
    parser = _Parser(prog=f"python -m groundborne {command}", description=description)
    parser.add_argument("place", metavar=metavar, help=what)
    return parser


def _tolerant(stream: TextIO) -> None:
    """Replace what the terminal's encoding lacks, rather than stop."""
    reconfigure = getattr(stream, "reconfigure", None)
    if reconfigure is not None:
        reconfigure(errors="replace")


def _sentence(text: str) -> str:
    """Text in one line that a terminal can show."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line.

    Parameters
    ----------
    argv : sequence of str, optional
        Arguments; those of the process by default.

    Returns
    -------
    int
        0 when done, 1 for a study that ``check`` finds faults in, 2 for bad input.
    """
    _tolerant(sys.stdout)
    _tolerant(sys.stderr)
    words = list(sys.argv[1:] if argv is None else argv)
    if words[:1] == [CHECK]:
        return _check(_other(CHECK).parse_args(words[1:]).place)
    if words[:1] == [NEW]:
        return _new(_other(NEW).parse_args(words[1:]).place)
    if words[:1] == [RERUN]:
        return _rerun(_other(RERUN).parse_args(words[1:]).place)
    given = _arguments().parse_args(words)
    forms = [form for form in ("docx", "xlsx") if getattr(given, form)]
    bar = ProgressBar(sys.stderr)
    try:
        text, written = _run(given.study, given.out, forms, bar)
    except (ValueError, OSError) as error:
        bar.clear()
        for line in _faults(error):
            print(line, file=sys.stderr)
        return BAD_INPUT
    except KeyboardInterrupt:
        bar.clear()
        print("groundborne: stopped; no new report is in place", file=sys.stderr)
        return INTERRUPTED
    bar.clear()
    print(text)
    print(f"\nReport: {written}")
    return 0


def _faults(error: ValueError | OSError) -> list[str]:
    """What is wrong, a line each, and what is unusual besides."""
    errors = [_sentence(e) for e in getattr(error, "errors", (str(error),))]
    notes = [_sentence(note) for note in getattr(error, "__notes__", ())]
    if len(errors) == 1:
        return [f"groundborne: {errors[0]}", *notes]
    return [f"groundborne: {len(errors)} errors", *(f"  {e}" for e in errors), *notes]


def _run(study_file: str, folder: str, forms: Sequence[str], bar: ProgressBar) -> tuple[str, str]:
    # Here, so that --help and a misspelt file name do not wait for the drawing library.
    from groundborne.report import assessment_text, check_folder, warnings_text, write_report
    from groundborne.report.folder import ALWAYS
    from groundborne.report.forms import earlier_forms, form_files
    from groundborne.study.mechanics import sampled_mechanics

    def writing(done: int, total: int, what: str) -> None:
        stage = "figures" if what.startswith("figure ") else what
        bar(stage, 0.6 + 0.4 * done / max(total, 1), what)

    bar("reading", 0.0)
    with warnings.catch_warnings():
        # Their words are among the notes of the result, and so in the report.
        warnings.simplefilter("ignore", ValidityWarning)
        files = form_files(forms)
        study = read_study(study_file)
        check_folder(folder, names=(*ALWAYS, *files))
        earlier = earlier_forms(folder, forms)
        mechanics = None
        if study.uncertain or study.alternatives:
            mechanics = sampled_mechanics(study_file, progress=bar.part(0.1, 0.2))
        result = study.how_sure(mechanics=mechanics, progress=bar.part(0.2, 0.6))
        written = write_report(
            study, result, folder, mechanics=mechanics, forms=forms, progress=writing
        )
    unusual = warnings_text(result)
    return "\n".join([*[unusual] * bool(unusual), assessment_text(result), *_left(earlier)]), str(
        written
    )


def _left(earlier: Mapping[str, bool]) -> list[str]:
    """What becomes of forms of an earlier report that were not asked for again."""
    taken, kept = (
        "the one of the earlier report was taken away; ask for it again by --{}",
        "the one in the folder is not as a report wrote it; it stays, and is not of this report",
    )
    return [
        f"{file}: {(taken if ours else kept).format(file.rpartition('.')[2])}"
        for file, ours in earlier.items()
    ]


def _check(study_file: str) -> int:
    """Read a study; print what is wrong, or what it holds."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UnusualValueWarning)
            study = read_study(study_file)
    except ValueError as error:
        print("\n".join(_faults(error)))
        return FAULTY
    print("\n".join([*_cautions(study.unusual), *map(_sentence, _held(study))]))
    return 0


def _held(study: Study) -> list[str]:
    """What a study holds, in a line each."""
    band = study.frequency.values
    rooms = study.building.rooms
    said = [
        f"{study.name}{' (invented)' if study.invented else ''}: no errors",
        f"{band[0]:g} to {band[-1]:g} Hz, {study.passbys.level.sizes['passby']} passbys"
        + "".join(f", {name}: {sum(p.trains.values()):g} trains in {p.hours:g} h"
                  for name, p in study.periods.items()),
    ]  # fmt: skip
    names = ("room_name", "floor_of_room", "criteria")
    said += _beside(study)
    for room in study.rooms:
        name, floor, criteria = (str(rooms[n].sel(room=room).values) for n in names)
        labels = ", ".join(c.label for c in study.criteria[criteria])
        said.append(f"room {room}: {name}, floor {floor}, {criteria} ({labels})")
    said += [f"{d['uncertain']}: {d['how']} ({d['source']})" for d in in_words(study)]
    for option in study.options:
        cost = [] if option.cost is None else [f"{option.cost:,.0f} {study.currency}"]
        measures = [f"{m.name} in {', '.join(m.rooms)}" for m in option.measures]
        parts = [change_in_words(d) for d in option.changes]
        parts += ["isolated base"] * (option.is_mounted) + measures
        parts += [f"{name} on mounts" for name in option.equipment]
        said.append(f"option {option.name}: {'; '.join([*(parts or ['as built']), *cost])}")
    return said


def _beside(study: Study) -> list[str]:
    """What it says beside its numbers, and what is open of that."""
    block = study.details
    given = [w for w in (block.client, block.author, block.date, block.status) if w]
    revision = [f"revision {block.revision}"] * bool(block.revision)
    said = [f"title block: {', '.join([*given, *revision]) or 'nothing'}"]
    if block.missing:
        said[0] += f"; open: {', '.join(block.missing)}"
    for one in study.measurements:
        days = f"{one.date} to {one.until}" if one.until else one.date
        counts = {"recorded": one.events_recorded, "kept": one.events_kept,
                  "left out": one.events_left_out}  # fmt: skip
        told = "".join(f", {n} events {words}" for words, n in counts.items() if n is not None)
        said.append(f"measured: {one.site}, {days}{told}")
    if study.register:
        states = [row.status for row in study.register]
        counted = ", ".join(f"{states.count(s)} {s}" for s in dict.fromkeys(states))
        said.append(f"crossings of the isolation plane: {len(states)} ({counted})")
    if any(option.is_mounted for option in study.options) and study.inspection.missing:
        said.append(f"upkeep of the mounts, open: {', '.join(study.inspection.missing)}")
    return said


def _new(folder: str) -> int:
    """Write a study to begin from."""
    from groundborne.study.starter import write_starter

    try:
        written = write_starter(folder)
    except (ValueError, OSError) as error:
        print("\n".join(_faults(error)), file=sys.stderr)
        return BAD_INPUT
    for file in written:
        print(file)
    print(f"\nNext: python -m groundborne {written[0]} --out DIR")
    return 0


def _rerun(folder: str) -> int:
    """Run a study again from the folder of its report."""
    from groundborne.report import rerun

    bar = ProgressBar(sys.stderr)
    try:
        found = rerun(folder, progress=bar)
    except (ValueError, OSError) as error:
        bar.clear()
        print("\n".join(_faults(error)), file=sys.stderr)
        return BAD_INPUT
    bar.clear()
    for name, words in found.differ.items():
        print(f"{_sentence(name)} {_sentence(words)}")
    for name, words in found.changed.items():
        print(f"{_sentence(name)} {words}")
    if found.unlisted:
        print("the list of what was written is gone; of the folder only tables were checked")
    count = len(found.tables)
    print(f"{count - len(found.differ)} of {count} tables come out the same, byte for byte")
    if found.changed:
        print(f"{len(found.changed)} files of the folder are not as the report was written")
    return 0 if found.same else FAULTY


def _cautions(unusual: Sequence[str]) -> list[str]:
    """What the files hold that is unusual."""
    if not unusual:
        return []
    return ["Unusual; check before reading on:", *(f"  {s}" for s in unusual), ""]


if __name__ == "__main__":
    try:
        sys.exit(main())
    except BrokenPipeError:  # whoever read the output has read enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
