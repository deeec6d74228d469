"""Sections of a report, one module each: what each says of a study and its result."""
