"""Do the sums add up, is it possible, do two returns agree: from readings to flags."""
