"""Helical springs of steel."""
