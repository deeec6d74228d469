"""What was measured: site, instruments, positions, dates, and which passbys were kept."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

from groundborne.bands import label
from groundborne.report.facts import Facts
from groundborne.report.picture import Picture
from groundborne.report.sections.front import NOT_STATED
from groundborne.report.sections.listed_rows import listing_of, terms_of
from groundborne.report.tree import Part, Runs, Section, Terms, say

_FEW = 3
"""Measurements that are told one by one, and not in columns."""


def measurements_section(facts: Facts, figures: Sequence[Picture]) -> Section:
    """Measurements that the prediction begins with."""
    study = facts.study
    source = study.source
    band = study.frequency.values
    attrs = source.attrs
    types = source.coords.get("train_type")
    rows: list[tuple[str, Runs]] = [
        ("Passbys kept", (f"{source.sizes['passby']}" + _of_types(types),)),
        ("Quantity", (f"{attrs['quantity']}, dB re {attrs['reference']}",)),
        ("Time weighting", (str(attrs.get("time_weighting", "")) or NOT_STATED,)),
        ("Position", (_position(facts),)),
        ("Bands evaluated", (f"{label(float(band[0]))} to {label(float(band[-1]))} Hz",)),
        ("File", (str(attrs.get("source", "")) or NOT_STATED,)),
    ]
    background = study.passbys.background
    rows.append(
        ("Background", ("not recorded" if background is None else
                        f"{background.sizes['segment']} segments recorded",))
    )  # fmt: skip
    parts: list[Part] = [Terms(items=tuple(rows))]
    told = getattr(study, "measurements", None)
    if told:
        for row in told if len(told) <= _FEW else ():
            parts += [say("As the study lists it:"), terms_of(row)]
        if len(told) > _FEW:
            parts.append(listing_of("measured", "Measurements as the study lists them", told))
    else:
        parts.append(
            say(
                "Instruments and their calibration, dates, weather, operators and the events left "
                f"out: {NOT_STATED}. A reviewer will ask for them."
            )
        )
    parts += [p.figure for p in figures]
    return Section(key="measurements", title="Measurements", parts=tuple(parts))


def _of_types(types: Any) -> str:
    if types is None:
        return ""
    counts = Counter(str(t) for t in types.values.tolist())
    return ": " + ", ".join(f"{n} of {kind}" for kind, n in counts.items())


def _position(facts: Facts) -> str:
    attrs = facts.study.source.attrs
    location = str(attrs.get("location", "")).removeprefix("of ")
    return str(attrs.get("description", "") or location or NOT_STATED)
