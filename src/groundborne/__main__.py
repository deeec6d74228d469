"""Run a study from the command line: ``python -m groundborne STUDY.toml --out DIR``."""

from __future__ import annotations

import argparse
import sys
import warnings
from collections.abc import Sequence
from typing import NoReturn, TextIO

from groundborne import __version__
from groundborne.citation import ValidityWarning
from groundborne.study import read_study

BAD_INPUT = 2
"""Exit code when the study, or where to write, is not as it should be."""

INTERRUPTED = 130


class _Parser(argparse.ArgumentParser):
    """Arguments that are wrong are told in one sentence, like all other input."""

    def error(self, message: str) -> NoReturn:
        """Tell and leave."""
        self.exit(BAD_INPUT, f"groundborne: {_sentence(message)}; see --help\n")


class ProgressBar:
    """A line that fills, on a terminal; nothing where the output is kept.

    Parameters
    ----------
    stream : text stream
        Where to draw.
    """

    _WIDTH = 28

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._shown = stream.isatty()
        self._length = 0

    def __call__(self, done: int, total: int, what: str) -> None:
        """Show that `done` of `total` steps are done and `what` is next."""
        if not self._shown:
            return
        filled = self._WIDTH * done // max(total, 1)
        text = f"[{'#' * filled}{'.' * (self._WIDTH - filled)}] {what}"
        self._stream.write("\r" + text.ljust(self._length))
        self._stream.flush()
        self._length = len(text)

    def clear(self) -> None:
        """Leave an empty line behind."""
        if self._length:
            self._stream.write("\r" + " " * self._length + "\r")
            self._stream.flush()
            self._length = 0


def _arguments() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="python -m groundborne",
        description="Evaluate a study of ground-borne noise and write its report.",
        epilog="Exit code 0: done; 2: the input is not as it should be, and one sentence says why.",
    )
    parser.add_argument("study", metavar="STUDY.toml", help="study file; its tables lie beside it")
    parser.add_argument(
        "--out",
        metavar="DIR",
        required=True,
        help="folder for the report; an earlier report in it is replaced, other files stay",
    )
    parser.add_argument("--version", action="version", version=f"groundborne {__version__}")
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
        0 when done, 2 for bad input.
    """
    _tolerant(sys.stdout)
    _tolerant(sys.stderr)
    given = _arguments().parse_args(argv)
    bar = ProgressBar(sys.stderr)
    try:
        text, written = _run(given.study, given.out, bar)
    except (ValueError, OSError) as error:
        bar.clear()
        for line in (f"groundborne: {error}", *getattr(error, "__notes__", ())):
            print(_sentence(line), file=sys.stderr)
        return BAD_INPUT
    except KeyboardInterrupt:
        bar.clear()
        print("groundborne: stopped; no new report is in place", file=sys.stderr)
        return INTERRUPTED
    bar.clear()
    print(text)
    print(f"\nReport: {written}")
    return 0


def _run(study_file: str, folder: str, bar: ProgressBar) -> tuple[str, str]:
    # Here, so that --help and a misspelt file name do not wait for the drawing library.
    from groundborne.report import assessment_text, check_folder, warnings_text, write_report

    bar(0, 1, "reading")
    with warnings.catch_warnings():
        # Their words are among the notes of the result, and so in the report.
        warnings.simplefilter("ignore", ValidityWarning)
        study = read_study(study_file)
        check_folder(folder)
        bar(0, 1, "evaluating")
        result = study.evaluate()
        written = write_report(study, result, folder, progress=bar)
    unusual = warnings_text(result)
    return "\n".join([*[unusual] * bool(unusual), assessment_text(result)]), str(written)


if __name__ == "__main__":
    sys.exit(main())
