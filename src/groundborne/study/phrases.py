"""Parts of sentences of notes: bands, rooms, spans of numbers."""

from __future__ import annotations

from collections.abc import Sequence

from groundborne.bands import label

_FEW_ROOMS = 8


def bands_words(frequencies: Sequence[float]) -> str:
    """Bands one by one."""
    return f"{', '.join(label(f) for f in frequencies)} Hz"


def runs_words(ends: Sequence[Sequence[float]]) -> str:
    """Runs of bands by their ends."""
    words = [
        label(first) if first == last else f"{label(first)} to {label(last)}"
        for first, last in ends
    ]
    return f"{', '.join(words)} Hz"


def rooms_words(rooms: Sequence[str]) -> str:
    """Rooms by name, or their number where they are many."""
    if len(rooms) > _FEW_ROOMS:
        return f"{len(rooms)} rooms"
    return f"{'room' if len(rooms) == 1 else 'rooms'} {', '.join(rooms)}"


def signed(margin: float) -> str:
    """A margin with its sign."""
    return f"{margin:+.1f}".replace("-", "−")


def change(level: float) -> str:
    """A level difference with its sign."""
    return f"{signed(level)} dB"


def louder(change: float) -> str:
    """By how much, and which way."""
    return f"{abs(change):.1f} dB {'louder' if change > 0 else 'quieter'}"


def span_words(ends: Sequence[float], form: str = ".1f") -> str:
    """From one end to the other, or the one number where they print alike."""
    low, high = (f"{end:{form}}" for end in ends)
    return low if low == high else f"{low} to {high}"
