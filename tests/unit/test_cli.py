"""The command line: exit codes, one sentence for bad input, and what it prints."""

from __future__ import annotations

import errno
import io
import os
import re
import subprocess
import sys
import tempfile

import pytest

import groundborne as gb
from groundborne import __main__ as cli, __version__
from groundborne.report import document


@pytest.fixture
def no_pictures(monkeypatch):
    """Leave the drawing out, which other tests cover."""
    monkeypatch.setattr(document, "pictures", lambda *_: [])


@pytest.fixture
def prepared(monkeypatch, music_school, no_pictures):
    """Arguments of a run whose study is read and evaluated already."""
    monkeypatch.setattr(cli, "read_study", lambda _: music_school.study)
    monkeypatch.setattr(gb.Study, "evaluate", lambda _: music_school.result)

    def arguments(out):
        return ["study.toml", "--out", str(out)]

    return arguments


def one_sentence(text):
    assert text.count("\n") == 1
    assert text.endswith("\n")
    assert "Traceback" not in text
    return text.removeprefix("groundborne: ").strip()


def test_a_study_runs_to_its_report(copied_study, tmp_path, capsys, no_pictures):
    out = tmp_path / "out"
    assert cli.main([str(copied_study()), "--out", str(out)]) == 0
    printed = capsys.readouterr()
    assert printed.err == ""
    (line,) = [x for x in printed.out.splitlines() if x.startswith("springs 4 Hz, boxes: met in")]
    assert line == "springs 4 Hz, boxes: met in 4 of 15 rooms, 11 not shown"
    assert printed.out.splitlines()[-1] == f"Report: {out / 'report.html'}"
    assert (out / "report.html").is_file()


def test_as_a_program_on_a_terminal_without_unicode(copied_study, tmp_path):
    study = copied_study()
    text = study.read_text(encoding="utf-8")
    # Two options are enough for a whole run, figures included.
    study.write_text(
        text[: [m.start() for m in re.finditer(r"\[\[options\]\]", text)][2]], encoding="utf-8"
    )
    done = subprocess.run(
        [sys.executable, "-m", "groundborne", str(study), "--out", str(tmp_path / "out")],
        capture_output=True,
        check=False,
        env=os.environ | {"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"},
    )
    assert done.stderr == b""
    assert done.returncode == 0
    assert b"rubber 9 Hz: met in 1 of 15 rooms" in done.stdout
    assert (tmp_path / "out" / "figures" / "passbys.png").stat().st_size > 10_000


