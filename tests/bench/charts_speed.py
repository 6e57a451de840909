"""How long 500 charts take to draw, and how large the PDF gets.

    python -m tests.bench.charts_speed

The bar: under 20 s and under 10 MB.
"""

import time
from pathlib import Path

from ingest.chart.charts import assign_codes
from ingest.chart.design import load_design
from ingest.chart.drawing import draw_charts
from ingest.chart.layout import lay_out
from ingest.plan.challenge import make_challenge
from ingest.plan.roster import Student

CHARTS = 500
NAMES = ["Zoë Ñandú", "Olu Ade", "Иван Ёлкин", "محمد العلي", "王小明", "김민준", "राजेश कुमार"]


def main() -> None:
    challenge = make_challenge({"month": "2027-10", "title": "October practice challenge"}, "the benchmark")
    design = load_design("minutes", Path())
    students = [
        Student(f"S{place:03}", f"{NAMES[place % len(NAMES)]} {place}", "", f"Winds {place % 8}")
        for place in range(CHARTS)
    ]
    started = time.perf_counter()
    layout = lay_out(challenge, design)
    pdf = draw_charts(challenge, design, layout, assign_codes(students, 0, {}, set()))
    seconds = time.perf_counter() - started
    print(f"{CHARTS} charts: {seconds:.1f} s, {len(pdf) / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
