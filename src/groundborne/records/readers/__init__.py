"""Readers of recordings, one for each format."""