@pytest.mark.parametrize(
    ("file", "old", "new", "words"),
    [
        ("study.toml", "high_hz = 250", "high_hz = 251", "251"),
        ("study.toml", "[bands]", "[bands", "not valid TOML"),
        ("study.toml", 'passbys = "passbys.csv"', 'passbys = "trains.csv"', "trains.csv"),
        ("rooms.csv", "14,7,6.5", "14,-7,6.5", "row 4, column 'width_m'"),
        ("passbys.csv", "55.8", "loud", "passbys.csv, row 4, column '5 Hz'"),
    ],
)
def test_bad_input_is_one_sentence_and_exit_code_2(
    spoiled, tmp_path, capsys, file, old, new, words
):
    out = tmp_path / "out"
    assert cli.main([str(spoiled(file, (old, new))), "--out", str(out)]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert words in one_sentence(printed.err)
    assert not out.exists()


def test_a_missing_study_and_a_taken_folder(copied_study, tmp_path, capsys):
    out = tmp_path / "out"
    assert cli.main([str(tmp_path / "none.toml"), "--out", str(out)]) == 2
    assert "none.toml: there is no such file" in one_sentence(capsys.readouterr().err)
    out.mkdir()
    (out / "report.html").write_text("mine")
    assert cli.main([str(copied_study()), "--out", str(out)]) == 2
    sentence = one_sentence(capsys.readouterr().err)
    assert "'report.html'" in sentence
    assert "is not from an earlier report; move it, or name a new" in sentence
    assert (out / "report.html").read_text() == "mine"


def test_a_folder_that_refuses_is_told_before_the_evaluation(
    prepared, tmp_path, capsys, monkeypatch
):
    def evaluated(_):
        raise AssertionError("evaluated before it was known where to write")

    def refuse(**_):
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr(gb.Study, "evaluate", evaluated)
    monkeypatch.setattr(tempfile, "TemporaryFile", refuse)
    assert cli.main(prepared(tmp_path / "out")) == 2
    sentence = one_sentence(capsys.readouterr().err)
    assert f"{tmp_path / 'out'} cannot be written: Read-only file system; name a place" in sentence


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="root may write anywhere")
def test_a_protected_folder_is_told_before_the_evaluation(prepared, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(gb.Study, "evaluate", lambda _: pytest.fail("evaluated"))
    tmp_path.chmod(0o555)
    try:
        assert cli.main(prepared(tmp_path / "out")) == 2
    finally:
        tmp_path.chmod(0o755)
    assert "cannot be written: Permission denied" in one_sentence(capsys.readouterr().err)


@pytest.mark.parametrize("arguments", [[], ["study.toml"], ["a", "b", "--out", "c"], ["--x"]])
def test_wrong_arguments_are_one_sentence_too(arguments, capsys):
    with pytest.raises(SystemExit) as left:
        cli.main(arguments)
    assert left.value.code == 2
    assert "see --help" in one_sentence(capsys.readouterr().err)


def test_version(capsys):
    with pytest.raises(SystemExit) as left:
        cli.main(["--version"])
    assert left.value.code == 0
    assert capsys.readouterr().out == f"groundborne {__version__}\n"


def test_a_disk_that_refuses_is_told_in_one_sentence(prepared, tmp_path, capsys, monkeypatch):
    def full(*args, **more):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "write", full)
    out = tmp_path / "out"
    assert cli.main(prepared(out)) == 2
    sentence = one_sentence(capsys.readouterr().err)
    assert sentence.startswith(f"report: {out} was not written: No space left on device; ")
    assert re.search(r"; [\d.]+ (bytes|MB) are needed and [\d.]+ .B are free", sentence)
    assert not (tmp_path / "out").exists()


def test_an_interrupt_leaves_nothing(prepared, tmp_path, capsys, monkeypatch):
    def stop(*args, **more):
        raise KeyboardInterrupt

    monkeypatch.setattr(document, "result_bytes", stop)
    assert cli.main(prepared(tmp_path / "out")) == 130
    assert one_sentence(capsys.readouterr().err) == "stopped; no new report is in place"
    assert list(tmp_path.iterdir()) == []


def test_a_defect_is_not_passed_off_as_bad_input(prepared, tmp_path, monkeypatch):
    def defect(*args, **more):
        raise TypeError("a defect of ours")

    monkeypatch.setattr(document, "result_bytes", defect)
    with pytest.raises(TypeError, match="a defect of ours"):
        cli.main(prepared(tmp_path / "out"))


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_the_bar_fills_on_a_terminal_and_is_silent_elsewhere():
    kept = io.StringIO()
    bar = cli.ProgressBar(kept)
    bar(1, 2, "figure 2")
    bar.clear()
    assert kept.getvalue() == ""
    terminal = Terminal()
    bar = cli.ProgressBar(terminal)
    bar(1, 2, "a long step")
    bar(2, 2, "done")
    drawn = terminal.getvalue().split("\r")
    assert drawn[1].count("#") == drawn[1].count(".") == 14
    assert drawn[2].count("#") == 28
    assert len(drawn[2]) == len(drawn[1])  # what was longer is painted over
    bar.clear()
    assert terminal.getvalue().endswith("\r")


def test_control_characters_of_an_error_reach_no_terminal(spoiled, tmp_path, capsys):
    study = spoiled("study.toml", ('model = "given"', 'model = "\\u001b[2Jx\\n"'))
    assert cli.main([str(study), "--out", str(tmp_path / "out")]) == 2
    assert "\x1b" not in one_sentence(capsys.readouterr().err)
