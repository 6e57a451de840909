"""Reading a picture's brightness between its pixels."""

from typing import TypeAlias

import cv2
import numpy as np
import numpy.typing as npt

from ingest.reading.values import Grey

Places: TypeAlias = npt.NDArray[np.float32]  # shape (rows, columns), px in the picture, across or down

OUTSIDE = 128  # grey where the picture does not reach, if it is not continued by its edge


def sample(grey: Grey, x: Places, y: Places, *, continued: bool = True) -> Grey:
    """The brightness at places, same rows and columns. (0, 0) is the middle of the first pixel.

    continued: outside, the picture's edge goes on; else there is mid-grey.
    """
    border = cv2.BORDER_REPLICATE if continued else cv2.BORDER_CONSTANT
    return np.asarray(
        cv2.remap(grey, x, y, cv2.INTER_LINEAR, borderMode=border, borderValue=OUTSIDE), np.uint8
    )
