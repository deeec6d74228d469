"""Steps that numbers went through: what each works out, by which formula, from which source."""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from groundborne.path import PathElement, TransmissionPath
from groundborne.structure import ColumnLine
from groundborne.study import Study
from groundborne.study.line_change import LineChange

SOUND, VIBRATION = "sound pressure", "velocity"
"""What steps lead to; quantities of criteria."""


@dataclass(frozen=True, eq=False)
class Chains:
    """Steps of every option in every part of a building, each step once.

    Parameters
    ----------
    study : Study
        With its options.
    """

    study: Study

    @cached_property
    def _found(self) -> tuple[dict[str, dict[str, Any]], dict[tuple[str, str, str], list[str]]]:
        steps: dict[str, dict[str, Any]] = {}
        known: dict[tuple[Any, ...], str] = {}
        chains: dict[tuple[str, str, str], list[str]] = {}
        for part in self.study.parts:
            paths = self.study.paths(part.name)
            floors = self.study.floor_paths(part.name, paths=paths)
            for of, by_option in ((SOUND, paths), (VIBRATION, floors)):
                for option, path in by_option.items():
                    own = []
                    for name, element in path.elements.items():
                        told = _told(name, element)
                        key = (name, *told["works_out"], *told["sources"])
                        if key not in known:
                            known[key] = f"S{len(known) + 1}"
                            steps[known[key]] = told
                        own.append(known[key])
                    chains[option, part.name, of] = list(dict.fromkeys(own))
        return steps, chains

    @property
    def steps(self) -> dict[str, dict[str, Any]]:
        """Each step by its number: name, class, formula and sources."""
        return self._found[0]

    def of(self, option: str, parts: list[str], quantity: str = "") -> list[str]:
        """Numbers of the steps of an option, in order, over some parts of the building.

        Parameters
        ----------
        option : str
            Its name; empty for all.
        parts : list of str
            Names of the parts.
        quantity : str
            ``SOUND`` or ``VIBRATION``; empty for both.
        """
        own = [
            step
            for (name, part, of), chain in self._found[1].items()
            if name == (option or name) and part in parts and of == (quantity or of)
            for step in chain
        ]
        return list(dict.fromkeys(own))


def _told(name: str, element: PathElement) -> dict[str, Any]:
    kinds = list(dict.fromkeys(_kinds(element)))
    return {
        "step": name,
        "works_out": [f"{of.__module__}.{of.__qualname__}" for of in kinds],
        "formula": [_formula(inspect.getdoc(of) or "") for of in kinds],
        "sources": [c.text for c in element.citations],
    }


def _kinds(element: PathElement) -> Iterator[type]:
    """Classes that work a step out: of a row of steps each, of numbers by column lines these."""
    if isinstance(element, TransmissionPath):
        for inner in element.elements.values():
            yield from _kinds(inner)
        return
    if isinstance(element, LineChange):
        yield ColumnLine
    yield type(element)


def _formula(text: str) -> str:
    """Of a docstring what is worked out and how: its first lines, notes and references."""
    head, *sections = re.split(r"\n([A-Z][A-Za-z ]*)\n-{3,}\n", text)
    kept = [b for n, b in zip(sections[::2], sections[1::2], strict=True) if n in _KEPT]
    return " ".join(" ".join([head, *kept]).split())


_KEPT = ("Notes", "References")
