"""What may be wrong with a recording: faults, scale against natural noise, calibration."""
