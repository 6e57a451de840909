"""Makes `samples/digits.npz`, scanned digits that test the reader:

    python -m ingest.training.make_digits --data FOLDER

400 of MNIST's test part and all of Semeion; neither ever trained the reader. MNIST: 4-bit greys, two
pixels a byte; Semeion: one bit a pixel. Read it with `load_digits`.
"""

from dataclasses import dataclass
from pathlib import Path

import click
import numpy as np
import numpy.typing as npt

from ingest.shipped import samples

COUNT = 400


@dataclass(frozen=True, slots=True)
class Digits:
    """pictures: (n, side, side) uint8, 0 paper .. 255 ink. labels: (n,) uint8."""

    pictures: npt.NDArray[np.uint8]
    labels: npt.NDArray[np.uint8]


def load_digits(path: Path | None = None) -> dict[str, Digits]:
    """`mnist` (28 x 28) and `semeion` (16 x 16)."""
    with np.load(path or samples() / "digits.npz") as archive:
        halves = archive["mnist"]
        mnist = np.stack([halves >> 4, halves & 15], axis=-1).reshape(-1, 28, 28) * 17
        semeion = np.unpackbits(archive["semeion"], axis=1).reshape(-1, 16, 16) * 255
        return {
            "mnist": Digits(mnist.astype(np.uint8), archive["mnist_labels"]),
            "semeion": Digits(semeion.astype(np.uint8), archive["semeion_labels"]),
        }


@click.command()
@click.option("--data", type=click.Path(exists=True, file_okay=False, path_type=Path), required=True)
@click.option("--out", type=click.Path(path_type=Path), default=Path("samples/digits.npz"))
def main(data: Path, out: Path) -> None:
    """Pick and pack the digits."""
    with np.load(data / "mnist.npz") as archive:
        which = np.linspace(0, len(archive["test_labels"]) - 1, COUNT).round().astype(int)
        mnist = np.round(archive["test_images"][which] / 17.0).astype(np.uint8)
        mnist_labels = archive["test_labels"][which]
    with np.load(data / "semeion.npz") as archive:
        semeion = np.packbits(archive["images"].reshape(-1, 256) > 0, axis=1)
        semeion_labels = archive["labels"]
    pairs = mnist.reshape(COUNT, -1, 2)
    np.savez_compressed(
        out, mnist=(pairs[..., 0] << 4) | pairs[..., 1], mnist_labels=mnist_labels,
        semeion=semeion, semeion_labels=semeion_labels,
    )  # fmt: skip
    click.echo(f"{out}: {out.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
