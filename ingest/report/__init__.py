"""Tallies, standings, gradebook, readings and status."""
