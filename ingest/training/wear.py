"""Paper, pencil, camera and compression, on the GPU: drawn layers become what the reader is given.

Everything works on a whole batch; each picture draws its own damage.
"""

import math
from functools import cache

import torch
import torch.nn.functional as F  # noqa: N812 (the name that everybody knows)
from torch import Tensor

from ingest.training.strings import DOUBLE


def _uniform(n: int, low: float, high: float, device: torch.device) -> Tensor:
    return torch.rand(n, 1, 1, 1, device=device) * (high - low) + low


def _maybe(n: int, chance: float, device: torch.device) -> Tensor:
    return (torch.rand(n, 1, 1, 1, device=device) < chance).float()


@cache
def _spreading(small: int, large: int, device: torch.device) -> Tensor:
    """The matrix (large, small) that resizes a line bicubically. As matrix products, growing a whole batch
    takes a tenth of the time of `interpolate`, whose kernels go through a batch one after the other."""
    lines = torch.eye(small)[None, None]  # one unit line a row
    grown = F.interpolate(lines, size=(small, large), mode="bicubic", align_corners=False)
    return grown[0, 0].T.contiguous().to(device)


def _grown(pictures: Tensor, height: int, width: int) -> Tensor:
    """(n, 1, h, w) resized bicubically to (n, 1, height, width)."""
    _, _, h, w = pictures.shape
    down = _spreading(h, height, pictures.device)
    return down @ (pictures @ _spreading(w, width, pictures.device).T)


def _clouds(n: int, height: int, width: int, cell: float, device: torch.device) -> Tensor:
    """Smooth random fields about -1..1, with features of `cell` px."""
    rough = torch.randn(n, 1, max(2, int(height / cell) + 1), max(2, int(width / cell) + 1), device=device)
    return _grown(rough, height, width).clamp(-2, 2) / 2


def bend(layers: Tensor) -> Tensor:
    """Small turns, scalings and elastic change; then half the size: (n, 3, 2h, 2w) to (n, 3, h, w)."""
    n, _, height, width = layers.shape
    device = layers.device
    turn = torch.randn(n, device=device) * 0.03
    sx, sy = torch.exp(torch.randn(n, device=device) * 0.04), torch.exp(torch.randn(n, device=device) * 0.04)
    shear = torch.randn(n, device=device) * 0.05
    aspect = height / width
    theta = torch.zeros(n, 2, 3, device=device)
    theta[:, 0, 0] = torch.cos(turn) * sx
    theta[:, 0, 1] = (-torch.sin(turn) + shear) * aspect * sy
    theta[:, 1, 0] = torch.sin(turn) / aspect * sx
    theta[:, 1, 1] = torch.cos(turn) * sy
    theta[:, 0, 2] = torch.randn(n, device=device) * 0.01
    theta[:, 1, 2] = torch.randn(n, device=device) * 0.02
    grid = F.affine_grid(theta, [n, 1, height, width], align_corners=False)
    amount = _uniform(n, 0.0, 2.4, device) * _maybe(n, 0.6, device)  # px of the doubled picture
    dx = _clouds(n, height, width, 28, device) * amount * 2 / width
    dy = _clouds(n, height, width, 28, device) * amount * 2 / height
    grid = grid + torch.stack([dx[:, 0], dy[:, 0]], dim=-1)
    bent = F.grid_sample(layers, grid, mode="bilinear", padding_mode="zeros", align_corners=False)
    return F.avg_pool2d(bent, DOUBLE)


KERNELS = 16  # different blurs in a batch; a convolution with one a picture is far slower


