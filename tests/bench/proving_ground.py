"""The reading chain under children and cameras good enough to hurt, beside the truth about every box.

    python tests/bench/proving_ground.py --data FOLDER [--charts 100] [--severity hard] [--part test]

Charts of many months are filled in by hands that neither trained nor calibrated the reader (part "test";
`--part calibrate` for tuning, so that nobody tunes on the test hands), photographed, and read through the
package's own chain: file, page, boxes, certainty, check room; only the ledger is left out. The same boxes are
judged three times: by the ink alone, with what is plausible, and as a whole chart.

FOLDER holds the open stroke data described in `samples/README.md`. Everything follows from --seed but the
chart codes. --cases keeps the photographs in a folder, so that another net or check room meets the same ones;
--readings keeps what was read, too, for work on the check room alone.

Writes report.md, report.json, boxes.csv, and for every severity a contact sheet of what was wrong, one of
what was asked, and the diagrams.
"""

import csv
import json
import os
import pickle
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path
from typing import Any

import click
import cv2
from proving.cases import Case, Setting, case_of, hands_of
from proving.figures import FINE, reliability, risk_against_coverage
from proving.pictures import contact_sheet, reliability_diagram, risk_diagram, tile
from proving.readings import Read, read
from proving.report import Examined, figures, words
from proving.verdicts import Chain, Outcome, Verdict, judge, questions_besides
from threadpoolctl import threadpool_limits

from ingest.demo.camera import SEVERITIES
from ingest.reading.numerals import Numerals


@dataclass(frozen=True, slots=True)
class Job:
    """One case to examine. cases: where cases are kept, if at all. again: whether readings are, too."""

    setting: Setting
    number: int
    cases: Path | None
    again: bool


def start() -> None:
    """One core a process."""
    os.environ["OMP_THREAD_LIMIT"] = "1"
    cv2.setNumThreads(1)
    threadpool_limits(1)


@cache
def reader() -> Numerals:
    return Numerals.load()


def examine(job: Job) -> Examined:
    """Make, read and judge one case."""
    case = case_of(job.setting, job.number, job.cases)
    done = _read(case, job)
    pixels = case.photo.size[0] * case.photo.size[1] / 1e6
    page = done.page
    if page is None or page.layout is None:
        problem = done.problem or f"taken for a chart of {page.code_challenge if page else 'nothing'}"
        return Examined(job.number, problem, "no", done.seconds, 0.0, case.photo.damage, pixels)
    verdicts = judge(case, page)
    tiles = {v.box: tile(case, page, v) for v in verdicts[Chain.CHART] if v.outcome is not Outcome.RIGHT}
    identified = "yes" if page.code == case.code else "wrong" if page.code else "no"
    return Examined(
        job.number,
        "",
        identified,
        done.seconds,
        page.residual_mm,
        case.photo.damage,
        pixels,
        verdicts,
        tiles,
        questions_besides(case, page),
    )


def _read(case: Case, job: Job) -> Read:
    if not (job.again and job.cases):
        return read(case, reader())
    name = f"{case.code}-{job.setting.part}-{job.setting.severity}-{job.setting.seed}-{job.number}.read"
    file = job.cases / name
    if file.exists():
        done = pickle.loads(file.read_bytes())
        assert isinstance(done, Read)
        return done
    done = read(case, reader())
    file.write_bytes(pickle.dumps(done))
    return done


def worst_first(verdict: Verdict) -> tuple[bool, bool, float]:
    """Wrong minutes before wrong words for none, and the surest first."""
    return not verdict.changes_minutes, not verdict.is_number, -verdict.confidence


