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


def gain_words(beside: float, alone: float) -> str:
    """What mounts gain with what is beside them and without it; less than nothing is a loss.

    Examples
    --------
    >>> gain_words(24.9, 41.2)
    'gain 24.9 dB with it and 41.2 dB without'
    >>> gain_words(-0.9, -0.01)
    'lose 0.9 dB with it and gain nothing without'
    """
    words = [_gained(value) for value in (beside, alone)]
    verb = words[0].split(" ")[0]
    second = words[1].removeprefix(f"{verb} ") if "nothing" not in words[1] else words[1]
    return f"{words[0]} with it and {second} without"


def _gained(value: float) -> str:
    if abs(value) < 0.05:
        return "gain nothing"
    return f"{'gain' if value > 0 else 'lose'} {abs(value):.1f} dB"


def span_words(ends: Sequence[float], form: str = ".1f") -> str:
    """From one end to the other, or the one number where they print alike."""
    low, high = (f"{end:{form}}" for end in ends)
    return low if low == high else f"{low} to {high}"