def _blur(pictures: Tensor) -> Tensor:
    """Focus and motion blur by 9 x 9 kernels. The batch is a multiple of KERNELS."""
    n, _, height, width = pictures.shape
    device = pictures.device
    soft = torch.rand(KERNELS, 1, 1, device=device)
    wide = 0.25 + 1.15 * soft**2  # sigma along, px
    narrow = torch.where(torch.rand(KERNELS, 1, 1, device=device) < 0.3, 0.3 + 0 * wide, wide)
    angle = torch.rand(KERNELS, 1, 1, device=device) * math.pi
    axis = torch.arange(-4, 5, device=device).float()
    y, x = torch.meshgrid(axis, axis, indexing="ij")
    along = x[None] * torch.cos(angle) + y[None] * torch.sin(angle)
    across = -x[None] * torch.sin(angle) + y[None] * torch.cos(angle)
    kernel = torch.exp(-0.5 * (along / wide) ** 2 - 0.5 * (across / narrow) ** 2)
    kernel = kernel / kernel.sum(dim=(1, 2), keepdim=True)
    padded = F.pad(pictures, (4, 4, 4, 4), mode="replicate")
    stacked = padded.view(n // KERNELS, KERNELS, height + 8, width + 8)
    out = F.conv2d(stacked, kernel[:, None], groups=KERNELS)
    return out.view(n, 1, height, width)


def _coarse(pictures: Tensor) -> Tensor:
    """The batch as a camera with fewer pixels would have it (one factor for the whole batch)."""
    _, _, height, width = pictures.shape
    factor = float(torch.empty(1).uniform_(1.2, 2.2))
    small = F.interpolate(
        pictures, size=(max(12, int(height / factor)), max(12, int(width / factor))), mode="area"
    )
    return _grown(small, height, width).clamp(0, 1)


def _dct_matrix(device: torch.device) -> Tensor:
    k = torch.arange(8, device=device).float()
    matrix = torch.cos((2 * k[None] + 1) * k[:, None] * math.pi / 16) * 0.5
    matrix[0] /= math.sqrt(2)
    return matrix


# ISO/IEC 10918-1, table K.1: the luminance quantisation table that encoders scale.
_LUMINANCE = (
    (16, 11, 10, 16, 24, 40, 51, 61),
    (12, 12, 14, 19, 26, 58, 60, 55),
    (14, 13, 16, 24, 40, 57, 69, 56),
    (14, 17, 22, 29, 51, 87, 80, 62),
    (18, 22, 37, 56, 68, 109, 103, 77),
    (24, 35, 55, 64, 81, 104, 113, 92),
    (49, 64, 78, 87, 103, 121, 120, 101),
    (72, 92, 95, 98, 112, 100, 103, 99),
)


def _jpeg(pictures: Tensor) -> Tensor:
    """JPEG's rounding of 8 x 8 cosine blocks, at a quality of 30 to 95. Sides are multiples of 8."""
    n, _, height, width = pictures.shape
    device = pictures.device
    quality = _uniform(n, 30, 95, device)
    scale = torch.where(quality < 50, 50 / quality, (100 - quality) / 50)
    table = (torch.tensor(_LUMINANCE, device=device).float() * scale).clamp(min=1)[:, :, None, None]
    matrix = _dct_matrix(device)
    blocks = (pictures * 255 - 128).view(n, 1, height // 8, 8, width // 8, 8).permute(0, 1, 2, 4, 3, 5)
    table = table.view(n, 1, 1, 1, 8, 8)
    # One plain matrix product a side, rather than one for each of a hundred thousand little blocks.
    cosines = ((blocks @ matrix.T).transpose(-1, -2) @ matrix.T).transpose(-1, -2)
    rounded = torch.round(cosines / table) * table
    back = ((rounded @ matrix).transpose(-1, -2) @ matrix).transpose(-1, -2)
    back = back.permute(0, 1, 2, 4, 3, 5).reshape(n, 1, height, width)
    return ((back + 128) / 255).clamp(0, 1)


def photograph(layers: Tensor) -> Tensor:
    """Bent layers (n, 3, h, w), coverage 0..1, to grey pictures (n, 1, h, w), 0 black .. 1 white."""
    n, _, height, width = layers.shape
    device = layers.device
    grain = torch.rand(n, 1, height, width, device=device)
    tooth = _uniform(n, 0.0, 0.9, device) * _maybe(n, 0.5, device)  # pencil skips over the paper's tooth
    patchy = 1 + _clouds(n, height, width, 14, device) * _uniform(n, 0.0, 0.5, device)
    # Faint pencil is common; the cube keeps most of the mass at the darker end.
    darkness = 0.97 - 0.80 * torch.rand(n, 1, 1, 1, device=device) ** 2.2
    ink = layers[:, 0:1] * darkness * patchy.clamp(0.3, 1.3) * (1 - tooth * grain)
    ghost = layers[:, 1:2] * darkness * _uniform(n, 0.05, 0.3, device) * (1 - tooth * grain)
    frame = layers[:, 2:3] * _uniform(n, 0.08, 0.6, device)
    cover = 1 - (1 - ink.clamp(0, 1)) * (1 - ghost.clamp(0, 1)) * (1 - frame)
    paper = _uniform(n, 0.45, 1.0, device) + 0.02 * _clouds(n, height, width, 5, device)
    floor = _uniform(n, 0.0, 0.12, device)
    picture = paper * (1 - cover) + floor * cover
    # Light: a slope, slow clouds, and sometimes the edge of a shadow.
    y = torch.linspace(-1, 1, height, device=device)[None, None, :, None]
    x = torch.linspace(-1, 1, width, device=device)[None, None, None, :]
    a, b = torch.randn(n, 1, 1, 1, device=device) * 0.07, torch.randn(n, 1, 1, 1, device=device) * 0.07
    light = 1 + a * x + b * y + 0.05 * _clouds(n, height, width, 40, device)
    angle = _uniform(n, 0, 2 * math.pi, device)
    edge = torch.sigmoid(
        (torch.cos(angle) * x * width / height + torch.sin(angle) * y + _uniform(n, -1.5, 1.5, device))
        * _uniform(n, 3, 30, device)
    )
    light = light * (1 - edge * _uniform(n, 0.1, 0.5, device) * _maybe(n, 0.25, device))
    picture = (picture * light).clamp(0, 1)
    picture = _blur(picture)
    if float(torch.rand(1)) < 0.25:
        picture = _coarse(picture)
    # A camera's noise stays below what the eye can still read through.
    legible = 0.01 + 0.12 * darkness * paper.mean(dim=(2, 3), keepdim=True)
    noise = torch.randn(n, 1, height, width, device=device) * legible * _uniform(n, 0, 1, device) ** 2
    picture = (picture + noise).clamp(0, 1)
    if float(torch.rand(1)) < 0.6:
        picture = _jpeg(picture)
    # Scan modes of phones and copiers: whitened, or pushed towards black and white.
    gain, middle = _uniform(n, 2, 14, device), _uniform(n, 0.45, 0.8, device)
    scanned = torch.sigmoid((picture / paper.amax(dim=(2, 3), keepdim=True) - middle) * gain)
    choose = _maybe(n, 0.15, device)
    return (picture * (1 - choose) + scanned * choose).clamp(0, 1)


PAPER_CELL = 15  # px of the reader's input; wider than any stroke


def even_out(pictures: Tensor) -> Tensor:
    """Grey pictures to ink darkness about 0..1; the same steps as `ingest.reading.ink.even_out`."""
    pad = PAPER_CELL // 2

    def widest(x: Tensor) -> Tensor:  # rows, then columns: the same as a square, and faster
        x = F.max_pool2d(x, (PAPER_CELL, 1), 1, (pad, 0))
        return F.max_pool2d(x, (1, PAPER_CELL), 1, (0, pad))

    closed = F.pad(-widest(-widest(pictures)), (pad, pad, pad, pad), mode="replicate")
    paper = F.avg_pool2d(F.avg_pool2d(closed, (PAPER_CELL, 1), 1), (1, PAPER_CELL), 1)
    dark = ((paper - pictures) / paper.clamp(min=1 / 255)).clamp(min=0)
    count = max(1, int(dark[0].numel() * 0.015))
    level = dark.flatten(1).topk(count, dim=1).values[:, -1].clamp(min=0.08)
    return (dark / level[:, None, None, None]).clamp(0, 1.5)
