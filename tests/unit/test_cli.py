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
from groundborne.report import document, forms
from groundborne.report.folder import write_folder


@pytest.fixture
def no_pictures(monkeypatch):
    """Leave the drawing out, which other tests cover."""
    monkeypatch.setattr(document, "pictures", lambda *_: [])


@pytest.fixture
def prepared(monkeypatch, music_school, no_pictures):
    """Arguments of a run whose study is read and evaluated already."""
    monkeypatch.setattr(cli, "read_study", lambda _: music_school.study)
    monkeypatch.setattr(gb.Study, "evaluate", lambda _, **__: music_school.result)

    def arguments(out):
        return ["study.toml", "--out", str(out)]

    return arguments


def progress(text):
    """Lines that say how far the work is."""
    return [x for x in text.splitlines() if re.match(r"\[ *\d+ %\] ", x)]


def one_sentence(text):
    text = "".join(x for x in text.splitlines(keepends=True) if not progress(x))
    assert text.count("\n") == 1
    assert text.endswith("\n")
    assert "Traceback" not in text
    return text.removeprefix("groundborne: ").strip()


def test_a_study_runs_to_its_report(copied_study, tmp_path, capsys, no_pictures):
    out = tmp_path / "out"
    assert cli.main([str(copied_study()), "--out", str(out)]) == 0
    printed = capsys.readouterr()
    assert progress(printed.err) == printed.err.splitlines()
    lines = [
        x for x in printed.out.splitlines() if x.startswith("springs 4 Hz") and ": met in" in x
    ]
    said = (
        r"springs 4 Hz, {}: met in 0 of 15 rooms, {}1[45] within the uncertainty; everything in "
        r"all rooms with a probability of (?:≤ )?1\d %"
    )
    assert re.fullmatch(said.format("floor and ceiling", "1 not shown, "), lines[0])
    assert re.fullmatch(said.format("boxes", ""), lines[1])
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
    assert done.returncode == 0
    stages = [x[8:] for x in progress(done.stderr.decode("ascii"))]
    assert stages == [
        "reading", "option 'no isolation'", "option 'rubber 9 Hz'", "vibration of floors",
        "levels in rooms", "ratings", "base isolation", "notes", "evaluated",
        "samples of errors", "figures",
        "tables", "result", "document", "writing", "done",
    ]  # fmt: skip
    assert len(stages) == done.stderr.count(b"\n")
    assert done.stdout.startswith(b"Invented for demonstration.")
    assert b"rubber 9 Hz: met in 0 of 15 rooms, 5 within the uncertainty" in done.stdout
    assert (tmp_path / "out" / "figures" / "passbys.svg").stat().st_size > 10_000


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
    def evaluated(_, **__):
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
    monkeypatch.setattr(gb.Study, "evaluate", lambda _, **__: pytest.fail("evaluated"))
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


def test_the_bar_fills_on_a_terminal():
    terminal = Terminal()
    bar = cli.ProgressBar(terminal)
    bar("figures", 0.5, "figure 1 of 12, a long one")
    bar("done", 1.0)
    drawn = terminal.getvalue().split("\r")
    assert drawn[1].count("#") == drawn[1].count(".") == 14
    assert drawn[1].endswith("figure 1 of 12, a long one")
    assert drawn[2].count("#") == 28
    assert len(drawn[2]) == len(drawn[1])  # what was longer is painted over
    bar.clear()
    assert terminal.getvalue().endswith("\r")


def test_where_the_output_is_kept_every_stage_is_a_line():
    kept = io.StringIO()
    bar = cli.ProgressBar(kept)
    part = bar.part(0.2, 0.6)
    bar("reading", 0.0)
    part("option 'a\x1b[2J'", 0.5)
    for figure in range(3):
        bar("figures", 0.6 + 0.1 * figure, f"figure {figure}")
    bar("done", 1.0)
    bar.clear()
    assert kept.getvalue() == (
        "[  0 %] reading\n[ 40 %] option 'a [2J'\n[ 60 %] figures\n[100 %] done\n"
    )


def test_an_evaluation_tells_every_option_and_never_goes_back(copied_study):
    study = gb.read_study(copied_study())
    told = []
    study.with_options(study.options[:2]).evaluate(
        band_levels=False, progress=lambda stage, fraction: told.append((stage, fraction))
    )
    assert [stage for stage, _ in told[:2]] == [f"option {o.name!r}" for o in study.options[:2]]
    shares = [fraction for _, fraction in told]
    assert shares == sorted(shares)
    assert (shares[0], shares[-1]) == (0.0, 1.0)


# Checking a study


