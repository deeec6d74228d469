"""Time records: integration, weighting and running means."""
