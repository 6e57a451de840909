"""The one SQLite file of a challenge."""