def test_check_says_what_a_study_holds(copied_study, capsys):
    assert cli.main(["check", str(copied_study())]) == 0
    printed = capsys.readouterr()
    assert printed.err == ""
    first, second, *others = printed.out.splitlines()
    assert first == "Quillbrook music school (invented): no errors"
    assert second.startswith("5 to 250 Hz, 36 passbys, day: 328 trains in 16 h, night: 52")
    assert sum(x.startswith("room ") for x in others) == 15
    assert "option springs 4.5 Hz: isolated base; 210,000 crowns, invented" in others
    assert "option rooms only: box in box, hall in R0.1; jack-up floors" in printed.out


def test_check_tells_all_that_is_wrong_and_what_is_unusual(spoiled, capsys):
    study = spoiled(
        "study.toml", ("high_hz = 250", ""), ("hours = 16", "hours = 16\nhour = 1"),
        ("column_loss_factor = 0.02", "column_loss_factor = 0.2"),
    )  # fmt: skip
    assert cli.main(["check", str(study)]) == cli.FAULTY
    printed = capsys.readouterr()
    assert printed.err == ""
    head, *lines = printed.out.splitlines()
    assert head == "groundborne: 2 errors"
    assert lines[0].startswith("  study.toml, [bands]: 'high_hz' is missing; a number is needed; u")
    assert lines[1].startswith("  study.toml, [periods], [day]: key is 'hour'; known are 'hours'")
    assert lines[2].startswith("Unusual besides: study.toml, [structure]: 'column_loss_factor' is")
    assert len(lines) == 3


def test_check_prints_what_is_unusual_first(spoiled, capsys):
    study = spoiled("study.toml", ("column_loss_factor = 0.02", "column_loss_factor = 0.2"))
    assert cli.main(["check", str(study)]) == 0
    head, first, *_ = capsys.readouterr().out.splitlines()
    assert head == "Unusual; check before reading on:"
    assert "'column_loss_factor' is 0.2, unusual" in first


def test_a_run_tells_every_error(spoiled, tmp_path, capsys):
    study = spoiled("study.toml", ("high_hz = 250", ""), ("hours = 16", "hours = 0"))
    assert cli.main([str(study), "--out", str(tmp_path / "out")]) == 2
    first, *lines = capsys.readouterr().err.splitlines()
    assert progress(first)
    assert [x[:2] for x in lines] == ["gr", "  ", "  "]


def test_forms_that_are_not_asked_for_again_are_named(tmp_path):
    write_folder(tmp_path, {"report.docx": b"1", "report.xlsx": b"2", "report.html": b"3"})
    assert forms.earlier_forms(tmp_path, ["docx", "xlsx"]) == {}
    (tmp_path / "report.docx").write_bytes(b"edited")
    earlier = forms.earlier_forms(tmp_path, [])
    assert earlier == {"report.docx": False, "report.xlsx": True}
    first, second = cli._left(earlier)
    assert first.startswith("report.docx: the one in the folder is not as a report wrote it")
    assert second.startswith("report.xlsx: the one of the earlier report was taken away; ask for")
    write_folder(tmp_path, {"report.html": b"4"})
    assert [p.name for p in sorted(tmp_path.glob("report.*"))] == ["report.docx", "report.html"]


# A study to begin from


def test_new_writes_a_study_that_checks_and_runs_as_it_is(tmp_path, capsys, no_pictures):
    folder = tmp_path / "house"
    assert cli.main(["new", str(folder)]) == 0
    printed = capsys.readouterr()
    assert printed.err == ""
    assert printed.out.splitlines()[0] == str(folder / "study.toml")
    study = str(folder / "study.toml")
    assert cli.main(["check", study]) == 0
    assert "Unusual" not in capsys.readouterr().out
    assert cli.main([study, "--out", str(tmp_path / "out")]) == 0
    printed = capsys.readouterr()
    assert "no isolation: met in" in printed.out
    assert "Unusual" not in printed.out
    assert cli.main(["new", str(folder)]) == 2  # nothing is replaced
    assert "study.toml is there already; name a new" in one_sentence(capsys.readouterr().err)


def test_new_where_no_folder_can_be(tmp_path, capsys):
    (tmp_path / "file").write_text("mine")
    assert cli.main(["new", str(tmp_path / "file")]) == 2
    assert "cannot be made" in one_sentence(capsys.readouterr().err)


@pytest.mark.parametrize("command", ["check", "new"])
@pytest.mark.parametrize("more", [[], ["a", "b"], ["--x"]])
def test_wrong_arguments_of_commands_are_one_sentence(command, more, capsys):
    with pytest.raises(SystemExit) as left:
        cli.main([command, *more])
    assert left.value.code == 2
    assert "see --help" in one_sentence(capsys.readouterr().err)


def test_control_characters_of_an_error_reach_no_terminal(spoiled, tmp_path, capsys):
    study = spoiled("study.toml", ('model = "free foundation"', 'model = "\\u001b[2Jx\\n"'))
    assert cli.main([str(study), "--out", str(tmp_path / "out")]) == 2
    assert "\x1b" not in one_sentence(capsys.readouterr().err)
