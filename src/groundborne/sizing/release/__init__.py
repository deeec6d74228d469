"""Locked packs: how they load while the building grows, and how they are released."""
