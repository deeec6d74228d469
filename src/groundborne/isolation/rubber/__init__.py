"""Rubber bearings and pads."""
