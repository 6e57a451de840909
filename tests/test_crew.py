"""Processes that share out jobs. What one costs that dies or hangs, test_batch tries with collecting."""

import os
from collections.abc import Callable, Iterator

from ingest.collect.crew import share_out

NAME = "DAYBOX_TEST_OF_THE_CREW"


def start_looking() -> Callable[[str], Iterator[str | None]]:
    def look(name: str) -> Iterator[str | None]:
        yield os.environ.get(name)

    return look


def test_processes_find_their_environment_and_this_one_keeps_its_own() -> None:
    outcomes = share_out([NAME, "PATH"], start_looking, workers=1, seconds=60, environment={NAME: "1"})
    assert [outcome.items for outcome in outcomes] == [("1",), (os.environ["PATH"],)]
    assert NAME not in os.environ
