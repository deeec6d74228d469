"""What the trains do: measured passbys."""

from groundborne.source.passbys import Passbys, read_passbys

__all__ = ["Passbys", "read_passbys"]
