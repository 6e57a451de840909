"""What `tests/bench/proving_ground.py` is made of: cases, readings, verdicts, figures, pictures, report."""
