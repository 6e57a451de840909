"""Processes that share out jobs. What one costs that dies or hangs, test_batch tries with collecting."""

import os
import pickle
from collections.abc import Callable, Iterator

from ingest.collect.crew import share_out
from ingest.reading.values import BoxReading, Candidate

NAME = "DAYBOX_TEST_OF_THE_CREW"


def start_looking() -> Callable[[str], Iterator[str | None]]:
    def look(name: str) -> Iterator[str | None]:
        yield os.environ.get(name)

    return look


def test_processes_find_their_environment_and_this_one_keeps_its_own() -> None:
    outcomes = share_out([NAME, "PATH"], start_looking, workers=1, seconds=60, environment={NAME: "1"})
    assert [outcome.items for outcome in outcomes] == [("1",), (os.environ["PATH"],)]
    assert NAME not in os.environ


def start_naming() -> Callable[[str], Iterator[str]]:
    def name(job: str) -> Iterator[str]:
        yield job

    return name


def test_jobs_are_drawn_while_processes_are_at_work() -> None:
    drawn = []

    def jobs() -> Iterator[str]:
        for job in "abcdefg":
            drawn.append(job)
            yield job

    outcomes = share_out(jobs(), start_naming, workers=1, seconds=60)
    first = next(outcomes)
    assert (first.items, "".join(drawn)) == (("a",), "abcdefg")
    assert [outcome.job for outcome in outcomes] == list("bcdefg")


def test_readings_arrive_as_they_were_sent() -> None:
    sent = BoxReading(
        "day:2027-10-01", (Candidate(20, "20 min", 0.9, typed=True), Candidate(None, "?", 0.1)), 0.02
    )
    assert pickle.loads(pickle.dumps(sent)) == sent
