"""Reading a picture's brightness between its pixels."""

from collections.abc import Callable
from typing import TypeAlias

import cv2
import numpy as np
import numpy.typing as npt

from ingest.reading.values import Grey

Map: TypeAlias = npt.NDArray[np.float32]  # shape (rows, columns, 2): x and y in the picture, px

OUTSIDE = 128  # grey where the picture does not reach, if it is not continued by its edge

# OpenCV's type stubs ask for a second map even where the first has both coordinates; then it must be None.
_remap: Callable[..., object] = cv2.remap


def sample(grey: Grey, places: Map, *, continued: bool = True) -> Grey:
    """The brightness at places, same rows and columns. (0, 0) is the middle of the first pixel.

    continued: outside, the picture's edge goes on; else there is mid-grey.
    """
    border = cv2.BORDER_REPLICATE if continued else cv2.BORDER_CONSTANT
    values = _remap(grey, places, None, cv2.INTER_LINEAR, borderMode=border, borderValue=OUTSIDE)
    return np.asarray(values, np.uint8)
