"""What the real chain makes of a case: file to picture, picture to page, page to boxes."""

import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from ingest.collect.pictures import open_pages
from ingest.errors import PageError, PictureError
from ingest.reading.numerals import Numerals
from ingest.reading.page import read_page
from ingest.reading.values import PageReading
from proving.cases import Case

LAYOUT = "only"


@dataclass(frozen=True, slots=True, eq=False)
class Read:
    """page: None where the chain refused; problem then says why. seconds: of one core, from the file on."""

    page: PageReading | None
    problem: str
    seconds: float


def read(case: Case, numerals: Numerals) -> Read:
    """Read a case as `daybox collect` would. What a person could not mend is raised: it is a bug."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "photo.jpg"
        file.write_bytes(case.photo.jpeg)
        begun = time.process_time()
        page, problem = None, ""
        try:
            for picture in open_pages(file):
                if picture.grey is None:
                    problem = picture.problem
                    continue
                page = read_page(
                    picture.grey,
                    {LAYOUT: case.layout},
                    {case.code: LAYOUT},
                    numerals,
                    picture.text,
                    picture.finer,
                )
        except (PageError, PictureError) as error:
            problem = str(error)
        return Read(page, problem, time.process_time() - begun)
