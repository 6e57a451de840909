"""Makes `samples/hands.npz` from open stroke data: `python -m ingest.demo.make_hands --data FOLDER`.

FOLDER holds `unipen_digits_train.npz` and its sisters, as described in `samples/README.md`. Only
writers of the part "test" are taken, so that the reader was neither trained nor calibrated on them;
every third stays out, for the outside check in `tests/bench`.
"""

from collections.abc import Iterator, Sequence
from pathlib import Path

import click
import numpy as np

from ingest.demo.hands import Glyph, Hand, Points, curve, pack
from ingest.training.split import Part, part_of

ARCHIVES = ("unipen_digits", "unipen_symbols", "pendigits", "uji", "uji_symbols")
SIGNS = "0123456789-:hminr"
# Left to the outside check: this writer's 1 can be told from 7 only by the bar through the 7.
PUZZLING = {"apa/8eba41"}
STEP = 0.045  # of the digit height, between kept points; finer shows nothing at 12 mm box height
DIGITS_KEPT, SIGNS_KEPT = 24, 6  # samples a writer, so that hands.npz stays under 300 KB


def writers_of(data: Path, part: Part) -> tuple[Hand, ...]:
    """Every writer of a part, by id, with whatever characters the data has of them."""
    pool: dict[str, dict[str, list[Glyph]]] = {}
    for writer, sign, glyph in _glyphs(data, part):
        pool.setdefault(writer, {}).setdefault(sign, []).append(glyph)
    return tuple(
        Hand(
            writer,
            {
                sign: _spread(glyphs, DIGITS_KEPT if sign.isdigit() else SIGNS_KEPT)
                for sign, glyphs in pool[writer].items()
            },
        )
        for writer in sorted(pool)
    )


def shipped_share(hands: Sequence[Hand]) -> tuple[Hand, ...]:
    """Of those with all ten digits that a person can read, two in three."""
    whole = [hand for hand in hands if hand.can_write("0123456789")]
    return tuple(hand for index, hand in enumerate(whole) if index % 3 != 2 and hand.writer not in PUZZLING)


def _spread(glyphs: Sequence[Glyph], most: int) -> list[Glyph]:
    """At most so many, spread evenly over a writer's session."""
    picked = np.linspace(0, len(glyphs) - 1, min(most, len(glyphs))).round().astype(int)
    return [glyphs[index] for index in picked]


def _glyphs(data: Path, part: Part) -> Iterator[tuple[str, str, Glyph]]:
    for name in ARCHIVES:
        with np.load(data / f"{name}_train.npz") as file:
            arrays = {key: file[key] for key in file.files}
        samples, strokes = arrays["sample_offsets"], arrays["stroke_offsets"]
        for n, (writer, label) in enumerate(zip(arrays["writers"], arrays["labels"], strict=True)):
            if str(label) not in SIGNS or part_of(str(writer)) != part:
                continue
            height = float(arrays["ref_height"][n])
            raw = [
                arrays["points"][strokes[s] : strokes[s + 1]].astype(np.float64) / height
                for s in range(samples[n], samples[n + 1])
            ]
            yield str(writer), str(label), tuple(even(stroke) for stroke in raw)


def even(stroke: Points) -> Points:
    """The stroke smoothed a little (some tablets recorded steps) and with points STEP apart."""
    moved = np.concatenate([[True], np.any(np.diff(stroke, axis=0) != 0, axis=1)])
    fine = curve(stroke[moved])
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(fine, axis=0).T))])
    if run[-1] < STEP:
        return np.asarray(fine.mean(axis=0, keepdims=True))  # a dot
    third = STEP / 3
    at = np.linspace(0, run[-1], max(4, round(run[-1] / third) // 3 * 3 + 1))
    dense = np.column_stack([np.interp(at, run, fine[:, axis]) for axis in (0, 1)])
    kernel = np.exp(-0.5 * (np.arange(-3, 4) / 1.5) ** 2)
    kernel /= kernel.sum()
    # Reflecting about the end points keeps them where they are.
    padded = np.concatenate([2 * dense[:1] - dense[3:0:-1], dense, 2 * dense[-1:] - dense[-2:-5:-1]])
    smooth = np.column_stack([np.convolve(padded[:, axis], kernel, "valid") for axis in (0, 1)])
    return smooth[::3][:255]  # `pack` counts points in a byte


@click.command()
@click.option("--data", type=click.Path(exists=True, file_okay=False, path_type=Path), required=True)
@click.option("--out", type=click.Path(path_type=Path), default=Path("samples/hands.npz"))
def main(data: Path, out: Path) -> None:
    """Pick, thin out and pack the hands of the demo."""
    hands = shipped_share(writers_of(data, "test"))
    archive = pack(hands)
    out.write_bytes(archive)
    click.echo(f"{len(hands)} hands, {len(archive) / 1000:.0f} kB in {out}:")
    for hand in hands:
        click.echo(f"  {hand.writer}: {''.join(sorted(hand.glyphs))}")


if __name__ == "__main__":
    main()
