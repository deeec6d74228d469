"""A floor lifted on its jacks: plan, plate, rules, passes, handover."""
