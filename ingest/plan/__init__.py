"""The plan of one month: the challenge and the roster."""