def draw(out: Path, severity: str, cases: Sequence[Examined]) -> None:
    """Contact sheets and diagrams of one severity."""
    verdicts = [(case, v) for case in cases if not case.problem for v in case.verdicts[Chain.CHART]]
    for outcome in (Outcome.WRONG, Outcome.FLAGGED):
        chosen = sorted(
            ((v, case) for case, v in verdicts if v.outcome is outcome), key=lambda pair: worst_first(pair[0])
        )
        if chosen:
            sheet = contact_sheet([case.tiles[v.box] for v, case in chosen])
            cv2.imwrite(str(out / f"{severity}-{outcome}.png"), sheet)
    curves = []
    for chain in Chain:
        guesses = [v for case in cases if not case.problem for v in case.verdicts[chain] if v.has_guess]
        if not guesses:
            return
        sure, right = [v.confidence for v in guesses], [v.is_right_guess for v in guesses]
        coverage, risk = risk_against_coverage(sure, right, len(verdicts))
        curves.append((str(chain), coverage.tolist(), risk.tolist()))
        if chain is Chain.CHART:
            diagram = reliability_diagram(
                f"{severity}: how sure, how often wrong", reliability(sure, right, FINE)
            )
            diagram.save(out / f"{severity}-reliability.png")
    risk_diagram(f"{severity}: risk against coverage", curves).save(out / f"{severity}-risk.png")


def write_boxes(file: Path, found: dict[str, Sequence[Examined]]) -> None:
    """Every box under every chain as a CSV row."""
    with file.open("w", encoding="utf-8", newline="") as stream:
        rows = csv.writer(stream)
        rows.writerow(["severity", "chain", *Verdict.__slots__, "damage"])
        for severity, cases in found.items():
            for case in cases:
                for chain, verdicts in case.verdicts.items():
                    for v in verdicts:
                        rows.writerow([severity, str(chain), *asdict(v).values(), "; ".join(case.damage)])


@click.command()
@click.option("--data", type=click.Path(exists=True, file_okay=False, path_type=Path), required=True)
@click.option("--charts", default=100, show_default=True, help="of each severity")
@click.option("--severity", "severities", type=click.Choice([*SEVERITIES]), multiple=True)
@click.option("--part", type=click.Choice(["test", "calibrate"]), default="test", show_default=True)
@click.option("--seed", default=1, show_default=True)
@click.option("--workers", default=os.cpu_count() or 1, show_default=True)
@click.option(
    "--out", type=click.Path(path_type=Path), default=Path("bench-report/proving"), show_default=True
)
@click.option(
    "--cases", type=click.Path(path_type=Path), help="keep the photographs here, and use those there"
)
@click.option("--readings", is_flag=True, help="keep the readings there, too, and use those there")
def main(
    data: Path,
    charts: int,
    severities: tuple[str, ...],
    part: str,
    seed: int,
    workers: int,
    out: Path,
    cases: Path | None,
    readings: bool,
) -> None:
    """Run the proving ground and write the report."""
    if readings and cases is None:
        raise click.UsageError("--readings keeps them beside the photographs: name a folder with --cases.")
    for folder in filter(None, (out, cases)):
        folder.mkdir(parents=True, exist_ok=True)
    hands = len(hands_of(data, "test" if part == "test" else "calibrate"))
    command = f"tests/bench/proving_ground.py --charts {charts} --part {part} --seed {seed}"
    text = [
        "# Proving ground",
        "",
        f"`{command}`: {hands} hands of part {part}, {charts} charts a severity, seed {seed}.",
        "In brackets: Clopper and Pearson's 95 % bounds, as if the boxes of a chart were independent.",
        "",
    ]
    found: dict[str, Sequence[Examined]] = {}
    severities_found: dict[str, Any] = {}
    whole = {"command": command, "part": part, "seed": seed, "hands": hands, "severities": severities_found}
    with ProcessPoolExecutor(workers, initializer=start) as pool:
        for severity in severities or tuple(SEVERITIES):
            setting = Setting(data, "test" if part == "test" else "calibrate", severity, seed)
            begun = time.monotonic()
            jobs = [Job(setting, number, cases, readings) for number in range(charts)]
            found[severity] = list(pool.map(examine, jobs))
            measured = figures(found[severity])
            severities_found[severity] = measured
            said = words(severity, measured)
            click.echo(f"{said}\n({time.monotonic() - begun:.0f} s)\n")
            text.append(said)
            draw(out, severity, found[severity])
    (out / "report.md").write_text("\n".join(text), encoding="utf-8")
    (out / "report.json").write_text(json.dumps(whole, indent=1), encoding="utf-8")
    write_boxes(out / "boxes.csv", found)
    click.echo(f"Report, boxes, contact sheets and diagrams: {out}")


if __name__ == "__main__":
    main()
