"""What can be refused, and the exit code each refusal carries.

A message says what is wrong, where, and what to do next, in one paragraph; `ingest.cli` prints it.
Anything else that is raised is a bug and keeps its traceback.
"""

from enum import IntEnum


class ExitCode(IntEnum):
    """What the shell sees."""

    DONE = 0
    REFUSED = 1
    USAGE = 2  # click's own
    SOME_UNREADABLE = 3


class DayboxError(Exception):
    """The input was refused; the message is for the user."""

    exit_code = ExitCode.REFUSED


class PlanError(DayboxError):
    """`challenge.toml` or the roster cannot be used."""


class DesignError(DayboxError):
    """A chart design cannot be used."""


class PictureError(DayboxError):
    """A return cannot be turned into pictures of pages."""


class PageError(DayboxError):
    """A picture does not show a page that can be placed."""


class LedgerError(DayboxError):
    """The ledger is missing, locked, damaged or newer than this program."""


class AnswerError(DayboxError):
    """A row of an answered review sheet cannot be taken."""
