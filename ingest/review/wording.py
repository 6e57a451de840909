"""What the review prompt says, in plain sentences."""

from dataclasses import dataclass

from ingest.check.spoken import minutes_words


def circle_words(minutes_each: int) -> str:
    """How filled circles are counted: "Each filled circle counts 5 minutes."."""
    return f"Each filled circle counts {minutes_words(minutes_each)}."


BOX_HELP = """\
Look at the picture and type the number of minutes that is written, or
that the filled circles count, then Enter. Every answer is saved at once;
leave whenever you like.

  25      minutes; 1:15 and 1h work too
  Enter   on an empty line: saves what is offered beside it, if anything is
  b       blank: nothing is written in the box
  l       later: go on without an answer
  u       undo: take the last answer back
  p       page: see the whole page in your picture viewer
  q       quit
"""

CHART_HELP = """\
It is not certain whose page this is, so nothing on it counts yet. Type part
of the name, or the id, pick with the arrow keys, then Enter. Every answer is
saved at once; leave whenever you like.

A single letter and Enter is a command:

  n       not ours: the page belongs to nobody on the roster
  l       later: go on without an answer
  u       undo: take the last answer back
  p       page: see the whole page in your picture viewer
  q       quit
"""


COUNTS_HELP = """\
It is known whose page this is, but not whether it counts: read the lines
above the picture. Until you have said, nothing on it counts. Every answer is
saved at once; leave whenever you like.

A single letter and Enter is a command:

  y       yes: it counts for this student
  n       no: it is left out, as if it had not been handed in
  l       later: go on without an answer
  u       undo: take the last answer back
  p       page: see the whole page in your picture viewer
  q       quit

If it is another student's, type part of that name instead.
"""


SPOT_HELP = """\
These boxes were drawn at random from all that Daybox accepted without asking
you. Type what you see, as if nobody had read it before; what Daybox read is
shown afterwards, where you differ. Leave whenever you like and go on later.

  25      minutes; 1:15 and 1h work too
  b       blank: nothing is written in the box
  l       later: go on without an answer
  u       undo: take the last answer back
  p       page: see the whole page in your picture viewer
  q       quit
"""


WHOLE_HELP = """\
These are all boxes of one chart, those settled long ago too, with what is
held of each. Look at the picture; Enter keeps what is held. If it is wrong,
type the right number. What you change is saved at once, with your reason;
leave whenever you like.

  Enter   on an empty line: keeps what is held
  25      minutes; 1:15 and 1h work too
  b       blank: nothing is written in the box
  l       later: go on without an answer
  u       undo: take the last answer back
  p       page: see the whole page in your picture viewer
  q       quit
"""


@dataclass(frozen=True, slots=True)
class Task:
    """What the prompt is used for, in words.

    name: in the bar at the top. box_help: all keys. all_done: what is said when there is nothing left.
    keeps: whether what is offered is held already, so that Enter only keeps it.
    """

    name: str
    box_help: str
    all_done: str
    keeps: bool = False


REVIEW = Task("review", BOX_HELP, "Everything is settled.")
SPOT_CHECK = Task("spot check", SPOT_HELP, "That was the last box. The result comes next.")
DISPUTES = Task("review", BOX_HELP, "All that differed is settled.")
WHOLE = Task("whole chart", WHOLE_HELP, "That was the whole chart.", keeps=True)


def help_text(about_chart: bool, yes_or_no: bool = False, task: Task = REVIEW) -> str:
    """All keys, for a question about a box, whose a whole page is, or whether it counts."""
    if yes_or_no:
        return COUNTS_HELP
    return CHART_HELP if about_chart else task.box_help


def end_text(left: int, task: Task = REVIEW, verdict: str = "") -> str:
    """What stands where the questions were when there are no more in this run. verdict: on those left."""
    if left:
        parts = [f"That was all but the {left} left for later.", verdict, "l asks them now. Enter leaves."]
        return "\n\n".join(filter(None, parts))
    return f"{task.all_done}\n\nu takes the last answer back. Enter leaves."


def closing_whole(name: str, changed: int, reason: str, left: int) -> str:
    """What is said when a whole chart has been looked through. left: questions about it that are open."""
    if not changed:
        return f"Nothing changed on {name}'s chart."
    boxes = "1 box" if changed == 1 else f"{changed} boxes"
    done = f'Changed {boxes} on {name}\'s chart, with the reason "{reason}".'
    if left:
        asks = "1 question about it is" if left == 1 else f"{left} questions about it are"
        return f"{done} {asks} open, perhaps because the sums changed: `daybox review` asks."
    return f"{done} `daybox trail` shows what stood there before, `daybox grades` writes the gradebook anew."


def closing(answered: int, left: int, verdict: str = "") -> str:
    """What is said when the prompt has been left: what was done, what is left, what comes next.

    verdict: that nothing that matters hangs on what is left, in words; "" if something does.
    """
    done = {0: "Nothing answered", 1: "1 answer saved"}.get(answered, f"{answered} answers saved")
    if verdict:
        return f"{done}. {verdict} `daybox review` goes on from here."
    if left:
        return f"{done}, {left} left to settle. `daybox review` goes on from here."
    return f"{done}, nothing left to settle. Next: `daybox grades` writes the gradebook."
