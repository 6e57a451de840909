"""Daybox: prints practice charts, reads what comes back, and writes the gradebook."""

__version__ = "0.1.0"
