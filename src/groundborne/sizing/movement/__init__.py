"""The building moves on its packs: under wind, against stops, when a support changes."""
