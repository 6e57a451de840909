"""The printed chart: its design, where everything stands on the paper, and the PDF."""
