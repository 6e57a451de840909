"""Makes a trained net small and quick: `python -m ingest.training.shrink --data FOLDER IN.onnx OUT.onnx`.

Weights and what flows between the layers become 8-bit integers (weights 7-bit, a scale for each output
channel), as ONNX Runtime's static quantisation has it: the file shrinks to a quarter, and reading takes a
third of the time. 7 bits, because without VNNI instructions sums of full 8-bit products saturate on x86-64
(https://onnxruntime.ai/docs/performance/model-optimizations/quantization.html, "reduce_range").
"""

from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import click
import numpy as np
import numpy.typing as npt
import torch
from onnxruntime.quantization import CalibrationDataReader, QuantFormat, QuantType, quantize_static
from onnxruntime.quantization.shape_inference import quant_pre_process

from ingest.training.ink import load_scans, load_writers
from ingest.training.strings import Sources, draw
from ingest.training.train import WIDTHS, pack, seen_of

BATCHES, TOGETHER = 16, 64  # drawn to see how far values reach between the layers


class Drawn(CalibrationDataReader):
    """Worn strings by training writers, a batch at a time."""

    def __init__(self, data: Path) -> None:
        self._batches = self._draw(data)

    def _draw(self, data: Path) -> Iterator[dict[str, npt.NDArray[np.float32]]]:
        rng = np.random.default_rng(1)
        torch.manual_seed(1)
        sources = Sources.of(load_writers(data, ["train"]), load_scans(data))
        for batch in range(BATCHES):
            long = batch % 5 == 4
            drawn = [draw(sources, WIDTHS[long], long, rng) for _ in range(TOGETHER)]
            yield {"darkness": seen_of(pack(drawn)[0]).contiguous().numpy()}

    def get_next(self) -> dict[str, npt.NDArray[np.float32]] | None:
        return next(self._batches, None)


@click.command()
@click.option("--data", type=click.Path(exists=True, file_okay=False, path_type=Path), required=True)
@click.argument("source", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.argument("target", type=click.Path(dir_okay=False, path_type=Path))
def main(data: Path, source: Path, target: Path) -> None:
    """Shrink SOURCE into TARGET. FOLDER holds the open data, as for training."""
    with TemporaryDirectory() as folder:
        plain = Path(folder) / "plain.onnx"
        quant_pre_process(source, plain, skip_symbolic_shape=True)
        quantize_static(
            plain,
            target,
            Drawn(data),
            quant_format=QuantFormat.QDQ,
            op_types_to_quantize=["Conv", "Add", "Relu"],
            per_channel=True,
            reduce_range=True,
            activation_type=QuantType.QUInt8,
            weight_type=QuantType.QInt8,
        )
    click.echo(f"{source.stat().st_size / 1000:.0f} kB became {target.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
