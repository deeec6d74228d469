"""Passbys: found in recordings, measured, corrected for background, in files."""
