"""Modal sums of a box-shaped room over a moving floor, as functions of arrays.

A room whose modes all decay alike obeys ``∇²p + K²p = 0`` with ``K² = (ω² − jωδ)/c²``,
``δ = 13.816/T``. What is put in is lost inside, so that the mean square in the room is that power
over the loss: ``<p²> = −(ρ²c²ω/δ) Im G``, where ``G`` is the response of the moving surface to
itself, a sum over modes of ``1/(k² − K²)``. Two things follow. Over one index the sum is closed
(hyperbolic functions). And G has no pole at frequencies below the real axis, so that the mean over
a band, however sharp its resonances, is an integral along a half circle below the band.

In a corner the sum over modes is that of their energies there; products of different modes, which
change sign within a band, are left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

Array = np.ndarray[Any, Any]

DECAY = 6 * np.log(10.0)
"""``δ T``: energy falls by 60 dB in the reverberation time."""

_NODES = {"piston": 16, "random": 8}
"""On the half circle. Off by 0.001 and 0.01 dB at most for T of 1 s, 0.006 and 0.05 for 2 s, 0.03
and 0.1 for 4 s (60 rooms, bands from 10 to 400 Hz)."""
_BEYOND = 1.3
"""Modes are summed one by one up to this times the wave number of the upper band edge."""
_LEAST = 2.2
"""... and to this many half waves over the smallest dimension at least; the rest as an integral."""
_ROWS = 20_000
"""Modes that are held at once."""


def _half_circle(count: int) -> tuple[Array, Array]:
    """Points below the real interval −1 to 1, and weights of the mean over it.

    Towards the ends, where a resonance may lie close by, the points crowd.
    """
    x, w = np.polynomial.legendre.leggauss(count)
    t = (x + 1) / 2
    point = np.exp(1j * np.pi * (t * t * (3 - 2 * t) - 1))
    return point, 1j * np.pi * point * 6 * t * (1 - t) * w / 4


_ARC = {name: _half_circle(count) for name, count in _NODES.items()}


@dataclass(frozen=True)
class Boxes:
    """Rooms, each with one band; all arrays have one dimension and one length.

    Parameters
    ----------
    low, high : array
        Edges of the band [Hz].
    size : array
        Length, width and height [m], one row for each.
    reverberation_time : array
        [s].
    speed : float
        Of sound [m/s].
    """

    low: Array
    high: Array
    size: Array
    reverberation_time: Array
    speed: float

    def part(self, chosen: Any) -> Boxes:
        """Some of them."""
        return Boxes(
            self.low[chosen], self.high[chosen], self.size[chosen],
            self.reverberation_time[chosen], self.speed,
        )  # fmt: skip

    @property
    def decay(self) -> Array:
        """δ [1/s]."""
        decay: Array = DECAY / self.reverberation_time
        return decay

    def below(self, name: str) -> tuple[Array, Array, Array]:
        """Complex angular frequencies below each band, their K², and the weights of the mean."""
        point, weight = _ARC[name]
        middle, half = np.pi * (self.low + self.high), np.pi * (self.high - self.low)
        omega = middle[:, None] + half[:, None] * point
        return omega, wave_squared(omega, self.decay[:, None], self.speed), weight


def wave_squared(omega: Array, decay: Array, speed: float) -> Array:
    """``K²`` [1/m²]."""
    squared: Array = (omega**2 - 1j * omega * decay) / speed**2
    return squared


def _coth(gamma: Array, length: Array) -> Array:
    """``coth(γl)/γ``, which is ``Σ ε_n/(γ² + (nπ/l)²)`` over the length."""
    x = np.exp(-2 * gamma * length)
    found: Array = (1 + x) / ((1 - x) * gamma)
    return found


def _echo(gamma: Array, length: Array, inset: Array | float) -> Array:
    """``cosh(γ(l − 2d))/(γ sinh γl)``: the same with ``cos(2nπd/l)`` in each term."""
    x = np.exp(-2 * gamma * inset)
    y = np.exp(-2 * gamma * (length - inset))
    found: Array = (x + y) / ((1 - np.exp(-2 * gamma * length)) * gamma)
    return found


def piston(boxes: Boxes, inset: float = 0.0, corner: float = 0.0) -> Array:
    """Mean square over ``(ρc v)²`` [-] where floor or ceiling move as a whole.

    Parameters
    ----------
    boxes : Boxes
        Rooms and bands.
    inset : float
        Distance of a corner position from all three surfaces [m].
    corner : float
        Share of the corner position in what is asked for; of the mean over the room the rest.

    Returns
    -------
    array
        Mean over the band; the reverberation is the only loss.
    """
    omega, k2, weight = boxes.below("piston")
    response = _over_height(boxes, k2, inset, corner) / boxes.size[:, 2:] ** 2
    return _power(boxes, omega * response, weight)


def _over_height(boxes: Boxes, k2: Array, inset: float, corner: float) -> Array:
    """Sum over the modes of the height alone."""
    height, gamma = boxes.size[:, 2:], np.sqrt(-k2)
    response = _coth(gamma, height)
    if corner:
        response = response + corner * (_echo(gamma, height, inset) + 1 / (k2 * height))
    found: Array = height * response
    return found


def pistons_together(boxes: Boxes, inset: float = 0.0, corner: float = 0.0) -> Array:
    """What floor and ceiling that move into the room alike add, over ``2 (ρc)² v_f v_c`` [-]."""
    omega, k2, weight = boxes.below("piston")
    height, gamma = boxes.size[:, 2:], np.sqrt(-k2)
    response = _echo(gamma, height, height / 2)
    if corner:
        echo = _echo(gamma, height, height / 2 - inset)
        response = response + corner * (echo + 1 / (k2 * height))
    return _power(boxes, omega / height * response, weight)


def _power(boxes: Boxes, response: Array, weight: Array) -> Array:
    mean: Array = -(response @ weight).imag / boxes.decay
    return mean


def piston_at(frequency: Array, height: Array, decay: Array, speed: float) -> Array:
    """Mean square over ``(ρc v)²`` [-] at single frequencies [Hz], mean over the room."""
    omega = 2 * np.pi * frequency
    gamma = np.sqrt(-wave_squared(omega, decay, speed))
    mean: Array = -omega / (decay * height) * _coth(gamma, height).imag
    return mean


def random(boxes: Boxes, inset: float = 0.0, corner: float = 0.0, *, mean: bool = True) -> Array:
    """Mean square over that of a diffuse field [-] where points of the floor move at random.

    Parameters
    ----------
    boxes : Boxes
        Rooms and bands.
    inset, corner : float
        As in :func:`piston`.
    mean : bool
        Whether the points together move air as a whole. If not, modes over the height alone, which
        the mean velocity reaches, are left out.

    Returns
    -------
    array
        Mean over the band. The source has no extent and radiates into half a space as much as it
        does in the diffuse field.
    """
    found = np.empty(boxes.low.size)
    for chosen in _chunks(boxes):
        found[chosen] = _random(boxes.part(chosen), inset, corner, mean=mean)
    return found


def _chunks(boxes: Boxes) -> Iterator[Array]:
    """Pairs of room and band in groups with like numbers of modes, so that grids fit them."""
    count = np.prod(_largest_index(boxes) + 1, axis=1)
    class_ = np.ceil(2 * np.log2(count)).astype(int)
    for each in np.unique(class_):
        members = np.flatnonzero(class_ == each)
        most = max(1, _ROWS // int(count[members].max()))
        for start in range(0, members.size, most):
            yield members[start : start + most]


def _cut(boxes: Boxes) -> Array:
    """Wave number up to which modes are summed one by one [1/m]."""
    band = 2 * np.pi * boxes.high / boxes.speed
    cut: Array = np.maximum(_BEYOND * band, _LEAST * np.pi / boxes.size.min(axis=1))
    return cut


def _largest_index(boxes: Boxes) -> Array:
    """Largest index along each of the two shorter sides."""
    short = np.sort(boxes.size, axis=1)[:, :2]
    largest: Array = np.floor(_cut(boxes)[:, None] * short / np.pi).astype(int)
    return largest


def _random(boxes: Boxes, inset: float, corner: float, *, mean: bool) -> Array:
    omega, k2, weight = boxes.below("random")
    order = np.argsort(boxes.size, axis=1, kind="stable")
    sides = np.take_along_axis(boxes.size, order, axis=1)
    upright = order == 2  # modes over the height count twice: the floor is at their antinode
    cut = _cut(boxes)
    first, second = (np.arange(n + 1) for n in _largest_index(boxes).max(axis=0))
    across = (first * np.pi / sides[:, :1]) ** 2
    along = (second * np.pi / sides[:, 1:2]) ** 2
    grid = across[:, :, None] + along[:, None, :]
    pair, i, j = np.nonzero(grid <= (cut**2)[:, None, None])
    inverse = 1 / np.sqrt(grid[pair, i, j][:, None] - k2[pair])  # 1/γ
    length, tall = sides[pair, 2], upright[pair, 2]
    decay = np.exp(-2 * length[:, None] / inverse)
    share = _full(i, upright[pair, 0]) * _full(j, upright[pair, 1])
    # Over the third side the sum is closed: length/γ coth, and half of it with 1/γ² along a side.
    closed = length * np.where(tall, 1.0, 0.5) * share
    point = np.where(tall, 0.0, 0.5) * share
    if corner:
        local = share * _local(i, sides[pair, 0], inset)
        local = local * _local(j, sides[pair, 1], inset)
        there = length * np.where(tall, 1.0, 0.5) * local
        closed = (1 - corner) * closed + corner * there
        point = (1 - corner) * point - corner * np.where(tall, local, 0.0)
    over = closed[:, None] * (1 + decay)
    if corner:
        near = np.exp(-2 * inset / inverse)
        over += (corner * there)[:, None] * (near + decay / near)
    over = inverse * (over / (1 - decay) + point[:, None] * inverse)
    total = np.add.reduceat(over, np.searchsorted(pair, np.arange(cut.size)))
    total = total + _rest(k2, cut[:, None], sides, upright, corner)
    if not mean:
        total = total - _over_height(boxes, k2, inset, corner)
    # Over the diffuse p² = 4 ρc W/A of the same W = ρc k² Q²/(2π).
    volume, height = boxes.size.prod(axis=1), boxes.size[:, 2]
    area = volume / height
    absorption = 4 * DECAY * volume / (boxes.speed * boxes.reverberation_time)
    scale = 2 * np.pi * boxes.speed**2 / (boxes.decay * height**2 * area)
    found: Array = -scale * ((total / omega) @ weight).imag * absorption / (4 * area)
    return found


def _full(index: Array, upright: Array) -> Array:
    """Weight of modes by the index along one side in the mean over the room."""
    full: Array = np.where(upright & (index > 0), 2.0, 1.0)
    return full


def _local(index: Array, side: Array, inset: float) -> Array:
    """What that weight becomes in a corner: ``cos²`` over its mean."""
    local: Array = np.where(index > 0, 2.0, 1.0) * np.cos(index * np.pi * inset / side) ** 2
    return local


def _rest(k2: Array, cut: Array, sides: Array, upright: Array, corner: float) -> Array:
    """Modes beyond the cut as an integral; what is real at real frequencies is left out."""
    k, end = np.sqrt(k2), np.sqrt(cut**2 - k2)
    tall, length = upright[:, 2:], sides[:, 2:]
    # Beyond the cut coth is 1: the closed sum is length/γ, and half of it with 1/γ² along a side.
    line = np.where(tall, 1.0, 0.5) * length
    point = np.where(tall, -corner, (1 - corner) / 2)
    over_area = -line * end - point * np.log(cut**2 - k2) / 2
    over_edge = -line * np.log(cut + end) - point / (2 * k) * np.log((cut - k) / (cut + k))
    a, b = sides[:, :1], sides[:, 1:2]
    whole = np.where(tall, 1.0, 2.0) * a * b / (2 * np.pi)
    edge = np.where(tall, (a + b) / (2 * np.pi), np.where(upright[:, :1], a, b) / np.pi)
    rest: Array = whole * over_area + edge * over_edge
    return rest
