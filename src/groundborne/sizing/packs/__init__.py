"""Packs of springs, bearings and pads under columns: parts, rules, search, schedule."""
