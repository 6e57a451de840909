"""What tests of several modules share."""

import pytest

from ingest.reading.certainty import Threshold

SURE = 0.96


@pytest.fixture
def usual_threshold(monkeypatch: pytest.MonkeyPatch) -> float:
    """Boxes are taken from this confidence on, whatever the net's calibration makes of the plan's wish."""
    monkeypatch.setattr("ingest.check.settle.threshold", lambda wished: Threshold(SURE, wished, None))
    return SURE
