"""The handwriting net: views of boxes to scores."""

from collections.abc import Sequence
from dataclasses import dataclass
from importlib import resources

import numpy as np
import numpy.typing as npt

from ingest.reading.ink import Darkness, even_out
from ingest.reading.values import Grey


@dataclass(frozen=True, slots=True)
class Scores:
    """A net's word on one view.

    chances: (steps, classes), rows sum to 1. number_odds: log odds, as trained, that it is a number.
    """

    chances: npt.NDArray[np.float32]
    number_odds: float


class Net:
    """A trained net in memory."""

    def __init__(self, model: bytes) -> None:
        """model: ONNX, as `ingest.training.train` exports it."""
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1  # the pages of a batch are spread over the cores instead
        options.inter_op_num_threads = 1
        options.log_severity_level = 3
        self._session = onnxruntime.InferenceSession(model, options, providers=["CPUExecutionProvider"])

    @classmethod
    def shipped(cls) -> "Net":
        """The net that comes with the package."""
        return cls((resources.files("ingest.reading") / "model" / "numerals.onnx").read_bytes())

    def score(self, views: Sequence[Grey]) -> list[Scores]:
        """Views of ingest.reading.ink.HEIGHT px, and of few widths: those of one width go as a batch."""
        found: dict[int, Scores] = {}
        for width in sorted({view.shape[1] for view in views}):
            places = [n for n, view in enumerate(views) if view.shape[1] == width]
            batch: Darkness = np.stack([even_out(views[n]) for n in places])[:, None]
            scores, number = self._session.run(None, {"darkness": batch})
            powers = np.exp(scores - scores.max(axis=2, keepdims=True))
            chances = powers / powers.sum(axis=2, keepdims=True)
            found.update(
                (n, Scores(one, float(odds))) for n, one, odds in zip(places, chances, number, strict=True)
            )
        return [found[n] for n in range(len(views))]
