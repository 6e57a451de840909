"""Makes a trained net's file small: `python -m ingest.training.shrink IN.onnx OUT.onnx`.

Weights are kept as 8-bit integers with a scale for each output channel, and turned back to floats once,
when the net is loaded: the file shrinks to a quarter, and reading is as fast and, to the tests, as good.
"""

from pathlib import Path

import click
import numpy as np
import onnx
from onnx import helper, numpy_helper

LEAST = 1000  # smaller weights are left as they are


def shrink(model: onnx.ModelProto) -> onnx.ModelProto:
    """The same net with its large weights as integers and scales."""
    graph, nodes = model.graph, []
    for weight in list(graph.initializer):
        values = numpy_helper.to_array(weight)
        if values.dtype != np.float32 or values.ndim < 2 or values.size < LEAST:
            continue
        axes = tuple(range(1, values.ndim))
        scale = np.maximum(np.abs(values).max(axis=axes, keepdims=True) / 127, 1e-12).astype(np.float32)
        whole = np.round(values / scale).astype(np.int8)
        name = weight.name
        graph.initializer.remove(weight)
        graph.initializer.extend(
            [numpy_helper.from_array(whole, f"{name}.whole"), numpy_helper.from_array(scale, f"{name}.scale")]
        )
        nodes += [
            helper.make_node("Cast", [f"{name}.whole"], [f"{name}.float"], to=onnx.TensorProto.FLOAT),
            helper.make_node("Mul", [f"{name}.float", f"{name}.scale"], [name]),
        ]
    for node in reversed(nodes):
        graph.node.insert(0, node)
    onnx.checker.check_model(model)
    return model


@click.command()
@click.argument("source", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.argument("target", type=click.Path(dir_okay=False, path_type=Path))
def main(source: Path, target: Path) -> None:
    """Shrink SOURCE into TARGET."""
    onnx.save(shrink(onnx.load(source)), target)
    click.echo(f"{source.stat().st_size / 1000:.0f} kB became {target.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
