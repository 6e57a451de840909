"""The reader's net: a small residual net over the whole box, read off with CTC.

CTC: Graves et al., "Connectionist Temporal Classification", ICML 2006.
"""

import torch
from torch import Tensor, nn

from ingest.training.strings import ALPHABET

CLASSES = len(ALPHABET) + 1  # 0 is CTC's blank


class Residual(nn.Module):
    """Two 3 x 3 convolutions beside a straight path."""

    def __init__(self, channels: int) -> None:
        super().__init__()
        self.body = nn.Sequential(
            nn.Conv2d(channels, channels, 3, padding=1, bias=False),
            nn.BatchNorm2d(channels),
            nn.ReLU(inplace=True),
            nn.Conv2d(channels, channels, 3, padding=1, bias=False),
            nn.BatchNorm2d(channels),
        )
        self.end = nn.ReLU(inplace=True)

    def forward(self, x: Tensor) -> Tensor:
        out: Tensor = self.end(x + self.body(x))
        return out


class Along(nn.Module):
    """Context along the line: a convolution over columns beside a straight path."""

    def __init__(self, channels: int, reach: int) -> None:
        super().__init__()
        self.body = nn.Sequential(
            nn.Conv2d(channels, channels, (1, 5), padding=(0, 2 * reach), dilation=(1, reach), bias=False),
            nn.BatchNorm2d(channels),
            nn.ReLU(inplace=True),
            nn.Conv2d(channels, channels, 1, bias=False),
            nn.BatchNorm2d(channels),
        )
        self.end = nn.ReLU(inplace=True)

    def forward(self, x: Tensor) -> Tensor:
        out: Tensor = self.end(x + self.body(x))
        return out


def _down(inside: int, outside: int, stride: tuple[int, int]) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(inside, outside, 3, stride=stride, padding=1, bias=False),
        nn.BatchNorm2d(outside),
        nn.ReLU(inplace=True),
    )


class Net(nn.Module):
    """(n, 1, 48, w) darkness to (n, w / 2, CLASSES) scores and (n,) "this is a number" score.

    w is a multiple of 8. Scores are before softmax and sigmoid.
    """

    def __init__(self, channels: tuple[int, int, int, int] = (16, 56, 104, 208)) -> None:
        super().__init__()
        a, b, c, d = channels
        self.look = nn.Sequential(
            _down(1, a, (2, 2)),
            Residual(a),
            _down(a, b, (2, 2)),
            Residual(b),
            Residual(b),
            _down(b, c, (2, 1)),
            Residual(c),
            Residual(c),
            nn.Conv2d(c, d, (6, 1), bias=False),
            nn.BatchNorm2d(d),
            nn.ReLU(inplace=True),
            Along(d, 1),
            Along(d, 2),
        )
        self.drop = nn.Dropout(0.1)
        self.score = nn.Conv2d(d, 2 * CLASSES, 1)
        self.number = nn.Linear(2 * d, 1)

    def forward(self, x: Tensor) -> tuple[Tensor, Tensor]:
        seen = self.drop(self.look(x))  # (n, d, 1, w / 4)
        n, _, _, columns = seen.shape
        scores = self.score(seen).view(n, 2, CLASSES, columns)  # two steps a column
        scores = scores.permute(0, 3, 1, 2).reshape(n, 2 * columns, CLASSES)
        line = seen[:, :, 0]
        pooled = torch.cat([line.mean(dim=2), line.amax(dim=2)], dim=1)
        return scores, self.number(pooled)[:, 0]


def decode(scores: Tensor) -> list[str]:
    """Best-path decoding: the most probable class of each step, repeats and blanks dropped."""
    found = []
    for steps in scores.argmax(dim=2).tolist():
        text, before = "", 0
        for step in steps:
            if step not in (0, before):
                text += ALPHABET[step - 1]
            before = step
        found.append(text)
    return found
