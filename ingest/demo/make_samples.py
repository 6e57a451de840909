"""Makes the ready-made photos of `samples/october`: `python -m ingest.demo.make_samples`.

Four charts of the made-up school, each photographed with damage of its own, with all that tests need to
read them and to know what they say. Kept small: two megapixels.
"""

import csv
import shutil
from dataclasses import replace
from pathlib import Path

import click
import numpy as np

from ingest.chart.charts import assign_codes, layout_file
from ingest.chart.design import load_design
from ingest.chart.drawing import draw_charts
from ingest.chart.layout import lay_out, layout_to_json
from ingest.demo.camera import ORDINARY, Severity
from ingest.demo.diary import any_habits, areas_of, keep_diary
from ingest.demo.fill import any_writer
from ingest.demo.hands import load_hands
from ingest.demo.pile import Job, Printed, take_picture
from ingest.demo.school import HOLIDAY, MONTH, PUPILS
from ingest.plan.challenge import make_challenge
from ingest.plan.new import challenge_text
from ingest.plan.roster import Student

_NO_TROUBLE = replace(ORDINARY, folds=0.0, motion=0.0, low_light=0.0, glare=0.0, thumb=0.0, photocopy=0.0)
_BASE = replace(_NO_TROUBLE, scan_mode=0.0, megapixels=(2.2,), quality=(58, 64), fill=(0.93, 0.95))
CAMERAS: dict[str, Severity] = {
    "kitchen-table.jpg": replace(_BASE, shadow=(0.3, 0.35), tilt=(12, 16), curl=(0, 2)),
    "curled-and-folded.jpg": replace(_BASE, curl=(9, 10), folds=1.0),
    "copied-then-whitened.jpg": replace(_BASE, photocopy=1.0, scan_mode=1.0),
    "dim-and-corner-out.jpg": replace(_BASE, low_light=1.0, corner_out=1.0, thumb=1.0, tilt=(15, 22)),
}
SEED = 10


@click.command()
@click.option("--out", type=click.Path(path_type=Path), default=Path("samples/october"))
def main(out: Path) -> None:
    """Print, fill in and photograph four charts; write the truth beside them."""
    shutil.rmtree(out, ignore_errors=True)
    out.mkdir(parents=True)
    challenge = make_challenge({"month": MONTH, "days": {"no_school": [str(HOLIDAY)]}}, "the samples' plan")
    (out / "challenge.toml").write_text(challenge_text(challenge), encoding="utf-8", newline="")
    pupils = [PUPILS[index] for index in (0, 2, 11, 20)]
    students = [Student(p.id, p.first_name, p.last_name, p.section) for p in pupils]
    with (out / "roster.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["student_id", "first_name", "last_name", "section"])
        writer.writerows([s.id, s.first_name, s.last_name, s.section] for s in students)

    design = load_design(challenge.design, out)
    layout = lay_out(challenge, design)
    charts = assign_codes(students, 0, {}, set())
    (out / "layout.json").write_text(layout_to_json(layout), encoding="utf-8")
    (out / "charts.layout.json").write_text(layout_file(layout, charts), encoding="utf-8")
    pdf = out / "charts.pdf"
    pdf.write_bytes(draw_charts(challenge, design, layout, charts))
    printed = Printed.of(pdf)

    hands = load_hands()
    rows = []
    for number, (student, (name, camera)) in enumerate(zip(students, CAMERAS.items(), strict=True)):
        rng = np.random.default_rng([SEED, number])
        hand = hands[number * 4]
        page = printed.page_of(student.id)
        diary = keep_diary(areas_of(page), any_habits(rng), hand, rng)
        seeds = (int(rng.integers(2**32)), int(rng.integers(2**32)))
        job = Job(printed, page, diary.entries, any_writer(hand, rng), camera, None, seeds)
        jpeg = take_picture(job)
        (out / name).write_bytes(jpeg)
        click.echo(f"{out / name}: {len(jpeg) / 1000:.0f} kB, {hand.writer}")
        rows += [
            (name, student.id, page["chart"], box, diary.entries[box].text, "" if value is None else value)
            for box, value in diary.truth.items()
        ]
    with (out / "truth.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["photo", "student_id", "chart", "box", "written", "minutes"])
        writer.writerows(rows)
    pdf.unlink()  # large, and `daybox charts` makes it


if __name__ == "__main__":
    main()
