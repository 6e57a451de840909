"""Does a wish come true on other hands than those by which its threshold was chosen?

    python tests/bench/threshold_rule.py [bench-report/calibration/thresholds.csv] [--splits 200]

Splits the calibrating hands into halves at random, chooses the threshold by the charts of one half
(`ingest.reading.certainty.choose`), and counts what the other half's charts come to at it. `python -m
ingest.training.calibrate` writes the file. No test writer is touched.
"""

import csv
from collections.abc import Sequence
from pathlib import Path

import click
import numpy as np

from ingest.reading.certainty import Tried, choose
from ingest.training.thresholds import added

WISHES = (300, 500, 1000, 2000, 5000)


def charts_by_hand(path: Path) -> dict[str, list[list[Tried]]]:
    """For each hand its charts, each with what came of it at every threshold."""
    charts: dict[tuple[str, int], list[Tried]] = {}
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            tried = Tried(float(row["sure"]), int(row["accepted"]), float(row["foreseen"]), int(row["wrong"]))
            charts.setdefault((row["hand"], int(row["chart"])), []).append(tried)
    hands: dict[str, list[list[Tried]]] = {}
    for (hand, _), rows in charts.items():
        hands.setdefault(hand, []).append(rows)
    return hands


def held_out(hands: dict[str, list[list[Tried]]], wish: int, splits: int) -> tuple[list[Tried], list[float]]:
    """Split by split, what the other half came to at the threshold chosen, and the share of boxes taken."""
    names, chance = sorted(hands), np.random.default_rng(1)
    found, shares = [], []
    for _ in range(splits):
        order = [names[n] for n in chance.permutation(len(names))]
        chosen = choose(wish, _sum(hands, order[: len(names) // 2]))
        others = _sum(hands, order[len(names) // 2 :])
        row = next(row for row in others if row.sure == chosen.sure)
        found.append(row)
        shares.append(row.accepted / others[0].accepted)
    return found, shares


def _sum(hands: dict[str, list[list[Tried]]], names: Sequence[str]) -> list[Tried]:
    return added([chart for name in names for chart in hands[name]])


@click.command()
@click.argument(
    "path",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    default=Path("bench-report/calibration/thresholds.csv"),
)
@click.option("--splits", default=200, show_default=True)
def main(path: Path, splits: int) -> None:
    """Print for each wish the rate that held-out hands came to."""
    hands = charts_by_hand(path)
    charts = sum(map(len, hands.values()))
    click.echo(f"{charts} charts by {len(hands)} hands, {splits} splits in halves")
    for wish in WISHES:
        found, shares = held_out(hands, wish, splits)
        accepted, wrong = sum(row.accepted for row in found), sum(row.wrong for row in found)
        over = np.mean([row.wrong * wish > row.accepted for row in found])
        low, middle, high = np.percentile([row.sure for row in found], [10, 50, 90])
        click.echo(
            f"wish 1 in {wish:5}: came to 1 in {accepted / max(wrong, 1):5.0f}, more than wished "
            f"in {over:.1%} of splits, threshold {middle:.4f} "
            f"({low:.4f} to {high:.4f} in 8 of 10 splits), {np.mean(shares):.1%} of what the mildest takes"
        )


if __name__ == "__main__":
    main()
