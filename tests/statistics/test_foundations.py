"""What the foundations of the library gain against published statistics, and what is left.

Source: E DIN 45672-3:2023, Tables A.3 and A.4 [seen second-hand]. Statistics are not a building.
The share of 0.7 that no plan averages was fitted to the same tables: what it gains is fit.
"""

from __future__ import annotations

import pytest
from foundations import BEFORE, KEPT, residuals


def test_what_foundations_gain() -> None:
    before, floors, off = residuals(BEFORE)
    assert (before.rms, before.bias) == (pytest.approx(5.18, abs=0.05), pytest.approx(3.2, abs=0.1))
    now, floors_now, left = residuals(KEPT)
    assert now.rms < 4.2
    assert now.share_inside > 0.78
    assert now.largest < 9.0 < 14.0 < before.largest
    # The floors above them are none the worse.
    assert floors_now.rms < floors.rms + 0.15
    # What is not explained: 25 and 31.5 Hz, and half of it at all lower bands alike.
    assert 5.0 < left[:, 7:9].mean() < off[:, 7:9].mean() < 7.0
    assert 2.5 < left[:, :7].mean() < 3.2


def test_rigid_averaging_of_slow_waves_is_refuted() -> None:
    found, _, _ = residuals("rigid averaging, 300 m/s, q 0")
    assert found.rms > 10.0
    assert found.bias < -4.0


def test_rafts_that_bend_on_waves_of_one_slow_speed() -> None:
    """The bare filter is refuted as that of a rigid plan is; with the share q it is not."""
    bare, _, _ = residuals("  and of 300 m/s, q 0")
    assert bare.rms > 10.0
    now, _, _ = residuals("  and of 300 m/s")
    assert now.rms < 4.2
