"""Which picture a question is shown with."""

from ingest.check.book import Question
from ingest.ledger.pictures import Pictures, cut
from ingest.reading.values import Grey

NAME_MARGIN_MM = 2.0  # shown around the name on a page whose owner is asked


def asked(pictures: Pictures, question: Question) -> Grey:
    """The box in question; of a page whose owner is asked, the place of its name; else the whole page.

    Raises LedgerError as `Pictures.box` and `Pictures.page` do.
    """
    if question.box != "chart":
        return pictures.box(question.page_id, question.box)
    page, layout = pictures.page(question.page_id), pictures.layout(question.page_id)
    if question.student_id:  # known; whether it counts is asked
        return page
    return cut(page, layout.name.grown(NAME_MARGIN_MM)) if layout else page
