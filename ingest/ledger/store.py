"""The SQLite file of a challenge: what is kept, and how it changes.

Signature sketch (all public methods; each writing one is a single transaction):

class Ledger:
    open(folder: Path, create: bool = True) -> Ledger      # context manager; folder/ledger.sqlite
    # plan
    sync_roster(students: Sequence[Student]) -> None       # those gone from the file stay, marked left
    students() -> tuple[Student, ...]                      # active, roster order
    former_students() -> tuple[Student, ...]
    # charts
    add_layout(layout: Layout) -> str                      # key = hash of its JSON; idempotent
    layouts() -> dict[str, Layout]
    add_charts(charts: Sequence[ChartRecord]) -> None
    charts() -> tuple[ChartRecord, ...]
    # returns
    add_return(path, sha256, dated) -> int | None          # None: these bytes are known already
    waiting() -> tuple[ReturnRecord, ...]
    finish_return(return_id, pages: Sequence[NewPage], state, note) -> None   # replaces its pages
    returns() -> tuple[ReturnRecord, ...]
    pages() -> tuple[PageRecord, ...]                      # with readings, oldest first
    page_picture(page_id) -> Path                          # folder/pages/...
    # answers
    answer(...) -> int ; take_back(answer_id) -> None
    answers() -> tuple[AnswerRecord, ...]                  # all, oldest first
"""
