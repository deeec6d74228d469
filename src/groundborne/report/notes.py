"""Notes of a result as a reader meets them: by severity, and by the options they are about."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import xarray as xr

from groundborne._arguments import checked
from groundborne.report.assessment import listed
from groundborne.report.rated import printable
from groundborne.study import Note, Severity, notes_of, sentence
from groundborne.study.note import STANDING, by_weight
from groundborne.study.note_words import body
from groundborne.study.samples import median_case, samples_words


def all_notes(result: xr.Dataset) -> list[Note]:
    """Notes of a result without the standing cautions, and what only a reader of it has to know."""
    notes = [n for n in notes_of(result) if n.kind not in STANDING]
    return [*notes, *_cases(result), *_sampled(result), *_outside(result)]


def warning_sentences(result: xr.Dataset) -> list[str]:
    """What is likely not as it was meant."""
    return [sentence(n) for n in notes_of(result) if n.severity is Severity.WARNING]


def notes_by_option(result: xr.Dataset) -> list[tuple[str, list[str]]]:
    """Sentences of the study first, then of options: those that are the same of several, once.

    Warnings have a place of their own.

    Returns
    -------
    list of tuple
        Options in one text, empty for the study, and sentences, the most severe first.
    """
    of_text: dict[str, list[str]] = {}
    for note in by_weight(all_notes(result)):
        if note.severity is Severity.WARNING:
            continue
        text = body(note)
        of_text.setdefault(text[:1].upper() + text[1:], []).extend(
            [note.option] if note.option else []
        )
    order = [str(o) for o in result["option"].values]
    found: dict[tuple[str, ...], list[str]] = {(): []}
    for text, names in sorted(of_text.items(), key=lambda item: _place(item[1], order)):
        found.setdefault(tuple(names), []).append(text)
    return [(listed(f"“{n}”" for n in names), texts) for names, texts in found.items() if texts]


def notes_of_options(result: xr.Dataset, options: Sequence[str]) -> list[tuple[str, list[str]]]:
    """Sentences of the study and of some of its options, then nothing of the others.

    Parameters
    ----------
    result : Dataset
        Result of a study.
    options : sequence of str
        Whose notes are told.
    """
    return [
        (name, texts)
        for name, texts in notes_by_option(result)
        if not name or any(f"“{o}”" in name for o in options)
    ]


def _place(names: Iterable[str], order: list[str]) -> tuple[int, ...]:
    return tuple(order.index(name) for name in names)


@checked
def warnings_text(result: xr.Dataset) -> str:
    """What is likely not as it was meant, for a terminal; empty where there is no such note.

    Parameters
    ----------
    result : Dataset
        Result of a study.

    Examples
    --------
    >>> warnings_text(xr.Dataset())
    ''
    """
    found = [f"  {printable(text)}" for text in warning_sentences(result)]
    return "\n".join(["Unusual; check before reading on:", *found, ""]) if found else ""


def _cases(result: xr.Dataset) -> list[Note]:
    if "floor_frequency" not in result.dims:
        return []
    values = {"frequencies": result["floor_frequency"].values.tolist()}
    return [Note(kind="several floor frequencies", values=values)]


def _sampled(result: xr.Dataset) -> list[Note]:
    words = samples_words(median_case(result))
    return [Note(kind="sampled", values={"shown": words})] if words else []


def _outside(result: xr.Dataset) -> list[Note]:
    """Bands in which a stage leaves the range of its source."""
    valid = result["valid"]
    others = [d for d in valid.dims if d not in ("option", "frequency")]
    good = valid.all(others).transpose("option", "frequency")
    frequency = good["frequency"].values
    return [
        Note(
            kind="outside a source", option=str(option), values={"bands": frequency[~row].tolist()}
        )
        for option, row in zip(good["option"].values.tolist(), good.values, strict=True)
        if not row.all()
    ]
