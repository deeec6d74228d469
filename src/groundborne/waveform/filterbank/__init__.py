"""One-third-octave bank for long records, and what standards ask of such filters."""
